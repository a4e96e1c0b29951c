package main

import (
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// TestForgedEntryIsNamed: an entry that somebody chained to the log without the key is
// told as that, never as a key folder that is too old; an officer who takes the log
// for the present one is shown it, and the log says which entries nobody had signed.
func TestForgedEntryIsNamed(t *testing.T) {
	h := newHistory(t)
	entries := entriesOf(t, h.collection)
	forged := entries[0]
	forged.What, forged.Who, forged.Why = "sealed", "Nobody", "put at the end"
	all := maps.Clone(h.present)
	all[custodyFile] = remade(t, append(slices.Clone(entries), forged))
	put(t, h.collection, all)
	status, _, errOut := runHere("custody", h.collection, "--keys", h.site)
	if status != exitRejected || !strings.Contains(errOut, "nobody has signed the last 1 entry of custody.jsonl") || strings.Contains(errOut, "is older") {
		t.Errorf("exit status %d: %s", status, errOut)
	}
	out := must(t, "custody", h.collection, "--restored", "--reason", "seen", "--by", "O. Officer", "--keys", h.site)
	for _, want := range []string{"1 entry was neither signed nor known to the key folder", "Nobody", "put at the end"} {
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
	if status != exitRejected || !strings.Contains(errOut, "entries are missing or were changed") || strings.Contains(errOut, "from the end") {
		t.Errorf("exit status %d: %s", status, errOut)
	}
	// An honest backup, whose signature fits, lacks its end.
	put(t, h.collection, ours(t, h.after(len(h.steps)-3, "collection")))
	if _, _, errOut := runHere("custody", h.collection, "--keys", h.site); !strings.Contains(errOut, "1 entry is missing from the end of custody.jsonl") {
		t.Errorf("%s: %s", filepath.Base(h.collection), errOut)
	}
}
