//go:build !linux

package durable

import "os"

func renameNew(root *os.Root, from, to string) error { return lookAndRename(root, from, to) }
