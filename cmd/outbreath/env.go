package main

import (
	"io/fs"
	"maps"
	"os"
	"os/user"
	"slices"
	"time"
)

func lstat(path string) (fs.FileInfo, error) { return os.Lstat(path) }

// now returns the time for an audit trail: UTC, in whole seconds.
func now() time.Time { return time.Now().UTC().Truncate(time.Second) }

// operatorName returns by or, if that is "", the user's name on this computer, for the
// audit trail.
func operatorName(by string) string {
	if by != "" {
		return by
	}
	if u, err := user.Current(); err == nil && u.Username != "" {
		return u.Username
	}
	return "unnamed"
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
