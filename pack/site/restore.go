package site

import (
	"errors"
	"fmt"
	"strconv"

	"outbreath/pack/custody"
)

// restoring is what [Restore] has the next line do to the state.
type restoring struct{ replaces []string }

// take takes over what the log tells: numbers and withdrawals become more, never
// fewer.
func (*restoring) take(s *State, id string, j *custody.Journal) {
	for _, e := range j.Entries {
		if e.What != custody.Abandoned || s.Shipment(e.Shipment) == nil {
			s.take(id, e, nil)
		}
	}
}

// ErrNothing says that collection and state agree: there is nothing to restore.
var ErrNothing = errors.New("collection and key folder agree; there is nothing to restore")

// Restore takes the collection's log, signature and decisions, as they are, for
// the present ones: an officer's act, which e records with what was missing. A
// state that was altered is set aside. Numbers given and withdrawals stay. The
// error is [ErrNothing] if there was no conflict.
func Restore(o Options, e custody.Entry) (*Log, *ConflictError, error) {
	l, err := load(o)
	var conflict *ConflictError
	if errors.As(err, &conflict) {
		if _, err := o.Folder.SetStateAside(o.Collection.Study.Study); err != nil {
			return nil, nil, err
		}
		l, err = load(o)
	}
	if err != nil && !l.isTorn() {
		return nil, nil, err
	}
	now, err := l.conflict()
	if err != nil {
		return nil, nil, err
	}
	switch {
	case conflict == nil && now == nil:
		return nil, nil, ErrNothing
	case conflict == nil:
		conflict = now
	case now != nil:
		conflict.Here, conflict.Unproven = now.Here, now.Unproven
	}
	l.restored = &restoring{replaces: l.superseded()}
	if err := l.ready(); err != nil {
		return nil, nil, err
	}
	e.What = Restored
	e.Facts = map[string]string{
		"conflict": string(conflict.Kind), "entries_here": strconv.Itoa(len(l.Entries)), "entries_known": strconv.Itoa(conflict.Known),
		"head_here": l.Head(), factReview: sum(l.Review), factBytes: strconv.Itoa(len(l.Review)),
	}
	if n := conflict.Unproven; n > 0 {
		e.Facts["unproven_entries"] = fmt.Sprintf("%d to %d", len(l.Entries)-n+1, len(l.Entries))
	}
	if conflict.HeadKnown != "" {
		e.Facts["head_known"] = conflict.HeadKnown
	}
	if !conflict.Last.IsZero() {
		e.Facts["last_known"] = conflict.Last.UTC().Format("2006-01-02T15:04:05Z")
	}
	if l.Torn != "" {
		e.Facts["file"] = l.Torn
	}
	return l, conflict, l.Append(e)
}

// superseded returns the logs all of whose sessions are in this collection: they
// were this collection's.
func (l *Log) superseded() (ids []string) {
	if l.State == nil {
		return nil
	}
	for i := range l.State.Logs {
		k := &l.State.Logs[i]
		if k.ID != l.id() && len(k.Sessions) > 0 && l.shared(k) == len(k.Sessions) {
			ids = append(ids, k.ID)
		}
	}
	return ids
}

// isTorn reports whether all that was wrong is an unfinished last line. A nil Log
// has none.
func (l *Log) isTorn() bool { return l != nil && l.torn }
