package deid

import (
	"bytes"
	"io"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// Preview returns the treated records with the decisions of dec applied and undecided
// findings still in them. The audit reads these while the collection cannot be
// released. They cannot be sealed. Recordings are left out.
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

// An Origin joins a treated record to its source. It must not leave deid's packages.
type Origin struct {
	Source           *schema.Session
	Session, Subject string // pseudonyms
}

// Origins returns one Origin for each session of c, in its order. c must be the
// collection that was given to [Treat].
func (d *Draft) Origins(c *schema.Collection) []Origin {
	list := make([]Origin, len(d.sessions))
	for i, s := range d.sessions {
		list[i] = Origin{c.Sessions[i], s.name, s.subject}
	}
	return list
}
