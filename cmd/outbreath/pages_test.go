package main

import (
	"bytes"
	"encoding/json"
	"html"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"outbreath/schema/demo"
	"outbreath/schema/demo/planting"
)

// readmeLines is what a newcomer may be asked to read first.
const readmeLines = 150

// A page is README.md or a help topic.
type page struct {
	name string
	text string // Markdown
}

func allPages(t *testing.T) []page {
	t.Helper()
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	all := []page{{"README.md", string(readme)}}
	for _, topic := range topics() {
		all = append(all, page{topic.name, topic.text})
	}
	return all
}

// TestPages runs every command that README.md and the help topics show, each page in a
// folder of its own that "outbreath demo demo" was run in, and wants what it shows: in a
// line, "..." is any text; a line "..." for any lines.
func TestPages(t *testing.T) {
	all := allPages(t)
	base := t.TempDir()
	t.Chdir(base)
	must(t, "demo", "demo")
	mistakes(t, "mistakes")
	week(t, "week-48")
	sessionLog(t)
	for _, stick := range []string{"stick", "safe"} {
		if err := os.Mkdir(stick, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	commands := 0
	for _, p := range all {
		commands += strings.Count(p.text, "\n$ outbreath ")
		if !console.MatchString(p.text) {
			continue
		}
		t.Run(p.name, func(t *testing.T) {
			t.Chdir(copied(t, base))
			runPage(t, p)
		})
	}
	if commands < 20 {
		t.Errorf("only %d commands found", commands)
	}
}

// copied returns a new folder with what dir holds; keys stay their owner's alone.
func copied(t *testing.T, dir string) string {
	t.Helper()
	to := t.TempDir()
	if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	for _, folder := range []string{"demo/site-keys", "demo/lab-keys"} {
		for name := range files(t, filepath.Join(to, folder)) { // CopyFS gives every reader a right
			if err := os.Chmod(filepath.Join(to, folder, name), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	return to
}

var (
	console  = regexp.MustCompile("(?sm)^```console\n(.*?)^```")
	argument = regexp.MustCompile(`"[^"]*"|[^ ]+`)
)

// runPage runs the examples of a page.
func runPage(t *testing.T, p page) {
	t.Helper()
	for _, block := range console.FindAllStringSubmatch(p.text, -1) {
		text := strings.ReplaceAll("\n"+block[1], "\\\n", " ") // a line that goes on
		for _, part := range strings.Split(text, "\n$ outbreath ")[1:] {
			line, want, _ := strings.Cut(part, "\n")
			args := argument.FindAllString(line, -1)
			for i, a := range args {
				args[i] = strings.Trim(a, `"`)
				if strings.HasPrefix(a, "FINDING=") {
					args[i] = onlyFinding(t, "mistakes") + strings.TrimPrefix(a, "FINDING")
				}
			}
			_, out, errOut := runHere(args...)
			if !shown(want).MatchString(out) {
				t.Errorf("%s shows for %q\n%s\nbut it prints\n%s%s", p.name, line, want, out, errOut)
			}
		}
	}
}

func TestReadmeIsShort(t *testing.T) {
	readme := allPages(t)[0].text
	if n := strings.Count(readme, "\n"); n > readmeLines {
		t.Errorf("README.md has %d lines, want at most %d", n, readmeLines)
	}
	for i, line := range strings.Split(readme, "\n") {
		if n := utf8.RuneCountInString(line); n > 100 {
			t.Errorf("README.md:%d has %d columns", i+1, n)
		}
	}
	for _, command := range []string{"go run ./cmd/outbreath demo DIR", "go test ./..."} {
		if !strings.Contains(readme, "\n    "+command+"\n") {
			t.Errorf("README.md does not give the command %q", command)
		}
	}
}

// beyondPlain is Markdown that plain does not know: headings of the third level, quotations,
// rules, lists in lists, other marks, HTML, pictures.
var beyondPlain = regexp.MustCompile(`(?m)^(###+ .*|> .*|[*+] .*|---+|[ \t]+([-*+]|[0-9]+\.) .*|.*(<[a-z]|!\[|__).*)$`)

// DEVELOPERS.md names files that are there.
func TestDevelopersNames(t *testing.T) {
	data, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	root := os.DirFS("../..")
	base := map[string]bool{} // the last part of every file's name
	err = fs.WalkDir(root, ".", func(path string, d fs.DirEntry, err error) error {
		base[filepath.Base(path)] = true
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile("`([\\w./*-]+\\.go)`").FindAllStringSubmatch(string(data), -1)
	for _, m := range named {
		switch found, _ := fs.Glob(root, m[1]); {
		case !strings.Contains(m[1], "/") && !base[m[1]]:
			t.Errorf("DEVELOPERS.md names %s, and no file is called so", m[1])
		case strings.Contains(m[1], "/") && len(found) == 0:
			t.Errorf("DEVELOPERS.md names %s, which is not there", m[1])
		}
	}
	if len(named) < 50 {
		t.Errorf("only %d files are named", len(named))
	}
}

// Every topic fits a terminal, is written within the part of Markdown that plain knows, and
// is linked from README.md; its links lead somewhere.
func TestTopics(t *testing.T) {
	all := allPages(t)
	link := regexp.MustCompile(`\]\(([^)]+)\)`)
	for _, p := range all {
		dir := "help"
		if p.name == "README.md" {
			dir = "../.."
		}
		for _, m := range link.FindAllStringSubmatch(p.text, -1) {
			if strings.HasPrefix(m[1], "https://") {
				continue
			}
			if _, err := os.Stat(filepath.Join(dir, m[1])); err != nil {
				t.Errorf("%s links to %s, which is not there", p.name, m[1])
			}
		}
	}
	if len(all) < 10 {
		t.Fatalf("%d pages", len(all))
	}
	list := must(t, "help")
	for _, p := range all[1:] {
		if !strings.HasPrefix(p.text, "# ") {
			t.Errorf("%s does not begin with its title", p.name)
		}
		if !strings.Contains(all[0].text, "(cmd/outbreath/help/"+p.name+".md)") {
			t.Errorf("README.md does not link to the topic %s", p.name)
		}
		if !strings.Contains(list, "\n  "+p.name+" ") {
			t.Errorf("outbreath help does not list the topic %s", p.name)
		}
		printed := must(t, "help", p.name)
		if !strings.HasSuffix(printed, plain(p.text)) {
			t.Errorf("outbreath help %s does not print the topic", p.name)
		}
		for i, line := range strings.Split(plain(p.text), "\n") {
			if n := utf8.RuneCountInString(line); n > helpWidth {
				t.Errorf("outbreath help %s: line %d has %d columns: %s", p.name, i+1, n, line)
			}
		}
		prose := console.ReplaceAllString(p.text, "")
		if bad := beyondPlain.FindString(prose); bad != "" {
			t.Errorf("%s: help does not know the Markdown of %q", p.name, bad)
		}
	}
	var doc struct {
		OK   bool
		Text string
	}
	err := json.Unmarshal([]byte(must(t, "help", "keys", "--json")), &doc)
	if err != nil || !doc.OK || !strings.Contains(doc.Text, "outbreath keys new") {
		t.Errorf("help keys --json: %v, %+v", err, doc)
	}
}

// The help of every command fits a terminal, but for the commands that it shows.
func TestHelpFits(t *testing.T) {
	root := newRootCmd(newUI(strings.NewReader(""), io.Discard, io.Discard))
	commands := 0
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		commands++
		text, err := commandHelp(c)
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(text) {
			if n := utf8.RuneCountInString(line) - 1; n > helpWidth && !strings.HasPrefix(line, "  outbreath ") {
				t.Errorf("%s --help has a line of %d columns: %s", c.CommandPath(), n, line)
			}
		}
		if !strings.Contains(text, "\n\nExit status: 0 ") {
			t.Errorf("%s --help does not give the exit statuses in a paragraph", c.CommandPath())
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(root)
	if commands < 20 {
		t.Errorf("%d commands", commands)
	}
}

// What is no name of a command or topic is a wrong use, whatever it is like, and is not repeated.
func TestHelpNames(t *testing.T) {
	for typed, like := range map[string]string{
		"coordinater": "did you mean coordinator?", "Media": "did you mean media?",
		"lost": "did you mean log or lost-key or lost-stick?", "chekc": "did you mean check?",
		"Quillon": "", "keys new": "", "": "", "../help/keys": "", "README": "",
	} {
		status, out, errOut := runHere("help", typed)
		if status != exitUsage || out != "" || !strings.Contains(errOut, "there is no such command or topic") {
			t.Errorf("help %q: status %d, %q, %q", typed, status, out, errOut)
		}
		if like == "" && strings.Contains(errOut, "did you mean") || !strings.Contains(errOut, like) {
			t.Errorf("help %q says %q, want %q", typed, errOut, like)
		}
		if typed == "Quillon" && strings.Contains(errOut, typed) {
			t.Errorf("help repeats what was typed: %q", errOut)
		}
	}
	if status, _, errOut := runHere("help", "keys", "media"); status != exitUsage {
		t.Errorf("help keys media: status %d, %s", status, errOut)
	}
	if out := must(t, "help", "keys", "new"); !strings.Contains(out, "--role") {
		t.Errorf("help keys new prints %q", out)
	}
	if must(t, "help") != must(t) || must(t, "help") != must(t, "--help") {
		t.Error("outbreath, outbreath help and outbreath --help differ")
	}
}

// others are the programs, not ours, whose options the pages show.
var others = []string{"go", "ssh-keygen", "age", "rg", "export", "#!/bin/sh"}

var (
	fenced   = regexp.MustCompile("(?sm)^```[a-z]*\n(.*?)^```")
	codeSpan = regexp.MustCompile("`[^`]+`")
	option   = regexp.MustCompile(`(?:^|[^-\w])(--[a-z][a-z-]*)`)
	ourLine  = regexp.MustCompile(`(?:^|\s)(outbreath .*)`)
)

// codeOf returns what a page writes as code, a command or a span an entry, and the page
// without any.
func codeOf(p page) (said []string, prose string) {
	for _, m := range fenced.FindAllStringSubmatch(p.text, -1) {
		for line := range strings.SplitSeq(strings.ReplaceAll(m[1], "\\\n", " "), "\n") {
			if command := ourLine.FindStringSubmatch(line); command != nil {
				said = append(said, command[1])
			}
		}
	}
	prose = fenced.ReplaceAllString(p.text, "")
	for _, code := range codeSpan.FindAllString(prose, -1) {
		said = append(said, strings.Join(strings.Fields(strings.Trim(code, "`")), " "))
	}
	return said, codeSpan.ReplaceAllString(prose, "")
}

// TestPagesName wants every command and option that a page names to exist.
func TestPagesName(t *testing.T) {
	root := newRootCmd(newUI(strings.NewReader(""), io.Discard, io.Discard))
	root.InitDefaultHelpCmd()
	anywhere := map[string]bool{}
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		c.InitDefaultHelpFlag()
		for _, set := range []*pflag.FlagSet{c.Flags(), c.PersistentFlags()} {
			set.VisitAll(func(f *pflag.Flag) { anywhere["--"+f.Name] = true })
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(root)
	named := 0
	for _, p := range allPages(t) {
		said, prose := codeOf(p)
		if bad := option.FindString(prose); bad != "" {
			t.Errorf("%s: the option %s is not written as code", p.name, bad)
		}
		for _, text := range said {
			named += namesExist(t, root, anywhere, p.name, text)
		}
	}
	if named < 150 {
		t.Errorf("only %d commands and options are named", named)
	}
	begun := startHere(t)
	for _, text := range begun {
		named += namesExist(t, root, anywhere, "START-HERE.html", text)
	}
	if len(begun) < 20 {
		t.Errorf("START-HERE.html names only %d commands and options", len(begun))
	}
}

var (
	codeElement = regexp.MustCompile(`(?s)<(?:pre|code)>(.*?)</(?:pre|code)>`)
	markup      = regexp.MustCompile(`<[^>]+>`)
)

// startHere returns the lines that the page of a new collection shows as code and that are
// commands or hold options.
func startHere(t *testing.T) (said []string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "week-1")
	must(t, "begin", dir, "--study", "LARK-2", "--site", "WEIR")
	page, err := os.ReadFile(filepath.Join(dir, "START-HERE.html"))
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range codeElement.FindAllStringSubmatch(string(page), -1) {
		for line := range strings.Lines(html.UnescapeString(markup.ReplaceAllString(m[1], ""))) {
			if line = strings.TrimSpace(line); strings.HasPrefix(line, "outbreath ") || option.MatchString(line) {
				said = append(said, line)
			}
		}
	}
	return said
}

// namesExist wants the commands and options in text, which page writes as code, to exist, and
// returns how many there are.
func namesExist(t *testing.T, root *cobra.Command, anywhere map[string]bool, page, text string) (named int) {
	t.Helper()
	words := argument.FindAllString(text, -1)
	if slices.Contains(others, words[0]) {
		return 0
	}
	ours := words[0] == "outbreath"
	if ours {
		words = words[1:]
	}
	c, rest, err := root.Find(words)
	found := err == nil && c != root
	switch {
	case found && c.Name() == "help" && len(rest) > 0 && rest[0] != "TOPIC" && rest[0] != "COMMAND":
		if _, err := helpOn(root, rest); err != nil {
			t.Errorf("%s names %q: %v", page, text, err)
		}
	case !found && ours && len(words) > 0 && !strings.HasPrefix(words[0], "--"):
		t.Errorf("%s names the command %q, which is not there", page, text)
	}
	if found {
		named++
	}
	for _, m := range option.FindAllStringSubmatch(text, -1) {
		named++
		name := strings.TrimPrefix(m[1], "--")
		switch {
		case found && c.Flag(name) == nil && c.InheritedFlags().Lookup(name) == nil:
			t.Errorf("%s: %q: the command has no option %s", page, text, m[1])
		case !anywhere[m[1]]:
			t.Errorf("%s: %q: no command has the option %s", page, text, m[1])
		}
	}
	return named
}

// README.md, the topic exit-status and every command's help give the same statuses, which are
// those of exit.go; no page speaks of another.
func TestExitStatusesAgree(t *testing.T) {
	source, err := os.ReadFile("exit.go")
	if err != nil {
		t.Fatal(err)
	}
	declared := regexp.MustCompile(`(?m)^\texit[A-Z]\w+ += ([0-9]+)`).FindAllStringSubmatch(string(source), -1)
	if len(declared) != len(statuses) || len(declared) < 6 {
		t.Fatalf("%d statuses in exit.go, %d explained", len(declared), len(statuses))
	}
	known := map[string]bool{}
	var rows []string
	for i, d := range declared {
		if d[1] != strconv.Itoa(statuses[i].status) {
			t.Errorf("exit.go has status %s where %d is explained", d[1], statuses[i].status)
		}
		known[d[1]] = true
		rows = append(rows, d[1]+" "+statuses[i].means)
	}
	row := regexp.MustCompile(`(?m)^\| *([0-9]+) *\| *(.*?) *\|$`)
	spoken := regexp.MustCompile(`\bstatus(?:es)? ([0-9]+)`)
	for _, p := range allPages(t) {
		if p.name == "README.md" || p.name == "exit-status" {
			var got []string
			for _, m := range row.FindAllStringSubmatch(p.text, -1) {
				got = append(got, m[1]+" "+m[2])
			}
			if diff := cmp.Diff(rows, got); diff != "" {
				t.Errorf("%s explains other statuses (-exit.go +page)\n%s", p.name, diff)
			}
		}
		for _, m := range spoken.FindAllStringSubmatch(p.text, -1) {
			if !known[m[1]] {
				t.Errorf("%s speaks of status %s, which is not there", p.name, m[1])
			}
		}
	}
	if help := strings.Join(strings.Fields(must(t, "help", "seal")), " "); !strings.Contains(help, statusList()) {
		t.Errorf("the help of seal does not give %q", statusList())
	}
}

// shown makes a pattern of what a page shows.
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

// week makes another collection of the demo's study in dir, and the list of its box in
// box.txt.
func week(t *testing.T, dir string) {
	t.Helper()
	if _, err := demo.Write(dir, smallDemo); err != nil {
		t.Fatal(err)
	}
	anotherWeek(t, dir, "N")
	var box strings.Builder
	for _, data := range files(t, filepath.Join(dir, "sessions")) {
		for _, m := range regexp.MustCompile(`"barcode": *"([^"]+)"`).FindAllStringSubmatch(string(data), -1) {
			box.WriteString(m[1] + "\n")
		}
	}
	write(t, "box.txt", []byte(box.String()))
}

// mistakes makes the collection in which the pages let check find something: a surname
// in the notes, and a volume out of range.
func mistakes(t *testing.T, dir string) {
	t.Helper()
	truth, err := demo.Write(dir, smallDemo)
	if err != nil {
		t.Fatal(err)
	}
	anotherWeek(t, dir, "M")
	name := planting.Identifier{Place: planting.InNotes, Session: truth.Sessions[0].File, Row: 1, Column: "family_name"}
	if _, err := planting.Put(dir, name); err != nil {
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

// sessionLog writes a log of two sessions under a site's own headings into the folder log,
// and a sampler's recordings of them into export.
func sessionLog(t *testing.T) {
	t.Helper()
	for _, dir := range []string{"log", "export"} {
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	write(t, "log/sessions.csv",
		[]byte("Visit;Participant;Date;Start;End;Sex;DOB;Staff;Outcome;Fraction;Sampler;Mood\n"+
			"WEIR-V0201;WEIR-001;02.03.2026;9.10;9.18;f;24.04.1979;op-1;complete;end-tidal;SMP-207;good\n"+
			"WEIR-V0202;WEIR-002;04.03.2026;10.10;10.18;m;04.05.1935;op-1;complete;end-tidal;SMP-207;fair\n"))
	write(t, "log/tubes.csv", []byte("Visit;Tube;Pos;Opened;Closed;Volume (l);Storage\n"+
		"WEIR-V0201;LK-21-A;A;9.11;9.13;0,5;fridge\nWEIR-V0202;LK-22-A;A;10.11;10.13;0,48;fridge\n"))
	write(t, "log/subjects.csv", []byte("Participant;First name;Surname;DOB;Sex\n"+
		"WEIR-001;Zofia;Wąsik-Małecka;24.04.1979;f\nWEIR-002;Padraig;O'Hallaghan;04.05.1935;m\n"))
	for file, began := range map[string]time.Time{
		"export/run1.txt": time.Date(2026, 3, 2, 9, 10, 0, 0, time.UTC),
		"export/run2.txt": time.Date(2026, 3, 4, 10, 10, 0, 0, time.UTC),
	} {
		text := "Serial: SMP-207\nTime\tCO2 (mmHg)\tPressure (Pa)\n"
		for i := range 960 {
			breath := []string{"0.3\t-20", "38.5\t30"}[i/4%2]
			at := began.Add(time.Duration(i) * time.Second / 2)
			text += at.Format("02.01.2006 15:04:05.0") + "\t" + breath + "\n"
		}
		write(t, file, []byte(text))
	}
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

// TestRunsAtOnce: command lines that are carried out at once in one process share nothing,
// as the scripts need. With -race it fails on the first thing that they do share; without,
// only when two of them meet in a map.
func TestRunsAtOnce(t *testing.T) {
	var group sync.WaitGroup
	for range 500 {
		group.Go(func() {
			var out bytes.Buffer
			status := run(t.Context(), []string{"help", "exit-status"}, strings.NewReader(""), &out, &out)
			if status != exitOK || !strings.Contains(out.String(), "all well") {
				t.Errorf("status %d: %s", status, &out)
			}
		})
	}
	group.Wait()
}
