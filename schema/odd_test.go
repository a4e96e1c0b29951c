package schema

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/schema/costtest"
)

// An oddity is a change of an ordinary week, what is told of it, and words of the message.
type oddity struct {
	name   string
	n      int
	change func(t *testing.T, f folder)
	want   []string
	says   string
}

func (o oddity) test(t *testing.T) {
	t.Run(o.name, func(t *testing.T) {
		f := week(t, o.n)
		o.change(t, f)
		got := load(t, f.write(t)).Problems
		if !slices.Equal(told(got), o.want) {
			t.Fatalf("got  %q\nwant %q\n%v", told(got), o.want, got)
		}
		if len(got) > 0 && !strings.Contains(got[0].Message, o.says) {
			t.Errorf("no %q: %v", o.says, got)
		}
	})
}

// values writes a value of pointer into each record of f, and nothing for "".
func (f folder) values(t *testing.T, pointer string, values ...string) {
	t.Helper()
	for i, v := range values {
		if v != "" {
			f.alter(t, i, pointer, v)
		}
	}
}

// quoted returns texts as JSON writes them.
func quoted(texts string) (out []string) {
	for _, text := range strings.Fields(texts) {
		out = append(out, `"`+text+`"`)
	}
	return out
}

// Codes: each field, what is odd among which others, and what may well be.
func TestOddCodes(t *testing.T) {
	const bar, unit, lot, serial = "/tubes/0/barcode", "/kit/unit", "/kit/lot", "/sampler/serial"
	for _, c := range []struct {
		pointer, codes string
		odd            int // the record, -1: none
		says           string
	}{
		{bar, "47400010037 47400010074 4740001O111 47400010148 47400010185 47400010222", 2, "a letter in place"},
		{bar, "47400010037 47400010074 47400010I11 47400010148 47400010185 47400010222", 2, "a letter in place"},
		{bar, "47400010037 47400010074 4740001011 47400010148 47400010185 47400010222", 2, "a digit shorter"},
		{bar, "47400010037 47400010074 474000101111 47400010148 47400010185 47400010222", 2, "a digit longer"},
		{bar, "TB-00931-A TB-00932-A TB-0933-A TB-00934-A TB-00935-A", 2, "a digit shorter"},
		{bar, "47400010037 47400010074 4740001011147400010111 47400010148 47400010185 47400010222", 2, "scanned twice"},
		{bar, "TB-9 TB-10 TB-11 TB-12 TB-13 TB-14", -1, ""},
		{bar, "TB-996 TB-997 TB-998 TB-999 TB-1000", -1, ""},
		{bar, "88996 88997 99998 99999 100000", -1, ""},
		{bar, "7K2QF9 O81MPA 3LL0X2 AAB7I1 99Q0OP Z1ZZ0O", -1, ""}, // of letters and digits by chance
		{bar, "47400010037 47400010074 47400010111 0047813 0047820 0047827", -1, ""},
		{unit, "K-0101 K-0102 K-O103 K-0104 K-0105", 2, "a letter in place"},
		{unit, "K-0101 K-0102 K-103 K-0104 K-0105", 2, "a digit shorter"},
		{unit, "K-1 K-2 K-3 K-4 K-15", -1, ""},
		{lot, "LOT-26-11 LOT-26-11 L0T-26-11 LOT-26-11 LOT-26-11", 2, "look alike"},
		{lot, "L2611 L2611 L261 L2611 L2611", 2, "a digit that is missing"},
		{lot, "L2611 L2611 L2612 L2611 L2611", -1, ""},
		{lot, "L2611 L2611 L2611L2611 L2611 L2611", 2, "scanned twice"},
		{serial, "SMP-0007 SMP-0007 SMP-0O07 SMP-0007 SMP-0007", 2, "look alike"},
		{serial, "SMP-0007 SMP-0007 SMP-007 SMP-0007 SMP-0007", 2, "a digit that is missing"},
		{serial, "SMP-1 SMP-1 SMP-11 SMP-1 SMP-1", -1, ""},
		{"/operator", "op-1 op-1 op-l op-1 op-2", 2, "look alike"},
		{"/operator", "op-1 op-1 op-11 op-1 op-2", -1, ""},
		{bar, "LK-1 LK-2 LK-3 S-0001 LK-5", 3, "a subject_id"},
	} {
		o := oddity{c.pointer + " " + c.codes, len(strings.Fields(c.codes)), func(t *testing.T, f folder) {
			f.values(t, c.pointer, quoted(c.codes)...)
		}, nil, c.says}
		rule := " code.odd?"
		if strings.Contains(c.says, "subject_id") {
			rule = " code.borrowed?"
		}
		if c.odd >= 0 {
			o.want = []string{file(c.odd) + " " + c.pointer + rule}
		}
		o.test(t)
	}
	oddity{"the kit's unit", 4, func(t *testing.T, f folder) {
		f.alter(t, 1, "/kit/unit", `"K-0102"`, "/tubes/0/barcode", `"k-0102"`)
	}, []string{file(1) + " /tubes/0/barcode code.borrowed?"}, "the unit of the kit"}.test(t)
}

// Values of one tube; those of the first record lie at volume 500 mL and an open time of
// 85 s or so.
func TestTubeValues(t *testing.T) {
	const volume = " /tubes/0/volume_ml tube.volume?"
	for _, c := range []struct {
		changes []string
		want    string
		says    string
	}{
		{[]string{"volume_ml", "5000", "nominal_ml", "500"}, volume, "more than 2 times nominal_ml"},
		{[]string{"volume_ml", "50", "nominal_ml", "500"}, volume, "less than 1/2 of nominal_ml"},
		{[]string{"volume_ml", "251", "nominal_ml", "500"}, "", ""},
		{[]string{"volume_ml", "50", "nominal_ml", "500", "role", `"travel-blank"`}, "", ""},
		{[]string{"volume_ml", "5000", "flow_start_ml_min", "310", "flow_end_ml_min", "300"}, volume, "the flow gives"},
		{[]string{"volume_ml", "5", "flow_start_ml_min", "310", "flow_end_ml_min", "300"}, volume, "the flow gives"},
		{[]string{"volume_ml", "200", "flow_start_ml_min", "310", "flow_end_ml_min", "300"}, "", ""}, // end-tidal
		{[]string{"flow_start_ml_min", "0.31"}, " /tubes/0/flow_start_ml_min flow.unit?", "L/min"},
		{[]string{"flow_end_ml_min", "4.9", "nominal_ml", "500"}, " /tubes/0/flow_end_ml_min flow.unit?", "L/min"},
		{[]string{"flow_end_ml_min", "5"}, "", ""},
		{[]string{"conditioned_at", `"2026-03-06T14:00:00-05:00"`}, " /tubes/0/conditioned_at tube.conditioned",
			"after it was opened"},
		{[]string{"conditioned_at", `"2026-03-01T14:00:00-05:00"`}, "", ""},
		{[]string{"uncapped_at", `"2026-03-02T08:24:00-05:00"`, "capped_at", `"2026-03-02T08:24:00-05:00"`},
			" /tubes/0/capped_at tube.open?", "open for 0 s"},
	} {
		o := oddity{fmt.Sprint(c.changes), 2, func(t *testing.T, f folder) {
			for k := 0; k < len(c.changes); k += 2 {
				f.alter(t, 0, "/tubes/0/"+c.changes[k], c.changes[k+1])
			}
		}, nil, c.says}
		if c.want != "" {
			o.want = []string{file(0) + c.want}
		}
		o.test(t)
	}
}

// Numbers that contradict each other, or are far from all others. Ages: the subjects of the
// week are adults; a child is none.
func TestOddNumbers(t *testing.T) {
	body := file(0) + " /subject/height_cm subject.body?"
	for _, c := range []struct {
		height, weight, born string
		want, says           string
	}{
		{"61", "160", "", body, "in each other's place"},
		{"63", "61.5", "", body, "in inches"},
		{"66", "145", "", body, "in inches and pounds"},
		{"160", "6.15", "", body, "too far left"},
		{"160", "395", "", body, "is missing"},
		{"95", "", "", body, "an adult"},
		{"160", "24", "", file(0) + " /subject/weight_kg subject.body?", "an adult"},
		{"61", "6.2", "2025-12-01", "", ""},    // a child of three months
		{"110", "19", "2020-12-01", "", ""},    // of five years
		{"152", "140", "", "", ""},             // a heavy person
		{"188", "41", "", "", ""},              // a light one
		{"110", "190", "2020-12-01", body, ""}, // no child
	} {
		o := oddity{c.height + " cm, " + c.weight + " kg", 2, func(t *testing.T, f folder) {
			f.alter(t, 0, "/subject/height_cm", c.height, "/subject/weight_kg", c.weight)
			if c.born != "" {
				f["roster.csv"] = strings.Replace(f["roster.csv"], "1978-05-17", c.born, 1)
				f.alter(t, 0, "/subject/birth_date", `"`+c.born+`"`)
			}
		}, nil, c.says}
		if c.want != "" {
			o.want = []string{c.want}
		}
		o.test(t)
	}
	for _, c := range []struct {
		pointer, values string
		odd             int
	}{
		{"/room_c", "21.4 21.5 2.1 21.7 21.8 21.9", 2},
		{"/room_c", "18 21.5 27 21.7 24 19.9", -1},
		{"/room_c", "4 30 5 29 6 28", -1},
		{"/room_kpa", "101 101.1 110.9 101.2 100.8 99.7", 2},
		{"/room_kpa", "101 99 104 97 100.8 102.5", -1},
		{"/tubes/0/gate_kpa", "4.2 4.2 0.42 4.2 4.2 4.2", 2},
		{"/tubes/0/gate_kpa", "4.2 3.1 2.4 5 4.2 4.2", -1},
		{"/tubes/0/flow_start_ml_min", "310 305 31 300 312 309", 2},
		{"/tubes/0/volume_ml", "500 498.5 5000 500 430 500", 2},
		{"/tubes/0/volume_ml", "500 1000 5000 250 30 500", -1},
	} {
		o := oddity{c.pointer + " " + c.values, 6, func(t *testing.T, f folder) {
			f.values(t, c.pointer, strings.Fields(c.values)...)
		}, nil, "check its decimal sign"}
		if c.odd >= 0 {
			o.want = []string{file(c.odd) + " " + c.pointer + " value.odd?"}
		}
		o.test(t)
	}
	oddity{"a folder in pounds", 8, func(t *testing.T, f folder) {
		for i := range 8 {
			id := fmt.Sprintf("Q-%04d", i)
			f["roster.csv"] += fmt.Sprintf("%s,A%d,B%d,,,1970-01-0%d,,,,,,,,,,\n", id, i, i, i+1)
			f.alter(t, i, "/subject/subject_id", `"`+id+`"`, "/subject/birth_date", fmt.Sprintf(`"1970-01-0%d"`, i+1),
				"/subject/height_cm", fmt.Sprint(160+i*3%8), "/subject/weight_kg", fmt.Sprint(140+3*i))
		}
	}, []string{file(0) + " /subject/weight_kg subject.body?"}, "pounds"}.test(t)
}

// Sessions by their times and numbers. V0 to V7 lie two a day, in order.
func TestOddSessions(t *testing.T) {
	hour := func(i int, from, to string) func(*testing.T, folder) {
		return func(_ *testing.T, f folder) { f.dated(i, from, to) }
	}
	for _, o := range []oddity{
		{"0 s long", 4, func(t *testing.T, f folder) {
			f.alter(t, 0, "/ended_at", literalOf(t, f, 0, "/started_at"), "/interruptions", "[]")
		}, []string{file(0) + " /ended_at session.empty?"}, "started_at equals ended_at"},
		{"at night", 8, hour(2, "T08:", "T01:"), []string{file(2) + " /started_at session.night?"}, "is it 13:"},
		{"late in the evening", 8, hour(2, "T08:", "T23:"), []string{file(2) + " /started_at session.night?"},
			"at night"},
		{"early", 8, hour(2, "T08:", "T05:"), nil, ""},
		{"a ward by night", 8, func(_ *testing.T, f folder) {
			for i := range 4 {
				f.dated(2*i, "T08:", "T02:")
			}
		}, nil, ""},
		{"the last before the first", 8, hour(7, "2026-03-05T", "2026-03-01T"),
			[]string{file(7) + " /started_at session.order?"}, "by their numbers"},
		{"the first after the last", 8, hour(0, "2026-03-02T", "2026-03-06T"),
			[]string{file(0) + " /started_at session.order?"}, "it is dated after that"},
		{"numbers by subject", 8, func(t *testing.T, f folder) {
			f.values(t, "/session_id", quoted("A-3 A-1 A-7 A-4 A-8 A-2 A-5 A-6")...)
		}, nil, ""},
	} {
		o.test(t)
	}
}

func literalOf(t *testing.T, f folder, i int, pointer string) string {
	t.Helper()
	return `"` + parse(t, f[file(i)]).At(pointer).Text + `"`
}

// A tube under the wrong session: the warnings about its times give way to that.
func TestTubeElsewhere(t *testing.T) {
	swapped := func(t *testing.T, f folder) {
		a, b := parse(t, f[file(2)]), parse(t, f[file(3)])
		x, y := string(a.At("/tubes").Encode()), string(b.At("/tubes").Encode())
		f.alter(t, 2, "/tubes", y)
		f.alter(t, 3, "/tubes", x)
	}
	oddity{"two sessions' tubes exchanged", 8, swapped, []string{file(2) + " /tubes/0/uncapped_at tube.session?",
		file(3) + " /tubes/0/uncapped_at tube.session?"}, "within that in sessions/0004.json"}.test(t)
	oddity{"a tube of another day, in a log without dates beside it", 5, func(t *testing.T, f folder) {
		f.dated(4, "-04T08:", "-04T13:")
		for _, name := range []string{"uncapped_at", "capped_at"} {
			at := literalOf(t, f, 4, "/tubes/0/"+name)
			f.alter(t, 3, "/tubes/0/"+name, strings.Replace(at, "2026-03-04", "2026-03-03", 1))
		}
	}, []string{file(3) + " /tubes/0/uncapped_at tube.session?"},
		"within that in sessions/0005.json, line 2, by the time of day"}.test(t)
	oddity{"a tube that fits two sessions by the clock, one of them of its subject", 5, func(t *testing.T, f folder) {
		f.dated(4, "-04T08:", "-04T13:")
		f.dated(1, "-02T09:", "-02T13:")
		for _, name := range []string{"uncapped_at", "capped_at"} {
			at := literalOf(t, f, 1, "/tubes/0/"+name)
			f.alter(t, 3, "/tubes/0/"+name, strings.Replace(at, "2026-03-02", "2026-03-03", 1))
		}
	}, []string{file(3) + " /tubes/0/uncapped_at tube.session?"},
		"within that in sessions/0002.json, line 2, by the time of day"}.test(t)
	oddity{"a session of another day", 8, func(t *testing.T, f folder) {
		tube := string(parse(t, f[file(0)]).At("/tubes/0").Encode())
		f.alter(t, 0, "/tubes", "["+tube+","+strings.Replace(tube, "T0000", "T0900", 1)+"]",
			"/tubes/0/conditioned_at", `"2026-03-06T14:00:00-05:00"`,
			"/tubes/1/conditioned_at", `"2026-03-06T14:00:00-05:00"`, "/tubes/1/position", `"B"`)
	}, []string{file(0) + " /started_at tube.conditioned"}, "correct the date of the session"}.test(t)
	oddity{"a wrong clock", 8, func(t *testing.T, f folder) {
		f.alter(t, 2, "/tubes/0/uncapped_at", `"2026-03-03T14:00:00-05:00"`, "/tubes/0/capped_at",
			`"2026-03-03T14:01:00-05:00"`)
	}, []string{file(2) + " /tubes/0/uncapped_at tube.time?", file(2) + " /tubes/0/capped_at tube.time?"},
		"an hour"}.test(t)
}

// The roster: postal codes, and text that was read as another set of characters. The
// damaged forms of each name are made by writing it in one set and reading it in another.
func TestOddRoster(t *testing.T) {
	list := func(t *testing.T, f folder, name, code string) {
		f["roster.csv"] = "subject_id,given_name,family_name,birth_date,sex,postal_code,country,other_names,mrn," +
			"national_id,phone,email,street,city,emergency_contact_name,emergency_contact_phone\n" +
			"S-0001," + name + ",Quillon,1978-05-17,f," + code + ",DE,,,,,,,,,\n" +
			"S-0002,Tam,Verrick,1990-11-02,m,,,,,,,,,,,\n"
	}
	const at = " /subject/postal_code subject.postal-code?"
	for _, c := range []struct{ listed, code, says string }{
		{"09870", "9870", "a zero in front"}, {"9870", "09870", "write that in roster.csv with its zero"},
		{"09870", "09871", "another region"}, {"AB1 2CD", "ab1-2cd", ""}, {"", "09870", ""}, {"09870", "", ""},
	} {
		o := oddity{c.listed + " and " + c.code, 1, func(t *testing.T, f folder) {
			list(t, f, "Odile", c.listed)
			f.alter(t, 0, "/subject/postal_code", "")
			if c.code != "" {
				f.alter(t, 0, "/subject/postal_code", `"`+c.code+`"`)
			}
		}, nil, c.says}
		if c.says != "" {
			o.want = []string{file(0) + at}
		}
		o.test(t)
	}
	for name, bad := range map[string]bool{"Jörvina": false, "O’Éamon": false, "Łucja": false,
		"Zoë-Ångström": false,
		"ÇAĞLA":        false, "Nguyễn": false, "Παύλος": false, "Ľubomír": false, "Müller": false, "d’Aubigné": false,
		"Mª":      false,
		"MÃ¼ller": true, "JÃ¶rvina": true, "Ã‰milie": true, "Å\u0081ucja": true,
		"M√ºller": true, "M├╝ller": true,
		"MŸllenthal": true, "M�ller": true, "Jšrvina": false} {
		if (garbled(name) != "") != bad {
			t.Errorf("%s: %q", name, garbled(name))
		}
	}
	oddity{"a name encoded twice", 1, func(t *testing.T, f folder) { list(t, f, "OdÃ¼le", "") },
		[]string{"roster.csv  roster.garbled?"}, "the text under given_name was encoded twice"}.test(t)
	r, _, err := parseRoster([]byte("subject_id,given_name,family_name,birth_date,postal_code,country\n" +
		"S-1,A,B,1970-01-01,09870,DE\nS-2,C,D,1970-01-02,09871,DE\nS-3,E,F,1970-01-03,9872,DE\n" +
		"S-4,G,H,1970-01-04,09873,DE\nS-5,I,J,1970-01-05,09874,de\nS-6,K,L,1970-01-06,1010,AT\n"))
	if err != nil {
		t.Fatal(err)
	}
	if got := r.postalCodes(); len(got) != 1 || got[0].Line != 4 {
		t.Errorf("%v", got)
	}
}

// A large folder takes no more than twice as long a session as a small one.
func TestOddIsFast(t *testing.T) {
	took := func(n int) float64 {
		c := &Collection{Study: &Study{GapDays: 7}, Roster: &Roster{}}
		start := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
		for i := range n {
			text := strings.NewReplacer("WEIR-V0001", fmt.Sprintf("V%d", i), "LK07-0001-A",
				fmt.Sprintf("T%d-%d", i%977, i),
				"S-0001", fmt.Sprintf("S-%d", i)).Replace(validRecord)
			s := newSession(file(i), parse(t, moved(text, i*7, i%3)))
			s.Started, s.Ended = start.Add(time.Duration(i)*time.Minute), start.Add(time.Duration(i+9)*time.Minute)
			c.Sessions = append(c.Sessions, s)
		}
		return costtest.InUnits(costtest.Of(func() {
			c.oddCodes()
			c.outliers()
			c.pounds()
			c.atNight()
			c.outOfOrder()
			c.elsewhere()
		}))
	}
	small, large := took(2000), took(20_000)
	t.Logf("%.2f units for 2000 sessions, %.2f for 20,000", small, large)
	if large > 30*small+1 {
		t.Errorf("%.2f units for 2000 sessions, %.2f for 20,000", small, large)
	}
}

// A session without a recording is odd only among those that have one.
func TestUnrecorded(t *testing.T) {
	record := func(without ...int) func(*testing.T, folder) {
		return func(t *testing.T, f folder) {
			for i := range 5 {
				if name := fmt.Sprintf("recordings/trace-%d.csv", i); !slices.Contains(without, i) {
					f.alter(t, i, "/recordings", `[{"file": "`+name+`", "format": "csv", "content": ""}]`)
					f[name] = validCSV
				}
			}
		}
	}
	for _, o := range []oddity{
		{"one", 5, record(3), []string{file(3) + " /recordings session.unrecorded?"}, "has no recording"},
		{"two of five", 5, record(3, 4), nil, ""},
		{"one that was stopped", 5, func(t *testing.T, f folder) {
			record(3)(t, f)
			f.alter(t, 3, "/outcome", `"stopped"`, "/notes", `"paused"`)
		}, nil, ""},
	} {
		o.test(t)
	}
}

// The equipment in the header of an EDF recording: another sampler's code, and other words.
func TestOtherSampler(t *testing.T) {
	for with, odd := range map[string]bool{"SMP-211": true, "SMP-207": false,
		"smp-207": false, "CAPNO": false, "X": false} {
		at := time.Date(2026, 3, 2, 8, 22, 0, 0, time.UTC)
		text := trace(t, "X X X X", "X", at)
		// EDF (1992): the recording's field is 80 bytes from the 88th on
		text = text[:88] + fmt.Sprintf("%-80s", "Startdate 02-MAR-2026 X X "+with) + text[168:]
		o := oddity{with, 2, func(t *testing.T, f folder) {
			f.alter(t, 0, "/recordings", `[{"file": "a.edf", "format": "edf", "content": ""}]`)
			f["recordings/a.edf"] = text
		}, nil, "names another sampler"}
		if odd {
			o.want = []string{file(0) + " /recordings/0/file recording.sampler?"}
		}
		o.test(t)
	}
}
