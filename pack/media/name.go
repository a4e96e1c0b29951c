package media

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
)

var portableRE = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]*$`)

// reserved names are devices to Windows, with or without an extension. Source:
// Microsoft, "Naming Files, Paths, and Namespaces"; the names with superscript
// digits and with $ have characters that are refused already.
var reserved = map[string]bool{"CON": true, "PRN": true, "AUX": true, "NUL": true}

func init() {
	for _, port := range []string{"COM", "LPT"} {
		for d := '1'; d <= '9'; d++ {
			reserved[port+string(d)] = true
		}
	}
}

const maxName = 100

// PortableName returns what keeps Linux, macOS or Windows from holding a file or
// folder of that name on any file system, or nil for 1 to 100 ASCII letters, digits
// and ". _ -", a letter or digit first, no dot last, no device of Windows. That two
// names differ by more than case is for the caller to check. The error does not
// quote the name.
//
// Source: POSIX Base Definitions, "Portable Filename Character Set"; Microsoft,
// as above; the length is ours.
func PortableName(name string) error {
	device, _, _ := strings.Cut(name, ".")
	switch {
	case name == "":
		return errors.New("the file name is empty")
	case len(name) > maxName:
		return fmt.Errorf("the file name is longer than %d characters; shorten it", maxName)
	case !portableRE.MatchString(name):
		return errors.New("the file name must begin with an English letter or a digit and hold only those " +
			`and ". _ -"; rename the file`)
	case strings.HasSuffix(name, "."):
		return errors.New("the file name ends with a dot, which Windows drops; rename the file")
	case reserved[strings.ToUpper(device)]:
		return errors.New("the file name is the name of a device in Windows, such as NUL or COM1; rename the file")
	}
	return nil
}
