package sampler

import (
	"math"
	"math/big"
	"slices"
	"strings"
)

// A Unit is a unit of measurement as this package writes it, such as "mmHg".
type Unit string

// Units of CO2. A share of the gas ([Percent], [PPM]) becomes a partial pressure
// only with the pressure of that gas: see [GasPressure].
const (
	KPa     Unit = "kPa"
	Pa      Unit = "Pa"
	HPa     Unit = "hPa"
	Mbar    Unit = "mbar"
	MmHg    Unit = "mmHg"
	CmH2O   Unit = "cmH2O"
	Percent Unit = "%"
	PPM     Unit = "ppm"
)

// Units of time, of flow.
const (
	Second      Unit = "s"
	Millisecond Unit = "ms"
	Minute      Unit = "min"
	MlMin       Unit = "ml/min"
	MlS         Unit = "ml/s"
	LMin        Unit = "l/min"
	LS          Unit = "l/s"
)

// CO2Units lists the units in which a sampler may give CO2, in the order in which
// they are offered.
func CO2Units() []Unit { return []Unit{KPa, Pa, HPa, Mbar, MmHg, CmH2O, Percent, PPM} }

// pascals holds what one of each unit of pressure is, exactly, in Pa. Sources: the torr is
// 1/760 of the standard atmosphere of 101,325 Pa (10th CGPM, 1954, resolution 4); mmHg is taken
// as the same, from which the conventional one differs by less than 2 in 10,000,000. Centimetre
// of water: NIST SP 811 (2008), appendix B.8, 9.806 65 E+01 Pa. From memory.
var pascals = map[Unit]*big.Rat{Pa: big.NewRat(1, 1), KPa: big.NewRat(1000, 1), HPa: big.NewRat(100, 1),
	Mbar: big.NewRat(100, 1), MmHg: big.NewRat(101_325, 760), CmH2O: big.NewRat(980_665, 10_000)}

// KPaOf returns what one of a unit of pressure is, exactly, in kPa. It panics if u is none.
func KPaOf(u Unit) *big.Rat { return new(big.Rat).Quo(pascals[u], pascals[KPa]) }

// inUnits holds, by kind of quantity, how many of the quantity's own unit one of
// each unit is. The own units are those of the collection's columns: kPa for CO2,
// Pa for pressure, s for time, ml/min for flow.
var inUnits = map[Quantity]map[Unit]float64{
	CO2:      pressures(KPa),
	Pressure: pressures(Pa),
	Time:     {Second: 1, Millisecond: 0.001, Minute: 60},
	Flow:     {MlMin: 1, MlS: 60, LMin: 1000, LS: 60_000},
}

// pressures returns how many of the unit to one of each unit of pressure is.
func pressures(to Unit) map[Unit]float64 {
	out := map[Unit]float64{}
	for u, pa := range pascals {
		out[u], _ = new(big.Rat).Quo(pa, pascals[to]).Float64()
	}
	return out
}

// unitsOf lists the units that a quantity may have, in the order in which they are
// offered.
func unitsOf(q Quantity) []Unit {
	switch q {
	case CO2:
		return CO2Units()
	case Pressure:
		return []Unit{Pa, HPa, Mbar, KPa, MmHg, CmH2O}
	case Time:
		return []Unit{Second, Millisecond, Minute}
	case Flow:
		return []Unit{MlMin, LMin, MlS, LS}
	}
	return nil
}

// A Share reports whether the unit says how much of the gas is meant, and no pressure.
func (u Unit) Share() bool { return u == Percent || u == PPM }

// spellings are units as headings and EDF headers write them, without white space,
// in small letters. Torr and mmHg are one to six digits (NIST SP 811, B.8).
var spellings = map[string]Unit{
	"kpa": KPa, "pa": Pa, "hpa": HPa, "mbar": Mbar, "millibar": Mbar, "mb": Mbar,
	"mmhg": MmHg, "torr": MmHg, "cmh2o": CmH2O, "cmh₂o": CmH2O, "cmwater": CmH2O, "cmws": CmH2O,
	"%": Percent, "vol%": Percent, "%vol": Percent, "vol.%": Percent, "vol.-%": Percent, "vol-%": Percent,
	"percent": Percent, "pct": Percent, "%co2": Percent, "volpercent": Percent, "prozent": Percent,
	"ppm": PPM, "ppmv": PPM, "ppmco2": PPM,
	"s": Second, "sec": Second, "secs": Second, "second": Second, "seconds": Second, "sek": Second,
	"sekunden": Second, "secondes": Second, "segundos": Second,
	"ms": Millisecond, "msec": Millisecond, "millisecond": Millisecond, "milliseconds": Millisecond,
	"min": Minute, "mins": Minute, "minute": Minute, "minutes": Minute, "minuten": Minute, "minutos": Minute,
	"ml/min": MlMin, "mlmin": MlMin, "mlpm": MlMin, "ml/m": MlMin, "sccm": MlMin,
	"ml/s": MlS, "mls": MlS, "ml/sec": MlS,
	"l/min": LMin, "lmin": LMin, "lpm": LMin, "slpm": LMin, "l/s": LS, "ls": LS, "l/sec": LS,
}

// ParseUnit reads a unit as a heading or an EDF header writes it: "[mmHg]",
// "Vol.-%", "ppm". It reports false for a text that is no unit known here; a
// millipascal or megapascal is none.
func ParseUnit(text string) (Unit, bool) {
	text = strings.Join(strings.Fields(strings.Trim(text, " \t[](){}\"'\u00a0")), "")
	text = strings.TrimSuffix(text, ".")
	if text == "mPa" || text == "MPa" {
		return "", false
	}
	u, ok := spellings[strings.ToLower(text)]
	return u, ok
}

// WaterKPa is the pressure of water vapour in gas that is saturated at 37 degrees
// Celsius, in kPa: 47 mmHg. Source: ATS/ERS spirometry tables, from memory.
const WaterKPa = 6.28

// A GasPressure is the pressure of the air where a sampler measured, needed for CO2
// as a share of the gas.
type GasPressure struct {
	KPa  float64 // 0 if it is not known
	From string  // where it was read, for the report: "room_kpa of the record"
}

// Of returns the pressure in kPa by which a share of the gas is multiplied: that of
// the air for dry gas, less that of the water vapour for gas saturated at 37
// degrees. It reports false where the pressure is unknown, no pressure of any
// room (40 to 115 kPa), or gas is neither of [Dry] and [Saturated].
func (g GasPressure) Of(gas Gas) (float64, bool) {
	if !(g.KPa >= 40 && g.KPa <= 115) {
		return 0, false
	}
	switch gas {
	case Dry:
		return g.KPa, true
	case Saturated:
		return g.KPa - WaterKPa, true
	}
	return 0, false
}

// CO2Factor returns by what a value in unit is multiplied to be in kPa. gasKPa is
// the pressure of the gas of which % and ppm are shares, as [GasPressure.Of] gives
// it; the other units do without. It reports false if there is no such factor.
//
// Source: collection.md of the project, "unit of CO2": a partial pressure is the
// share of the gas times its pressure (Dalton's law).
func CO2Factor(unit Unit, gasKPa float64) (float64, bool) {
	switch {
	case unit.Share() && !(gasKPa >= 30 && gasKPa <= 115):
		return 0, false
	case unit == Percent:
		return gasKPa / 100, true
	case unit == PPM:
		return gasKPa / 1e6, true
	}
	f, ok := inUnits[CO2][unit]
	return f, ok
}

// factor returns by what a value of q in unit is multiplied to be in the unit to.
func factor(q Quantity, unit, to Unit, gasKPa float64) (float64, bool) {
	own, ok := inUnits[q][to]
	if !ok || !slices.Contains(unitsOf(q), unit) {
		return 0, false
	}
	f := inUnits[q][unit]
	if q == CO2 {
		if f, ok = CO2Factor(unit, gasKPa); !ok {
			return 0, false
		}
	}
	return f / own, !math.IsInf(f/own, 0)
}
