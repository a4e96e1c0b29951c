package keys

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	"outbreath/pack/durable"
)

// Size limits in bytes. A secret file has at most 3 KiB, a hybrid recipient 2 KiB.
const (
	maxSecret = 64 << 10
	maxPublic = 64 << 10
	maxList   = 1 << 20
)

// hasModes is false on Windows, where access lists decide and the mode bits do not show them.
const hasModes = runtime.GOOS != "windows"

// checkFolder refuses what is not a folder, is another user's, or can be entered by others.
func checkFolder(dir string) error {
	info, err := os.Lstat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &Error{Fault: NoFolder, Path: dir, Message: "there is no key folder here", cause: err}
	case err != nil:
		return ioFault(dir, "look at the key folder", err)
	case info.Mode()&fs.ModeSymlink != 0:
		return fault(LinkedFolder, dir, "is a link, not a folder")
	case !info.IsDir():
		return fault(NotFolder, dir, "is not a folder")
	case anothers(info):
		return fault(ForeignFolder, dir, "belongs to another user of this computer, who can change the keys")
	case hasModes && info.Mode().Perm()&0o077 != 0:
		return fault(OpenFolder, dir, "others can get into this key folder")
	}
	return nil
}

// checkFile refuses a file that is a link or no ordinary file, that is larger than limit, or
// that checkOwn refuses. It returns nil, nil if there is no file at path.
func checkFile(path string, secret bool, limit int64) (fs.FileInfo, error) {
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil
	case err != nil:
		return nil, ioFault(path, "look at this file", err)
	case info.Mode()&fs.ModeSymlink != 0:
		return nil, fault(LinkedFile, path, "is a link")
	case !info.Mode().IsRegular():
		return nil, fault(NotFile, path, "is not an ordinary file")
	}
	if err := checkOwn(path, info, secret); err != nil {
		return nil, err
	}
	if info.Size() > limit {
		return nil, fault(DamagedFile, path, "is larger than %d bytes and cannot be a file of a key folder", limit)
	}
	return info, nil
}

// checkOwn refuses a file that others can change or, if it is secret, read. A second name
// of the file (a hard link) is harmless: owner and mode belong to the file.
func checkOwn(path string, info fs.FileInfo, secret bool) error {
	switch {
	case anothers(info):
		return fault(ForeignFile, path, "belongs to another user of this computer, who can change it")
	case hasModes && info.Mode().Perm()&0o022 != 0 && !secret:
		return fault(WritableList, path, "others can change this list of keys")
	case secret && hasModes && info.Mode().Perm()&0o077 != 0:
		return fault(ReadableKey, path, "others can read this key")
	}
	return nil
}

// read checks the folder and the file again, and reads it. found is false, and err nil, if
// there is no file of that name.
func (f *Folder) read(name string, secret bool, limit int64) (data []byte, found bool, err error) {
	if err := checkFolder(f.dir); err != nil {
		return nil, false, err
	}
	path := f.path(name)
	info, err := checkFile(path, secret, limit)
	if info == nil || err != nil {
		return nil, false, err
	}
	data, err = readChecked(path, info, limit, func(now fs.FileInfo) error { return checkOwn(path, now, secret) })
	return data, err == nil, err
}

// readChecked opens and reads the file at path, if it is still the file that info describes
// and check accepts it once it is open: a name can change between check and open.
func readChecked(path string, info fs.FileInfo, limit int64, check func(fs.FileInfo) error) ([]byte, error) {
	file, err := os.OpenFile(path, os.O_RDONLY|openFlags, 0)
	if err != nil {
		return nil, ioFault(path, "open this file", err)
	}
	defer file.Close()
	now, err := file.Stat()
	if err != nil || !os.SameFile(info, now) {
		return nil, fault(ReplacedFile, path, "was replaced while it was read")
	}
	if err := check(now); err != nil {
		return nil, err
	}
	data, err := io.ReadAll(io.LimitReader(file, limit+1))
	if err != nil {
		return nil, ioFault(path, "read this file", err)
	}
	if int64(len(data)) > limit {
		return nil, fault(WrongFile, path, "is larger than %d bytes", limit)
	}
	return data, nil
}

// CheckOwn refuses an open file or pipe that belongs to another user or that others can
// read. path is for the error.
func CheckOwn(path string, file *os.File) error {
	info, err := file.Stat()
	if err != nil {
		return ioFault(path, "look at this file", err)
	}
	if info.IsDir() {
		return fault(NamedFolder, path, "is a folder")
	}
	if anothers(info) {
		return fault(ForeignSecret, path, "belongs to another user of this computer")
	}
	if hasModes && info.Mode().Perm()&0o077 != 0 {
		return fault(ReadableSecret, path, "others can read this file, which holds a secret")
	}
	return nil
}

// ReadSecret reads a file with a secret key outside the key folder, such as a custodian's
// age identity. It must be an ordinary file that only its owner can read.
func ReadSecret(path string) ([]byte, error) {
	return readNamed(path, maxSecret, func(info fs.FileInfo) error { return checkOwn(path, info, true) })
}

// ReadHanded reads a file of at most limit bytes that one person hands to another: a share
// or public keys. It must be an ordinary file. Owner and mode are not checked: it comes on
// a stick whose file system has none, and it is either encrypted itself or believed only
// after a comparison.
func ReadHanded(path string, limit int64) ([]byte, error) {
	return readNamed(path, limit, func(fs.FileInfo) error { return nil })
}

// readNamed reads an ordinary file that a person named, if check accepts it, twice: before
// and after it is opened.
func readNamed(path string, limit int64, check func(fs.FileInfo) error) ([]byte, error) {
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, &Error{Fault: NoFile, Path: path, Message: "there is no such file", cause: err}
	case err != nil:
		return nil, ioFault(path, "look at this file", err)
	case info.Mode()&fs.ModeSymlink != 0:
		return nil, fault(NamedLink, path, "is a link")
	case info.IsDir():
		return nil, fault(NamedFolder, path, "is a folder")
	case !info.Mode().IsRegular():
		return nil, fault(NamedOther, path, "is not an ordinary file")
	}
	if err := check(info); err != nil {
		return nil, err
	}
	return readChecked(path, info, limit, check)
}

// missing returns the error for a file of the folder that does not exist.
func (f *Folder) missing(kind Fault, name string) *Error {
	return &Error{Fault: kind, Path: f.path(name), Message: "is missing", cause: fs.ErrNotExist}
}

// replace writes a file of the folder, complete or not at all. The caller has locked the
// folder, so temporary files in it are from a killed run, and are removed.
func (f *Folder) replace(name string, data []byte, mode fs.FileMode) error {
	root, err := durable.OpenFolder(f.dir)
	if err == nil {
		defer root.Close()
		err = durable.Sweep(root, name)
	}
	if err == nil {
		err = durable.Replace(root, name, data, mode)
	}
	if err != nil {
		return ioFault(f.path(name), "write this file", err)
	}
	return nil
}

// fill writes data, sets the mode regardless of the umask, syncs and closes file.
func fill(file *os.File, data []byte, mode fs.FileMode) error {
	_, err := file.Write(data)
	if hasModes {
		err = errors.Join(err, file.Chmod(mode))
	}
	return errors.Join(err, file.Sync(), file.Close())
}

// writeNew writes a file that must not exist yet.
func writeNew(dir, name string, data []byte, mode fs.FileMode) error {
	file, err := os.OpenFile(filepath.Join(dir, name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return err
	}
	return fill(file, data, mode)
}

// syncDir makes renames in dir durable. Windows cannot sync a folder.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
