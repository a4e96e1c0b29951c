package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"outbreath/pack/custody"
	"outbreath/schema/demo"
)

// A job is an invented collection, sealed.
type job struct {
	dir, collection, site, lab, media, shipment string
	truth                                       *demo.Truth
}

func (j *job) at(name string) string { return filepath.Join(j.dir, name) }

// newJob makes a collection and keys; nothing is sealed yet.
func newJob(t *testing.T, o demo.Options) *job {
	t.Helper()
	j := &job{dir: t.TempDir()}
	j.collection, j.site, j.lab, j.media = j.at("collection"), j.at("site"), j.at("lab"), j.at("media")
	j.shipment = filepath.Join(j.media, demo.Site+"-0001")
	var err error
	if j.truth, err = demo.Write(j.collection, o); err != nil {
		t.Fatal(err)
	}
	if err := makeKeys(j.site, j.lab, demo.Site); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(j.media, 0o755); err != nil {
		t.Fatal(err)
	}
	return j
}

// must runs a command line that has to end with status 0.
func must(t *testing.T, args ...string) string {
	t.Helper()
	status, out, errOut := runHere(args...)
	if status != 0 {
		t.Fatalf("outbreath %s: exit status %d\n%s%s", strings.Join(args, " "), status, out, errOut)
	}
	return out
}

func (j *job) seal(t *testing.T) {
	t.Helper()
	must(t, "seal", j.collection, "--to", j.media, "--keys", j.site)
}

// outside finds a program that the tests compare us with.
func outside(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is not installed", name)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

// files returns every regular file below dir with its contents.
func files(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, _ := filepath.Rel(dir, path)
		out[filepath.ToSlash(rel)], err = os.ReadFile(path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(out) == 0 {
		t.Fatalf("no file below %s", dir)
	}
	return out
}

// digest represents a folder's contents, custody.jsonl and its signature left
// aside: those are ours to write.
func digest(t *testing.T, dir string) string {
	t.Helper()
	all := files(t, dir)
	for name := range all { // with what killed runs leave of them, which the next entry takes away
		if strings.HasPrefix(name, "custody.") || strings.HasPrefix(name, ".outbreath-new-") {
			delete(all, name)
		}
	}
	h := sha256.New()
	for _, name := range sortedKeys(all) {
		sum := sha256.Sum256(all[name])
		h.Write([]byte(name))
		h.Write(sum[:])
	}
	return hex.EncodeToString(h.Sum(nil))
}

// TestStockTools checks and opens a shipment without any code of ours: the
// commands are those of READ-ME-FIRST.txt.
func TestStockTools(t *testing.T) {
	t.Parallel()
	for _, tool := range []string{"sha256sum", "ssh-keygen", "zstd", "tar", "sh"} {
		outside(t, tool)
	}
	bin := filepath.Dir(ageBinary(t))
	for name, flags := range map[string][]string{"one file": nil, "several parts": {"--part-size", "4000"}} {
		t.Run(name, func(t *testing.T) {
			j := newJob(t, smallDemo)
			must(t, append([]string{"seal", j.collection, "--to", j.media, "--keys", j.site}, flags...)...)
			parts, _ := filepath.Glob(filepath.Join(j.shipment, "*.age*"))
			if want := len(flags) > 0; (len(parts) > 1) != want {
				t.Fatalf("%d parts", len(parts))
			}
			for _, step := range []struct{ in, script string }{
				{j.shipment, `sha256sum --strict -c SHA256SUMS`},
				{j.shipment, `ssh-keygen -Y verify -f "$LAB/allowed_signers" -I "$SITE" -n shipment@outbreath -s SHA256SUMS.sig < SHA256SUMS`},
				{j.dir, `cat media/*/*.age* | age -d -i "$LAB/identity.txt" | zstd -q -d | tar -x`},
				{j.at(demo.Site + "-0001"),
					`sha256sum --strict -c manifest-sha256.txt && sha256sum --strict -c tagmanifest-sha256.txt`},
				{j.at(demo.Site + "-0001"),
					`ssh-keygen -Y verify -f "$LAB/allowed_signers" -I "$SITE" -n bag@outbreath ` +
						`-s tagmanifest-sha256.txt.sig < tagmanifest-sha256.txt`},
				// what sha256sum does not see: a file that no list names
				{j.at(demo.Site + "-0001"),
					`find data -type f | LC_ALL=C sort > ../found; ` +
						`cut -c67- manifest-sha256.txt | LC_ALL=C sort | cmp - ../found`},
			} {
				cmd := exec.Command("sh", "-e", "-c", step.script)
				cmd.Dir = step.in
				cmd.Env = append(os.Environ(), "LAB="+j.lab, "SITE="+demo.Site, "PATH="+bin+":"+os.Getenv("PATH"))
				if out, err := cmd.CombinedOutput(); err != nil {
					t.Fatalf("%s: %v\n%s", step.script, err, out)
				}
			}
			// open gives the same folder
			must(t, "open", j.shipment, "--into", j.at("opened"), "--keys", j.lab)
			if got, want := digest(t, j.at("opened")), digest(t, j.at(demo.Site+"-0001")); got != want {
				t.Error("open and the stock tools disagree")
			}
		})
	}
}

var (
	separators = strings.NewReplacer(" ", "", ".", "", "-", "", "/", "", "(", "", ")", "", "\u00a0", "")
	monthNames = []string{"2 January 2006", "January 2 2006", "2 Jan 2006", "02-Jan-2006", "02.01.2006", "2.1.2006",
		"02/01/2006", "01/02/2006", "2006-01-02", "20060102", "02012006"}
)

// identifying lists the forms in which a roster row must not occur.
func identifying(t *testing.T, row map[string]string) (words, runs []string) {
	t.Helper()
	words = append(words, row["given_name"], row["family_name"], row["given_name"]+" "+row["family_name"])
	birth, err := time.Parse("2006-01-02", row["birth_date"])
	if err != nil {
		t.Fatal(err)
	}
	for _, layout := range monthNames {
		words = append(words, birth.Format(layout))
	}
	for _, column := range []string{"subject_id", "mrn", "phone", "email", "national_id", "emergency_contact_phone"} {
		if v := row[column]; v != "" {
			runs = append(runs, separators.Replace(strings.ToLower(v)))
		}
	}
	return words, runs
}

// TestNothingOfTheRosterLeaves opens the demo's shipment and looks for every
// roster value in every file of it and in the clear files on the medium.
func TestNothingOfTheRosterLeaves(t *testing.T) {
	t.Parallel()
	j := newJob(t, demo.Options{RecordingSeconds: 60})
	j.seal(t)
	must(t, "open", j.shipment, "--into", j.at("opened"), "--keys", j.lab)
	leaving := files(t, j.at("opened"))
	for name, data := range files(t, j.media) {
		if !strings.Contains(name, ".age") {
			leaving["media/"+name] = data
		}
		leaving["name of media/"+name] = []byte(name)
	}
	for name := range files(t, j.at("opened")) {
		leaving["name of "+name] = []byte(name)
	}
	if len(j.truth.Roster) < 12 || len(j.truth.Sessions) < 16 {
		t.Fatalf("the demo has %d subjects and %d sessions", len(j.truth.Roster), len(j.truth.Sessions))
	}
	squeezed := map[string]string{}
	for name, data := range leaving {
		squeezed[name] = separators.Replace(strings.ToLower(string(data)))
	}
	searched := 0
	for _, row := range j.truth.Roster {
		words, runs := identifying(t, row)
		for _, w := range words {
			searched++
			re := regexp.MustCompile(`(?i)(^|[^\pL\pN])` + regexp.QuoteMeta(w) + `($|[^\pL\pN])`)
			for name, data := range leaving {
				if re.Match(data) {
					t.Errorf("%s holds a name or birth date of subject %s", name, row["subject_id"])
				}
			}
		}
		for _, r := range runs {
			searched++
			for name, data := range squeezed {
				if strings.Contains(data, r) {
					t.Errorf("%s holds a number or address of subject %s", name, row["subject_id"])
				}
			}
		}
	}
	for _, s := range j.truth.Sessions {
		for name, data := range leaving {
			if bytes.Contains(data, []byte(s.ID)) {
				t.Errorf("%s holds the session id %s", name, s.ID)
			}
		}
	}
	t.Logf("%d values searched in %d files and names", searched, len(leaving))
}

// TestSameInputSameBag seals one collection twice and compares the bags.
func TestSameInputSameBag(t *testing.T) {
	j := newJob(t, smallDemo)
	var bags, archives []string
	for _, medium := range []string{"one", "two"} {
		if err := os.Mkdir(j.at(medium), 0o755); err != nil {
			t.Fatal(err)
		}
		var sealed struct {
			Bag   string `json:"bag_sha256"`
			Parts []struct{ SHA256 string }
		}
		out := must(t, "seal", j.collection, "--to", j.at(medium), "--shipment", "1", "--keys", j.site, "--json")
		if err := json.Unmarshal([]byte(out), &sealed); err != nil {
			t.Fatal(err)
		}
		archive, err := filepath.Glob(filepath.Join(j.at(medium), "*", "*.age"))
		if err != nil || len(archive) != 1 {
			t.Fatal(archive, err)
		}
		bags = append(bags, sealed.Bag+tarDigest(t, archive[0], filepath.Join(j.lab, "identity.txt")))
		archives = append(archives, sealed.Parts[0].SHA256)
	}
	if bags[0] != bags[1] {
		t.Error("two seals of one collection gave two bags")
	}
	if archives[0] == archives[1] {
		t.Error("two encryptions gave the same file: the file key was used twice")
	}
}

// TestEveryByteCounts changes a shipment in every way that a stick, a courier
// or a forger can, and wants each refused with status 3.
func TestEveryByteCounts(t *testing.T) {
	t.Parallel()
	j := newJob(t, demo.Options{Seed: 3, Subjects: 2, Sessions: 2, RecordingSeconds: 5, SampleHz: 2})
	j.seal(t)
	whole := files(t, j.shipment)
	total := 0
	for _, data := range whole {
		total += len(data)
	}
	refused := func(what string) {
		t.Helper()
		status, out, errOut := runHere("verify", j.shipment, "--keys", j.lab, "--quiet")
		if status != exitRejected {
			t.Fatalf("%s: exit status %d\n%s%s", what, status, out, errOut)
		}
	}
	flips := 0
	for _, name := range sortedKeys(whole) {
		data, path := whole[name], filepath.Join(j.shipment, name)
		step := many(3, 1)
		if len(data) > 2000 {
			step *= 3
		}
		for at := 0; at < len(data); at += step {
			changed := bytes.Clone(data)
			changed[at] ^= byte(1 << (flips % 8))
			write(t, path, changed)
			refused(name + ": one bit changed")
			flips++
		}
		for _, n := range []int{0, 1, len(data) / 2, len(data) - 1} {
			write(t, path, data[:n])
			refused(name + ": cut short")
		}
		write(t, path, append(bytes.Clone(data), '\n'))
		refused(name + ": one byte added")
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		refused(name + ": removed")
		write(t, path, data)
	}
	for _, name := range []string{"a.txt", ".hidden", "WEIR-0001.tar.zst.age.001"} {
		write(t, filepath.Join(j.shipment, name), []byte("x"))
		refused(name + ": added")
		if err := os.Remove(filepath.Join(j.shipment, name)); err != nil {
			t.Fatal(err)
		}
	}
	must(t, "verify", j.shipment, "--keys", j.lab)
	if flips < many(1500, 4500) {
		t.Errorf("only %d positions were tried", flips)
	}
	t.Logf("%d positions in %d files of %d bytes: all refused", flips, len(whole), total)
}

func write(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestKilledSeal kills a seal at many moments: half of them spread over its length, half
// once custody.jsonl says that it is about to name the shipment. Afterwards there is no
// shipment or a good one, the collection is as it was, and the next seal succeeds.
func TestKilledSeal(t *testing.T) {
	if testing.Short() {
		t.Skip("50 seals")
	}
	bin := binary(t)
	j := newJob(t, demo.Options{Seed: 5, Subjects: 4, Sessions: 6, RecordingSeconds: 240, SampleHz: 50})
	before := digest(t, j.collection)

	started := time.Now()
	if out, err := exec.Command(bin, "seal", "--new-number", j.collection, "--to", j.media, "--keys",
		j.site).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	length := time.Since(started)

	moments := many(50, 500)
	none, good, between := 0, 0, 0 // between "sealing" and "sealed"
	i := 0
	for ; i < moments || between < moments/10 && i < 20*moments; i++ {
		cmd := exec.Command(bin, "seal", "--new-number", j.collection, "--to", j.media, "--keys", j.site)
		log := len(j.log(t))
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		ended := make(chan struct{})
		go func() { _ = cmd.Wait(); close(ended) }()
		if i < moments/2 {
			time.Sleep(length * time.Duration(i) / time.Duration(moments/2-moments/20))
		} else {
			j.awaitSealing(t, log, ended)
			time.Sleep(time.Duration(i%4) * time.Millisecond)
		}
		_ = cmd.Process.Kill()
		<-ended
		if unsettled(j.log(t)[log:]) {
			between++
		}
		if j.takeAway(t, i) {
			good++
		} else {
			none++
		}
		if digest(t, j.collection) != before {
			t.Fatalf("moment %d: the collection changed", i)
		}
	}
	if none == 0 || good == 0 || between < moments/10 {
		t.Errorf("%d kills: %d left no shipment, %d a good one, %d fell between sealing and sealed: the test "+
			"shows too little", i, none, good, between)
	}
	must(t, "seal", "--new-number", j.collection, "--to", j.media, "--keys", j.site)
	must(t, "custody", j.collection, "--check", "--keys", j.site)
	left, err := os.ReadDir(j.media)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range left {
		if strings.HasPrefix(e.Name(), ".") {
			t.Errorf("%s is left on the medium after the next seal", e.Name())
		}
	}
	t.Logf("%d kills: %d left no shipment, %d a good one; %d fell between sealing and sealed", i, none, good, between)
}

// log returns the entries of the collection's custody.jsonl; the last line may be cut short.
func (j *job) log(t *testing.T) (entries []custody.Entry) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(j.collection, "custody.jsonl"))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	for line := range bytes.Lines(data) {
		var e custody.Entry
		if json.Unmarshal(line, &e) != nil {
			break
		}
		entries = append(entries, e)
	}
	return entries
}

// awaitSealing returns when the log has an entry "sealing" after its first n, or when
// the seal has ended.
func (j *job) awaitSealing(t *testing.T, n int, ended <-chan struct{}) {
	for {
		select {
		case <-ended:
			return
		case <-time.After(100 * time.Microsecond):
		}
		for _, e := range j.log(t)[n:] {
			if e.What == custody.Sealing {
				return
			}
		}
	}
}

// unsettled reports whether the last shipment that was about to get its name has neither
// got it nor was given up.
func unsettled(entries []custody.Entry) bool {
	last := ""
	for _, e := range entries {
		switch {
		case e.What == custody.Sealing:
			last = e.Shipment
		case (e.What == custody.Sealed || e.What == custody.Abandoned) && e.Shipment == last:
			last = ""
		}
	}
	return last != ""
}

// takeAway verifies what a killed seal left on the medium under a final name, and takes it
// away. It reports whether there was anything.
func (j *job) takeAway(t *testing.T, moment int) (found bool) {
	t.Helper()
	entries, err := os.ReadDir(j.media)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") {
			continue // unfinished, under its temporary name
		}
		found = true
		if status, out, errOut := runHere("verify", filepath.Join(j.media, e.Name()), "--keys", j.lab); status != 0 {
			t.Fatalf("moment %d: %s is there and is not accepted: %d\n%s%s", moment, e.Name(), status, out, errOut)
		}
		if err := os.RemoveAll(filepath.Join(j.media, e.Name())); err != nil {
			t.Fatal(err)
		}
	}
	return found
}
