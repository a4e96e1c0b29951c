package schema

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/schema/edf"
)

// trace is an EDF recording that begins at start and names a patient and a visit.
func trace(t *testing.T, patient, visit string, start time.Time) string {
	h := &edf.Header{Patient: patient, StartDate: start.Format("02.01.06"), StartTime: start.Format("15.04.05"),
		Recording: "Startdate " + strings.ToUpper(start.Format("02-Jan-2006")) + " " + visit + " X X",
		Reserved:  "EDF+C",
		Records:   1, RecordDuration: "1", Signals: []edf.Signal{
			{Label: "CO2", Dimension: "kPa", PhysMin: "-1", PhysMax: "1", DigMin: "-9", DigMax: "9", Samples: 1},
			{Label: edf.AnnotationLabel, PhysMin: "-1", PhysMax: "1", DigMin: "-32768", DigMax: "32767", Samples: 8}}}
	tals, err := edf.EncodeTALs(16, edf.NewTAL("+0", "", ""))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := edf.Write(&b, h, [][]byte{append([]byte{0, 0}, tals...)}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestWhoseRecording holds what a header says against the record, the roster and the other sessions.
func TestWhoseRecording(t *testing.T) {
	const odile, tam = "S-0001 F 17-MAY-1978 Odile_Quillon", "S-0002 M 02-NOV-1990 Tam_Verrick"
	for _, c := range []struct {
		name    string
		patient [4]string // of the recordings of sessions 0 to 3, "" for the subject's own
		visit   [4]string
		late    [4]time.Duration // after started_at
		want    []string
		says    string
	}{
		{"as it should be", [4]string{}, [4]string{"V0", "V1", "V2", "V3"}, [4]time.Duration{time.Minute}, nil, ""},
		{"nothing known", [4]string{"X X X X", "X X X X", "X X X X", "X X X X"}, [4]string{}, [4]time.Duration{},
			nil, ""},
		{"drift", [4]string{}, [4]string{}, [4]time.Duration{-9 * time.Minute, 9 * time.Minute, 0, 0}, nil, ""},
		{"another subject by all", [4]string{tam}, [4]string{}, [4]time.Duration{},
			[]string{"0 recording.subject"}, "it fits the session in sessions/0002.json, line 15"},
		{"another subject by name, in another order", [4]string{"X X X verrick_TAM"}, [4]string{}, [4]time.Duration{},
			[]string{"0 recording.subject"}, "names another subject"},
		{"another subject by birth date alone", [4]string{"X X 02-NOV-1990 X"}, [4]string{}, [4]time.Duration{},
			[]string{"0 recording.subject"}, "names another subject"},
		{"another subject's code, the own name", [4]string{"S-0002 X X Odile_Quillon"}, [4]string{}, [4]time.Duration{},
			[]string{"0 recording.identity?"}, "in one field and another"},
		{"a birth date of nobody", [4]string{"X X 01-JAN-1970 X"}, [4]string{}, [4]time.Duration{},
			[]string{"0 recording.identity?"}, "the birth date in the header"},
		{"another birth date and sex, the own code", [4]string{"S-0001 M 01-JAN-1970 X"}, [4]string{},
			[4]time.Duration{}, []string{"0 recording.identity?"}, "the birth date and the sex in the header"},
		{"another visit of the same subject", [4]string{}, [4]string{"V2"}, [4]time.Duration{},
			[]string{"0 recording.session"}, "names the session in sessions/0003.json"},
		{"exchanged by the clock", [4]string{"X X X X", "X X X X"}, [4]string{},
			[4]time.Duration{61*time.Minute + 10*time.Second, -61 * time.Minute},
			[]string{"0 recording.session?", "1 recording.session?"}, "and fits that in sessions/0002.json, line 15"},
		{"exchanged over days by the clock", [4]string{"X X X X", "X X X X", "X X X X"}, [4]string{},
			[4]time.Duration{24*time.Hour + 2*time.Minute, 0, -24 * time.Hour},
			[]string{"0 recording.session", "2 recording.session"}, "fits that in sessions/0003.json"},
		{"a wrong clock that fits no session", [4]string{"X X X X"}, [4]string{},
			[4]time.Duration{50 * time.Minute}, []string{"0 recording.clock?"}, "50 minutes after"},
		{"one file of another day that fits none", [4]string{"X X X X"}, [4]string{},
			[4]time.Duration{-23*time.Hour - 40*time.Minute},
			[]string{"0 recording.clock?"}, "23.7 hours before"},
		{"one file that fits another session", [4]string{"", "", "X X X X"}, [4]string{},
			[4]time.Duration{0, 0, -23*time.Hour + 5*time.Minute}, []string{"2 recording.session?"},
			"22.9 hours before this session, and fits that in sessions/0002.json"},
		{"the clock alone", [4]string{}, [4]string{}, [4]time.Duration{25 * time.Minute},
			[]string{"0 recording.clock?"}, "begins 25 minutes after the session that names it"},
		{"another zone, one name", [4]string{}, [4]string{}, [4]time.Duration{time.Hour},
			[]string{"0 recording.clock?"}, "60 minutes after"},
		{"all of another zone", [4]string{}, [4]string{}, [4]time.Duration{time.Hour, time.Hour, time.Hour, time.Hour},
			[]string{"0 recording.clock?", "1 recording.clock?", "2 recording.clock?", "3 recording.clock?"},
			"as the others of this sampler do"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := week(t, 4)
			for i := range 4 {
				start, _ := parseTime(parse(t, f[file(i)]).At("/started_at").Text)
				patient := []string{odile, tam}[i%2]
				if c.patient[i] != "" {
					patient = c.patient[i]
				}
				visit := c.visit[i]
				if visit == "" {
					visit = "X"
				}
				f.alter(t, i, "/recordings", fmt.Sprintf(`[{"file": "%c.edf", "format": "edf", "content": ""}]`, 'a'+i))
				f[fmt.Sprintf("recordings/%c.edf", 'a'+i)] = trace(t, patient, visit, wallClock(start).Add(c.late[i]))
			}
			problems := load(t, f.write(t)).Problems
			var got []string
			for i, line := range told(problems) {
				for k := range 4 {
					line = strings.Replace(line, file(k)+" /recordings/0/file", fmt.Sprint(k), 1)
				}
				got = append(got, line)
				if m := problems[i].Message; strings.Contains(m, "uillon") || strings.Contains(m, "S-000") {
					t.Errorf("a value of the roster is shown: %s", m)
				}
			}
			if !slices.Equal(got, c.want) {
				t.Fatalf("got %q, want %q\n%v", got, c.want, problems)
			}
			if c.says != "" && !strings.Contains(fmt.Sprint(problems), c.says) {
				t.Errorf("%v does not hold %q", problems, c.says)
			}
		})
	}
}

// A CSV recording says nothing of itself: its name is what there is.
func TestMisnamedRecording(t *testing.T) {
	for _, c := range []struct {
		names string
		want  []string
	}{
		{"a-0.csv a-1.csv a-2.csv a-3.csv a-4.csv", nil},
		{"a-0.csv a-2.csv a-1.csv a-3.csv a-4.csv", []string{"1", "2"}},
		{"a-7.csv a-9.csv a-3.csv a-4.csv a-1.csv", nil}, // other numbers
		{"co2_WEIR-V3.csv x.csv y.csv z.csv V-4.csv", []string{"0"}},
		{"WEIR-V0_weir_v3.csv x.csv y.csv z.csv w.csv", nil},
	} {
		f := week(t, 5)
		for i, name := range strings.Fields(c.names) {
			f.alter(t, i, "/session_id", fmt.Sprintf(`"WEIR-V%d"`, i))
			f.alter(t, i, "/recordings", fmt.Sprintf(`[{"file": %q, "format": "csv", "content": ""}]`, name))
			f["recordings/"+name] = validCSV
		}
		var want []string
		for _, i := range c.want {
			n := int(i[0] - '0')
			want = append(want, file(n)+" /recordings/0/file recording.name?")
		}
		if got := told(load(t, f.write(t)).Problems); !slices.Equal(got, want) {
			t.Errorf("%s: got %q, want %q", c.names, got, want)
		}
	}
}
