package sessionlog

import (
	"fmt"
	"strings"

	"outbreath/schema"
	"outbreath/schema/sheet"
)

// Decimal signs, as settings name them.
const (
	point = "point"
	comma = "comma"
)

// readNumbers reads numbers. One decimal sign holds for a column: that which a cell of it
// can have alone, else that of the settings: 1.000 is asked about even where other columns
// have points, because a sampler's figures have them and a person's thousands as well.
func (r *reader) readNumbers(c *column, out []value) {
	read := make([]*numeral, len(out))
	r.each(c, func(i int, at string, cell sheet.Cell) {
		n, ok := r.numeral(c, at, cell)
		if ok {
			read[i] = &n
		}
		out[i] = value{at: at, bad: !ok && !saysNothing(cell.Text)}
	})
	sign, looked := "", false
	for i, n := range read {
		if n == nil {
			continue
		}
		text := n.point
		if !n.settled() {
			if !looked {
				sign, looked = r.sign(c, read, out), true
			}
			one := n.only(c.column.Leaf)
			switch {
			case one == "" && sign == disputed:
				out[i].bad = true
				continue
			case one == "" && sign == contradictory:
				out[i].bad = true
				r.problem(out[i].at, c.column.Field, "numbers in this column have the comma as decimal sign in "+
					"some cells and "+
					"the point in others, so that this one can be read in two ways: write it without parting "+
					"thousands")
				continue
			case one == "" && sign == "":
				out[i].bad = true
				r.doubt(Doubt{ID: id("decimals", c.key()), Option: "decimals",
					Question: fmt.Sprintf("is the comma or the point under %q the decimal sign, or does it part "+
						"thousands?",
						c.heading), Choices: []Choice{{comma, "12,5 is twelve and a half"}, {point,
						"12.5 is twelve and a half"}}},
					out[i].at)
				continue
			case one == comma || one == "" && sign == comma:
				text = n.comma
			}
		}
		out[i].node = &schema.Node{Kind: schema.Number, Text: text}
	}
}

// numeral reads one cell as a number in the field's unit.
func (r *reader) numeral(c *column, at string, cell sheet.Cell) (numeral, bool) {
	field := c.column.Field
	var n numeral
	switch cell.Kind {
	case sheet.Number:
		text, _, ok := storedNumber(cell.Text)
		if !ok {
			r.problem(at, field, "this number cannot be used: type it again")
			return n, false
		}
		if strings.HasSuffix(cell.Shown, "%") {
			r.problem(at, field, "the cell is shown as a share in percent: set it to a plain number and type it "+
				"again")
			return n, false
		}
		n.point, n.comma = text, text
	case sheet.Text:
		text := clean(cell.Text)
		if saysNothing(text) || text == "" {
			return n, false
		}
		var ok bool
		if n, ok = readNumeral(text); !ok || exponent.MatchString(text) {
			r.problem(at, field, "this is no plain number: write digits, with one decimal sign at most, and no "+
				"other words")
			return n, false
		}
	case sheet.Time:
		r.problem(at, field, "a spreadsheet has made a date or time of the number that was typed here: set the "+
			"cell to "+
			"the format number and type it again")
		return n, false
	default:
		r.problem(at, field, "a number is expected here")
		return n, false
	}
	return r.inUnit(c, at, n)
}

// inUnit converts a number from the unit beside it, else from that of the heading.
func (r *reader) inUnit(c *column, at string, n numeral) (numeral, bool) {
	own, known := unitOf(c.column.Unit)
	from := c.unit
	if n.unit != "" {
		beside, ok := unitOf(n.unit)
		if !ok || !known || beside.quantity != own.quantity {
			expected := "without a unit"
			if known {
				expected = "in " + own.name
			}
			r.problem(at, c.column.Field, "what follows the number is not a unit of this field: write the number "+
				"alone, "+
				expected)
			return n, false
		}
		from = beside
	}
	switch {
	case from.name == "" && known:
		c.say("taken as " + own.name)
		return n, true
	case !known || from.name == own.name:
		return n, true
	}
	c.say(fmt.Sprintf("converted from %s to %s", from.name, own.name))
	if n.point != "" {
		n.point = convert(n.point, from, own)
	}
	if n.comma != "" {
		n.comma = convert(n.comma, from, own)
	}
	return n, true
}

// only returns the decimal sign that a number can have alone: the other one does not
// fit, or gives a number that the field does not take. "" if both serve, or neither.
func (n numeral) only(leaf *schema.Leaf) string {
	switch {
	case n.comma == "":
		return point
	case n.point == "":
		return comma
	case fits(leaf, n.point) && !fits(leaf, n.comma):
		return point
	case fits(leaf, n.comma) && !fits(leaf, n.point):
		return comma
	}
	return ""
}

// sign settles the decimal sign of a column, "" if nothing does.
func (r *reader) sign(c *column, read []*numeral, out []value) string {
	sign, at := "", ""
	for i, n := range read {
		if n == nil || n.settled() {
			continue
		}
		switch one := n.only(c.column.Leaf); {
		case one == "" || one == sign:
		case sign == "":
			sign, at = one, out[i].at
		default:
			return contradictory
		}
	}
	switch {
	case sign != "" && r.set.Decimals != "" && r.set.Decimals != sign:
		return r.dispute(c, sign, at, fmt.Sprintf("this number under %q can only be read with the %s as decimal sign, "+
			"and the other one was said before: are the numbers of this column written so?", c.heading, sign))
	case sign != "":
		c.say(fmt.Sprintf("decimal %s, as %s shows", sign, at))
		return sign
	}
	if r.set.Decimals != "" {
		c.say("decimal " + r.set.Decimals + ", as was said")
	}
	return r.set.Decimals
}
