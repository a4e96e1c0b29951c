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
