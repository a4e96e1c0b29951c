//go:build !windows && (!unix || solaris || aix)

package custody

import "os"

// lock does nothing here; the look at the end of the file is what is left.
func lock(*os.File, bool) error { return nil }
