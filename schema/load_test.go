package schema

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// many writes a collection of n sessions of two subjects, without recordings.
func many(t testing.TB, n int) string {
	t.Helper()
	dir := folder{"study.json": validStudy, "roster.csv": rosterHead + rosterRows, "sessions/": ""}.write(t)
	record := changed(t, "/recordings", "[]")
	for i := range n {
		text := strings.NewReplacer(`"WEIR-V0001"`, fmt.Sprintf(`"WEIR-V%06d"`, i), `"unit": 7`,
			fmt.Sprintf(`"unit": %d`, i),
			"LK07-0001-A", fmt.Sprintf("LK07-%06d-A", i)).Replace(moved(record, i*600, i%7))
		if err := os.WriteFile(filepath.Join(dir, "sessions", fmt.Sprintf("%06d.json", i)), []byte(text),
			0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// moved moves every time of validRecord by so many seconds, and those of the tubes and the end
// by some more.
func moved(record string, seconds, more int) string {
	return recordTimes.ReplaceAllStringFunc(record, func(s string) string {
		at, _ := parseTime(s)
		if !strings.Contains(s, "T08:22:00") {
			at = at.Add(time.Duration(more) * time.Second)
		}
		return at.Add(time.Duration(seconds) * time.Second).Format(time.RFC3339)
	})
}

var recordTimes = regexp.MustCompile(`2026-03-02T08:[0-9:]*-05:00`)

func BenchmarkLoad(b *testing.B) {
	dir := many(b, 20_000)
	b.ReportAllocs()
	for b.Loop() {
		c, err := Load(dir)
		if err != nil {
			b.Fatal(err)
		}
		if len(c.Sessions) != 20_000 {
			b.Fatalf("%d sessions, problems %v", len(c.Sessions), c.Problems[:min(3, len(c.Problems))])
		}
		c.Root.Close()
	}
}
