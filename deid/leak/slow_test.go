package leak

import (
	"strings"
	"testing"
	"time"

	"outbreath/schema/costtest"
)

// Hostile texts must not make the scan quadratic: 100,000 bytes of any of
// these took more than ten seconds, thousands of times what prose takes,
// while one detector was.
func TestHostileTexts(t *testing.T) {
	plain := prose(manyRows(1), 100000, false)
	usual := costtest.Least(5, func() { scan().Scan(plain, nil) })
	for _, u := range []string{"a1", "a", "1", "1.", "1 ", "1-", "a.", "a@", "@", "\"@", ":", "a:", "1:", "a-", "A. ",
		"May ", "will may ", "Grünwald ", "Dr. ",
		"nurse ", "Smith, ", "a/", "://", "a://", "www.", "www.com/", "a.com/", "aaa.com/ ", "=", "A1b2=", "é",
		"\u0301", "\u200b", "Anne-\n", "(", "9 January ", "Jan 9 ",
		"ninety ", "at dot ", "seen by A. ", "x y z ", "Van der ", "GB82 WEST 1234 ", "Baker Lane 22 ", "de la ",
		"4 May May ", "a_", "日本", "Ab"} {
		took := costtest.Of(func() { scan().Scan(strings.Repeat(u, 100000/len(u)), nil) })
		if took > 100*usual { // eleven times at most is meant
			t.Errorf("%q: %v; as much prose takes %v", u, took, usual)
		}
	}
}

// Bytes in hexadecimal digits that end within a word did not come to an end.
func TestHexPairsEnd(t *testing.T) {
	for _, text := range []string{"41 42 43 44 45 ab12 x and some more text", "41:42:43:44:45:46:cd34:5",
		"41-42-43-44-45-46-ef56-78-90-12-34-56"} {
		costtest.Ends(t, text, func() { scan().Scan(text, nil) })
	}
}

// TestTwiceTheText: a text twice as long takes about twice as long, also one that is
// one word, and one of many declared codes.
func TestTwiceTheText(t *testing.T) {
	code := "KN4471-07"
	declared := Declare(code)
	for _, u := range []string{"Grünwald", "grunwald", "Miller7x", "30418923", code + " ", code + " 4 May 1961 ",
		"G.r.u.n.w.a.l.d ", "G r ", "drei null ", "3,0;4|",
		"first of May ", "04:04 "} {
		least := func(n int) time.Duration {
			text := strings.Repeat(u, n/len(u))
			return costtest.Least(3, func() { scan().Scan(text, declared) })
		}
		short, long := least(1<<17), least(1<<19)
		if long > 10*short && costtest.InUnits(long) > 10 { // four times is meant, sixteen would be quadratic
			t.Errorf("%q: %v for a text, %v for four times as much", u, short, long)
		}
	}
}
