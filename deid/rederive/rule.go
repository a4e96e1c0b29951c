package rederive

import (
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"outbreath/schema"
)

// A rule is a treatment as the plan's page and treatment.json name it.
type rule struct {
	kind    string // "keep", "drop", "pseudonym", "shift", "day", "year", ...
	purpose string // of a pseudonym
	clock   string // of a shift: "keep", "hour" or "drop"
	width   int
	coded   bool // from and to bound the result
	from    int64
	to      int64
}

// ruleOf reads the words of a treatment, such as "round 5, 140 to 200".
func ruleOf(t schema.Treatment) (r rule, err error) {
	words := strings.Fields(strings.ReplaceAll(t.String(), ",", " , "))
	unknown := fmt.Errorf("the plan has a treatment that cannot be computed again here")
	if len(words) == 0 {
		return r, unknown
	}
	r.kind = words[0]
	rest := strings.Join(words[1:], " ")
	switch r.kind {
	case "keep", "drop", "year", "text", "recording", "day":
		if rest != "" {
			return r, unknown
		}
	case "shift":
		clock, ok := map[string]string{"": "keep", ", hour": "hour", ", no clock": "drop"}[rest]
		if !ok {
			return r, unknown
		}
		r.clock = clock
	case "pseudonym":
		r.purpose = rest
		if rest == "" || rest == forShift || len(words) != 2 {
			return r, unknown
		}
	case "region":
		if rest != "" {
			r.width, err = strconv.Atoi(rest)
		}
	case "age-band":
		r.width, err = strconv.Atoi(rest)
	case "round":
		if len(words) == 6 {
			r.coded = true
			_, err = fmt.Sscanf(rest, "%d , %d to %d", &r.width, &r.from, &r.to)
		} else {
			r.width, err = strconv.Atoi(rest)
		}
	default:
		return r, unknown
	}
	if err != nil || r.kind == "round" && r.width < 1 || r.kind == "age-band" && r.width < 1 {
		return r, unknown
	}
	return r, nil
}

// A step is one place of the plan's tree.
type step struct {
	name    string
	field   int // index of the plan's field; -1 for none
	members []*step
	entries *step // of a list
	leaves  bool  // some field at or below this place is not dropped
}

// tree arranges the fields of a plan by their paths, in the plan's order.
func tree(fields []schema.Field, rules []rule) *step {
	root := &step{field: -1}
	for i, f := range fields {
		at := root
		at.leaves = at.leaves || rules[i].kind != "drop"
		for token := range strings.SplitSeq(strings.TrimPrefix(f.Path, "/"), "/") {
			at = at.child(token)
			at.leaves = at.leaves || rules[i].kind != "drop"
		}
		at.field = i
	}
	return root
}

func (s *step) child(token string) *step {
	if token == "*" {
		if s.entries == nil {
			s.entries = &step{name: token, field: -1}
		}
		return s.entries
	}
	for _, m := range s.members {
		if m.name == token {
			return m
		}
	}
	m := &step{name: token, field: -1}
	s.members = append(s.members, m)
	return m
}

var errValue = errors.New("the source has a value there to which its treatment cannot be applied")

// smallZIP are the beginnings of ZIP codes with 20,000 or fewer inhabitants.
//
// Source: HHS, "Guidance Regarding Methods for De-identification of Protected Health
// Information", 26 November 2012, of the Census of 2000; 45 CFR 164.514(b)(2)(i)(B).
const smallZIP = " 036 059 063 102 203 556 692 790 821 823 830 831 878 879 884 890 893 "

// regionOf returns the beginning of a postal code that leaves.
func regionOf(code string, width int) (string, error) {
	var kept []rune
	zip := true
	for _, r := range norm.NFKC.String(code) {
		for _, r := range strings.ToUpper(string(r)) {
			if unicode.IsLetter(r) || unicode.IsDigit(r) {
				kept = append(kept, r)
				zip = zip && '0' <= r && r <= '9'
			}
		}
	}
	zip = zip && (len(kept) == 5 || len(kept) == 9)
	if width == 0 {
		if width = 2; zip {
			width = 3
		}
	}
	if len(kept) < 3 || len(kept) <= width {
		return "", errValue
	}
	short := string(kept[:width])
	if zip && strings.Contains(smallZIP, " "+short+" ") {
		return "000", nil
	}
	return short, nil
}

// maxExponent is the greatest power of ten of a number that is read: a double has no greater.
const maxExponent = 308

// exact returns the number that s writes; ok is false for one that is too long or too large
// to be computed with.
func exact(s string) (x *big.Rat, ok bool) {
	_, exponent, powered := strings.Cut(strings.ToLower(s), "e")
	if n, err := strconv.Atoi(exponent); powered && (err != nil || n < -maxExponent || n > maxExponent) {
		return nil, false
	}
	if len(s) > 64 || strings.Trim(s, "0123456789+-.eE") != "" {
		return nil, false
	}
	return new(big.Rat).SetString(s)
}

// rounded returns the multiple of r.width nearest to a number, half away from zero,
// between r.from and r.to if r is coded.
func (r rule) rounded(literal string) (string, error) {
	x, ok := exact(literal)
	if !ok {
		return "", errValue
	}
	// |x| / width + 1/2 = (2 |p| + width q) / (2 width q), rounded down
	p, q, w := new(big.Int).Abs(x.Num()), x.Denom(), big.NewInt(int64(r.width))
	wq := new(big.Int).Mul(w, q)
	n := new(big.Int).Add(new(big.Int).Lsh(p, 1), wq)
	n.Div(n, wq.Lsh(wq, 1)).Mul(n, w)
	if x.Sign() < 0 {
		n.Neg(n)
	}
	if r.coded {
		if low := big.NewInt(r.from); n.Cmp(low) < 0 {
			n = low
		}
		if high := big.NewInt(r.to); n.Cmp(high) > 0 {
			n = high
		}
	}
	return n.String(), nil
}

// band returns the age band of somebody of that age.
//
// Source: 45 CFR 164.514(b)(2)(i)(C): ages of 90 and over in one band.
func band(years, width int) string {
	if years >= 90 {
		return "90+"
	}
	low := years - years%width
	return fmt.Sprintf("%d-%d", low, min(low+width-1, 89))
}

// A visit is what the treatment of one record depends on.
type visit struct {
	*session
	keys *keyring
	name string // pseudonym of the session
	who  string // of the subject
	days int    // shift
	sums int64  // texts of the record that are searched

	counted bool // count the values by field
}

// derive returns the value that leaves for the value n of the source; nil if none does.
func (c *Comparison) derive(v *visit, n *node, s *step, pointer string) (*node, error) {
	switch {
	case n.kind == object && s.members != nil:
		out := &node{kind: object}
		known := 0
		for _, m := range s.members {
			value := n.member(m.name)
			if value == nil {
				continue
			}
			known++
			made, err := c.derive(v, value, m, pointer+"/"+m.name)
			if err != nil {
				return nil, err
			}
			if made != nil {
				out.put(m.name, made)
			}
		}
		if known < len(n.names) {
			return nil, errors.New("the source has a member there that the plan does not name")
		}
		if !slices.ContainsFunc(s.members, func(m *step) bool { return m.leaves }) {
			return nil, nil
		}
		return out, nil
	case n.kind == array && s.entries != nil:
		out := &node{kind: array}
		for i, item := range n.items {
			made, err := c.derive(v, item, s.entries, pointer+"/"+strconv.Itoa(i))
			if err != nil {
				return nil, err
			}
			if made != nil {
				out.items = append(out.items, made)
			}
		}
		if !s.entries.leaves {
			return nil, nil
		}
		return out, nil
	case n.kind == object || n.kind == array || s.field < 0:
		return nil, errors.New("the source has a value there for which the plan has no treatment")
	}
	if v.counted {
		c.counts[s.field]++
	}
	switch r := c.rules[s.field]; {
	case r.kind == "drop":
		return nil, nil
	case n.kind == null:
		return n, nil
	default:
		return c.value(v, n, s.field, pointer)
	}
}

// value treats a value that is neither null nor dropped.
func (c *Comparison) value(v *visit, n *node, field int, pointer string) (*node, error) {
	f, r := &c.source.Fields[field], c.rules[field]
	if (r.kind == "keep" || r.kind == "text") && !f.Enum && f.Format == "" && n.kind != truth {
		v.sums++
	}
	switch {
	case r.kind == "keep":
		return n, nil
	case r.kind == "round" && n.kind == number:
		s, err := r.rounded(n.text)
		return num(s), err
	case r.kind == "pseudonym" && (n.kind == text || n.kind == number):
		return v.pseudonym(r.purpose, n)
	case n.kind != text:
		return nil, errValue
	}
	switch r.kind {
	case "text":
		return &node{kind: text, text: n.text, open: c.opening(v, n.text, pointer)}, nil
	case "region":
		s, err := regionOf(n.text, r.width)
		return str(s), err
	case "recording":
		i, _ := strconv.Atoi(strings.Split(pointer+"//", "/")[2])
		if i >= len(v.recordings) || v.recordings[i].pointer != pointer {
			return nil, errValue
		}
		return str(v.recordings[i].leaves(v.name)), nil
	}
	return v.dated(r, n.text)
}

// pseudonym returns the pseudonym of a code, which may be a whole number.
func (v *visit) pseudonym(purpose string, n *node) (*node, error) {
	code := n.text
	if n.kind == number {
		x, ok := exact(code)
		if !ok || !x.IsInt() || x.Sign() < 0 {
			return nil, errValue
		}
		code = x.Num().String()
	}
	id, err := canonical(code)
	if err != nil {
		return nil, errValue
	}
	return str(v.keys.pseudonym(purpose, id)), nil
}

// dated treats a date, or a date and time.
func (v *visit) dated(r rule, s string) (*node, error) {
	date, whole10 := parseDay(s)
	at, timed := parseClock(s)
	switch {
	case whole10 == timed: // neither
		return nil, errValue
	case timed:
		return v.timed(r, at)
	}
	switch r.kind {
	case "shift":
		if moved := (date - day(v.days)).String(); moved != "" {
			return str(moved), nil
		}
	case "day":
		return whole(int(date - v.first())), nil
	case "year":
		if age(date, v.started.day) >= 89 { // 45 CFR 164.514(b)(2)(i)(C): such a year may be that of a birth
			return whole(v.started.day.year() - 90), nil
		}
		return whole(date.year()), nil
	case "age-band":
		if years := age(date, v.started.day); years >= 0 {
			return str(band(years, r.width)), nil
		}
	}
	return nil, errValue
}

// timed treats a date and time.
func (v *visit) timed(r rule, at clock) (*node, error) {
	elapsed := func(name string, first *node) *node {
		out := &node{kind: object}
		out.put(name, first)
		out.put("elapsed_s", whole(at.elapsed(v.started)))
		return out
	}
	switch r.kind {
	case "year":
		return elapsed("year", whole(v.started.day.year())), nil
	case "day":
		return elapsed("day", whole(int(v.started.day-v.first()))), nil
	case "shift":
		moved := (at.day - day(v.days)).String()
		if r.clock == "drop" {
			moved = (v.started.day - day(v.days)).String()
		}
		switch {
		case moved == "":
			return nil, errValue
		case r.clock == "drop":
			return elapsed("date", str(moved)), nil
		case r.clock == "hour":
			return str(moved + "T" + at.time[:2]), nil
		}
		return str(moved + "T" + at.time), nil
	}
	return nil, errValue
}
