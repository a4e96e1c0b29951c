package pack

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"

	"outbreath/keys"
	"outbreath/pack/media"
)

// One bit changed anywhere in any file of a shipment: rejected.
func TestVerifyFlips(t *testing.T) {
	b := newBench(t)
	dir, _ := b.mustSeal(t, sample(t, 1, 400))
	flips := 0
	for name, data := range tree(t, dir) {
		path := filepath.Join(dir, name)
		f, err := os.OpenFile(path, os.O_RDWR, 0)
		if err != nil {
			t.Fatal(err)
		}
		step := 1
		if testing.Short() {
			step = 7
		}
		for at := 0; at < len(data); at += step {
			bit := byte(1) << (at % 8)
			if _, err := f.WriteAt([]byte{data[at] ^ bit}, int64(at)); err != nil {
				t.Fatal(err)
			}
			v, err := Verify(context.Background(), dir, b.verifyOptions())
			if err != nil || v.Decision != Rejected {
				t.Errorf("%s, byte %d, bit %d changed: %+v, %v", name, at, at%8, v, err)
			}
			if _, err := f.WriteAt([]byte{data[at]}, int64(at)); err != nil {
				t.Fatal(err)
			}
			flips++
		}
		f.Close()
	}
	if v := b.mustVerify(t, dir); v.Decision != Accepted {
		t.Fatalf("restored and still: %+v", v.Checks)
	}
	t.Logf("%d single-bit changes, all rejected", flips)
	if flips < 2000 && !testing.Short() {
		t.Errorf("only %d positions were tried", flips)
	}
}

func TestVerifyCuts(t *testing.T) {
	b := newBench(t)
	o := b.sealOptions(t.TempDir())
	o.PartSize = 3000
	s, err := seal(context.Background(), media.OS{}, sample(t, 2, 4000), o)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Parts) < 3 {
		t.Fatalf("only %d parts", len(s.Parts))
	}
	files := tree(t, s.Folder)
	cuts := 0
	reject := func(what, dir string) {
		t.Helper()
		if v := b.mustVerify(t, dir); v.Decision != Rejected {
			t.Errorf("%s: %+v", what, v.Checks)
		}
		cuts++
	}
	for name, data := range files {
		path := filepath.Join(s.Folder, name)
		for _, n := range []int{0, 1, len(data) / 2, len(data) - 1} {
			write(t, path, []byte(data[:n]))
			reject(name+" cut", s.Folder)
		}
		write(t, path, []byte(data+"\x00"))
		reject(name+" longer", s.Folder)
		write(t, path, []byte(data+"\n"))
		reject(name+" longer by a line feed", s.Folder)
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		reject(name+" removed", s.Folder)
		if err := os.Mkdir(path, 0o755); err != nil {
			t.Fatal(err)
		}
		reject(name+" is a folder", s.Folder)
		os.Remove(path)
		if os.Symlink(filepath.Join(copyDir(t, s.Folder), name), path) == nil {
			reject(name+" is a link", s.Folder)
			os.Remove(path)
		}
		for other, instead := range files {
			if other != name && instead != data {
				write(t, path, []byte(instead))
				reject(name+" replaced by "+other, s.Folder)
			}
		}
		write(t, path, []byte(data))
	}
	for _, extra := range []string{"notes.txt", ".DS_Store.txt", "07-0012.tar.zst.age", "07-0012.tar.zst.age.009",
		"shipment.json.bak"} {
		path := filepath.Join(s.Folder, extra)
		write(t, path, []byte("x"))
		v := b.mustVerify(t, s.Folder)
		rejectedAt(t, v, "files")
		if last := v.Checks[len(v.Checks)-1]; !strings.Contains(last.Detail, extra) {
			t.Errorf("%s is not named: %s", extra, last.Detail)
		}
		os.Remove(path)
	}
	one, two := s.Parts[0].Name, s.Parts[1].Name
	write(t, filepath.Join(s.Folder, one), []byte(files[two]))
	write(t, filepath.Join(s.Folder, two), []byte(files[one]))
	reject("two parts swapped", s.Folder)
	write(t, filepath.Join(s.Folder, one), []byte(files[one]))
	write(t, filepath.Join(s.Folder, two), []byte(files[two]))
	if v := b.mustVerify(t, s.Folder); v.Decision != Accepted {
		t.Fatalf("restored and still: %+v", v.Checks)
	}
	t.Logf("%d damaged folders, all rejected", cuts)
}

// Each cause has its own check and its own words.
func TestVerifyCauses(t *testing.T) {
	b := newBench(t)
	good, s := b.mustSeal(t, sample(t, 1, 4000))
	archive := s.Parts[0].Name
	other := newBench(t)
	change := func(name string, f func([]byte) []byte) func(*testing.T, string, *VerifyOptions) {
		return func(t *testing.T, dir string, _ *VerifyOptions) {
			data, err := os.ReadFile(filepath.Join(dir, name))
			if err != nil {
				t.Fatal(err)
			}
			write(t, filepath.Join(dir, name), f(data))
		}
	}
	allow := func(list string) func(*testing.T, string, *VerifyOptions) {
		return func(t *testing.T, _ string, o *VerifyOptions) {
			a, err := keys.ParseAllowed([]byte(list))
			if err != nil {
				t.Fatal(err)
			}
			o.Allowed = a
		}
	}
	key := string(ssh.MarshalAuthorizedKey(b.signer.PublicKey()))
	tests := []struct {
		name, check, words string
		set                func(*testing.T, string, *VerifyOptions)
	}{
		{"not finished", "finished", "SHA256SUMS.sig", func(t *testing.T, dir string,
			_ *VerifyOptions) {
			os.Remove(filepath.Join(dir, sigName))
		}},
		{"empty folder", "finished", "not a shipment folder", func(t *testing.T, dir string, _ *VerifyOptions) {
			for name := range tree(t, dir) {
				os.Remove(filepath.Join(dir, name))
			}
		}},
		{"unknown signer", "signature", "not trusted", allow(other.list)},
		{"nobody is trusted", "signature", "not trusted", allow("")},
		{"another site's key", "signature", "07", allow("08 " + key)},
		{"trusted for something else", "signature", "", allow(`07 namespaces="file" ` + key)},
		{"expired", "signature", "valid", func(t *testing.T, dir string, o *VerifyOptions) {
			allow(`07 valid-before="20260101" `+key)(t, dir, o)
		}},
		{"label of another site", "signature", "08", change(labelName, func(d []byte) []byte {
			return []byte(strings.NewReplacer(`"07"`, `"08"`, "07-0012", "08-0012").Replace(string(d)))
		})},
		{"counts in the label", "files", labelName, change(labelName, func(d []byte) []byte {
			return []byte(strings.Replace(string(d), `"tubes": 2`, `"tubes": 3`, 1))
		})},
		{"damaged label", "signature", labelName, change(labelName, func(d []byte) []byte { return d[:len(d)-3] })},
		{"readme", "files", readmeName,
			change(readmeName, func(d []byte) []byte { return append(d, "Call me instead\n"...) })},
		{"archive cut", "archive", "not copied to the end",
			change(archive, func(d []byte) []byte { return d[:len(d)-1] })},
		{"archive longer", "archive", "one of them is wrong",
			change(archive, func(d []byte) []byte { return append(d, 0) })},
		{"archive changed", "archive", "damaged",
			change(archive, func(d []byte) []byte { d[len(d)-5] ^= 4; return d })},
		{"archive header changed", "archive", "damaged",
			change(archive, func(d []byte) []byte { d[30] ^= 4; return d })},
		{"wrong key", "decryption", "does not open it", func(_ *testing.T, _ string,
			o *VerifyOptions) {
			o.Identities = []age.Identity{other.identity}
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			dir, o := copyDir(t, good), b.verifyOptions()
			parent := t.TempDir()
			o.Into = filepath.Join(parent, "opened")
			tt.set(t, dir, &o)
			v, err := Verify(context.Background(), dir, o)
			if err != nil {
				t.Fatal(err)
			}
			rejectedAt(t, v, tt.check)
			if last := v.Checks[len(v.Checks)-1]; !strings.Contains(last.Detail, tt.words) {
				t.Errorf("detail %q does not say %q", last.Detail, tt.words)
			}
			empty(t, parent)
		})
	}
}

// What the caller forgot is an error: a verdict would blame the shipment.
func TestVerifyWithoutKeys(t *testing.T) {
	b := newBench(t)
	dir, _ := b.mustSeal(t, sample(t, 1, 100))
	for name, tt := range map[string]struct {
		forget func(*VerifyOptions)
		words  string
	}{
		"no list of signers": {func(o *VerifyOptions) { o.Allowed = nil }, "trusted signers"},
		"no identities":      {func(o *VerifyOptions) { o.Identities = nil }, "no identity"},
		"an empty list":      {func(o *VerifyOptions) { o.Identities = []age.Identity{} }, "no identity"},
	} {
		t.Run(name, func(t *testing.T) {
			o := b.verifyOptions()
			tt.forget(&o)
			if v, err := Verify(context.Background(), dir, o); v != nil || err == nil ||
				!strings.Contains(err.Error(), tt.words) {
				t.Errorf("%+v, %v", v, err)
			}
		})
	}
	o := b.verifyOptions()
	o.Allowed = new(keys.Allowed)
	v, err := Verify(context.Background(), dir, o)
	if err != nil {
		t.Fatal(err)
	}
	rejectedAt(t, v, "signature")
}

// A laboratory may rename the folder; what is in it counts.
func TestVerifyRenamed(t *testing.T) {
	b := newBench(t)
	dir, _ := b.mustSeal(t, sample(t, 1, 100))
	renamed := filepath.Join(t.TempDir(), "from courier")
	if err := os.Rename(dir, renamed); err != nil {
		t.Fatal(err)
	}
	v := b.mustVerify(t, renamed)
	if v.Decision != Accepted || v.Shipment != "07-0012" {
		t.Errorf("%+v", v)
	}
	stale := filepath.Join(t.TempDir(), ".outbreath-07-0012-0123456789abcdef")
	if err := os.Rename(renamed, stale); err != nil {
		t.Fatal(err)
	}
	rejectedAt(t, b.mustVerify(t, stale), "finished")
}

func TestVerifyNoFolder(t *testing.T) {
	b := newBench(t)
	if v, err := Verify(context.Background(), filepath.Join(t.TempDir(), "none"), b.verifyOptions()); v != nil ||
		!errors.As(err, new(*MediaError)) {
		t.Errorf("got %v, %v", v, err)
	}
	dir, _ := b.mustSeal(t, sample(t, 1, 100))
	o := b.verifyOptions()
	o.Into = filepath.Join(t.TempDir(), "none", "opened")
	if v, err := Verify(context.Background(), dir, o); v != nil || !errors.As(err, new(*MediaError)) {
		t.Errorf("opened into a folder that cannot be: %v, %v", v, err)
	}
}

func TestVerifyCancelled(t *testing.T) {
	b := newBench(t)
	dir, _ := b.mustSeal(t, sample(t, 2, 3<<20))
	parent := t.TempDir()
	stopped := 0
	for stop := 0; stop < 6; stop++ {
		ctx, cancel := context.WithCancel(context.Background())
		o := b.verifyOptions()
		o.Into = filepath.Join(parent, "opened")
		calls := 0
		o.Progress = func(int64, int64) {
			if calls == stop {
				cancel()
			}
			calls++
		}
		v, err := Verify(ctx, dir, o)
		cancel()
		if err == nil { // it came to the end before it noticed
			os.RemoveAll(o.Into)
			continue
		}
		stopped++
		if v != nil || !errors.Is(err, context.Canceled) {
			t.Errorf("got %v, %v", v, err)
		}
		empty(t, parent)
	}
	if stopped == 0 {
		t.Error("no run was stopped")
	}
}

func TestVerifyTubes(t *testing.T) {
	b := newBench(t)
	dir, _ := b.mustSeal(t, sample(t, 2, 100))
	o := b.verifyOptions()
	o.Tubes = []string{"T0000A", "T0000B", "t0001a", "T0001B", "T0001B"}
	o.Into = filepath.Join(t.TempDir(), "opened")
	v, err := Verify(context.Background(), dir, o)
	if err != nil {
		t.Fatal(err)
	}
	last := v.Checks[len(v.Checks)-1]
	if v.Decision != Discrepancies || last.Name != "tubes" || last.OK ||
		!slices.Equal(v.Tubes.Missing, []string{"T0001A"}) || !slices.Equal(v.Tubes.Unexpected,
		[]string{"T0001B", "t0001a"}) {
		t.Errorf("%+v", v)
	}
	if _, err := os.Stat(filepath.Join(o.Into, "bagit.txt")); err != nil {
		t.Errorf("discrepancies in the box do not keep the data away: %v", err)
	}
}

// The last progress call tells the whole.
func TestProgress(t *testing.T) {
	b := newBench(t)
	p := sample(t, 2, 2<<20)
	o := b.sealOptions(t.TempDir())
	var last [2]int64
	o.Progress = func(done, total int64) {
		if done < last[0] {
			t.Error("progress went back")
		}
		last = [2]int64{done, total}
	}
	s, err := seal(context.Background(), media.OS{}, p, o)
	if err != nil || last != [2]int64{p.total(), p.total()} {
		t.Errorf("sealing ended at %v of %d, %v", last, p.total(), err)
	}
	last = [2]int64{}
	vo := b.verifyOptions()
	vo.Progress = o.Progress
	if _, err := Verify(context.Background(), s.Folder, vo); err != nil || last != [2]int64{s.Parts[0].Bytes,
		s.Parts[0].Bytes} {
		t.Errorf("verifying ended at %v of %d, %v", last, s.Parts[0].Bytes, err)
	}
}

func TestValidThen(t *testing.T) {
	b := newBench(t)
	dir, _ := b.mustSeal(t, sample(t, 1, 100))
	a, err := keys.ParseAllowed([]byte(`07 valid-before="20261126Z" ` +
		string(ssh.MarshalAuthorizedKey(b.signer.PublicKey()))))
	if err != nil {
		t.Fatal(err)
	}
	o := b.verifyOptions()
	o.Allowed = a
	for _, tt := range []struct {
		now  time.Time
		want Decision
	}{{sealDay, Accepted}, {sealDay.AddDate(0, 0, 2), Rejected}} {
		o.Now = tt.now
		if v, err := Verify(context.Background(), dir, o); err != nil || v.Decision != tt.want {
			t.Errorf("at %s: %v, %v", tt.now, v, err)
		}
	}
}

// A medium that cannot be read is no rejection: the shipment may be sound.
func TestUnreadableParts(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "a"), []byte("first"))
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	r := readParts(t.Context(), root, []labelPart{{"a", 5}, {"b", 5}}, nil)
	data, err := io.ReadAll(r)
	if string(data) != "first" || err != nil {
		t.Errorf("read %q, %v", data, err)
	}
	if _, err := r.finish(); !errors.As(err, new(*MediaError)) || !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v", err)
	}
	r = readParts(t.Context(), root, []labelPart{{"a", 2}}, nil)
	sums, err := r.finish()
	if err != nil || sums[0].bytes != 3 {
		t.Errorf("a part that grew: %+v, %v", sums, err)
	}
}
