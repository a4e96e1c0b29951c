package entry

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"outbreath/schema"
	"outbreath/schema/sessionlog"
)

const roster = `subject_id,given_name,family_name,birth_date,sex
LARK2-WEIR-001,Anna,Quill,1970-12-31,f
LARK2-WEIR-002,Bo,Reed,1981-02-03,
`

// A site is a collection with a clock of the test's own.
type site struct {
	t   testing.TB
	dir string
	now time.Time
}

func newSite(t testing.TB, dir, zone string) *site {
	study := fmt.Sprintf(`{"study":"LARK-2","site":"WEIR","contact":"Weir Road 1","zone":%q}`, zone)
	if zone == "" {
		study = `{"study":"LARK-2","site":"WEIR","contact":"Weir Road 1"}`
	}
	for name, text := range map[string]string{"study.json": study, "roster.csv": roster} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"sessions", "recordings"} {
		if err := os.MkdirAll(filepath.Join(dir, name), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	return &site{t, dir, time.Date(2026, 3, 2, 8, 0, 0, 500, time.UTC)}
}

// open begins a run of the program.
func (s *site) open() *Desk {
	s.t.Helper()
	col, err := schema.Load(s.dir)
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { col.Root.Close() })
	set, err := sessionlog.ReadSettings(col.Root)
	if err != nil {
		s.t.Fatal(err)
	}
	d, err := Open(col, set, func() time.Time { return s.now })
	if err != nil {
		s.t.Fatal(err)
	}
	return d
}

func (s *site) read(name string) []byte {
	data, err := os.ReadFile(filepath.Join(s.dir, name))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		s.t.Fatal(err)
	}
	return data
}

// answers of one session with two tubes, in the order of the questions; the clock goes on
// by ten seconds with every one.
var answers = []string{"lark2 weir 001", "WEIR-V0007", "MB", "end", "S-1204", "TB-0001", "TB-0002", "", "A", "B",
	"n", "", "9:00:50", "", "n", "n", "c", "500", "r", "498,5", "r"}

// step gives one answer to whatever is asked.
func step(s *Session, line string) ([]string, error) {
	switch q := s.Next(); {
	case q.Kind == Scan && line == "":
		return nil, s.EndTubes()
	case q.Kind == Scan:
		return s.ScanTube(line)
	case q.Kind == Review:
		return nil, errors.New("nothing is asked")
	default:
		return s.Answer(q, line)
	}
}

// steps gives answers of which none may be refused.
func (s *site) steps(to *Session, lines ...string) {
	s.t.Helper()
	for i, line := range lines {
		s.now = s.now.Add(10 * time.Second)
		if _, err := step(to, line); err != nil {
			s.t.Fatalf("answer %d, %q: %v", i+1, line, err)
		}
	}
}

const wanted = `{
  "session_id": "WEIR-V0007",
  "study": "LARK-2",
  "site": "WEIR",
  "operator": "MB",
  "subject": {
    "subject_id": "LARK2-WEIR-001",
    "birth_date": "1970-12-31",
    "sex": "female"
  },
  "started_at": "2026-03-02T09:01:50+01:00",
  "ended_at": "2026-03-02T09:02:40+01:00",
  "outcome": "complete",
  "fraction": "end-tidal",
  "sampler": {
    "serial": "S-1204"
  },
  "tubes": [
    {
      "barcode": "TB-0001",
      "position": "A",
      "uncapped_at": "2026-03-02T09:02:00+01:00",
      "capped_at": "2026-03-02T09:02:20+01:00",
      "volume_ml": 500,
      "storage": "refrigerated"
    },
    {
      "barcode": "TB-0002",
      "position": "B",
      "uncapped_at": "2026-03-02T09:00:50+01:00",
      "capped_at": "2026-03-02T09:02:30+01:00",
      "volume_ml": 498.5,
      "storage": "refrigerated"
    }
  ],
  "recordings": []
}
`

// TestSession: the answers make this record, byte for byte, which schema.Load accepts;
// the next session is offered what the last one had.
func TestSession(t *testing.T) {
	w := newSite(t, t.TempDir(), "Europe/Berlin")
	d := w.open()
	s := d.New()
	w.steps(s, answers...)
	if q := s.Next(); q.Kind != Review {
		t.Fatalf("%v is asked", q.Name())
	}
	file, err := s.Write()
	if err != nil || file != "sessions/0001.json" {
		t.Fatal(file, err)
	}
	if got := w.read(file); string(got) != wanted {
		t.Errorf("the record:\n%s", got)
	}
	if w.read(File) != nil {
		t.Error("the answers are still kept")
	}
	col, err := schema.Load(w.dir)
	if err != nil || len(col.Sessions) != 1 || len(col.Errors()) > 0 {
		t.Errorf("%v %+v", err, col.Problems)
	}
	col.Root.Close()

	for _, d := range []*Desk{d, w.open()} { // in the same run, and in a later one
		s = d.New()
		w.steps(s, "LARK2-WEIR-002")
		offers := map[string]string{}
		for _, line := range []string{"unknown", "", "", "", "", "TB-0003", "TB-0004", ""} {
			q := s.Next()
			if q.Offer != nil {
				offers[q.Pointer] = q.Offer.Text
			}
			if q.Pointer == sessionAt || q.Pointer == "/subject/sex" {
				line = map[string]string{sessionAt: "", "/subject/sex": "u"}[q.Pointer]
			} else if q.Kind == Ask {
				line = ""
			}
			w.steps(s, line)
		}
		for at, want := range map[string]string{sessionAt: "WEIR-V0008", "/operator": "MB", "/fraction": "end-tidal",
			"/sampler/serial": "S-1204"} {
			if offers[at] != want {
				t.Errorf("%s: %q is offered, want %q", at, offers[at], want)
			}
		}
		for i, want := range []string{"A", "B"} {
			if q := s.Next(); q.Field != positionOf || q.Offer == nil || q.Offer.Text != want {
				t.Errorf("position %d: %+v", i, q)
			}
			w.steps(s, "")
		}
		for _, at := range []string{"/tubes/0/volume_ml", "/outcome", "/ended_at"} {
			if q, _ := s.At(at); q.Offer != nil {
				t.Errorf("%s is offered, though it is measured anew", at)
			}
		}
		if err := s.Discard(); err != nil {
			t.Fatal(err)
		}
	}
}

// TestCutOffAnywhere: the program is killed after every answer in turn; the next run asks
// the same next question, and the record is the same.
func TestCutOffAnywhere(t *testing.T) {
	w := newSite(t, t.TempDir(), "Europe/Berlin")
	s := w.open().New()
	for i, line := range answers {
		w.steps(s, line)
		info, err := os.Stat(filepath.Join(w.dir, File))
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Fatalf("after answer %d: %v %v", i+1, info, err)
		}
		again, err := w.open().Resume()
		if err != nil || again == nil {
			t.Fatalf("after answer %d: %v", i+1, err)
		}
		if q, r := s.Next(), again.Next(); q.Kind != r.Kind || q.Pointer != r.Pointer {
			t.Fatalf("after answer %d: %q is asked, before it was %q", i+1, r.Pointer, q.Pointer)
		}
		if !bytes.Equal(s.record().Encode(), again.record().Encode()) {
			t.Fatalf("after answer %d the record differs", i+1)
		}
		s = again
	}
	if file, err := s.Write(); err != nil || string(w.read(file)) != wanted {
		t.Error(file, err)
	}
}

// TestWrittenThenKilled: killed between the record and the removal of what is kept, the
// next run writes no second record.
func TestWrittenThenKilled(t *testing.T) {
	w := newSite(t, t.TempDir(), "Europe/Berlin")
	s := w.open().New()
	w.steps(s, answers...)
	kept := w.read(File)
	if _, err := s.Write(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(w.dir, File), kept, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := w.open().Resume()
	if err != nil {
		t.Fatal(err)
	}
	if file, err := s.Write(); err != nil || file != "sessions/0001.json" || w.read("sessions/0002.json") != nil ||
		w.read(File) != nil {
		t.Error(file, err)
	}
}

// TestRefused: what is refused is refused at once, in words, and changes nothing.
func TestRefused(t *testing.T) {
	w := newSite(t, t.TempDir(), "Europe/Berlin")
	d := w.open()
	first := d.New()
	w.steps(first, answers...)
	if _, err := first.Write(); err != nil {
		t.Fatal(err)
	}
	s := d.New()
	refused := func(line, words string) {
		t.Helper()
		before := w.read(File)
		_, err := step(s, line)
		if err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%q: %v; want %q", line, err, words)
		}
		if !bytes.Equal(before, w.read(File)) {
			t.Errorf("%q: what is kept has changed", line)
		}
	}
	refused("LARK2-WEIR-009", "roster.csv has no such subject")
	refused("LARK2-WEIR-OO1", "but LARK2-WEIR-001, which looks alike")
	refused("TB-0009", "roster.csv has no such subject")
	refused("", "an empty line is no answer")
	w.steps(s, "LARK2-WEIR-001")
	refused("weir v0007", "sessions/0001.json has this session id already")
	w.steps(s, "", "", "", "")
	refused("tb-0001", "sessions/0001.json has this tube already")
	refused("LARK2-WEIR-002", "a subject of roster.csv and no tube")
	refused("TB 1,2", "")
	refused("", "no tube was scanned yet")
	w.steps(s, "TB-0003")
	refused("TB-0003", "tube 1 of this session has this barcode")
	remarks, err := step(s, "TB-OOO3")
	if err != nil || len(remarks) != 1 || !strings.Contains(remarks[0], "looks like tube 1") {
		t.Error(remarks, err)
	}
	w.steps(s, "", "")
	refused("a", "another tube of this session has this position already")
	w.steps(s, "B")
	refused("23:10", "still to come")
	refused("03/04/2026 9:00", "can be read in several ways")
	refused("-", "no value, but the record needs one")
	w.steps(s, "09:01", "", "")
	remarks, err = step(s, "8:59")
	if err != nil || len(remarks) == 0 || !strings.Contains(strings.Join(remarks, " "), "is before") {
		t.Error(remarks, err)
	}
	w.steps(s, "", "")
	refused("maybe", "none of the listed values")
	w.steps(s, "1")
	refused("0", "")
	refused("abc", "no plain number")
}

// TestZone: without a zone it is asked for once, and kept with the log's settings. The
// hour that comes twice is asked about, the one that is left out refused. Source of the
// changes of 2026 in Berlin: the IANA time zone database (29 March 01:00 UTC, 25 October
// 01:00 UTC), as Go embeds it.
func TestZone(t *testing.T) {
	w := newSite(t, t.TempDir(), "")
	w.now = time.Date(2026, 10, 25, 12, 0, 0, 0, time.UTC)
	d := w.open()
	s := d.New()
	w.steps(s, answers[:10]...)
	asked := &Asked{}
	if _, err := step(s, "n"); !errors.As(err, &asked) || asked.Doubt.Option != "zone" {
		t.Fatal(err)
	}
	if err := d.Answer(asked.Doubt, "Berlin"); err == nil {
		t.Error("Berlin is taken for a zone")
	}
	if err := d.Answer(asked.Doubt, "Europe/Berlin"); err != nil {
		t.Fatal(err)
	}
	if set := string(w.read(sessionlog.SettingsFile)); !strings.Contains(set, "Europe/Berlin") {
		t.Errorf("%s: %s", sessionlog.SettingsFile, set)
	}
	if _, err := step(s, "2:30"); !errors.As(err, &asked) || len(asked.Doubt.Choices) != 2 {
		t.Fatal(err)
	}
	if err := d.Answer(asked.Doubt, asked.Doubt.Choices[1].Value); err != nil {
		t.Fatal(err)
	}
	w.steps(s, "2:30")
	if got := s.textAt(startedAt); got != "2026-10-25T02:30:00+01:00" {
		t.Errorf("started at %s", got)
	}
	if _, err := step(s, "2026-03-29 02:30"); err == nil || !strings.Contains(err.Error(), "did not exist") {
		t.Error(err)
	}
	if s, err := w.open().Resume(); err != nil || s.textAt(startedAt) != "2026-10-25T02:30:00+01:00" {
		t.Error(err)
	}
}

// TestBack: every answer can be taken back, to the first.
func TestBack(t *testing.T) {
	w := newSite(t, t.TempDir(), "Europe/Berlin")
	s := w.open().New()
	var asked []string
	for _, line := range answers {
		asked = append(asked, s.Next().Pointer)
		w.steps(s, line)
	}
	for _, want := range slices.Backward(asked) {
		if ok, err := s.Back(); !ok || err != nil {
			t.Fatal(ok, err)
		}
		if got := s.Next().Pointer; got != want {
			t.Errorf("%s is asked, want %s", got, want)
		}
	}
	if ok, _ := s.Back(); ok || s.Subject() != "" || s.textAt("/subject/birth_date") != "" {
		t.Error("something is left")
	}
}

// TestCorrect: any value is corrected before the record is written; lists grow and shrink.
func TestCorrect(t *testing.T) {
	w := newSite(t, t.TempDir(), "Europe/Berlin")
	s := w.open().New()
	w.steps(s, answers...)
	set := func(at, line string) {
		t.Helper()
		q, ok := s.At(at)
		if !ok {
			t.Fatalf("there is no %s", at)
		}
		if _, err := s.Answer(q, line); err != nil {
			t.Errorf("%s: %v", at, err)
		}
	}
	set(subjectAt, "LARK2-WEIR-002") // whose sex the roster does not say
	if q := s.Next(); q.Pointer != "/subject/sex" || s.textAt("/subject/birth_date") != "1981-02-03" {
		t.Errorf("%s is asked", q.Pointer)
	}
	w.steps(s, "male")
	set("/kit/lot", "L-33")
	if q := s.Next(); q.Pointer != "/kit/unit" {
		t.Errorf("%s is asked", q.Pointer)
	}
	set("/kit/lot", "-") // the unit has none: nothing is needed any more
	set("/tubes/1/volume_ml", "1.5")
	set("/subject/height_cm", "171,5")
	set("/tubes/0/conditioned_at", "2026-02-27 16:00")
	q, _ := s.At("/outcome")
	if _, err := s.Answer(q, "n/a"); err == nil {
		t.Error("a needed value was taken out")
	}
	q, ok := s.Add("/interruptions")
	if !ok {
		t.Fatal("no interruption can be added")
	}
	if _, err := s.Answer(q, "n"); err != nil {
		t.Fatal(err)
	}
	w.steps(s, "cuff slipped", "")
	if q, ok = s.Add("/sampler/checks"); !ok {
		t.Fatal("no check can be added")
	}
	if _, err := s.Answer(q, "Leak"); err != nil {
		t.Fatal(err)
	}
	w.steps(s, "y")
	if _, err := s.ScanTube("TB-0009"); err != nil {
		t.Fatal(err)
	}
	if q := s.Next(); q.Pointer != "/tubes/2/position" {
		t.Errorf("%s is asked", q.Pointer)
	}
	if err := s.Remove(tubesAt, 2); err != nil {
		t.Error(err)
	}
	if err := s.Remove(tubesAt, 0); err != nil {
		t.Error(err)
	}
	if err := s.Remove(tubesAt, 1); err == nil {
		t.Error("a tube that is not there was removed")
	}
	if s.Count(tubesAt) != 1 || s.Tube(0) != "TB-0002" || s.textAt("/tubes/0/volume_ml") != "1.5" {
		t.Errorf("the tubes: %v", s.values)
	}
	again, err := w.open().Resume()
	if err != nil || !bytes.Equal(again.record().Encode(), s.record().Encode()) {
		t.Error("resumed, the record differs", err)
	}
	if _, err := s.Write(); err != nil {
		t.Error(err)
	}
}

// TestTwoRuns: what another run has kept meanwhile is not overwritten.
func TestTwoRuns(t *testing.T) {
	w := newSite(t, t.TempDir(), "Europe/Berlin")
	one, two := w.open().New(), w.open().New()
	w.steps(one, answers[:2]...)
	_, err := step(two, answers[0])
	if changed := (*schema.ChangedError)(nil); !errors.As(err, &changed) {
		t.Error(err)
	}
	if again, err := w.open().Resume(); err != nil || again.Kept() != one.Kept() {
		t.Error(err)
	}
}

// TestAmend: what was changed is logged before the record is written, each value with
// what it was; the log only grows, also after a line that was cut off.
func TestAmend(t *testing.T) {
	w := newSite(t, t.TempDir(), "Europe/Berlin")
	s := w.open().New()
	w.steps(s, answers...)
	if _, err := s.Write(); err != nil {
		t.Fatal(err)
	}
	change := func(at, line, why string) {
		t.Helper()
		d := w.open()
		s, err := d.Amend("sessions/0001.json")
		if err != nil {
			t.Fatal(err)
		}
		if s.Next().Kind != Review || len(s.Changes()) > 0 {
			t.Error("a whole record is asked about, or changed")
		}
		q, _ := s.At(at)
		if _, err := s.Answer(q, line); err != nil {
			t.Fatal(err)
		}
		if s, err = w.open().Resume(); err != nil || s.Amends() != "sessions/0001.json" {
			t.Fatal(err)
		}
		if err := s.WriteAmended("coordinator", why); err != nil {
			t.Fatal(err)
		}
	}
	was := digest(w.read("sessions/0001.json"))
	change("/tubes/0/volume_ml", "505", "read off the display again")
	torn := append(w.read(AmendmentsFile), `{"when":`...)
	if err := os.WriteFile(filepath.Join(w.dir, AmendmentsFile), torn, 0o600); err != nil {
		t.Fatal(err)
	}
	change(barcodeOf[:7]+"1/barcode", "TB-0002-X", "the label was read wrongly")
	if got := strings.Replace(strings.Replace(wanted, ": 500,", ": 505,", 1), "TB-0002", "TB-0002-X", 1); got !=
		string(w.read("sessions/0001.json")) {
		t.Errorf("the record:\n%s", w.read("sessions/0001.json"))
	}
	var a Amendment
	line, _, _ := bytes.Cut(w.read(AmendmentsFile), []byte("\n"))
	if err := json.Unmarshal(line, &a); err != nil || a.Old != "500" || a.New != "505" || a.Who != "coordinator" ||
		a.Why != "read off the display again" || a.Field != "/tubes/0/volume_ml" || a.Before != was ||
		!a.When.Equal(w.now.Truncate(time.Second)) {
		t.Errorf("%s %v", line, err)
	}
	col, err := schema.Load(w.dir)
	if err != nil {
		t.Fatal(err)
	}
	defer col.Root.Close()
	list, unread, err := Amendments(col.Root)
	if err != nil || unread != 1 || len(list) != 1 || list[0] != (Amended{"sessions/0001.json", 2}) {
		t.Error(list, unread, err)
	}
	if info, err := os.Stat(filepath.Join(w.dir, AmendmentsFile)); err != nil || info.Mode().Perm() != 0o600 {
		t.Error(info, err)
	}
	for _, o := range col.Omitted {
		if o.File == AmendmentsFile && !strings.Contains(o.Why, "keep it") {
			t.Errorf("%+v", o)
		}
	}
}

// TestAmendRefused: a record whose values would be lost, one that was changed meanwhile
// and a name that is no record are refused.
func TestAmendRefused(t *testing.T) {
	w := newSite(t, t.TempDir(), "Europe/Berlin")
	record := filepath.Join(w.dir, "sessions", "0001.json")
	put := func(text string) {
		if err := os.WriteFile(record, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	put(strings.Replace(wanted, `"operator"`, `"nickname": "x", "operator"`, 1))
	if _, err := w.open().Amend("sessions/0001.json"); err == nil || !strings.Contains(err.Error(), "would be lost") {
		t.Error(err)
	}
	put("{")
	d := w.open()
	if _, err := d.Amend("sessions/0001.json"); err == nil || len(d.Unread) != 1 {
		t.Error(err, d.Unread)
	}
	for _, name := range []string{"sessions/../study.json", "study.json", "sessions/.x.json", `sessions/a\b.json`} {
		if _, err := d.Amend(name); err == nil {
			t.Errorf("%s was taken for a record", name)
		}
	}
	put(wanted)
	s, err := w.open().Amend("sessions/0001.json")
	if err != nil {
		t.Fatal(err)
	}
	q, _ := s.At("/operator")
	if _, err := s.Answer(q, "KL"); err != nil {
		t.Fatal(err)
	}
	put(strings.Replace(wanted, "MB", "JJ", 1))
	if err := s.WriteAmended("x", "y"); err == nil || w.read(AmendmentsFile) != nil {
		t.Error(err)
	}
	if _, err := w.open().Resume(); err == nil || !strings.Contains(err.Error(), "changed meanwhile") {
		t.Error(err)
	}
}

// TestPlanted: a link in the place of a file of ours is not followed, and what it names is
// not touched; no answer counts that could not be kept.
func TestPlanted(t *testing.T) {
	w := newSite(t, t.TempDir(), "Europe/Berlin")
	own := filepath.Join(t.TempDir(), "own")
	if err := os.WriteFile(own, []byte("{}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(own, filepath.Join(w.dir, File)); err != nil {
		t.Skip("no links here")
	}
	if _, err := w.open().Resume(); err == nil {
		t.Error("a link was read")
	}
	s := w.open().New()
	var disk *DiskError
	if _, err := step(s, answers[0]); !errors.As(err, &disk) || s.Subject() != "" {
		t.Errorf("%v, and %q counts", err, s.Subject())
	}
	if err := os.Remove(filepath.Join(w.dir, File)); err != nil {
		t.Fatal(err)
	}
	w.steps(s, answers...)
	if _, err := s.Write(); err != nil {
		t.Fatal(err)
	}
	if err := os.Link(own, filepath.Join(w.dir, AmendmentsFile)); err != nil {
		t.Skip("no hard links here")
	}
	s, err := w.open().Amend("sessions/0001.json")
	if err != nil {
		t.Fatal(err)
	}
	q, _ := s.At("/operator")
	if _, err := s.Answer(q, "KL"); err != nil {
		t.Fatal(err)
	}
	if err := s.WriteAmended("x", "y"); err == nil || string(w.read("sessions/0001.json")) != wanted {
		t.Errorf("the record was changed without an entry in the log: %v", err)
	}
	if data, err := os.ReadFile(own); err != nil || string(data) != "{}\n" {
		t.Errorf("what a link names was changed: %s %v", data, err)
	}
}

// TestKeptLaw: whatever is answered, taken back, corrected, removed, in any order: what a
// later run reads is what this one has.
func TestKeptLaw(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(t.TempDir(), "")
		if err != nil {
			t.Fatal(err)
		}
		w := newSite(t, dir, "Europe/Berlin")
		s := w.open().New()
		line := rapid.SampledFrom(append([]string{"TB-1", "TB-2", "C", "12", "-", "?", "2026-03-01 10:00", "x y", "7"},
			answers...))
		for range rapid.IntRange(1, 15).Draw(rt, "acts") {
			switch rapid.IntRange(0, 9).Draw(rt, "act") {
			case 0:
				_, err = s.Back()
			case 1:
				lists := s.Lists()
				_ = s.Remove(rapid.SampledFrom(lists).Draw(rt, "list"), rapid.IntRange(0, 3).Draw(rt, "entry"))
			case 2:
				items := s.Items()
				if q, ok := s.At(rapid.SampledFrom(items).Draw(rt, "item").Pointer); ok {
					_, _ = s.Answer(q, line.Draw(rt, "line"))
				}
			case 3:
				if q, ok := s.Add(rapid.SampledFrom(s.Lists()).Draw(rt, "list")); ok {
					_, _ = s.Answer(q, line.Draw(rt, "line"))
				}
			default:
				_, _ = step(s, line.Draw(rt, "line"))
			}
			if err != nil {
				rt.Fatal(err)
			}
		}
		again, err := w.open().Resume()
		if err != nil {
			rt.Fatal(err)
		}
		if again == nil {
			again = w.open().New()
		}
		if a, b := s.record().Encode(), again.record().Encode(); !bytes.Equal(a, b) {
			rt.Fatalf("here\n%s\nin a later run\n%s", a, b)
		}
		if a, b := s.Next(), again.Next(); a.Pointer != b.Pointer || a.Kind != b.Kind {
			rt.Fatalf("%q is asked, in a later run %q", a.Pointer, b.Pointer)
		}
	})
}

// FuzzKept: whatever stands in the file is used as a whole or refused.
func FuzzKept(f *testing.F) {
	f.Add([]byte(`{"begun":"2026-03-02T08:00:00Z","steps":[{"at":"/operator","value":"\"MB\""},{"done":"/tubes"}]}`))
	f.Add([]byte(`{"steps":[{"at":"/tubes/3/barcode","value":"1"},{"drop":"/tubes/0"},{"at":"/operator"}]}`))
	f.Add([]byte(`{"steps":[{"at":"/tubes/999/barcode","value":"{}"}]}`))
	f.Add([]byte(`{"amends":"sessions/0001.json","before":"","steps":null}`))
	w := newSite(f, f.TempDir(), "Europe/Berlin")
	if err := os.WriteFile(filepath.Join(w.dir, "sessions", "0001.json"), []byte(wanted), 0o600); err != nil {
		f.Fatal(err)
	}
	d := w.open()
	f.Fuzz(func(t *testing.T, data []byte) {
		if err := os.WriteFile(filepath.Join(w.dir, File), data, 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := d.Resume()
		if err != nil {
			return
		}
		s.Problems()
		s.Next()
		for _, i := range s.Items() {
			if o, field := s.find(i.Pointer); o == nil || field != i.Field {
				t.Errorf("%s has no place in the plan", i.Pointer)
			}
		}
	})
}

// FuzzAmendments: every line is counted, as a change or as one that cannot be read.
func FuzzAmendments(f *testing.F) {
	f.Add([]byte(`{"record":"sessions/0001.json"}` + "\n" + `{"rec`))
	f.Add([]byte("\n\n{}\nnull\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		list, torn := ParseAmendments(data)
		n := torn
		for _, a := range list {
			n += a.Values
			if !sessionlog.IsRecordFile(a.Record) {
				t.Errorf("%q is no record", a.Record)
			}
		}
		want := 0
		for line := range bytes.Lines(data) {
			if len(bytes.TrimSpace(line)) > 0 {
				want++
			}
		}
		if n != want {
			t.Errorf("%d of %d lines", n, want)
		}
	})
}

// TestOwnPlan: a study's own plan is asked for as well: what it requires comes before the
// review, what it lists is taken by number.
func TestOwnPlan(t *testing.T) {
	w := newSite(t, t.TempDir(), "Europe/Berlin")
	data, err := os.ReadFile("../session.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	own := strings.Replace(string(data), `"outcome", "fraction"`, `"outcome", "fasting", "breaths", "arm", "fraction"`, 1)
	own = strings.Replace(own, `    "kit": {`, `    "fasting": {"type": "boolean", "deid": "keep", "why": "It changes breath."},
    "breaths": {"type": "integer", "minimum": 1, "maximum": 999, "deid": "keep", "why": "It counts."},
    "arm": {"enum": [1, 2, 10], "deid": "keep", "why": "The laboratory compares arms."},
    "kit": {`, 1)
	study := `{"study":"LARK-2","site":"WEIR","contact":"Weir Road 1","zone":"Europe/Berlin","plan":"own.json"}`
	for name, text := range map[string]string{"own.json": own, "study.json": study} {
		if err := os.WriteFile(filepath.Join(w.dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s := w.open().New()
	given := map[string]string{"/fasting": "y", "/breaths": "12", "/arm": "10", "/session_id": "V1", "/operator": "MB",
		"/fraction": "1", "/sampler/serial": "S-1", "/outcome": "1", subjectAt: "LARK2-WEIR-001",
		"/tubes/0/position": "A", "/tubes/0/volume_ml": "500", "/tubes/0/storage": "1"}
	scans := []string{"TB-1", ""}
	for range 40 {
		q := s.Next()
		if q.Kind == Review {
			break
		}
		line := given[q.Pointer] // nothing for a time: now
		if q.Kind == Scan {
			line, scans = scans[0], scans[1:]
		}
		w.steps(s, line)
	}
	q, _ := s.At("/breaths")
	if _, err := s.Answer(q, "12,5"); err == nil {
		t.Error("half a breath was taken")
	}
	file, err := s.Write()
	if err != nil {
		t.Fatal(err, s.Problems())
	}
	for _, want := range []string{`"fasting": true`, `"breaths": 12`, `"arm": 10`} {
		if !strings.Contains(string(w.read(file)), want) {
			t.Errorf("%s is not in\n%s", want, w.read(file))
		}
	}
	col, err := schema.Load(w.dir)
	if err != nil || len(col.Sessions) != 1 {
		t.Fatal(err, col)
	}
	col.Root.Close()
}
