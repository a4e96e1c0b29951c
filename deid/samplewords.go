package deid

import (
	"fmt"

	"outbreath/deid/leak"
	"outbreath/schema"
	"outbreath/schema/edf"
)

// sampleWords looks for words among the samples of an EDF recording: all of a data
// record but its annotations, which are searched as texts.
type sampleWords struct {
	prose *leak.Prose
	texts []edf.Range // in order
	size  int         // of a data record
	at    int         // in it
	found []span
}

// maxSampleWords is the most places that are kept.
const maxSampleWords = 100

func newSampleWords(h *edf.Header) *sampleWords {
	w := &sampleWords{texts: h.AnnotationRanges(), size: h.RecordSize()}
	w.prose = leak.NewProse(func(at int64, n int) {
		if at += h.HeaderSize(); len(w.found) < maxSampleWords {
			w.found = append(w.found, span{at, at + int64(n)})
		}
	})
	return w
}

func (w *sampleWords) Write(p []byte) {
	for len(p) > 0 {
		n, text := w.size-w.at, false // up to the next border
		for _, t := range w.texts {
			if text = t.Offset <= w.at && w.at < t.Offset+t.Size; text {
				n = t.Offset + t.Size - w.at
				break
			}
			if t.Offset > w.at {
				n = t.Offset - w.at
				break
			}
		}
		n = min(n, len(p))
		if text {
			w.prose.Skip(int64(n))
		} else {
			w.prose.Write(p[:n])
		}
		p, w.at = p[n:], (w.at+n)%w.size
	}
}

func (w *sampleWords) close() []span {
	w.prose.Close()
	return w.found
}

// spoken tells of words among the samples.
func (r *recording) spoken() []schema.Problem {
	if len(r.words) == 0 {
		return nil
	}
	more := ""
	if n := len(r.words) - 1; n > 0 {
		more = fmt.Sprintf("; places like it: %d more", n)
	}
	return []schema.Problem{{File: r.File, Rule: "recording.edf.words", Severity: schema.Warning, Message: fmt.Sprintf(
		"among the samples, bytes %d to %d read as words%s; a signal does not: look at them, and if somebody is "+
			"named there, export the recording again or leave it out of the record",
		r.words[0].start, r.words[0].end, more)}}
}
