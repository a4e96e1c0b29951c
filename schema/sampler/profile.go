package sampler

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
)

// A Quantity is what a column holds.
type Quantity string

const (
	Unused   Quantity = ""
	Time     Quantity = "time"  // counted from some beginning
	Clock    Quantity = "clock" // time of day, perhaps with the date
	Date     Quantity = "date"  // the day, beside a clock
	CO2      Quantity = "co2"
	Pressure Quantity = "pressure" // in mask or airway, relative to ambient
	Flow     Quantity = "flow"
)

// Gas is how CO2 as a share of the gas is meant. A sampler's manual says it.
type Gas string

const (
	Dry       Gas = "dry"       // of gas without water vapour, dried or computed so
	Saturated Gas = "saturated" // of gas saturated at 37 degrees Celsius
)

// A Profile says how one kind of sampler writes its text tables. It is proposed by
// [Propose], checked by a person once, and kept as JSON.
type Profile struct {
	Separator string          `json:"separator"` // "," ";" "|" "\t" or " " for any white space
	Decimal   string          `json:"decimal"`   // "." or ","
	Skip      int             `json:"skip"`      // lines before the first row of values, where no column has a heading
	Columns   []ProfileColumn `json:"columns"`
	Gas       Gas             `json:"gas,omitempty"`     // needed where the unit of CO2 is % or ppm
	Hz        float64         `json:"hz,omitempty"`      // rows a second, where no column gives their times finely enough
	Missing   []string        `json:"missing,omitempty"` // what the sampler writes for no value, beside the usual signs
}

// A ProfileColumn is one column of the table.
type ProfileColumn struct {
	Heading string   `json:"heading,omitempty"` // as in the file, white space at its ends aside; "" if there is none
	Number  int      `json:"number"`            // from 1; counts where the column has no heading
	Is      Quantity `json:"is"`
	Unit    Unit     `json:"unit,omitempty"`
}

// Column returns the index in Columns of what is q, -1 if there is none.
func (p *Profile) Column(q Quantity) int {
	return slices.IndexFunc(p.Columns, func(c ProfileColumn) bool { return c.Is == q })
}

// CO2Unit returns the unit of the CO2 column, "" if there is none.
func (p *Profile) CO2Unit() Unit {
	if i := p.Column(CO2); i >= 0 {
		return p.Columns[i].Unit
	}
	return ""
}

// NeedsGas reports whether [Convert] needs the pressure of the gas.
func (p *Profile) NeedsGas() bool { return p.CO2Unit().Share() }

// Fits reports whether a table that begins with head is one that the profile
// describes, so that nothing need be asked: it has the headings, and its first rows can
// be read. A line that head cuts off is passed over.
func (p *Profile) Fits(head []byte) bool {
	head = head[:min(len(head), HeadSize)]
	if end := bytes.LastIndexAny(head, "\n\r"); end >= 0 {
		head = head[:end+1]
	}
	report, err := Convert(io.Discard, bytes.NewReader(head), *p, GasPressure{KPa: 100})
	return err == nil && report.Left <= report.Rows
}

// Validate says what of the profile cannot be used: "" if nothing.
func (p *Profile) Validate() string {
	switch {
	case !slices.Contains(separators, p.Separator):
		return "the separator must be a comma, a semicolon, a tab, a vertical line or a space"
	case p.Decimal != "." && p.Decimal != ",":
		return "the decimal sign must be a point or a comma"
	case p.Decimal == "," && p.Separator == ",":
		return "a comma cannot be both separator and decimal sign"
	case p.Skip < 0 || p.Skip > MaxHead:
		return fmt.Sprintf("at most %d lines can be skipped", MaxHead)
	case len(p.Columns) == 0 || len(p.Columns) > MaxColumns:
		return fmt.Sprintf("a profile has 1 to %d columns", MaxColumns)
	case !(p.Hz >= 0 && p.Hz <= 10_000):
		return "the rows a second must be a number from 0 (not stated) to 10,000"
	case p.Column(Time) < 0 && p.Column(Clock) < 0 && p.Hz == 0:
		return "no column gives the time: name one, or state the rows a second"
	case p.NeedsGas() && p.Gas != Dry && p.Gas != Saturated:
		return "CO2 is a share of the gas: say whether of dry or of saturated gas"
	case len(p.Missing) > 20:
		return "at most 20 signs for a missing value can be stated"
	}
	return p.validateColumns()
}

func (p *Profile) validateColumns() string {
	seen := map[Quantity]bool{}
	numbers := map[int]bool{}
	for i, c := range p.Columns {
		n := i + 1
		switch {
		case c.Number < 1 || c.Number > MaxColumns || numbers[c.Number]:
			return fmt.Sprintf("column %d of the profile has no number of its own from 1 to %d", n, MaxColumns)
		case c.Is != Unused && seen[c.Is]:
			return fmt.Sprintf("two columns are called %s: leave one of them unused", c.Is)
		case c.Is != Unused && c.Is != Clock && c.Is != Date && inUnits[c.Is] == nil:
			return fmt.Sprintf("column %d of the profile is none of time, clock, date, co2, pressure and flow", n)
		case inUnits[c.Is] != nil && !slices.Contains(unitsOf(c.Is), c.Unit):
			return fmt.Sprintf("the unit of %s must be one of %s", c.Is, join(unitsOf(c.Is)))
		}
		seen[c.Is], numbers[c.Number] = true, true
	}
	return ""
}

func join(units []Unit) string {
	var out []string
	for _, u := range units {
		out = append(out, string(u))
	}
	return strings.Join(out, ", ")
}

// A Native is one column of the form that a collection holds. Its name says what
// it is and ends with the unit: t_s, co2_kpa, pressure_pa, flow_ml_min.
type Native struct {
	Name string
	Is   Quantity // Unused for a name that says neither
	Unit Unit
}

// NativeColumns reads the names of a plan's columns; the default ones without any.
func NativeColumns(names ...string) []Native {
	if len(names) == 0 {
		names = []string{"t_s", "co2_kpa", "pressure_pa"}
	}
	var out []Native
	for _, name := range names {
		n := Native{Name: name}
		word, unit, _ := strings.Cut(strings.ToLower(name), "_")
		q := map[string]Quantity{"t": Time, "time": Time, "co2": CO2, "pco2": CO2, "pressure": Pressure,
			"flow": Flow}[word]
		if u, ok := ParseUnit(strings.ReplaceAll(unit, "_", "/")); ok && inUnits[q][u] != 0 {
			n.Is, n.Unit = q, u
		}
		out = append(out, n)
	}
	return out
}

// IsNative reports whether a table that begins with head has the names of the
// native columns, comma between, as its first line, and needs no conversion.
func IsNative(head []byte, columns []Native) bool {
	var names []string
	for _, c := range columns {
		names = append(names, c.Name)
	}
	want := strings.Join(names, ",")
	rest, ok := strings.CutPrefix(string(head[:min(len(head), len(want)+2)]), want)
	return ok && (strings.HasPrefix(rest, "\n") || strings.HasPrefix(rest, "\r\n"))
}
