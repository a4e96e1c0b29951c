//go:build !unix && !windows

package durable

import "os"

const (
	noWait       = 0
	onlyFolder   = 0
	folderSuffix = ""
)

func openFolder(dir string) (*os.Root, error) { return os.OpenRoot(dir) }
func links(*os.File) (uint64, error)          { return 1, nil }
func notOffered(error) bool                   { return true }
