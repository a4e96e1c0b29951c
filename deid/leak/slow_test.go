package leak

import (
	"strings"
	"testing"
	"time"
)

// Hostile texts must not make the scan quadratic: 100,000 bytes of any of
// these took more than ten seconds while one detector was.
func TestHostileTexts(t *testing.T) {
	for _, u := range []string{"a1", "a", "1", "1.", "1 ", "1-", "a.", "a@", "@", "\"@", ":", "a:", "1:", "a-", "A. ", "May ", "will may ", "Grünwald ", "Dr. ",
		"nurse ", "Smith, ", "a/", "://", "a://", "www.", "www.com/", "a.com/", "aaa.com/ ", "=", "A1b2=", "é", "\u0301", "\u200b", "Anne-\n", "(", "9 January ", "Jan 9 ",
		"ninety ", "at dot ", "seen by A. ", "x y z ", "Van der ", "GB82 WEST 1234 ", "Baker Lane 22 ", "de la ", "4 May May ", "a_", "日本", "Ab"} {
		start := time.Now()
		scan().Scan(strings.Repeat(u, 100000/len(u)), nil)
		if d := time.Since(start); d > 5*time.Second {
			t.Errorf("%q: %v", u, d)
		}
	}
}

// Bytes in hexadecimal digits that end within a word did not come to an end.
func TestHexPairsEnd(t *testing.T) {
	for _, text := range []string{"41 42 43 44 45 ab12 x and some more text", "41:42:43:44:45:46:cd34:5", "41-42-43-44-45-46-ef56-78-90-12-34-56"} {
		done := make(chan bool)
		go func() {
			scan().Scan(text, nil)
			close(done)
		}()
		select {
		case <-done:
		case <-time.After(20 * time.Second):
			t.Fatalf("no end in %q", text)
		}
	}
}

// TestTwiceTheText: a text twice as long takes about twice as long, also one that is
// one word, and one of many declared codes.
func TestTwiceTheText(t *testing.T) {
	code := "KN4471-07"
	declared := Declare(code)
	for _, u := range []string{"Grünwald", "grunwald", "Miller7x", "30418923", code + " ", code + " 4 May 1961 ", "G.r.u.n.w.a.l.d ", "G r ", "drei null ", "3,0;4|",
		"first of May ", "04:04 "} {
		least := func(n int) time.Duration {
			text, best := strings.Repeat(u, n/len(u)), time.Hour
			for range 3 {
				start := time.Now()
				scan().Scan(text, declared)
				best = min(best, time.Since(start))
			}
			return best
		}
		short, long := least(1<<17), least(1<<19)
		if long > 9*short && long > 200*time.Millisecond { // four times is meant
			t.Errorf("%q: %v for a text, %v for four times as much", u, short, long)
		}
	}
}
