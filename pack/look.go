package pack

import (
	"archive/tar"
	"bytes"
	"errors"
	"io"
)

// A Looker is given each file of the bag, by its path below the bag's folder,
// with its header as the standard library reads it. It must read r to the end.
// What it has seen may be used only when the verdict does not reject the
// shipment. An error stops the verification and is returned.
type Looker func(path string, header *tar.Header, r io.Reader) error

// A looking hands the files of a bag to a Looker without writing them anywhere.
type looking struct {
	look Looker
	next *tar.Header
}

func (l *looking) header(h *[tarBlock]byte) {
	l.next, _ = tar.NewReader(bytes.NewReader(h[:])).Next() // of a block that was checked already
}

func (l *looking) create(path string) (io.WriteCloser, error) {
	r, w := io.Pipe()
	f := &lookedAt{PipeWriter: w, done: make(chan error, 1)}
	header := l.next
	go func() {
		err := errLooker
		defer func() {
			recover() // a fault of the Looker is no reason to take the program down
			r.CloseWithError(err)
			f.done <- err
		}()
		err = l.look(path, header, r)
		if err == nil {
			_, err = io.Copy(io.Discard, r)
		}
	}()
	return f, nil
}

var errLooker = errors.New("what is in the shipment could not be looked at; tell the makers of this program")

// lookedAt is one file on its way to the Looker.
type lookedAt struct {
	*io.PipeWriter
	done chan error
}

func (f *lookedAt) Close() error {
	f.PipeWriter.Close()
	return <-f.done
}
