package sessionlog

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"outbreath/schema"
	"outbreath/schema/sheet"
)

// A value is what one cell says, as far as it is settled. The zero value says nothing.
type value struct {
	at   string       // of the cell, for a person
	node *schema.Node // of everything but times

	// Of times and dates.
	day    day
	hasDay bool
	clock  clock
	hasHm  bool
	exact  string // a whole RFC 3339 time, as it was written
	half   bool   // am or pm was written
	bad    bool   // said already: a doubt or a problem
}

func (v value) empty() bool { return v.node == nil && !v.hasDay && !v.hasHm && v.exact == "" }

// A kind of column decides how its cells are read.
type columnKind uint8

const (
	codes columnKind = iota
	texts
	words
	numbers
	dates
	times     // of a day, with a date or without
	filenames // of recordings
)

func kindOf(c *Column) columnKind {
	leaf := c.Leaf
	switch {
	case c.Field == DateField || c.Field == rosterPrefix+"birth_date":
		return dates
	case c.Field == rosterPrefix+"sex":
		return words
	case leaf == nil && strings.HasPrefix(c.Field, rosterPrefix):
		return codes
	case leaf.Treatment.Kind == schema.Recording:
		return filenames
	case leaf.Format == "date":
		return dates
	case leaf.Format == "date-time" || leaf.Format == "time":
		return times
	case leaf.Listed != nil || leaf.Accepts("boolean"):
		return words
	case leaf.Accepts("string") && leaf.Treatment.Kind == schema.Text:
		return texts
	case leaf.Accepts("string"):
		return codes
	case leaf.Accepts("number") || leaf.Accepts("integer"):
		return numbers
	}
	return codes
}

// rosterSex is how roster.csv lists the sexes.
var rosterSex = &schema.Leaf{Field: schema.Field{Types: []string{"string"}},
	Listed: []string{"female", "male", "other", "unknown"}}

// read reads every cell of a column. The values are by row, as s.rows has them.
func (r *reader) read(c *column) []value {
	out := make([]value, len(c.src.rows))
	switch kind := kindOf(c.column); kind {
	case dates, times:
		r.readTimes(c, kind, out)
	case numbers:
		r.readNumbers(c, out)
	case words:
		r.readWords(c, out)
	default:
		r.readTexts(c, kind, out)
	}
	return out
}

// each calls f for every cell of a column that says something. What holds no value of
// any field is reported here.
func (r *reader) each(c *column, f func(i int, at string, cell sheet.Cell)) {
	formulas := 0
	for i, row := range c.src.rows {
		if r.skipped[rowOf{c.src, row}] {
			continue
		}
		cell, at := c.src.cell(row, c.col), c.src.ref(row, c.col)
		if cell.Formula {
			formulas++
		}
		kind := cell.Kind
		if kind == sheet.Text && fault.MatchString(cell.Text) && kindOf(c.column) != texts {
			kind = sheet.Fault // as text tables have it
		}
		switch kind {
		case sheet.Empty:
		case sheet.Fault:
			r.problem(at, c.column.Field, "the cell shows an error instead of a value: write the value itself")
		default:
			f(i, at, cell)
		}
	}
	if formulas > 0 {
		c.say(fmt.Sprintf("%d computed, taken as last saved", formulas))
	}
}

// fault is how a spreadsheet writes an error, or a column that is too narrow, into a text
// table, in several languages (common practice, no source).
var fault = regexp.MustCompile(`^#(#+|[\p{Lu}]+(/[0-9A-Z]+)?[!?]?)$`)

var lostDigits = regexp.MustCompile(`^[0-9]([.,][0-9]+)?[eE]\+[0-9]+$`)

// readTexts reads codes, free texts and names of files.
func (r *reader) readTexts(c *column, kind columnKind, out []value) {
	read := make([]sheet.Cell, len(out))
	r.each(c, func(i int, at string, cell sheet.Cell) {
		text, ok := r.asText(c, kind, at, cell)
		if !ok {
			out[i] = value{at: at, bad: true}
			return
		}
		read[i] = cell
		switch {
		case kind == texts:
			text = prose(text)
		case kind == filenames:
			text = fileName(text)
		default:
			if text, ok = r.code(c, at, text); !ok || r.alike(c, at, text) || r.monthMade(c, at, text) {
				out[i] = value{at: at, bad: true}
				return
			}
		}
		if text != "" {
			out[i] = value{at: at, node: &schema.Node{Kind: schema.String, Text: text}}
		}
	})
	if kind == codes {
		r.zeros(c, out, read)
	}
}

// asText returns the text of a cell in a column of texts. A spreadsheet may have made a
// number or a date of it; where its digits can be lost, it is a problem.
func (r *reader) asText(c *column, kind columnKind, at string, cell sheet.Cell) (string, bool) {
	const again = ": set the column to the format text and type it again"
	switch cell.Kind {
	case sheet.Text:
		if kind == codes && lostDigits.MatchString(clean(cell.Text)) {
			r.problem(at, c.column.Field, "a spreadsheet has cut this number to its first digits (E+)"+again)
			return "", false
		}
		return cell.Text, true
	case sheet.Number:
		text, digits, ok := storedNumber(cell.Text)
		switch {
		case !ok || digits > 15:
			r.problem(at, c.column.Field, "the number has more than the 15 digits that a spreadsheet keeps, so "+
				"that the "+
				"last ones are lost"+again)
		case kind == codes && strings.Contains(cell.Shown, "E+") && len(text) < 12:
			r.problem(at, c.column.Field, "a spreadsheet has read a code with an E in it as a number"+again)
		case allDigits.MatchString(cell.Shown) && strings.TrimLeft(cell.Shown, "0") == strings.TrimLeft(text, "0"):
			return cell.Shown, true
		default:
			return text, true
		}
	case sheet.Time:
		r.problem(at, c.column.Field, "a spreadsheet has made a date or time of what was typed here"+again)
	default:
		r.problem(at, c.column.Field, "a spreadsheet has made TRUE or FALSE of what was typed here"+again)
	}
	return "", false
}

// code returns a code as the plan writes it: capitals or blanks that its pattern does
// not take are small letters and hyphens. What is scanned is taken as it is, or not at
// all: then ok is false, as where a question is open.
func (r *reader) code(c *column, at, text string) (code string, ok bool) {
	if c.column.scanned() {
		if text, ok = r.label(c, at, text); !ok {
			return "", false
		}
	} else {
		text = clean(text)
	}
	leaf := c.column.Leaf
	if leaf == nil {
		if saysNothing(text) {
			return "", true
		}
		return text, true
	}
	if saysNothing(text) {
		if !matches(leaf, text) || normal(text) == "" {
			return "", true
		}
		key := id("nothing", c.key(), strings.ToLower(text))
		switch r.set.Answers[key] {
		case "value":
		case "nothing":
			return "", true
		default:
			r.doubt(Doubt{ID: key, Question: fmt.Sprintf("cells under %q hold what many write where there is no "+
				"value: "+
				"is it one?", c.heading), Choices: []Choice{{"nothing", "no: leave the field out"},
				{"value", "yes: take it as it is written"}}}, at)
			return "", false
		}
	}
	if !matches(leaf, text) {
		low := strings.ToLower(text)
		for _, s := range []string{low, strings.ReplaceAll(low, " ", "-"), strings.ReplaceAll(text, " ", "")} {
			if matches(leaf, s) {
				c.say("written as the plan asks: small letters, hyphens for blanks")
				return s, true
			}
		}
	}
	return text, true
}

var monthForm = regexp.MustCompile(`^(?:[0-9]{1,2}[-. ]*(\pL{3,4})|(\pL{3,4})[-. ]*[0-9]{2})\.?$`)

// monthMade asks whether a spreadsheet has made a month of a code: 1-3 becomes 01-Mar when
// it is saved as a text table.
func (r *reader) monthMade(c *column, at, text string) bool {
	m := monthForm.FindStringSubmatch(text)
	if m == nil || months()[normal(m[1]+m[2])] == 0 || c.column.Leaf == nil || !c.src.Text {
		return false
	}
	key := id("month", c.key())
	if r.set.Answers[key] == "keep" {
		return false
	}
	r.doubt(Doubt{ID: key, Question: fmt.Sprintf("codes under %q look like days or months: has a spreadsheet made "+
		"dates of "+
		"them, such as 01-Mar of 1-3? Then set the column to the format text and type them again", c.heading),
		Choices: []Choice{{"keep", "no: they are right as they are"}}}, at)
	return true
}

// matches reports whether the patterns of a leaf take a text.
func matches(leaf *schema.Leaf, text string) bool {
	if len(leaf.Patterns) == 0 {
		return text != ""
	}
	return slices.ContainsFunc(leaf.Patterns, func(p string) bool {
		form := compiled(p)
		return form != nil && form.MatchString(text)
	})
}

// patterns keeps those of plans, compiled once; nil for one that does not compile, which
// no plan has.
var patterns sync.Map

func compiled(pattern string) *regexp.Regexp {
	if form, ok := patterns.Load(pattern); ok {
		return form.(*regexp.Regexp)
	}
	form, _ := regexp.Compile(pattern)
	patterns.Store(pattern, form)
	return form
}

// fileName returns the name of a recording as records write it, without the folders
// that another computer had around it.
func fileName(text string) string {
	text = strings.ReplaceAll(clean(text), `\`, "/")
	if text = last("/" + text); text == "" || saysNothing(text) {
		return ""
	}
	return "recordings/" + text
}

// readWords reads listed values, yes and no.
func (r *reader) readWords(c *column, out []value) {
	leaf := c.column.Leaf
	if leaf == nil {
		leaf = rosterSex
	}
	spanish := false // H and M are man and woman where H occurs
	r.each(c, func(_ int, _ string, cell sheet.Cell) {
		form := normal(cell.Text)
		spanish = spanish || form == "h" || form == "mujer" || form == "hombre"
	})
	spanish = spanish && slices.Contains(leaf.Listed, "female")
	r.each(c, func(i int, at string, cell sheet.Cell) {
		word := clean(cell.Text)
		if cell.Kind == sheet.Bool {
			word = strings.ToLower(cell.Text)
		}
		found := listed(leaf, word)
		if spanish && normal(word) == "m" {
			found = []string{"female", "male"}
		}
		key := id("word", c.column.Field, normal(word), word)
		asked := r.set.Answers[key]
		if asked != "" {
			found = []string{asked}
		}
		switch {
		case len(found) == 1 && found[0] == ignored:
		case len(found) == 1:
			out[i] = value{at: at, node: listedNode(leaf, found[0])}
			switch {
			case normal(found[0]) == normal(word):
			case asked != "":
				c.say("words that were asked about taken as " + found[0])
			default: // a word of our own lists, and so no one's name
				c.say(strings.ToLower(word) + " taken as " + found[0])
			}
		case len(found) == 0 && saysNothing(word):
		default:
			out[i] = value{at: at, bad: true}
			r.unknownWord(c, leaf, key, at, found)
		}
	})
}

func (r *reader) unknownWord(c *column, leaf *schema.Leaf, key, at string, found []string) {
	question := fmt.Sprintf("a word under %q is none that the plan lists: which of them is meant?", c.heading)
	if len(found) > 1 {
		question = fmt.Sprintf("a word under %q can mean two things: which is meant?", c.heading)
	}
	values := leaf.Listed
	if len(found) > 0 {
		values = found
	} else if leaf.Accepts("boolean") {
		values = []string{"true", "false"}
	}
	var choices []Choice
	for _, v := range values {
		choices = append(choices, Choice{v, v})
	}
	if !c.column.Required {
		choices = append(choices, Choice{ignored, "none: leave the field out"})
	}
	r.doubt(Doubt{ID: key, Question: question, Choices: choices}, at)
}

func listedNode(leaf *schema.Leaf, v string) *schema.Node {
	switch {
	case leaf.Accepts("boolean") && (v == "true" || v == "false"):
		return &schema.Node{Kind: schema.Bool, Text: v}
	case !leaf.Accepts("string") && numeric.MatchString(v):
		return &schema.Node{Kind: schema.Number, Text: v}
	}
	return &schema.Node{Kind: schema.String, Text: v}
}

var numeric = regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?$`)

// location returns the zone that local times are read in; nil, and a doubt, if none is
// known.
func (r *reader) location(at string) *time.Location {
	if r.zone != nil {
		return r.zone
	}
	name := r.in.Zone
	if name == "" {
		name = r.in.Study.Zone
	}
	if name == "" {
		name = r.set.Zone
	}
	zone, err := time.LoadLocation(name)
	if name == "" || name == "Local" || err != nil {
		question := "in which time zone was the log kept? Write it as continent and city, such as Europe/Berlin"
		if name != "" {
			question = fmt.Sprintf("the time zone %q is not known. %s%s",
				name, strings.ToUpper(question[:1]), question[1:])
		}
		r.doubt(Doubt{ID: "zone", Option: "zone", Question: question}, at)
		return nil
	}
	r.zone, r.out.Zone = zone, name
	return zone
}
