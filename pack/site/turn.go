package site

import (
	"crypto/sha256"
	"errors"
	"io/fs"
	"time"

	"outbreath/pack/custody"
	"outbreath/pack/durable"
)

// longestWait bounds how long a command waits for others that use the same log.
const longestWait = 30 * time.Second

// A BusyError says that other commands used the log for too long. Nothing was
// changed.
type BusyError struct{}

func (*BusyError) Error() string {
	return "another command is at work on this collection; nothing was changed"
}

// hold waits until no other command adds to the collection's log. Locked is the
// folder of the records, which is always there, so that nothing is left behind; the
// collection's folder itself is what a seal holds, which takes long.
func hold(o Options) (release func(), err error) {
	root, err := o.Collection.Root.OpenRoot("sessions")
	if errors.Is(err, fs.ErrNotExist) {
		return func() {}, nil
	}
	if err != nil {
		return nil, err
	}
	defer root.Close()
	noticed := false
	for began := time.Now(); ; time.Sleep(10 * time.Millisecond) {
		release, held, err := custody.Hold(root)
		if err != nil || held {
			return release, err
		}
		switch waited := time.Since(began); {
		case waited > longestWait:
			return nil, &BusyError{}
		case waited > time.Second && !noticed && o.Waiting != nil:
			noticed = true
			o.Waiting()
		}
	}
}

// Release lets other commands add to the log again.
func (l *Log) Release() {
	if l.release != nil {
		l.release()
		l.release = nil
	}
}

// marks returns the present contents of the files that [Open] compares.
func marks(o Options) (sum [sha256.Size]byte) {
	h := sha256.New()
	add := func(data []byte, err error) {
		part := sha256.Sum256(data)
		h.Write(part[:])
		if err != nil {
			h.Write([]byte(err.Error()))
		}
	}
	add(o.Folder.State(o.Collection.Study.Study))
	for _, name := range []string{LogName, LogName + ".sig", ReviewName} {
		add(durable.Read(o.Collection.Root, name, maxReview))
	}
	h.Sum(sum[:0])
	return sum
}
