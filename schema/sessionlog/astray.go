package sessionlog

import (
	"fmt"
	"slices"
	"strings"
)

// An orphan is a number in the tables of lists that no session has.
type orphan struct {
	id string   // as it is written
	at []string // the cells
}

// stray keeps the number of a row whose session is not there.
func (r *reader) orphaned(s *source, canonical, id, at string) {
	o := r.orphans[canonical]
	if o == nil {
		o = &orphan{id: id}
		r.orphans[canonical] = o
		r.lost = append(r.lost, o)
	}
	o.at = append(o.at, at)
	r.astray[r.heads.lists[s.sheet]+"/*"] = true
}

// adrift objects once to each number that no session has, and names the session that is
// probably meant: one that has nothing in the same tables.
func (r *reader) adrift() {
	var bare []*session // without an entry in these tables
	for _, s := range r.sessions {
		entries := 0
		for list := range r.astray {
			entries += len(s.lists[list])
		}
		if entries == 0 {
			bare = append(bare, s)
		}
	}
	if len(r.lost) > 2 && len(bare) == len(r.sessions) && len(bare) > 0 {
		var at, of []string
		for _, o := range r.lost {
			at = append(at, o.at...)
		}
		for _, s := range bare {
			of = append(of, s.Where)
		}
		r.problem(cells(at), sessionField, "none of these numbers is in the table of sessions, and no session there ("+
			cells(of)+") has entries here: the two are written differently, or of different weeks; correct the one "+
			"that is wrong")
		return
	}
	for _, o := range r.lost {
		text := "no session has this number: correct it, here or in the table of sessions"
		if s := o.meant(bare, len(r.lost)); s != nil {
			text = fmt.Sprintf("no session has this number, and the session at %s has no such entry: if it "+
				"is the same "+
				"one, correct the number that is wrong, here or there; else add the session", s.Where)
		}
		r.problem(cells(o.at), sessionField, text)
	}
}

// meant returns the session whose number was probably to be written: the only one without
// entries, or the only one of them whose number differs by a slip of the fingers.
func (o *orphan) meant(bare []*session, orphans int) *session {
	if len(bare) == 1 && orphans == 1 {
		return bare[0]
	}
	var near []*session
	for _, s := range bare {
		if slip(clean(o.id), clean(s.ID)) {
			near = append(near, s)
		}
	}
	if len(near) != 1 {
		return nil
	}
	return near[0]
}

// slip reports whether two texts differ by one character more, less or otherwise, or by
// two neighbours that are exchanged.
func slip(a, b string) bool {
	x, y := []rune(strings.ToLower(a)), []rune(strings.ToLower(b))
	for len(x) > 0 && len(y) > 0 && x[0] == y[0] {
		x, y = x[1:], y[1:]
	}
	for len(x) > 0 && len(y) > 0 && x[len(x)-1] == y[len(y)-1] {
		x, y = x[:len(x)-1], y[:len(y)-1]
	}
	return max(len(x), len(y)) <= 1 || len(x) == 2 && len(y) == 2 && x[0] == y[1] && x[1] == y[0]
}

// sameWriting reports whether two numbers of sessions are one as people write them: they
// have the same words and numbers, whatever is between.
func sameWriting(a, b string) bool { return slices.Equal(tokens(a), tokens(b)) }

// folded says why two numbers that are written differently count as one.
func folded(first string) string {
	return fmt.Sprintf("the number at %s is written differently and counts as the same one, because only letters and "+
		"digits are compared (1-11 and 11-1 are 111): if these are two sessions, give one of them another number; if "+
		"it is one, write both alike", first)
}

// missingAt returns the cell in which the value of a required field would be: that of its
// column in the row that the object at pointer came from. "" if there is none.
func (r *reader) missingAt(s *session, pointer, name string) string {
	at, field := rowOf{s.src, s.row}, fieldOf(pointer)+"/"+name
	for p := pointer; p != ""; p = p[:strings.LastIndexByte(p, '/')] {
		if from, ok := s.from[p]; ok {
			at = from
			break
		}
	}
	for _, c := range at.s.cols {
		if c.column != nil && c.column.Field == field {
			return at.s.ref(at.row, c.col)
		}
	}
	return ""
}

// memberOf returns the name of the member that a message of the plan begins with:
// "checks[0].passed is missing" is about passed.
func memberOf(message string) string {
	name, _, _ := strings.Cut(message, " ")
	return name[strings.LastIndexByte(name, '.')+1:]
}
