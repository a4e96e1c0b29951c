package leak

import (
	"strings"
	"sync"
	"sync/atomic"
)

// A quietSet holds short texts in which nothing was found: thousands of records
// say the same in most of their fields. It takes the first that come, so that its
// memory is bounded, and nothing that it holds identifies anybody.
type quietSet struct {
	texts sync.Map // of struct{}
	n     atomic.Int32
}

func (q *quietSet) has(text string) bool {
	if len(text) > maxQuietText {
		return false
	}
	_, ok := q.texts.Load(text)
	return ok
}

func (q *quietSet) add(text string) {
	if len(text) <= maxQuietText && q.n.Load() < maxQuiet {
		if _, was := q.texts.LoadOrStore(strings.Clone(text), struct{}{}); !was {
			q.n.Add(1)
		}
	}
}

const (
	maxQuiet     = 4096
	maxQuietText = 40 // bytes
)
