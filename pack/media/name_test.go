package media_test

import (
	"strings"
	"testing"

	"outbreath/pack/media"
)

func TestPortableName(t *testing.T) {
	for _, good := range []string{
		"a", "07-0012", "07-0012.tar.zst.age.001", "READ-ME-FIRST.txt", "SHA256SUMS", "A_b.c-d", "0",
		"com", "com0", "com10", "console.txt", "xNUL", "a..b", strings.Repeat("a", 100),
	} {
		if err := media.PortableName(good); err != nil {
			t.Errorf("%q: %v", good, err)
		}
	}
	// The first line: Microsoft, "Naming Files, Paths, and Namespaces".
	for _, bad := range []string{
		"NUL.txt", "aux", "com1.json", "LPT9", "lpt1.a.b", "CON", "Prn.csv", "a.", "a ", "a:b", `a\b`, "a/b", "a<b",
		"a>b", `a"b`, "a|b", "a?b", "a*b", "a\x00b", "a\x1fb",
		"", ".", "..", ".hidden", "-rf", "_a", "COM\u00b9", "CONIN$", "é", "a b", "a\n", "~a", "\ufeffa",
		strings.Repeat("a", 101),
	} {
		err := media.PortableName(bad)
		if err == nil {
			t.Errorf("%q taken", bad)
		} else if len(bad) > 4 && strings.Contains(err.Error(), bad) {
			t.Errorf("the error quotes the name: %v", err)
		}
	}
}
