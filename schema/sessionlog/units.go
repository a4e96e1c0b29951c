package sessionlog

import (
	"math/big"
	"strings"
	"sync"

	"outbreath/schema/sampler"
)

// A unit is one way to give a quantity: value in the base unit = value * factor + offset.
type unit struct {
	name, quantity string
	factor, offset *big.Rat
}

// spellings are the forms in which a unit is written; they are compared as they are,
// then without case.
type spellings struct {
	unit
	as []string
}

func rat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("no number: " + s)
	}
	return r
}

// units are those that logs of breath collection use. Factors are exact by definition:
// SI Brochure (9th edition), table 8 and section 5; pressures are those of package sampler;
// pound and inch by the international agreement of 1959. From memory.
var units = []spellings{
	{unit{"mL", "volume", rat("1"), nil}, []string{"ml", "mls", "milliliter", "millilitre", "cc", "ccm",
		"cm3", "cm^3"}},
	{unit{"L", "volume", rat("1000"), nil}, []string{"l", "liter", "litre", "liters", "litres", "litros", "dm3"}},
	{unit{"dL", "volume", rat("100"), nil}, []string{"dl"}},
	{unit{"cL", "volume", rat("10"), nil}, []string{"cl"}},
	{unit{"µL", "volume", rat("1/1000"), nil}, []string{"ul", "µl", "μl"}},
	{unit{"mL/min", "flow", rat("1"), nil}, []string{"ml/min", "ml/minute", "ml per min", "mlmin", "ccm/min", "sccm",
		"ml min-1"}},
	{unit{"L/min", "flow", rat("1000"), nil}, []string{"l/min", "lpm", "l per min", "l min-1"}},
	{unit{"mL/s", "flow", rat("60"), nil}, []string{"ml/s", "ml/sec"}},
	{unit{"kPa", "pressure", sampler.KPaOf(sampler.KPa), nil}, []string{"kpa"}},
	{unit{"hPa", "pressure", sampler.KPaOf(sampler.HPa), nil}, []string{"hpa", "mbar", "mb", "millibar"}},
	{unit{"Pa", "pressure", sampler.KPaOf(sampler.Pa), nil}, []string{"pa", "pascal"}},
	{unit{"bar", "pressure", rat("100"), nil}, []string{"bar"}},
	{unit{"mmHg", "pressure", sampler.KPaOf(sampler.MmHg), nil}, []string{"mmhg", "mm hg", "torr"}},
	{unit{"cm", "length", rat("1"), nil}, []string{"cm", "centimeter", "centimetre", "zentimeter"}},
	{unit{"m", "length", rat("100"), nil}, []string{"m", "meter", "metre", "metros"}},
	{unit{"mm", "length", rat("1/10"), nil}, []string{"mm"}},
	{unit{"in", "length", rat("254/100"), nil}, []string{"in", "inch", "inches", `"`}},
	{unit{"ft", "length", rat("3048/100"), nil}, []string{"ft", "feet"}},
	{unit{"kg", "mass", rat("1"), nil}, []string{"kg", "kgs", "kilo", "kilogram"}},
	{unit{"g", "mass", rat("1/1000"), nil}, []string{"g", "gram", "gramm"}},
	{unit{"lb", "mass", rat("45359237/100000000"), nil}, []string{"lb", "lbs", "pound", "pounds"}},
	{unit{"°C", "temperature", rat("1"), rat("0")}, []string{"°c", "c", "ºc", "℃", "deg c", "degc", "grad", "celsius",
		"grad celsius"}},
	{unit{"°F", "temperature", rat("5/9"), rat("-160/9")}, []string{"°f", "f", "ºf", "℉", "deg f", "fahrenheit"}},
	{unit{"K", "temperature", rat("1"), rat("-5463/20")}, []string{"k", "kelvin"}},
	{unit{"s", "time", rat("1"), nil}, []string{"s", "sec", "secs", "second", "seconds", "sek"}},
	{unit{"min", "time", rat("60"), nil}, []string{"min", "mins", "minute", "minutes", "minuten"}},
	{unit{"h", "time", rat("3600"), nil}, []string{"h", "hr", "hrs", "hour", "hours", "std"}},
	{unit{"%", "share", rat("1"), nil}, []string{"%", "percent", "pct", "prozent", "vol%", "vol-%"}},
	{unit{"ppm", "share", rat("1/10000"), nil}, []string{"ppm"}},
}

// suffixes are the ends of field names that say a unit, the longer ones first.
var suffixes = []struct{ suffix, unit string }{
	{"_ml_min", "mL/min"}, {"_l_min", "L/min"}, {"_ml_s", "mL/s"}, {"_ml", "mL"}, {"_l", "L"}, {"_kpa", "kPa"},
	{"_hpa", "hPa"}, {"_mbar", "hPa"}, {"_mmhg", "mmHg"}, {"_pa", "Pa"}, {"_cm", "cm"}, {"_mm", "mm"}, {"_m", "m"},
	{"_kg", "kg"}, {"_g", "g"}, {"_c", "°C"}, {"_k", "K"}, {"_s", "s"}, {"_min", "min"}, {"_h", "h"},
	{"_percent", "%"}, {"_pct", "%"}, {"_ppm", "ppm"},
}

// splitSuffix parts a field's name from the unit at its end.
func splitSuffix(name string) (base, unit string) {
	for _, s := range suffixes {
		if base, ok := strings.CutSuffix(name, s.suffix); ok && base != "" {
			return base, s.unit
		}
	}
	return name, ""
}

// unitOf returns the unit that is written as s. The second result is false if s is none.
func unitOf(s string) (unit, bool) {
	if s == "" || len(s) > longestUnit {
		return unit{}, false
	}
	s = strings.TrimSuffix(clean(strings.NewReplacer("³", "3", "⁻¹", "-1", "₂", "2").Replace(s)), ".")
	if u, ok := unitNames()[s]; ok {
		return u, true
	}
	low := strings.ToLower(s)
	u, ok := unitNames()[low]
	if !ok {
		u, ok = unitNames()[strings.ReplaceAll(low, " ", "")]
	}
	return u, ok
}

// unitNames holds every spelling of every unit.
var unitNames = sync.OnceValue(func() map[string]unit {
	all := map[string]unit{}
	for _, u := range units {
		for _, as := range u.as {
			all[as] = u.unit
		}
	}
	for _, u := range units { // a name in its own capitals goes before another's in small letters
		all[u.name] = u.unit
	}
	return all
})

// longestUnit is how many bytes a unit may have.
const longestUnit = 24

// splitUnit parts the unit at the end of a heading from the rest: "Volume (ml)",
// "Volumen [ml]", "Volume, ml", "volume_ml", "Volume in ml", "Volume ml".
func splitUnit(heading string) (base string, u unit, ok bool) {
	h := clean(heading)
	for _, pair := range []string{"()", "[]", "{}"} {
		open := strings.LastIndexByte(h, pair[0])
		if open > 0 && strings.HasSuffix(h, pair[1:]) {
			u, ok := unitOf(strings.TrimPrefix(strings.ToLower(h[open+1:len(h)-1]), "in "))
			return strings.TrimSpace(h[:open]), u, ok
		}
	}
	for i := len(h) - 1; i > 0 && i > len(h)-longestUnit; i-- {
		if !strings.ContainsRune(" _,/:;", rune(h[i])) {
			continue
		}
		if u, ok := unitOf(h[i+1:]); ok {
			// A unit of two words, such as ml_min, reaches further to the left.
			for j := i - 1; j > 0; j-- {
				if strings.ContainsRune(" _,", rune(h[j])) {
					if wide, ok := unitOf(strings.ReplaceAll(h[j+1:], "_", "/")); ok {
						u, i = wide, j
					}
					break
				}
			}
			base := strings.TrimRight(h[:i], " _,/:;")
			if low := strings.ToLower(base); strings.HasSuffix(low, " in") || strings.HasSuffix(low, " en") {
				base = strings.TrimSpace(base[:len(base)-3])
			}
			return base, u, true
		}
	}
	return h, unit{}, false
}

// convert gives a decimal in another unit of the same quantity. Where the result has
// no end, it is rounded to one place more than the value had.
func convert(decimal string, from, to unit) string {
	v := rat(decimal)
	v.Mul(v, from.factor)
	if from.offset != nil && to.offset != nil {
		v.Add(v, from.offset)
		v.Sub(v, to.offset)
	}
	v.Quo(v, to.factor)
	for places := range 9 {
		if s := v.FloatString(places); rat(s).Cmp(v) == 0 {
			return plainDecimal(s)
		}
	}
	_, fraction, _ := strings.Cut(decimal, ".")
	return plainDecimal(v.FloatString(min(len(fraction)+1, 6)))
}

// plainDecimal takes the zeros off that say nothing: "012.50" is "12.5", "-0.0" is "0".
func plainDecimal(s string) string {
	sign := ""
	if strings.HasPrefix(s, "-") {
		sign, s = "-", s[1:]
	}
	whole, fraction, _ := strings.Cut(s, ".")
	whole, fraction = strings.TrimLeft(whole, "0"), strings.TrimRight(fraction, "0")
	if whole == "" {
		whole = "0"
	}
	if fraction != "" {
		return sign + whole + "." + fraction
	}
	if whole == "0" {
		return "0"
	}
	return sign + whole
}
