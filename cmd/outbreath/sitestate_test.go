package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/schema/demo"
	"outbreath/schema/demo/planting"
)

// tinyDemo is quick to seal hundreds of times.
var tinyDemo = demo.Options{Seed: 11, Subjects: 3, Sessions: 4, RecordingSeconds: 5, SampleHz: 2, NoEDF: true,
	Start: time.Now().AddDate(0, 0, -10)}

// A history is a site that has decided, sealed and withdrawn, with a copy of
// collection and key folder after each step.
type history struct {
	*job
	steps   []string // what was done
	gone    string   // the subject who withdrew
	media   int
	present map[string][]byte // the collection's files that the program writes
}

// copies of a step lie in dir/after-N/collection and site.
func (h *history) after(step int, name string) string {
	return filepath.Join(h.dir, fmt.Sprintf("after-%d", step), name)
}

// medium makes an empty folder in place of a stick.
func (h *history) medium(t *testing.T) string {
	t.Helper()
	h.media++
	dir := h.at(fmt.Sprintf("stick-%d", h.media))
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

// copyFolder copies a folder of plain files, modes and all; to must not exist.
func copyFolder(t testing.TB, from, to string) {
	t.Helper()
	if err := os.RemoveAll(to); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	if err := filepath.WalkDir(from, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(from, path)
		return os.Chmod(filepath.Join(to, rel), info.Mode().Perm())
	}); err != nil {
		t.Fatal(err)
	}
}

// ours are the files that the program writes in a collection.
func ours(t testing.TB, dir string) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), "custody.") || e.Name() == reviewFile {
			if out[e.Name()], err = os.ReadFile(filepath.Join(dir, e.Name())); err != nil {
				t.Fatal(err)
			}
		}
	}
	return out
}

// put makes the collection's own files those of all, and no others.
func put(t testing.TB, dir string, all map[string][]byte) {
	t.Helper()
	for name := range ours(t, dir) {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	for name, data := range all {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

func newHistory(t *testing.T) *history {
	t.Helper()
	h := &history{job: newJob(t, tinyDemo)}
	if _, err := planting.Put(h.collection, planting.Identifier{Place: planting.InNotes,
		Session: h.truth.Sessions[0].File, Row: 1, Column: "family_name"}); err != nil {
		t.Fatal(err)
	}
	if _, err := planting.Put(h.collection, planting.Identifier{Place: planting.InNotes,
		Session: h.truth.Sessions[2].File, Row: 1, Column: "family_name"}); err != nil {
		t.Fatal(err)
	}
	h.gone = firstRecord(t, h.collection).Subject.ID
	step := func(name, in string, args ...string) {
		t.Helper()
		if status, out, errOut := runWith(in, append(args, "--keys", h.site)...); status != 0 && args[0] != "review" &&
			args[0] != "trace" {
			t.Fatalf("%s: exit status %d\n%s%s", name, status, out, errOut)
		}
		h.steps = append(h.steps, name)
		n := len(h.steps) - 1
		copyFolder(t, h.collection, h.after(n, "collection"))
		copyFolder(t, h.site, h.after(n, "site"))
	}
	for i, action := range []string{"keep", "redact"} {
		step("decision "+action, "", "review", h.collection, "--decide", h.finding(t, i)+"="+action, "--reason",
			"seen with the nurse", "--by", "Q. Queries")
	}
	step("seal", "", "seal", h.collection, "--to", h.medium(t))
	step("withdrawal", h.gone+"\n", "withdraw", h.collection, "--reason", "consent withdrawn", "--to", h.at("notice"))
	step("seal without the subject", "", "seal", h.collection, "--to", h.medium(t), "--new-number")
	step("trace", "", "trace", h.collection, "0000-0000-0000-0000-9", "--reason", "finding")
	step("rotation", "", "keys", "rotate")
	step("number given up", "", "custody", h.collection, "--give-up", "9", "--reason", "mislabelled")
	h.present = ours(t, h.collection)
	return h
}

// finding returns the id of the i-th finding, decided or not.
func (h *history) finding(t *testing.T, i int) string {
	t.Helper()
	_, out, errOut := runHere("review", h.collection, "--keys", h.site, "--json")
	var doc struct{ Leaks []struct{ ID string } }
	if err := json.Unmarshal([]byte(out), &doc); err != nil || len(doc.Leaks) != 2 {
		t.Fatalf("%v: %s%s", err, out, errOut)
	}
	return doc.Leaks[i].ID
}

// remade chains entries anew, as anybody can who knows how: without the site's key.
func remade(t *testing.T, entries []custody.Entry) []byte {
	t.Helper()
	dir := t.TempDir()
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	j, err := custody.Read(root, custodyFile)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		e.Facts = maps.Clone(e.Facts)
		if err := j.Append(e); err != nil {
			t.Fatal(err)
		}
	}
	data, err := os.ReadFile(filepath.Join(dir, custodyFile))
	if err != nil && len(entries) > 0 {
		t.Fatal(err)
	}
	return data
}

func entriesOf(t *testing.T, dir string) []custody.Entry {
	t.Helper()
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	j, err := custody.Read(root, custodyFile)
	if err != nil {
		t.Fatal(err)
	}
	return j.Entries
}

// refused wants every command that reads or adds to tell what is wrong, status 3,
// and nothing to be sealed, signed or written.
func (h *history) refused(t *testing.T, what string, all map[string][]byte, commands ...[]string) {
	t.Helper()
	put(t, h.collection, all)
	stick := h.at("stick-forged")
	if err := os.MkdirAll(stick, 0o755); err != nil {
		t.Fatal(err)
	}
	state := files(t, h.site)
	if commands == nil {
		commands = [][]string{{"custody", h.collection}, {"seal", h.collection, "--to", stick, "--new-number"}}
	}
	for _, args := range commands {
		status, out, errOut := runHere(append(args, "--keys", h.site)...)
		if status != exitRejected || errOut == "" {
			t.Errorf("%s: %s: exit status %d\n%s%s", what, args[0], status, out, errOut)
		}
	}
	if left, _ := os.ReadDir(stick); len(left) != 0 {
		t.Fatalf("%s: sealed: %v", what, left)
	}
	if now := ours(t, h.collection); !maps.EqualFunc(now, all, bytes.Equal) {
		t.Errorf("%s: the collection was written to", what)
	}
	if now := files(t, h.site); !maps.EqualFunc(now, state, bytes.Equal) {
		t.Errorf("%s: the key folder was written to", what)
	}
}

// bothWays tries a changed set with the signature that lies there, and without one.
func (h *history) bothWays(t *testing.T, what string, name string, data []byte) (tried int) {
	t.Helper()
	all := maps.Clone(h.present)
	if data == nil {
		delete(all, name)
	} else {
		all[name] = data
	}
	h.refused(t, what, all)
	if _, signed := all[custodyFile+".sig"]; signed {
		all = maps.Clone(all)
		delete(all, custodyFile+".sig")
		h.refused(t, what+", signature deleted", all)
		tried++
	}
	return tried + 1
}

// TestForgedLog: every truncation, edit with a chain that was made anew, swap,
// removal and insertion of custody.jsonl, by somebody without the key.
func TestForgedLog(t *testing.T) {
	t.Parallel()
	h := newHistory(t)
	whole := h.present[custodyFile]
	lines := slices.Collect(bytes.Lines(whole))
	entries := entriesOf(t, h.collection)
	tried := 0
	for i := range lines {
		head := bytes.Join(lines[:i], nil)
		tried += h.bothWays(t, fmt.Sprintf("cut to %d lines", i), custodyFile, append([]byte{}, head...))
		tried += h.bothWays(t, fmt.Sprintf("cut within line %d", i+1), custodyFile, append(bytes.Clone(head),
			lines[i][:len(lines[i])/2]...))
	}
	tried += h.bothWays(t, "removed", custodyFile, nil)
	for i := range entries {
		for k, c := range edits(entries[i]) {
			if !full() && (i+k)%3 != 0 { // OUTBREATH_FULL=1 makes all of them
				continue
			}
			changed := slices.Clone(entries)
			changed[i] = c.e
			tried += h.bothWays(t, fmt.Sprintf("entry %d: %s", i+1, c.what), custodyFile, remade(t, changed))
		}
		tried += h.bothWays(t, fmt.Sprintf("entry %d removed", i+1), custodyFile,
			remade(t, slices.Delete(slices.Clone(entries), i, i+1)))
		more := entries[i]
		more.What, more.Why = "sealed", "put in"
		tried += h.bothWays(t, fmt.Sprintf("put in before entry %d", i+1), custodyFile,
			remade(t, slices.Insert(slices.Clone(entries), i, more)))
		if i > 0 {
			swapped := slices.Clone(entries)
			swapped[i-1], swapped[i] = swapped[i], swapped[i-1]
			tried += h.bothWays(t, fmt.Sprintf("entries %d and %d swapped", i, i+1), custodyFile, remade(t, swapped))
		}
	}
	more := entries[0]
	more.What, more.Why = "sealed", "put at the end"
	tried += h.bothWays(t, "put at the end", custodyFile, remade(t, append(slices.Clone(entries), more)))

	put(t, h.collection, h.present)
	must(t, "custody", h.collection, "--check", "--keys", h.site)
	if t.Logf("%d forgeries of %d entries", tried, len(entries)); tried < 180 {
		t.Errorf("only %d were tried", tried)
	}
}

type edit struct {
	what string
	e    custody.Entry
}

// edits changes each field of an entry, one at a time.
func edits(e custody.Entry) (all []edit) {
	add := func(what string, change func(*custody.Entry)) {
		c := e
		c.Facts = maps.Clone(e.Facts)
		change(&c)
		all = append(all, edit{what, c})
	}
	add("another time", func(c *custody.Entry) { c.When = c.When.Add(time.Second) })
	add("another person", func(c *custody.Entry) { c.Who += "x" })
	add("another act", func(c *custody.Entry) { c.What = "noted" })
	add("another shipment", func(c *custody.Entry) { c.Shipment = "WEIR-0077" })
	add("another reason", func(c *custody.Entry) { c.Why += "x" })
	for name, value := range e.Facts {
		add("fact "+name, func(c *custody.Entry) { c.Facts[name] = value + "0" })
		add("no fact "+name, func(c *custody.Entry) { delete(c.Facts, name) })
	}
	return all
}

// TestForgedDecisions: every change of review.jsonl, with and without the log's
// signature; the audit never signs one.
func TestForgedDecisions(t *testing.T) {
	t.Parallel()
	h := newHistory(t)
	whole := h.present[reviewFile]
	lines := slices.Collect(bytes.Lines(whole))
	if len(lines) != 2 {
		t.Fatalf("%s", whole)
	}
	forged := map[string][]byte{"removed": nil, "swapped": slices.Concat(lines[1], lines[0]),
		"one doubled": slices.Concat(whole, lines[0])}
	for i := range lines {
		forged[fmt.Sprintf("line %d removed", i+1)] = slices.Concat(slices.Delete(slices.Clone(lines), i, i+1)...)
		head := slices.Concat(lines[:i]...)
		forged[fmt.Sprintf("cut within line %d", i+1)] = append(bytes.Clone(head), lines[i][:20]...)
		for old, now := range map[string]string{"Q. Queries": "R. Queries", "nurse": "doctor", `"keep"`: `"redact"`,
			`"redact"`: `"keep"`, time.Now().UTC().Format("2006-"): "1999-", `"id":"`: `"id":"A`} {
			if edited := bytes.Replace(lines[i], []byte(old), []byte(now), 1); !bytes.Equal(edited, lines[i]) {
				all := slices.Clone(lines)
				all[i] = edited
				forged[fmt.Sprintf("line %d: %s", i+1, now)] = slices.Concat(all...)
			}
		}
	}
	forged["emptied"] = []byte{}
	tried := 0
	for what, data := range forged {
		tried += h.bothWays(t, what, reviewFile, data)
	}
	all := maps.Clone(h.present)
	all[reviewFile] = forged["swapped"]
	h.refused(t, "all commands", all, []string{"check", h.collection}, []string{"review", h.collection},
		[]string{"audit", h.collection, "--report", h.at("page.html")},
		[]string{"trace", h.collection, "0000-0000-0000-0000-9", "--reason", "x"}, []string{"custody", h.collection,
			"--check"},
		[]string{"keys", "rotate", "--linkage", h.at("list"), "--collection", h.collection, "--reason", "x"},
		[]string{"custody", h.collection, "--settle", "1", "--reason", "x"}, []string{"custody", h.collection,
			"--give-up", "8", "--reason", "x"}, []string{"custody", h.collection, "--repair"})
	for _, name := range []string{"page.html", "page.html.sig", "list", "list.sig"} {
		if _, err := os.Lstat(h.at(name)); err == nil {
			t.Errorf("%s was written", name)
		}
	}
	if t.Logf("%d forgeries", tried); tried < 30 {
		t.Errorf("only %d were tried", tried)
	}
	// The decisions of a log whose last entry they are: a run that was killed may have
	// left them out, and they are taken from the log, which cannot be forged.
	copyFolder(t, h.after(1, "collection"), h.collection)
	copyFolder(t, h.after(1, "site"), h.site)
	write(t, filepath.Join(h.collection, reviewFile), lines[0])
	must(t, "audit", h.collection, "--keys", h.site, "--json")
	_, _, errOut := runHere("seal", h.collection, "--to", h.medium(t), "--keys", h.site)
	if !strings.Contains(errOut, "remark: review.jsonl lacked the decisions of the last entry of custody.jsonl") {
		t.Errorf("not told: %s", errOut)
	}
	if data, err := os.ReadFile(filepath.Join(h.collection, reviewFile)); err != nil || !bytes.Equal(data, whole) {
		t.Errorf("%v\n%s", err, data)
	}
}

// TestForgedSignature: a signature that is gone, damaged, older, or another's.
func TestForgedSignature(t *testing.T) {
	t.Parallel()
	h := newHistory(t)
	name := custodyFile + ".sig"
	good := h.present[name]
	forged := map[string][]byte{"deleted": nil, "emptied": {}, "cut": good[:len(good)/2], "nonsense": []byte("x\n")}
	for i := range h.steps {
		if old, err := os.ReadFile(filepath.Join(h.after(i, "collection"), name)); err == nil &&
			!bytes.Equal(old, good) {
			forged["of step "+h.steps[i]] = old
		}
	}
	must(t, "keys", "new", "--role", "site", "--name", demo.Site, "--no-passphrase", "--keys", h.at("stranger"))
	stranger, err := keys.Open(h.at("stranger"), nil)
	if err != nil {
		t.Fatal(err)
	}
	if forged["a stranger's"], err = stranger.Sign("custody@outbreath", h.present[custodyFile]); err != nil {
		t.Fatal(err)
	}
	for what, data := range forged {
		all := maps.Clone(h.present)
		if all[name] = data; data == nil {
			delete(all, name)
		}
		h.refused(t, what, all)
	}
	if len(forged) < 10 {
		t.Errorf("only %d were tried", len(forged))
	}
}

// TestForgedState: every seventh byte of the state file changed, cut at many
// places, of another study, and put back from each earlier step.
func TestForgedState(t *testing.T) {
	t.Parallel()
	h := newHistory(t)
	path := filepath.Join(h.site, "state-"+demo.Study)
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	tried := 0
	with := func(what string, data []byte) {
		t.Helper()
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		h.refused(t, what, h.present, []string{"custody", h.collection})
		tried++
	}
	for at := 0; at < len(good); at += 29 {
		changed := bytes.Clone(good)
		changed[at] ^= 4
		with(fmt.Sprintf("byte %d", at), changed)
	}
	for _, n := range []int{0, 1, len(good) / 3, len(good) - 1} {
		with(fmt.Sprintf("cut to %d", n), good[:n])
	}
	for i := range h.steps[:len(h.steps)-1] {
		old, err := os.ReadFile(filepath.Join(h.after(i, "site"), "state-"+demo.Study))
		if err != nil {
			t.Fatal(err)
		}
		with("of step "+h.steps[i], old)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	h.refused(t, "removed", h.present)
	if t.Logf("%d forgeries", tried); tried < 60 {
		t.Errorf("only %d were tried", tried)
	}
	if err := os.WriteFile(path, good, 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "custody", h.collection, "--check", "--keys", h.site)
}

// TestRestoredBackup: the collection as it was after each step, as a backup has it:
// told, and after an officer has recorded it, whoever withdrew stays left out and
// no number is given twice.
func TestRestoredBackup(t *testing.T) {
	t.Parallel()
	h := newHistory(t)
	copyFolder(t, h.site, h.at("site-now"))
	for i, step := range h.steps {
		copyFolder(t, h.at("site-now"), h.site)
		copyFolder(t, h.after(i, "collection"), h.collection)
		old := ours(t, h.collection)
		if maps.EqualFunc(old, h.present, bytes.Equal) {
			continue // the last one
		}
		if len(h.present[custodyFile]) == len(old[custodyFile]) { // a step that left the collection as it was
			continue
		}
		h.refused(t, "as after "+step, old)
		bare := maps.Clone(old)
		delete(bare, custodyFile+".sig")
		h.refused(t, "as after "+step+", unsigned", bare)
		if again, _, _ := runHere("seal", h.collection, "--to", h.medium(t), "--again", "1", "--keys",
			h.site); again != exitRejected {
			t.Errorf("after %s: --again 1: exit status %d", step, again)
		}
		must(t, "custody", h.collection, "--restored", "--reason", "disk broke", "--by", "O. Officer", "--keys", h.site)
		must(t, "custody", h.collection, "--check", "--keys", h.site)
		status, _, errOut := runHere("seal", h.collection, "--to", h.medium(t), "--again", "1", "--keys", h.site)
		if status != exitUsage || !strings.Contains(errOut, "a subject who has withdrawn") ||
			!strings.Contains(errOut, "--new-number") {
			t.Errorf("after %s: --again 1 of a shipment with the subject: exit status %d: %s", step, status, errOut)
		}
		h.decideAll(t)
		stick := h.medium(t)
		must(t, "seal", h.collection, "--to", stick, "--new-number", "--keys", h.site)
		h.without(t, stick, "WEIR-0010") // 9 was given up
		last := entriesOf(t, h.collection)
		if i := slices.IndexFunc(last, func(e custody.Entry) bool { return e.What == "restored" }); i < 0 ||
			last[i].Who != "O. Officer" || last[i].Why != "disk broke" {
			t.Errorf("after %s: the log does not say who and why", step)
		}
	}
}

// decideAll redacts what is open; the key was rotated, so that decisions are asked anew.
func (h *history) decideAll(t *testing.T) {
	t.Helper()
	_, out, _ := runHere("review", h.collection, "--keys", h.site, "--json")
	var doc struct {
		Leaks []struct{ ID, Decision string }
	}
	if err := json.Unmarshal([]byte(out), &doc); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	for _, l := range doc.Leaks {
		if l.Decision == "" {
			runHere("review", h.collection, "--keys", h.site, "--decide", l.ID+"=redact")
		}
	}
}

// without opens a shipment and wants no tube of the subject who withdrew in it.
func (h *history) without(t *testing.T, stick, number string) {
	t.Helper()
	must(t, "keys", "trust", filepath.Join(h.site, "public-keys.txt"), "--keys", h.lab)
	into := filepath.Join(stick, "..", filepath.Base(stick)+"-opened")
	must(t, "open", filepath.Join(stick, number), "--into", into, "--keys", h.lab)
	table, err := os.ReadFile(filepath.Join(into, "data", "tubes.csv"))
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, s := range h.truth.Sessions {
		for _, b := range s.Tubes {
			switch in := bytes.Contains(table, []byte(b)); {
			case h.truth.Roster[s.Row]["subject_id"] == h.gone && in:
				t.Errorf("%s holds tube %s of the subject who withdrew", number, b)
			case in:
				seen++
			}
		}
	}
	if seen == 0 {
		t.Errorf("%s holds no tube at all", number)
	}
}
