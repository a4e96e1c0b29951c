package main

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"outbreath/schema/demo"
)

// TestReadme runs every command that README.md shows and wants what it shows:
// in a line, "..." stands for any text; a line "..." for any lines.
func TestReadme(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	must(t, "demo", "demo")
	mistakes(t, "mistakes")
	if err := os.Mkdir("stick", 0o755); err != nil {
		t.Fatal(err)
	}
	commands := 0
	for _, block := range regexp.MustCompile("(?s)```console\n(.*?)```").FindAllStringSubmatch(string(readme), -1) {
		for _, part := range strings.Split("\n"+block[1], "\n$ outbreath ")[1:] {
			line, want, _ := strings.Cut(part, "\n")
			commands++
			args := strings.Fields(line)
			for i, a := range args {
				if strings.HasPrefix(a, "FINDING=") {
					args[i] = onlyFinding(t, "mistakes") + strings.TrimPrefix(a, "FINDING")
				}
			}
			_, out, errOut := runHere(args...)
			if !shown(want).MatchString(out) {
				t.Errorf("README shows for %q\n%s\nbut it prints\n%s%s", line, want, out, errOut)
			}
		}
	}
	if commands < 6 {
		t.Errorf("only %d commands found in README.md", commands)
	}
}

// shown makes a pattern of what README.md shows.
func shown(text string) *regexp.Regexp {
	var b strings.Builder
	b.WriteString(`(?s)^`)
	for line := range strings.Lines(strings.TrimRight(text, "\n") + "\n") {
		if line == "...\n" {
			b.WriteString(`(?:[^\n]*\n)*?`)
			continue
		}
		b.WriteString(strings.ReplaceAll(regexp.QuoteMeta(line), `\.\.\.`, `[^\n]*`))
	}
	b.WriteString(`$`)
	return regexp.MustCompile(b.String())
}

// mistakes makes the collection that README.md speaks of: a surname in the
// notes, and a volume out of range.
func mistakes(t *testing.T, dir string) {
	t.Helper()
	truth, err := demo.Write(dir, smallDemo)
	if err != nil {
		t.Fatal(err)
	}
	anotherWeek(t, dir, "M")
	if _, err := demo.Plant(dir, demo.Planting{Place: demo.InNotes, Session: truth.Sessions[0].File, Row: 1, Column: "family_name"}); err != nil {
		t.Fatal(err)
	}
	record := filepath.Join(dir, truth.Sessions[1].File)
	data, err := os.ReadFile(record)
	if err != nil {
		t.Fatal(err)
	}
	at := regexp.MustCompile(`"volume_ml": *[0-9]+`).FindIndex(data)
	if at == nil {
		t.Fatal("no volume found")
	}
	write(t, record, slices.Concat(data[:at[0]], []byte(`"volume_ml": 0`), data[at[1]:]))
}

func onlyFinding(t *testing.T, dir string) string {
	t.Helper()
	_, out, _ := runHere("check", dir, "--keys", "demo/site-keys", "--json")
	found := regexp.MustCompile(`"id": "([^"]+)"`).FindAllStringSubmatch(out, -1)
	if len(found) != 1 {
		t.Fatalf("%d findings, want one\n%s", len(found), out)
	}
	return found[0][1]
}

var tubesOfWeek = regexp.MustCompile(`(LK)0`)

// anotherWeek gives the sessions and tubes of an invented collection other ids and
// barcodes than every other one has: a letter, and so as long as they were.
func anotherWeek(t testing.TB, dir, letter string) {
	t.Helper()
	records, err := filepath.Glob(filepath.Join(dir, "sessions", "*.json"))
	if err != nil || len(records) == 0 {
		t.Fatal(records, err)
	}
	id := regexp.MustCompile(`("session_id": *"WEIR-)V`)
	for _, record := range records {
		data, err := os.ReadFile(record)
		if err != nil || !id.Match(data) {
			t.Fatalf("%s: no id: %v", record, err)
		}
		data = id.ReplaceAll(data, []byte("${1}"+letter))
		data = tubesOfWeek.ReplaceAll(data, []byte("${1}"+letter))
		if err := os.WriteFile(record, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
