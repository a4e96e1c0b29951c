package main

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"outbreath/schema"
	"outbreath/schema/entry"
)

// enterSite lays out a collection with two subjects.
func enterSite(t *testing.T) (dir string) {
	dir = t.TempDir()
	week := filepath.Join(dir, "week")
	for _, name := range []string{"sessions", "recordings"} {
		ok(t, os.MkdirAll(filepath.Join(week, name), 0o700))
	}
	for name, text := range map[string]string{
		"study.json": `{"study":"LARK-2","site":"WEIR","contact":"Weir Road 1","zone":"Europe/Berlin"}`,
		"roster.csv": "subject_id,given_name,family_name,birth_date,sex\nLARK2-WEIR-001,Anna,Quill,1970-12-31,f\n" +
			"LARK2-WEIR-002,Bo,Reed,1981-02-03,m\n",
	} {
		ok(t, os.WriteFile(filepath.Join(week, name), []byte(text), 0o600))
	}
	return dir
}

// A prompted answer: what the screen asks last, and what is typed or scanned then.
type prompted struct {
	asks    string
	answer  string
	scanned bool
}

// firstSession has every question of a session with two tubes, when nothing is offered.
var firstSession = []prompted{
	{`subject id:`, "LARK2-WEIR-001", true},
	{`session id:`, "WEIR-V0001", false},
	{`operator:`, "MB", false},
	{`fraction \(1 end-tidal.*\):`, "1", false},
	{`sampler serial:`, "S-1204", false},
	{`scan the first tube:`, "TB-0001", true},
	{`scan tube 2, or Enter if there are no more:`, "TB-0002", true},
	{`scan tube 3, or Enter if there are no more:`, "", false},
	{`tube 1 TB-0001, position:`, "A", false},
	{`tube 2 TB-0002, position:`, "B", false},
	{`started at \[now\]:`, "", false},
	{`tube 1 TB-0001, uncapped at \[now\]:`, "n", false},
	{`tube 2 TB-0002, uncapped at \[now\]:`, "", false},
	{`tube 1 TB-0001, capped at \[now\]:`, "", false},
	{`tube 2 TB-0002, capped at \[now\]:`, "", false},
	{`ended at \[now\]:`, "", false},
	{`outcome \(1 complete.*\):`, "1", false},
	{`tube 1 TB-0001, volume \(mL\):`, "500", false},
	{`tube 1 TB-0001, storage \(1 refrigerated.*\):`, "1", false},
	{`tube 2 TB-0002, volume \(mL\):`, "498,5", false},
	{`tube 2 TB-0002, storage \(1 refrigerated.*\) \[refrigerated\]:`, "", false},
	{`number: correct or fill in +w: write +q: stop`, "w", false},
}

// nextSession is the same where the last session's values are offered.
var nextSession = []prompted{
	{`subject id:`, "LARK2-WEIR-002", true},
	{`session id \[WEIR-V0002\]:`, "", false},
	{`operator \[MB\]:`, "", false},
	{`fraction \(.*\) \[end-tidal\]:`, "", false},
	{`sampler serial \[S-1204\]:`, "", false},
	{`scan the first tube:`, "TB-0003", true},
	{`scan tube 2, or Enter if there are no more:`, "TB-0004", true},
	{`scan tube 3, or Enter if there are no more:`, "", false},
	{`tube 1 TB-0003, position \[A\]:`, "", false},
	{`tube 2 TB-0004, position \[B\]:`, "", false},
	{`started at \[now\]:`, "", false},
	{`tube 1 TB-0003, uncapped at \[now\]:`, "", false},
	{`tube 2 TB-0004, uncapped at \[now\]:`, "", false},
	{`tube 1 TB-0003, capped at \[now\]:`, "", false},
	{`tube 2 TB-0004, capped at \[now\]:`, "", false},
	{`ended at \[now\]:`, "", false},
	{`outcome \(1 complete.*\):`, "1", false},
	{`tube 1 TB-0003, volume \(mL\):`, "500", false},
	{`tube 1 TB-0003, storage \(.*\) \[refrigerated\]:`, "", false},
	{`tube 2 TB-0004, volume \(mL\):`, "500", false},
	{`tube 2 TB-0004, storage \(.*\) \[refrigerated\]:`, "", false},
	{`number: correct or fill in +w: write +q: stop`, "w", false},
}

// asked waits until a question is the last thing on the screen.
func (d *desk) asked(pattern string) {
	d.t.Helper()
	re := regexp.MustCompile(`(?m)^ *` + pattern + `\s*\z`)
	d.until("asks "+pattern, re.MatchString)
}

// answers types one answer. Nobody answers within an eye's blink of the question.
func (d *desk) answers(p prompted) {
	d.t.Helper()
	d.asked(p.asks)
	time.Sleep(2 * bounceTime)
	d.types(p.answer)
}

// keystrokes counts what is typed by hand; a scan is none.
func keystrokes(all []prompted) (keys, scans int) {
	for _, p := range all {
		if p.scanned {
			scans++
		} else {
			keys += len(p.answer) + 1
		}
	}
	return keys, scans
}

func recordIn(t *testing.T, file string) *schema.Node {
	t.Helper()
	data, err := os.ReadFile(file)
	ok(t, err)
	n, err := schema.ParseJSON(data)
	ok(t, err)
	return n
}

// holds reports an error unless a record has these values.
func holds(t *testing.T, n *schema.Node, values map[string]string) {
	t.Helper()
	for at, want := range values {
		if v := n.At(at); v == nil || v.Text != want {
			t.Errorf("%s is %v, want %s", at, v, want)
		}
	}
}

// TestEnterTwoSessions: two sessions with two tubes each by a scanner that does not wait:
// both tubes are scanned before the first is looked up. Keystrokes and screens are counted.
func TestEnterTwoSessions(t *testing.T) {
	t.Parallel()
	dir := enterSite(t)
	d := newDesk(t, "enter", dir)
	raw := filepath.Join(dir, "raw") // all that the terminal is sent
	d.tmux("pipe-pane", "-t", d.name, "cat >"+raw)
	d.run("outbreath enter week; echo status $?")
	before := 0
	for _, session := range [][]prompted{firstSession, nextSession} {
		for i := 0; i < len(session); i++ {
			p := session[i]
			if p.asks != `scan the first tube:` {
				d.answers(p)
				continue
			}
			d.asked(p.asks)
			d.ahead(p.answer, session[i+1].answer+"\r") // the second at once
			i++
		}
		d.asked(`Enter: the next session +q: stop`)
		sent, err := os.ReadFile(raw)
		ok(t, err)
		screens := strings.Count(string(sent), clearScreen) - before
		before += screens
		keys, scans := keystrokes(session)
		t.Logf("a session with two tubes: %d questions, %d scans, %d keystrokes, %d screens", len(session), scans, keys,
			screens)
		if screens != 2 {
			t.Errorf("%d screens: one for the questions and one for the review were wanted", screens)
		}
		if session[0].answer == nextSession[0].answer {
			d.types("q")
		} else {
			d.types("")
		}
	}
	d.see(`(?m)^status 0$`)
	if _, err := os.Stat(filepath.Join(dir, "week", entry.File)); !errors.Is(err, fs.ErrNotExist) {
		t.Error("the answers are still kept")
	}
	first := recordIn(t, filepath.Join(dir, "week", "sessions", "0001.json"))
	holds(t, first, map[string]string{"/session_id": "WEIR-V0001", "/subject/birth_date": "1970-12-31",
		"/subject/sex": "female", "/tubes/0/barcode": "TB-0001", "/tubes/1/barcode": "TB-0002",
		"/tubes/1/volume_ml": "498.5", "/tubes/1/storage": "refrigerated", "/outcome": "complete"})
	holds(t, recordIn(t, filepath.Join(dir, "week", "sessions", "0002.json")), map[string]string{
		"/session_id": "WEIR-V0002", "/subject/sex": "male", "/operator": "MB", "/sampler/serial": "S-1204",
		"/tubes/0/position": "A", "/tubes/1/position": "B", "/tubes/1/barcode": "TB-0004"})
	d.run("outbreath check week; echo status $?")
	d.see(`read 2 records, 0 recordings, 4 tubes: 0 errors`)
}

// TestEnterScreens: what the questions of a session leave on the screen is one screen of
// 50 lines, the review one of 24; no line of it is longer than 80 characters.
func TestEnterScreens(t *testing.T) {
	t.Parallel()
	dir := enterSite(t)
	d := newDesk(t, "screens", dir)
	d.run("outbreath enter week; echo status $?")
	for i, p := range firstSession[:len(firstSession)-1] {
		d.answers(p)
		if i == len(firstSession)-3 {
			d.asked(firstSession[i+1].asks)
			if !strings.Contains(d.screen(), "subject id: LARK2-WEIR-001") {
				t.Errorf("the questions do not fit on the screen:\n%s", d.screen())
			}
		}
	}
	d.asked(firstSession[len(firstSession)-1].asks)
	lines := strings.Split(strings.TrimRight(d.screen(), "\n "), "\n")
	if len(lines) > 25 || !strings.HasPrefix(lines[0], "The session") {
		t.Errorf("the review has %d lines:\n%s", len(lines), d.screen())
	}
	for _, l := range lines {
		if len([]rune(l)) > 80 {
			t.Errorf("%d characters: %s", len([]rune(l)), l)
		}
	}
}

// TestEnterStopped: Ctrl-C at every question in turn, and after every answer the program is
// killed. The same command goes on: it asks that question again, and nothing that was
// confirmed is lost.
func TestEnterStopped(t *testing.T) {
	t.Parallel()
	dir := enterSite(t)
	d := newDesk(t, "stopped", dir)
	const command = "sh -c 'echo $$ >pid; exec outbreath enter week'; echo status $?"
	kept := func() int {
		var k entry.Kept
		data, err := os.ReadFile(filepath.Join(dir, "week", entry.File))
		if errors.Is(err, fs.ErrNotExist) {
			return 0
		}
		if err != nil || json.Unmarshal(data, &k) != nil {
			t.Fatalf("%s: %v", data, err)
		}
		return len(k.Steps)
	}
	resume := func() {
		d.run(command)
		if kept() > 0 {
			d.asked(`Enter: go on after them +d: discard them`)
			d.types("")
		}
	}
	for _, p := range firstSession {
		resume()
		d.asked(p.asks)
		before := kept()
		d.tmux("send-keys", "-t", d.name, "-l", "half")
		d.tmux("send-keys", "-t", d.name, "C-c")
		d.see(`(?m)^status 130$`)
		if kept() != before {
			t.Errorf("%s: Ctrl-C changes what is kept", p.asks)
		}
		resume()
		d.answers(p)
		if p.answer != "w" {
			// the answer is kept before the next question is asked
			d.until("asks the next question", func(string) bool { return kept() > before })
		} else {
			d.asked(`Enter: the next session +q: stop`)
		}
		data, err := os.ReadFile(filepath.Join(dir, "pid"))
		ok(t, err)
		pid, err := strconv.Atoi(strings.TrimSpace(string(data)))
		ok(t, err)
		program, err := os.FindProcess(pid)
		ok(t, err)
		ok(t, program.Kill())
		d.see(`(?m)^status 137$`)
	}
	holds(t, recordIn(t, filepath.Join(dir, "week", "sessions", "0001.json")), map[string]string{
		"/session_id": "WEIR-V0001", "/operator": "MB", "/fraction": "end-tidal", "/sampler/serial": "S-1204",
		"/subject/subject_id": "LARK2-WEIR-001", "/subject/birth_date": "1970-12-31", "/outcome": "complete",
		"/tubes/0/barcode": "TB-0001", "/tubes/1/barcode": "TB-0002", "/tubes/0/position": "A",
		"/tubes/1/position": "B", "/tubes/0/volume_ml": "500", "/tubes/1/volume_ml": "498.5",
		"/tubes/1/storage": "refrigerated"})
	if kept() != 0 {
		t.Error("the answers are still kept")
	}
}

// TestEnterAmend: a value is corrected, a reason that names a subject is refused, and
// Ctrl-C at the reason loses nothing.
func TestEnterAmend(t *testing.T) {
	t.Parallel()
	dir := enterSite(t)
	record := filepath.Join(dir, "week", "sessions", "0001.json")
	ok(t, os.WriteFile(record, []byte(`{"session_id":"WEIR-V0001","study":"LARK-2","site":"WEIR","operator":"MB",
"subject":{"subject_id":"LARK2-WEIR-001","birth_date":"1970-12-31","sex":"female"},
"started_at":"2026-03-02T09:00:00+01:00","ended_at":"2026-03-02T09:08:00+01:00","outcome":"complete",
"fraction":"end-tidal","sampler":{"serial":"S-1204"},"tubes":[{"barcode":"TB-0001","position":"A",
"uncapped_at":"2026-03-02T09:00:10+01:00","capped_at":"2026-03-02T09:07:00+01:00","volume_ml":500,
"storage":"refrigerated"}],"recordings":[]}`), 0o600))
	d := newDesk(t, "amend", dir)
	const command = "outbreath enter week --amend week/sessions/0001.json --by coordinator; echo status $?"
	const why = `why \(one line, nothing about a person; it is kept for good\):`
	d.run(command)
	d.asked(firstSession[len(firstSession)-1].asks)
	d.types(d.see(`(\d+) tube volume`))
	d.answers(prompted{asks: `tube 1 TB-0001, volume \(mL\) \[500\]:`, answer: "505"})
	d.answers(prompted{asks: firstSession[len(firstSession)-1].asks, answer: "w"})
	d.see(`tube 1, volume \(mL\): 505, before 500`)
	d.answers(prompted{asks: why, answer: "Anna Quill said so"})
	d.see(`the reason may hold a name`)
	d.asked(why)
	d.tmux("send-keys", "-t", d.name, "C-c")
	d.see(`(?m)^status 130$`)
	holds(t, recordIn(t, record), map[string]string{"/tubes/0/volume_ml": "500"})

	d.run(command)
	d.asked(`Enter: go on after them +d: discard them`)
	d.types("")
	d.answers(prompted{asks: firstSession[len(firstSession)-1].asks, answer: "w"})
	d.answers(prompted{asks: why, answer: "read off the display again"})
	d.see(`(?m)^status 0$`)
	holds(t, recordIn(t, record), map[string]string{"/tubes/0/volume_ml": "505"})
	log, err := os.ReadFile(filepath.Join(dir, "week", entry.AmendmentsFile))
	ok(t, err)
	for _, want := range []string{`"who":"coordinator"`, `"why":"read off the display again"`, `"old":"500"`,
		`"new":"505"`, `"field":"/tubes/0/volume_ml"`} {
		if strings.Count(string(log), "\n") != 1 || !strings.Contains(string(log), want) {
			t.Errorf("%s is not in %s", want, log)
		}
	}
}
