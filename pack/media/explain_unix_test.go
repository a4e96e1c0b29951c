//go:build unix

package media_test

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"outbreath/pack/media"
)

func TestExplain(t *testing.T) {
	for _, c := range []struct {
		err  error
		kind media.Fault
		what string
	}{
		{unix.ENOSPC, media.Full, "is full"},
		{unix.EROFS, media.ReadOnly, "write-protected"},
		{unix.EIO, media.Broken, "worn out"},
		{unix.EFBIG, media.FileTooBig, "file of that size"},
		{unix.ENOTCONN, media.PulledOut, "pulled out"},
		{unix.ECONNABORTED, media.PulledOut, "pulled out"},
		{unix.ENODEV, media.PulledOut, "pulled out"},
		{unix.EACCES, media.NotAllowed, "may not write"},
		{unix.EPERM, media.NotAllowed, "may not write"},
		{unix.EDQUOT, media.OverQuota, "allowance"},
		{&media.MismatchError{Path: "x"}, media.Mismatch, "read back"},
		{errors.Join(&fs.PathError{Op: "write", Path: "x", Err: unix.EIO}, unix.ENODEV), media.PulledOut, "pulled out"},
		{errors.Join(unix.EIO, unix.ENOSPC), media.Full, "is full"},
	} {
		kind, what := media.Explain(fmt.Errorf("sealing: %w", c.err))
		if !strings.Contains(what, c.what) || kind != c.kind {
			t.Errorf("%v: %q, %q", c.err, kind, what)
		}
		if strings.HasSuffix(what, ".") || what[:1] != strings.ToLower(what[:1]) {
			t.Errorf("not in the house style: %q", what)
		}
	}
	for _, err := range []error{nil, errors.New("something else"), fs.ErrExist, unix.EINVAL} {
		if kind, what := media.Explain(err); kind != media.Unexplained || what != "" {
			t.Errorf("%v: %q, %q", err, kind, what)
		}
	}
}
