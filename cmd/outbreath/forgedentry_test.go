package main

import (
	"bytes"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"outbreath/pack/custody"
	"outbreath/schema/demo"
)

// TestForgedEntryIsNamed: an entry that somebody chained to the log without the key is
// told as that, never as a key folder that is too old; an officer who takes the log
// for the present one is shown it, and the log says which entries nobody had signed.
func TestForgedEntryIsNamed(t *testing.T) {
	t.Parallel()
	h := newHistory(t)
	entries := entriesOf(t, h.collection)
	forged := entries[0]
	forged.What, forged.Who, forged.Why = "sealed", "Nobody", "put at the end"
	all := maps.Clone(h.present)
	all[custodyFile] = remade(t, append(slices.Clone(entries), forged))
	put(t, h.collection, all)
	status, _, errOut := runHere("custody", h.collection, "--keys", h.site)
	if status != exitRejected || !strings.Contains(errOut, "nobody has signed the last 1 entry of custody.jsonl") ||
		strings.Contains(errOut, "is older") {
		t.Errorf("exit status %d: %s", status, errOut)
	}
	out := must(t, "custody", h.collection, "--restored", "--reason", "seen", "--by", "O. Officer", "--keys", h.site)
	for _, want := range []string{"1 entry was neither signed nor known to the key folder", "Nobody",
		"put at the end"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not in\n%s", want, out)
		}
	}
	now := entriesOf(t, h.collection)
	if last := now[len(now)-1]; last.Facts["unproven_entries"] != "10 to 10" || last.Facts["unsigned_before"] != "1" {
		t.Errorf("of %d entries: %v", len(now), last.Facts)
	}
	// Signed entries that the state does not know are the only sign of an old key folder.
	put(t, h.collection, h.present)
	copyFolder(t, h.after(2, "site"), h.site)
	status, _, errOut = runHere("custody", h.collection, "--keys", h.site)
	if status != exitRejected || !strings.Contains(errOut, "the key folder is older than this collection") {
		t.Errorf("an old key folder: exit status %d: %s", status, errOut)
	}
}

// TestRemovedEntry: an entry that was cut from the middle, with the chain made anew, is
// not told as one that is missing from the end.
func TestRemovedEntry(t *testing.T) {
	h := newHistory(t)
	all := maps.Clone(h.present)
	all[custodyFile] = remade(t, slices.Delete(entriesOf(t, h.collection), 3, 4))
	put(t, h.collection, all)
	status, _, errOut := runHere("custody", h.collection, "--keys", h.site)
	if status != exitRejected || !strings.Contains(errOut, "entries are missing or were changed") ||
		strings.Contains(errOut, "from the end") {
		t.Errorf("exit status %d: %s", status, errOut)
	}
	// An honest backup, whose signature fits, lacks its end.
	put(t, h.collection, ours(t, h.after(len(h.steps)-3, "collection")))
	if _, _, errOut := runHere("custody", h.collection, "--keys", h.site); !strings.Contains(errOut,
		"1 entry is missing from the end of custody.jsonl") {
		t.Errorf("%s: %s", filepath.Base(h.collection), errOut)
	}
}

// TestLogOfAnotherCollection: a log that is good in itself and known, but belongs to
// another week: put in this one's place, or copied with the folder.
func TestLogOfAnotherCollection(t *testing.T) {
	t.Parallel()
	h := newHistory(t)
	other := h.at("other-week")
	if _, err := demo.Write(other, tinyDemo); err != nil {
		t.Fatal(err)
	}
	anotherWeek(t, other, "B")
	must(t, "seal", other, "--to", h.medium(t), "--keys", h.site)
	all := ours(t, other)
	all[reviewFile] = h.present[reviewFile]
	h.refused(t, "another collection's log", all, []string{"custody", h.collection, "--check"},
		[]string{"seal", h.collection, "--to", h.at("stick-forged"), "--new-number"})
	put(t, h.collection, ours(t, other))
	if _, _, errOut := runHere("custody", h.collection, "--keys", h.site); !strings.Contains(errOut,
		"belongs to another collection") || !strings.Contains(errOut, "move custody.jsonl, custody.jsonl.sig and "+
		"review.jsonl out") {
		t.Error(errOut)
	}
	must(t, "custody", other, "--check", "--keys", h.site) // the innocent one

	// A folder copied for a new week, log and all, with new sessions in it.
	put(t, h.collection, h.present)
	week := h.at("week-copied")
	copyFolder(t, h.collection, week)
	anotherWeek(t, week, "C")
	status, _, errOut := runHere("seal", week, "--to", h.medium(t), "--keys", h.site, "--new-number")
	if status != exitRejected || !strings.Contains(errOut, "this folder was copied with its log") {
		t.Errorf("exit status %d: %s", status, errOut)
	}
	put(t, week, nil)
	(&history{job: &job{collection: week, site: h.site}}).decideAll(t)
	must(t, "seal", week, "--to", h.medium(t), "--keys", h.site)
	must(t, "custody", h.collection, "--check", "--keys", h.site)

	// One of several sessions stays: the same collection, as far as anybody knows.
	half := h.at("week-kept")
	copyFolder(t, h.collection, half)
	records, err := filepath.Glob(filepath.Join(half, "sessions", "*.json"))
	if err != nil || len(records) < 2 {
		t.Fatal(records, err)
	}
	for _, r := range records[1:] {
		if err := os.Remove(r); err != nil {
			t.Fatal(err)
		}
	}
	must(t, "custody", half, "--check", "--keys", h.site)
}

// TestForgedDecisionsAreVoid: an officer who takes a collection for the present one
// makes no decision valid that no signed entry of the log holds.
func TestForgedDecisionsAreVoid(t *testing.T) {
	t.Parallel()
	h := newHistory(t)
	restore := func(what string, want ...string) {
		t.Helper()
		out := must(t, "custody", h.collection, "--restored", "--reason", "seen", "--by", "O. Officer", "--keys",
			h.site)
		for _, w := range want {
			if !strings.Contains(out, w) {
				t.Errorf("%s: %q is not in\n%s", what, w, out)
			}
		}
		must(t, "custody", h.collection, "--check", "--keys", h.site)
	}
	whole := h.present[reviewFile]
	forged := bytes.Replace(whole, []byte(`"redact"`), []byte(`"keep"`), 1)
	if bytes.Equal(forged, whole) {
		t.Fatalf("%s", whole)
	}
	copyFolder(t, h.site, h.at("site-before"))
	all := maps.Clone(h.present)
	all[reviewFile] = forged
	put(t, h.collection, all)
	restore("forged", "review.aside-1.jsonl", "1 decision is void and must be made again")
	now := ours(t, h.collection)
	if !bytes.Equal(now[reviewFile], whole) {
		t.Errorf("in force:\n%s", now[reviewFile])
	}
	if aside, err := os.ReadFile(filepath.Join(h.collection, "review.aside-1.jsonl")); err != nil ||
		!bytes.Equal(aside, forged) {
		t.Errorf("%v: set aside:\n%s", err, aside)
	}
	entries := entriesOf(t, h.collection)
	if f := entries[len(entries)-1].Facts; f["decisions_void"] != "1" ||
		f["decisions_set_aside"] != "review.aside-1.jsonl" {
		t.Errorf("the log says %v", f)
	}

	// A decision that was forged into the log itself, unsigned: never, not even after a
	// later restore has found it under the officer's signature.
	keep := entries[slices.IndexFunc(entries, func(e custody.Entry) bool { return e.Facts["action"] == "redact" })]
	keep.Facts = maps.Clone(keep.Facts)
	keep.Facts["action"], keep.Why = "keep", "a device"
	all = maps.Clone(now)
	all[custodyFile] = remade(t, append(slices.Clone(entries), keep))
	put(t, h.collection, all)
	restore("in the log", "1 entry was neither signed nor known")
	all = ours(t, h.collection)
	all[reviewFile] = forged
	put(t, h.collection, all)
	restore("in the log, again", "is void")
	if now := ours(t, h.collection); !bytes.Equal(now[reviewFile], whole) {
		t.Errorf("in force:\n%s", now[reviewFile])
	}

	// Without the log there is no decision.
	all = ours(t, h.collection)
	delete(all, custodyFile)
	put(t, h.collection, all)
	restore("no log", "2 decisions are void and must be made again")
	if now := ours(t, h.collection); len(now[reviewFile]) != 0 {
		t.Errorf("in force:\n%s", now[reviewFile])
	}
}
