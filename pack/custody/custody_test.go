package custody

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"outbreath/pack/durable"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func sample(i int) Entry {
	return Entry{
		When: noon.Add(time.Duration(i) * time.Minute), Who: "coordinator", What: []string{"sealing", "sealed"}[i%2],
		Shipment: fmt.Sprintf("07-%04d", i/2+1), Why: "weekly <box> & \"stick\"",
		Facts: map[string]string{"tubes": "12", "sum": "b", "archive": "a"},
	}
}

// lines returns the lines, with line feeds, of a journal of n entries.
func lines(t testing.TB, n int) [][]byte {
	t.Helper()
	j := newJournal("")
	var all [][]byte
	for i := range n {
		e := sample(i)
		e.Seq, e.Prev = len(j.Entries)+1, j.last
		line, err := format(&e)
		if err != nil {
			t.Fatal(err)
		}
		j.keep(e, line)
		all = append(all, line)
	}
	return all
}

func journalPath(t testing.TB) string { return filepath.Join(t.TempDir(), "custody.jsonl") }

// at opens the folder of a journal; it is closed with the last use of the handle.
func at(path string) (*os.Root, string) {
	root, name, err := durable.At(path)
	if err != nil {
		panic(err)
	}
	return root, name
}

func readAt(path string) (*Journal, error) { return Read(at(path)) }

func journalAt(path string) *Journal {
	j := newJournal(path)
	j.root, j.name = at(path)
	return j
}

func repairAt(path string) (string, error) {
	root, name := at(path)
	moved, err := Repair(root, name, "")
	if moved != "" {
		moved = filepath.Join(filepath.Dir(path), moved)
	}
	return moved, err
}

func TestAppendRead(t *testing.T) {
	path := journalPath(t)
	j, err := readAt(path)
	if err != nil || len(j.Entries) != 0 || j.Head() != strings.Repeat("0", 64) {
		t.Fatal(j, err)
	}
	here := time.FixedZone("", 2*3600)
	for i := range 5 {
		e := sample(i)
		e.When = e.When.In(here)
		if i == 2 { // a second reader goes on where the first stopped
			if j, err = readAt(path); err != nil {
				t.Fatal(err)
			}
		}
		if err := j.Append(e); err != nil {
			t.Fatal(err)
		}
	}
	again, err := readAt(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(j, again, cmp.AllowUnexported(Journal{}), cmpopts.IgnoreFields(Journal{}, "root")); d != "" {
		t.Error(d)
	}
	for i, e := range again.Entries {
		want := sample(i)
		want.Seq = i + 1
		if d := cmp.Diff(want, e, cmpopts.IgnoreFields(Entry{}, "Prev", "Sum")); d != "" {
			t.Error(d)
		}
	}
	st, err := os.Stat(path)
	if err != nil || st.Mode().Perm() != 0o600 && runtime.GOOS != "windows" {
		t.Errorf("mode %v, %v", st.Mode(), err)
	}
	data, _ := os.ReadFile(path)
	if !bytes.Equal(data, bytes.Join(lines(t, 5), nil)) {
		t.Errorf("equal entries give other bytes:\n%s", data)
	}
}

// TestStockTools follows the chain with sed and sha256sum, as the doc comments
// say that anybody can.
func TestStockTools(t *testing.T) {
	for _, tool := range []string{"sh", "sed", "tr", "tail", "sha256sum"} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatal(err)
			}
			t.Skip(err)
		}
	}
	all := lines(t, 3)
	sh := func(script string, in []byte) string {
		cmd := exec.Command("sh", "-c", script)
		cmd.Stdin = bytes.NewReader(in)
		out, err := cmd.Output()
		if err != nil {
			t.Fatal(err)
		}
		return strings.Fields(string(out))[0]
	}
	j, err := check("", bytes.Join(all, nil))
	if err != nil {
		t.Fatal(err)
	}
	for i, line := range all {
		if got := sh(`sed 's/\(.*\),"sum":.*/\1/' | tr -d '\n' | sha256sum`, line); got != j.Entries[i].Sum {
			t.Errorf("line %d: sum %s", i+1, got)
		}
		if i > 0 {
			if got := sh(`tr -d '\n' | sha256sum`, all[i-1]); got != j.Entries[i].Prev {
				t.Errorf("line %d: prev %s", i+1, got)
			}
		}
	}
	if got := sh(`tail -n1 | tr -d '\n' | sha256sum`, bytes.Join(all, nil)); got != j.Head() {
		t.Errorf("head %s", got)
	}
}

// TestEveryChange makes every deletion, swap of neighbours, doubling and edit of
// one line in a journal of 200 entries.
func TestEveryChange(t *testing.T) {
	all := lines(t, 200)
	j, err := check("custody.jsonl", bytes.Join(all, nil))
	if err != nil {
		t.Fatal(err)
	}
	// The lines before the change are good and read once; a change shows within
	// the next two lines or not at all, which the last ones here show.
	before := 0
	sound := newJournal("custody.jsonl")
	brokenAt := func(parts ...[]byte) int {
		at := *sound
		at.Entries = slices.Clip(at.Entries)
		var b *BrokenError
		if err := at.take(bytes.Join(parts[before:min(len(parts), before+6)], nil)); errors.As(err, &b) {
			return b.Line
		}
		return 0
	}
	for i := range all {
		line := i + 1
		if i > 1 {
			sound.keep(j.Entries[before], all[before])
			before++
		}
		changed := slices.Delete(slices.Clone(all), i, i+1)
		// Without its last line the journal is whole: see the package comment.
		if want, got := line%len(all), brokenAt(changed...); got != want {
			t.Errorf("line %d removed: line %d named", line, got)
		}
		if i > 0 {
			changed = slices.Clone(all)
			changed[i-1], changed[i] = changed[i], changed[i-1]
			if got := brokenAt(changed...); got != line-1 {
				t.Errorf("lines %d and %d swapped: line %d named", line-1, line, got)
			}
		}
		changed = slices.Insert(slices.Clone(all), i, all[i])
		if got := brokenAt(changed...); got != line+1 {
			t.Errorf("line %d twice: line %d named", line, got)
		}
		for _, edit := range [][2]string{
			{"coordinator", "coordinatos"}, {"weekly", "Weekly"}, {`"tubes":"12"`, `"tubes":"11"`}, {"2026", "2025"},
			{`"prev":"`, `"prev": "`}, {`}}`, `}} `}, {`"who"`, `"Who"`}, {`,"why"`, `,"x":1,"why"`}, {"07-", "08-"},
			{`"sum":"` + tail(all[i]), `"sum":"` + strings.Repeat("0", 64)},
		} {
			changed = slices.Clone(all)
			changed[i] = bytes.Replace(all[i], []byte(edit[0]), []byte(edit[1]), 1)
			if bytes.Equal(changed[i], all[i]) && edit[0] != "}}" {
				t.Fatalf("edit %q changes nothing", edit)
			}
			if got := brokenAt(changed...); !bytes.Equal(changed[i], all[i]) && got != line {
				t.Errorf("%q in line %d: line %d named", edit[0], line, got)
			}
		}
		// Edited by somebody who makes a new checksum: the next line tells.
		e, _ := parse(all[i][:len(all[i])-1])
		e.Why = "another reason"
		forged, err := format(&e)
		if err != nil {
			t.Fatal(err)
		}
		changed = slices.Clone(all)
		changed[i] = forged
		if want, got := (line+1)%(len(all)+1), brokenAt(changed...); got != want {
			t.Errorf("line %d forged: line %d named", line, got)
		}
	}
}

func tail(line []byte) string {
	s := string(line)
	return s[len(s)-67 : len(s)-3]
}

// TestAnyByte: no byte of the file can be another one.
func TestAnyByte(t *testing.T) {
	all := lines(t, 20)
	data := bytes.Join(all, nil)
	rapid.Check(t, func(t *rapid.T) {
		i := rapid.IntRange(0, len(data)-1).Draw(t, "at")
		changed := slices.Clone(data)
		changed[i] ^= rapid.ByteRange(1, 255).Draw(t, "bits")
		line := bytes.Count(data[:i], []byte("\n")) + 1
		_, err := check("custody.jsonl", changed)
		var b *BrokenError
		var torn *TornError
		switch {
		case errors.As(err, &b) && b.Line == line:
		case errors.As(err, &torn) && i == len(data)-1:
		default:
			t.Fatalf("byte %d, in line %d: %v", i, line, err)
		}
	})
}

// TestCut: cut anywhere, what is left is whole lines, or torn.
func TestCut(t *testing.T) {
	data := bytes.Join(lines(t, 3), nil)
	for n := range data {
		j, err := check("custody.jsonl", data[:n])
		whole := bytes.Count(data[:n], []byte("\n"))
		var torn *TornError
		if n == 0 || data[n-1] == '\n' {
			if err != nil || len(j.Entries) != whole {
				t.Errorf("cut at %d: %v", n, err)
			}
		} else if !errors.As(err, &torn) || torn.Line != whole+1 {
			t.Errorf("cut at %d: %v", n, err)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	good := lines(t, 1)[0]
	for name, data := range map[string]string{
		"empty line":     string(good) + "\n",
		"no object":      "[]\n",
		"no JSON":        "yes\n",
		"CRLF":           strings.Replace(string(good), "\n", "\r\n", 1),
		"byte-order":     "\ufeff" + string(good),
		"too long":       `{"who":"` + strings.Repeat("a", maxLine) + "\"}\n",
		"first is not 1": string(lines(t, 2)[1]),
	} {
		_, err := check("custody.jsonl", []byte(data))
		var b *BrokenError
		if !errors.As(err, &b) || !strings.HasPrefix(err.Error(), "custody.jsonl:") {
			t.Errorf("%s: %v", name, err)
		}
	}
	path := journalPath(t)
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, maxFile+1); err == nil {
		if _, err := readAt(path); err == nil || !strings.Contains(err.Error(), "has more than") {
			t.Errorf("too large: %v", err)
		}
	}
	if _, err := readAt(filepath.Dir(path)); err == nil {
		t.Error("a folder was read")
	}
}

// TestMessages: the coordinator is told which kind of change was made.
func TestMessages(t *testing.T) {
	all := lines(t, 4)
	edited := bytes.Replace(all[1], []byte("weekly"), []byte("Weekly"), 1)
	for _, c := range []struct {
		msg   string
		lines [][]byte
	}{
		{":2: this line was changed after it was written", [][]byte{all[0], edited, all[2]}},
		{":2: this line is not an entry", [][]byte{all[0], []byte("{}\n"), all[1]}},
		{":2: this line does not follow the one before: lines between them are missing", [][]byte{all[0], all[2]}},
		{":3: this line does not follow the one before: it was put in", [][]byte{all[0], all[1], all[1]}},
	} {
		_, err := check("custody.jsonl", bytes.Join(c.lines, nil))
		if err == nil || !strings.HasPrefix(err.Error(), "custody.jsonl"+c.msg) {
			t.Errorf("want %q, got %v", c.msg, err)
		}
	}
}

func TestAppendRefuses(t *testing.T) {
	path := journalPath(t)
	j := journalAt(path)
	for name, change := range map[string]func(*Entry){
		"no time":           func(e *Entry) { e.When = time.Time{} },
		"time of year 0":    func(e *Entry) { e.When = time.Date(-1, 1, 1, 0, 0, 0, 0, time.UTC) },
		"nobody":            func(e *Entry) { e.Who = "" },
		"nothing":           func(e *Entry) { e.What = "" },
		"no reason":         func(e *Entry) { e.Why = "" },
		"not UTF-8":         func(e *Entry) { e.Why = "\xff" },
		"control character": func(e *Entry) { e.Facts["a"] = "\x1b[2J" },
		"carriage return":   func(e *Entry) { e.Why = "a\r\nb" },
		"too long":          func(e *Entry) { e.Why = strings.Repeat("a", maxLine) },
	} {
		e := sample(0)
		change(&e)
		if err := j.Append(e); err == nil || !strings.HasPrefix(err.Error(), path) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		t.Error("a file was made")
	}
	e := sample(0)
	e.Why, e.Facts = "two\nlines\tand a tab \u2028 <&>", nil
	if err := j.Append(e); err != nil {
		t.Error(err)
	}
	if again, err := readAt(path); err != nil || again.Entries[0].Why != e.Why {
		t.Error(err)
	}
}

func TestChanged(t *testing.T) {
	for name, change := range map[string]func(path string, data []byte) error{
		"another entry": func(path string, _ []byte) error {
			other, err := readAt(path)
			if err != nil {
				return err
			}
			return other.Append(sample(1))
		},
		"last line edited, same length": func(path string, data []byte) error {
			return os.WriteFile(path, bytes.Replace(data, []byte("weekly"), []byte("Weekly"), 1), 0o600)
		},
		"cut":     func(path string, data []byte) error { return os.WriteFile(path, data[:len(data)-1], 0o600) },
		"emptied": func(path string, _ []byte) error { return os.Truncate(path, 0) },
		"gone":    func(path string, _ []byte) error { return os.Remove(path) },
	} {
		path := journalPath(t)
		j := journalAt(path)
		if err := j.Append(sample(0)); err != nil {
			t.Fatal(err)
		}
		data, _ := os.ReadFile(path)
		if err := change(path, data); err != nil {
			t.Fatal(err)
		}
		before, errBefore := os.ReadFile(path)
		if err := j.Append(sample(2)); !errors.As(err, new(*ChangedError)) {
			t.Errorf("%s: %v", name, err)
		}
		after, errAfter := os.ReadFile(path)
		if !bytes.Equal(before, after) || (errBefore == nil) != (errAfter == nil) || len(j.Entries) != 1 {
			t.Errorf("%s: something was written", name)
		}
	}
	path := journalPath(t)
	first, second := journalAt(path), journalAt(path)
	if err := first.Append(sample(0)); err != nil {
		t.Fatal(err)
	}
	if err := second.Append(sample(0)); !errors.As(err, new(*ChangedError)) {
		t.Errorf("two first entries: %v", err)
	}
}

// TestWriters has several add at once; each that is told so has its entry.
func TestWriters(t *testing.T) {
	path := journalPath(t)
	var wg sync.WaitGroup
	const writers, each = 4, 10
	for w := range writers {
		wg.Go(func() {
			for n := 0; n < each; {
				j, err := readAt(path)
				if err != nil {
					t.Error(err)
					return
				}
				e := sample(n)
				e.Who = fmt.Sprint(w)
				switch err := j.Append(e); {
				case err == nil:
					n++
				case !errors.As(err, new(*ChangedError)):
					t.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	j, err := readAt(path)
	if err != nil || len(j.Entries) != writers*each {
		t.Fatal(len(j.Entries), err)
	}
}

// A failing replaces the file of the journal on a failing disk.
type failing struct {
	*os.File
	write, sync, close error
	keep               int // bytes that a failing write takes
	lose               int // bytes of its beginning that a write loses, without a word of it
}

func (f failing) Write(b []byte) (int, error) {
	if f.lose > 0 {
		n, err := f.File.Write(b[f.lose:])
		return n + f.lose, err
	}
	if f.keep < 0 {
		return f.File.Write(b)
	}
	n, _ := f.File.Write(b[:f.keep])
	return n, f.write
}

func (f failing) Sync() error  { return errors.Join(f.File.Sync(), f.sync) }
func (f failing) Close() error { return errors.Join(f.File.Close(), f.close) }

func TestAppendFails(t *testing.T) {
	for _, c := range []struct {
		name string
		f    failing
		torn bool
	}{
		{"full at once", failing{write: syscall.ENOSPC}, false},
		{"full within the line", failing{write: syscall.ENOSPC, keep: 40}, true},
		{"short write and no word of it", failing{keep: 40}, true},
		{"a lost beginning and no word of it", failing{lose: 100}, false},
		{"sync", failing{sync: syscall.EIO, keep: -1}, false},
		{"close", failing{close: syscall.EIO, keep: -1}, false},
	} {
		path := journalPath(t)
		j := journalAt(path)
		if err := j.Append(sample(0)); err != nil {
			t.Fatal(err)
		}
		open := openAppend
		openAppend = func(root *os.Root, name string, create bool) (file, error) {
			f, err := open(root, name, create)
			if err != nil {
				return nil, err
			}
			c.f.File = f.(*os.File)
			return c.f, nil
		}
		err := j.Append(sample(1))
		openAppend = open
		if err == nil || len(j.Entries) != 1 {
			t.Errorf("%s: no error, or the entry was kept", c.name)
		}
		if c.f.write != nil && !errors.Is(err, c.f.write) {
			t.Errorf("%s: %v", c.name, err)
		}
		again, err := readAt(path)
		if errors.As(err, new(*TornError)) != c.torn || !c.torn && err != nil {
			t.Errorf("%s: then reading gives %v", c.name, err)
		}
		if c.f.lose > 0 && (len(again.Entries) != 1 || again.Append(sample(1)) != nil) {
			t.Errorf("%s: the journal does not go on", c.name)
		}
	}
}

// answering is the file of a journal that answers reads as read says.
type answering struct {
	file
	read func(f file, b []byte, at int64) (int, error)
}

func (f answering) ReadAt(b []byte, at int64) (int, error) { return f.read(f.file, b, at) }

// opened has every journal opened through wrap until the test ends.
func opened(t *testing.T, wrap func(*os.Root, file) file) {
	t.Helper()
	open := openAppend
	openAppend = func(root *os.Root, name string, create bool) (file, error) {
		f, err := open(root, name, create)
		if err != nil {
			return nil, err
		}
		return wrap(root, f), nil
	}
	t.Cleanup(func() { openAppend = open })
}

// What is read back must be the line and nothing behind it; a disk that does not answer proves nothing.
func TestReadBack(t *testing.T) {
	for name, c := range map[string]struct {
		read func(f file, b []byte, at int64) (int, error)
		want error
	}{
		"a byte behind the line": {func(f file, b []byte, at int64) (int, error) {
			n, err := f.ReadAt(b, at)
			if errors.Is(err, io.EOF) && n < len(b) {
				b[n], n, err = '{', n+1, nil
			}
			return n, err
		}, ErrReadBack},
		"no answer": {func(file, []byte, int64) (int, error) { return 0, syscall.EIO }, syscall.EIO},
	} {
		path := journalPath(t)
		j := journalAt(path)
		t.Run(name, func(t *testing.T) {
			opened(t, func(_ *os.Root, f file) file { return answering{f, c.read} })
			if err := j.Append(sample(0)); !errors.Is(err, c.want) || len(j.Entries) != 0 {
				t.Errorf("the first: %d entries, %v", len(j.Entries), err)
			}
		})
		if err := os.Truncate(path, 0); err != nil {
			t.Fatal(err)
		}
		if err := j.Append(sample(0)); err != nil {
			t.Fatal(err)
		}
		before, _ := os.ReadFile(path)
		t.Run(name, func(t *testing.T) {
			opened(t, func(_ *os.Root, f file) file { return answering{f, c.read} })
			if err := j.Append(sample(1)); !errors.Is(err, c.want) || len(j.Entries) != 1 {
				t.Errorf("the second: %d entries, %v", len(j.Entries), err)
			}
		})
		if after, _ := os.ReadFile(path); !bytes.Equal(before, after) {
			t.Errorf("%s: %d bytes became %d", name, len(before), len(after))
		}
	}
}

// The name of a new journal is on the disk only once its folder is synced as well (Linux man-pages, fsync(2)).
// Later entries change nothing in the folder.
func TestNameOfANewJournal(t *testing.T) {
	path := journalPath(t)
	j, later := journalAt(path), journalAt(path)
	opened(t, func(root *os.Root, f file) file { root.Close(); return f })
	if err := j.Append(sample(0)); err == nil || len(j.Entries) != 0 {
		t.Errorf("the folder could not be synced: %d entries, %v", len(j.Entries), err)
	}
	data, err := os.ReadFile(path)
	if err != nil || later.take(data) != nil || len(later.Entries) != 1 {
		t.Fatal(err, len(later.Entries))
	}
	if err := later.Append(sample(1)); err != nil {
		t.Errorf("another entry: %v", err)
	}
}

func TestFolderGone(t *testing.T) {
	path := journalPath(t)
	j := journalAt(path)
	if err := os.Remove(filepath.Dir(path)); err != nil {
		t.Skip(err) // Windows keeps a folder that is open
	}
	if err := j.Append(sample(0)); !errors.Is(err, fs.ErrNotExist) || errors.As(err, new(*ChangedError)) {
		t.Errorf("a first entry in a folder that is gone: %v", err)
	}
}

// A line may have 65,536 bytes with its line feed, a file 67,108,864. What reaches them is written and read.
func TestBounds(t *testing.T) {
	const longest, largest = 65_536, 67_108_864
	e := sample(0)
	e.Seq, e.Prev = 1, noLine
	short, err := format(&e)
	if err != nil {
		t.Fatal(err)
	}
	path := journalPath(t)
	j := journalAt(path)
	e.Why += strings.Repeat("a", longest+1-len(short))
	if err := j.Append(e); err == nil {
		t.Error("a line was written that would be refused")
	}
	e.Why = e.Why[1:]
	if err := j.Append(e); err != nil || j.lastLen != longest {
		t.Errorf("a line of %d bytes: %v", j.lastLen, err)
	}
	if again, err := readAt(path); err != nil || len(again.Entries) != 1 {
		t.Errorf("is read as %v", err)
	}

	next := sample(1)
	next.Seq, next.Prev = 2, j.last
	line, err := format(&next)
	if err != nil {
		t.Fatal(err)
	}
	for over := range int64(2) {
		// It has other lines than the file: whether there is room is asked first.
		j.size = largest - int64(len(line)) + over
		if err := j.Append(next); errors.Is(err, ErrFull) != (over == 1) || err == nil {
			t.Errorf("%d bytes too many: %v", over, err)
		}
	}

	if err := os.Truncate(path, 0); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, largest); err != nil {
		t.Fatal(err)
	}
	var torn *TornError
	if _, err := readAt(path); !errors.As(err, &torn) || torn.Line != 1 || len(torn.rest) != largest {
		t.Errorf("a file of %d bytes and no line feed: %.200v", largest, err)
	}
}

// Watch: before knows the line that is about to be written by its SHA-256 and may stop it; after runs last.
func TestWatch(t *testing.T) {
	path := journalPath(t)
	j := journalAt(path)
	fault := errors.New("not now")
	var digest string
	var stop, late error
	var calls []string
	j.Watch(func(e Entry, sum string) error {
		digest, calls = sum, append(calls, "before")
		if data, _ := os.ReadFile(path); bytes.Count(data, []byte("\n")) != e.Seq-1 {
			t.Errorf("entry %d: it is written already", e.Seq)
		}
		return stop
	}, func() error {
		calls = append(calls, "after")
		if data, _ := os.ReadFile(path); bytes.Count(data, []byte("\n")) != len(j.Entries) {
			t.Error("it is not written yet")
		}
		return late
	})
	for i, c := range []struct {
		stop, late, sign error
		want             error
		entries          int
		calls            string
	}{
		{nil, nil, nil, nil, 1, "before after"},
		{fault, nil, nil, fault, 1, "before"},
		{nil, fault, nil, fault, 2, "before after"},
		{nil, nil, fault, fault, 3, "before"},
		{nil, nil, nil, nil, 4, "before after"},
	} {
		stop, late, calls = c.stop, c.late, nil
		j.SignWith(func([]byte) ([]byte, error) { return []byte("s"), c.sign })
		err := j.Append(sample(i))
		if !errors.Is(err, c.want) || (err == nil) != (c.want == nil) || len(j.Entries) != c.entries ||
			strings.Join(calls, " ") != c.calls {
			t.Errorf("entry %d: %v, %d entries, %q", i+1, err, len(j.Entries), calls)
		}
		data, _ := os.ReadFile(path)
		all := bytes.SplitAfter(data, []byte("\n"))
		last := bytes.TrimSuffix(all[len(all)-2], []byte("\n"))
		if got := fmt.Sprintf("%x", sha256.Sum256(last)); c.stop == nil && got != digest || len(all)-1 != c.entries {
			t.Errorf("entry %d: %d lines, the last one is %s, announced was %s", i+1, len(all)-1, got, digest)
		}
	}
}

// End and Digest on one line and on several.
func TestEnd(t *testing.T) {
	all := lines(t, 3)
	for n := range all {
		data := bytes.Join(all[:n+1], nil)
		j, err := check("custody.jsonl", data[:len(data)-1])
		var torn *TornError
		if !errors.As(err, &torn) || len(j.Entries) != n {
			t.Fatal(err)
		}
		digest := fmt.Sprintf("%x", sha256.Sum256(all[n][:len(all[n])-1]))
		if j.End(torn, noLine) || torn.Whole || len(j.Entries) != n {
			t.Errorf("line %d: ended by another digest", n+1)
		}
		if !j.End(torn, digest) || !torn.Whole || len(j.Entries) != n+1 || j.Digest(n+1) != digest {
			t.Errorf("line %d: not ended", n+1)
		}
		if n > 0 {
			before := fmt.Sprintf("%x", sha256.Sum256(all[n-1][:len(all[n-1])-1]))
			if j.Digest(n) != before {
				t.Errorf("line %d has the digest %s", n, j.Digest(n))
			}
		}
	}
	// Its digest is known, and yet it is no entry.
	j := newJournal("custody.jsonl")
	if j.End(&TornError{rest: []byte("{}")}, fmt.Sprintf("%x", sha256.Sum256([]byte("{}")))) {
		t.Error("ended a line that is no entry")
	}
	if j.Digest(0) != strings.Repeat("0", 64) {
		t.Error(j.Digest(0))
	}
}

func TestRepair(t *testing.T) {
	path := journalPath(t)
	all := lines(t, 3)
	whole, torn := bytes.Join(all[:2], nil), all[2][:50]
	for n := 1; n <= 2; n++ {
		if err := os.WriteFile(path, append(slices.Clone(whole), torn...), 0o600); err != nil {
			t.Fatal(err)
		}
		moved, err := repairAt(path)
		if want := strings.TrimSuffix(path, ".jsonl") + fmt.Sprintf(".torn-%d", n); moved != want || err != nil {
			t.Fatalf("%s, %v", moved, err)
		}
		side, _ := os.ReadFile(moved)
		left, _ := os.ReadFile(path)
		if !bytes.Equal(side, torn) || !bytes.Equal(left, whole) {
			t.Errorf("moved %q, left %q", side, left)
		}
		if st, err := os.Stat(moved); err != nil || st.Mode().Perm() != 0o600 && runtime.GOOS != "windows" {
			t.Error(st.Mode(), err)
		}
	}
	if moved, err := repairAt(path); moved != "" || err != nil {
		t.Errorf("a whole journal: %s, %v", moved, err)
	}
	j, err := readAt(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := j.Append(sample(2)); err != nil {
		t.Error(err)
	}
	// Only the line feed is missing, and the caller knows the line.
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for digest, want := range map[string]int{j.Head(): len(data), j.Digest(2): len(data) - int(j.lastLen)} {
		if err := os.WriteFile(path, data[:len(data)-1], 0o600); err != nil {
			t.Fatal(err)
		}
		root, name := at(path)
		moved, err := Repair(root, name, digest)
		left, _ := os.ReadFile(path)
		if err != nil || !bytes.Equal(left, data[:want]) || (moved == "") != (want == len(data)) {
			t.Errorf("%d of %d bytes are left, %q, %v", len(left), len(data), moved, err)
		}
		if moved != "" {
			if err := os.Remove(filepath.Join(filepath.Dir(path), moved)); err != nil {
				t.Error(err)
			}
		}
	}
	// The only line, torn.
	if err := os.WriteFile(path, torn, 0o600); err != nil {
		t.Fatal(err)
	}
	if moved, err := repairAt(path); !strings.HasSuffix(moved, ".torn-3") || err != nil {
		t.Errorf("%s, %v", moved, err)
	}
	// Broken as well: not touched.
	broken := append(bytes.Join([][]byte{all[1], all[0]}, nil), torn...)
	if err := os.WriteFile(path, broken, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := repairAt(path); !errors.As(err, new(*BrokenError)) {
		t.Error(err)
	}
	if left, _ := os.ReadFile(path); !bytes.Equal(left, broken) {
		t.Error("a broken journal was changed")
	}
	if _, err := repairAt(path + "x"); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
}

func TestOf(t *testing.T) {
	j := newJournal("")
	for i := range 6 {
		j.Entries = append(j.Entries, Entry{Seq: i + 1, Shipment: fmt.Sprint("07-000", i%2), What: []string{"sealing",
			"sealed"}[i/2%2]})
	}
	if e, ok := j.Of("07-0001", "sealing"); !ok || e.Seq != 6 {
		t.Error(e, ok)
	}
	if e, ok := j.Of("07-0001", "sealed"); !ok || e.Seq != 4 {
		t.Error(e, ok)
	}
	if e, ok := j.Of("07-0001", "received"); ok || e.Seq != 0 {
		t.Error(e, ok)
	}
	j.Entries = j.Entries[:1]
	if e, ok := j.Of("07-0000", "sealing"); !ok || e.Seq != 1 {
		t.Error("the first entry:", e, ok)
	}
}

func TestUnfinished(t *testing.T) {
	j := newJournal("")
	for _, e := range []string{"1 sealing", "2 sealing", "1 sealed", "3 sealing", "3 abandoned", "4 received",
		"5 sealing"} {
		shipment, what, _ := strings.Cut(e, " ")
		j.Entries = append(j.Entries, Entry{Shipment: shipment, What: what})
	}
	var open []string
	for _, e := range j.Unfinished() {
		open = append(open, e.Shipment)
	}
	if d := cmp.Diff([]string{"2", "5"}, open); d != "" {
		t.Error(d)
	}
}

// TestRoundTrip: whatever may be written is read back the same.
func TestRoundTrip(t *testing.T) {
	text := rapid.StringMatching(`[^\x00-\x08\x0b-\x1f\x7f-\x9f]{0,20}`)
	some := rapid.StringMatching(`[^\x00-\x08\x0b-\x1f\x7f-\x9f]{1,20}`)
	rapid.Check(t, func(t *rapid.T) {
		j := newJournal("")
		var data []byte
		for range rapid.IntRange(1, 5).Draw(t, "entries") {
			e := Entry{
				Seq: len(j.Entries) + 1, Prev: j.last,
				When: noon.Add(time.Duration(rapid.Int64Range(0, 1<<55).Draw(t, "when"))),
				Who:  some.Draw(t, "who"), What: some.Draw(t, "what"), Shipment: text.Draw(t, "shipment"),
				Why:   text.Draw(t, "why"),
				Facts: rapid.MapOfN(text, text, 0, 4).Draw(t, "facts"),
			}
			line, err := format(&e)
			if err != nil {
				t.Fatal(err)
			}
			j.keep(e, line)
			data = append(data, line...)
		}
		got, err := check("", data)
		if err != nil {
			t.Fatalf("%v in\n%s", err, data)
		}
		if d := cmp.Diff(j.Entries, got.Entries, cmpopts.EquateEmpty()); d != "" {
			t.Fatal(d)
		}
	})
}

func FuzzRead(f *testing.F) {
	f.Add(bytes.Join(lines(f, 2), nil))
	f.Add([]byte(`{"seq":1,"prev":"","when":"2026-03-02T12:00:00Z","who":"a","what":"b"` + "\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		j, err := check("custody.jsonl", data)
		if err != nil {
			if !errors.As(err, new(*BrokenError)) && !errors.As(err, new(*TornError)) {
				t.Fatalf("%T", err)
			}
		} else {
			var out []byte
			for i := range j.Entries {
				line, err := format(&j.Entries[i])
				if err != nil {
					t.Fatal(err)
				}
				out = append(out, line...)
			}
			if !bytes.Equal(out, data) {
				t.Fatal("read and written again, the bytes differ")
			}
		}
		// A random text never has the right checksum, so the line itself is
		// tried as well, with one.
		line, _, _ := bytes.Cut(data, []byte("\n"))
		line = append(bytes.Clone(line), fmt.Sprintf(`%s%x"}`, sumField, sha256.Sum256(line))...)
		if e, err := parse(line); err == nil {
			out, err := format(&e)
			if err != nil || !bytes.Equal(out, append(line, '\n')) {
				t.Fatalf("%s\nwritten again as\n%s, %v", line, out, err)
			}
		}
	})
}
