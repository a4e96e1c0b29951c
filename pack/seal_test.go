package pack

import (
	"archive/tar"
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/iotest"
	"time"

	"filippo.io/age"
	"github.com/klauspost/compress/zstd"

	"outbreath/deid"
	"outbreath/pack/bag"
	"outbreath/pack/media"
	"outbreath/pack/media/mediatest"
	"outbreath/schema"
)

func TestRoundTrip(t *testing.T) {
	b := newBench(t)
	p := sample(t, 3, 5000)
	dir, s := b.mustSeal(t, p)
	if !s.OK || s.Folder != dir || s.Sessions != 3 || s.Recordings != 3 || s.Tubes != 6 || len(s.Parts) != 1 ||
		s.Parts[0].Name != "07-0012.tar.zst.age" {
		t.Errorf("sealed: %+v", s)
	}
	files := tree(t, dir)
	if got := hexSum([]byte(files[s.Parts[0].Name])); got != s.Parts[0].SHA256 ||
		int64(len(files[s.Parts[0].Name])) != s.Parts[0].Bytes {
		t.Errorf("part is %s, sealed says %+v", got, s.Parts[0])
	}
	into := filepath.Join(t.TempDir(), "opened")
	o := b.verifyOptions()
	o.Into = into
	o.Tubes = []string{"T0000A", "T0000B", "T0001A", "T0001B", "T0002B", " T0002A"}
	v, err := Verify(context.Background(), dir, o)
	if err != nil {
		t.Fatal(err)
	}
	if v.Decision != Accepted || v.Shipment != "07-0012" || v.Study != "LARK-2" || v.Site != "07" || v.Sessions != 3 ||
		v.Recordings != 3 || v.Count != 6 {
		t.Errorf("verdict: %+v", v)
	}
	var names []string
	for _, c := range v.Checks {
		names = append(names, c.Name)
		if !c.OK || c.Detail == "" {
			t.Errorf("check %+v", c)
		}
	}
	want := []string{"finished", "signature", "files", "label", "archive", "decryption", "contents", "bag signature",
		"checksums", "records", "search", "tubes"}
	if !slices.Equal(names, want) {
		t.Errorf("checks %q, want %q", names, want)
	}
	opened := tree(t, into)
	for _, f := range p.files {
		r, _ := f.Open()
		data, _ := io.ReadAll(r)
		if opened["data/"+f.Name] != string(data) {
			t.Errorf("%s differs after opening", f.Name)
		}
		delete(opened, "data/"+f.Name)
	}
	for _, name := range tagNames {
		if opened[name] == "" {
			t.Errorf("%s is not there after opening", name)
		}
		delete(opened, name)
	}
	for name := range opened {
		t.Errorf("%s was never packed", name)
	}
	for _, path := range []string{into, filepath.Join(into, "data"), filepath.Join(into, "data", tubesName)} {
		if info, err := os.Stat(path); err != nil || info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s can be read by others: %v %v", path, info.Mode(), err)
		}
	}
	if _, err := Verify(context.Background(), dir, o); !errors.As(err, new(*ExistsError)) {
		t.Errorf("opened twice into one folder: %v", err)
	}
}

// tarOf decrypts and decompresses a shipment with the libraries alone.
func tarOf(t testing.TB, b *bench, dir string, parts []Part) []byte {
	t.Helper()
	var all bytes.Buffer
	for _, p := range parts {
		data, err := os.ReadFile(filepath.Join(dir, p.Name))
		if err != nil {
			t.Fatal(err)
		}
		all.Write(data)
	}
	r, err := age.Decrypt(&all, b.identity)
	if err != nil {
		t.Fatal(err)
	}
	z, err := zstd.NewReader(r)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	data, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// The same input, keys and number give the same bag, whatever the number of
// workers and the size of the parts.
func TestSameBag(t *testing.T) {
	b := newBench(t)
	p := sample(t, 2, 3<<20)
	dir1, s1 := b.mustSeal(t, p)
	o := b.sealOptions(t.TempDir())
	o.Workers, o.PartSize, o.Date = 1, 100_000, sealDay.AddDate(0, 0, 3)
	s2, err := seal(context.Background(), media.OS{}, p, o)
	if err != nil {
		t.Fatal(err)
	}
	tar1, tar2 := tarOf(t, b, dir1, s1.Parts), tarOf(t, b, s2.Folder, s2.Parts)
	if !bytes.Equal(tar1, tar2) || s1.Bag != s2.Bag || s1.Bag != hexSum(inTar(t, tar1, "07-0012/"+bag.TagManifest)) {
		t.Error("two sealings of the same payload differ")
	}
	if len(s2.Parts) < 10 || s2.Parts[0].Name != "07-0012.tar.zst.age.001" ||
		s2.Parts[9].Name != "07-0012.tar.zst.age.010" {
		t.Errorf("parts: %+v", s2.Parts)
	}
	for i, q := range s2.Parts {
		if q.Bytes > o.PartSize || i < len(s2.Parts)-1 && q.Bytes != o.PartSize {
			t.Errorf("part %s has %d bytes", q.Name, q.Bytes)
		}
	}
	if v := b.mustVerify(t, s2.Folder); v.Decision != Accepted {
		t.Errorf("in parts: %+v", v.Checks)
	}

	// Another reader's view of the tar stream: constant marks, the order of
	// the contract.
	var names []string
	for r := tar.NewReader(bytes.NewReader(tar1)); ; {
		h, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if h.Typeflag != tar.TypeReg || h.Mode != 0o644 || h.Uid != 0 || h.Gid != 0 || h.Uname != "" || h.Gname != "" ||
			h.ModTime.Unix() != tarTime || h.Format != tar.FormatUSTAR {
			t.Errorf("header %+v", h)
		}
		names = append(names, strings.TrimPrefix(h.Name, "07-0012/"))
	}
	n := len(names) - len(tagNames)
	if !slices.Equal(names[n:], tagNames) || !slices.IsSorted(names[:n]) || n != len(p.files) {
		t.Errorf("order of the archive: %q", names)
	}
}

func TestTwoParts(t *testing.T) {
	b := newBench(t)
	_, whole := b.mustSeal(t, sample(t, 2, 5000))
	for _, d := range []int64{-1, 0, 1} {
		o := b.sealOptions(t.TempDir())
		o.PartSize = whole.Parts[0].Bytes + d
		s, err := seal(context.Background(), media.OS{}, sample(t, 2, 5000), o)
		if err != nil {
			t.Fatal(err)
		}
		if want := map[bool]int{true: 2, false: 1}[d < 0]; len(s.Parts) != want {
			t.Errorf("part size %+d: %d parts, want %d", d, len(s.Parts), want)
		}
		if v := b.mustVerify(t, s.Folder); v.Decision != Accepted {
			t.Errorf("part size %+d: %+v", d, v.Checks)
		}
	}
}

// TestTarHeader compares our headers with those of the standard library.
func TestTarHeader(t *testing.T) {
	for _, c := range []struct {
		name string
		size int64
	}{{"07-0012/bagit.txt", 55}, {"a", 0}, {strings.Repeat("n", 100), maxFile}} {
		var b bytes.Buffer
		w := tar.NewWriter(&b)
		if err := w.WriteHeader(&tar.Header{Name: c.name, Size: c.size, Mode: 0o644, Typeflag: tar.TypeReg,
			ModTime: timeOf(tarTime), Format: tar.FormatUSTAR}); err != nil {
			t.Fatal(err)
		}
		h := tarHeader(c.name, c.size)
		if !bytes.Equal(h[:], b.Bytes()[:tarBlock]) {
			t.Errorf("%s:\n%q\n%q", c.name, h, b.Bytes()[:tarBlock])
		}
		name, size, err := parseTarHeader(&h)
		if err != nil || name != c.name || size != c.size {
			t.Errorf("%s: read as %s, %d, %v", c.name, name, size, err)
		}
	}
}

// Whatever stops a sealing, nothing is left on the medium.
func TestSealFails(t *testing.T) {
	b := newBench(t)
	queries := &schema.QueriesError{Problems: []schema.Problem{{File: "recordings/a.csv", Message: "broken"}}}
	findings := &deid.FindingsError{}
	part := trace(1, 3<<20)
	withReader := func(r func() io.Reader) func(*payload, *SealOptions, *mediatest.Faults) {
		return func(p *payload, _ *SealOptions, _ *mediatest.Faults) {
			p.files[1].Size = int64(len(part))
			p.files[1].Open = func() (io.ReadCloser, error) { return io.NopCloser(r()), nil }
		}
	}
	mediumError := func(op string, n int, err error) func(*payload, *SealOptions, *mediatest.Faults) {
		return func(_ *payload, _ *SealOptions, m *mediatest.Faults) { m.Fail = mediatest.Nth(op, n, err) }
	}
	isMedia := func(err error) bool { m, ok := errors.AsType[*MediaError](err); return ok && m.Fault != "" }
	isOther := func(err error) bool { return err != nil && !isMedia(err) }
	tests := []struct {
		name string
		set  func(*payload, *SealOptions, *mediatest.Faults)
		want func(error) bool
	}{
		{"query in the middle", withReader(func() io.Reader {
			return io.MultiReader(bytes.NewReader(part[:2<<20]),
				iotest.ErrReader(queries))
		}),
			func(err error) bool { return err == error(queries) }},
		{"query at the end", withReader(func() io.Reader {
			return io.MultiReader(bytes.NewReader(part),
				iotest.ErrReader(queries))
		}),
			func(err error) bool { return err == error(queries) }},
		{"finding", withReader(func() io.Reader { return iotest.ErrReader(findings) }),
			func(err error) bool { return err == error(findings) }},
		{"too short", withReader(func() io.Reader { return bytes.NewReader(part[1:]) }), isOther},
		{"too long", withReader(func() io.Reader {
			return io.MultiReader(bytes.NewReader(part),
				strings.NewReader("x"))
		}), isOther},
		{"no progress", withReader(func() io.Reader { return stuck{} }), isOther},
		{"cannot be opened", func(p *payload, _ *SealOptions, _ *mediatest.Faults) {
			p.files[0].Open = func() (io.ReadCloser, error) { return nil, queries }
		}, func(err error) bool { return err == error(queries) }},
		{"before commit", func(_ *payload, o *SealOptions, _ *mediatest.Faults) {
			o.BeforeCommit = func(*Sealed) error { return io.ErrClosedPipe }
		}, func(err error) bool { return err == io.ErrClosedPipe }},
		{"mkdir", mediumError("mkdir", 1, syscall.EROFS), isMedia},
		{"create archive", mediumError("create", 1, syscall.EACCES), isMedia},
		{"create label", mediumError("create", 3, syscall.EIO), isMedia},
		{"write", mediumError("write", 1, syscall.ENOSPC), isMedia},
		{"sync of the archive", mediumError("sync", 1, syscall.ENOSPC), isMedia},
		{"sync of the signature", mediumError("sync", 5, syscall.EIO), isMedia},
		{"read", mediumError("read", 1, syscall.EIO), isMedia},
		{"folder sync", mediumError("syncdir", 1, syscall.EIO), isMedia},
		{"last rename", func(_ *payload, _ *SealOptions, m *mediatest.Faults) {
			m.Fail = func(c mediatest.Call) error {
				if c.Op == "rename" && strings.HasSuffix(c.Path, "07-0012") {
					return syscall.EIO
				}
				return nil
			}
		}, isMedia},
		{"sync of the medium's folder", func(_ *payload, _ *SealOptions, m *mediatest.Faults) {
			m.Fail = func(c mediatest.Call) error {
				if c.Op == "syncdir" && !strings.Contains(c.Path, ".outbreath") {
					return syscall.ENODEV
				}
				return nil
			}
		}, isMedia},
		{"read back differs in the archive", func(_ *payload, _ *SealOptions, m *mediatest.Faults) {
			m.Damage = func(path string, _ int64, b []byte) {
				if strings.Contains(path, ".age") && len(b) > 0 {
					b[0] ^= 1
				}
			}
		}, func(err error) bool { return isMedia(err) && errors.As(err, new(*media.MismatchError)) }},
		{"read back differs in the signature", func(_ *payload, _ *SealOptions, m *mediatest.Faults) {
			m.Damage = func(path string, _ int64, b []byte) {
				if strings.HasSuffix(path, ".sig") && len(b) > 0 {
					b[0] ^= 1
				}
			}
		}, func(err error) bool { return isMedia(err) && errors.As(err, new(*media.MismatchError)) }},
		{"hopeless", func(_ *payload, _ *SealOptions, m *mediatest.Faults) { m.Room = 1 }, isMedia},
		{"no recipient", func(_ *payload, o *SealOptions, _ *mediatest.Faults) { o.Recipients = nil }, isOther},
		{"mixed recipients", func(_ *payload, o *SealOptions, _ *mediatest.Faults) {
			pq, err := age.GenerateHybridIdentity()
			if err != nil {
				t.Fatal(err)
			}
			o.Recipients = append(o.Recipients, pq.Recipient())
		}, isOther},
		{"too many parts", func(_ *payload, o *SealOptions, _ *mediatest.Faults) { o.PartSize = 5 }, isOther},
		{"another site's number", func(_ *payload, o *SealOptions, _ *mediatest.Faults) { o.Number = "08-0012" },
			isOther},
		{"no number", func(_ *payload, o *SealOptions, _ *mediatest.Faults) { o.Number = "07-12" }, isOther},
		{"odd payload name", func(p *payload, _ *SealOptions,
			_ *mediatest.Faults) {
			p.files[0].Name = "recordings/.a.csv"
		}, isOther},
		{"counts", func(p *payload, _ *SealOptions, _ *mediatest.Faults) { p.sessions++ }, isOther},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			p, o, m := sample(t, 2, 10_000), b.sealOptions(dir), &mediatest.Faults{FS: media.OS{}}
			tt.set(p, &o, m)
			s, err := seal(context.Background(), m, p, o)
			if s != nil || !tt.want(err) {
				t.Errorf("got %v, %v", s, err)
			}
			empty(t, dir)
		})
	}
}

// A laboratory rejects a label that names the program otherwise, so it must not be sealed.
func TestSealProgram(t *testing.T) {
	b := newBench(t)
	for program, good := range map[string]bool{
		"": true, "outbreath 1.0 go1.25": true, "outbreath 1.0 0123abc+ go1.25": true,
		"doctry 1": false, "outbreath": false, "outbreath 1.0 go1.25\n": false, "outbreath 1.0 Jane go1.25": false,
	} {
		t.Run(program, func(t *testing.T) {
			dir := t.TempDir()
			o := b.sealOptions(dir)
			o.Program = program
			rehearsed := rehearse(context.Background(), sample(t, 1, 100), o)
			s, err := seal(context.Background(), media.OS{}, sample(t, 1, 100), o)
			if good {
				if err != nil || rehearsed != nil {
					t.Fatal(err, rehearsed)
				}
				if v := b.mustVerify(t, s.Folder); v.Decision != Accepted {
					t.Errorf("%+v", v.Checks)
				}
				return
			}
			for _, err := range []error{err, rehearsed} {
				if err == nil || !strings.Contains(err.Error(), "the program is not named") {
					t.Errorf("%v", err)
				}
			}
			empty(t, dir)
		})
	}
}

type stuck struct{}

func (stuck) Read([]byte) (int, error) { return 0, nil }

// A full medium is told in bytes: what was there, what is needed.
func TestFull(t *testing.T) {
	b := newBench(t)
	dir := t.TempDir()
	m := &mediatest.Faults{FS: media.OS{}, Room: 600_000, Fail: func(c mediatest.Call) error {
		if c.Op == "write" && c.Total+c.Bytes > 600_000 {
			return syscall.ENOSPC
		}
		return nil
	}}
	_, err := seal(context.Background(), m, sample(t, 3, 2<<20), b.sealOptions(dir))
	if !errors.Is(err, syscall.ENOSPC) || !errors.As(err, new(*MediaError)) ||
		!strings.Contains(err.Error(), "600000") {
		t.Errorf("got %v", err)
	}
	empty(t, dir)
}

func TestExists(t *testing.T) {
	b := newBench(t)
	dir := t.TempDir()
	if err := os.Symlink("nowhere", filepath.Join(dir, "07-0012")); err != nil {
		t.Skip("no symbolic links here")
	}
	p := sample(t, 1, 100)
	p.files[0].Open = func() (io.ReadCloser, error) { t.Error("the collection was read"); return nil, io.EOF }
	if _, err := seal(context.Background(), media.OS{}, p, b.sealOptions(dir)); !errors.As(err, new(*ExistsError)) {
		t.Errorf("got %v", err)
	}
}

func TestSweep(t *testing.T) {
	b := newBench(t)
	dir := t.TempDir()
	for _, name := range []string{".outbreath-07-0002-0123456789abcdef", ".outbreath-07-0012-0123456789abcdef",
		".outbreath-07-0013-0123456789abcdef", "mine"} {
		if err := os.Mkdir(filepath.Join(dir, name), 0o755); err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, name, "x"), nil)
	}
	// another seal is at work in 0013
	running, err := os.OpenRoot(filepath.Join(dir, ".outbreath-07-0013-0123456789abcdef"))
	if err != nil {
		t.Fatal(err)
	}
	defer running.Close()
	release, held, err := media.Hold(running)
	if err != nil || !held {
		t.Fatal(held, err)
	}
	defer release()
	if _, err := seal(context.Background(), media.OS{}, sample(t, 1, 100), b.sealOptions(dir)); err != nil {
		t.Fatal(err)
	}
	entries, _ := os.ReadDir(dir)
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	if want := []string{".outbreath-07-0013-0123456789abcdef", "07-0012", "mine"}; !slices.Equal(names, want) {
		t.Errorf("left %q, want %q", names, want)
	}
}

// A cancelled sealing leaves nothing, wherever it was.
func TestSealCancelled(t *testing.T) {
	b := newBench(t)
	for stop := 0; stop < 40; stop++ {
		dir := t.TempDir()
		ctx, cancel := context.WithCancel(context.Background())
		calls := 0
		m := &mediatest.Faults{FS: media.OS{}, Fail: func(mediatest.Call) error {
			if calls++; calls == stop {
				cancel()
			}
			return nil
		}}
		_, err := seal(ctx, m, sample(t, 1, 2<<20), b.sealOptions(dir))
		cancel()
		switch _, there := os.Lstat(filepath.Join(dir, "07-0012")); {
		case err == nil && there != nil:
			t.Errorf("stopped at call %d: sealed and not there", stop)
		case err != nil && !errors.Is(err, context.Canceled):
			t.Errorf("stopped at call %d: %v", stop, err)
		case err != nil:
			empty(t, dir)
		}
	}
}

func timeOf(unix int64) time.Time { return time.Unix(unix, 0).UTC() }

// inTar returns the content of one file of a tar stream.
func inTar(t *testing.T, stream []byte, name string) []byte {
	t.Helper()
	r := tar.NewReader(bytes.NewReader(stream))
	for {
		h, err := r.Next()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if h.Name == name {
			data, err := io.ReadAll(r)
			if err != nil {
				t.Fatal(err)
			}
			return data
		}
	}
}

// More recordings than their summary can be read with are refused at the site,
// and not at the laboratory.
func TestTooManyRecordings(t *testing.T) {
	p := sample(t, 1, 10)
	p.recordings = maxRecordings + 1
	if err := p.check("07-0012"); !errors.As(err, new(*schema.QueriesError)) ||
		!strings.Contains(err.Error(), "split the collection") {
		t.Errorf("%v", err)
	}
	var b strings.Builder
	b.WriteString(`{"recordings":[`)
	for range maxRecordings {
		b.WriteString(`{"a":1,"b":1,"c":1,"d":1,"e":1,"f":1,"g":1,"h":1,"i":1,"j":1,"k":1,"l":1,"m":1},`)
	}
	b.WriteString(`0]}`)
	if _, err := schema.ParseJSON([]byte(b.String())); err != nil {
		t.Errorf("%d recordings: %v", maxRecordings, err)
	}
}

// TestChangedWhileSealed: a file that is shorter or longer now than it was when the
// collection was read stops the seal, and the medium holds nothing of it.
func TestChangedWhileSealed(t *testing.T) {
	b := newBench(t)
	for _, by := range []int64{-1, 1} {
		p, medium := sample(t, 2, 4000), t.TempDir()
		p.files[0].Size += by
		_, err := seal(context.Background(), media.OS{}, p, b.sealOptions(medium))
		if e, ok := errors.AsType[*schema.ChangedError](err); !ok || e.File != p.files[0].Name {
			t.Errorf("%+d: %v", by, err)
		}
		if left, err := os.ReadDir(medium); err != nil || len(left) > 0 {
			t.Errorf("%+d: left %v (%v)", by, left, err)
		}
	}
}
