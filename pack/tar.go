package pack

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"strconv"
)

const (
	tarBlock = 512
	// tarTime is the time of every entry: 1980-01-01T00:00:00Z, the first that
	// a FAT file system can hold.
	tarTime = 315532800
)

// tarHeader returns the USTAR header of a plain file: mode 0644, owner 0,
// constant time, no names of people or computers. Equal arguments give equal
// bytes. name has 1 to 100 ASCII bytes, size is 0 to 2^33-1.
//
// Source: POSIX.1-2017, pax, "ustar Interchange Format".
func tarHeader(name string, size int64) (h [tarBlock]byte) {
	copy(h[0:100], name)
	copy(h[100:], "0000644\x00")
	copy(h[108:], "0000000\x00")
	copy(h[116:], "0000000\x00")
	copy(h[124:], fmt.Sprintf("%011o\x00", size))
	copy(h[136:], fmt.Sprintf("%011o\x00", tarTime))
	copy(h[148:], "        ")
	h[156] = '0'
	copy(h[257:], "ustar\x0000")
	copy(h[329:], "0000000\x00")
	copy(h[337:], "0000000\x00")
	sum := 0
	for _, b := range h {
		sum += int(b)
	}
	copy(h[148:], fmt.Sprintf("%06o\x00 ", sum))
	return h
}

// tarPadding returns how many zero bytes follow size bytes of a file.
func tarPadding(size int64) int64 { return -size & (tarBlock - 1) }

// entryName is a name that is safe on every system: relative, no dot names, no
// hidden files, ASCII.
var entryName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]*(/[A-Za-z0-9][A-Za-z0-9._-]*)*$`)

// parseTarHeader is the inverse of tarHeader, and takes nothing else: no link,
// folder, device, extended header, other owner, mode or time. The error says
// which in words, and quotes nothing.
func parseTarHeader(h *[tarBlock]byte) (name string, size int64, err error) {
	name = string(bytes.TrimRight(h[0:100], "\x00"))
	size, err = strconv.ParseInt(string(h[124:135]), 8, 64)
	switch {
	case string(h[257:265]) != "ustar\x0000" || err != nil || size < 0:
		return "", 0, errors.New("has no header that outbreath writes")
	case h[156] != '0':
		return "", 0, errors.New("is a link, a folder or something else that is not an ordinary file")
	case !entryName.MatchString(name):
		return "", 0, errors.New("has a name that could lead out of its folder or that some systems cannot hold")
	case *h != tarHeader(name, size):
		return "", 0, errors.New("has an owner, a mode, a time or another mark that outbreath does not write")
	}
	return name, size, nil
}
