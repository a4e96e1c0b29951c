package media

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"path/filepath"
)

// A MismatchError is a file that gave other bytes than were written to it.
type MismatchError struct{ Path string }

func (e *MismatchError) Error() string {
	return fmt.Sprintf("%s: reading it back gives other bytes than were written: the medium is damaged or smaller "+
		"than it says", e.Path)
}

// ReadBack reads a synced file of dir from the medium and compares its size and
// SHA-256. dropped reports whether the operating system could be asked to forget
// the file first; if not, the bytes may have come from memory and prove little.
// Other bytes are a *[MismatchError], any other error is the medium's or ctx's.
func ReadBack(ctx context.Context, dir Folder, name string, want [32]byte, size int64) (dropped bool, err error) {
	f, err := dir.Open(name)
	if err != nil {
		return false, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	dropped = f.DropCache()

	sum := sha256.New()
	buf := make([]byte, writeSize)
	var got int64
	for got <= size { // no further than the first byte too much
		if err := ctx.Err(); err != nil {
			return dropped, err
		}
		n, err := f.Read(buf)
		sum.Write(buf[:n])
		got += int64(n)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return dropped, err
		}
	}
	if got != size || [32]byte(sum.Sum(nil)) != want {
		return dropped, &MismatchError{filepath.Join(dir.Root().Name(), name)}
	}
	return dropped, nil
}
