package leak

import (
	"embed"
	"strconv"
	"strings"
	"sync"
)

// The word lists are text files: one entry a line, its words parted by blanks.
// Comments begin with # and name the source of the list.
//
//go:embed words
var wordFiles embed.FS

// entries returns the entries of words/NAME.txt, in the order of the file. It
// panics if this package has no such file.
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

// Each of the lists below is read when it is first asked for.

// wordSet is a list of words. Words are folded as a text is.
func wordSet(name string) func() map[string]bool {
	return sync.OnceValue(func() map[string]bool {
		set := make(map[string]bool)
		for _, e := range entries(name) {
			set[foldString(e[0])] = true
		}
		return set
	})
}

// wordNumbers is a list whose entries are a word and its number.
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

// wordPairs is a list whose entries are a word and what it means.
func wordPairs(name string) func() map[string]string {
	return sync.OnceValue(func() map[string]string {
		pairs := make(map[string]string)
		for _, e := range entries(name) {
			pairs[e[0]] = e[1]
		}
		return pairs
	})
}

// wordsOf is a list whose entries are a word and several that belong to it; equal
// first words are taken together.
func wordsOf(name string) func() map[string][]string {
	return sync.OnceValue(func() map[string][]string {
		groups := make(map[string][]string)
		for _, e := range entries(name) {
			groups[e[0]] = append(groups[e[0]], e[1:]...)
		}
		return groups
	})
}

// letterList is a list whose entries are letters and what is written for them, which
// may be nothing.
func letterList(name string) func() *strings.Replacer {
	return sync.OnceValue(func() *strings.Replacer {
		var pairs []string
		for _, e := range entries(name) {
			pairs = append(pairs, e[0], strings.Join(e[1:], ""))
		}
		return strings.NewReplacer(pairs...)
	})
}

// wordOrder is a list whose words have a place.
func wordOrder(name string) []string {
	var list []string
	for _, e := range entries(name) {
		list = append(list, e[0])
	}
	return list
}
