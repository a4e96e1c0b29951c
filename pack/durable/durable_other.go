//go:build !unix && !windows

package durable

import (
	"io/fs"
	"os"
)

const (
	noWait       = 0
	onlyFolder   = 0
	folderSuffix = ""
)

func openFolder(dir string) (*os.Root, error) { return os.OpenRoot(dir) }
func links(*os.File) (uint64, error)          { return 1, nil }
func notOffered(error) bool                   { return true }

// own is not looked at: owners are in access lists here.
func own(*os.Root, fs.FileInfo) (bool, error) { return true, nil }

// Shared is not known: who may write is in access lists here.
func Shared(*os.Root, string) (string, error) { return "", nil }

// namesOf is not known without opening the file.
func namesOf(fs.FileInfo) uint64 { return 1 }
