package main

import "golang.org/x/sys/unix"

// memory is a folder that lies in memory, or "". Most tests do not ask how long a disk takes
// to sync, and wait for it half of their time; those that are about disks mount one, or count the
// calls. OUTBREATH_FULL=1, or TMPDIR, leaves the temporary folders where they are.
func memory() string {
	const dir, least = "/dev/shm", 2 << 30
	var fs unix.Statfs_t
	if full() || unix.Access(dir, unix.W_OK) != nil || unix.Statfs(dir, &fs) != nil {
		return ""
	}
	if fs.Flags&(unix.MS_NOEXEC|unix.MS_NODEV) != 0 || fs.Bavail*uint64(fs.Bsize) < least {
		return "" // programs are run there, and devices made
	}
	return dir
}
