package pack

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack/media"
	"outbreath/schema"
)

// sealDay is the sealing date of all test shipments.
var sealDay = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

// A bench is a site and a laboratory that trust each other.
type bench struct {
	signer   ssh.Signer
	identity age.Identity
	to       age.Recipient
	allowed  *keys.Allowed
	list     string // allowed_signers
}

func newBench(t testing.TB) *bench {
	t.Helper()
	id, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{signer: newSigner(t), identity: id, to: id.Recipient()}
	b.list = fmt.Sprintf("07 namespaces=\"%s,%s\" %s", shipmentNamespace, bagNamespace,
		ssh.MarshalAuthorizedKey(b.signer.PublicKey()))
	if b.allowed, err = keys.ParseAllowed([]byte(b.list)); err != nil {
		t.Fatal(err)
	}
	return b
}

func newSigner(t testing.TB) ssh.Signer {
	t.Helper()
	_, priv, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := ssh.NewSignerFromKey(priv)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func (b *bench) sealOptions(dir string) SealOptions {
	return SealOptions{Media: []string{dir}, Number: "07-0012", Signer: b.signer, Recipients: []age.Recipient{b.to},
		Date: sealDay}
}

func (b *bench) verifyOptions() VerifyOptions {
	return VerifyOptions{Allowed: b.allowed, Identities: []age.Identity{b.identity}, Now: sealDay}
}

// mustSeal seals p and returns the shipment folder.
func (b *bench) mustSeal(t testing.TB, p *payload) (string, *Sealed) {
	t.Helper()
	s, err := seal(context.Background(), media.OS{}, p, b.sealOptions(t.TempDir()))
	if err != nil {
		t.Fatal(err)
	}
	return s.Folder, s
}

func (b *bench) mustVerify(t testing.TB, dir string) *Verdict {
	t.Helper()
	v, err := Verify(context.Background(), dir, b.verifyOptions())
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// rejectedAt fails unless v is rejected by the check called name.
func rejectedAt(t testing.TB, v *Verdict, name string) {
	t.Helper()
	if v.Decision != Rejected || len(v.Checks) == 0 {
		t.Fatalf("decision %s, want rejected: %+v", v.Decision, v.Checks)
	}
	last := v.Checks[len(v.Checks)-1]
	if last.OK || last.Name != name {
		t.Fatalf("rejected by %q (%s), want %q", last.Name, last.Detail, name)
	}
	for _, c := range v.Checks[:len(v.Checks)-1] {
		if !c.OK {
			t.Fatalf("check %q failed and was not the last", c.Name)
		}
	}
}

// pseudonym returns the i-th invented pseudonym; only its form is right.
func pseudonym(i int) string {
	s := fmt.Sprintf("%016d", i)
	return s[:4] + "-" + s[4:8] + "-" + s[8:12] + "-" + s[12:] + "-0"
}

// outgoing is the schema of what plan "shifted" lets out.
func outgoing(t testing.TB) []byte {
	t.Helper()
	p, err := schema.LoadPlan("shifted")
	if err != nil {
		t.Fatal(err)
	}
	return p.Outgoing()
}

// record returns an invented treated record with one recording and two tubes.
func record(i int) string {
	return fmt.Sprintf(`{
  "session_id": "%[1]s", "study": "LARK-2", "site": "07", "operator": "%[2]s",
  "subject": {"subject_id": "%[3]s", "birth_date": "40-44", "sex": "female", "height_cm": 170},
  "started_at": "2026-03-02T10:00:00", "ended_at": "2026-03-02T10:09:00",
  "outcome": "complete", "fraction": "end-tidal",
  "kit": {"lot": "K1", "unit": "%[5]s"},
  "sampler": {"serial": "S-9", "firmware": "2.1", "checks": [{"name": "flow", "passed": true}]},
  "tubes": [
    {"barcode": "T%04[4]dA", "position": 1, "uncapped_at": "2026-03-02T10:01:00", "capped_at": "2026-03-02T10:05:00", "volume_ml": 500.0, "storage": "refrigerated"},
    {"barcode": "T%04[4]dB", "position": 2, "uncapped_at": "2026-03-02T10:05:00", "capped_at": "2026-03-02T10:08:00", "volume_ml": 480, "storage": "ambient"}
  ],
  "recordings": [{"file": "recordings/%[1]s-1.csv", "format": "csv", "content": "co2 and pressure"}]
}
`, pseudonym(i), pseudonym(90000+i), pseudonym(70000+i), i, pseudonym(50000+i))
}

// tubeRows returns the rows of tubes.csv of record(i).
func tubeRows(i int) string {
	return fmt.Sprintf("T%04dA,%s,1,end-tidal,500.0,refrigerated\nT%04dB,%s,2,end-tidal,480,ambient\n", i, pseudonym(i),
		i, pseudonym(i))
}

var traces sync.Map

// trace returns size bytes of an invented recording.
func trace(i, size int) []byte {
	key := [2]int{i, size}
	data, ok := traces.Load(key)
	if !ok {
		data, _ = traces.LoadOrStore(key, newTrace(i, size))
	}
	return data.([]byte)
}

func newTrace(i, size int) []byte {
	r := rand.New(rand.NewPCG(uint64(i), 7))
	var b bytes.Buffer
	b.WriteString("t_s,co2_kpa,pressure_pa\n")
	const most = 24 // bytes of a row, or a few more
	k := 0
	for ; b.Len()+2*most < size; k++ {
		fmt.Fprintf(&b, "%d.%02d,%.3f,%.1f\n", k/100, k%100, 2+3*r.Float64(), 40*r.NormFloat64())
	}
	last := fmt.Sprintf("%d.%02d", k/100, k%100) // with zeros in front, to be of so many bytes
	left := max(0, size-b.Len()-len(last)-len(",2,0\n"))
	last = strings.Repeat("0", min(left, 20)) + last + "," + strings.Repeat("0", max(0, left-20)) + "2,0\n"
	return append(b.Bytes(), last...)
}

// file makes a payload file of data.
func file(name string, data []byte) deid.File {
	return deid.File{Name: name, Size: int64(len(data)), Open: func() (io.ReadCloser, error) {
		return io.NopCloser(bytes.NewReader(data)), nil
	}}
}

// late makes the size of f unknown until it is read.
func late(f deid.File) deid.File {
	f.Size = -1
	return f
}

// sample returns a payload of n sessions with a recording of size bytes each.
func sample(t testing.TB, n, size int) *payload {
	t.Helper()
	p := &payload{study: "LARK-2", site: "07", contact: "Example Institute, telephone +00 000 0000, room 3",
		sessions: n, recordings: n, tubes: 2 * n}
	tubes := strings.Join(tubesHeader, ",") + "\n"
	handling := "barcode,analyse\n"
	var figures []string
	for i := range n {
		figures = append(figures, fmt.Sprintf(`{"file": "recordings/%[1]s-1.csv", "session": "%[1]s", "breaths": 90}`,
			pseudonym(i)))
		handling += fmt.Sprintf("T%04[1]dA,usual\nT%04[1]dB,first\n", i)
		p.files = append(p.files, file("recordings/"+pseudonym(i)+"-1.csv", trace(i, size)))
		p.files = append(p.files, file("sessions/"+pseudonym(i)+".json", []byte(record(i))))
		tubes += tubeRows(i)
	}
	p.files = append(p.files, file(schemaName, outgoing(t)),
		file(treatmentName, []byte(`{"study": "LARK-2", "site": "07"}`+"\n")), file(tubesName, []byte(tubes)),
		file(deid.HandlingName, []byte(handling)),
		late(file(deid.SummaryName, []byte(`{"recordings": [`+strings.Join(figures, ", ")+"]}\n"))))
	p.sort()
	return p
}

func (p *payload) sort() {
	slices.SortFunc(p.files, func(a, b deid.File) int { return cmpNames(a.Name, b.Name) })
}

// tree returns every file below dir with its bytes.
func tree(t testing.TB, dir string) map[string]string {
	t.Helper()
	files := make(map[string]string)
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		files[filepath.ToSlash(rel)] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// empty fails if anything is in dir.
func empty(t testing.TB, dir string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		t.Errorf("%s is left in the folder", e.Name())
	}
}

// copyDir copies the plain files of a folder into a new one and returns it.
func copyDir(t testing.TB, dir string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), filepath.Base(dir))
	if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	return to
}

func write(t testing.TB, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func hexSum(data []byte) string { return fmt.Sprintf("%x", sha256.Sum256(data)) }
