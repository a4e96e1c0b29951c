package deid

import (
	"errors"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
	"unicode"

	"outbreath/deid/leak"
	"outbreath/schema"

	"golang.org/x/text/unicode/norm"
)

// A treater applies a plan to records. Safe for concurrent use.
type treater struct {
	plan     *schema.Plan
	root     *step
	outgoing *schema.Validator // checks every treated record
	names    *Pseudonymiser
	initials map[string][]string // of the roster's subjects, by canonical identifier
	listed   *listedNumbers
	first    map[string]time.Time // civil date of a subject's first session, by canonical identifier
	values   []atomic.Int64       // by index of Plan.Fields: values treated
}

func newTreater(plan *schema.Plan, roster *schema.Roster, names *Pseudonymiser) (*treater, error) {
	outgoing, err := schema.CompileOutgoing(plan.Outgoing())
	if err != nil {
		return nil, err
	}
	initials := map[string][]string{}
	if roster != nil {
		for _, row := range roster.Rows {
			if id, err := schema.Canonical(row["subject_id"]); err == nil {
				initials[id] = leak.Initials(row["given_name"], row["family_name"])
			}
		}
	}
	return &treater{plan, steps(plan), outgoing, names, initials, newListedNumbers(roster),
		map[string]time.Time{}, make([]atomic.Int64, len(plan.Fields))}, nil
}

// firstOf notes the first session of each subject, for the days that are counted from it.
func (t *treater) firstOf(sessions []*schema.Session) {
	for _, s := range sessions {
		id, err := schema.Canonical(s.Subject)
		if day := civilDay(s.Started); err == nil && !s.Started.IsZero() {
			if first, ok := t.first[id]; !ok || day.Before(first) {
				t.first[id] = day
			}
		}
	}
}

// civilDay returns the civil date of t, where t was taken, as midnight UTC.
func civilDay(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}

// A visit is a session while it is treated.
type visit struct {
	*schema.Session
	name      string    // the session's pseudonym
	subject   string    // the subject's
	day       time.Time // civil date of the session as written in the record, midnight UTC
	first     time.Time // the same of the subject's first session in the collection
	shift     int       // days
	textShift int       // days by which dates in free text move; 0: they are removed
	initials  []string  // of the subject
	numbers   []string  // in the subject's row of the roster
	places    []place   // texts of the treated record to search
	faults    []schema.Problem
	absent    []schema.Problem // recordings that the folder does not hold
}

// visit prepares a session: its pseudonyms, its shift, and what the search needs. If
// that fails, the fault is in the visit that it returns as well.
func (t *treater) visit(s *schema.Session) (*visit, error) {
	v := &visit{Session: s, places: make([]place, 0, 24)} // a usual record has fewer
	if id, err := schema.Canonical(s.Subject); err == nil {
		v.initials, v.numbers, v.first = t.initials[id], t.listed.of[id], t.first[id]
	}
	v.day = civilDay(s.Started)
	var err1, err2, err3 error
	v.name, err1 = t.names.Session(s.ID)
	v.subject, err2 = t.names.Subject(s.Subject)
	v.shift, err3 = t.names.ShiftDays(s.Subject)
	if f, ok := t.plan.Field("/started_at"); ok && f.Treatment.Kind == schema.Shift {
		v.textShift = v.shift
	}
	switch {
	case err1 != nil:
		return v, v.fault("/session_id", nil, "treat.pseudonym", err1.Error())
	case err2 != nil:
		return v, v.fault("/subject/subject_id", nil, "treat.pseudonym", err2.Error())
	case err3 != nil:
		return v, v.fault("/subject/subject_id", nil, "treat.shift", err3.Error())
	}
	return v, nil
}

// fault adds a problem of the record to v, and returns all of them as an error. n may
// be nil; otherwise it gives the line.
func (v *visit) fault(pointer string, n *schema.Node, rule, message string) error {
	p := schema.Problem{File: v.File, Pointer: pointer, Rule: rule, Severity: schema.Error, Message: message}
	if n != nil {
		p.Line, p.Column = n.Line, n.Column
	}
	v.faults = append(v.faults, p)
	return &schema.QueriesError{Problems: v.faults}
}

// record returns the treated record, with its members in the plan's order. It contains
// only values for which the plan has a field. Faults are added to v.
func (t *treater) record(v *visit) *schema.Node {
	out := t.node(v, v.Doc, t.root, "")
	if len(v.faults) > 0 {
		return nil
	}
	v.faults = append(v.faults, t.prove(v.File, out)...)
	return out
}

// prove checks a treated record against the schema that goes to the laboratory.
func (t *treater) prove(file string, out *schema.Node) []schema.Problem {
	faults := t.outgoing.Validate(file, out)
	for i := range faults {
		faults[i].Rule = "treat.outgoing"
		faults[i].Message = "after treatment this field does not fit the outgoing schema (" + faults[i].Message +
			"); correct the record, or ask the privacy officer to correct the plan"
	}
	return faults
}

// node treats n, which is at pointer and described by s. It returns nil for what does
// not leave.
func (t *treater) node(v *visit, n *schema.Node, s *step, pointer string) *schema.Node {
	out := &schema.Node{Kind: n.Kind, Line: n.Line, Column: n.Column}
	gone := false
	switch {
	case n.Kind == schema.Object && s.members != nil:
		t.members(v, n, s, pointer, out)
		gone = s.allGone
	case n.Kind == schema.Array && s.item != nil:
		for i, item := range n.Items {
			if made := t.node(v, item, s.item, pointer+"/"+strconv.Itoa(i)); made != nil {
				out.Items = append(out.Items, made)
			}
		}
		gone = s.item.gone
	case s.field >= 0 && n.Kind != schema.Object && n.Kind != schema.Array:
		if s.fieldGone {
			t.count(s)
			return nil
		}
		return t.leaf(v, n, s, pointer)
	default:
		v.fault(pointer, n, "treat.unplanned", "the plan has no treatment for this value, so it cannot leave; "+
			"remove it, or ask the privacy officer for a plan that names it")
		return nil
	}
	if gone {
		return nil
	}
	return out
}

// members treats the members of object n into out. A member that the plan does not name
// is a fault: it must neither leave nor vanish silently.
func (t *treater) members(v *visit, n *schema.Node, s *step, pointer string, out *schema.Node) {
	known := 0
	out.Members = make([]schema.Member, 0, len(n.Members))
	for _, m := range s.members {
		value := n.Member(m.name)
		if value == nil {
			continue
		}
		known++
		if made := t.node(v, value, m, pointer+"/"+m.name); made != nil {
			out.Members = append(out.Members, schema.Member{Name: m.name, Value: made})
		}
	}
	if known < len(n.Members) {
		v.fault(pointer, n, "treat.unplanned", "this object has a field that the plan does not name, so it cannot "+
			"leave; remove it, or ask the privacy officer for a plan that names it")
	}
}

func (t *treater) count(s *step) {
	if s.field >= 0 {
		t.values[s.field].Add(1)
	}
}

// leaf treats a single value.
func (t *treater) leaf(v *visit, n *schema.Node, s *step, pointer string) *schema.Node {
	f := &t.plan.Fields[s.field]
	t.count(s)
	if n.Kind == schema.Null {
		if !slices.Contains(f.Types, "null") {
			v.fault(pointer, n, "treat.unplanned", "the plan does not let a null leave from here; remove it")
		}
		return &schema.Node{Kind: schema.Null, Line: n.Line, Column: n.Column}
	}
	out, err := t.value(v, n, f, pointer)
	if err != nil {
		v.fault(pointer, n, "treat."+string(f.Treatment.Kind), err.Error())
		return nil
	}
	out.Line, out.Column = n.Line, n.Column
	return out
}

var errKind = errors.New("this treatment is not possible for a value of this kind; correct the record, or ask the " +
	"privacy officer to correct the plan")

// value treats one value, which is not null, as f requires. Values that leave in a
// person's words are added to v.places.
func (t *treater) value(v *visit, n *schema.Node, f *schema.Field, pointer string) (*schema.Node, error) {
	treatment := f.Treatment
	if n.Kind == schema.String && (treatment.Kind == schema.Keep || treatment.Kind == schema.Text) {
		if _, message, found := schema.Hidden(n.Text); found {
			return nil, errors.New(message)
		}
	}
	if treatment.Kind == schema.Keep || treatment.Kind == schema.Shift {
		if message := f.TooLong(n); message != "" {
			return nil, errors.New(message)
		}
	}
	switch {
	case treatment.Kind == schema.Keep:
		v.search(n, f, pointer)
		return &schema.Node{Kind: n.Kind, Text: n.Text}, nil
	case treatment.Kind == schema.Round && n.Kind == schema.Number:
		return number(coded(n.Text, treatment))
	case treatment.Kind == schema.Pseudonym:
		return text(t.pseudonym(v, treatment.Purpose, n))
	case n.Kind != schema.String:
		return nil, errKind
	}
	switch treatment.Kind {
	case schema.Text:
		v.search(n, f, pointer)
		return &schema.Node{Kind: n.Kind, Text: n.Text}, nil
	case schema.Shift:
		return shiftNode(v, n.Text, f)
	case schema.Year:
		return yearNode(v, n.Text)
	case schema.DayCount:
		return dayNode(v, n.Text)
	case schema.AgeBand:
		return text(bandOf(n.Text, v.day, treatment.Width))
	case schema.Region:
		return text(region(n.Text, f.Treatment.Width))
	case schema.Recording:
		return text(v.recordingName(pointer), nil)
	}
	return nil, errKind
}

// pseudonym returns the pseudonym of the code in n; those of the session and its subject are
// already in v.
func (t *treater) pseudonym(v *visit, purpose string, n *schema.Node) (string, error) {
	id := n.Text
	switch {
	case n.Kind == schema.Number:
		whole, err := wholeNumber(id)
		if err != nil {
			return "", err
		}
		id = whole
	case n.Kind != schema.String:
		return "", errKind
	}
	switch {
	case purpose == "subject" && id == v.Subject:
		return v.subject, nil
	case purpose == "session" && id == v.ID:
		return v.name, nil
	}
	return t.names.Code(purpose, id)
}

// wholeNumber returns the decimal digits of a JSON number that is whole and not negative, so
// that 17, 17.0 and "17" are one code.
func wholeNumber(literal string) (string, error) {
	x, ok := new(big.Rat).SetString(literal)
	if !ok || len(literal) > 64 || !x.IsInt() || x.Sign() < 0 || len(x.Num().String()) > 64 {
		return "", errors.New("a code must be a text, or a whole number that is not negative; correct it")
	}
	return x.Num().String(), nil
}

func text(s string, err error) (*schema.Node, error) {
	return &schema.Node{Kind: schema.String, Text: s}, err
}

func number(s string, err error) (*schema.Node, error) {
	return &schema.Node{Kind: schema.Number, Text: s}, err
}

// shiftNode moves a date or date-time by the subject's days, as f says. Without the clock a
// date-time becomes {"date": the session's, moved, "elapsed_s": whole seconds since it began}.
func shiftNode(v *visit, s string, f *schema.Field) (*schema.Node, error) {
	if f.Treatment.Clock != schema.ClockDrop || f.Format != "date-time" {
		return text(shiftDate(s, v.shift, f.Treatment.Clock))
	}
	day, err := moveDay(v.day, v.shift)
	if err != nil {
		return nil, err
	}
	return elapsedNode(v, s, "date", &schema.Node{Kind: schema.String, Text: day})
}

// yearNode reduces a date to its year, and a date-time to
// {"year": of the session, "elapsed_s": whole seconds since the session began}.
func yearNode(v *visit, s string) (*schema.Node, error) {
	date, rest, err := splitDate(s)
	if err != nil {
		return nil, err
	}
	if rest == "" {
		return number(yearOf(date, v.day), nil)
	}
	return elapsedNode(v, s, "year", &schema.Node{Kind: schema.Number, Text: strconv.Itoa(v.Started.Year())})
}

// dayNode reduces a date to the days since the subject's first session in the collection, and a
// date-time to {"day": of the session, "elapsed_s": whole seconds since the session began}.
func dayNode(v *visit, s string) (*schema.Node, error) {
	date, rest, err := splitDate(s)
	if err != nil {
		return nil, err
	}
	if rest == "" {
		return number(daysBetween(v.first, date), nil)
	}
	return elapsedNode(v, s, "day", &schema.Node{Kind: schema.Number, Text: daysBetween(v.first, v.day)})
}

// elapsedNode reduces a date-time to an object: the member name with the value of the session's
// day, and the whole seconds since the session began.
func elapsedNode(v *visit, s, name string, day *schema.Node) (*schema.Node, error) {
	at, err := parseTime(s)
	if err != nil {
		return nil, err
	}
	return &schema.Node{Kind: schema.Object, Members: []schema.Member{
		{Name: name, Value: day},
		{Name: "elapsed_s", Value: &schema.Node{Kind: schema.Number, Text: elapsedSeconds(v.Started, at)}},
	}}, nil
}

// bandOf returns the age band of somebody born on the date birth, on the day of the
// session.
func bandOf(birth string, day time.Time, width int) (string, error) {
	date, rest, err := splitDate(birth)
	if err != nil || rest != "" {
		return "", errDate
	}
	age := ageAt(date, day)
	if age < 0 {
		return "", errors.New("the birth date lies after the session; correct the wrong one of the two")
	}
	return ageBand(age, width), nil
}

// The areas with these first three digits of the postal code have 20,000 or fewer
// inhabitants.
//
// Source: 45 CFR 164.514(b)(2)(i)(B); list of the HHS guidance of November 2012
// from the Census of 2000. A newer census may have another list.
var census2000 = []string{
	"036", "059", "063", "102", "203", "556", "692", "790", "821", "823", "830", "831", "878", "879", "884", "890",
	"893",
}

// region shortens a postal code to its first width letters or digits, in upper case.
// With width 0 the form of the code decides: five digits, or nine as in ZIP+4, give
// three; any other code gives two. Three digits of a ZIP code become "000" where too
// few people live.
func region(code string, width int) (string, error) {
	var short []rune
	digits, other := 0, 0
	for _, r := range strings.ToUpper(norm.NFKC.String(code)) {
		switch {
		case r >= '0' && r <= '9':
			digits++
			short = append(short, r)
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			other++
			short = append(short, r)
		}
	}
	zip := other == 0 && (digits == 5 || digits == 9)
	if width == 0 {
		width = 2
		if zip {
			width = 3
		}
	}
	if len(short) < 3 || len(short) <= width {
		return "", errors.New("the postal code is too short to be shortened to a region; correct it, or leave the " +
			"field out")
	}
	prefix := string(short[:width])
	if zip && slices.Contains(census2000, prefix) {
		return "000", nil
	}
	return prefix, nil
}

// coded rounds a number and, if t is coded, raises or lowers it to the limits of t.
func coded(literal string, t schema.Treatment) (string, error) {
	s, err := roundTo(literal, t.Width)
	if err != nil || !t.Coded {
		return s, err
	}
	n, ok := new(big.Int).SetString(s, 10)
	switch {
	case !ok:
		return "", errKind
	case n.Cmp(big.NewInt(int64(t.From))) < 0:
		return strconv.Itoa(t.From), nil
	case n.Cmp(big.NewInt(int64(t.To))) > 0:
		return strconv.Itoa(t.To), nil
	}
	return s, nil
}

// roundTo rounds a JSON number to the nearest multiple of width, half away from zero,
// and returns it as an integer literal. It uses exact arithmetic, because a float would
// round some literals the wrong way.
func roundTo(literal string, width int) (string, error) {
	x, ok := new(big.Rat).SetString(literal)
	if !ok || len(literal) > 64 {
		return "", errKind
	}
	w := big.NewRat(int64(width), 1)
	x.Quo(x, w)
	half := big.NewRat(1, 2)
	if x.Sign() < 0 {
		half.Neg(half)
	}
	x.Add(x, half)
	n := new(big.Int).Quo(x.Num(), x.Denom()) // towards zero
	s := n.Mul(n, w.Num()).String()
	if len(s) > 64 {
		return "", errors.New("the number is too large to be rounded; correct it")
	}
	return s, nil
}

// recordingName returns the name under which a recording leaves, for the pointer
// ("/recordings/0/file") at which the record names it. A recording that is not in the
// folder gets a name as well: the rest of the record can then still be checked.
func (v *visit) recordingName(pointer string) string {
	format := ""
	for _, r := range v.Recordings {
		if r.Pointer == pointer {
			format = r.Format
		}
	}
	if format != "csv" && format != "edf" {
		v.absent = append(v.absent, schema.Problem{File: v.File, Pointer: pointer, Rule: "treat.recording",
			Severity: schema.Error,
			Message:  "the recording named here was not in the folder when it was read; put it there"})
		format = "csv"
	}
	i, _ := strconv.Atoi(strings.Split(pointer+"//", "/")[2])
	return "recordings/" + v.name + "-" + strconv.Itoa(i+1) + "." + format
}
