package deid

import (
	"bytes"
	"io"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// Preview returns the treated records as they would leave with the decisions
// made so far, undecided findings still in them: what the audit looks at while
// something keeps the collection from becoming a shipment. Nothing of it can be
// sealed. Recordings are left out.
func (d *Draft) Preview(dec *leak.Decisions) ([]File, error) {
	var files []File
	for _, s := range d.sessions {
		doc, err := schema.ParseJSON(s.json)
		if err != nil {
			return nil, err // we wrote it ourselves
		}
		for _, p := range s.places {
			if p.manner != name {
				doc.At(p.pointer).Text = d.searcher.settle(p, dec).text
			}
		}
		data := doc.Encode()
		files = append(files, File{"sessions/" + s.name + ".json", int64(len(data)),
			func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(data)), nil }})
	}
	return files, nil
}

// An Origin says where a record that leaves comes from. It must not leave deid's
// packages.
type Origin struct {
	Source           *schema.Session
	Session, Subject string // pseudonyms
}

// Origins returns one for each session of c, the collection that the draft was
// made of, in its order.
func (d *Draft) Origins(c *schema.Collection) []Origin {
	list := make([]Origin, len(d.sessions))
	for i, s := range d.sessions {
		list[i] = Origin{c.Sessions[i], s.name, s.subject}
	}
	return list
}
