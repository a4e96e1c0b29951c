package schema

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Values held against the habit of their own column: one that occurs once among many equal
// ones, a number that counts up where it should repeat, a value that belongs into another
// column. The limits are our own (common practice, no source).

const (
	fewHabit = 5 // how many sessions show what a column repeats
	countsUp = 4 // so many numbers in a row, each one more, were not read from a label
	mostSlip = 2 // characters by which a typing error differs

	// A folder of more sessions is no week of a site, and what is rare in it is no longer odd.
	habitsUpTo = 5000
)

// A habit is a column whose values repeat from one session to another.
type habit struct {
	pointer, what string
	slips         bool // a person types it, so that it may be typed wrongly
	few           int  // equal values, so that a single other one is odd; 0: never, if it is typed right
	changes       bool // for good within a week: what begins with the last session may be right
	counts        bool // a spreadsheet's fill handle may count it up
}

var habits = []habit{
	{"/kit/lot", "lot", true, 0, true, true},
	{"/sampler/serial", "serial", true, 0, false, true},
	{"/sampler/firmware", "firmware", true, 0, true, true},
	{"/operator", "operator", true, 0, false, true},
	{"/fraction", "fraction", false, 8, false, false},
	{"/tubes/*/sorbent", "sorbent", true, fewHabit, true, true},
	{"/tubes/*/storage", "storage", false, 8, true, false},
	{"/tubes/*/nominal_ml", "nominal_ml", false, fewHabit, true, true},
	{"/tubes/*/flow_start_ml_min", "flow_start_ml_min", false, 0, false, true},
	{"/tubes/*/volume_ml", "volume_ml", false, 0, false, true},
	{"/room_kpa", "room_kpa", false, 0, false, true},
	{"/subject/height_cm", "height_cm", false, 0, false, true},
	{"/subject/weight_kg", "weight_kg", false, 0, false, true},
}

// A cell is one value of a column.
type cell struct {
	s             *Session
	pointer, text string
}

// column returns the values at pointer, in the order of the files.
func (c *Collection) column(pointer string) (out []cell) {
	for _, s := range c.Sessions {
		for _, at := range s.pointers(pointer) {
			if text := literal(s.Doc.At(at)); text != "" {
				out = append(out, cell{s, at, text})
			}
		}
	}
	return out
}

// told returns the places that have a problem.
func (c *Collection) told() map[[2]string]bool {
	out := make(map[[2]string]bool)
	for _, p := range c.Problems {
		out[[2]string{p.File, p.Pointer}] = true
	}
	return out
}

// habits reports values that break the habit of their column. What has been said already of
// a value is enough.
func (c *Collection) habits() {
	for _, h := range habits {
		if h.counts {
			c.counted(h)
		}
	}
	c.foreign()
	c.exchangedNumbers()
	told := c.told()
	c.turnedBack(told)
	for _, h := range habits {
		c.strays(h, told)
	}
}

// counted reports numbers that go up by one from session to session and occur nowhere else.
func (c *Collection) counted(h habit) {
	var cells []cell // the first of each session
	count := make(map[string]int)
	for _, v := range c.column(h.pointer) {
		if len(cells) == 0 || cells[len(cells)-1].s != v.s {
			cells = append(cells, v)
			count[v.text]++
		}
	}
	few := countsUp
	switch h.what {
	case "lot", "firmware":
		few-- // that a site uses a new one each day is hardly so
	case "serial", "operator":
		few++ // as many samplers, or people, may take turns
	}
	for from := 0; from < len(cells); {
		to := from + 1
		for to < len(cells) && count[cells[to].text] == 1 && oneMore(cells[to-1].text, cells[to].text) {
			to++
		}
		if to-from >= few && count[cells[from].text] <= max(1, from+1) {
			second := cells[from+1]
			c.report(second.s, second.pointer, "column.counted", Warning, fmt.Sprintf("from this session on %s counts "+
				"up by one in each of %d sessions in a row: a spreadsheet does so when a cell is dragged down, so "+
				"compare each with the notes taken at the time or the label, and correct what is not true",
				h.what, to-from-1))
		}
		from = to
	}
}

// oneMore reports whether b is a but for one number that is greater by one.
func oneMore(a, b string) bool {
	one, look := runs(a)
	two, other := runs(b)
	if squeezed(look) != squeezed(other) || len(one) != len(two) {
		return false
	}
	more := 0
	for i := range one {
		v, _ := figure(one[i])
		w, _ := figure(two[i])
		switch w - v {
		case 0:
		case 1:
			more++
		default:
			return false
		}
	}
	return more == 1 && lettersOf(a) == lettersOf(b)
}

// squeezed writes each run of one kind of a look as one character.
func squeezed(look string) string {
	return string(slices.Compact([]byte(look)))
}

// lettersOf returns a text without its digits.
func lettersOf(text string) string {
	return strings.Map(func(r rune) rune {
		if '0' <= r && r <= '9' {
			return -1
		}
		return r
	}, text)
}

// strays reports the value of one session alone, where all others are equal or where it is
// nearly a frequent one.
func (c *Collection) strays(h habit, told map[[2]string]bool) {
	cells := c.column(h.pointer)
	count := make(map[string]int)           // values
	sessions := make(map[string][]*Session) // that have a value
	order := make(map[*Session]int)         // of the sessions that have one
	for _, v := range cells {
		count[v.text]++
		if at := sessions[v.text]; len(at) == 0 || at[len(at)-1] != v.s {
			sessions[v.text] = append(at, v.s)
		}
		if _, in := order[v.s]; !in {
			order[v.s] = len(order)
		}
	}
	said := 0
	for _, v := range cells {
		if len(sessions[v.text]) > 1 || count[v.text] > 1 || told[[2]string{v.s.File, v.pointer}] || said >= mostOdd {
			continue
		}
		at := order[v.s]
		edge := h.changes && (at == 0 || at == len(order)-1)
		usual, why := "", ""
		for _, text := range commonFirst(count) {
			few := fewHabit
			if lettersOf(v.text) != lettersOf(text) {
				few = fewSessions - 1 // no number of another thing
			}
			if h.slips && len(sessions[text]) >= few && slip(v.text, text) {
				usual, why = text, "differs by a character or two from"
				break
			}
			if h.few > 0 && count[text] >= h.few && count[text] == len(cells)-1 && !edge {
				usual, why = text, "is not"
				break
			}
		}
		if usual == "" {
			continue
		}
		said++
		c.report(v.s, v.pointer, "column.once", Warning, fmt.Sprintf("this %s occurs once and %s that of %d others: "+
			"look at the label or the notes taken at the time, and correct it if it was mistyped", h.what, why,
			count[usual]))
	}
}

// commonFirst returns the values, the most frequent first.
func commonFirst(count map[string]int) []string {
	var out []string
	for text := range count {
		out = append(out, text)
	}
	slices.SortFunc(out, func(a, b string) int { return cmp.Or(count[b]-count[a], cmp.Compare(a, b)) })
	return out[:min(len(out), mostOdd)]
}

// slip reports whether a is b with a typing error: two characters exchanged, one missing or
// too much, a letter replaced, or a mark that is another. Another digit alone may be another
// thing's number, which is nothing unusual.
func slip(a, b string) bool {
	if strings.EqualFold(a, b) {
		return true
	}
	if len(a) < 3 || len(b) < 3 || edits(strings.ToLower(a), strings.ToLower(b)) > mostSlip {
		return false
	}
	one, look := runs(a)
	two, other := runs(b)
	if lettersOf(a) == lettersOf(b) && look == other {
		return swapped(a, b)
	}
	if slices.Equal(one, two) { // a letter, or a mark
		return len(lettersOf(a)) > 1 || len(lettersOf(b)) > 1
	}
	return strings.EqualFold(strings.Join(one, ""), strings.Join(two, "")) // 3.21 for 3.2.1
}

// swapped reports whether a is b with two neighbouring characters exchanged.
func swapped(a, b string) bool {
	if len(a) != len(b) {
		return false
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	return i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:]
}

// edits is Levenshtein's distance: how many characters are put in, left out or replaced.
// V. I. Levenshtein, Soviet Physics Doklady 10 (1966) 707.
func edits(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		before := row[0]
		row[0] = i + 1
		for j := range len(b) {
			replaced := before
			if a[i] != b[j] {
				replaced++
			}
			before = row[j+1]
			row[j+1] = min(replaced, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// turnedBack reports a firmware that a sampler has in one session while it has another in
// those before and after: it does not go back and forth.
func (c *Collection) turnedBack(told map[[2]string]bool) {
	bySampler := make(map[string][]cell)
	var serials []string
	for _, s := range c.byStart() {
		serial, text := literal(s.Doc.At("/sampler/serial")), literal(s.Doc.At("/sampler/firmware"))
		if serial == "" || text == "" {
			continue
		}
		if bySampler[serial] == nil {
			serials = append(serials, serial)
		}
		bySampler[serial] = append(bySampler[serial], cell{s, "/sampler/firmware", text})
	}
	for _, serial := range serials {
		all := bySampler[serial]
		for i := 1; i < len(all)-1; i++ {
			v, at := all[i], [2]string{all[i].s.File, all[i].pointer}
			if v.text == all[i-1].text || all[i-1].text != all[i+1].text || len(all) < fewSessions || told[at] {
				continue
			}
			told[at] = true
			c.report(v.s, v.pointer, "column.back", Warning, fmt.Sprintf("this firmware differs from that of the same "+
				"sampler in the session before (%s) and in the one after, which are equal: look at the sampler, and "+
				"correct the firmware, or the serial if another sampler was used", all[i-1].s.at(v.pointer)))
		}
	}
}
