package sampler

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"outbreath/schema/edf"
)

var timed = Profile{Separator: ";", Decimal: ",", Columns: []ProfileColumn{
	{Heading: "Zeit", Number: 1, Is: Time, Unit: Second}, {Heading: "CO2", Number: 2, Is: CO2, Unit: MmHg}}}

var clocked = Profile{Separator: ";", Decimal: ",", Columns: []ProfileColumn{
	{Heading: "Uhr", Number: 1, Is: Clock}, {Heading: "CO2", Number: 2, Is: CO2, Unit: MmHg}}}

// TestConvertRefuses: what does not fit the profile is refused with its line, and
// never written as another value. No message quotes a value.
func TestConvertRefuses(t *testing.T) {
	missing := timed
	missing.Missing = []string{"-999"}
	hz := clocked
	hz.Hz = 2
	shares := Profile{Separator: ",", Decimal: ".", Gas: Dry, Columns: []ProfileColumn{
		{Number: 1, Is: Time, Unit: Second}, {Number: 2, Is: CO2, Unit: Percent}}}
	for name, c := range map[string]struct {
		p          Profile
		data, want string // want: the beginning of the message, or what is written after the heading row
	}{
		"good":              {timed, "Zeit;CO2\n0;40\n0,5;37,5\n", "0,5.3329,\n0.5,4.9996,\n"},
		"no value":          {timed, "Zeit;CO2\n0;40\n0,5;\n1;---\n1,5;NaN\n", "0,5.3329,\n0.5,,\n1,,\n1.5,,\n"},
		"stated as missing": {missing, "Zeit;CO2\n0;40\n0,5;-999\n", "0,5.3329,\n0.5,,\n"},
		"not stated": {timed, "Zeit;CO2\n0;40\n0,5;-999\n",
			"line 3, value 2 is no possible value of co2 in mmHg"},
		"kPa as mmHg of 200": {timed, "Zeit;CO2\n0;200\n", "line 2, value 2 is no possible value"},
		"point for comma":    {timed, "Zeit;CO2\n0;40.5\n", "line 2, value 2 is neither"},
		"thousands":          {timed, "Zeit;CO2\n0;1.040,5\n", "line 2, value 2 is neither"},
		"text":               {timed, "Zeit;CO2\n0;Marta Quist\n", "line 2, value 2 is neither"},
		"other order":        {timed, "CO2;Zeit\n40;0\n37,5;0,5\n", "0,5.3329,\n0.5,4.9996,\n"},
		"other headings":     {timed, "Time;CO2\n0;40\n", "has no row with the headings"},
		"other unit in row":  {timed, "Zeit;CO2\ns;kPa\n0;40\n", "line 2, value 2 gives another unit"},
		"unit in row":        {timed, "Zeit;CO2\ns;mmHg\n0;40\n", "0,5.3329,\n"},
		"heading twice":      {timed, "Zeit;CO2;CO2\n0;40;41\n", "line 1 has one heading twice"},
		"time back":          {timed, "Zeit;CO2\n0;40\n2;40\n1;40\n", "line 4 has a time that is not later"},
		"time again":         {timed, "Zeit;CO2\n0;40\n0;40\n", "line 3 has a time that is not later"},
		"time is text":       {timed, "Zeit;CO2\n0;40\nx;40\n", "line 3, value 1 is no time"},
		"two days":           {timed, "Zeit;CO2\n0;40\n90000;40\n", "line 3 is more than a day"},
		"counted from then":  {timed, "Zeit;CO2\n1764493805,25;40\n1764493805,75;40\n", "0,5.3329,\n0.5,5.3329,\n"},
		"before the trigger": {timed, "Zeit;CO2\n-2;40\n-1,5;40\n", "0,5.3329,\n0.5,5.3329,\n"},
		"cut off":            {timed, "Zeit;CO2\n0;40\n0,5;3a", "0,5.3329,\n"},
		"few values":         {timed, "Zeit;CO2\n0;40\n0,5\n1;40\n", "line 3 has fewer values"},
		"remark":             {timed, "Zeit;CO2\n0;40\npaused\n1;40\n", "0,5.3329,\n1,5.3329,\n"},
		"no rows":            {timed, "Zeit;CO2\n", "has no row of values"},
		"nothing":            {timed, "", "has no row with the headings"},
		"binary":             {timed, "Zeit;CO2\n0;\x0040\n", "line 2 holds a control character"},
		"quoted":             {timed, "\"Zeit\";\"CO2\"\n\"0\";\"40\"\n", "0,5.3329,\n"},
		"CR alone":           {timed, "Zeit;CO2\r0;40\r0,5;40\r", "0,5.3329,\n0.5,5.3329,\n"},
		"over midnight":      {clocked, "Uhr;CO2\n23:59:59,5;40\n00:00:00;40\n", "0,5.3329,\n0.5,5.3329,\n"},
		"clock set back":     {clocked, "Uhr;CO2\n02:59:59;40\n02:00:00;40\n", "line 3, value 1 lies before the time"},
		"clock too coarse":   {clocked, "Uhr;CO2\n02:59:59;40\n02:59:59;40\n", "line 3 has a time that is not later"},
		"clock and Hz":       {hz, "Uhr;CO2\n02:59:59;40\n02:59:59;40\n", "0,5.3329,\n0.5,5.3329,\n"},
		"wrong Hz":           {hz, "Uhr;CO2\n" + coarse(100), "lasts 99 s by its clock and 50 s by the rows"},
		"another day": {clocked, "Uhr;CO2\n30.11.2026 02:00:00;40\n01.12.2026 02:00:01;40\n",
			"line 3, value 1 has another date"},
		"share, no pressure": {shares, "0,5.3\n", "gives CO2 as a share of the gas (%)"},
		"profile of nothing": {Profile{}, "0,5.3\n", "the profile of the sampler cannot be used"},
	} {
		var out strings.Builder
		_, err := Convert(&out, strings.NewReader(c.data), c.p, GasPressure{})
		got := strings.TrimPrefix(out.String(), "t_s,co2_kpa,pressure_pa\n")
		if err != nil {
			if got = err.Error(); !errors.As(err, new(*Fault)) || strings.Contains(got, "Quist") {
				t.Errorf("%s: %T", name, err)
			}
		}
		if got != c.want && (err == nil || !strings.HasPrefix(got, c.want)) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// coarse is a recording of n rows, one a second by its clock.
func coarse(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "10:%02d:%02d;40\n", i/60, i%60)
	}
	return b.String()
}

// TestReport: what was left out, and what was used, is said.
func TestReport(t *testing.T) {
	p := Profile{Separator: ",", Decimal: ".", Gas: Saturated, Columns: []ProfileColumn{
		{Number: 1, Is: Time, Unit: Second}, {Number: 2, Is: CO2, Unit: PPM}, {Number: 3, Is: Pressure, Unit: Mbar},
		{Number: 4, Is: Flow, Unit: LMin}}}
	r, err := Convert(io.Discard, strings.NewReader("0,53000,,5\nzero\n1,,,5\n"), p,
		GasPressure{101.325, "room_kpa of the record"})
	if err != nil {
		t.Fatal(err)
	}
	said := strings.Join(r.Sentences(), "\n")
	for _, want := range []string{"from ppm to kPa with a gas pressure of 95.045 kPa (saturated gas; pressure of the " +
		"air from room_kpa of the record)", "not measured: flow",
		"not measured: pressure_pa: its column holds no value",
		"lines among the rows without values, which were left out: 1, the first is line 2"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not said in:\n%s", want, said)
		}
	}
	if r.Rows != 2 || r.Dropped != 1 || r.CO2Unit != PPM {
		t.Errorf("%+v", r)
	}
	var out strings.Builder
	r, err = Convert(&out, strings.NewReader("0,53000,,5\n1,,,5\n"), p, GasPressure{101.325, "x"},
		NativeColumns("t_s", "flow_ml_min", "spo2_percent")...)
	if err != nil || out.String() != "t_s,flow_ml_min,spo2_percent\n0,5000,\n1,5000,\n" {
		t.Errorf("%v: %q", err, out.String())
	}
	said = strings.Join(r.NotMeasured, "\n")
	if !strings.Contains(said, "spo2_percent: no column of the file gives it") ||
		!strings.Contains(said, "co2: the coll") {
		t.Errorf("%q", said)
	}
}

// TestProposeAsks: what the file does not settle is asked.
func TestProposeAsks(t *testing.T) {
	for name, c := range map[string]struct {
		data string
		want []string // questions; an error begins with "!"
	}{
		"all said": {"t_s,co2_kpa,pressure_pa\n0,0.1,1\n1,4.2,1\n", nil},
		"no units": {"Zeit;CO2;Druck\n0,0;0,1;1\n1,0;4,2;1\n",
			[]string{"unit of time", "unit of co2", "unit of pressure"}},
		"no headings":       {"0.0 0.1 1\n1.0 4.2 1\n", []string{"time", "co2", "pressure"}},
		"two of CO2":        {"t [s],CO2 A [kPa],CO2 B [kPa]\n0,0.1,1\n1,4.2,1\n", []string{"co2"}},
		"curve and EtCO2":   {"t [s],CO2 [kPa],EtCO2 [kPa]\n0,0.1,1\n1,4.2,1\n", nil},
		"share":             {"t [s],CO2 [ppm]\n0,100\n1,42000\n", []string{"gas"}},
		"mmHg as kPa":       {"t [s],CO2 [kPa]\n0,0.3\n1,38\n", []string{"unit of co2"}},
		"no time":           {"n;CO2 [kPa]\n1;0,3\n2;0,4\n", []string{"time"}},
		"minutes":           {"Time;CO2 [kPa];O2 [%]\n00:01.5;0,3;17\n00:02.0;0,4;17\n", nil},
		"no known time":     {"Tick;CO2 [kPa];Paw [Pa]\n#1;0,3;17,1\n", []string{"!holds no rows of numbers"}},
		"coarse":            {"time,CO2 [kPa]\n10:00:00,0.3\n10:00:00,4\n10:00:01,4\n", []string{"hz"}},
		"no CO2":            {"t [s],O2 [%]\n0,17\n1,18\n", []string{"co2"}},
		"barometer":         {"t [s],CO2 [kPa],baro pressure [hPa]\n0,1,1013\n1,1,1013\n", nil},
		"commas for both":   {"t_s,co2_kpa\n0,00,0,10\n1,00,4,20\n", []string{"!line 2 has twice as many values"}},
		"prose":             {"Dear Marta,\nthe sampler broke.\n", []string{"!holds no rows of numbers"}},
		"nothing":           {"", []string{"!holds no rows of numbers"}},
		"EDF":               {"0       X X X X", []string{"!is an EDF recording"}},
		"workbook":          {"PK\x03\x04\x14\x00", []string{"!line 1 holds a control character"}},
		"point-free":        {"t [s];CO2 [Pa]\n0;100\n1;4200\n", nil},
		"letters that grow": {"t [s],\u023a\u023a\u023a CO2 kPa\n0,1\n1,2\n", nil}, // in small letters: 2 bytes, then 3
		"trailing sign":     {"t [s];CO2 [Pa];\n0;100;\n1;4200;\n", nil},
		"trailing in rows":  {"t [s];CO2 [Pa]\n0;100;\n1;4200;\n", nil},
	} {
		p, questions, err := Propose("a.txt", []byte(c.data))
		var got []string
		for _, q := range questions {
			got = append(got, q.ID)
		}
		if err != nil {
			got = []string{"!" + err.Error()}
		}
		if !slices.EqualFunc(got, c.want, func(g, w string) bool {
			return g == w || strings.HasPrefix(w, "!") && strings.HasPrefix(g, w)
		}) {
			t.Errorf("%s: asks %q, want %q", name, got, c.want)
		}
		if message := p.Validate(); err == nil && len(c.want) == 0 && message != "" {
			t.Errorf("%s: asks nothing, but %s: %+v", name, message, p)
		}
		if err == nil && slices.Contains(c.want, "unit of co2") && message(p) == "" {
			t.Errorf("%s: a profile with an open question is valid", name)
		}
	}
}

func message(p Profile) string { return p.Validate() }

// TestAnswers: the answers are those that were offered, and one may lead to another
// question.
func TestAnswers(t *testing.T) {
	p, questions, err := Propose("a.txt", []byte("0.0 0.1 1\n1.0 4.2 1\n"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Answer(questions[0], "column 9"); err == nil {
		t.Error("a column that is not there was taken")
	}
	for i, step := range [][2]string{{"column 1", "unit of time"}, {"ms", ""}, {"column 2", "unit of co2"},
		{"%", "gas"}, {"dry", ""}, {"none", ""}} {
		next, err := p.Answer(questions[0], step[0])
		if err != nil || (next == nil) != (step[1] == "") || next != nil && next.ID != step[1] {
			t.Fatalf("step %d: %v, %+v", i, err, next)
		}
		if questions = questions[1:]; next != nil {
			questions = append([]Question{*next}, questions...)
		}
	}
	if m := p.Validate(); m != "" || len(questions) != 0 ||
		p.Columns[1].Unit != Percent || p.Columns[0].Unit != Millisecond {
		t.Errorf("%s %+v", m, p)
	}
}

// TestHeadingsAreShown: a heading cannot change what a terminal shows.
func TestHeadingsAreShown(t *testing.T) {
	c := ProfileColumn{Number: 3, Heading: "CO2 \u009b2J\u202e" + strings.Repeat("x", 70)}
	if got := c.name(); got != "column 3, CO2 ?2J?"+strings.Repeat("x", 52)+"..." {
		t.Errorf("%q", got)
	}
}

// TestElapsedAsClock: a column of hours, minutes and seconds that counts from the
// beginning gives no time of day.
func TestElapsedAsClock(t *testing.T) {
	a, err := Look("a.csv", strings.NewReader("Time,CO2 [kPa]\n0:00:00,1\n0:00:01,2\n0:00:02,2\n"), nil)
	if err != nil || !a.Start.IsZero() || a.Length.Seconds() != 2 {
		t.Errorf("%v %+v", err, a)
	}
	p := Profile{}
	if q, err := p.Answer(Question{ID: "time", Choices: []string{None}}, None); err != nil || q == nil || q.ID != "hz" {
		t.Errorf("%+v %v", q, err)
	}
}

// TestStamps: times as samplers write them.
func TestStamps(t *testing.T) {
	for text, want := range map[string]string{
		"09:10:05": "0001-01-01T09:10:05 clock local", "9:10": "0001-01-01T09:10:00 clock local",
		"2026-11-30 09:10:05.25": "2026-11-30T09:10:05.25 local", "2026-11-30T09:10:05Z": "2026-11-30T09:10:05",
		"2026-11-30T09:10:05+01:00": "2026-11-30T08:10:05", "30.11.2026 09:10:05": "2026-11-30T09:10:05 local",
		"03/04/2026 09:10:05": "2026-04-03T09:10:05 or 2026-03-04T09:10:05 local",
		"04/04/2026 09:10":    "2026-04-04T09:10:00 local", "11/30/26 9:10:05 PM": "2026-11-30T21:10:05 local",
		"12:10:05 AM": "0001-01-01T00:10:05 clock local", "30-Nov-2026 09:10:05": "2026-11-30T09:10:05 local",
		"31.11.2026 09:10:05": "", "25:10:05": "", "09:60": "", "0910": "", "13:00 PM": "", "9.1": "",
		"01:02.5": "0001-01-01T00:01:02.5 clock local", "": "",
		"2026-11-30 09:10:05+25:00": "",
	} {
		got := ""
		if s, ok := parseStamp(text); ok {
			var a About
			a.start(s, "here")
			const form = "2006-01-02T15:04:05.999"
			got = a.Start.UTC().Format(form)
			if !a.Other.IsZero() {
				got += " or " + a.Other.UTC().Format(form)
			}
			if a.ClockOnly {
				got += " clock"
			}
			if a.Local {
				got += " local"
			}
		}
		if got != want {
			t.Errorf("%q is read as %q, want %q", text, got, want)
		}
	}
}

// TestLookEDF: the fields of EDF+ 2.1.3, with the example of its section 2.1.3.3
// ("MCH-0234567 F 02-MAY-1951 Haagse_Harry", from memory).
func TestLookEDF(t *testing.T) {
	h := &edf.Header{Patient: "MCH-0234567 F 02-MAY-1951 Haagse_Harry", Records: 360, RecordDuration: "1",
		Recording: "Startdate 02-MAR-2002 PSG-1234/2002 NN Telemetry03", StartDate: "02.03.02", StartTime: "09.10.05"}
	a := FromEDF(h)
	if a.SubjectCode != "MCH-0234567" || a.Sex != "female" || a.BirthDate != "1951-05-02" || a.Name != "Haagse Harry" ||
		a.Serial != "Telemetry03" ||
		a.Length.Seconds() != 360 || !a.Local ||
		a.Start.Format("2006-01-02 15:04:05") != "2002-03-02 09:10:05" || a.Visit != "PSG-1234/2002" ||
		len(a.From) != 8 {
		t.Errorf("%+v", a)
	}
	h.Patient, h.Recording, h.StartDate = "X X X X", "Startdate X X X X", "01.01.85"
	if a = FromEDF(h); a.SubjectCode+a.Sex+a.BirthDate+a.Name+a.Serial != "" || !a.ClockOnly {
		t.Errorf("X is taken for something: %+v", a)
	}
}

// TestLookPreamble: what lines before the values say, in several languages.
func TestLookPreamble(t *testing.T) {
	const rows = "\nt_s;co2_kpa\n0;1\n1;2\n"
	for head, want := range map[string]string{
		"Start: 2026-11-30 09:10:05\nSerial: SMP-7":                                      "2026-11-30T09:10:05 SMP-7",
		"Datum;30.11.2026\nUhrzeit;09:10:05\nSerien-Nr.;SMP-7\nEnde;30.11.2026 09:20:00": "2026-11-30T09:10:05 SMP-7",
		"Patient: K-1\nDOB: 1951-05-02\nSex: F\nName: Marta Quist\nDevice name: TEAL": "" +
			"K-1 1951-05-02 female Marta Quist",
		"Geburtsdatum;02.05.1951\nGeschlecht;w\nSubject ID;K-1\nDate of export: 2026-12-01": "" +
			"K-1 1951-05-02 or 1951-02-05 female",
		"Remark: none\nLimit: 5": "",
		"Date: 2026-11-30":       "",
	} {
		a, err := Look("a.csv", strings.NewReader(head+rows), nil)
		if err != nil {
			t.Error(err)
			continue
		}
		var got []string
		if !a.Start.IsZero() {
			got = append(got, a.Start.Format("2006-01-02T15:04:05"))
		}
		birth := a.BirthDate
		if a.OtherBirth != "" {
			birth += " or " + a.OtherBirth
		}
		for _, s := range []string{a.Serial, a.SubjectCode, birth, a.Sex, a.Name} {
			if s != "" {
				got = append(got, s)
			}
		}
		if s := strings.Join(got, " "); s != want || a.Length.Seconds() != 1 {
			t.Errorf("%q says %q, want %q; %v", head, s, want, a.Length)
		}
	}
}

// TestConvertStreams: memory does not grow with the recording.
func TestConvertStreams(t *testing.T) {
	allocs := func(rows int) float64 {
		data := "Zeit;CO2\n" + strings.Repeat("x", 0)
		var b strings.Builder
		for i := range rows {
			fmt.Fprintf(&b, "%d,%02d;40,5\n", i/100, i%100)
		}
		data += b.String()
		return testing.AllocsPerRun(3, func() {
			if _, err := Convert(io.Discard, strings.NewReader(data), timed, GasPressure{}); err != nil {
				t.Error(err)
			}
		})
	}
	if few, many := allocs(1000), allocs(20_000); many > 3*few+100 {
		t.Errorf("1,000 rows take %.0f allocations, 20,000 take %.0f", few, many)
	}
}
