package sampler

import (
	"slices"
	"strings"
	"time"

	"outbreath/schema/edf"
)

// An About is what a recording says about itself. What it does not say is zero. It
// may hold what identifies a person: compare it, never print it.
type About struct {
	// Start is when the recording began. If Local, the file gives no zone: it is
	// the clock of the place, written as UTC. If ClockOnly, there is no date, and
	// Start is a time on the first day of year 1.
	Start            time.Time
	Local, ClockOnly bool

	// Other is Start by the other reading of a date such as 03.04.2026; zero if
	// there is but one.
	Other time.Time

	dayOnly bool // Start is a day, without a time so far

	Length      time.Duration
	Serial      string // of the sampler
	Visit       string // code of the investigation, perhaps the session_id
	SubjectCode string
	BirthDate   string // "2006-01-02"
	OtherBirth  string // BirthDate by the other reading of a date such as 03.04.1970; "" if there is but one
	Sex         string // "female", "male"
	Name        string // words with blanks between

	// From says where each was read, such as "start date of the EDF header", by
	// "start", "length", "serial", "visit", "code", "birth date", "sex", "name".
	From map[string]string
}

func (a *About) note(what, where string) {
	if a.From == nil {
		a.From = map[string]string{}
	}
	a.From[what] = where
}

// FromEDF returns what the header of an EDF or EDF+ recording says: see
// [edf.Header.About].
func FromEDF(h *edf.Header) About {
	said := h.About()
	a := About{Length: time.Duration(float64(h.Records) * h.RecordSeconds() * float64(time.Second)),
		Serial: spaced(said.With), Visit: said.Visit, SubjectCode: said.Code, BirthDate: said.Born, Sex: said.Sex,
		Name: said.Name}
	clock, err := time.Parse("15.04.05", h.StartTime)
	if start, ok := h.Start(); ok {
		a.Start, a.Local = start, true
		a.note("start", "start date and time of the EDF header")
	} else if err == nil && h.StartTime != "00.00.00" {
		a.Start = time.Date(1, 1, 1, clock.Hour(), clock.Minute(), clock.Second(), 0, time.UTC)
		a.Local, a.ClockOnly = true, true
		a.note("start", "start time of the EDF header, which gives no date")
	}
	const patient = "patient field of the EDF header"
	for _, n := range []struct{ what, value, where string }{
		{"serial", a.Serial, "equipment in the EDF header"}, {"visit", a.Visit, "recording field of the EDF header"},
		{"code", a.SubjectCode, patient}, {"birth date", a.BirthDate, patient}, {"sex", a.Sex, patient},
		{"name", a.Name, patient},
	} {
		if n.value != "" {
			a.note(n.what, n.where)
		}
	}
	if a.Length > 0 {
		a.note("length", "number and duration of the data records in the EDF header")
	}
	return a
}

// spaced returns a subfield with blanks for underscores.
func spaced(s string) string { return strings.ReplaceAll(s, "_", " ") }

// A Signal is a signal of an EDF recording that holds CO2.
type Signal struct {
	Index  int     // in the header
	Unit   Unit    // "" if the physical dimension is none known here
	Factor float64 // to kPa; 0 if the signal cannot be used
	Why    string  // it cannot be used: "" if it can
}

// CO2Signal returns the signal that holds the curve of CO2: of those whose label
// names CO2 and whose unit is known, the one with the most samples, the first of
// several. If none can be used, it is the first of them, with the reason; false if
// no label names CO2. gasKPa is source_gas_kpa of the record, 0 if it has none.
func CO2Signal(h *edf.Header, gasKPa float64) (Signal, bool) {
	var best Signal
	found := false
	for i := range h.Signals {
		s := &h.Signals[i]
		if !strings.Contains(strings.ToUpper(s.Label), "CO2") || s.IsAnnotation() {
			continue
		}
		g := co2Signal(h, i, gasKPa)
		better := g.Why == "" && (best.Why != "" || s.Samples > h.Signals[best.Index].Samples)
		if !found || better {
			best, found = g, true
		}
	}
	return best, found
}

func co2Signal(h *edf.Header, i int, gasKPa float64) Signal {
	g := Signal{Index: i}
	u, ok := ParseUnit(h.Signals[i].Dimension)
	if !ok || !slices.Contains(CO2Units(), u) {
		g.Why = "its physical dimension is no unit of CO2 that is known here (" + join(CO2Units()) + ")"
		return g
	}
	g.Unit = u
	switch g.Factor, ok = CO2Factor(u, gasKPa); {
	case h.RecordSeconds() <= 0:
		g.Why = "the header gives its data records no duration"
	case !ok:
		g.Why = "its unit " + string(u) + " is a share of the gas, and the record does not give the pressure of " +
			"that gas (source_gas_kpa)"
	}
	if g.Why != "" {
		g.Factor = 0
	}
	return g
}
