package sessionlog

import (
	"fmt"
	"strings"
	"unicode"

	"outbreath/schema/sheet"
)

// scanned reports whether a column holds what a scanner types from a label: it is taken
// as it is, because whatever is put in its place may be on another tube.
func (c *Column) scanned() bool { return strings.HasSuffix(normal(last(c.Field)), "barcode") }

// label returns what a scanner typed, without what it, or a spreadsheet, adds at the ends.
// What the plan does not take, or cannot be seen, is a problem and never mended.
func (r *reader) label(c *column, at, text string) (string, bool) {
	text = strings.TrimFunc(text, func(r rune) bool { return unicode.IsSpace(r) || unicode.In(r, unicode.Cf) })
	leaf := c.column.Leaf
	if text == "" || leaf == nil || saysNothing(text) {
		return text, true
	}
	if r.alike(c, at, text) {
		return "", false
	}
	if text != clean(text) || !matches(leaf, text) {
		r.problem(at, c.column.Field, "this holds a blank or another character that a code of this field does not "+
			"have. Nothing was put in its place: look at the label, and scan it again")
		return "", false
	}
	return text, true
}

// alike objects to letters that look like others in a code.
func (r *reader) alike(c *column, at, text string) bool {
	if !c.column.identifies() {
		return false
	}
	script := lookAlike(text)
	if script == "" {
		return false
	}
	r.problem(at, c.column.Field, "a letter of this is "+script+" and only looks like a Latin one, so that this is "+
		"another code than it seems: type it again with the keyboard set to Latin letters")
	return true
}

// longCode is how many digits the longest code of a column has for which the length of the
// others is looked at: shorter ones may count up.
const longCode = 5

// rosterDigits returns what the roster has under the name of a column, if it has it.
func (r *reader) rosterDigits(c *column) map[string]bool {
	listed := map[string]bool{}
	if c.column.Field == "/subject/subject_id" || c.column.Field == "/subject/postal_code" {
		for _, row := range r.rosterRows() {
			if text := row[last(c.column.Field)]; text != "" {
				listed[text] = true
			}
		}
	}
	return listed
}

// zeros asks about codes from which a spreadsheet may have taken digits: those that it
// keeps as numbers, and those of digits that are shorter than others of the column, or of
// the roster.
func (r *reader) zeros(c *column, out []value, read []sheet.Cell) {
	listed := r.rosterDigits(c)
	width := 0
	for _, v := range out {
		if v.node == nil || !allDigits.MatchString(v.node.Text) {
			continue
		}
		n := len(v.node.Text)
		fixed := c.column.Leaf != nil || c.column.Field == rosterPrefix+"postal_code"
		if v.node.Text[0] == '0' || fixed && n >= longCode {
			width = max(width, n)
		}
		for id := range listed {
			if allDigits.MatchString(id) && len(id) > n && strings.TrimLeft(id, "0") == v.node.Text {
				width = max(width, len(id))
			}
		}
	}
	for i := range out {
		switch v := &out[i]; {
		case v.node == nil || listed[v.node.Text]:
		case allDigits.MatchString(v.node.Text) && len(v.node.Text) < width && v.node.Text[0] != '0':
			r.short(c, v, width, listed) // one with a zero in front has lost none
		case read[i].Kind == sheet.Number && !c.integer() && !(read[i].Shown == v.node.Text &&
			read[i].Text != v.node.Text):
			r.numbered(c, v)
		}
	}
}

// integer reports whether a code may be a plain number, as positions are.
func (c *column) integer() bool { return c.column.Leaf != nil && c.column.Leaf.Accepts("integer") }

// short asks about a code that is shorter than others. Zeros are offered only where the
// roster has the code with them: one code of all, with a digit lost or scanned twice, would
// otherwise spoil the right ones.
func (r *reader) short(c *column, v *value, width int, listed map[string]bool) {
	padded := strings.Repeat("0", width-len(v.node.Text)) + v.node.Text
	key := id("zeros", c.key())
	d := Doubt{ID: key, Question: fmt.Sprintf("codes under %q have fewer digits than others of this column. If a "+
		"spreadsheet has taken zeros in front away, or a digit is missing here, or too many are elsewhere, correct "+
		"the log. Are these right as they are?", c.heading),
		Choices: []Choice{{"keep", "yes: they are right as they are"}}}
	if listed[padded] {
		key = id("zeros", c.key(), "roster")
		d = Doubt{ID: key, Question: fmt.Sprintf("codes under %q have fewer digits than in the roster: has a "+
			"spreadsheet taken zeros in front away? If a digit was lost otherwise, correct it in the log", c.heading),
			Choices: []Choice{{"pad", fmt.Sprintf("yes: put zeros in front, to %d digits, as in the roster", width)},
				{"keep", "no: they are right as they are"}}}
	}
	switch answer := r.set.Answers[key]; {
	case answer == "keep":
	case answer == "pad" && listed[padded]:
		v.node.Text = padded
		c.say(fmt.Sprintf("zeros added in front, to %d digits, as in the roster", width))
	default:
		r.doubt(d, v.at)
		*v = value{at: v.at, bad: true}
	}
}

// numbered asks about a code that the spreadsheet keeps as a number.
func (r *reader) numbered(c *column, v *value) {
	key := id("number", c.key())
	if r.set.Answers[key] == "keep" {
		c.say("codes that the spreadsheet keeps as numbers, taken as they are")
		return
	}
	r.doubt(Doubt{ID: key, Question: fmt.Sprintf("codes under %q are kept as numbers by the spreadsheet, which takes "+
		"zeros away, in front and behind a decimal point (0047 and 2.10 become 47 and 2.1): are they complete? If "+
		"not, set the column to the format text and type them again", c.heading),
		Choices: []Choice{{"keep", "yes: they are complete as they are"}}}, v.at)
	*v = value{at: v.at, bad: true}
}
