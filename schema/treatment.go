package schema

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// TreatmentKind names what is done to a field before it leaves.
type TreatmentKind string

const (
	Keep      TreatmentKind = "keep"
	Drop      TreatmentKind = "drop"
	Pseudonym TreatmentKind = "pseudonym" // Purpose: subject, session, operator or another kind of code
	Shift     TreatmentKind = "shift"     // date or date-time; Clock
	Year      TreatmentKind = "year"      // date or date-time
	DayCount  TreatmentKind = "day"       // date or date-time: days since the subject's first session
	AgeBand   TreatmentKind = "age-band"  // Width in years; from a birth date and the session's date
	Region    TreatmentKind = "region"    // postal code prefix; Width characters, or 0: by the form of the code
	Round     TreatmentKind = "round"     // Width: to the nearest multiple
	Text      TreatmentKind = "text"      // leak-checked free text
	Recording TreatmentKind = "recording" // the name of a recording file, treated by its format's rules
)

// A Treatment is the value of the annotation keyword "deid".
type Treatment struct {
	Kind    TreatmentKind
	Purpose string // Pseudonym only: a name that purposeForm matches
	Clock   string // Shift only: "" keeps the local time of day, else [ClockHour] or [ClockDrop]
	Width   int    // AgeBand (1..50 years), Round (1..100) and Region (1..3 characters, or 0) only

	// Round only, if Coded: values below From become From, and values above To become To, so
	// that a very short or heavy person is not conspicuous.
	From, To int
	Coded    bool
}

// What [Shift] leaves of the time of day. The offset from UTC never leaves: it shows the season.
const (
	ClockHour = "hour" // the local hour
	ClockDrop = "drop" // none: the session's day, and the seconds since the session began
)

// String returns the treatment in one or two words, for example "age-band 5".
func (t Treatment) String() string {
	switch t.Kind {
	case Pseudonym:
		return string(t.Kind) + " " + t.Purpose
	case Shift:
		return string(t.Kind) + clockNames[t.Clock]
	case AgeBand, Round, Region:
		if t.Width == 0 {
			break
		}
		s := string(t.Kind) + " " + strconv.Itoa(t.Width)
		if t.Coded {
			s += fmt.Sprintf(", %d to %d", t.From, t.To)
		}
		return s
	}
	return string(t.Kind)
}

// clockNames are the ends of the names of [Shift], by Treatment.Clock.
var clockNames = map[string]string{"": "", ClockHour: ", hour", ClockDrop: ", no clock"}

// ParseTreatment is the inverse of [Treatment.String]. It accepts only what String returns for a
// treatment that a plan can have.
func ParseTreatment(s string) (Treatment, error) {
	word, rest, _ := strings.Cut(s, " ")
	if shift, clock, ok := strings.Cut(s, ", "); ok && shift == string(Shift) {
		word, rest = shift, clock
	}
	t, known := Treatment{Kind: TreatmentKind(word)}, false
	switch t.Kind {
	case Keep, Drop, Year, DayCount, Text, Recording:
		known = true
	case Shift:
		t.Clock, known = map[string]string{"hour": ClockHour, "no clock": ClockDrop}[rest], true
	case Pseudonym:
		t.Purpose, known = rest, purpose(rest)
	case AgeBand, Round, Region:
		n, _ := fmt.Sscanf(rest, "%d, %d to %d", &t.Width, &t.From, &t.To)
		t.Coded, known = n == 3, t.Width > 0 || t.Kind == Region
	}
	if !known || t.String() != s {
		return Treatment{}, errors.New("this is not the name of a treatment")
	}
	return t, nil
}

// purposeForm matches the kinds of code that a pseudonym can be made for.
var purposeForm = regexp.MustCompile(`^[a-z][a-z0-9-]{0,31}$`)

// reserved are the purposes of keys that are derived for something other than a pseudonym. Two
// uses of one key could be compared with each other.
var reserved = []string{"shift", "finding", "key-id", "state", "source", "look"}

// purpose reports whether a pseudonym can be made for name.
func purpose(name string) bool {
	return purposeForm.MatchString(name) && !slices.Contains(reserved, name)
}

// parseTreatment reads the value of "deid". The message says what is wrong with it, or is "".
func parseTreatment(n *Node) (t Treatment, message string) {
	switch {
	case n.Kind == String:
		t.Kind = TreatmentKind(n.Text)
		switch t.Kind {
		case Keep, Drop, Shift, Year, DayCount, Region, Text, Recording:
			return t, ""
		case Pseudonym:
			return t, `the treatment needs a purpose: write {"pseudonym": "subject"}, "session", "operator", or ` +
				`another kind of code, such as "kit"`
		case AgeBand, Round:
			return t, `the treatment needs a width: write for example {"` + n.Text + `": 5}`
		}
	case n.Kind == Object && n.Member("round") != nil:
		return parseRound(n)
	case n.Kind == Object && len(n.Members) == 1:
		v := n.Members[0].Value
		t.Kind = TreatmentKind(n.Members[0].Name)
		switch t.Kind {
		case Pseudonym:
			t.Purpose = v.text()
			if !purpose(t.Purpose) {
				return t, `a pseudonym is made for "subject", "session", "operator" or another kind of code, named ` +
					`in small letters, digits and hyphens, such as "kit"; "` + strings.Join(reserved, `", "`) +
					`" are not possible`
			}
			return t, ""
		case Shift:
			return parseShift(v)
		case AgeBand:
			return t, parseWidth(v, 50, &t.Width)
		case Region:
			return t, parseWidth(v, 3, &t.Width)
		}
	}
	return t, `the treatment is none of "keep", "drop", {"pseudonym": ...}, "shift", {"shift": {"clock": "hour"}}, ` +
		`"year", "day", {"age-band": 5}, "region", {"round": 5}, "text", "recording"`
}

// parseShift reads the object in {"shift": {"clock": "hour"}}.
func parseShift(n *Node) (t Treatment, message string) {
	t.Kind = Shift
	clock := n.Member("clock")
	if n.Kind == Object && len(n.Members) == 1 && clock != nil && clock.Kind == String {
		switch clock.Text {
		case "keep":
			return t, ""
		case ClockHour, ClockDrop:
			t.Clock = clock.Text
			return t, ""
		}
	}
	return t, `write "shift", or {"shift": {"clock": "keep"}} with "keep", "hour" or "drop" and nothing else`
}

// parseRound reads {"round": 5} or {"round": 5, "from": 140, "to": 200}.
func parseRound(n *Node) (t Treatment, message string) {
	t.Kind = Round
	if message = parseWidth(n.Member("round"), 100, &t.Width); message != "" {
		return t, message
	}
	from, to := n.Member("from"), n.Member("to")
	switch {
	case from == nil && to == nil && len(n.Members) == 1:
		return t, ""
	case from == nil || to == nil || len(n.Members) != 3:
		return t, `write {"round": 5}, or {"round": 5, "from": 140, "to": 200} with both ends and nothing else`
	}
	var err1, err2 error
	t.From, err1 = strconv.Atoi(from.Text)
	t.To, err2 = strconv.Atoi(to.Text)
	t.Coded = true
	if err1 != nil || err2 != nil || from.Kind != Number || to.Kind != Number || t.From >= t.To ||
		t.From%t.Width != 0 || t.To%t.Width != 0 {
		return t, `"from" and "to" must be multiples of the width of "round", and "from" the lesser`
	}
	return t, ""
}

// parseWidth reads a whole number from 1 to most. The message is "" if it is one.
func parseWidth(n *Node, most int, width *int) string {
	w, err := strconv.Atoi(n.Text)
	if n.Kind != Number || err != nil || w < 1 || w > most {
		return "the width must be a whole number from 1 to " + strconv.Itoa(most)
	}
	*width = w
	return ""
}

// unfit returns why the treatment cannot be applied to every value that f accepts, or "" if it
// can.
func (t Treatment) unfit(f Field) string {
	only := func(types ...string) bool {
		return !slices.ContainsFunc(f.Types, func(t string) bool { return !slices.Contains(types, t) })
	}
	switch t.Kind {
	case Pseudonym:
		if !only("string", "integer") {
			return `the treatment "pseudonym" needs "type": "string" or "integer"`
		}
	case Region, Recording:
		if !only("string") {
			return `the treatment "` + string(t.Kind) + `" needs "type": "string"`
		}
	case Text:
		switch {
		case !only("string"):
			return `the treatment "text" needs "type": "string"`
		case f.Enum || f.Format != "":
			return `the treatment "text" is for free text: a field with listed values or a format needs another one`
		}
	case Shift, Year, DayCount:
		if !only("string") || f.Format != "date" && f.Format != "date-time" {
			return `the treatment "` + string(t.Kind) + `" needs "type": "string" and "format": "date" or "date-time"`
		}
	case AgeBand:
		if !only("string") || f.Format != "date" {
			return `the treatment "age-band" needs a birth date: "type": "string" and "format": "date"`
		}
	case Round:
		if !only("number", "integer") {
			return `the treatment "round" needs "type": "number" or "integer"`
		}
	}
	return ""
}
