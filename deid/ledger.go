package deid

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// ledgerFormat names the form of treatment.json.
const ledgerFormat = "outbreath-treatment-1"

// A Ledger is treatment.json: what was done to each field. It holds counts and
// no identifier.
type Ledger struct {
	Format string `json:"format"`
	Study  string `json:"study"`
	Site   string `json:"site"`
	Plan   string `json:"plan"`
	// program that treated the records, in the form of [ProgramForm]; "" if unknown
	Program    string          `json:"program"`
	KeyID      string          `json:"key_id"` // of the pseudonym key, "XXXX-XXXX"; "" if there was no key
	Fields     []FieldLedger   `json:"fields"` // in the order of the plan
	Texts      TextLedger      `json:"texts"`
	Settled    []SettledPlace  `json:"settled"` // texts in which a finding stays
	Removed    []RemovedPlace  `json:"removed"` // masks over findings; [Release] adds them
	Recordings RecordingLedger `json:"recordings"`
	Cautions   []string        `json:"cautions"`
}

// A FieldLedger is one field of the plan.
type FieldLedger struct {
	Path      string `json:"path"`
	Treatment string `json:"treatment"`
	Risk      string `json:"risk"` // "quasi", "sensitive" or ""
	Why       string `json:"why"`
	Values    int64  `json:"values"` // in all records
}

// Kind returns the treatment without its width or purpose; "" for one that this
// program does not know.
func (f FieldLedger) Kind() schema.TreatmentKind {
	t, _ := schema.ParseTreatment(f.Treatment)
	return t.Kind
}

// A TextLedger counts the texts that were searched, the findings, and what was
// decided on them.
type TextLedger struct {
	Searched int `json:"searched"`
	Findings int `json:"findings"`
	Redacted int `json:"redacted"`
	Certain  int `json:"certain"` // of those redacted: taken out without a person's decision
	Kept     int `json:"kept"`
}

// A RecordingLedger counts recordings by format.
type RecordingLedger struct {
	CSV  int `json:"csv"`
	EDF  int `json:"edf"`
	Axes int `json:"axes_moved"` // CSV whose time began later than lateAxis, and now begins at 0
}

// cautions go with every shipment. Sources: 45 CFR 164.514(b); GDPR, recital 26.
var cautions = []string{
	"A clean search means that no listed identifier and no known pattern was found. It does not mean that nobody " +
		"can be recognised.",
	"This file is not a legal determination. The privacy officer, the ethics committee, the protocol, the consent " +
		"and the law decide.",
	"The pseudonyms are keyed hashes of the site's identifiers. Whoever holds the site's key can trace them to " +
		"subjects: these are personal data for that site, and may be for others.",
	"Rare conditions, dates, places and the curves of a recording can single out a person without a name. Do not " +
		"try to recognise anybody.",
	"The ranges that recordings are checked against find technical faults. They say nothing about a subject's health.",
}

// Ledger returns the account of the treatment. findings must be the result of
// [Draft.Findings] with the same dec.
func (d *Draft) Ledger(findings []leak.Finding, dec *leak.Decisions) *Ledger {
	l := &Ledger{
		Format: ledgerFormat, Study: d.c.Study.Study, Site: d.c.Study.Site, Plan: d.c.Plan.Name, Program: d.program,
		KeyID: d.keyID,
		Texts: TextLedger{Searched: d.searched, Findings: len(findings)}, Fields: []FieldLedger{},
		Cautions: append(slices.Clone(cautions), d.handlingCaution()), Removed: []RemovedPlace{},
	}
	for i, f := range d.c.Plan.Fields {
		l.Fields = append(l.Fields, FieldLedger{f.Path, f.Treatment.String(), f.Risk, f.Why,
			d.treater.values[i].Load()})
	}
	for _, f := range findings {
		switch f.Decision {
		case "redact":
			l.Texts.Redacted++
			if f.Automatic {
				l.Texts.Certain++
			}
		case "keep":
			l.Texts.Kept++
		}
	}
	l.Settled = d.settledPlaces(findings, dec)
	for _, s := range d.sessions {
		for _, r := range s.recordings {
			if r.Format == "edf" {
				l.Recordings.EDF++
			} else {
				l.Recordings.CSV++
			}
			if r.axes != nil {
				l.Recordings.Axes++
			}
		}
	}
	return l
}

// settledPlaces returns the places of the payload where a person decided to keep a
// finding, or where a date was moved, sorted, each once.
func (d *draft) settledPlaces(findings []leak.Finding, dec *leak.Decisions) []SettledPlace {
	leaves := map[string]string{}
	for _, s := range d.sessions {
		leaves[s.file] = "sessions/" + s.name + ".json"
		for _, r := range s.recordings {
			leaves[r.File] = r.leaves
		}
	}
	list := []SettledPlace{}
	cells := d.tubeCells()
	texts := d.textsInTraces(dec)
	for _, f := range findings {
		at := SettledPlace{File: leaves[f.File], Pointer: f.Pointer}
		if strings.HasPrefix(at.File, "recordings/") {
			text, ok := texts[f.ID]
			if !ok {
				continue // in the name of the recording's file, which does not leave
			}
			at.Start, at.End = text.start, text.end
		}
		switch {
		case at.File == "":
		case f.Decision == "keep":
			list = append(list, at)
			for _, cell := range cells[[2]string{f.File, f.Pointer}] {
				list = append(list, SettledPlace{File: "tubes.csv", Pointer: cell})
			}
		case f.Moved:
			at.Class = f.Class
			list = append(list, at)
		}
	}
	slices.SortFunc(list, SettledPlace.compare)
	return slices.Compact(list)
}

// textsInTraces returns, for each finding in an EDF recording by its id, the text that
// holds it, as a span of the file. It needs dec, because a redaction may bring words
// together and so produce further findings.
func (d *draft) textsInTraces(dec *leak.Decisions) map[string]span {
	texts := map[string]span{}
	if d.traces == nil {
		return texts
	}
	for _, p := range d.traces.places {
		for _, f := range d.searcher.settle(p, dec).findings {
			texts[f.ID] = span{int64(p.base), int64(p.base + len(p.text))}
		}
	}
	return texts
}

// tubeCells returns the cells of tubes.csv that repeat a value of a record, as
// "/ROW/COLUMN" counted from 0, by the record's file and the value's pointer.
func (d *draft) tubeCells() map[[2]string][]string {
	type tube struct{ session, barcode string }
	rows := map[tube]int{}
	for i, t := range d.tubes() {
		rows[tube{t.Session, t.Barcode}] = i + 1 // below the head
	}
	cells := map[[2]string][]string{}
	for _, s := range d.sessions {
		for i, t := range s.tubes {
			for c, column := range tubeColumns {
				pointer := "/tubes/" + strconv.Itoa(i) + "/" + column
				if column == "fraction" {
					pointer = "/" + column
				}
				at := [2]string{s.file, pointer}
				cells[at] = append(cells[at], "/"+strconv.Itoa(rows[tube{s.name, t.Barcode}])+"/"+strconv.Itoa(c))
			}
		}
	}
	return cells
}

// Encode returns treatment.json, indented, with a final line feed.
func (l *Ledger) Encode() []byte {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(l); err != nil {
		panic(err) // strings and numbers only
	}
	return b.Bytes()
}

// ParseLedger parses a treatment.json that came with a shipment. The error names the
// likely cause, without any of the content. Files over 16 MiB are refused.
func ParseLedger(data []byte) (*Ledger, error) {
	if len(data) > 16<<20 {
		return nil, errors.New("treatment.json is larger than 16 MiB; the shipment was not made by this tool")
	}
	var l Ledger
	d := json.NewDecoder(bytes.NewReader(data))
	if err := d.Decode(&l); err != nil || l.Format != ledgerFormat {
		return nil, errors.New("treatment.json is not of the form " + ledgerFormat + "; a newer version of this " +
			"tool may have made it")
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, errors.New("something follows the end of treatment.json; the shipment was not made by this tool")
	}
	return &l, nil
}
