package sampler

import (
	"bytes"
	"fmt"
	"math"
	"math/big"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"outbreath/schema"
	"outbreath/schema/breath"
	"outbreath/schema/edf"
)

// A sample is one row of the curve that all formats below hold.
type sample struct{ t, co2, pressure, flow float64 } // s, kPa, Pa, ml/min

// curve is four minutes of breathing, 25 rows a second: 15 breaths a minute with a
// plateau that rises to 5.3 kPa.
func curve() []sample {
	var out []sample
	for i := range 4 * 60 * 25 {
		t := float64(i) / 25
		phase, co2 := math.Mod(t, 4), 0.04
		switch {
		case phase >= 1.6 && phase < 1.9:
			co2 = 0.04 + (phase-1.6)/0.3*4.6
		case phase >= 1.9 && phase < 3.8:
			co2 = 4.64 + (phase-1.9)/1.9*0.66
		case phase >= 3.8:
			co2 = 5.3 * (4 - phase) / 0.2
		}
		out = append(out, sample{t, co2, -60 * math.Cos(t*math.Pi/2), 250 + 3*math.Sin(t)})
	}
	return out
}

// nativeCSV is the curve in the form of the collection.
func nativeCSV() string {
	var b strings.Builder
	b.WriteString("t_s,co2_kpa,pressure_pa\n")
	for _, s := range curve() {
		fmt.Fprintf(&b, "%.2f,%.4f,%.1f\n", s.t, s.co2, s.pressure)
	}
	return b.String()
}

func comma(s string) string { return strings.ReplaceAll(s, ".", ",") }

// foreign are the invented samplers that write text tables.
//
// Check values (collection.md, "unit of CO2"): 40 mmHg are 5.333 kPa; 5.3 % of dry
// gas at 101.325 kPa are 5.370 kPa. NIST SP 811, B.8: 1 mmHg = 133.3224 Pa.
var foreign = map[string]struct {
	write   func() string
	answers map[string]string // by question
	gas     GasPressure
	within  float64 // kPa: half the last place that the format writes, in kPa, and rounding of ours
	start   string  // what Look says, "" for nothing
	serial  string
	extra   string // in NotMeasured
}{
	"mmHg, tabs, row of units": {
		write: func() string {
			var b strings.Builder
			b.WriteString("Elapsed\tpCO2\tPaw\tMarker\n[ms]\t[mmHg]\t[cmH2O]\t\n")
			for i, s := range curve() {
				fmt.Fprintf(&b, "%.0f\t%.2f\t%.4f\t%s\n", s.t*1000, s.co2/0.1333224, s.pressure/98.0665,
					map[bool]string{true: "*"}[i%500 == 0])
			}
			return b.String()
		},
		within: 0.005*0.1333224 + 1e-4,
	},
	"% of dry gas": {
		write: func() string {
			var b strings.Builder
			b.WriteString("time_s,CO2 (Vol.-%),O2 (Vol.-%)\r\n")
			for _, s := range curve() {
				fmt.Fprintf(&b, "%.3f,%.3f,17.1\r\n", s.t, s.co2/101.325*100)
			}
			return b.String()
		},
		answers: map[string]string{"gas": "dry"},
		gas:     GasPressure{101.325, "room_kpa of the record"},
		within:  0.0005*1.01325 + 1e-4, extra: "pressure_pa",
	},
	"clock column, decimal comma, semicolons, Windows-1252": {
		write: func() string {
			var b strings.Builder
			b.WriteString("Gerät;KESTREL\r\nSerien-Nr.;SMP-211\r\n\r\nUhrzeit;CO2 [kPa];Mundd\xFCse Druck [hPa]\r\n")
			begin := time.Date(2026, 11, 30, 23, 58, 0, 0, time.UTC) // over midnight
			for _, s := range curve() {
				at := begin.Add(time.Duration(math.Round(s.t*1000)) * time.Millisecond)
				fmt.Fprintf(&b, "%s;%s;%s\r\n", at.Format("02.01.2006 15:04:05,000"),
					comma(strconv.FormatFloat(s.co2, 'f', 3, 64)),
					comma(strconv.FormatFloat(s.pressure/100, 'f', 4, 64)))
			}
			return b.String()
		},
		within: 0.0005 + 1e-4, start: "2026-11-30T23:58:00", serial: "SMP-211",
	},
	"mbar and Pa with a preamble and flow": {
		write: func() string {
			var b strings.Builder
			b.WriteString("# sampler: TEAL 4\n# serial number = SMP-207\n# date: 2026-11-30\n# start time: 09:10:05\n" +
				"# remarks, typed: none\n\nt [s]; flow [l/min]; CO2 [mbar]; mouth pressure [Pa]; room pressure [mbar]\n")
			for i, s := range curve() {
				if i == 1000 {
					b.WriteString("# zero check\n")
				}
				fmt.Fprintf(&b, "%.2f; %.4f; %.3f; %.1f; 1013\n", s.t, s.flow/1000, s.co2*10, s.pressure)
			}
			return b.String()
		},
		within: 0.00005 + 1e-4, start: "2026-11-30T09:10:05", serial: "SMP-207", extra: "flow",
	},
	"coarse clock, UTF-16, Pa of CO2": {
		write: func() string {
			var b strings.Builder
			b.WriteString("Date,Time,CO2 / Pa,Mask pressure (mbar)\r\n")
			begin := time.Date(2026, 11, 3, 15, 10, 5, 0, time.UTC)
			for _, s := range curve() {
				at := begin.Add(time.Duration(math.Round(s.t*1000)) * time.Millisecond)
				fmt.Fprintf(&b, "%s,%.0f,%.4f\r\n", at.Format("01/02/2006,3:04:05 PM"), s.co2*1000, s.pressure/100)
			}
			wide := []byte("\xFF\xFE")
			for _, c := range []byte(b.String()) {
				wide = append(wide, c, 0)
			}
			return string(wide)
		},
		answers: map[string]string{"hz": "25"},
		within:  0.0005 + 1e-4, start: "2026-03-11T15:10:05 or 2026-11-03T15:10:05",
	},
}

// rows reads a table in native form, and checks it as check does.
func rows(t testing.TB, data string) [][]float64 {
	t.Helper()
	check := schema.NewCSVCheck("a.csv", schema.DefaultColumns(), 5)
	var out [][]float64
	check.Each = func(row []float64) { out = append(out, append([]float64(nil), row...)) }
	check.Write([]byte(data))
	check.Close()
	if p := check.Problems(); len(p) > 0 {
		t.Fatalf("what Convert wrote is refused: %+v", p[0])
	}
	return out
}

func figures(rows [][]float64) breath.Figures {
	m := breath.NewMeter()
	for _, r := range rows {
		m.Add(r[0], r[1])
	}
	return m.Figures()
}

// settle proposes a profile and answers the questions; each must be expected.
func settle(t testing.TB, data string, answers map[string]string) Profile {
	t.Helper()
	p, questions, err := Propose("a.txt", []byte(data[:min(len(data), HeadSize)]))
	if err != nil {
		t.Fatal(err)
	}
	asked := 0
	for i := 0; i < len(questions); i++ {
		answer, ok := answers[questions[i].ID]
		if !ok {
			t.Fatalf("asks %+v", questions[i])
		}
		asked++
		next, err := p.Answer(questions[i], answer)
		if err != nil {
			t.Fatal(err)
		}
		if next != nil {
			questions = append(questions, *next)
		}
	}
	if asked != len(answers) {
		t.Errorf("asked %d questions, want %d", asked, len(answers))
	}
	if message := p.Validate(); message != "" {
		t.Fatalf("the profile: %s: %+v", message, p)
	}
	return p
}

// TestForeignFormats: what five invented samplers write gives the samples and the
// figures of the native recording, within the places that each writes.
func TestForeignFormats(t *testing.T) {
	native := rows(t, nativeCSV())
	want := figures(native)
	if want.Breaths < 55 || math.Abs(want.EndTidal-5.3) > 0.15 {
		t.Fatalf("the native recording has %+v", want)
	}
	for name, f := range foreign {
		t.Run(name, func(t *testing.T) {
			data := f.write()
			p := settle(t, data, f.answers)
			var out strings.Builder
			report, err := Convert(&out, strings.NewReader(data), p, f.gas)
			if err != nil {
				t.Fatal(err)
			}
			got := rows(t, out.String())
			if len(got) != len(native) || report.Rows != len(native) {
				t.Fatalf("%d rows, reported %d, want %d", len(got), report.Rows, len(native))
			}
			pressure := !strings.HasPrefix(f.extra, "pressure")
			for i, row := range got {
				if math.Abs(row[0]-native[i][0]) > 1e-9 || math.Abs(row[1]-native[i][1]) > f.within ||
					pressure == math.IsNaN(row[2]) || pressure && math.Abs(row[2]-native[i][2]) > 0.1 {
					t.Fatalf("row %d: %v, want %v", i, row, native[i])
				}
			}
			same(t, figures(got), want, f.within)
			if said := strings.Join(report.NotMeasured, "\n"); f.extra == "" && said != "" ||
				!strings.Contains(said, f.extra) {
				t.Errorf("not measured: %q", said)
			}
			looked(t, data, &p, f.start, f.serial)
			for other, g := range foreign {
				if fits := p.Fits([]byte(g.write()[:5000])); fits != (other == name) {
					t.Errorf("the profile fits %s: %t", other, fits)
				}
			}
		})
	}
}

// same compares figures; end-tidal CO2 may differ by what a sample may.
func same(t *testing.T, got, want breath.Figures, within float64) {
	t.Helper()
	if got.Breaths != want.Breaths || got.Samples != want.Samples || got.Seconds != want.Seconds ||
		math.Abs(got.EndTidal-want.EndTidal) > within+0.0005 || got.Hint != "" {
		t.Errorf("figures %+v, want %+v", got, want)
	}
}

func looked(t *testing.T, data string, p *Profile, start, serial string) {
	t.Helper()
	a, err := Look("a.txt", strings.NewReader(data), p)
	if err != nil {
		t.Fatal(err)
	}
	const form = "2006-01-02T15:04:05"
	said := ""
	if !a.Start.IsZero() {
		said = a.Start.Format(form)
	}
	if !a.Other.IsZero() {
		said += " or " + a.Other.Format(form)
	}
	if said != start || a.Serial != serial || math.Abs(a.Length.Seconds()-239.96) > 0.001 {
		t.Errorf("it says it began %q, serial %q, length %v", said, a.Serial, a.Length)
	}
}

// TestForeignEDF: a signal in ppm, and one in each other unit, is found with its
// factor to kPa; one that cannot be used says why.
//
// Check values: collection.md, "unit of CO2", 40 mmHg are 5.333 kPa, 5.3 % dry at
// 101.325 kPa are 5.370 kPa; 53,000 ppm are 5.3 %. NIST SP 811, B.8.
func TestForeignEDF(t *testing.T) {
	for _, c := range []struct {
		dimension  string
		value, gas float64
		kPa        float64 // 0: it cannot be used
	}{
		{"kPa", 5.3, 0, 5.3}, {"mmHg", 40, 0, 5.333}, {"Torr", 40, 0, 5.333}, {"mbar", 53, 0, 5.3}, {"hPa", 53, 0, 5.3},
		{"Pa", 5300, 0, 5.3}, {"cmH2O", 54, 0, 5.296}, {"%", 5.3, 101.325, 5.370}, {"Vol%", 5.3, 101.325, 5.370},
		{"ppm", 53_000, 101.325, 5.370}, {"ppm", 53_000, 101.325 - WaterKPa, 5.037},
		{"ppm", 53_000, 0, 0}, {"%", 5.3, 0, 0}, {"mPa", 5, 0, 0}, {"", 5, 0, 0}, {"uV", 5, 0, 0},
	} {
		h := &edf.Header{RecordDuration: "1", Records: 1, Signals: []edf.Signal{
			{Label: "Pressure", Dimension: "kPa", Samples: 100},
			{Label: "Resp CO2", Dimension: c.dimension, Samples: 25}}}
		s, ok := CO2Signal(h, c.gas)
		if !ok || s.Index != 1 || math.Abs(s.Factor*c.value-c.kPa) > 0.0005 || (s.Why == "") != (c.kPa > 0) {
			t.Errorf("%v %s at %v kPa: %+v", c.value, c.dimension, c.gas, s)
		}
	}
	if _, ok := CO2Signal(&edf.Header{Signals: []edf.Signal{{Label: "Pressure", Dimension: "kPa"}}}, 0); ok {
		t.Error("CO2 was found where there is none")
	}
}

// The pressure of the gas: dry as it is, saturated at 37 degrees less 6.28 kPa
// (collection.md, from memory of the ATS/ERS tables: 47 mmHg).
func TestGasPressure(t *testing.T) {
	if math.Abs(47*0.1333224-WaterKPa) > 0.02 {
		t.Error("47 mmHg are not the pressure of water vapour")
	}
	for _, c := range []struct {
		kPa  float64
		gas  Gas
		want float64
	}{{101.325, Dry, 101.325}, {101.325, Saturated, 95.045}, {1013.25, Dry, 0}, {101.325, "", 0}, {0, Dry, 0},
		{math.NaN(), Dry, 0}} {
		if got, ok := (GasPressure{KPa: c.kPa}).Of(c.gas); ok != (c.want > 0) || math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%v %s: %v, %t", c.kPa, c.gas, got, ok)
		}
	}
}

// TestPressures compares the units of pressure with the published figures: NIST SP 811 (2008),
// B.8, to its seven digits: torr and conventional millimetre of mercury 1.333 224 E+02 Pa,
// centimetre of water (conventional) 9.806 65 E+01 Pa, millibar 1.0 E+02 Pa. 760 torr are the
// standard atmosphere, 101.325 kPa exactly (10th CGPM). From memory.
func TestPressures(t *testing.T) {
	for u, want := range map[Unit]string{MmHg: "133.3224", CmH2O: "98.0665", Mbar: "100.0000", HPa: "100.0000"} {
		_, after, _ := strings.Cut(want, ".")
		if got := new(big.Rat).Mul(KPaOf(u), big.NewRat(1000, 1)).FloatString(len(after)); got != want {
			t.Errorf("%s: %s Pa, want %s", u, got, want)
		}
		kPa, _ := KPaOf(u).Float64()
		if inUnits[CO2][u] != kPa || math.Abs(inUnits[Pressure][u]/kPa-1000) > 1e-9 {
			t.Errorf("%s: %v kPa as CO2 and %v Pa as pressure", u, inUnits[CO2][u], inUnits[Pressure][u])
		}
	}
	if atm := new(big.Rat).Mul(KPaOf(MmHg), big.NewRat(760, 1)); atm.Cmp(big.NewRat(101_325, 1000)) != 0 {
		t.Errorf("760 mmHg are %s kPa", atm.FloatString(9))
	}
}

// TestUnitsOfRecord: the units of source_co2_unit are those that can be converted.
func TestUnitsOfRecord(t *testing.T) {
	data, err := os.ReadFile("../session.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	_, enum, _ := strings.Cut(string(data), `"source_co2_unit"`)
	_, enum, _ = strings.Cut(enum, `"enum": [`)
	enum, _, _ = strings.Cut(enum, "]")
	if want := join(CO2Units()); strings.ReplaceAll(enum, `"`, "") != want {
		t.Errorf("the record has %s, want %s", enum, want)
	}
}

// TestConvertIsStable: a native recording that goes through Convert keeps its
// values, and what Convert wrote goes through it unchanged.
func TestConvertIsStable(t *testing.T) {
	once := nativeCSV()
	p := settle(t, once, nil)
	for range 2 {
		var out bytes.Buffer
		if _, err := Convert(&out, strings.NewReader(once), p, GasPressure{}); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(once, ".00,") && out.String() != once {
			t.Error("it changes what it wrote")
		}
		once = out.String()
	}
}
