package leak

import (
	"embed"
	"strconv"
	"strings"
	"sync"
)

// wordFiles holds the word lists: text files with one entry per line, its words
// separated by blanks. Comments begin with # and name the source of the list.
//
//go:embed words
var wordFiles embed.FS

// entries returns the entries of words/NAME.txt in the order of the file. It panics if
// there is no such file.
func entries(name string) [][]string {
	data, err := wordFiles.ReadFile("words/" + name + ".txt")
	if err != nil {
		panic(err)
	}
	list := make([][]string, 0, strings.Count(string(data), "\n"))
	for line := range strings.Lines(string(data)) {
		if words := strings.Fields(line); len(words) > 0 && !strings.HasPrefix(words[0], "#") {
			list = append(list, words)
		}
	}
	return list
}

// The functions below return a function that reads the list on its first call.

// wordSet reads a list of words. They are folded, like the texts.
func wordSet(name string) func() map[string]bool {
	return sync.OnceValue(func() map[string]bool {
		set := make(map[string]bool)
		for _, e := range entries(name) {
			set[foldString(e[0])] = true
		}
		return set
	})
}

// wordNumbers reads a list of words with a number each.
func wordNumbers(name string) func() map[string]int {
	return sync.OnceValue(func() map[string]int {
		numbers := make(map[string]int)
		for _, e := range entries(name) {
			n, err := strconv.Atoi(e[1])
			if err != nil {
				panic("words/" + name + ".txt: " + err.Error())
			}
			numbers[foldString(e[0])] = n
		}
		return numbers
	})
}

// wordPairs reads a list of pairs of words.
func wordPairs(name string) func() map[string]string {
	return sync.OnceValue(func() map[string]string {
		pairs := make(map[string]string)
		for _, e := range entries(name) {
			pairs[e[0]] = e[1]
		}
		return pairs
	})
}

// wordsOf reads a list of words with several words each. Entries with the same first
// word are joined.
func wordsOf(name string) func() map[string][]string {
	return sync.OnceValue(func() map[string][]string {
		groups := make(map[string][]string)
		for _, e := range entries(name) {
			groups[e[0]] = append(groups[e[0]], e[1:]...)
		}
		return groups
	})
}

// letterList reads a list of letters and their replacements, which may be empty.
func letterList(name string) func() *strings.Replacer {
	return sync.OnceValue(func() *strings.Replacer {
		var pairs []string
		for _, e := range entries(name) {
			pairs = append(pairs, e[0], strings.Join(e[1:], ""))
		}
		return strings.NewReplacer(pairs...)
	})
}

// wordOrder reads a list of words in which the order matters.
func wordOrder(name string) []string {
	var list []string
	for _, e := range entries(name) {
		list = append(list, e[0])
	}
	return list
}
