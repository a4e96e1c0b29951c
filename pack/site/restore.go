package site

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strconv"
	"strings"
	"time"

	"outbreath/pack/custody"
	"outbreath/pack/durable"
)

// restoring is what [Restore] has the next line do to the state.
type restoring struct{ replaces []string }

// take takes over the contents of the log: numbers and withdrawals become more, never
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

// A Restoration is what [Restore] did.
type Restoration struct {
	*ConflictError        // what it was about
	Damaged        string // file that a log which cannot be read was moved to; "": none
	Decisions      string // file that review.jsonl was moved to; "": it agreed with the log
	Void           int    // decisions in that file that do not count any more
	Recalled       int    // entries that came back from the state
}

// Restore takes the collection's log, as it is, for the present one: an officer's
// act, which e records with what was missing. A log that cannot be read and a state
// that was altered are set aside, and decisions that no proven entry of the log
// holds are void. Numbers given and withdrawals stay, and what the state knows of
// this collection's shipments comes back into the log. The error is [ErrNothing] if
// there was no conflict.
func Restore(o Options, e custody.Entry) (*Log, *Restoration, error) {
	o.Who = e.Who
	release, err := hold(o)
	if err != nil {
		return nil, nil, err
	}
	r := &Restoration{}
	l, err := r.restore(o, e)
	if err != nil {
		release()
		return nil, nil, err
	}
	l.release = release
	return l, r, nil
}

func (r *Restoration) restore(o Options, e custody.Entry) (*Log, error) {
	l, err := r.load(o)
	if err != nil {
		return nil, err
	}
	if err := r.compare(l); err != nil {
		return nil, err
	}
	if err := r.review(l); err != nil {
		return nil, err
	}
	l.restored = &restoring{replaces: l.superseded()}
	if err := l.ready(); err != nil {
		return nil, err
	}
	e.What, e.Facts = Restored, r.facts(l)
	if err := l.Append(e); err != nil {
		return nil, err
	}
	n := len(l.Entries)
	err = l.recall()
	r.Recalled = len(l.Entries) - n
	return l, err
}

// load reads all there is, after what cannot be read has been set aside.
func (r *Restoration) load(o Options) (*Log, error) {
	for {
		l, err := load(o)
		var conflict *ConflictError
		var broken *custody.BrokenError
		switch {
		case errors.As(err, &conflict) && r.ConflictError == nil:
			r.ConflictError = conflict
			_, err = o.Folder.SetStateAside(o.Collection.Study.Study)
		case errors.As(err, &broken) && r.Damaged == "":
			if r.ConflictError == nil {
				r.ConflictError = &ConflictError{Kind: Damaged, Signed: -1, cause: broken}
			}
			r.Damaged, err = setLogAside(o.Collection.Root)
		case err == nil || l.isTorn():
			return l, nil
		}
		if err != nil {
			return nil, err
		}
	}
}

// compare finds the conflict, if nothing was set aside for one already.
func (r *Restoration) compare(l *Log) error {
	now, err := l.conflict()
	switch {
	case err != nil:
		return err
	case now == nil && r.ConflictError == nil:
		return ErrNothing
	case r.ConflictError == nil:
		r.ConflictError = now
	case now != nil:
		r.Here, r.Known, r.Unproven = now.Here, now.Known, now.Unproven
		r.HeadKnown, r.Last = now.HeadKnown, now.Last
	}
	return nil
}

// review makes review.jsonl what the log's proven entries say, and sets another one
// aside.
func (r *Restoration) review(l *Log) (err error) {
	want := decided(l.Entries, len(l.Entries)-r.Unproven)
	if bytes.Equal(want, l.Review) {
		return nil
	}
	held := map[string]bool{}
	for line := range bytes.Lines(want) {
		held[string(line)] = true
	}
	for line := range bytes.Lines(l.Review) {
		if !held[string(line)] {
			r.Void++
		}
	}
	root := l.o.Collection.Root
	if len(l.Review) > 0 {
		if r.Decisions, err = freeName(root, "review.aside-%d.jsonl"); err != nil {
			return err
		}
		if err := durable.WriteNew(root, r.Decisions, l.Review, 0o600); err != nil {
			return err
		}
	}
	if err := durable.Replace(root, ReviewName, want, 0o600); err != nil {
		return err
	}
	l.Review, l.Completed = want, false
	return nil
}

// decided returns the decisions that the first proven entries hold. What an officer
// took over although nobody had signed it is not proven.
func decided(entries []custody.Entry, proven int) (lines []byte) {
	type part struct {
		seq int
		of  []byte
	}
	var parts []part
	for _, e := range entries[:max(proven, 0)] {
		switch e.What {
		case Decided:
			parts = append(parts, part{e.Seq, decisionLines(e)})
		case Restored:
			first, _, _ := strings.Cut(e.Facts[factUnprovenEntries], " ")
			if from, err := strconv.Atoi(first); err == nil {
				for len(parts) > 0 && parts[len(parts)-1].seq >= from {
					parts = parts[:len(parts)-1]
				}
			}
		}
	}
	for _, p := range parts {
		lines = append(lines, p.of...)
	}
	return lines
}

// factUnprovenEntries names entries that were neither signed nor known to the state when
// an officer took them over: "8 to 9".
const factUnprovenEntries = "unproven_entries"

func (r *Restoration) facts(l *Log) map[string]string {
	f := map[string]string{
		"conflict": string(r.Kind), "entries_here": strconv.Itoa(len(l.Entries)),
		"entries_known": strconv.Itoa(r.Known),
		"head_here":     l.Head(), factReview: sum(l.Review), factBytes: strconv.Itoa(len(l.Review)),
	}
	if n := len(l.Entries); r.Unproven > 0 {
		f[factUnprovenEntries] = fmt.Sprintf("%d to %d", n-r.Unproven+1, n)
	}
	if r.Decisions != "" {
		f["decisions_set_aside"], f["decisions_void"] = r.Decisions, strconv.Itoa(r.Void)
	}
	if !r.Last.IsZero() {
		f["last_known"] = r.Last.UTC().Format(time.RFC3339)
	}
	for name, value := range map[string]string{"head_known": r.HeadKnown, "file": l.Torn, "damaged": r.Damaged} {
		if value != "" {
			f[name] = value
		}
	}
	return f
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

// setLogAside moves a log that cannot be read, and its signature, to names of their
// own: they are evidence.
func setLogAside(root *os.Root) (moved string, err error) {
	if moved, err = freeName(root, "custody.damaged-%d.jsonl"); err != nil {
		return "", err
	}
	if err := durable.Rename(root, LogName, moved); err != nil {
		return "", err
	}
	if err := durable.Rename(root, LogName+".sig", moved+".sig"); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	return moved, durable.SyncFolder(root)
}

// freeName returns the first name of a pattern with a number that nothing has.
func freeName(root *os.Root, pattern string) (string, error) {
	for n := 1; ; n++ {
		name := fmt.Sprintf(pattern, n)
		if _, err := durable.Lstat(root, name); errors.Is(err, fs.ErrNotExist) {
			return name, nil
		} else if err != nil {
			return "", err
		}
	}
}
