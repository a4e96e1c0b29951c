package main

import (
	"bufio"
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"

	"outbreath/deid/leak"
)

// compareLiterals times the literal search against ripgrep on one core, in
// alternation: a text with an identifier in 40 lines, numbers with 400 remarks,
// and the text once more with 200 short names. Both must count the same.
func (b *bench) compareLiterals(size int) {
	for _, program := range []string{"rg", "taskset"} {
		if _, err := exec.LookPath(program); err != nil {
			fail(program + " is needed")
		}
	}
	self, err := os.Executable()
	check(err)
	g := newInvented()
	g.text(b.at("text"), size)
	g.csv(b.at("csv"), size)
	check(os.WriteFile(b.at("nothing"), []byte("x"), 0o600))
	lines(b.at("long"), g.long)
	lines(b.at("both"), slices.Concat(g.long, g.short))
	fmt.Println("| what | MB/s | ripgrep MB/s | times as fast (least to greatest) | without its start | " +
		"found by both |")
	fmt.Println("|---|---|---|---|---|---|")
	for _, c := range []struct{ what, file, words, border string }{
		{"text, 2,000 literals", "text", "long", ""},
		{"csv, 2,000 literals", "csv", "long", ""},
		{"text, and 200 names of 4 to 7 letters, as words", "text", "both", "-w"},
	} {
		rg := func(file string) (cost, string) {
			args := []string{"-c", "0", "rg", "-j1", "-F", "-i", "--count-matches", "--no-config", "-f", b.at(c.words),
				b.at(file)}
			if c.border != "" {
				args = append(args, c.border)
			}
			return counted("taskset", args...)
		}
		var ours, theirs, rest []float64
		found := ""
		for i := range b.pairs + 1 { // the first warms the caches
			o, n := counted("taskset", "-c", "0", self, "-search", b.at(c.file), "-words", b.at(c.words), "-border="+
				c.border)
			t, m := rg(c.file)
			s, _ := rg("nothing")
			if n != m {
				fail(fmt.Sprintf("%s: %s places, ripgrep has %s", c.what, n, m))
			}
			if found = n; i > 0 {
				ours, theirs, rest = append(ours, o.wall), append(theirs, t.wall), append(rest, t.wall-s.wall)
			}
		}
		data, err := os.Stat(b.at(c.file))
		check(err)
		mb := float64(data.Size()) / 1e6
		whole, bare := ratios(theirs, ours), ratios(rest, ours)
		fmt.Printf("| %s | %.0f | %.0f | %.1f (%.1f to %.1f) | %.1f (%.1f to %.1f) | %s |\n", c.what, mb/middle(ours),
			mb/middle(theirs),
			middle(whole), whole[0], whole[len(whole)-1], middle(bare), bare[0], bare[len(bare)-1], found)
	}
}

func ratios(a, b []float64) (out []float64) {
	for i := range a {
		out = append(out, a[i]/b[i])
	}
	slices.Sort(out)
	return out
}

func middle(x []float64) float64 { return slices.Sorted(slices.Values(x))[len(x)/2] }

// counted runs a program that prints a number, or nothing and fails for 0.
func counted(name string, args ...string) (cost, string) {
	cmd := exec.Command(name, args...)
	var out bytes.Buffer
	cmd.Stdout = &out
	c := measure(cmd, true)
	return c, cmp.Or(strings.TrimSpace(out.String()), "0")
}

// searchLiterals prints how many places of file the literals of list have that do
// not overlap, the leftmost first and of those the longest.
func searchLiterals(file, list string, words bool) {
	data, err := os.ReadFile(list)
	check(err)
	var all []leak.Literal
	for _, w := range strings.Split(strings.TrimSpace(string(data)), "\n") {
		x := leak.Literal{Text: w}
		if words {
			x.Border = leak.Word
		}
		all = append(all, x)
	}
	l, err := leak.NewLiterals(all)
	check(err)
	var hits []leak.Hit
	s := l.Stream(func(h leak.Hit, _ []byte) { hits = append(hits, h) })
	f, err := os.Open(file)
	check(err)
	buf := make([]byte, 256<<10)
	for {
		n, err := f.Read(buf)
		s.Write(buf[:n])
		if err == io.EOF {
			break
		}
		check(err)
	}
	s.Close()
	slices.SortFunc(hits, func(a, b leak.Hit) int { return cmp.Or(cmp.Compare(a.Offset, b.Offset), b.Size-a.Size) })
	n, end := 0, int64(0)
	for _, h := range hits {
		if h.Offset >= end {
			n, end = n+1, h.Offset+int64(h.Size)
		}
	}
	fmt.Println(n)
}

func lines(file string, list []string) {
	check(os.WriteFile(file, []byte(strings.Join(list, "\n")+"\n"), 0o600))
}

// invented makes words, identifiers and texts out of syllables: nobody's.
type invented struct {
	r                  *rand.Rand
	words, long, short []string
}

func newInvented() *invented {
	g := &invented{r: rand.New(rand.NewPCG(20310401, 7))}
	seen := map[string]bool{}
	add := func(list *[]string, s string) {
		if !seen[strings.ToLower(s)] {
			seen[strings.ToLower(s)] = true
			*list = append(*list, s)
		}
	}
	for len(g.long) < 2000 {
		switch len(g.long) % 5 {
		case 0, 1:
			add(&g.long, title(g.word(2, 3))+" "+title(g.word(3, 4)))
		case 2:
			add(&g.long, strconv.Itoa(10_000_000+g.r.IntN(89_999_999)))
		case 3:
			add(&g.long, fmt.Sprintf("0%d %03d %04d", 100+g.r.IntN(899), g.r.IntN(1000), g.r.IntN(10000)))
		case 4:
			add(&g.long, g.word(2, 3)+"."+g.word(2, 3)+"@example.org")
		}
	}
	for len(g.short) < 200 {
		if w := title(g.word(2, 3)); len(w) >= 4 && len(w) <= 7 {
			add(&g.short, w)
		}
	}
	for len(g.words) < 4000 {
		g.words = append(g.words, g.word(1, 4))
	}
	return g
}

var (
	syllables = strings.Fields("ba be bo da de do fa fi ga go ha he ja jo ka ke ki la le lo lu ma me mi na ne no pa " +
		"pe ra re ri ro sa se si so ta te ti to va ve vi wa we xa ya yo za zo")
	endings = []string{"", "", "n", "r", "l", "s", "th", "rk", "nd", "m"}
)

func (g *invented) word(least, most int) string {
	w := ""
	for range least + g.r.IntN(most-least+1) {
		w += syllables[g.r.IntN(len(syllables))]
	}
	return w + endings[g.r.IntN(len(endings))]
}

func title(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// line writes words, few of them often; with an identifier among them when told.
func (g *invented) line(w *bufio.Writer, planted bool) int {
	var b []byte
	n := 8 + g.r.IntN(14)
	at := -1
	if planted {
		at = g.r.IntN(n)
	}
	for i := range n {
		f := g.r.Float64()
		x := g.words[int(f*f*f*float64(len(g.words)))]
		if i == at {
			x = g.long[g.r.IntN(len(g.long))]
			switch g.r.IntN(3) {
			case 0:
				x = strings.ToUpper(x)
			case 1:
				x = strings.ToLower(x)
			}
		}
		b = append(append(b, x...), ' ')
	}
	b = append(b[:len(b)-1], ".\n"...)
	w.Write(b)
	return len(b)
}

func (g *invented) text(file string, size int) {
	written(file, func(w *bufio.Writer) {
		for n := 0; n < size; {
			n += g.line(w, g.r.IntN(40) == 0)
		}
	})
}

// csv writes rows of numbers with 400 remarks.
func (g *invented) csv(file string, size int) {
	written(file, func(w *bufio.Writer) {
		next := size / 800
		for n, i := 0, 0; n < size; i++ {
			k, _ := fmt.Fprintf(w, "%.4f,%.6f,%.5f\n", float64(i)/100, 5*g.r.Float64(), 200*g.r.Float64()-100)
			if n += k; n > next {
				n += g.line(w, true)
				next += size / 400
			}
		}
	})
}

func written(file string, fill func(w *bufio.Writer)) {
	f, err := os.Create(file)
	check(err)
	w := bufio.NewWriterSize(f, 1<<20)
	fill(w)
	check(w.Flush())
	check(f.Close())
}
