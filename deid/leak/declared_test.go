package leak

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// What a text costs to excuse does not grow with what its record declares, nor with the
// text: counted are the comparisons. (A record with 5,000 tubes and 10,000 notes took
// six seconds.)
func TestDeclaredIsBounded(t *testing.T) {
	const most = maxDeclared * maxDeclared / 2
	steps := func(codes int, text string) (looked int) {
		list := make([]string, codes)
		for i := range list {
			list[i] = fmt.Sprintf("LK07-%06d-A", i)
		}
		d := Declare(list...)
		at := len(text) / 2
		if _, looked = d.covers(text, at, at+4); len(d.codes) != codes {
			t.Fatalf("%d codes of %d", len(d.codes), codes)
		}
		return looked
	}
	for _, text := range []string{"Mr A. B. ", "-", "a", "a-", "7.", "x "} {
		short, long := strings.Repeat(text, 1000), strings.Repeat(text, 100_000)
		few := steps(10, short)
		if many := steps(10_000, short); many != few {
			t.Errorf("%q: %d comparisons with 10 codes, %d with 10,000", text, few, many)
		}
		if got := steps(10, long); got > most {
			t.Errorf("%q: %d comparisons in a long text, want %d at most", text, got, most)
		}
	}
}

// covers finds what looking for every code in the whole text finds.
func TestDeclaredLaw(t *testing.T) {
	piece := rapid.SampledFrom([]string{"A", "LK07-1", "-", "é", " ", ".", "9", "WEIR", "(", "x", "\u0301"})
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(piece, 1, 30).Draw(t, "text"), "")
		code := strings.Join(rapid.SliceOfN(piece, 1, 4).Draw(t, "code"), "")
		start := rapid.IntRange(0, len(text)-1).Draw(t, "start")
		end := rapid.IntRange(start+1, len(text)).Draw(t, "end")
		want := false
		for i := range text {
			if k := i + len(code); codeForm(code) && i <= start && end <= k && strings.HasPrefix(text[i:], code) {
				want = want || !wordEnds(text[:i]) && !wordBegins(text[k:])
			}
		}
		if got, _ := Declare("other-1", code).covers(text, start, end); got != want {
			t.Fatalf("%q in %q at %d to %d: %v, want %v", code, text, start, end, got, want)
		}
	})
}

// BenchmarkDeclared searches the notes of a record that declares as many tubes.
func BenchmarkDeclared(b *testing.B) {
	for _, tubes := range []int{10, 1000, 10_000} {
		b.Run(fmt.Sprint(tubes), func(b *testing.B) {
			list := make([]string, tubes)
			for i := range list {
				list[i] = fmt.Sprintf("LK07-%06d-A", i)
			}
			d, s := Declare(slices.Concat(list, []string{"A", "B"})...), New(nil)
			text := strings.Repeat("Mr A. B. ", 100)
			b.SetBytes(int64(len(text)))
			for b.Loop() {
				if len(s.Scan(text, d)) == 0 {
					b.Fatal("nothing found")
				}
			}
		})
	}
}
