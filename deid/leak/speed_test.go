package leak

import (
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"strings"
	"testing"

	"outbreath/schema"
	"outbreath/schema/costtest"
)

// prose makes n bytes of lines of invented words, as long-tailed as language,
// with a number in 25 words and a value of r in 40 lines.
func prose(r *schema.Roster, n int, accents bool) string {
	rnd := rand.New(rand.NewPCG(7, 11))
	plain, marked := strings.Fields("ba do ri ka lo me su ti ver lan nor pek ros tam wel yo"),
		strings.Fields("bä dö ri ka lø me sü té ver låñ nor pèk ros tăm węl yø")
	words := strings.Fields("the subject was seated and breathed through mouthpiece for twelve minutes tube flow " +
		"pump stable no cough noted sample repeated after leak mask fitted well room air blank taken before at visit " +
		"plateau reached pressure steady slight rise then fell nurse asked to relax")
	for len(words) < 4000 {
		s := plain
		if accents {
			s = marked
		}
		w := ""
		for range 1 + rnd.IntN(4) {
			w += s[rnd.IntN(len(s))]
		}
		words = append(words, w)
	}
	word := func() string {
		f := rnd.Float64()
		return words[int(f*f*f*float64(len(words)))]
	}
	var b strings.Builder
	for b.Len() < n {
		k := 8 + rnd.IntN(14)
		at := -1
		if rnd.IntN(40) == 0 {
			at = rnd.IntN(k)
		}
		for i := range k {
			w := word()
			switch {
			case i == at:
				row := r.Rows[rnd.IntN(len(r.Rows))]
				w = []string{row["given_name"] + " " + row["family_name"], row["mrn"], row["phone"],
					row["email"]}[rnd.IntN(4)]
			case i == 0:
				c := []rune(w)
				w = strings.ToUpper(string(c[:1])) + string(c[1:])
			case rnd.IntN(25) == 0:
				w = fmt.Sprint(rnd.IntN(100000))
			}
			b.WriteString(w)
			if i+1 < k {
				b.WriteByte(' ')
			}
		}
		b.WriteString(".\n")
	}
	return b.String()
}

func BenchmarkScan(b *testing.B) {
	r := manyRows(500) // 2,000 names, numbers and addresses, and more
	s := New(r)
	var numbers, csv strings.Builder
	rnd := rand.New(rand.NewPCG(3, 5))
	for i := range 20000 {
		fmt.Fprintf(&numbers, "%d %d.%d, ", rnd.IntN(100000000), rnd.IntN(1000), rnd.IntN(100))
		fmt.Fprintf(&csv, "%d.%02d,%d.%03d,-%d.%d\n", i/100, i%100, rnd.IntN(6), rnd.IntN(1000), rnd.IntN(200),
			rnd.IntN(10))
	}
	for _, c := range []struct {
		name, text string
		lines      bool // a scan a line, as notes come
	}{
		{"text", prose(r, 1<<20, false), false},
		{"lines", prose(r, 1<<20, false), true},
		{"accented", prose(r, 1<<20, true), false},
		{"accentedLines", prose(r, 1<<20, true), true},
		{"remarks", strings.Repeat(strings.Join(harmless, ". ")+". "+remarks, 20), false},
		{"numbers", numbers.String(), false},
		{"csv", csv.String(), false},
		{"hex", strings.Repeat("a1b2", 20000), false},
	} {
		b.Run(c.name, func(b *testing.B) {
			parts := []string{c.text}
			if c.lines {
				parts = strings.SplitAfter(c.text, "\n")
			}
			b.SetBytes(int64(len(c.text)))
			b.ReportAllocs()
			for b.Loop() {
				for _, p := range parts {
					s.Scan(p, nil)
				}
			}
		})
	}
}

func BenchmarkNew(b *testing.B) {
	r := manyRows(10000)
	b.ReportAllocs()
	for b.Loop() {
		New(r)
	}
}

// The time to build a scanner is proportional to the number of subjects, and a roster of
// 10,000 needs 150 MB. BenchmarkNew measures the time itself.
func TestManySubjects(t *testing.T) {
	few := manyRows(1000)
	short := costtest.Least(3, func() { New(few) })
	r := manyRows(10000)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	var s *Scanner
	took := costtest.Of(func() { s = New(r) })
	runtime.GC()
	runtime.ReadMemStats(&after)
	held := float64(after.HeapAlloc) - float64(before.HeapAlloc)
	t.Logf("%v for a tenth, %v, %.0f MB held, %.0f MB allocated", short, took, held/1e6,
		float64(after.TotalAlloc-before.TotalAlloc)/1e6)
	if held > 150e6 || took > 40*short {
		t.Errorf("%v for a tenth of them, %v for all, %.0f MB held", short, took, held/1e6)
	}
	if len(s.Scan("MRN "+r.Rows[9999]["mrn"], nil)) == 0 {
		t.Error("the last subject is not found")
	}
}

func corpusRoster(patterns []string) *schema.Roster {
	r := &schema.Roster{Columns: []string{"given_name", "family_name", "mrn", "phone", "email"}}
	for _, v := range patterns {
		row := map[string]string{}
		first, last, two := strings.Cut(v, " ")
		switch {
		case strings.Contains(v, "@"):
			row["email"] = v
		case digits(squeeze(v)) && two:
			row["phone"] = v
		case digits(v):
			row["mrn"] = v
		default:
			row["given_name"], row["family_name"] = first, last
		}
		r.Rows = append(r.Rows, row)
	}
	return r
}

// BenchmarkCorpus scans the file LEAK_TEXT, line by line, for the lines of
// LEAK_PATTERNS: names of two words, numbers, telephones and addresses.
func BenchmarkCorpus(b *testing.B) {
	text, err := os.ReadFile(os.Getenv("LEAK_TEXT"))
	if err != nil {
		b.Skip("LEAK_TEXT names no file")
	}
	patterns, err := os.ReadFile(os.Getenv("LEAK_PATTERNS"))
	if err != nil {
		b.Skip("LEAK_PATTERNS names no file")
	}
	r := corpusRoster(strings.Split(strings.TrimSpace(string(patterns)), "\n"))
	s := New(r)
	lines := strings.SplitAfter(string(text), "\n")
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		n := 0
		for _, l := range lines {
			for _, m := range s.Scan(l, nil) {
				if strings.HasPrefix(m.Basis, "roster") {
					n++
				}
			}
		}
		b.ReportMetric(float64(n), "found")
	}
}
