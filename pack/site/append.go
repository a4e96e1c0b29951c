package site

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"outbreath/pack/custody"
	"outbreath/schema"
)

func logPath(c *schema.Collection) string { return filepath.Join(c.Dir, LogName) }

// setAside moves an unfinished last line to a file of its own, or ends it if only its
// line feed is missing, and reads the log anew.
func (l *Log) setAside() (moved string, err error) {
	root := l.o.Collection.Root
	if moved, err = custody.Repair(root, LogName, l.Head()); err != nil {
		return "", err
	}
	if l.Journal, err = custody.Read(root, LogName); err != nil {
		return "", err
	}
	_, err = l.Journal.Signed(l.verify) // what it does not cover, the next entry counts
	_, err = signatureKind(err)
	return moved, err
}

// change makes a change of the state, as it is in the key folder now.
func (l *Log) change(do func(*State) error) error {
	var changed *State
	err := l.o.Folder.ChangeState(l.study, func(old []byte) ([]byte, error) {
		s, err := parseState(old)
		if err != nil {
			return nil, err
		}
		if s == nil {
			s = &State{Shipments: []Shipment{}, Logs: []KnownLog{}, Withdrawn: []Withdrawal{}}
		}
		if err := do(s); err != nil {
			return nil, err
		}
		changed = s
		return s.encode()
	})
	if err == nil {
		l.State = changed
	}
	return err
}

// A WithdrawnError says that a shipment holds data of a subject who has withdrawn.
type WithdrawnError struct{ Number string }

func (e *WithdrawnError) Error() string {
	return fmt.Sprintf("%s holds data of a subject who has withdrawn consent", e.Number)
}

// announce writes into the state which line comes next. The log is locked.
func (l *Log) announce(e custody.Entry, digest string) error {
	return l.change(func(s *State) error {
		n := len(l.Entries)
		id := digest
		if n > 0 {
			id = l.id()
		}
		known := s.log(id)
		if known == nil {
			s.Logs = append(s.Logs, KnownLog{ID: id, Head: l.Digest(0)})
			known = &s.Logs[len(s.Logs)-1]
		}
		if known.Pending != nil && l.arrived(known) {
			s.settle(known, l.Journal)
		}
		if l.restored == nil && (known.Length != n || known.Head != l.Head()) {
			return &custody.ChangedError{Path: logPath(l.o.Collection)}
		}
		if l.restored != nil {
			l.restored.take(s, id, l.Journal)
		}
		p := &Pending{Line: digest, Length: n, Head: l.Head(), When: e.When}
		if l.restored != nil {
			p.Restored, p.Replaces = true, l.restored.replaces
		}
		if e.What == custody.Sealing && l.made != nil {
			if err := s.mayGive(l.made); err != nil {
				return err
			}
			p.Sealing = l.made
		}
		if e.What == Withdrawn { // at once: it must not be lost, whatever becomes of the line
			s.withdraw(e)
		}
		known.Pending = p
		return nil
	})
}

// mayGive is the last look before a number is given.
func (s *State) mayGive(made *Shipment) error {
	if x := s.Shipment(made.Number); x != nil && x.Bag != "" && x.Bag != made.Bag {
		return &NumberError{Reason: NumberTaken, Number: x.Number, Day: x.Day}
	}
	gone := s.Gone()
	if slices.ContainsFunc(made.Subjects, func(p string) bool { return gone[p] }) {
		return &WithdrawnError{made.Number}
	}
	return nil
}

// there notes in the state that the announced line and its signature are written.
func (l *Log) there() error {
	err := l.change(func(s *State) error {
		known := s.log(l.id())
		if known == nil || known.Pending == nil || !l.arrived(known) {
			return &custody.ChangedError{Path: logPath(l.o.Collection)}
		}
		s.settle(known, l.Journal)
		known.Signed = known.Length
		known.Sessions = nil
		for _, names := range l.sessions {
			known.Sessions = append(known.Sessions, names[0])
		}
		return nil
	})
	if err == nil {
		l.restored = nil
	}
	return err
}

// contentsPerEntry keeps an entry below the longest line of the log.
const contentsPerEntry = 2000

// Sealing notes that made is about to get its name on the medium: the last moment
// at which it can be refused. e has the facts; whose data it holds, by pseudonym,
// comes to them, and what does not fit goes into entries before it. The error may
// be a *[NumberError] or a *[WithdrawnError].
func (l *Log) Sealing(e custody.Entry, made *Shipment) error {
	subjects := made.Subjects
	for ; len(subjects) > contentsPerEntry; subjects = subjects[contentsPerEntry:] {
		more := custody.Entry{When: e.When, Who: e.Who, What: Contents, Why: "further subjects in " + e.Shipment}
		more.Facts = map[string]string{
			factShipment: e.Shipment, factKey: made.KeyID, factSubjects: strings.Join(subjects[:contentsPerEntry], " "),
		}
		if err := l.Append(more); err != nil {
			return err
		}
	}
	made.Log, made.What, made.Day = l.id(), custody.Sealing, e.When.Format("2006-01-02")
	e.What, e.Shipment = custody.Sealing, made.Number
	e.Facts[factKey], e.Facts[factSubjects] = made.KeyID, strings.Join(subjects, " ")
	l.made = made
	defer func() { l.made = nil }()
	return l.Append(e)
}
