package durable

import (
	"os"
	"syscall"
)

// keepsModes reports whether the file system of root keeps a mode for each file. FAT,
// exFAT, NTFS through FUSE, SMB and 9P show that of their mount. Numbers: magic.h of
// the Linux kernel, statfs(2).
func keepsModes(root *os.Root) bool {
	d, err := root.Open(".")
	if err != nil {
		return true
	}
	defer d.Close()
	var st syscall.Statfs_t
	if syscall.Fstatfs(int(d.Fd()), &st) != nil {
		return true
	}
	switch uint32(st.Type) {
	case 0x4d44, 0x2011bab0, 0x5346544e, 0x65735546, 0x517b, 0xff534d42, 0xfe534d42, 0x01021997:
		return false // msdos, exfat, ntfs, fuse, smb, cifs, smb2, 9p
	}
	return true
}
