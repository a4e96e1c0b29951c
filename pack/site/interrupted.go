package site

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"outbreath/pack/custody"
	"outbreath/pack/durable"
)

// clockTolerance is how far a clock may be behind the newest entry: it was set right.
const clockTolerance = 10 * time.Minute

// A ClockError says that this computer's clock is behind the newest entry of the log: a
// battery that ran out sets it years back, and the sealing date goes onto the label.
type ClockError struct {
	Now, Last time.Time // UTC
}

func (e *ClockError) Error() string {
	return fmt.Sprintf("this computer's clock says %s UTC, but the newest entry of %s is of %s UTC",
		e.Now.Format(time.DateTime), LogName, e.Last.Format(time.DateTime))
}

// ClockGoesOn refuses a time more than ten minutes before the newest entry. The error
// is a *[ClockError].
func (l *Log) ClockGoesOn(now time.Time) error {
	if len(l.Entries) == 0 {
		return nil
	}
	last := l.Entries[len(l.Entries)-1].When
	if now.Add(clockTolerance).Before(last) {
		return &ClockError{Now: now, Last: last}
	}
	return nil
}

// An Interrupted seal was cut off between the entry "sealing" and the entry "sealed",
// and is settled now.
type Interrupted struct {
	Number string
	Found  bool // it is whole on a medium in use now, and was recorded as sealed
	Copy   bool // else: it was another copy, and the earlier one is not affected
}

// SettleInterrupted looks after seals that were cut off: the shipment got its name on a
// medium in between, or not. A number that may be on another medium is never used
// again. e says who and when. The list is of those that were settled, also with an
// error.
func (l *Log) SettleInterrupted(media []string, e custody.Entry) (settled []Interrupted, err error) {
	for _, begun := range l.Unfinished() {
		next := e
		next.Shipment, next.Facts = begun.Shipment, begun.Facts
		s := Interrupted{Number: begun.Shipment}
		_, s.Copy = l.Of(begun.Shipment, custody.Sealed)
		s.Found = slices.ContainsFunc(media, func(m string) bool { return whole(m, begun) })
		switch {
		case s.Found:
			next.What, next.Why = custody.Sealed, "the computer stopped after writing; found complete on the medium"
		case s.Copy:
			next.What, next.Facts = custody.Abandoned, nil
			next.Why = "the computer stopped before another copy got its name; the earlier copy stands"
		default:
			next.What, next.Facts = custody.Abandoned, nil
			next.Why = "the computer stopped before the shipment got its name; not on the medium in use now"
		}
		settled = append(settled, s)
		if err := l.Append(next); err != nil {
			return settled, err
		}
	}
	return settled, nil
}

// maxSums bounds SHA256SUMS, bytes.
const maxSums = 1 << 20

// whole reports whether the medium holds the shipment of an entry, by the digests of
// the archive's files.
func whole(medium string, e custody.Entry) bool {
	sums, err := readIn(medium, e.Shipment, "SHA256SUMS", maxSums)
	if err != nil {
		return false
	}
	parts := CopyFactsOf(e).Parts
	for part, digest := range parts {
		if !strings.Contains("\n"+string(sums), "\n"+digest+"  "+part+"\n") {
			return false
		}
	}
	return len(parts) > 0
}

// readIn reads a small file of a folder on a medium.
func readIn(medium, folder, name string, limit int64) ([]byte, error) {
	root, err := durable.OpenFolder(medium)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	sub, err := durable.Folder(root, folder)
	if err != nil {
		return nil, err
	}
	defer sub.Close()
	return durable.Read(sub, name, limit)
}

// abandon records that a seal came to nothing after "sealing" was written. If a
// medium may hold the shipment under its name, the next seal has to look.
func (l *Log) abandon(e custody.Entry, number string, media []string) error {
	for _, m := range media {
		if _, err := os.Lstat(filepath.Join(m, number)); !errors.Is(err, fs.ErrNotExist) {
			return nil
		}
	}
	e.What, e.Shipment, e.Facts = custody.Abandoned, number, nil
	e.Why = "it was stopped, or a medium failed, before the shipment got its name"
	return l.Append(e)
}
