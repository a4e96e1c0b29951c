package leak

import (
	"strings"
	"sync"
	"sync/atomic"
)

// A cleanTexts holds short texts in which nothing was found: thousands of records
// say the same in most of their fields. It takes the first that come, so that its
// memory is bounded, and nothing that it holds identifies anybody.
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
