package sessionlog

import (
	"embed"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"

	"outbreath/schema"
)

//go:embed words
var wordFiles embed.FS

// wordList reads a file of words: for every key its words, in the order of the file.
func wordList(name string) map[string][]string {
	data, err := wordFiles.ReadFile("words/" + name)
	if err != nil {
		panic(err) // embedded
	}
	list := map[string][]string{}
	for line := range strings.Lines(string(data)) {
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		key, words, ok := strings.Cut(line, " = ")
		if !ok || list[key] != nil {
			panic(fmt.Sprintf("%s: not one line a key: %s", name, key))
		}
		for _, w := range strings.Split(words, ";") {
			list[key] = append(list[key], strings.TrimSpace(w))
		}
	}
	return list
}

// forms returns the normal forms of words, each once: with and without umlauts.
func forms(words []string) []string {
	var out []string
	for _, w := range words {
		for _, f := range []string{normal(w), normal(schema.Spelt(w))} {
			if f != "" && !slices.Contains(out, f) {
				out = append(out, f)
			}
		}
	}
	return out
}

var (
	headingWords = sync.OnceValue(func() map[string][]string { return formed("headings.txt") })
	sheetWords   = sync.OnceValue(func() map[string][]string { return formed("sheets.txt") })
	valueWords   = sync.OnceValue(func() map[string][]string { return formed("values.txt") })

	nothingWords = sync.OnceValue(func() map[string]bool {
		set := map[string]bool{}
		for _, w := range wordList("nothing.txt")["nothing"] {
			set[strings.ToLower(clean(w))] = true
		}
		return set
	})

	months, weekdays = sync.OnceValue(func() map[string]int { return numbered("month ") }),
		sync.OnceValue(func() map[string]int { return numbered("day ") })
)

func formed(file string) map[string][]string {
	list := wordList(file)
	for key, words := range list {
		list[key] = forms(words)
	}
	return list
}

// numbered returns the number of each name of the calendar whose key begins so.
func numbered(prefix string) map[string]int {
	set := map[string]int{}
	for key, words := range wordList("calendar.txt") {
		number, ok := strings.CutPrefix(key, prefix)
		if !ok {
			continue
		}
		n, err := strconv.Atoi(number)
		if err != nil {
			panic(err) // embedded
		}
		for _, f := range forms(words) {
			set[f] = n
		}
	}
	return set
}

// saysNothing reports whether a cell says that there is no value.
func saysNothing(s string) bool { return nothingWords()[strings.ToLower(clean(s))] }

// listed returns the values of a leaf that a word may mean.
func listed(leaf *schema.Leaf, word string) []string {
	values := leaf.Listed
	if leaf.Accepts("boolean") {
		values = append(slices.Clone(values), "true", "false")
	}
	form := normal(word)
	symbol := strings.TrimSpace(word)
	var found []string
	for _, v := range values {
		if v == symbol || form != "" && normal(v) == form {
			return []string{v}
		}
	}
	for _, v := range values {
		if form != "" && slices.Contains(valueWords()[v], form) ||
			form == "" && slices.Contains(wordSymbols()[v], symbol) {
			found = append(found, v)
		}
	}
	return found
}

// wordSymbols are the words without a letter or digit, such as a tick.
var wordSymbols = sync.OnceValue(func() map[string][]string {
	list := wordList("values.txt")
	for key, words := range list {
		list[key] = slices.DeleteFunc(words, func(w string) bool { return normal(w) != "" })
	}
	return list
})
