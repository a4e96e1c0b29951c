package deid

import (
	"bytes"
	"encoding/json"
	"io"

	"outbreath/deid/leak"
)

// SummaryName is the payload file with the figures of the recordings.
const SummaryName = "recordings/summary.json"

// A Summary is recordings/summary.json.
type Summary struct {
	Format     string             `json:"format"` // "outbreath-recordings-1"
	Note       string             `json:"note"`
	Recordings []RecordingFigures `json:"recordings"` // ordered by file; those that hold CO2
}

// summary returns the file, made of the figures measured while the recordings were
// read. It reads any recording that has not been read yet.
func (d *draft) summary(dec *leak.Decisions) (io.ReadCloser, error) {
	for _, s := range d.sessions {
		for i := range s.recordings {
			if r := &s.recordings[i]; !r.read {
				if err := d.readThrough(r, dec); err != nil {
					return nil, err
				}
			}
		}
	}
	list := d.figures(func(s *treated, r *recording) (string, string) { return r.leaves, s.name })
	data, err := json.MarshalIndent(Summary{"outbreath-recordings-1",
		"Figures for judging the sample; not a medical reading.", list}, "", "  ")
	if err != nil {
		return nil, err
	}
	return io.NopCloser(bytes.NewReader(append(data, '\n'))), nil
}

func (d *draft) readThrough(r *recording, dec *leak.Decisions) error {
	in, err := d.reader(r, dec)
	if err != nil {
		return err
	}
	defer in.Close()
	_, err = io.Copy(io.Discard, in)
	return err
}
