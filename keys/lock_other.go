//go:build !unix || solaris || aix

package keys

// lock does nothing: this system has no locks on folders.
func (f *Folder) lock() (unlock func(), err error) { return func() {}, nil }

// await is lock.
func (f *Folder) await() (unlock func(), err error) { return f.lock() }
