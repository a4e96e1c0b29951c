package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"outbreath/schema"
	"outbreath/schema/demo"
	"outbreath/schema/sessionlog"
	"outbreath/schema/sheet"
)

// panama keeps the clock that the invented records have, all year.
const panama = "America/Panama"

// mmHgInKPa is that of NIST SP 811, B.8: 1 mmHg = 133.3224 Pa.
const mmHgInKPa = 0.1333224

// A deskWeek is a week as it lies on a coordinator's desk: a filled log, and the
// sampler's folder.
type deskWeek struct {
	t       *testing.T
	dir     string // of everything
	col     *schema.Collection
	records []*schema.Node
}

// newDeskWeek invents a collection in dir/kept, of which the log and the sampler's files
// are made.
func newDeskWeek(t *testing.T, dir string, o demo.Options) *deskWeek {
	t.Helper()
	w := &deskWeek{t: t, dir: dir}
	kept := filepath.Join(dir, "kept")
	if _, err := demo.Write(kept, o); err != nil {
		t.Fatal(err)
	}
	var err error
	if w.col, err = schema.Load(kept); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.col.Root.Close() })
	for _, s := range w.col.Sessions {
		data, err := os.ReadFile(filepath.Join(kept, s.File))
		if err != nil {
			t.Fatal(err)
		}
		n, err := schema.ParseJSON(data)
		if err != nil {
			t.Fatal(err)
		}
		w.records = append(w.records, n)
	}
	return w
}

// dayFirst spells a value of a record as a person types it: 20.11.2026, and 8:24:56
// for the times of the session's day.
func dayFirst(text string) string {
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return at.Format("15:04:05")
	}
	if day, err := time.Parse(time.DateOnly, text); err == nil {
		return day.Format("02.01.2006")
	}
	return text
}

// book is the log of the week in the plan's own workbook, typed by hand: days and times
// of the clock on the wall, and no word of recordings.
func (w *deskWeek) book() sheet.Book {
	book := sessionlog.BookOf(w.col.Plan, w.col.Study, w.records, w.col.Roster)
	for i := range book.Sheets {
		s := &book.Sheets[i]
		if s.Name == "recordings" {
			s.Rows = nil
			continue
		}
		for r, row := range s.Rows {
			for c := range row {
				if row[c].Kind == sheet.Text {
					row[c].Text = dayFirst(row[c].Text)
				}
				if s.Name == sessionlog.SessionsSheet && s.Columns[c].Heading == sessionlog.DateField {
					day, _, _ := strings.Cut(w.records[r].At("/started_at").Text, "T")
					row[c] = sheet.Cell{Kind: sheet.Text, Text: dayFirst(day)}
				}
			}
		}
	}
	return book
}

func (w *deskWeek) writeBook(path string) {
	w.t.Helper()
	var b bytes.Buffer
	if err := sheet.Write(&b, w.book()); err != nil {
		w.t.Fatal(err)
	}
	w.write(path, b.String())
}

func (w *deskWeek) write(path, text string) {
	w.t.Helper()
	path = filepath.Join(w.dir, path)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		w.t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		w.t.Fatal(err)
	}
}

// curve returns the rows of a session's CSV recording.
func (w *deskWeek) curve(i int) string {
	w.t.Helper()
	for _, r := range w.col.Sessions[i].Recordings {
		if strings.HasSuffix(r.File, ".csv") {
			return w.kept(r.File)
		}
	}
	w.t.Fatal("the session has no CSV recording")
	return ""
}

// kept returns a file of the invented collection.
func (w *deskWeek) kept(name string) string {
	w.t.Helper()
	data, err := os.ReadFile(filepath.Join(w.dir, "kept", name))
	if err != nil {
		w.t.Fatal(err)
	}
	return string(data)
}

// inMmHg is a session's curve as another sampler writes it: a preamble, semicolons, a
// clock, mmHg with a decimal comma, and hPa.
func (w *deskWeek) inMmHg(i int) string {
	w.t.Helper()
	begin, err := time.Parse(time.RFC3339, w.records[i].At("/started_at").Text)
	if err != nil {
		w.t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("Sampler;TEAL 4\r\n\r\nUhrzeit;CO2 [mmHg];Druck [hPa]\r\n")
	for _, line := range strings.Split(strings.TrimSpace(w.curve(i)), "\n")[1:] {
		var v [3]float64
		for k, cell := range strings.Split(line, ",") {
			if v[k], err = strconv.ParseFloat(cell, 64); err != nil {
				w.t.Fatal(err)
			}
		}
		at := begin.Add(time.Duration(v[0]*1000+0.5) * time.Millisecond)
		row := fmt.Sprintf("%s;%.2f;%.3f\r\n", at.Format("02.01.2006 15:04:05.000"), v[1]/mmHgInKPa, v[2]/100)
		day, rest, _ := strings.Cut(row, " ")
		b.WriteString(day + " " + strings.ReplaceAll(rest, ".", ","))
	}
	return b.String()
}

// export writes the sampler's folder: a file named by its session, one of another
// sampler, and one whose name says nothing.
func (w *deskWeek) export(folder string) {
	w.t.Helper()
	w.write(folder+"/"+w.col.Sessions[0].ID+".csv", w.curve(0))
	w.write(folder+"/K0002.txt", w.inMmHg(1))
	w.write(folder+"/run.csv", w.curve(2))
}

// newNarrowDesk is a terminal of 80 columns by 24 rows.
func newNarrowDesk(t *testing.T, name, dir string) *desk {
	d := newDesk(t, name, dir)
	d.tmux("resize-window", "-t", d.name, "-x", "80", "-y", "24")
	return d
}

// everything is what the terminal showed, what has left the screen included.
func (d *desk) everything() string { return d.tmux("capture-pane", "-p", "-S", "-", "-t", d.name) }

// A typist counts what a person types.
type typist struct {
	*desk
	keys, commands int
}

func (p *typist) command(line string) {
	p.t.Helper()
	p.run(line)
	p.keys += len(line) + 1
	p.commands++
}

func (p *typist) answer(text string) {
	p.types(text)
	p.keys += len(text) + 1
}

// csvLog is the log as a site keeps it in one table of its own: tubes A and B beside the
// session, headings in two languages, and two of them that only the site understands.
func (w *deskWeek) csvLog() string {
	var b strings.Builder
	b.WriteString("Besuch;Proband;Geschlecht;Geburtsdatum;Datum;Beginn;Ende;Wer;Outcome;Fraction;Device serial;" +
		"Tube A;Tube B;Volume A;Volume B;Uncapped A;Capped A;Uncapped B;Capped B;Storage A;Storage B;Raum;Comment\n")
	for _, n := range w.records {
		get := func(pointer string) string {
			if v := n.At(pointer); v != nil {
				return v.Text
			}
			return ""
		}
		day, _, _ := strings.Cut(get("/started_at"), "T")
		row := []string{get("/session_id"), get("/subject/subject_id"), get("/subject/sex"), get("/subject/birth_date"),
			day, get("/started_at"), get("/ended_at"), get("/operator"), get("/outcome"), get("/fraction"),
			get("/sampler/serial")}
		for _, field := range []string{"barcode", "volume_ml"} {
			row = append(row, get("/tubes/0/"+field), get("/tubes/1/"+field))
		}
		for i := range 2 {
			row = append(row, get(fmt.Sprintf("/tubes/%d/uncapped_at", i)), get(fmt.Sprintf("/tubes/%d/capped_at", i)))
		}
		row = append(row, get("/tubes/0/storage"), get("/tubes/1/storage"), "2", get("/notes"))
		for i := range row {
			row[i] = dayFirst(row[i])
			if strings.ContainsAny(row[i], ";\"\n") {
				row[i] = `"` + strings.ReplaceAll(row[i], `"`, `""`) + `"`
			}
		}
		b.WriteString(strings.Join(row, ";") + "\n")
	}
	return b.String()
}

// mostKeys is what may be typed for a week, commands included: a tenth of the JSON of
// three sessions would be more.
const mostKeys = 300

// deskWithWeek writes a week of three sessions and opens a terminal beside it.
func deskWithWeek(t *testing.T, name string) (*deskWeek, *typist) {
	dir := t.TempDir()
	o := smallDemo
	o.Sessions, o.Subjects, o.NoEDF = 3, 2, true
	w := newDeskWeek(t, dir, o)
	w.export("export")
	return w, &typist{desk: newNarrowDesk(t, name, dir)}
}

// recordsIn returns the records of a collection, without their recordings.
func (w *deskWeek) recordsIn(collection string) (all []map[string]any) {
	w.t.Helper()
	files, _ := filepath.Glob(filepath.Join(w.dir, collection, "sessions", "*"))
	for _, f := range files {
		data, err := os.ReadFile(f)
		var r map[string]any
		if err != nil || json.Unmarshal(data, &r) != nil {
			w.t.Fatalf("%s: %v", f, err)
		}
		delete(r, "recordings")
		all = append(all, r)
	}
	return all
}

// fits reports an error for every line that the program wrote wider than the terminal.
func (p *typist) fits() {
	p.t.Helper()
	for line := range strings.Lines(p.tmux("capture-pane", "-p", "-J", "-S", "-", "-t", p.name)) {
		line = strings.TrimRight(line, " \n")
		if utf8.RuneCountInString(line) > 80 && !strings.HasPrefix(line, "$") {
			p.t.Errorf("wider than the terminal: %s", line)
		}
	}
}

// aboutRecordings answers what the sampler's folder leaves open.
func (p *typist) aboutRecordings() {
	p.t.Helper()
	p.see(`K0002.txt: [\s\S]*in\s+mmHg[\s\S]*1 to 2, or q to stop:`)
	p.answer("1")
	p.see(`run.csv: [\s\S]*1 to 4, or q to stop:`)
	p.answer("3")
}

// TestFillAtTerminal: three commands and three answers make a collection that check
// accepts of a filled workbook and a sampler's folder, and no JSON is opened.
func TestFillAtTerminal(t *testing.T) {
	t.Parallel()
	w, p := deskWithWeek(t, "fill")
	w.writeBook("session-log.xlsx")
	p.command("outbreath begin week --study LARK-2 --site WEIR --contact '+1 646 555 0199'")
	p.see(`is ready`)
	p.command("outbreath fill week --from session-log.xlsx --recordings export")
	p.see(`(?m)^understood:[\s\S]*time[\s\S]*zone[\s\S]*Answer, or q to stop:`)
	p.answer(panama)
	p.aboutRecordings()
	p.see(`K0002.txt +is the recording of WEIR-V0002 \([^)]*\), by\s+clock`)
	p.see(`run.csv +is the recording of WEIR-V0003 \([^)]*\),\s+as\s+answered`)
	p.see(`matched by name: 1 recording`)
	p.see(`K0002.txt +CO2 was converted from mmHg to kPa`)
	p.see(`sessions: 3 new`)
	p.see(`Write this\? \(yes or no\)`)
	p.answer("yes")
	p.see(`written. Next: outbreath check week`)
	p.fits()
	p.command("outbreath check week")
	p.see(`read 3 records, 3 recordings, 6 tubes: 0 errors, 0 warnings`)
	t.Logf("%d keystrokes, %d commands", p.keys, p.commands)
	if p.commands > 3 || p.keys > mostKeys {
		t.Errorf("%d keystrokes in %d commands", p.keys, p.commands)
	}
	if got, want := w.recordsIn("week"), w.recordsIn("kept"); len(got) != 3 || !reflect.DeepEqual(got, want) {
		t.Errorf("other records: %v\nwant %v", got, want)
	}
}

// TestFillOwnHeadings: a log in CSV under a site's own headings is asked about once; the
// week after, nothing is.
func TestFillOwnHeadings(t *testing.T) {
	t.Parallel()
	w, p := deskWithWeek(t, "headings")
	w.write("sessions.csv", w.csvLog())
	p.command("outbreath begin week --study LARK-2 --site WEIR --contact '+1 646 555 0199'")
	p.see(`is ready`)
	w.write("week/roster.csv", w.kept("roster.csv"))
	p.command("outbreath fill week --from sessions.csv --recordings export")
	p.see(`(?m)^understood:[\s\S]*"Proband" is subject id[\s\S]*Enter to go on`) // it has left nothing unseen
	p.answer("")
	p.see(`(?m)^question 1 of 3: [\s\S]*"Wer"[\s\S]*or q to stop:`)
	p.answer("operator")
	p.see(`question 2 of 3: [\s\S]*"Raum"[\s\S]*or q to stop:`)
	p.answer("1")
	p.see(`question 3 of 3: [\s\S]*zone[\s\S]*or q to stop:`)
	p.answer("Weir")
	p.see(`no such zone is known`)
	p.answer(panama)
	p.see(`now understood as well:[\s\S]*"Wer" is operator`)
	p.see(`not read[^:]*: "Raum"`)
	p.aboutRecordings()
	p.see(`Write this\?`)
	p.answer("yes")
	p.see(`written. Next`)
	p.fits()
	t.Logf("first week: %d keystrokes, %d commands", p.keys, p.commands)
	first := w.recordsIn("week")
	if want := w.recordsIn("kept"); len(first) != 3 || !within(first, want) {
		t.Errorf("other records: %v\nwant %v", first, want)
	}

	// the same sessions a week later would be sealed: here only the questions matter, so the
	// file that no name or clock tells is named as the others are
	if err := os.Rename(filepath.Join(w.dir, "export/run.csv"),
		filepath.Join(w.dir, "export", w.col.Sessions[2].ID+".csv")); err != nil {
		t.Fatal(err)
	}
	p.keys, p.commands = 0, 0
	p.command("outbreath begin week-2 --like week")
	p.see(`is ready`)
	p.command("outbreath fill week-2 --from sessions.csv --recordings export")
	p.see(`Enter for more`) // what was understood and what is new are more than one screen
	p.answer("")
	p.see(`Write this\?`)
	if text := p.everything(); strings.Contains(text, "question") {
		t.Errorf("asked again:\n%s", text)
	}
	p.answer("yes")
	p.see(`written. Next`)
	p.fits()
	p.command("outbreath check week-2")
	p.see(`read 3 records, 3 recordings, 6 tubes: 0 errors`)
	t.Logf("second week: %d keystrokes, %d commands", p.keys, p.commands)
	if p.commands > 3 || p.keys > mostKeys {
		t.Errorf("%d keystrokes in %d commands", p.keys, p.commands)
	}
	if second := w.recordsIn("week-2"); !reflect.DeepEqual(second, first) {
		t.Errorf("other records: %v", second)
	}
}

// within reports whether got has of each record nothing but what want has.
func within(got, want []map[string]any) bool {
	for i, r := range got {
		for name, v := range r {
			if name != "subject" && name != "sampler" && !reflect.DeepEqual(v, want[i][name]) {
				return false
			}
		}
		if len(slices.Collect(maps.Keys(r))) < 12 {
			return false
		}
	}
	return true
}

// TestFillInterrupted: Ctrl-C at a question keeps the answers before it, and leaves
// nothing half written.
func TestFillInterrupted(t *testing.T) {
	t.Parallel()
	w, p := deskWithWeek(t, "interrupted")
	w.writeBook("session-log.xlsx")
	p.command("outbreath begin week --study LARK-2 --site WEIR")
	p.see(`is ready`)
	const command = "outbreath fill week --from session-log.xlsx --recordings export; echo status $?"
	p.command(command)
	p.see(`Answer, or q to stop:`)
	p.answer(panama)
	before := func() string {
		p.t.Helper()
		var names []string
		filepath.WalkDir(filepath.Join(w.dir, "week"), func(path string, _ os.DirEntry, _ error) error {
			names = append(names, strings.TrimPrefix(path, w.dir))
			return nil
		})
		return strings.Join(names, "\n")
	}
	p.see(`1 to 2, or q to stop:`)
	there := before()
	p.tmux("send-keys", "-t", p.name, "C-c")
	p.see(`stopped; no record was written\n.*the answers so far are kept[\s\S]*status 130`)
	if now := before(); now != there || strings.Contains(now, "0001.json") || strings.Contains(now, ".filling") {
		t.Errorf("in the collection:\n%s\nwere:\n%s", now, there)
	}
	p.command(command)
	p.see(`K0002.txt: [\s\S]*1 to 2, or q to stop:`)
	if screen := p.screen(); strings.Contains(screen, "continent and city") {
		t.Errorf("asked again:\n%s", screen)
	}
	p.answer("1")
	p.see(`run.csv: [\s\S]*1 to 4, or q to stop:`)
	p.answer("q")
	p.see(`the answers so far are kept[\s\S]*status 2`)
	p.command(command)
	p.see(`run.csv: [\s\S]*1 to 4, or q to stop:`)
	p.answer("3")
	p.see(`Write this\?`)
	p.tmux("send-keys", "-t", p.name, "C-c")
	p.see(`stopped; no record was written[\s\S]*status 130`)
	if now := before(); now != there {
		t.Errorf("in the collection:\n%s\nwere:\n%s", now, there)
	}
	p.command(command)
	p.see(`Write this\?`)
	p.answer("yes")
	p.see(`written. Next: [\s\S]*status 0`)
	if got, want := w.recordsIn("week"), w.recordsIn("kept"); len(got) != 3 || !reflect.DeepEqual(got, want) {
		t.Errorf("other records: %v\nwant %v", got, want)
	}
}

// TestChosen: what is typed at a question is taken only if it can be an answer.
func TestChosen(t *testing.T) {
	three := sessionlog.Doubt{Choices: []sessionlog.Choice{{Value: "a", Words: "one"}, {Value: "b", Words: "two"},
		{Value: "c", Words: "Three"}}}
	gas := sessionlog.Doubt{Option: "gas-kpa", Number: true}
	rows := sessionlog.Doubt{Number: true}
	for _, c := range []struct {
		d      sessionlog.Doubt
		taken  int
		answer string
		want   string // "" if it cannot
	}{
		{three, 0, "1", "a"}, {three, 0, "3", "c"}, {three, 0, "0", ""}, {three, 0, "4", ""}, {three, 0, "", ""},
		{three, 1, "3", ""}, {three, 1, "three", "c"}, {three, 1, "2", "b"}, {three, 0, "four", ""},
		{gas, 0, "101,3", "101,3"}, {gas, 0, "1013", ""}, {gas, 0, "-5", ""}, {gas, 0, "NaN", ""},
		{rows, 0, "25", "25"}, {rows, 0, "0", ""}, {rows, 0, "fast", ""},
		{sessionlog.Doubt{Option: "zone"}, 0, "Weir", ""}, {sessionlog.Doubt{Option: "zone"}, 0, panama, panama},
	} {
		if got, ok := chosen(c.d, c.taken, c.answer); ok != (c.want != "") || ok && got != c.want {
			t.Errorf("%+v: %q gives %q, %t", c.d, c.answer, got, ok)
		}
	}
}
