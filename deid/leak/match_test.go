package leak

import "unicode/utf8"

func border(s string, i int) bool { return i == len(s) || utf8.RuneStart(s[i]) || !utf8.ValidString(s) }
