package leak

import (
	"io/fs"
	"slices"
	"strings"
	"testing"

	"outbreath/schema"
)

// A name that is also an everyday word, at the beginning of a sentence, of a list item or
// of a whole text, where its capital means nothing.
func TestNameAtTheBeginning(t *testing.T) {
	for name, texts := range map[string][]string{
		"Baker": {
			"+Baker was late", "+Baker.", "+Baker", "+Baker coughed", "+Baker collapsed", "+Baker, second visit",
			"+Baker second visit", "+Baker tube B", "+Baker and wife", "+Baker to return",
			"+Baker's mask", "+Name: Baker", "+NAME Baker", "+Patient: Baker", "+subject - Baker", "+seen by: Baker",
			"+wrong tube (Baker)", "+Tube A: Baker", "+1. Baker", "+next: Baker 9:30",
			"+Leak at 3 min. Baker will return", "+BAKER was late", "+baker was late", "+baker coughed",
			"+wife ill; Baker upset", "+\"Baker\"", "+Baker?", "+Baker kam zu spät",
			"-the baker was late", "-bread from the baker", "-Baker street entrance closed", "-Baker size pillow",
			"-Baker shaped lid", "-BAKER TUBE CHANGED", "+BAKER COUGHED", "+spoke to Baker", "+Baker anxious",
			"-Baker 3",
		},
		"White": {
			"+White was late", "+White coughed", "+White's mask", "+Name: White", "+Patient: White", "+seen by: White",
			"+asked White to wait", "+White anxious", "+tube for White lost", "+Käthe White", "+White, Käthe",
			"-White cap", "-White", "-Good seal. White cap on tube B", "-Patient: White cap chosen", "-white cap",
			"-Cap: White",
		},
		"Will": {"+Will coughed twice", "+Will was late", "+asked Will to wait", "-Will call back",
			"-Will repeat tomorrow", "-He will return", "-ok, Will call"},
		"May": {"+May coughed twice", "+told May again", "-lots for May", "-figures of May",
			"-May repeat in 14 minutes", "-in May the lot ends", "-early May delivery"},
		"Long": {"+Long coughed", "+asked Long to wait", "+Name: Long", "-Long exhalation, no leak",
			"-Long was the wait", "-too long", "-Patient: Long wait"},
		"So": {"-Mask too tight. So asked to loosen it"},
		// no word of such notes in any language
		"Koch":         {"+Koch was late", "+koch kam zu spät", "+Koch", "+Kochs Maske, dann Koch"},
		"Klein":        {"+Klein kam zu spät", "+Klein hustete", "-Klein geschnitten, Maske S", "-klein"},
		"Petit":        {"+Petit est en retard", "+Petit tousse", "-Petit masque"},
		"Käthe Müller": {"+Müller kam zu spät", "+müller kam zu spät", "+Muller came late"},
	} {
		given, family := "Käthe", name
		if first, last, two := strings.Cut(name, " "); two && first == given {
			given, family = first, last
		}
		s := New(&schema.Roster{Columns: []string{"given_name", "family_name"},
			Rows: []map[string]string{{"given_name": given, "family_name": family}}})
		for _, text := range texts {
			found := slices.ContainsFunc(s.Scan(text[1:], nil), func(m Match) bool {
				return m.Class == "A" &&
					strings.HasPrefix(m.Basis, "roster: ")
			})
			if found != (text[0] == '+') {
				t.Errorf("%s in %q: found %v", name, text[1:], found)
			}
		}
	}
}

// The lists of words are of use as they are: each names its source, none holds an
// entry twice, and nothing in them is written as no text is once it is folded.
func TestWordLists(t *testing.T) {
	lists := 0
	err := fs.WalkDir(wordFiles, "words", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		lists++
		data, err := wordFiles.ReadFile(path)
		if err != nil || !strings.Contains(string(data), "\n# Source: ") {
			t.Errorf("%s names no source (%v)", path, err)
		}
		name := strings.TrimSuffix(strings.TrimPrefix(path, "words/"), ".txt")
		seen := map[string]bool{}
		for _, e := range entries(name) {
			if line := strings.Join(e, " "); seen[line] && !strings.HasPrefix(name, "numbers-") {
				t.Errorf("%s holds %q twice", path, line)
			} else {
				seen[line] = true
			}
		}
		if len(seen) < 2 {
			t.Errorf("%s is empty", path)
		}
		return nil
	})
	if err != nil || lists < 50 {
		t.Fatalf("%d lists, %v", lists, err)
	}
}

// Every cue has a list, every list of cues is read, and each opener is a name word.
func TestCues(t *testing.T) {
	files, err := fs.Glob(wordFiles, "words/cue/*.txt")
	if err != nil || len(files) != int(numCues)-1 {
		t.Fatalf("%d lists of cues for %d, %v", len(files), numCues-1, err)
	}
	count := map[cue]int{}
	for w, cues := range vocabulary() {
		if cues.has(cueOpener) && !cues.has(cueNameWord) {
			t.Errorf("the opener %q is no name", w)
		}
		for c := range cue(numCues) {
			if cues.has(c) {
				count[c]++
			}
		}
	}
	for c := range cue(numCues) {
		if count[c] == 0 {
			t.Errorf("no word has the cue %d", c)
		}
	}
	if count[cueNameWord] < 2000 || count[cueOpener] < 500 {
		t.Error("a list is cut")
	}
}
