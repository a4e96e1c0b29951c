package deid

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"outbreath/deid/leak"
	"outbreath/schema/demo"
)

// inspected returns the findings of an inspection of files, each written in pieces.
func inspected(files map[string][]byte, piece int) []leak.Finding {
	i := NewInspection(demo.Study, demo.Site)
	for name, data := range files {
		w := i.File(name)
		for p := range slices.Chunk(data, piece) {
			w.Write(p)
		}
		w.Close()
	}
	return i.Left()
}

// What is released is clean to somebody who knows neither roster nor plan.
func TestInspectionOfClean(t *testing.T) {
	for _, plan := range []string{"shifted", "limited", "year-only"} {
		dir, _ := invented(t, demo.Options{RecordingSeconds: 10})
		usePlan(t, dir, plan)
		c, err := Release(treat(t, load(t, dir)), nil)
		if err != nil {
			t.Fatal(err)
		}
		files := payload(t, c)
		for _, piece := range []int{1, 777, 1 << 20} {
			if left := inspected(files, piece); len(left) > 0 {
				t.Errorf("%s: %+v", plan, left)
			}
		}
	}
}

// A planted value is found in the finished bag, at its place, unless somebody decided to
// keep a finding there.
func TestInspectionOfPlanted(t *testing.T) {
	dir, _ := invented(t, demo.Options{RecordingSeconds: 10})
	c, err := Release(treat(t, load(t, dir)), nil)
	if err != nil {
		t.Fatal(err)
	}
	clean := payload(t, c)
	find := func(prefix, suffix string) string {
		for _, f := range c.Files() {
			if strings.HasPrefix(f.Name, prefix) && strings.HasSuffix(f.Name, suffix) {
				return f.Name
			}
		}
		t.Fatalf("no %s*%s", prefix, suffix)
		return ""
	}
	session, csv, edf := find("sessions/", ".json"), find("recordings/", ".csv"), find("recordings/", ".edf")
	const phone, mail = "+1 646 555 0143", "w.brand@example.org" // set aside for fiction; RFC 2606
	for _, test := range []struct {
		name, file, pointer string
		old, new            string
		found               string // text of the finding; "": not compared
	}{
		{"a note", session, "/notes", `"notes": "`, `"notes": "call ` + phone + `, `, phone},
		{"a member's name", session, "", `"kit":`, `"` + mail + `": 1, "kit":`, ""},
		{"a column of the tubes", "tubes.csv", "/1/5", "refrigerated\n", mail + "\n", ""},
		{"a reason in the plan", "treatment.json", "/fields/0/why", `"why": "`, `"why": "ask ` + mail + `, `, ""},
		{"a title in the schema", "session.schema.json", "/$comment", `"$schema"`,
			`"$comment": "ask ` + mail + `", "$schema"`, ""},
		{"a remark in a recording", csv, "", "\n0.05,", "\n# " + mail + "\n0.05,", mail},
		{"the end of a recording", csv, "", "t_s,", "t_s, " + mail + ",", mail},
		{"a transducer in EDF", edf, "", "CO2             ", "w.b@example.org ", "w.b@example.org"},
	} {
		t.Run(test.name, func(t *testing.T) {
			data := clean[test.file]
			at := bytes.Index(data, []byte(test.old))
			if at < 0 {
				t.Fatalf("%s has no %q: %.300s", test.file, test.old, data)
			}
			bent := slices.Concat(data[:at], []byte(test.new), data[at+len(test.old):])
			for _, piece := range []int{1, 4096, 1 << 20} {
				files := map[string][]byte{test.file: bent}
				left := inspected(files, piece)
				if len(left) != 1 || left[0].File != test.file || left[0].Pointer != test.pointer {
					t.Fatalf("in pieces of %d: %+v", piece, left)
				}
				if f := left[0]; test.found != "" {
					text := string(bent)
					if test.pointer == "/notes" {
						text = text[strings.Index(text, `"notes": "`)+len(`"notes": "`):]
					}
					if got := text[f.Start:f.End]; got != test.found {
						t.Errorf("the finding is %q, not %q", got, test.found)
					}
				}
				if test.file == "treatment.json" {
					continue
				}
				place := SettledPlace{File: test.file, Pointer: test.pointer}
				if strings.HasPrefix(test.file, "recordings/") {
					// the whole recording, another text of it, and one that ends too early excuse nothing
					f := left[0]
					for _, other := range []SettledPlace{place,
						{File: test.file, Start: int64(f.End), End: int64(f.End) + 80},
						{File: test.file, Start: int64(f.Start), End: int64(f.End) - 1}} {
						files["treatment.json"] = (&Ledger{Settled: []SettledPlace{other}}).Encode()
						if left := inspected(files, piece); len(left) != 1 {
							t.Errorf("kept at %+v, and not reported", other)
						}
					}
					place.Start, place.End = int64(f.Start), int64(f.End)
				}
				files["treatment.json"] = (&Ledger{Settled: []SettledPlace{place}}).Encode()
				if left := inspected(files, piece); len(left) > 0 {
					t.Errorf("kept, and still reported: %+v", left)
				}
			}
		})
	}
}

// A mask is recognised by its place and its form together.
func TestInspectionOfMasks(t *testing.T) {
	const typed = "t_s,co2_kpa\n1,2\nDr XXXXXXXX was here\n3,4\nDr Whitlock was here\n"
	mask, name := int64(strings.Index(typed, "XX")), int64(strings.Index(typed, "Whitlock"))
	note := `{"notes": "seen by Dr [removed: name], then Dr Whitlock"}`
	for _, test := range []struct {
		what string
		file string
		text string
		list []RemovedPlace
		left int
	}{
		{"typed by a person", "recordings/a.csv", typed, nil, 2},
		{"ours", "recordings/a.csv", typed, []RemovedPlace{{"recordings/a.csv", "", mask, mask + 8}}, 1},
		{"ours, among others", "recordings/a.csv", typed,
			[]RemovedPlace{{"recordings/a.csv", "", mask, mask + 8}, {"recordings/a.csv", "", 1, 2},
				{"recordings/a.csv", "", mask + 9, mask + 10}}, 1},
		{"listed as ours, but a name", "recordings/a.csv", typed,
			[]RemovedPlace{{"recordings/a.csv", "", name, name + 8}}, 2},
		{"of another file", "recordings/a.csv", typed, []RemovedPlace{{"recordings/b.csv", "", mask, mask + 8}}, 2},
		{"shorter than what is found", "recordings/a.csv", typed,
			[]RemovedPlace{{"recordings/a.csv", "", mask, mask + 7}}, 2},
		{"the whole file", "recordings/a.csv", typed, []RemovedPlace{{"recordings/a.csv", "", 0, 1 << 40}}, 1},
		{"a word in a note", "sessions/a.json", note, []RemovedPlace{{"sessions/a.json", "/notes", 11, 26}}, 1},
	} {
		l := Ledger{Format: ledgerFormat, Settled: []SettledPlace{}, Removed: test.list}
		got := inspected(map[string][]byte{test.file: []byte(test.text), "treatment.json": l.Encode()}, 1<<20)
		if len(got) != test.left {
			t.Errorf("%s: %d are left of two: %+v", test.what, len(got), got)
		}
	}
}

// More findings than are kept are an error, even if all the kept ones are settled.
func TestInspectionOfMany(t *testing.T) {
	var text strings.Builder
	l := Ledger{Format: ledgerFormat}
	text.WriteString("t_s,co2_kpa\n")
	for range maxInspected {
		at := int64(text.Len() + len("Dr "))
		l.Removed = append(l.Removed, RemovedPlace{"recordings/a.csv", "", at, at + 8})
		text.WriteString("Dr XXXXXXXX\n")
	}
	full := map[string][]byte{"recordings/a.csv": []byte(text.String()), "treatment.json": l.Encode()}
	if left := inspected(full, 1<<20); len(left) != 0 {
		t.Errorf("%d of %d masks are left, the first %+v", len(left), maxInspected, left[0])
	}
	text.WriteString("Dr Whitlock\n")
	full["recordings/a.csv"] = []byte(text.String())
	if left := inspected(full, 1<<20); len(left) != 1 || left[0].Start != text.Len()-9 {
		t.Errorf("behind %d masks: %+v", maxInspected, left)
	}
}

// Pieces of any size give the same.
func TestInspectionPieces(t *testing.T) {
	line := rapid.SampledFrom([]string{"0.01,4.2,-3", "nobody", "a@example.org", "", "1e5,NaN,2", "\x00\xff",
		strings.Repeat("5", 500), "+1 646 555 0143 "})
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(line, 0, 30).Draw(t, "lines"),
			rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(t, "end"))
		files := map[string][]byte{"recordings/a.csv": []byte(text)}
		want := inspected(files, 1<<20)
		got := inspected(files, rapid.IntRange(1, 50).Draw(t, "piece"))
		if !slices.Equal(got, want) {
			t.Fatalf("%+v\n%+v", got, want)
		}
		if strings.Contains(text, "@example") && len(want) == 0 {
			t.Fatalf("nothing found in %q", text)
		}
	})
}

func FuzzInspection(f *testing.F) {
	f.Add("recordings/a.csv", []byte("t_s,co2_kpa\n1,2\nx@example.org\n"), 3)
	f.Add("recordings/a.edf", []byte(strings.Repeat(" ", 252)+"1   "+strings.Repeat("9", 300)), 100)
	f.Add("sessions/a.json", []byte(`{"notes":"call +1 646 555 0143"}`), 1)
	f.Add("tubes.csv", []byte("a,b\n1,x@example.org\n"), 1)
	f.Fuzz(func(t *testing.T, name string, data []byte, piece int) {
		if len(data) > 1<<16 {
			return
		}
		for _, l := range inspected(map[string][]byte{name: data}, 1+max(0, piece%1000)) {
			if l.Start < 0 || l.End <= l.Start {
				t.Fatalf("%+v", l)
			}
		}
	})
}

func BenchmarkInspection(b *testing.B) {
	text := []byte("t_s,co2_kpa,pressure_pa\n" + strings.Repeat("123.45,4.56789,-12.5\n", 50_000))
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		w := NewInspection(demo.Study, demo.Site).File("recordings/a.csv")
		for p := range slices.Chunk(text, 256<<10) {
			w.Write(p)
		}
		w.Close()
	}
}

// Eight bytes at a time give what one at a time gives, for any bytes.
func TestNumerals(t *testing.T) {
	some := rapid.OneOf(rapid.SampledFrom([]byte("0123456789+-.,eENa\r\n/;:*\x0b\x8a\xaf\xb0")), rapid.Byte())
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.SampledFrom([]byte("0123456789+-.,\n")), 0, 40).Draw(t, "good")
		p = append(p, rapid.SliceOfN(some, 0, 12).Draw(t, "any")...)
		want := 0
		for want < len(p) && numeral[p[want]] {
			want++
		}
		if got := numerals(p); got != want {
			t.Fatalf("%q: %d, want %d", p, got, want)
		}
	})
	for b := range 256 { // every byte in every place
		for at := range 16 {
			p := bytes.Repeat([]byte("7"), 17)
			p[at] = byte(b)
			want := 17
			if !numeral[b] {
				want = at
			}
			if got := numerals(p); got != want {
				t.Fatalf("%q: %d, want %d", p, got, want)
			}
		}
	}
}
