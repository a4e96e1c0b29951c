package leak

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// naive finds literals by comparing at every place of the whole text.
func naive(l *Literals, text string) []Hit {
	var hits []Hit
	low := smallASCII(text)
	for k := range l.list {
		want := string(l.of(k))
		for at := 0; ; at++ {
			i := strings.Index(low[at:], want)
			if i < 0 {
				break
			}
			at += i
			if l.admits(k, at, at+len(want), []byte(text)) {
				hits = append(hits, Hit{int64(at), len(want), k, l.columns[l.list[k].column], l.list[k].border})
			}
		}
	}
	return sorted(hits)
}

func sorted(hits []Hit) []Hit {
	slices.SortFunc(hits, func(a, b Hit) int {
		return cmp.Or(cmp.Compare(a.Offset, b.Offset), cmp.Compare(a.Literal, b.Literal))
	})
	return hits
}

// streamed searches text in pieces that end at cuts.
func streamed(t interface{ Fatalf(string, ...any) }, l *Literals, text string, cuts []int) []Hit {
	var hits []Hit
	s := l.Stream(func(h Hit, there []byte) {
		if got := text[h.Offset : h.Offset+int64(h.Size)]; got != string(there) {
			t.Fatalf("%q was handed over for %q", there, got)
		}
		hits = append(hits, h)
	})
	from := 0
	for _, to := range append(slices.Sorted(slices.Values(cuts)), len(text)) {
		piece := []byte(text[from:to])
		s.Write(piece)
		clear(piece) // must not be held
		from = to
	}
	s.Close()
	return sorted(hits)
}

// Whatever the literals, the text and the pieces: the same as the plain search.
func TestLiteralsAreExact(t *testing.T) {
	letter := rapid.SampledFrom([]byte("aAbBc12 .-+@[`é\x00"))
	borders := rapid.SampledFrom([]Border{Anywhere, Apart, Number, Word})
	some, none := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		var list []Literal
		for range rapid.IntRange(1, 12).Draw(t, "literals") {
			text := string(rapid.SliceOfN(letter, 8, 14).Draw(t, "long"))
			border := borders.Draw(t, "border")
			if rapid.Bool().Draw(t, "is short") {
				text, border = rapid.StringMatching(`[aAbB1]{1,7}`).Draw(t, "short"), Word
			}
			list = append(list, Literal{text, fmt.Sprint(len(list) % 3), border, rapid.Bool().Draw(t, "capitalised"),
				false})
		}
		var b strings.Builder
		for range rapid.IntRange(0, 30).Draw(t, "parts") {
			b.Write(rapid.SliceOfN(letter, 0, 5).Draw(t, "between"))
			x := rapid.SampledFrom(list).Draw(t, "planted").Text
			x = x[:rapid.IntRange(max(0, len(x)-2), len(x)).Draw(t, "of it")]
			if rapid.Bool().Draw(t, "large") {
				x = string(bytes.ToUpper([]byte(x)))
			}
			b.WriteString(x)
		}
		text := b.String()
		cuts := rapid.SliceOfN(rapid.IntRange(0, len(text)), 0, 20).Draw(t, "cuts")
		l, err := NewLiterals(list)
		if err != nil {
			t.Fatal(err)
		}
		want := naive(l, text)
		if got := streamed(t, l, text, cuts); !slices.Equal(got, want) {
			t.Fatalf("%+v in %q, cut at %v:\n%v, want\n%v", list, text, cuts, got, want)
		}
		long := slices.DeleteFunc(naive(l.Samples(), text), func(h Hit) bool { return h.Size < minLong })
		if got := streamed(t, l.Samples(), text, cuts); !slices.Equal(got, long) {
			t.Fatalf("%+v in %q as samples, cut at %v:\n%v, want\n%v", list, text, cuts, got, long)
		}
		if some++; len(want) == 0 {
			none++
		}
	})
	if none > some*3/4 {
		t.Errorf("%d of %d texts held nothing", none, some)
	}
}

// What counts where, written down by hand.
func TestLiteralBorders(t *testing.T) {
	for _, test := range []struct {
		literal     string
		border      Border
		capitalised bool
		counts      []string // with the literal between "<" and ">"
		not         []string
	}{
		{"Tamsin Orrell", Anywhere, false, []string{"<tamsin ORRELL>", "xx<Tamsin Orrell>yy", "4<TAMSIN ORRELL>7"},
			[]string{"Tamsin  Orrell", "Tamsin Orre", "Tamsin_Orrell", "\u212aamsin Orrell"}},
		{"LK-0107-4", Apart, false, []string{"(<lk-0107-4>)", "7<LK-0107-4>x", "<LK-0107-4>"}, []string{"xLK-0107-4",
			"LK-0107-42"}},
		{"30417788", Number, false, []string{"MRN<30417788>.", "<30417788>, then", "-<30417788>", "<30417788>"},
			[]string{"130417788", "304177880", "1.30417788", "30417788.5", "30417788-1", "12-30417788", "+30417788",
				"3,30417788"}},
		{"Orrell", Word, false, []string{"<orrell>", "Mr <ORRELL>'s", "x_<Orrell>_", "(<Orrell>)", "Anne-<Orrell>"},
			[]string{"Orrells", "xOrrell", "Orrell2", "Orrell\u00e9", "\u00e9Orrell"}},
		{"Orrell-Quick", Word, false, []string{"<orrell-quick>", "a <Orrell-Quick>."}, []string{"Orrell-Quickly",
			"2Orrell-Quick"}},
		{"Rose Hill", Apart, true, []string{"<Rose Hill>", "<ROSE HILL>"}, []string{"rose hill", "Rose hill",
			"Rose Hills"}},
	} {
		list := []Literal{{test.literal, "c", test.border, test.capitalised, false}}
		l, err := NewLiterals(list)
		if err != nil {
			t.Fatal(err)
		}
		for _, marked := range test.counts {
			at := strings.Index(marked, "<")
			text := strings.NewReplacer("<", "", ">", "").Replace(marked)
			for cut := range len(text) + 1 {
				if got := streamed(t, l, text, []int{cut}); len(got) != 1 || got[0].Offset != int64(at) ||
					got[0].Size != len(test.literal) || got[0].Column != "c" {
					t.Errorf("%q in %q cut at %d: %+v", test.literal, text, cut, got)
				}
			}
		}
		for _, text := range test.not {
			for cut := range len(text) + 1 {
				if got := streamed(t, l, text, []int{cut}); len(got) != 0 {
					t.Errorf("%q in %q cut at %d: %+v", test.literal, text, cut, got)
				}
			}
		}
	}
	l, err := NewLiterals([]Literal{{"Tamsin Orrell", "c", Apart, false, false}, {"30417788", "c", Number, false,
		false}, {"Ottoline", "c", Word, false, false}})
	if err != nil {
		t.Fatal(err)
	}
	for text, n := range map[string]int{
		"\x00\x01\xffxTamsin Orrellx\x02aa": 1, "a\x8030417788.5\x00": 1, "\xe4Ottoline\xe4\x00": 1,
		"2\x00\x00\x00Tamsin Orrell": 1,
		"see xTamsin Orrell":         0, "of 130417788 ": 0, "and Ottolines say": 0,
	} {
		if got := streamed(t, l.Samples(), text, []int{5, 9}); len(got) != n {
			t.Errorf("among samples, in %q: %+v", text, got)
		}
	}
	for _, bad := range []Literal{{}, {Text: "short"}, {Text: "a b", Border: Word}, {Text: "Orrell", Border: Apart}} {
		if _, err := NewLiterals([]Literal{bad}); err == nil {
			t.Errorf("%+v can be searched", bad)
		}
	}
}

// No literal reaches over what is skipped, and offsets go on behind it.
func TestLiteralsSkip(t *testing.T) {
	l, err := NewLiterals([]Literal{{Text: "Tamsin Orrell"}, {Text: "30417788", Border: Number}})
	if err != nil {
		t.Fatal(err)
	}
	var got []Hit
	s := l.Stream(func(h Hit, _ []byte) { got = append(got, h) })
	s.Write([]byte("Tamsin "))
	s.Skip(100)
	s.Write([]byte("Orrell, 30417788"))
	s.Skip(1)
	s.Write([]byte("9 Tamsin Orrell"))
	s.Close()
	want := []Hit{{115, 8, 1, "", Number}, {126, 13, 0, "", Anywhere}}
	if !slices.Equal(sorted(got), want) {
		t.Errorf("%+v, want %+v", got, want)
	}
}

// plainText makes n bytes of words of which some are literals of list, in any
// letters, some cut short, some run into each other.
func plainText(rnd *rand.Rand, list []string, n int) []byte {
	var b []byte
	for len(b) < n {
		x := list[rnd.IntN(len(list))]
		switch rnd.IntN(12) {
		case 0:
			b = append(b, x...)
		case 1:
			b = append(b, strings.ToUpper(x)...)
		case 2:
			b = append(b, x[:len(x)-1]...)
		case 3:
			b = append(b, x[rnd.IntN(len(x)):]...)
			continue
		case 4:
			b = append(b, x...)
			continue // the next one touches
		default:
			for range 1 + rnd.IntN(9) {
				b = append(b, "abcdefghijklmnoprstu"[rnd.IntN(20)])
			}
		}
		b = append(b, " \n,-"[rnd.IntN(4)])
	}
	return b
}

// GNU grep finds the same literals at the same offsets. Of overlapping literals it
// reports the leftmost, and of these the longest.
func TestLiteralsLikeGrep(t *testing.T) {
	grep, err := exec.LookPath("grep")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("grep is missing")
		}
		t.Skip("grep is missing")
	}
	rnd := rand.New(rand.NewPCG(5, 8))
	r := manyRows(300)
	long, short := []string{"abababab", "babababa", "ababababab"}, []string{"ab", "aba"}
	for _, row := range r.Rows {
		long = append(long, row["given_name"]+" "+row["family_name"], row["mrn"], row["phone"], row["email"])
		short = append(short, row["given_name"][:min(7, len(row["given_name"]))], row["family_name"][:4])
	}
	for _, test := range []struct {
		name   string
		words  []string
		border Border
		args   []string
	}{
		{"long", long, Anywhere, nil},
		{"short", short, Word, []string{"-w"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			dir := t.TempDir()
			text := append(plainText(rnd, test.words, 300_000), strings.Repeat("abababababababab", 40)+"\n"...)
			var list []Literal
			for _, w := range test.words {
				list = append(list, Literal{Text: w, Border: test.border})
			}
			for name, data := range map[string][]byte{"text": text, "words": []byte(strings.Join(test.words, "\n"))} {
				if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
					t.Fatal(err)
				}
			}
			cmd := exec.Command(grep, append(test.args, "-F", "-i", "-o", "-b", "-a", "-f", filepath.Join(dir, "words"),
				filepath.Join(dir, "text"))...)
			cmd.Env = []string{"LC_ALL=C"}
			out, err := cmd.Output()
			if err != nil {
				t.Fatal(err)
			}
			l, err := NewLiterals(list)
			if err != nil {
				t.Fatal(err)
			}
			var cuts []int
			for at := 0; at < len(text); at += rnd.IntN(5000) {
				cuts = append(cuts, at)
			}
			hits := streamed(t, l, string(text), cuts)
			slices.SortStableFunc(hits, func(a, b Hit) int {
				return cmp.Or(cmp.Compare(a.Offset, b.Offset),
					b.Size-a.Size)
			})
			var b strings.Builder
			end, n := int64(0), 0
			for _, h := range hits {
				if h.Offset >= end {
					end = h.Offset + int64(h.Size)
					fmt.Fprintf(&b, "%d:%s\n", h.Offset, text[h.Offset:end])
					n++
				}
			}
			if b.String() != string(out) {
				t.Errorf("%d places, grep has %d lines: %.200q and %.200q", n, bytes.Count(out, []byte("\n")),
					b.String(), out)
			}
			if n < 1000 || len(hits) == n && test.border == Anywhere {
				t.Errorf("%d places, %d without overlap: the text tries too little", len(hits), n)
			}
		})
	}
}

// Eight bytes at a time give what one at a time gives, for every byte in every place.
func TestWordBits(t *testing.T) {
	for c := range 256 {
		for at := range 8 {
			for _, other := range []byte{' ', 'm', 0xff, 0} {
				b := bytes.Repeat([]byte{other}, 8)
				b[at] = byte(c)
				want := uint64(0)
				for i, x := range b {
					if wordByte[x] {
						want |= 1 << i
					}
				}
				if got := wordBits(b); got != want {
					t.Fatalf("%q: %08b, want %08b", b, got, want)
				}
			}
		}
	}
}

// A piece costs no memory.
func TestLiteralsAllocateNothing(t *testing.T) {
	r := manyRows(500)
	l, err := NewLiterals(RosterLiterals(r, "", true))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	s := l.Stream(func(Hit, []byte) { n++ })
	text := []byte(prose(r, 1<<16, false))
	if got := testing.AllocsPerRun(20, func() { s.Write(text) }); got > 0 {
		t.Errorf("%v allocations a piece", got)
	}
	if n == 0 {
		t.Error("nothing was found")
	}
}

func FuzzLiterals(f *testing.F) {
	f.Add("Tamsin Orrell\nOrrell\n30417788", []byte("so TAMSIN ORRELL, 30417788, and orrell"), 5)
	f.Add("abababab\nbabababa\nab", []byte(strings.Repeat("ab", 20)), 1)
	f.Add("J\u00f6rg Gr\u00fcn\nZo\u00eb", []byte("J\u00f6rg Gr\u00fcn zo\u00eb"), 3)
	f.Fuzz(func(t *testing.T, words string, data []byte, piece int) {
		if len(words)+len(data) > 1<<14 {
			return
		}
		var list []Literal
		for i, w := range strings.Split(words, "\n") {
			x := Literal{Text: w, Border: Border(i % 4)}
			if len(w) < minLong {
				x.Border = Word
			}
			if x.check() == nil {
				list = append(list, x)
			}
		}
		l, err := NewLiterals(list)
		if err != nil {
			t.Fatal(err)
		}
		var cuts []int
		for at := 0; at < len(data); at += 1 + max(0, piece%1000) {
			cuts = append(cuts, at)
		}
		want := naive(l, string(data))
		if got := streamed(t, l, string(data), cuts); !slices.Equal(got, want) {
			t.Fatalf("%+v, want %+v", got, want)
		}
	})
}

// BenchmarkLiterals searches for 2,000 long literals, and for single names too,
// in pieces as they are sealed.
func BenchmarkLiterals(b *testing.B) {
	r := manyRows(500)
	var long, short []Literal
	for _, row := range r.Rows {
		for _, v := range []string{row["given_name"] + " " + row["family_name"], row["mrn"], row["phone"],
			row["email"]} {
			long = append(long, Literal{Text: v})
		}
		short = append(short, Literal{Text: row["given_name"][:min(7, len(row["given_name"]))], Border: Word})
	}
	var csv bytes.Buffer
	rnd := rand.New(rand.NewPCG(3, 5))
	samples := make([]byte, 4<<20)
	for i := 0; csv.Len() < 4<<20; i++ {
		fmt.Fprintf(&csv, "%d.%02d,%d.%03d,-%d.%d\n", i/100, i%100, rnd.IntN(6), rnd.IntN(1000), rnd.IntN(200),
			rnd.IntN(10))
	}
	for i := 0; i < len(samples); i += 2 {
		v := int16(9000*math.Sin(float64(i)/700) + 60*rnd.NormFloat64())
		samples[i], samples[i+1] = byte(v), byte(uint16(v)>>8)
	}
	text := []byte(prose(r, 4<<20, false))
	both, err := NewLiterals(slices.Concat(long, short))
	if err != nil {
		b.Fatal(err)
	}
	only, err := NewLiterals(long)
	if err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct {
		name string
		l    *Literals
		data []byte
	}{{"text", only, text}, {"csv", only, csv.Bytes()}, {"samples", only.Samples(), samples}, {"textWithShortNames",
		both, text}} {
		b.Run(c.name, func(b *testing.B) {
			b.SetBytes(int64(len(c.data)))
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				n = 0
				s := c.l.Stream(func(Hit, []byte) { n++ })
				for p := range slices.Chunk(c.data, 128<<10) {
					s.Write(p)
				}
				s.Close()
			}
			b.ReportMetric(float64(n), "found")
		})
	}
}

func BenchmarkNewLiterals(b *testing.B) {
	r := manyRows(10000)
	b.ReportAllocs()
	for b.Loop() {
		l, err := NewLiterals(RosterLiterals(r, "known", true))
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(l.Count()), "literals")
	}
}
