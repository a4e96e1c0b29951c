package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"outbreath/schema/demo"
)

// runWith carries out one command line with text on standard input.
func runWith(in string, args ...string) (status int, out, errOut string) {
	var o, e strings.Builder
	status = run(context.Background(), args, strings.NewReader(in), &o, &e)
	return status, o.String(), e.String()
}

// A study has two shipments, before and after the pseudonym key was rotated.
type rotated struct {
	dir, week, site, lab string
	subject              string    // of the first record
	pseudonyms           [2]string // in each shipment
	keyIDs               [2]string
}

func (r *rotated) at(name string) string { return filepath.Join(r.dir, name) }

func (r *rotated) must(t *testing.T, args ...string) string {
	t.Helper()
	status, out, errOut := runHere(args...)
	if status != 0 {
		t.Fatalf("%q: exit status %d\n%s%s", args, status, out, errOut)
	}
	return out
}

func newRotated(t *testing.T) *rotated {
	t.Helper()
	r := &rotated{dir: t.TempDir()}
	r.week, r.site, r.lab = r.at("week"), r.at("site"), r.at("lab")
	if err := invent(r.week, smallDemo); err != nil {
		t.Fatal(err)
	}
	if err := makeKeys(r.site, r.lab, demo.Site); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(r.at("stick"), 0o755); err != nil {
		t.Fatal(err)
	}
	r.subject = firstRecord(t, r.week).Subject.ID
	for i, number := range []string{"WEIR-0001", "WEIR-0002"} {
		if i == 1 {
			r.must(t, "keys", "rotate", "--keys", r.site)
		}
		r.must(t, "seal", "--new-number", r.week, "--to", r.at("stick"), "--keys", r.site)
		r.must(t, "open", filepath.Join(r.at("stick"), number), "--into", r.at(number), "--keys", r.lab)
		var ledger struct {
			KeyID string `json:"key_id"`
		}
		data, err := os.ReadFile(filepath.Join(r.at(number), "data", "treatment.json"))
		if err != nil || json.Unmarshal(data, &ledger) != nil {
			t.Fatal(err)
		}
		r.must(t, "verify", filepath.Join(r.at("stick"), number), "--keys", r.lab)
		r.keyIDs[i] = ledger.KeyID
		r.pseudonyms[i] = r.pseudonymIn(t, number)
	}
	return r
}

type subjectRecord struct {
	Subject struct {
		ID string `json:"subject_id"`
	}
	Tubes []struct{ Barcode string }
}

func firstRecord(t *testing.T, dir string) (rec subjectRecord) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "sessions", "*.json"))
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	return readRecord(t, files[0])
}

func readRecord(t *testing.T, file string) (rec subjectRecord) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil || json.Unmarshal(data, &rec) != nil || rec.Subject.ID == "" || len(rec.Tubes) == 0 {
		t.Fatalf("%s: %v", file, err)
	}
	return rec
}

// pseudonymIn finds the subject's pseudonym in an opened shipment by the
// barcode of a tube, as a person would.
func (r *rotated) pseudonymIn(t *testing.T, number string) string {
	t.Helper()
	barcode := firstRecord(t, r.week).Tubes[0].Barcode
	files, _ := filepath.Glob(filepath.Join(r.at(number), "data", "sessions", "*.json"))
	for _, f := range files {
		rec := readRecord(t, f)
		for _, tube := range rec.Tubes {
			if tube.Barcode == barcode {
				return rec.Subject.ID
			}
		}
	}
	t.Fatal("the tube is in no record of the shipment")
	return ""
}

// TestRotation: shipments before and after are accepted, name their key, and
// are found by trace and withdraw.
func TestRotation(t *testing.T) {
	t.Parallel()
	r := newRotated(t)
	if r.keyIDs[0] == r.keyIDs[1] || r.pseudonyms[0] == r.pseudonyms[1] {
		t.Fatalf("rotation changed nothing: keys %v, pseudonyms %v", r.keyIDs, r.pseudonyms)
	}
	for i, p := range r.pseudonyms {
		out := r.must(t, "trace", r.week, strings.ToLower(p), "--reason", "incidental finding", "--keys", r.site,
			"--json")
		var found traceResult
		if err := json.Unmarshal([]byte(out), &found); err != nil || found.SubjectID != r.subject ||
			found.KeyID != r.keyIDs[i] || found.Kind != "subject" || len(found.Records) == 0 {
			t.Errorf("trace: %s", out)
		}
	}
	log, err := os.ReadFile(filepath.Join(r.week, "custody.jsonl"))
	if err != nil || strings.Count(string(log), `"what":"traced"`) != 2 || strings.Contains(string(log), r.subject) {
		t.Errorf("the log does not hold who asked, or names the subject: %v\n%s", err, log)
	}

	notice := r.at("notice.json")
	status, out, errOut := runWith(strings.ToLower(r.subject)+"\n", "withdraw", r.week, "--reason",
		"consent withdrawn in writing", "--to", notice, "--keys", r.site, "--json")
	var w withdrawResult
	if status != 0 || json.Unmarshal([]byte(out), &w) != nil {
		t.Fatalf("withdraw: exit status %d\n%s%s", status, out, errOut)
	}
	if !slices.Equal(w.Shipments, []string{"WEIR-0001", "WEIR-0002"}) || len(w.Unlisted) != 0 ||
		!slices.Equal(w.Pseudonyms, []string{r.pseudonyms[1], r.pseudonyms[0]}) {
		t.Errorf("withdraw: %+v", w)
	}
	var barcodes []string
	files, _ := filepath.Glob(filepath.Join(r.week, "sessions", "*.json"))
	for _, f := range files {
		if rec := readRecord(t, f); rec.Subject.ID == r.subject {
			for _, tube := range rec.Tubes {
				barcodes = append(barcodes, tube.Barcode)
			}
		}
	}
	slices.Sort(barcodes)
	if !slices.Equal(w.Tubes, barcodes) {
		t.Errorf("tubes %q, not %q", w.Tubes, barcodes)
	}
	text, err := os.ReadFile(notice)
	if err != nil {
		t.Fatal(err)
	}
	var members map[string]any
	if err := json.Unmarshal(text, &members); err != nil || strings.Contains(string(text), r.subject) ||
		strings.Contains(string(text), "writing") {
		t.Errorf("the notice: %v\n%s", err, text)
	}
	if got := sortedKeys(members); !slices.Equal(got, []string{"format", "pseudonyms", "shipments", "site", "study",
		"tubes"}) {
		t.Errorf("members of the notice: %q", got)
	}

	r.must(t, "seal", "--new-number", r.week, "--to", r.at("stick"), "--keys", r.site)
	r.must(t, "open", filepath.Join(r.at("stick"), "WEIR-0003"), "--into", r.at("third"), "--keys", r.lab)
	left, _ := filepath.Glob(filepath.Join(r.at("third"), "data", "sessions", "*.json"))
	if len(left) == 0 {
		t.Fatal("nothing was left to seal")
	}
	for _, f := range left {
		if rec := readRecord(t, f); slices.Contains(r.pseudonyms[:], rec.Subject.ID) {
			t.Errorf("%s is of the subject who withdrew", filepath.Base(f))
		}
	}
	if status, _, _ := runHere("custody", r.week, "--check", "--keys", r.site); status != 0 {
		t.Errorf("custody --check: exit status %d", status)
	}

	if _, err := exec.LookPath("ssh-keygen"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("ssh-keygen is needed")
		}
		t.Skip("no ssh-keygen")
	}
	check := exec.Command("ssh-keygen", "-Y", "verify", "-f", filepath.Join(r.lab, "allowed_signers"), "-I", demo.Site,
		"-n", "notice@outbreath", "-s", notice+".sig")
	check.Stdin = strings.NewReader(string(text))
	if out, err := check.CombinedOutput(); err != nil {
		t.Errorf("ssh-keygen refuses the notice: %v\n%s", err, out)
	}
}

// TestLinkage: the list joins the pseudonyms of both keys, for the laboratory's
// eyes alone.
func TestLinkage(t *testing.T) {
	r := newRotated(t)
	list := r.at("linkage.age")
	r.must(t, "keys", "rotate", "--linkage", list, "--collection", r.week, "--reason", "the analysis joins both halves",
		"--keys", r.site)
	age := exec.Command("go", "tool", "age", "-d", "-i", filepath.Join(r.lab, "identity.txt"), list)
	age.Stderr = os.Stderr
	out, err := age.Output()
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(string(out))).ReadAll()
	if err != nil || len(rows) != smallDemo.Subjects+1 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	if !slices.ContainsFunc(rows, func(row []string) bool { return slices.Equal(row, r.pseudonyms[:]) }) {
		t.Errorf("the list does not join %v", r.pseudonyms)
	}
	if log, _ := os.ReadFile(filepath.Join(r.week, "custody.jsonl")); !strings.Contains(string(log),
		`"what":"linkage"`) {
		t.Error("the list is not in the log")
	}
}

// TestWithdrawnEverywhere: who withdrew in one week's folder is in no seal, count,
// page or list of another's, before and after the key was rotated; trace still
// answers, and says so.
func TestWithdrawnEverywhere(t *testing.T) {
	t.Parallel()
	r := newRotated(t)
	next := r.at("next")
	if err := invent(next, smallDemo); err != nil {
		t.Fatal(err)
	}
	anotherWeek(t, next, "N")
	writeNotes(t, next, r.subject, "wears a hat that nobody else wears")
	all := recordsOfCheck(t, r, next)
	if status, out, errOut := runWith(r.subject+"\n", "withdraw", r.week, "--reason", "consent withdrawn in writing",
		"--to", r.at("notice.json"), "--keys", r.site); status != 0 {
		t.Fatalf("exit status %d\n%s%s", status, out, errOut)
	}
	mine := 0
	records, _ := filepath.Glob(filepath.Join(next, "sessions", "*.json"))
	for _, f := range records {
		if readRecord(t, f).Subject.ID == r.subject {
			mine++
		}
	}
	if left := recordsOfCheck(t, r, next); mine == 0 || left != all-mine {
		t.Errorf("check counts %d records of %d, %d of the subject", left, all, mine)
	}
	r.must(t, "seal", next, "--to", r.at("stick"), "--keys", r.site)
	r.must(t, "open", filepath.Join(r.at("stick"), "WEIR-0003"), "--into", r.at("third"), "--keys", r.lab)
	sealed, _ := filepath.Glob(filepath.Join(r.at("third"), "data", "sessions", "*.json"))
	if len(sealed) != all-mine {
		t.Errorf("%d records were sealed of %d", len(sealed), all)
	}
	for _, f := range sealed {
		if slices.Contains(r.pseudonyms[:], readRecord(t, f).Subject.ID) {
			t.Errorf("%s is of the subject who withdrew", filepath.Base(f))
		}
	}
	out := r.must(t, "audit", next, "--report", r.at("page.html"), "--keys", r.site, "--json")
	var doc struct {
		Records int
		Risk    struct{ Subjects int }
		Attacks []struct {
			Unit  string
			Tried int
		}
	}
	page, err := os.ReadFile(r.at("page.html"))
	if err != nil || json.Unmarshal([]byte(out), &doc) != nil || doc.Records != all-mine {
		t.Errorf("the audit counts %d records of %d, %v", doc.Records, all, err)
	}
	if doc.Risk.Subjects != smallDemo.Subjects-1 || strings.Contains(string(page), "nobody else wears") {
		t.Errorf("the audit counts %d subjects of %d, or the page has a text of who withdrew", doc.Risk.Subjects,
			smallDemo.Subjects)
	}
	for _, a := range doc.Attacks {
		if a.Unit == "subjects" && a.Tried >= smallDemo.Subjects {
			t.Errorf("an attack was tried on %d subjects of %d", a.Tried, smallDemo.Subjects)
		}
	}
	for _, p := range r.pseudonyms {
		if strings.Contains(string(page), p) {
			t.Error("the page has a pseudonym of the subject who withdrew")
		}
	}
	r.must(t, "keys", "rotate", "--keys", r.site)
	r.must(t, "keys", "rotate", "--linkage", r.at("list"), "--collection", next, "--reason",
		"the analysis joins both halves", "--keys", r.site)
	age := exec.Command("go", "tool", "age", "-d", "-i", filepath.Join(r.lab, "identity.txt"), r.at("list"))
	list, err := age.Output()
	if err != nil {
		t.Fatal(err)
	}
	if rows := strings.Count(string(list), "\n"); rows != smallDemo.Subjects ||
		strings.Contains(string(list), r.pseudonyms[1]) {
		t.Errorf("the list has %d lines, or the subject:\n%s", rows, list)
	}
	var found traceResult
	out = r.must(t, "trace", next, r.pseudonyms[0], "--reason", "incidental finding", "--keys", r.site, "--json")
	if err := json.Unmarshal([]byte(out), &found); err != nil || !found.Withdrawn || found.SubjectID != r.subject {
		t.Errorf("trace: %s", out)
	}
}

// writeNotes writes a note into every record of a subject.
func writeNotes(t *testing.T, dir, subject, note string) {
	t.Helper()
	files, _ := filepath.Glob(filepath.Join(dir, "sessions", "*.json"))
	n := 0
	for _, f := range files {
		if readRecord(t, f).Subject.ID != subject {
			continue
		}
		data, err := os.ReadFile(f)
		var doc map[string]any
		if err != nil || json.Unmarshal(data, &doc) != nil {
			t.Fatal(err)
		}
		doc["notes"] = note
		if data, err = json.Marshal(doc); err != nil {
			t.Fatal(err)
		}
		write(t, f, data)
		n++
	}
	if n == 0 {
		t.Fatal("the subject has no record")
	}
}

func recordsOfCheck(t *testing.T, r *rotated, dir string) int {
	t.Helper()
	_, out, errOut := runHere("check", dir, "--keys", r.site, "--json")
	var doc struct{ Records int }
	if err := json.Unmarshal([]byte(out), &doc); err != nil || doc.Records == 0 {
		t.Fatalf("%v: %s%s", err, out, errOut)
	}
	return doc.Records
}
