package sessionlog

import (
	"slices"
	"strconv"
	"strings"
	"unicode"

	"outbreath/schema"
)

// heads knows the headings of a plan's log, sheet by sheet.
type heads struct {
	columns []Column
	sheets  []string                        // in the order of the columns
	lists   map[string]string               // of each list's sheet its path, "/tubes"
	forms   map[string]map[string][]*Column // by sheet and normal form
	found   map[string][]meaning            // by sheet and heading, as far as it was asked for
}

func newHeads(p *schema.Plan) *heads {
	h := &heads{columns: Columns(p), lists: map[string]string{}, forms: map[string]map[string][]*Column{},
		found: map[string][]meaning{}}
	for i := range h.columns {
		c := &h.columns[i]
		if h.forms[c.Sheet] == nil {
			h.sheets = append(h.sheets, c.Sheet)
			h.forms[c.Sheet] = map[string][]*Column{}
		}
		if c.List != "" {
			h.lists[c.Sheet] = strings.TrimSuffix(c.List, "/*")
		}
		h.add(c.Sheet, c)
	}
	for sheet := range h.lists { // a list may have its own day beside its times
		h.add(sheet, &Column{Sheet: sheet, Heading: "date", Field: DateField})
	}
	return h
}

// add makes a column known by its heading, its field's name, and people's words for it.
func (h *heads) add(sheet string, c *Column) {
	base, _, _ := splitUnit(c.Heading)
	name := strings.TrimPrefix(c.Field, rosterPrefix)
	names := []string{c.Heading, base, last(name), strings.NewReplacer("/*", "", "/", " ").Replace(name)}
	for _, form := range append(forms(names), headingWords()[c.Field]...) {
		known := h.forms[sheet][form]
		if !slices.Contains(known, c) {
			h.forms[sheet][form] = append(known, c)
		}
	}
}

// A meaning is what a heading stands for.
type meaning struct {
	column *Column
	entry  string // of a list in the session's own row: "a" in "barcode A"; "" for the row's one entry
	unit   unit   // that the heading names; zero for none
}

// meanings returns what a heading can stand for in a sheet, the heading's own words
// before the same without a unit, the sheet's columns before those of lists.
func (h *heads) meanings(sheet, heading string) []meaning {
	key := sheet + "\x00" + heading
	found, ok := h.found[key]
	if !ok {
		found = h.look(sheet, heading)
		h.found[key] = found
	}
	return found
}

func (h *heads) look(sheet, heading string) []meaning {
	base, u, hasUnit := splitUnit(heading)
	whole := h.exact(sheet, normal(heading), unit{}, false)
	if len(whole) > 0 && !hasUnit {
		return whole
	}
	if found := h.exact(sheet, normal(base), u, hasUnit); len(found) > 0 {
		return found
	}
	if len(whole) > 0 || sheet != SessionsSheet {
		return whole
	}
	return h.inLists(base, u, hasUnit)
}

// exact returns the columns of a normal form whose quantity is that of the unit.
func (h *heads) exact(sheet, form string, u unit, hasUnit bool) []meaning {
	var found []meaning
	for _, c := range h.forms[sheet][form] {
		if hasUnit {
			if own, ok := unitOf(c.Unit); !ok || own.quantity != u.quantity {
				continue
			}
		}
		found = append(found, meaning{column: c, unit: u})
	}
	return found
}

// inLists returns the columns of lists that a heading in the sheet of sessions names:
// "barcode A" that of entry a, "barcode" that of the row's only entry.
func (h *heads) inLists(base string, u unit, hasUnit bool) []meaning {
	var found []meaning
	parts := tokens(base)
	if len(parts) > mostWords {
		return nil
	}
	for _, sheet := range h.sheets {
		list := h.lists[sheet]
		if list == "" {
			continue
		}
		keep := func(ms []meaning, entry string) {
			for _, m := range ms {
				m.entry = entry
				if m.column.List != "" && !slices.ContainsFunc(found, func(o meaning) bool {
					return o.column == m.column && o.entry == m.entry
				}) {
					found = append(found, m)
				}
			}
		}
		keep(h.exact(sheet, strings.Join(parts, ""), u, hasUnit), "")
		for i, part := range parts {
			if !marksEntry(part) {
				continue
			}
			rest := slices.Delete(slices.Clone(parts), i, i+1)
			keep(h.exact(sheet, strings.Join(rest, ""), u, hasUnit), part)
			for j := range rest {
				if namesList(list, rest[j]) {
					keep(h.exact(sheet, strings.Join(slices.Delete(slices.Clone(rest), j, j+1), ""), u, hasUnit),
						part)
				}
			}
		}
	}
	return found
}

// mostWords is how many words a heading of a list's entry may have.
const mostWords = 12

// marksEntry reports whether a part of a heading counts the entries of a list.
func marksEntry(part string) bool {
	if n, err := strconv.Atoi(part); err == nil {
		return n >= 1 && n <= 99 && part[0] != '0'
	}
	return len(part) == 1 && unicode.IsLetter(rune(part[0]))
}

// namesList reports whether a word names a list as a whole: "tube" and "röhrchen".
func namesList(list, word string) bool {
	name := normal(last(list))
	return word == name || word+"s" == name || slices.Contains(sheetWords()[list], word)
}

// sheetOf returns the sheet that a name of a sheet or file stands for, "" for none.
func (h *heads) sheetOf(name string) string {
	form := normal(name)
	for _, sheet := range h.sheets {
		key := sheet
		if h.lists[sheet] != "" {
			key = h.lists[sheet]
		}
		if form == normal(sheet) || slices.Contains(sheetWords()[key], form) {
			return sheet
		}
	}
	return ""
}

// byField returns the column of a field in a sheet, or nil.
func (h *heads) byField(sheet, field string) *Column {
	for i := range h.columns {
		if c := &h.columns[i]; c.Sheet == sheet && c.Field == field {
			return c
		}
	}
	for _, known := range h.forms[sheet] {
		for _, c := range known {
			if c.Field == field {
				return c
			}
		}
	}
	return nil
}
