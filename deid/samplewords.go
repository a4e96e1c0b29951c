package deid

import (
	"fmt"

	"outbreath/deid/leak"
	"outbreath/schema"
	"outbreath/schema/edf"
)

// sampleWords looks for words among the samples of an EDF recording. It skips the
// annotations, which are searched as texts.
type sampleWords struct {
	prose *leak.Prose
	texts []edf.Range // annotations in a data record, sorted
	size  int         // of a data record, in bytes
	at    int         // offset in the data record
	found []span
}

// maxSampleWords is how many places are kept.
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

// Write takes bytes of the data records. It cannot fail.
func (w *sampleWords) Write(p []byte) {
	for len(p) > 0 {
		n, text := w.size-w.at, false // bytes up to the next border; whether they are annotations
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

// wordsInSamples returns a warning if there are words among the samples.
func (r *recording) wordsInSamples() []schema.Problem {
	if len(r.words) == 0 {
		return nil
	}
	more := ""
	if n := len(r.words) - 1; n > 0 {
		more = fmt.Sprintf(" (further places: %d)", n)
	}
	return []schema.Problem{{File: r.File, Rule: "recording.edf.words", Severity: schema.Warning, Message: fmt.Sprintf(
		"among the samples, bytes %d to %d read as words%s; a signal holds none: look at them, and if they name "+
			"somebody, export the recording again or remove it from the record",
		r.words[0].start, r.words[0].end, more)}}
}
