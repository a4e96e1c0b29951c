package pack

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Kinds of a [TubeNote].
const (
	NoteMissing = "missing"         // a record has it, the box has not
	NoteUnknown = "unknown"         // the box has it, no record has
	NoteTwice   = "twice"           // scanned more often than recorded
	NoteAlike   = "look-alike"      // differs from Of by O and 0, or I, l and 1
	NoteCase    = "case"            // differs from Of by upper and lower case
	NoteJoined  = "joined"          // two barcodes of the records in one line
	NoteElse    = "elsewhere"       // belongs to shipment Of
	NoteReturn  = "carriage-return" // read with a carriage return that the other lines have not
)

// A TubeNote says what a barcode that does not agree most probably is. Nothing
// is corrected by it: two tubes may well differ in one character.
type TubeNote struct {
	Barcode string `json:"barcode"`
	Kind    string `json:"kind"`
	Of      string `json:"of,omitempty"` // the barcode or shipment that it is about
	Detail  string `json:"detail"`       // for a person, with what to do
}

// Explain fills in m.Notes: one for every barcode that is missing, unexpected or
// read with a carriage return, in the order of the barcodes.
func (m *TubeMatch) Explain() {
	m.Notes = []TubeNote{}
	recorded := slices.Concat(m.Matched, m.Missing)
	slices.Sort(recorded)
	alike := make(map[string][]string, len(recorded)) // by what they look like; the missing ones first
	for _, b := range slices.Concat(m.Missing, m.Matched) {
		key := looks(b)
		alike[key] = append(alike[key], b)
	}
	meant := map[string]string{} // missing barcode to the one that was scanned
	for _, b := range slices.Compact(slices.Clone(m.Unexpected)) {
		n := m.unexpected(b, recorded, alike)
		if _, ok := slices.BinarySearch(m.Missing, n.Of); ok && n.Of != "" {
			meant[n.Of] = b
		}
		m.Notes = append(m.Notes, n)
	}
	for _, b := range slices.Compact(slices.Clone(m.Missing)) {
		n := TubeNote{Barcode: b, Kind: NoteMissing,
			Detail: "has a record, but was not scanned: look for the tube in the box and its packing"}
		if near := meant[b]; near != "" {
			n.Of, n.Detail = near, fmt.Sprintf("has a record, but was not scanned; %.100q was: see there", near)
		}
		m.Notes = append(m.Notes, n)
	}
	for _, b := range m.Returned {
		m.Notes = append(m.Notes, TubeNote{Barcode: b, Kind: NoteReturn,
			Detail: "was read with a carriage return at its end, unlike most lines; " +
				"it is compared without: read the tube itself, " +
				"and scan it again with the scanner that read the others"})
	}
	slices.SortStableFunc(m.Notes, func(a, b TubeNote) int { return cmp.Compare(a.Barcode, b.Barcode) })
}

func (m *TubeMatch) unexpected(b string, recorded []string, alike map[string][]string) TubeNote {
	if _, ok := slices.BinarySearch(recorded, b); ok {
		return TubeNote{b, NoteTwice, "", "was scanned more often than it is recorded: check whether it was scanned " +
			"twice, or whether two tubes carry this barcode"}
	}
	if near := alike[looks(b)]; len(near) > 0 {
		kind, how := NoteAlike, "look alike (O and 0; I, l and 1)"
		if strings.EqualFold(b, near[0]) {
			kind, how = NoteCase, "are upper and lower case of one letter"
		}
		was := "was not scanned"
		if !slices.Contains(m.Missing, near[0]) {
			was = "was scanned too"
		}
		return TubeNote{b, kind, near[0], fmt.Sprintf("differs only by characters that %s from %.100q, which %s: "+
			"read the tube itself, and scan it again", how, near[0], was)}
	}
	for i := 1; i < len(b); i++ {
		_, first := slices.BinarySearch(recorded, trimBarcode(b[:i]))
		if _, second := slices.BinarySearch(recorded, trimBarcode(b[i:])); first && second {
			return TubeNote{b, NoteJoined, "", "is two barcodes of the records in one line: let the scanner end " +
				"each with a line feed, and scan the box again"}
		}
	}
	return TubeNote{b, NoteUnknown, "", "was scanned, but no record has it: check whether the tube belongs to " +
		"another shipment or another site, and do not analyse it before that is known"}
}

var likeness = strings.NewReplacer("O", "0", "I", "1", "L", "1")

// looks makes barcodes equal that are mistaken for one another by eye or by a
// reader of print. Common practice, no source.
func looks(b string) string { return likeness.Replace(strings.ToUpper(b)) }
