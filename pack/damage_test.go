package pack

import (
	"bytes"
	"context"
	"flag"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"outbreath/pack/media"
)

// exhaustive runs what takes many minutes: go test ./pack -exhaustive -timeout 3h.
var exhaustive = flag.Bool("exhaustive", false, "damage every byte and not one in some hundred")

// repairable seals n sessions with 5 percent of repair data.
func (b *bench) repairable(t testing.TB, n, size int, part int64) string {
	t.Helper()
	o := b.sealOptions(t.TempDir())
	o.Repair, o.PartSize = 5, part
	s, err := seal(context.Background(), media.OS{}, sample(t, n, size), o)
	if err != nil {
		t.Fatal(err)
	}
	if b.mustVerify(t, s.Folder).Decision != Accepted || s.Repair == nil {
		t.Fatal("a shipment with repair data is not accepted")
	}
	return s.Folder
}

// mended verifies dir with a folder to repair into, and checks that what is
// there afterwards is good, or that nothing is.
func (b *bench) mended(t testing.TB, dir string, good map[string]string) *Verdict {
	t.Helper()
	o := b.verifyOptions()
	o.RepairInto = filepath.Join(t.TempDir(), "mended")
	before := tree(t, dir)
	v, err := Verify(context.Background(), dir, o)
	if err != nil {
		t.Fatal(err)
	}
	if !maps.Equal(before, tree(t, dir)) {
		t.Fatal("the damaged shipment was changed")
	}
	if v.Repaired == nil {
		empty(t, filepath.Dir(o.RepairInto))
		return v
	}
	if v.Decision != Accepted || !maps.Equal(tree(t, o.RepairInto), good) {
		t.Fatalf("the repaired shipment is not the one that was sealed: %s", v.Decision)
	}
	os.RemoveAll(o.RepairInto)
	return v
}

// TestScatteredDamage damages up to three in a hundred bytes of the archive, in
// pieces of up to 4096 bytes wherever they fall.
func TestScatteredDamage(t *testing.T) {
	b := newBench(t)
	dir := b.repairable(t, 12, 400_000, 700_001)
	good := tree(t, dir)
	var parts []string
	total := 0
	for name, data := range good {
		if archiveName.MatchString(name) {
			parts = append(parts, name)
			total += len(data)
		}
	}
	slices.Sort(parts)
	if len(parts) < 2 {
		t.Fatalf("one part only, of %d bytes", total)
	}
	repaired := 0
	runs := 20
	if *exhaustive {
		runs = 200
	}
	for run := range runs {
		r := rand.New(rand.NewPCG(uint64(run), 3))
		bad := copyDir(t, dir)
		left := int(float64(total) * 0.03 * (1 - 0.9*r.Float64()*float64(run%2))) // every other run: all of the three
		damaged := left
		data := make(map[string][]byte)
		for left > 0 {
			name := parts[r.IntN(len(parts))]
			if data[name] == nil {
				data[name] = []byte(good[name])
			}
			d := data[name]
			n := min(left, 1024+r.IntN(3073), len(d))
			at := r.IntN(len(d) - n + 1)
			for i := range n {
				d[at+i] ^= byte(1 + r.IntN(255))
			}
			left -= n
		}
		for name, d := range data {
			write(t, filepath.Join(bad, name), d)
		}
		v := b.mended(t, bad, good)
		if v.Repaired == nil {
			t.Fatalf("run %d: %d of %d bytes damaged: not repaired: %+v", run, damaged, total, v.Damage)
		}
		repaired++
		os.RemoveAll(bad)
	}
	t.Logf("%d of %d runs, each with up to 3 %% of an archive of %d bytes in %d parts damaged: all repaired, "+
		"byte-identical", repaired, runs, total, len(parts))
}

// TestEveryByte flips a bit of every byte, cuts every file at every length and
// swaps every pair of files, without and with repair data.
func TestEveryByte(t *testing.T) {
	b := newBench(t)
	plain, _ := b.mustSeal(t, sample(t, 1, 20))
	for _, c := range []struct {
		name, dir string
	}{{"without repair data", plain}, {"with repair data", b.repairable(t, 1, 20, 0)}} {
		t.Run(c.name, func(t *testing.T) {
			good := tree(t, c.dir)
			bad := copyDir(t, c.dir)
			rejected, repaired := 0, 0
			judge := func(what string) {
				t.Helper()
				v := b.mustVerify(t, bad)
				if v.Decision != Rejected {
					t.Fatalf("%s: %s", what, v.Decision)
				}
				if v.Damage == nil || !v.Damage.Mendable {
					rejected++
				} else if v = b.mended(t, bad, good); v.Repaired != nil {
					repaired++
				} else {
					rejected++
				}
			}
			r := rand.New(rand.NewPCG(1, 1))
			names := slices.Sorted(maps.Keys(good))
			flips, cuts, swaps := 0, 0, 0
			step := max(1, len(good[labelName])/4) // so that every file is met
			for _, name := range names {
				path := filepath.Join(bad, name)
				for i := range len(good[name]) {
					if !*exhaustive && i%step != 0 {
						continue
					}
					d := []byte(good[name])
					d[i] ^= 1 << r.IntN(8)
					write(t, path, d)
					judge(name + " with a bit changed")
					write(t, path, []byte(good[name])[:i])
					judge(name + " cut")
					flips, cuts = flips+1, cuts+1
				}
				write(t, path, []byte(good[name]))
			}
			for i, x := range names {
				for _, y := range names[i+1:] {
					write(t, filepath.Join(bad, x), []byte(good[y]))
					write(t, filepath.Join(bad, y), []byte(good[x]))
					judge(x + " and " + y + " exchanged")
					write(t, filepath.Join(bad, x), []byte(good[x]))
					write(t, filepath.Join(bad, y), []byte(good[y]))
					swaps++
				}
			}
			t.Logf("%s: %d bits changed, %d cuts, %d exchanges: %d rejected, %d repaired, 0 accepted as they were",
				c.name, flips, cuts, swaps, rejected, repaired)
			if flips < 25 || flips+cuts+swaps != rejected+repaired {
				t.Error("not every run was counted")
			}
		})
	}
}

// TestDamageIsPlaced says which bytes of which part are damaged.
func TestDamageIsPlaced(t *testing.T) {
	b := newBench(t)
	dir := b.repairable(t, 3, 100_000, 50_000)
	part := filepath.Join(dir, "07-0012.tar.zst.age.002")
	data, err := os.ReadFile(part)
	if err != nil {
		t.Fatal(err)
	}
	was := bytes.Clone(data)
	data[5000] ^= 1
	write(t, part, data)
	v := b.mustVerify(t, dir)
	want := []DamagedRange{{"07-0012.tar.zst.age.002", 4096, 5120}}
	if v.Damage == nil || !slices.Equal(v.Damage.Ranges, want) || !v.Damage.Mendable || v.Damage.Bytes != 1024 {
		t.Fatalf("%+v", v.Damage)
	}
	if v.Damage.Beyond() || v.Incomplete() {
		t.Errorf("beyond repair %t, incomplete %t", v.Damage.Beyond(), v.Incomplete())
	}
	for i := range data {
		data[i] ^= 1
	}
	write(t, part, data)
	if v := b.mustVerify(t, dir); v.Damage == nil || !v.Damage.Beyond() || v.Incomplete() {
		t.Errorf("all of it altered: %+v", v.Damage)
	}
	if err := os.Remove(part); err != nil {
		t.Fatal(err)
	}
	if v := b.mustVerify(t, dir); !v.Incomplete() {
		t.Errorf("a part is missing: %+v", v.Checks)
	}
	write(t, part, was)
	if v := b.mustVerify(t, dir); v.Decision != Accepted {
		t.Fatal(v.Decision)
	}
}

// TestSessionsAroundDamage reads on behind damage: the sessions whose bytes
// were not hit are named, the one that was hit is to be asked for again.
func TestSessionsAroundDamage(t *testing.T) {
	b := newBench(t)
	dir, _ := b.mustSeal(t, sample(t, 12, 1_500_000))
	path := filepath.Join(dir, "07-0012.tar.zst.age")
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []int{300, len(good) / 2, len(good) - 5} {
		bad := bytes.Clone(good)
		bad[at] ^= 4
		write(t, path, bad)
		v := b.mustVerify(t, dir)
		d := v.Damage
		if v.Decision != Rejected || d == nil || d.Salvage == nil || d.Unplaced || len(d.Ranges) != 1 {
			t.Fatalf("byte %d: %s %+v", at, v.Decision, d)
		}
		if r := d.Ranges[0]; int64(at) < r.From || int64(at) >= r.To || r.To-r.From > 65552 {
			t.Errorf("byte %d: placed at %d to %d", at, r.From, r.To)
		}
		s := d.Salvage
		if len(s.Whole)+len(s.Ask)+s.Unnamed != 12 {
			t.Errorf("byte %d: %+v: not 12 sessions", at, s)
		}
		// The last chunk holds the list and its signature; a hole in the middle costs
		// at most the frames that it touches.
		if want := at != len(good)-5; s.Proven != want {
			t.Errorf("byte %d: proven %v", at, s.Proven)
		}
		if at == len(good)/2 && (len(s.Whole) < 8 || len(s.Ask) == 0) {
			t.Errorf("byte %d: %d whole, %d to ask for", at, len(s.Whole), len(s.Ask))
		}
		t.Logf("byte %d: %d whole, %d to ask for, %d without a name, proven %v", at, len(s.Whole), len(s.Ask),
			s.Unnamed, s.Proven)
	}
}
