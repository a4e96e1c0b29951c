//go:build !unix || solaris || aix

package keys

// lock does nothing here: this system locks no folder.
func (f *Folder) lock() (unlock func(), err error) { return func() {}, nil }

func (f *Folder) await() (unlock func(), err error) { return f.lock() }
