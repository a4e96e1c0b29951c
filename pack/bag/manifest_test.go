package bag

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// hello is "hello world\n" by sha256sum of GNU coreutils 9.1.
const hello = "a948904f2f0f479b8f8197694b30184b0d2ed1c1cd2a1ec0fb85d299a192a447"

func TestParseManifest(t *testing.T) {
	upper := strings.ToUpper(hello)
	for _, c := range []struct {
		name, data string
		payload    bool
		paths      []string // sorted
	}{
		{"one", hello + "  data/a\n", true, []string{"data/a"}},
		{"sorted by bytes", hello + "  data/b\n" + hello + " data/B\n" + hello + " data/a/c\n", true,
			[]string{"data/B", "data/a/c", "data/b"}},
		{"tab, upper case", upper + "\tdata/a\n", true, []string{"data/a"}},
		{"blanks in a name", hello + " \t data/a  b \n", true, []string{"data/a  b "}},
		{"CR", hello + "  data/a\r" + hello + "  data/b\r", true, []string{"data/a", "data/b"}},
		{"CRLF", hello + "  data/a\r\n" + hello + "  data/b\r\n", true, []string{"data/a", "data/b"}},
		// RFC 8493, 2.1.3: these three characters and only they are encoded.
		{"encoded", hello + "  data/a%25b%0Ac%0Dd%0a~\n", true, []string{"data/a%b\nc\rd\n~"}},
		{"encoded once", hello + "  data/%2525\n", true, []string{"data/%25"}},
		{"encoded at the end", hello + "  data/%25\n", true, []string{"data/%"}},
		{"normal forms kept", hello + "  data/Nu\u0301n\u0303ez\n", true, []string{"data/Nu\u0301n\u0303ez"}},
		// A drive is a letter and a colon (common practice, no source); the neighbours of the
		// letters in ASCII are none.
		{"no drive letters", hello + "  data/1:x\n" + hello + "  data/@:x\n" + hello + "  data/[:x\n" +
			hello + "  data/`:x\n" + hello + "  data/{:x\n", true,
			[]string{"data/1:x", "data/@:x", "data/[:x", "data/`:x", "data/{:x"}},
		{"as long as a path may be", hello + "  data/" + strings.Repeat("a", 4096-5) + "\n", true,
			[]string{"data/" + strings.Repeat("a", 4096-5)}},
		{"tag files", hello + "  manifest-sha256.txt\n" + hello + "  bagit.txt\n", false,
			[]string{"bagit.txt", "manifest-sha256.txt"}},
		{"tag file in a folder", hello + "  meta/data/x\n", false, []string{"meta/data/x"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ParseManifest([]byte(c.data), c.payload)
			if err != nil {
				t.Fatal(err)
			}
			var paths []string
			for _, e := range got {
				paths = append(paths, e.Path)
				if e.SHA256 != sha256.Sum256([]byte("hello world\n")) {
					t.Error("wrong checksum")
				}
			}
			if d := cmp.Diff(c.paths, paths); d != "" {
				t.Error(d)
			}
		})
	}
}

// Names in the style of "out-of-scope-file-paths" and so on are those of
// invalid and warning bags of the Library of Congress conformance suite.
func TestParseManifestRefuses(t *testing.T) {
	line := func(path string) string { return hello + "  " + path + "\n" }
	for _, c := range []struct {
		name, data string
		tag        bool
		line       int
		msg        string
	}{
		{"empty", "", false, 0, "empty"},
		{"BOM", "\ufeff" + line("data/a"), false, 1, "byte-order mark"},
		{"BOM of UTF-16", "\xff\xfe" + line("data/a"), false, 1, "UTF-8"},
		{"cut short", line("data/a") + hello + "  data/sess", false, 2, "cut short"},
		{"cut in the checksum", line("data/a") + hello[:20] + "\n", false, 2, "is not a checksum"},
		{"empty line", line("data/a") + "\n" + line("data/b"), false, 2, "is not a checksum"},
		{"blank before the checksum", " " + line("data/a"), false, 1, "64 hexadecimal"},
		{"no path", hello + "  \n", false, 1, "no path"},
		{"not hexadecimal", strings.Repeat("g", 64) + "  data/a\n", false, 1, "64 hexadecimal"},
		{"SHA-512", hello + line("data/a"), false, 1, "64 hexadecimal"},
		{"MD5", "d41d8cd98f00b204e9800998ecf8427e  data/a\n", false, 1, "64 hexadecimal"},
		{"not UTF-8", line("data/\xfc"), false, 1, "UTF-8"},
		{"same-filename-listed-twice, same hash", line("data/a") + line("data/b") + line("data/a"), false, 3,
			"as line 1"},
		{"same-filename-listed-twice, different hash", line("data/a") + strings.Repeat("0", 64) + "  data/a\n", false,
			2, "as line 1"},
		{"twice, one encoded", line("data/%0A") + line("data/%0a"), false, 2, "as line 1"},
		{"outside data", line("bagit.txt"), false, 1, "outside data/"},
		{"outside data, like it", line("database/a"), false, 1, "outside data/"},
		{"data in capitals", line("Data/a"), false, 1, "outside data/"},
		{"data itself", line("data"), false, 1, "outside data/"},
		{"folder", line("data/a/"), false, 1, `"//"`},
		{"double slash", line("data//a"), false, 1, `"//"`},
		{"out-of-scope-file-paths, dots", line("../../../x"), false, 1, `".."`},
		{"out-of-scope-file-paths, dots within", line("data/../../x"), false, 1, `".."`},
		{"dots at the end", line("data/.."), false, 1, `".."`},
		{"leading dot slash", line("./data/a"), false, 1, `"."`},
		{"dot within", line("data/./a"), false, 1, `"."`},
		{"out-of-scope-file-paths, absolute", line("/etc/passwd"), false, 1, "absolute"},
		{"out-of-scope-file-paths, home", line("~/foo"), false, 1, `"~"`},
		{"home of another", line("~root/foo"), true, 1, `"~"`},
		{"out-of-scope-file-paths, UNC", line(`\\host\share\x`), false, 1, "checksum tool"},
		{"drive letter", line("c:/x"), true, 1, "drive letter"},
		{"drive letter within", line("data/C:x"), false, 1, "drive letter"},
		{"drive letter a", line("data/a:x"), false, 1, "drive letter"},
		{"drive letter z", line("data/z:x"), false, 1, "drive letter"},
		{"drive letter A", line("data/A:x"), false, 1, "drive letter"},
		{"drive letter Z", line("data/Z:x"), false, 1, "drive letter"},
		{"drive letter alone", line("c:"), true, 1, "drive letter"},
		{"too long by one", line("data/" + strings.Repeat("a", 4097-5)), false, 1, "longer than 4096"},
		{"data itself in the tag manifest", line("data"), true, 1, "inside data/"},
		{"backslash", line(`data/..\x`), false, 1, "backslash"},
		{"made-with-md5sum-tools, binary", hello + " *data/a\n", false, 1, "checksum tool"},
		{"made-with-md5sum-tools, escaped", `\` + line("data/a"), false, 1, "64 hexadecimal"},
		{"percent sign", line("data/a%b"), false, 1, "percent"},
		{"percent sign at the end", line("data/a%2"), false, 1, "percent"},
		{"other characters encoded", line("data/%7Ea"), false, 1, "percent"},
		{"encoded slash", line("data/..%2Fx"), false, 1, "percent"},
		{"NUL", line("data/a\x00b"), false, 1, "control character"},
		{"too long", line("data/" + strings.Repeat("a", maxPath)), false, 1, "longer than 4096"},
		{"payload in the tag manifest", line("data/a"), true, 1, "inside data/"},
		{"encoded line feed hides nothing", line("%0Adata/a"), false, 1, "outside data/"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ParseManifest([]byte(c.data), !c.tag)
			var s *SyntaxError
			if !errors.As(err, &s) {
				t.Fatalf("got %v, %v", got, err)
			}
			if s.Line != c.line || !strings.Contains(s.Msg, c.msg) {
				t.Errorf("got line %d: %s", s.Line, s.Msg)
			}
			if strings.Contains(err.Error(), "passwd") || strings.Contains(err.Error(), "foo") {
				t.Errorf("quotes the path: %v", err)
			}
		})
	}
	if _, err := ParseManifest(make([]byte, MaxBytes+1), true); err == nil {
		t.Error("no bound")
	}
}

// What is refused is named by its place: the line of a file, the entry of a list.
func TestPlaceNamed(t *testing.T) {
	_, err := ParseManifest([]byte(hello+"  data/a\n"+hello+"  /b\n"), true)
	if err == nil || err.Error() != "line 2: the path is absolute" {
		t.Errorf("the second line: %v", err)
	}
	if _, err := ParseManifest(nil, true); err == nil || err.Error() != "the file is empty" {
		t.Errorf("the whole file: %v", err)
	}
	_, err = FormatManifest([]Entry{{Path: "data/a"}, {Path: "/b"}}, true)
	if err == nil || !strings.HasPrefix(err.Error(), "entry 2 of ") {
		t.Errorf("the second entry: %v", err)
	}
	_, err = FormatInfo([]Field{{"A", "b"}, {"", "c"}})
	if err == nil || !strings.HasPrefix(err.Error(), "field 2 of ") {
		t.Errorf("the second field: %v", err)
	}
}

// The bounds are 32 MiB and 524,288 lines: what reaches them is read and written, one more is not.
func TestBounds(t *testing.T) {
	const mostBytes, mostLines = 33_554_432, 524_288
	long := append(bytes.Repeat([]byte("a"), mostBytes-1), '\n')
	if lines, err := splitLines(long); err != nil || len(lines) != 1 {
		t.Errorf("%d bytes: %d lines, %v", len(long), len(lines), err)
	}
	if _, err := splitLines(append(long, '\n')); err == nil || !strings.Contains(err.Error(), "33554432 bytes") {
		t.Errorf("a byte more: %v", err)
	}
	if lines, err := splitLines(bytes.Repeat([]byte("\n"), mostLines)); err != nil || len(lines) != mostLines {
		t.Errorf("%d lines, %v", len(lines), err)
	}
	_, err := splitLines(bytes.Repeat([]byte("\n"), mostLines+1))
	if err == nil || !strings.Contains(err.Error(), "524288 lines") {
		t.Errorf("a line more: %v", err)
	}

	// A line has 64 digits, two spaces, the path and a line feed; the last path makes up the size.
	sized := func(bytes int) (entries []Entry) {
		for i := 0; bytes > 0; i++ {
			n := min(bytes, 4096+67)
			if left := bytes - n; 0 < left && left < 100 {
				n -= 100
			}
			name := "data/" + strconv.Itoa(i)
			entries = append(entries, Entry{Path: name + strings.Repeat("a", n-67-len(name))})
			bytes -= n
		}
		return entries
	}
	if out, err := FormatManifest(sized(mostBytes), true); err != nil || len(out) != mostBytes {
		t.Errorf("a manifest of %d bytes, %v", len(out), err)
	}
	if _, err := FormatManifest(sized(mostBytes+1), true); err == nil {
		t.Error("a manifest was written that would be refused")
	}
}

func TestFormatManifest(t *testing.T) {
	sum := sha256.Sum256([]byte("hello world\n"))
	got, err := FormatManifest([]Entry{{"data/b", sum}, {"data/a%b\r\n~c", sum}, {"data/B", sum}}, true)
	if err != nil {
		t.Fatal(err)
	}
	want := hello + "  data/B\n" + hello + "  data/a%25b%0D%0A~c\n" + hello + "  data/b\n"
	if string(got) != want {
		t.Errorf("got\n%s", got)
	}
	for name, entries := range map[string][]Entry{
		"none":    {},
		"twice":   {{"data/a", sum}, {"data/b", sum}, {"data/a", [32]byte{1}}},
		"outside": {{"bagit.txt", sum}},
		"dots":    {{"data/../a", sum}},
		"UTF-8":   {{"data/\xff", sum}},
	} {
		if got, err := FormatManifest(entries, true); err == nil {
			t.Errorf("%s: got %q", name, got)
		}
	}
	if got, err := FormatManifest([]Entry{{" bagit.txt", sum}}, false); err == nil {
		t.Errorf("leading blank: got %q", got)
	}
}

// TestSha256sum has GNU coreutils read a manifest of ours.
func TestSha256sum(t *testing.T) {
	tool, err := exec.LookPath("sha256sum")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("sha256sum is needed")
		}
		t.Skip("no sha256sum")
	}
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "data", "sessions"), 0o755); err != nil {
		t.Fatal(err)
	}
	var entries []Entry
	for _, p := range []string{"data/tubes.csv", "data/sessions/a b.json", "data/sessions/~ü.json"} {
		if err := os.WriteFile(filepath.Join(dir, p), []byte(p), 0o600); err != nil {
			t.Fatal(err)
		}
		entries = append(entries, Entry{p, sha256.Sum256([]byte(p))})
	}
	check := func() error {
		data, err := FormatManifest(entries, true)
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(tool, "--strict", "--quiet", "-c", "-")
		cmd.Dir, cmd.Stdin = dir, bytes.NewReader(data)
		return cmd.Run()
	}
	if err := check(); err != nil {
		t.Errorf("sha256sum refuses a good manifest: %v", err)
	}
	entries[1].SHA256[0] ^= 1
	if check() == nil {
		t.Error("sha256sum accepts a wrong checksum")
	}
}

func drawEntries(t *rapid.T, payload bool) []Entry {
	prefix := ""
	if payload {
		prefix = "data/"
	}
	name := rapid.StringMatching(`[a-zA-Z0-9%~é漢][a-zA-Z0-9%\r\n ~.:é漢]{0,12}[a-zé%\n]`)
	paths := rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) string {
		return prefix + strings.Join(rapid.SliceOfN(name, 1, 3).Draw(t, "names"), "/")
	}), 1, 20, rapid.ID).Draw(t, "paths")
	var entries []Entry
	for _, p := range paths {
		if checkPath(p, payload) != "" {
			t.Skip("not a path")
		}
		sum := rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "sum")
		entries = append(entries, Entry{p, [32]byte(sum)})
	}
	return entries
}

func TestManifestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		payload := rapid.Bool().Draw(t, "payload")
		entries := drawEntries(t, payload)
		data, err := FormatManifest(entries, payload)
		if err != nil {
			t.Fatal(err)
		}
		got, err := ParseManifest(data, payload)
		if err != nil {
			t.Fatalf("%v in\n%s", err, data)
		}
		sortEntries(entries)
		if d := cmp.Diff(entries, got); d != "" {
			t.Fatal(d)
		}
		if n := bytes.Count(data, []byte("\n")); n != len(entries) {
			t.Fatalf("%d lines for %d files", n, len(entries))
		}
	})
}

func FuzzParseManifest(f *testing.F) {
	f.Add([]byte(hello+"  data/a%25\n"+hello+"\tdata/b\r\n"), true)
	f.Add([]byte(hello+"  bagit.txt\r"), false)
	f.Add([]byte(hello+"  ../a\n"), true)
	f.Fuzz(func(t *testing.T, data []byte, payload bool) {
		entries, err := ParseManifest(data, payload)
		if err != nil {
			if !errors.As(err, new(*SyntaxError)) {
				t.Fatalf("%T", err)
			}
			return
		}
		for _, e := range entries {
			if !filepath.IsLocal(filepath.FromSlash(e.Path)) {
				t.Fatalf("%q leads out of the bag", e.Path)
			}
		}
		out, err := FormatManifest(entries, payload)
		if err != nil {
			t.Fatal(err)
		}
		again, err := ParseManifest(out, payload)
		if err != nil || !slices.Equal(again, entries) {
			t.Fatalf("read back as %v, %v", again, err)
		}
		// Canonical: sorted, lower case, two spaces, LF. The same lines in any
		// order and dress give the same bytes.
		lines := strings.SplitAfter(string(out), "\n")
		slices.Reverse(lines)
		dressed := strings.ReplaceAll(strings.ReplaceAll(strings.Join(lines, ""), "  ", " \t"), "\n", "\r\n")
		if strings.Contains(string(out), "  ") && strings.Count(string(out), "  ") == len(entries) {
			again, err = ParseManifest([]byte(dressed), payload)
			if err != nil || !slices.Equal(again, entries) {
				t.Fatalf("in other dress %v, %v", again, err)
			}
		}
	})
}
