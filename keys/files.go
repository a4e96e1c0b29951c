package keys

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

// Size limits in bytes. A secret file has at most 3 KiB, a hybrid recipient 2 KiB.
const (
	maxSecret = 64 << 10
	maxPublic = 64 << 10
	maxList   = 1 << 20
)

// Windows keeps access lists, which the mode bits do not show.
const hasModes = runtime.GOOS != "windows"

// checkFolder refuses what others can enter or what is not a folder.
func checkFolder(dir string) error {
	info, err := os.Lstat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &Error{Path: dir, Message: "there is no key folder here; name another with --keys DIR, or make one with keys new", cause: err}
	case err != nil:
		return ioFault(dir, "look at the key folder", err)
	case info.Mode()&fs.ModeSymlink != 0:
		return fault(dir, "is a link, not a folder; name the folder it leads to")
	case !info.IsDir():
		return fault(dir, "is not a folder; name the folder that holds the keys")
	case anothers(info):
		return fault(dir, "belongs to another user of this computer, who can change the keys; run: sudo chown -R \"$(id -un)\" %s, or run the command as the user whose folder it is", shellPath(dir))
	case hasModes && info.Mode().Perm()&0o077 != 0:
		return fault(dir, "others can get into this key folder; run: chmod 700 %s (if that changes nothing, the disk keeps no permissions: keep the keys on one that does)", shellPath(dir))
	}
	return nil
}

// checkFile returns nil, nil when there is no file at path.
func checkFile(path string, secret bool, limit int64) (fs.FileInfo, error) {
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil
	case err != nil:
		return nil, ioFault(path, "look at this file", err)
	case info.Mode()&fs.ModeSymlink != 0:
		return nil, fault(path, "is a link; put the file itself into the key folder")
	case !info.Mode().IsRegular():
		return nil, fault(path, "is not an ordinary file; move it out of the key folder")
	case anothers(info):
		return nil, fault(path, "belongs to another user of this computer, who can change it; run: sudo chown \"$(id -un)\" %s, or run the command as the user whose folder it is", shellPath(path))
	case hasModes && info.Mode().Perm()&0o022 != 0 && !secret:
		return nil, fault(path, "others can change this list of keys; look through it, then run: chmod 644 %s", shellPath(path))
	case secret && hasModes && info.Mode().Perm()&0o077 != 0:
		return nil, fault(path, "others can read this key; run: chmod 600 %s", shellPath(path))
	case info.Size() > limit:
		return nil, fault(path, "is larger than %d bytes and cannot be a file of a key folder; %s", limit, mendFile)
	}
	return info, nil
}

// read checks the folder and the file again and reads it. found is false, and
// err nil, when there is no file of that name.
func (f *Folder) read(name string, secret bool, limit int64) (data []byte, found bool, err error) {
	if err := checkFolder(f.dir); err != nil {
		return nil, false, err
	}
	path := f.path(name)
	info, err := checkFile(path, secret, limit)
	if info == nil || err != nil {
		return nil, false, err
	}
	file, err := os.OpenFile(path, os.O_RDONLY|openFlags, 0)
	if err != nil {
		return nil, false, ioFault(path, "open this file", err)
	}
	defer file.Close()
	if now, err := file.Stat(); err != nil || !os.SameFile(info, now) {
		return nil, false, fault(path, "was replaced while it was read; run the command again")
	}
	data, err = io.ReadAll(io.LimitReader(file, limit+1))
	if err != nil {
		return nil, false, ioFault(path, "read this file", err)
	}
	if int64(len(data)) > limit {
		return nil, false, fault(path, "is larger than %d bytes and cannot be a file of a key folder; %s", limit, mendFile)
	}
	return data, true, nil
}

// missing says that a file of the folder is not there.
func (f *Folder) missing(name, todo string) *Error {
	return &Error{Path: f.path(name), Message: "is missing; " + todo, cause: fs.ErrNotExist}
}

// replace writes a public file of the folder whole or not at all.
func (f *Folder) replace(name string, data []byte) error {
	path := f.path(name)
	err := func() (err error) {
		tmp, err := os.CreateTemp(f.dir, ".outbreath-*")
		if err != nil {
			return err
		}
		defer func() {
			if err != nil {
				os.Remove(tmp.Name())
			}
		}()
		if err := fill(tmp, data, 0o644); err != nil {
			return err
		}
		// The old file stands until the new one has been read back.
		if back, err := os.ReadFile(tmp.Name()); err != nil || !bytes.Equal(back, data) {
			return errors.Join(errors.New("what was written reads back otherwise"), err)
		}
		return os.Rename(tmp.Name(), path)
	}()
	if err == nil {
		err = syncDir(f.dir)
	}
	if err != nil {
		return ioFault(path, "write this file", err)
	}
	return nil
}

// fill writes, sets the mode whatever the umask, syncs and closes file.
func fill(file *os.File, data []byte, mode fs.FileMode) error {
	_, err := file.Write(data)
	if hasModes {
		err = errors.Join(err, file.Chmod(mode))
	}
	return errors.Join(err, file.Sync(), file.Close())
}

// writeNew writes a file that is not there yet.
func writeNew(dir, name string, data []byte, mode fs.FileMode) error {
	file, err := os.OpenFile(filepath.Join(dir, name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return err
	}
	return fill(file, data, mode)
}

// syncDir makes renames in dir last. Windows cannot sync a folder.
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
