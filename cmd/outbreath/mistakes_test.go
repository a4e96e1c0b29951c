package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"outbreath/schema/sheet"
)

// A verdict is what the program is expected to do about a mistake.
type verdict string

const (
	caught   verdict = "caught"   // one message names the place, and what is wrong or to be done
	handled  verdict = "handled"  // the records are those of the log without the mistake, or as wanted
	safe     verdict = "safe"     // one of the two
	harmless verdict = "harmless" // what differs has no effect on the records
)

// A mistake is one change that a coordinator makes to a good week by accident.
type mistake struct {
	name, class string
	did         string // what the person did
	whose       bool   // it would change whose data it is, or when it was taken
	edit        func(s *spoiltWeek)
	expect      verdict
	place, what string                     // regular expressions, both of one message
	want        func(all []map[string]any) // makes the wanted records of the base's
	short       string                     // what is wrong with what the program does, "" if nothing
}

// A spoiltWeek is the week of one mistake: copies of the base's log and recordings, to be spoilt.
type spoiltWeek struct {
	w    *deskWeek
	book sheet.Book
	// the log in one text table; "" for the workbook
	csv string
	// the log's bytes, where sheet.Write cannot make the mistake
	raw []byte
	// of the file; "" for log.xlsx or log.csv
	logName string
	files   map[string]string // the sampler's folder
	// of the collection, where the log has none
	roster string
	study  string   // study.json
	args   []string // of fill
	// each of them is followed by another fill
	after []func(s *spoiltWeek)
	// what is done with the filled week in dir, nil for nothing; it returns what the screen said
	then func(t *testing.T, dir string) (screen string, clean bool)
	// of the collection that is judged; "" for week
	folder string
}

func (s *spoiltWeek) sheet(name string) *sheet.Sheet {
	for i := range s.book.Sheets {
		if s.book.Sheets[i].Name == name {
			return &s.book.Sheets[i]
		}
	}
	panic("no sheet " + name)
}

func (s *spoiltWeek) column(name, heading string) int {
	i := slices.IndexFunc(s.sheet(name).Columns, func(c sheet.Column) bool { return c.Heading == heading })
	if i < 0 {
		panic("no column " + heading)
	}
	return i
}

// at returns a cell; row counts from 0, under the headings.
func (s *spoiltWeek) at(name string, row int, heading string) *sheet.Cell {
	return &s.sheet(name).Rows[row][s.column(name, heading)]
}

func (s *spoiltWeek) set(name string, row int, heading, text string) {
	*s.at(name, row, heading) = textCell(text)
}

func (s *spoiltWeek) number(name string, row int, heading, text string) {
	*s.at(name, row, heading) = sheet.Cell{Kind: sheet.Number, Text: text}
}

func textCell(text string) sheet.Cell {
	if text == "" {
		return sheet.Cell{}
	}
	return sheet.Cell{Kind: sheet.Text, Text: text}
}

// each changes the texts of a column.
func (s *spoiltWeek) each(name, heading string, change func(row int, text string) string) {
	for r := range s.sheet(name).Rows {
		if c := s.at(name, r, heading); c.Kind != sheet.Empty {
			*c = textCell(change(r, c.Text))
		}
	}
}

func (s *spoiltWeek) copyRow(name string, from, to int) {
	sh := s.sheet(name)
	sh.Rows = slices.Insert(sh.Rows, to, slices.Clone(sh.Rows[from]))
}

func (s *spoiltWeek) dropRow(name string, row int) {
	sh := s.sheet(name)
	sh.Rows = slices.Delete(sh.Rows, row, row+1)
}

func (s *spoiltWeek) addRow(name string, texts ...string) {
	sh := s.sheet(name)
	row := make([]sheet.Cell, len(sh.Columns))
	for i, t := range texts {
		row[i] = textCell(t)
	}
	sh.Rows = append(sh.Rows, row)
}

func (s *spoiltWeek) swap(name string, row1 int, heading1 string, row2 int, heading2 string) {
	a, b := s.at(name, row1, heading1), s.at(name, row2, heading2)
	*a, *b = *b, *a
}

func (s *spoiltWeek) swapFiles(a, b string) {
	if s.files[a] == "" || s.files[b] == "" {
		panic("no such file")
	}
	s.files[a], s.files[b] = s.files[b], s.files[a]
}

func (s *spoiltWeek) rename(from, to string) {
	if s.files[from] == "" {
		panic("no file " + from)
	}
	s.files[to] = s.files[from]
	delete(s.files, from)
}

// inCSV keeps the log as one text table, with replacements.
func (s *spoiltWeek) inCSV(oldnew ...string) {
	s.csv = s.w.csvLog()
	for i := 0; i < len(oldnew); i += 2 {
		if !strings.Contains(s.csv, oldnew[i]) {
			panic("the log has no " + oldnew[i])
		}
		s.csv = strings.ReplaceAll(s.csv, oldnew[i], oldnew[i+1])
	}
}

// day is the day of session i, as the log spells it.
func (s *spoiltWeek) day(i int) string { return s.w.began(i).Format("02.01.2006") }

func (w *deskWeek) began(i int) time.Time {
	at, err := time.Parse(time.RFC3339, w.records[i].At("/started_at").Text)
	if err != nil {
		panic(err)
	}
	return at
}

const mistakeStudy = `{"study": "LARK-2", "site": "WEIR", "plan": "shifted", "zone": "` + panama + `",
"contact": "Weir Infirmary (invented), Breath Collection Unit, telephone +1 646 555 0199", "holding_days": 90}`

// newSpoiltWeek copies the base: all recordings are named by their session, the second and third
// are of a sampler that writes a clock, the fourth is an EDF file, which has one.
func newSpoiltWeek(w *deskWeek) *spoiltWeek {
	s := &spoiltWeek{w: w, book: w.book(), files: map[string]string{}, study: mistakeStudy,
		roster: w.kept("roster.csv"), args: []string{"--answer", "sampler-c4b44f36=right"}}
	for i, session := range w.col.Sessions {
		for _, r := range session.Recordings {
			text := w.kept(r.File)
			name := session.ID + filepath.Ext(r.File)
			if i == 3 && strings.HasSuffix(name, ".csv") {
				continue
			}
			if i == 1 || i == 2 {
				text, name = w.inMmHg(i), session.ID+".txt"
			}
			s.files[name] = text
		}
	}
	return s
}

// lastDays is the last Monday on which a week of days from 13 to 24 began: no day of the
// base can be taken for a month.
func lastDays(now time.Time) time.Time {
	for day := now.AddDate(0, 0, -5); ; day = day.AddDate(0, 0, -1) {
		if day.Weekday() == time.Monday && day.Day() >= 13 && day.Day() <= 24 {
			return day
		}
	}
}

// lay writes the log and the recordings to dir.
func (s *spoiltWeek) lay(t *testing.T, dir string) (from string) {
	t.Helper()
	folder := filepath.Join(dir, "export")
	noError(t, os.RemoveAll(folder))
	noError(t, os.MkdirAll(folder, 0o700))
	for name, text := range s.files {
		noError(t, os.MkdirAll(filepath.Dir(filepath.Join(folder, name)), 0o700))
		noError(t, os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600))
	}
	data, name := s.raw, s.logName
	switch {
	case data != nil:
	case s.csv != "":
		data = []byte(s.csv)
	default:
		var b bytes.Buffer
		noError(t, sheet.Write(&b, s.book))
		data = b.Bytes()
	}
	if name == "" {
		name = "log.xlsx"
		if s.csv != "" {
			name = "log.csv"
		}
	}
	from = filepath.Join(dir, name)
	noError(t, os.WriteFile(from, data, 0o600))
	return from
}

// fill carries out fill and, if it writes, check, and returns what they print.
func (s *spoiltWeek) fill(t *testing.T, dir, week string) (screen string, clean bool) {
	t.Helper()
	line := []string{"fill", filepath.Join(dir, week), "--from", s.lay(t, dir), "--recordings",
		filepath.Join(dir, "export"), "--yes"}
	if s.csv != "" {
		line = append(line, "--column", "Wer=/operator", "--column", "Raum=-")
	}
	status, out, errOut := runHere(append(line, s.args...)...)
	screen, clean = out+errOut, status == 0
	if clean {
		status, out, errOut = runHere("check", filepath.Join(dir, week))
		screen, clean = screen+out+errOut, status == 0
	}
	return strings.ReplaceAll(screen, dir+"/", ""), clean
}

// carryOut makes the mistake and returns what the screen said.
func (s *spoiltWeek) carryOut(t *testing.T, dir string) (screen string, clean bool) {
	t.Helper()
	week := filepath.Join(dir, "week")
	if status, _, errOut := runHere("begin", week, "--study", "LARK-2", "--site", "WEIR"); status != 0 {
		t.Fatal(errOut)
	}
	noError(t, os.WriteFile(filepath.Join(week, "study.json"), []byte(s.study), 0o600))
	if s.csv != "" {
		noError(t, os.WriteFile(filepath.Join(week, "roster.csv"), []byte(s.roster), 0o600))
	}
	screen, clean = s.fill(t, dir, "week")
	for _, change := range s.after {
		if !clean {
			t.Fatalf("before the mistake:\n%s", screen)
		}
		change(s)
		screen, clean = s.fill(t, dir, "week")
	}
	if s.then != nil {
		if !clean {
			t.Fatalf("before the mistake:\n%s", screen)
		}
		return s.then(t, dir)
	}
	return screen, clean
}

func recordsOf(t *testing.T, week string) (all []map[string]any) {
	t.Helper()
	files, _ := filepath.Glob(filepath.Join(week, "sessions", "*"))
	for _, f := range files {
		data, err := os.ReadFile(f)
		noError(t, err)
		var r map[string]any
		noError(t, json.Unmarshal(data, &r))
		all = append(all, r)
	}
	slices.SortFunc(all, func(a, b map[string]any) int {
		return strings.Compare(a["session_id"].(string), b["session_id"].(string))
	})
	return all
}

// messages returns what a screen says, one message an element, unfolded, without what was
// only understood.
func messages(screen string) (all []string) {
	for line := range strings.Lines(screen) {
		line = strings.TrimRight(line, "\n")
		if strings.HasPrefix(line, "  ") && len(all) > 0 {
			all[len(all)-1] += " " + strings.TrimSpace(line)
		} else if line != "" {
			all = append(all, strings.TrimSpace(line))
		}
	}
	return slices.DeleteFunc(all, func(m string) bool { return strings.HasPrefix(m, "understood:") })
}

var doubtful = regexp.MustCompile(`\b(error|question|warning|lost|likely|sure|any more|was sealed in)\b`)

// judge reports how the program fares, "" if as expected, and the first relevant line.
func (m mistake) judge(screen string, clean bool, got, want []map[string]any) (fault, line string, silent bool) {
	all := messages(screen)
	place, what := regexp.MustCompile(m.place), regexp.MustCompile(m.what)
	named := slices.IndexFunc(all, func(s string) bool {
		return doubtful.MatchString(s) && place.MatchString(s) && what.MatchString(s)
	})
	first := slices.IndexFunc(all, doubtful.MatchString)
	same := reflect.DeepEqual(got, want)
	switch {
	case named >= 0 && m.place != "" && (m.expect == caught || m.expect == safe):
		return "", all[named], false
	case clean && same && m.expect != caught:
		return "", "the records are as wanted", false
	}
	silent = clean && !same && (first < 0 || !strings.Contains(screen, "warning:") &&
		!strings.Contains(screen, "question"))
	line = "nothing"
	if first >= 0 {
		line = all[first]
	}
	switch {
	case clean && same:
		return "the records are as wanted, but nothing is said", line, false
	case silent:
		return "silent", line, silent
	default:
		return "names another place or another thing", line, false
	}
}

// allMistakes is the table.
func allMistakes() []mistake { return slices.Concat(mistakeTables...) }

// mistakeTables has one table a file.
var mistakeTables [][]mistake

// TestMistakes: what a coordinator does wrong is said with its place and the remedy, or does
// not change the records. What is still short of that is marked, and is 5 % at most.
func TestMistakes(t *testing.T) {
	t.Parallel()
	o := smallDemo
	o.Sessions, o.Subjects, o.SampleHz, o.Start = 8, 5, 2, lastDays(time.Now())
	w := newDeskWeek(t, t.TempDir(), o)
	base := [2][]map[string]any{}
	for i, s := range []*spoiltWeek{newSpoiltWeek(w), newSpoiltWeek(w)} {
		dir := t.TempDir()
		if i == 1 {
			s.inCSV()
		}
		screen, clean := s.carryOut(t, dir)
		base[i] = recordsOf(t, filepath.Join(dir, "week"))
		if !clean || len(base[i]) != o.Sessions || !strings.Contains(screen, "0 errors, 0 warnings, 0 findings") {
			t.Fatalf("the week without a mistake:\n%s", screen)
		}
	}
	var mu sync.Mutex
	sums := map[string]map[string]int{}
	t.Run("each", func(t *testing.T) {
		names := map[string]bool{}
		for _, m := range allMistakes() {
			if names[m.class+m.name] || m.did == "" || m.edit == nil {
				t.Errorf("%s: not one whole case", m.name)
			}
			names[m.class+m.name] = true
			t.Run(m.class+"/"+m.name, func(t *testing.T) {
				t.Parallel()
				result := m.try(t, w, base)
				mu.Lock()
				defer mu.Unlock()
				if sums[m.class] == nil {
					sums[m.class] = map[string]int{}
				}
				sums[m.class][result]++
			})
		}
	})
	total, short := 0, 0
	for _, class := range slices.Sorted(maps.Keys(sums)) {
		t.Logf("%-12s %v", class, sums[class])
		for result, n := range sums[class] {
			total += n
			if result == "short" {
				short += n
			}
		}
	}
	t.Logf("%d mistakes, %d short", total, short)
	if short*20 > total {
		t.Errorf("%d of %d mistakes are short of their expectation: more than 5 %%", short, total)
	}
}

// try makes one mistake, and returns its verdict, or "short".
func (m mistake) try(t *testing.T, w *deskWeek, base [2][]map[string]any) string {
	s, dir := newSpoiltWeek(w), t.TempDir()
	m.edit(s)
	screen, clean := s.carryOut(t, dir)
	of := base[0]
	if s.csv != "" {
		of = base[1]
	}
	var want []map[string]any
	data, err := json.Marshal(of)
	noError(t, err)
	noError(t, json.Unmarshal(data, &want))
	if m.want != nil {
		m.want(want)
	}
	got := recordsOf(t, filepath.Join(dir, cmp.Or(s.folder, "week")))
	fault, line, silent := m.judge(screen, clean, got, want)
	t.Logf("%s | %s: %s", m.did, m.expect, line)
	switch {
	case fault == "" && m.short != "":
		t.Errorf("is mended: remove the mark %q", m.short)
	case fault != "" && m.short == "":
		t.Errorf("%s; wanted %s at %q with %q\n%s", fault, m.expect, m.place, m.what, screen)
	}
	if silent && m.whose {
		t.Errorf("silent, and it changes whose data it is or when it was taken")
	}
	if fault != "" {
		return "short"
	}
	return string(m.expect)
}

// inRecord sets a member of a record: "tubes/0/volume_ml".
func inRecord(r map[string]any, path string, v any) {
	parts := strings.Split(path, "/")
	var at any = r
	for _, p := range parts[:len(parts)-1] {
		if list, ok := at.([]any); ok {
			var i int
			fmt.Sscan(p, &i)
			at = list[i]
		} else {
			at = at.(map[string]any)[p]
		}
	}
	at.(map[string]any)[parts[len(parts)-1]] = v
}

func noError(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
