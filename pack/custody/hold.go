//go:build !windows

package custody

import "outbreath/pack/media"

// Hold keeps every other process from holding the collection folder dir until
// release is called or this process ends, however it ends; held is false when
// another one has it. A file system without locks keeps nobody away; there the
// look at the end of the journal, [ChangedError], is what is left.
func Hold(dir string) (release func(), held bool, err error) { return media.Hold(dir) }
