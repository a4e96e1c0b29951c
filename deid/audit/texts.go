package audit

import (
	"cmp"
	"encoding/csv"
	"errors"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// A TextList is all text that leaves at one place: a field of the records, a field of the
// EDF headers, the annotations, a column of a table. Texts that are equal are one. In a
// long list of codes, those that differ in their digits alone are one, with 9 for each
// digit: so a name among codes remains legible.
type TextList struct {
	Where  string `json:"where"`  // "/notes", "EDF annotations", "tubes.csv, column barcode"
	Free   bool   `json:"free"`   // people typed it; false: codes
	Values int    `json:"values"` // with repetitions
	Forms  bool   `json:"forms"`  // 9 stands for each digit
	Plan   bool   `json:"plan"`   // texts of the plan and of the program, about no subject
	Texts  []Text `json:"texts"`  // the rarest first
}

// A Text is one text of a list.
type Text struct {
	Text  string   `json:"text"` // "" if withheld
	Count int      `json:"count"`
	In    []string `json:"in"` // files that leave, the first three
	// Withheld is what the text may hold, "a name": a finding in it is undecided, or the
	// second search found it. A text is never shown then.
	Withheld string `json:"withheld,omitempty"`
}

// maxPlaces is how many files are named for one text.
const maxPlaces = 3

// textLists collects texts by place.
type textLists struct {
	lists map[string]*TextList
	at    map[string]map[string]int // place and text to the index in Texts
}

// add adds one text in file. withheld is as in [Text].
func (t *textLists) add(where string, free bool, text, file, withheld string) {
	t.put(where, free, Text{Text: text, Count: 1, In: []string{file}, Withheld: withheld})
}

// put adds a text with its count and its files.
func (t *textLists) put(where string, free bool, add Text) {
	if t.lists == nil {
		t.lists, t.at = map[string]*TextList{}, map[string]map[string]int{}
	}
	list := t.lists[where]
	if list == nil {
		list = &TextList{Where: where, Free: free}
		t.lists[where], t.at[where] = list, map[string]int{}
	}
	list.Values += add.Count
	key := add.Text
	if add.Withheld != "" {
		add.Text, key = "", "\x00"+add.Withheld
	}
	i, ok := t.at[where][key]
	if !ok {
		t.at[where][key] = len(list.Texts)
		list.Texts = append(list.Texts, add)
		return
	}
	x := &list.Texts[i]
	x.Count += add.Count
	for _, file := range add.In {
		if len(x.In) < maxPlaces && !slices.Contains(x.In, file) {
			x.In = append(x.In, file)
		}
	}
}

// mostCodes is how many different codes a list may hold without their digits being
// replaced.
const mostCodes = 30

// forms returns a list of codes with 9 for each digit.
func (l *TextList) forms() *TextList {
	var t textLists
	for _, x := range l.Texts {
		x.Text = digit.ReplaceAllString(x.Text, "9")
		t.put(l.Where, false, x)
	}
	t.lists[l.Where].Forms = true
	return t.lists[l.Where]
}

// sorted returns the lists, those with the fewest texts first but the plan's last, and in
// each the rarest text first.
func (t *textLists) sorted() []TextList {
	out := []TextList{}
	for _, l := range t.lists {
		if !l.Free && !l.Plan && len(l.Texts) > mostCodes {
			l = l.forms()
		}
		slices.SortFunc(l.Texts, func(a, b Text) int {
			return cmp.Or(cmp.Compare(a.Count, b.Count), strings.Compare(a.Text, b.Text))
		})
		out = append(out, *l)
	}
	slices.SortFunc(out, func(a, b TextList) int {
		if a.Plan != b.Plan {
			return map[bool]int{true: 1, false: -1}[a.Plan]
		}
		return cmp.Or(cmp.Compare(len(a.Texts), len(b.Texts)), strings.Compare(a.Where, b.Where))
	})
	return out
}

var digit = regexp.MustCompile(`\d`)

// textsToRead returns every text that leaves, except what a treatment has made: pseudonyms,
// bands, regions, shifted dates.
func (e *examiner) textsToRead() []TextList {
	var t textLists
	kinds := map[string]schema.TreatmentKind{}
	for _, f := range e.in.Fields {
		kinds[f.Path] = f.treatment().Kind
	}
	words := NewWords(e.in.Roster)
	for _, r := range e.o.Records {
		for _, l := range r.Leaves {
			kind := kinds[l.Path]
			if kind != schema.Text && kind != schema.Keep || !wordy(l.Text) {
				continue
			}
			withheld := ""
			if kind == schema.Text || classOfName(l.Path) != "C" { // the plan lets such dates leave
				withheld = e.withheld(words, r.Name+" "+l.Pointer(), l.Text)
			}
			t.add(l.Path, kind == schema.Text, l.Text, r.Name, withheld)
		}
	}
	for _, x := range e.o.texts {
		withheld := ""
		if !x.plan {
			withheld = e.withheld(words, x.file+" ", x.text)
		}
		t.add(x.where, x.free, x.text, x.file, withheld)
		t.lists[x.where].Plan = x.plan
	}
	return t.sorted()
}

// wordy reports whether a value is text: not a number, a truth value or nothing.
func wordy(s string) bool {
	if s == "" || s == "true" || s == "false" {
		return false
	}
	_, err := strconv.ParseFloat(s, 64)
	return err != nil
}

// withheld returns what a text may hold, so that it must not be shown; "" if nothing was
// found in it, or if a person decided to keep what was found.
func (e *examiner) withheld(words *Words, where, text string) string {
	if e.in.Kept[where] {
		return ""
	}
	if class := e.in.Open[where]; class != "" {
		return leak.Article(class.Words().Shown)
	}
	for _, h := range words.Search(text) {
		if h.Sure {
			return leak.Article(leak.Class(h.Class).Words().Shown)
		}
	}
	return ""
}

// A fileText is a text that leaves in a file other than a record.
type fileText struct {
	where, file, text string
	free              bool
	plan              bool // of the plan, or the program's own: no subject's
}

// maxFileTexts bounds the texts of files other than records.
const maxFileTexts = 2_000_000

// errTexts says that a table holds more text than the audit can list.
var errTexts = errors.New("the tables hold more than 2,000,000 texts, too many for the audit: audit smaller shipments")

// table adds the texts of a CSV table other than a recording: its cells that are text, and
// not pseudonyms. Its reasons are free text.
func (o *Output) table(name string, r io.Reader) error {
	in := csv.NewReader(r)
	in.FieldsPerRecord = -1
	var header []string
	for {
		row, err := in.Read()
		if err == io.EOF {
			return nil
		}
		if errors.As(err, new(*csv.ParseError)) {
			return errors.New("a table that leaves is not CSV; the audit cannot judge it")
		}
		if err != nil {
			return err
		}
		if header == nil {
			header = slices.Clone(row)
			continue
		}
		for i, cell := range row {
			if i >= len(header) || !wordy(cell) || pseudonymForm.MatchString(cell) {
				continue
			}
			if len(o.texts) == maxFileTexts {
				return errTexts
			}
			free := header[i] == "reason" || header[i] == "note" || header[i] == "detail"
			o.texts = append(o.texts, fileText{name + ", column " + header[i], name, cell, free, false})
		}
	}
}

// document adds the texts of a JSON file that is no record: the schema, the account of the
// treatment. Places of findings in it are no texts, nor is the name of the dialect of JSON
// Schema.
func (o *Output) document(name string, r io.Reader) error {
	data, err := io.ReadAll(io.LimitReader(r, 16<<20+1))
	if err != nil {
		return err
	}
	n, err := schema.ParseJSON(data)
	if err != nil {
		return errors.New("a file that leaves is not JSON; the audit cannot judge it")
	}
	n.Walk(func(at schema.Place, n *schema.Node) bool {
		if at.Path != "/$schema" && n.Kind == schema.String && wordy(n.Text) && !strings.HasSuffix(at.Path, "/file") &&
			!strings.HasSuffix(at.Path, "/pointer") && len(o.texts) < maxFileTexts {
			o.texts = append(o.texts, fileText{name, name, n.Text, false, true})
		}
		return true
	})
	return nil
}
