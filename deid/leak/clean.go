package leak

import (
	"strings"
	"sync"
	"sync/atomic"
)

// A cleanTexts is a cache of short texts in which nothing was found: thousands of
// records repeat the same values in most fields. It keeps the first maxClean texts,
// which bounds its memory; none of them identifies anybody.
type cleanTexts struct {
	texts sync.Map // of struct{}
	n     atomic.Int32
}

func (q *cleanTexts) has(text string) bool {
	if len(text) > maxCleanText {
		return false
	}
	_, ok := q.texts.Load(text)
	return ok
}

func (q *cleanTexts) add(text string) {
	if len(text) <= maxCleanText && q.n.Load() < maxClean {
		if _, was := q.texts.LoadOrStore(strings.Clone(text), struct{}{}); !was {
			q.n.Add(1)
		}
	}
}

const (
	maxClean     = 4096
	maxCleanText = 40 // bytes
)
