package pack

import (
	"bytes"
	"context"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"outbreath/pack/media"
)

// A recorder is a medium that writes down what was asked of it, in the terms of
// a disk: inodes, and entries of folders that point to them.
type recorder struct {
	ops    []diskOp
	inodes int
}

// A recordedFolder knows its inode, and those of what lies in it.
type recordedFolder struct {
	media.Folder
	r       *recorder
	inode   int
	entries map[string]int
}

// A diskOp is one change that a disk may make durable late, or a barrier after
// which earlier ones are durable.
type diskOp struct {
	kind  string // "entry", "data", "sync", "syncdir"
	dir   int    // of an entry, and of syncdir
	name  string
	inode int // of an entry (0: the name goes), of data and of sync
	data  []byte
}

// Open opens the medium, whose inode is 1.
func (r *recorder) Open(dir string) (media.Folder, error) {
	d, err := media.OS{}.Open(dir)
	r.inodes = 1
	return &recordedFolder{d, r, 1, map[string]int{}}, err
}

func (d *recordedFolder) made(name string) int {
	d.r.inodes++
	d.entry(name, d.r.inodes)
	return d.r.inodes
}

// entry lets name point to an inode; 0: the name goes.
func (d *recordedFolder) entry(name string, inode int) {
	d.entries[name] = inode
	d.r.ops = append(d.r.ops, diskOp{kind: "entry", dir: d.inode, name: name, inode: inode})
}

func (d *recordedFolder) Mkdir(name string) (media.Folder, error) {
	inode := d.made(name)
	sub, err := d.Folder.Mkdir(name)
	return &recordedFolder{sub, d.r, inode, map[string]int{}}, err
}

func (d *recordedFolder) Create(name string) (media.File, error) {
	inode := d.made(name)
	f, err := d.Folder.Create(name)
	return &recordedFile{f, d.r, inode}, err
}

// Rename is two changes: FAT may keep either alone when power fails.
func (d *recordedFolder) Rename(from, to string) error {
	d.entry(to, d.entries[from])
	d.entry(from, 0)
	return d.Folder.Rename(from, to)
}

func (d *recordedFolder) Sync() error {
	d.r.ops = append(d.r.ops, diskOp{kind: "syncdir", dir: d.inode})
	return d.Folder.Sync()
}

type recordedFile struct {
	media.File
	r     *recorder
	inode int
}

func (f *recordedFile) Write(b []byte) (int, error) {
	f.r.ops = append(f.r.ops, diskOp{kind: "data", inode: f.inode, data: bytes.Clone(b)})
	return f.File.Write(b)
}

func (f *recordedFile) Sync() error {
	f.r.ops = append(f.r.ops, diskOp{kind: "sync", inode: f.inode})
	return f.File.Sync()
}

// A disk is what was found after the power failed.
type disk struct {
	entries map[int]map[string]int
	data    map[int][]byte
}

// after is a disk when the power fails after ops: what a barrier covers is
// there; every other change is there when kept says so, a lost write in the
// middle of a file as zeros.
func after(ops []diskOp, kept func() bool) *disk {
	d := &disk{map[int]map[string]int{}, map[int][]byte{}}
	for i, op := range ops {
		durable := false
		for _, later := range ops[i+1:] {
			durable = durable || op.kind == "entry" && later.kind == "syncdir" && later.dir == op.dir ||
				op.kind == "data" && later.kind == "sync" && later.inode == op.inode
		}
		there := durable || kept()
		switch op.kind {
		case "entry":
			if d.entries[op.dir] == nil {
				d.entries[op.dir] = map[string]int{}
			}
			switch {
			case !there:
			case op.inode == 0:
				delete(d.entries[op.dir], op.name)
			default:
				d.entries[op.dir][op.name] = op.inode
			}
		case "data":
			b := op.data
			if !there {
				b = make([]byte, len(b))
			}
			d.data[op.inode] = append(d.data[op.inode], b...)
		}
	}
	return d
}

// folder returns the files of a folder of the medium by name; nil if it is not there.
func (d *disk) folder(name string) map[string]string {
	inode, ok := d.entries[1][name]
	if !ok {
		return nil
	}
	files := map[string]string{}
	for name, file := range d.entries[inode] {
		files[name] = string(d.data[file])
	}
	return files
}

// TestPowerLoss cuts the power after every change that a seal makes, with
// every barrier obeyed and what lies between them made durable in any order or
// not at all: the shipment is whole under its name, or not there.
func TestPowerLoss(t *testing.T) {
	b := newBench(t)
	for name, partSize := range map[string]int64{"one part": 0, "parts": 900} {
		medium := shm(t)
		r := new(recorder)
		o := b.sealOptions(medium)
		o.PartSize = partSize
		if _, err := seal(context.Background(), r, sample(t, 1, 3000), o); err != nil {
			t.Fatal(err)
		}
		whole := tree(t, filepath.Join(medium, o.Number))
		if v := b.mustVerify(t, filepath.Join(medium, o.Number)); v.Decision != Accepted {
			t.Fatalf("%+v", v.Checks)
		}
		states, there, torn := lose(r.ops, o.Number, whole)
		if torn != 0 || there == 0 || states < 1000 {
			t.Errorf("%s: %d states, %d with the shipment, %d of them not whole", name, states, there, torn)
		}
		t.Logf("%s: %d changes and barriers, %d states after a power loss, %d with a whole shipment, the "+
			"others with none", name, len(r.ops), states, there)

		// Without any one barrier but the last, which only makes the end
		// durable, this test must notice.
		last := len(r.ops) - 1
		for i, op := range r.ops[:last] {
			if op.kind != "sync" && op.kind != "syncdir" {
				continue
			}
			less := slices.Delete(slices.Clone(r.ops), i, i+1)
			again := slices.ContainsFunc(r.ops[i+1:last], func(o diskOp) bool {
				return o.kind == op.kind &&
					o.dir == op.dir && o.inode == op.inode
			})
			if _, _, torn := lose(less, o.Number, whole); torn == 0 && !again {
				t.Errorf("%s: barrier %d (%s) could be left away unnoticed", name, i, op.kind)
			}
		}

		// Where the name came before the barriers, verify still refuses.
		judged := 0
		cuts := shm(t)
		for range 100 {
			cut := after(r.ops[:last], func() bool { return rand.IntN(2) == 0 })
			for _, e := range slices.Sorted(maps.Keys(cut.entries[1])) {
				files := cut.folder(e)
				dir := filepath.Join(cuts, strconv.Itoa(judged), o.Number)
				if err := os.MkdirAll(dir, 0o755); err != nil {
					t.Fatal(err)
				}
				for name, data := range files {
					write(t, filepath.Join(dir, name), []byte(data))
				}
				accepted := b.mustVerify(t, dir).Decision == Accepted
				if accepted != maps.Equal(files, whole) {
					t.Errorf("%s: a state with %d files: accepted %v", name, len(files), accepted)
				}
				judged++
			}
		}
		if judged == 0 {
			t.Error("no state was judged")
		}
	}
}

// lose counts the states after a power loss, those in which the shipment has
// its name, and those of them that are not whole.
func lose(ops []diskOp, number string, whole map[string]string) (states, there, torn int) {
	rng := rand.New(rand.NewPCG(1, 2))
	for end := range len(ops) + 1 {
		for k := range 60 {
			kept := func() bool { return rng.IntN(2) == 0 }
			switch k {
			case 0:
				kept = func() bool { return true }
			case 1:
				kept = func() bool { return false }
			case 2: // names early, data late
				kept = nil
			}
			cut := ops[:end]
			if kept == nil {
				kept = func() bool { return true }
				cut = slices.DeleteFunc(slices.Clone(cut), func(o diskOp) bool {
					return o.kind == "data" &&
						!slices.ContainsFunc(ops[:end], func(s diskOp) bool {
							return s.kind == "sync" &&
								s.inode == o.inode
						})
				})
			}
			states++
			files := after(cut, kept).folder(number)
			if files == nil {
				continue
			}
			there++
			if !maps.Equal(files, whole) {
				torn++
			}
		}
	}
	return states, there, torn
}
