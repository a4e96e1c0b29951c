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
		what string
	}{
		{unix.ENOSPC, "is full"},
		{unix.EROFS, "write-protected"},
		{unix.EIO, "worn out"},
		{unix.EFBIG, "file of that size"},
		{unix.ENOTCONN, "pulled out"},
		{unix.ECONNABORTED, "pulled out"},
		{unix.ENODEV, "pulled out"},
		{unix.EACCES, "may not write"},
		{unix.EPERM, "may not write"},
		{unix.EDQUOT, "allowance"},
		{&media.MismatchError{Path: "x"}, "read back"},
		{errors.Join(&fs.PathError{Op: "write", Path: "x", Err: unix.EIO}, unix.ENODEV), "pulled out"},
		{errors.Join(unix.EIO, unix.ENOSPC), "is full"},
	} {
		what, do := media.Explain(fmt.Errorf("sealing: %w", c.err))
		if !strings.Contains(what, c.what) || do == "" {
			t.Errorf("%v: %q, %q", c.err, what, do)
		}
		for _, s := range []string{what, do} {
			if strings.HasSuffix(s, ".") || s[:1] != strings.ToLower(s[:1]) {
				t.Errorf("not in the house style: %q", s)
			}
		}
	}
	for _, err := range []error{nil, errors.New("something else"), fs.ErrExist, unix.EINVAL} {
		if what, do := media.Explain(err); what != "" || do != "" {
			t.Errorf("%v: %q, %q", err, what, do)
		}
	}
}
