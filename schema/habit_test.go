package schema

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// habitRules are the rules of this file's tests.
var habitRules = []string{"column.once", "column.counted", "column.back", "column.exchanged", "code.borrowed",
	"session.exchanged", "tube.duplicate", "tube.batch", "subject.changed", "value.odd", "session.order"}

// A site is a week's way to work, as its folder shows it: every habit may be any.
type site struct {
	samplers, operators, lots, perDay int
	firmwareAt, lotEvery              int // session from which on the firmware is new; kits a lot has
	mixed, shuffled, blanks           bool
	room                              bool // each session has a tube of the room's air as well
	seed                              int
}

// days writes n sessions of a site that makes no mistake.
func (w site) days(t testing.TB, n int) folder {
	f := folder{"study.json": validStudy, "roster.csv": rosterHead + rosterRows}
	for i := range n {
		record := changed(t, "/recordings", "[]")
		if i%2 == 1 {
			record = second(t, "/recordings", "[]")
		}
		record = moved(record, i/w.perDay*86400+i%w.perDay*3600+i*61, i%7)
		root, err := ParseJSON([]byte(record))
		if err != nil {
			t.Fatal(err)
		}
		sampler := i % w.samplers
		if w.seed%3 == 0 { // one sampler a day
			sampler = i / w.perDay % w.samplers
		}
		firmware := "3.2.1"
		if i >= w.firmwareAt {
			firmware = "3.2.2"
		}
		tube := i
		if w.shuffled {
			tube = (i*23 + w.seed) % 53 // of a box, in any order
		}
		storage := "refrigerated"
		if w.blanks && i%4 == 1 {
			storage = "ambient"
		}
		born := moved(`2026-03-02T08:24:00-05:00`, i/w.perDay*86400-86400*(2+(i*w.seed)%6), 0)
		for _, change := range [][2]string{
			{"/session_id", fmt.Sprintf(`"V%d"`, i)},
			{"/kit/unit", fmt.Sprint(100 + i)},
			{"/kit/lot", fmt.Sprintf(`"L26%02d"`, 11+i/w.lotEvery%w.lots)},
			{"/sampler/serial", fmt.Sprintf(`"SMP-%d"`, 207+sampler)},
			{"/sampler/firmware", `"` + firmware + `"`},
			{"/operator", fmt.Sprintf(`"op-%d"`, 1+(i*(1+w.seed%2)+i/3)%w.operators)},
			{"/tubes/0/barcode", fmt.Sprintf(`"T%04d"`, 1000+tube)},
			{"/tubes/0/storage", `"` + storage + `"`},
			{"/tubes/0/sorbent", `"Q40/60"`},
			{"/tubes/0/nominal_ml", "500"},
			{"/tubes/0/volume_ml", fmt.Sprint(490 + (i*w.seed+i*i)%23)},
			{"/tubes/0/flow_start_ml_min", fmt.Sprint(240 + (i*3+w.seed)%11)},
			{"/tubes/0/cycles", fmt.Sprint((i*w.seed*5 + 3) % 90)},
			{"/tubes/0/conditioned_at", `"` + born + `"`},
		} {
			edit(t, root, change[0], change[1])
		}
		if w.mixed && i%3 == 2 {
			edit(t, root, "/fraction", `"whole"`)
		}
		if w.room {
			w.roomAir(t, root, i, tube)
		}
		f[file(i)] = string(root.Encode())
	}
	return f
}

// roomAir adds a second tube to a record, through which the room's air was drawn.
func (w site) roomAir(t testing.TB, root *Node, i, tube int) {
	second, err := ParseJSON(root.At("/tubes/0").Encode())
	if err != nil {
		t.Fatal(err)
	}
	list := root.At("/tubes")
	list.Items = append(list.Items[:1], second)
	for _, change := range [][2]string{
		{"/tubes/0/role", `"sample"`},
		{"/tubes/0/barcode", fmt.Sprintf(`"T%04d"`, 1000+2*tube)},
		{"/tubes/1/role", `"room-air"`},
		{"/tubes/1/barcode", fmt.Sprintf(`"T%04d"`, 1001+2*tube)},
		{"/tubes/1/position", `"B"`},
		{"/tubes/1/volume_ml", fmt.Sprint(491 + (i*w.seed+i)%19)},
		{"/tubes/1/flow_start_ml_min", fmt.Sprint(238 + (i*5+w.seed)%13)},
		{"/tubes/1/cycles", fmt.Sprint((i*w.seed*7 + 11) % 90)},
	} {
		edit(t, root, change[0], change[1])
	}
}

// habitual returns what the rules of habits tell.
func habitual(problems []Problem) (out []string) {
	for _, line := range told(problems) {
		rule := strings.TrimSuffix(line[strings.LastIndexByte(line, ' ')+1:], "?")
		if slices.Contains(habitRules, rule) {
			out = append(out, line)
		}
	}
	return out
}

// A site without a mistake is left in peace, whatever its habits; -v shows in how many weeks
// it is not. One week in fifty may be called odd, as habits are no more than that.
func TestHabitsAreQuiet(t *testing.T) {
	weeks, odd := 0, 0
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(1, 32).Draw(r, "sessions")
		w := site{
			samplers: rapid.IntRange(1, 4).Draw(r, "samplers"), operators: rapid.IntRange(1, 4).Draw(r, "operators"),
			lots: rapid.IntRange(1, 3).Draw(r, "lots"), perDay: rapid.IntRange(1, 8).Draw(r, "a day"),
			firmwareAt: rapid.IntRange(0, 40).Draw(r, "firmware"), lotEvery: rapid.IntRange(2, 12).Draw(r, "kits"),
			mixed: rapid.Bool().Draw(r, "mixed"), shuffled: rapid.Bool().Draw(r, "shuffled"),
			blanks: rapid.Bool().Draw(r, "blanks"), room: rapid.Bool().Draw(r, "room"), seed: rapid.IntRange(1,
				50).Draw(r, "seed"),
		}
		col := load(t, w.days(t, n).write(t))
		if len(col.Sessions) != n {
			r.Fatalf("%d sessions of %d: %v", len(col.Sessions), n, col.Problems)
		}
		weeks++
		if got := habitual(col.Problems); len(got) > 0 {
			odd++
			t.Logf("%d sessions, %+v: %q", n, w, got)
		}
	})
	t.Logf("%d of %d weeks called odd", odd, weeks)
	if odd*50 > weeks {
		t.Errorf("%d of %d weeks without a mistake are called odd", odd, weeks)
	}
}

// Mistakes in a week of a site, by the field that is wrong; each is told where it is.
func TestHabits(t *testing.T) {
	usual := site{samplers: 1, operators: 2, lots: 1, perDay: 3, firmwareAt: 99, lotEvery: 99, seed: 4}
	const (
		lot, unit, serial, firmware = "/kit/lot", "/kit/unit", "/sampler/serial", "/sampler/firmware"
		sorbent, role, born         = "/tubes/0/sorbent", "/tubes/0/role", "/tubes/0/conditioned_at"
		smoking                     = "/subject/smoking_status"
	)
	for _, c := range []struct {
		name    string
		n       int
		changes []string // of records: number, pointer, value
		want    []string
	}{
		{"nothing", 9, nil, nil},
		{"a letter of the sorbent", 9, []string{"4", sorbent, `"Q40/6O"`}, []string{"4 " + sorbent + " column.once?"}},
		{"marks of the firmware", 9, []string{"4", firmware, `"32.1"`}, []string{"4 " + firmware + " column.back?"}},
		{"a firmware of one session", 9, []string{"4", firmware, `"3.2.7"`},
			[]string{"4 " + firmware + " column.back?"}},
		{"a new firmware", 9, []string{"7", firmware, `"3.2.2"`, "8", firmware, `"3.2.2"`}, nil},
		{"digits of a lot exchanged", 9, []string{"3", lot, `"L2161"`}, []string{"3 " + lot + " column.once?"}},
		{"a mark of the last firmware", 9, []string{"8", firmware, `"3.21"`},
			[]string{"8 " + firmware + " column.once?"}},
		{"a mark of the first sorbent", 9, []string{"0", sorbent, `"Q40-60"`},
			[]string{"0 " + sorbent + " column.once?"}},
		{"another lot", 9, []string{"3", lot, `"L2612"`}, nil},
		{"one storage", 9, []string{"3", "/tubes/0/storage", `"frozen"`}, []string{"3 /tubes/0/storage column.once?"}},
		{"one fraction", 9, []string{"3", "/fraction", `"airway"`}, []string{"3 /fraction column.once?"}},
		{"one nominal volume", 9, []string{"3", "/tubes/0/nominal_ml", "505"},
			[]string{"3 /tubes/0/nominal_ml column.once?"}},
		{"serials counted up", 5, []string{"0", serial, `"SMP-1"`, "1", serial, `"SMP-2"`, "2", serial, `"SMP-3"`,
			"3", serial, `"SMP-4"`, "4", serial, `"SMP-5"`}, []string{"1 " + serial + " column.counted?"}},
		{"firmware counted up", 3, []string{"0", firmware, `"3.2.9"`, "1", firmware, `"3.2.10"`, "2", firmware,
			`"3.2.11"`},
			[]string{"1 " + firmware + " column.counted?"}},
		{"lot and unit exchanged", 9, []string{"5", lot, `"105"`, "5", unit, `"L2611"`},
			[]string{"5 " + lot + " column.exchanged?"}},
		{"serial and firmware exchanged", 9, []string{"5", serial, `"3.2.1"`, "5", firmware, `"SMP-207"`},
			[]string{"5 " + serial + " column.exchanged?"}},
		{"volume and flow exchanged", 9, []string{"5", "/tubes/0/volume_ml", "244", "5", "/tubes/0/flow_start_ml_min",
			"495"},
			[]string{"5 /tubes/0/volume_ml column.exchanged?"}},
		{"a serial as the lot", 9, []string{"5", lot, `"SMP-207"`}, []string{"5 " + lot + " code.borrowed?"}},
		{"a subject as operator", 9, []string{"5", "/operator", `"S-0001"`}, []string{"5 /operator code.borrowed?"}},
		{"the session's subject as operator", 1, []string{"0", "/operator", `"S-0001"`},
			[]string{"0 /operator code.borrowed?"}},
		{"a duplicate alone", 2, []string{"1", role, `"duplicate"`}, []string{"1 " + role + " tube.duplicate?"}},
		{"never after former", 6, []string{"0", smoking, `"former"`, "2", smoking, `"never"`, "4", smoking, `"former"`},
			[]string{"2 " + smoking + " subject.changed?"}},
		{"current after former", 6, []string{"0", smoking, `"former"`, "2", smoking, `"current"`, "4", smoking,
			`"current"`}, nil},
		{"cleaned a year before", 9, []string{"6", born, `"2025-02-26T08:24:00-05:00"`},
			[]string{"6 " + born + " tube.batch?"}},
		{"cleaned a month before", 9, []string{"6", born, `"2026-01-26T08:24:00-05:00"`},
			[]string{"6 " + born + " tube.batch?"}},
		{"heated 1200 times", 9, []string{"6", "/tubes/0/cycles", "1200"}, []string{"6 /tubes/0/cycles value.odd?"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := usual.days(t, c.n)
			if strings.Contains(c.name, "former") { // what is written for all of a subject is not judged here
				for i := range c.n {
					f.alter(t, i, smoking, `"former"`)
				}
			}
			for k := 0; k < len(c.changes); k += 3 {
				f.alter(t, int(c.changes[k][0]-'0'), c.changes[k+1], c.changes[k+2])
			}
			col := load(t, f.write(t))
			for i, want := range c.want {
				c.want[i] = file(int(want[0]-'0')) + want[1:]
			}
			if got := habitual(col.Problems); !slices.Equal(got, c.want) {
				t.Errorf("got  %q\nwant %q\n%v", got, c.want, col.Problems)
			}
			if got, want := comparedOf(col), judged(col.Problems); !slices.Equal(got, want) {
				t.Errorf("before they are files: %v\nas files: %v", got, want)
			}
		})
	}
}

// comparedOf is what Compared says of the records of a collection.
func comparedOf(col *Collection) []Problem {
	var records []Unwritten
	for _, s := range col.Sessions {
		records = append(records, Unwritten{File: s.File, Doc: s.Doc})
	}
	return judged(Compared(col.Study, col.Plan, col.Roster, records))
}

// judged returns the problems of habitRules.
func judged(problems []Problem) []Problem {
	return slices.DeleteFunc(slices.Clone(problems), func(p Problem) bool {
		return !slices.Contains(habitRules, p.Rule)
	})
}

// Two sessions that have each other's days, or tubes.
func TestExchanged(t *testing.T) {
	day := func(i, perDay int) string { return fmt.Sprintf("2026-03-%02dT", 2+i/perDay) }
	for _, c := range []struct {
		n, perDay, a, b int
	}{{9, 3, 1, 5}, {9, 3, 0, 8}, {5, 1, 1, 3}, {18, 4, 2, 15}, {3, 1, 1, 2}} {
		w := site{samplers: 1, operators: 2, lots: 1, perDay: c.perDay, firmwareAt: 99, lotEvery: 99, seed: 4}
		f := w.days(t, c.n)
		f.dated(c.a, day(c.a, c.perDay), day(c.b, c.perDay))
		f.dated(c.b, day(c.b, c.perDay), day(c.a, c.perDay))
		want := []string{file(c.a) + " /started_at session.exchanged?", file(c.b) + " /started_at session.exchanged?"}
		if got := habitual(load(t, f.write(t)).Problems); !slices.Equal(got, want) {
			t.Errorf("%+v: got %q", c, got)
		}
		f = w.days(t, c.n)
		barcode := func(i int) string { return fmt.Sprintf(`"T%d"`, 1000+i) }
		f.alter(t, c.a, "/tubes/0/barcode", barcode(c.b))
		f.alter(t, c.b, "/tubes/0/barcode", barcode(c.a))
		want = []string{file(c.a) + " /tubes/0/barcode session.exchanged?", file(c.b) +
			" /tubes/0/barcode session.exchanged?"}
		if c.n < fewTaken {
			want = nil // too few to know in what order tubes are taken
		}
		if got := habitual(load(t, f.write(t)).Problems); !slices.Equal(got, want) {
			t.Errorf("tubes of %+v: got %q", c, got)
		}
	}
}
