package durable

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
)

// A pipe of Windows does not lie in a folder, and os.Root opens no device's name.
const (
	noWait       = 0
	onlyFolder   = 0
	folderSuffix = ""
)

func openFolder(dir string) (*os.Root, error) {
	if dir == "" {
		dir = "."
	}
	return os.OpenRoot(dir)
}

// links returns how many names the open file has.
func links(f *os.File) (uint64, error) {
	var info syscall.ByHandleFileInformation
	if err := syscall.GetFileInformationByHandle(syscall.Handle(f.Fd()), &info); err != nil {
		return 0, &os.PathError{Op: "look at", Path: f.Name(), Err: err}
	}
	return uint64(info.NumberOfLinks), nil
}

// notOffered: Windows cannot flush a folder.
func notOffered(err error) bool {
	const invalidFunction, invalidHandle = syscall.Errno(1), syscall.Errno(6)
	return errors.Is(err, syscall.ERROR_ACCESS_DENIED) || errors.Is(err, invalidFunction) ||
		errors.Is(err, invalidHandle)
}

// own is not looked at: owners are in access lists here.
func own(*os.Root, fs.FileInfo) (bool, error) { return true, nil }

// Shared is not known: who may write is in access lists here.
func Shared(*os.Root, string) (string, error) { return "", nil }

// namesOf is not known without opening the file.
func namesOf(fs.FileInfo) uint64 { return 1 }
