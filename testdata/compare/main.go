// Command compare times outbreath against a pipeline of general tools that does
// less: sha256sum, tar | zstd -3 | age, sync; and back. It makes invented
// collections, runs both in alternation, and prints medians of the ratios with
// their spread, as rows of a table.
//
//	go run ./testdata/compare -dir DIR
//	go run ./testdata/compare -dir DIR -sets csv,bin -sizes 1e9 -pairs 5
//	go run ./testdata/compare -dir DIR -literals 2e8
//
// The last compares the search for values of the roster with ripgrep.
//
// It needs sha256sum, tar, zstd and bash; age is built from go.mod. Both sides
// end with the output synced. The tool does more: it checks the schema and the
// grammar of recordings, takes figures of them, pseudonymises, searches for
// identifiers twice, signs, and reads back what it wrote.
package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"outbreath/schema/demo"
)

// A cost is what one run took.
type cost struct {
	wall, cpu float64 // seconds
	peak      float64 // MiB, of the largest single process
}

func main() {
	kinds := flag.String("sets", "csv,bin,rand,small", "collections to make: csv, bin, rand (incompressible), "+
		"small (records)")
	sizes := flag.String("sizes", "1e8,1e9,4e9", "bytes of recordings; one size of 1e9 for bin and rand, 20,000 "+
		"records for small")
	pairs := flag.Int("pairs", 5, "pairs of runs that are counted")
	dir := flag.String("dir", "", "empty folder to work in")
	literals := flag.Float64("literals", 0, "compare the literal search with ripgrep, on texts of so many bytes")
	search := flag.String("search", "", "file to search, as the comparison with ripgrep does")
	words := flag.String("words", "", "file of the literals for -search")
	border := flag.String("border", "", "-w: literals are words, for -search")
	flag.Parse()
	if *search != "" {
		searchLiterals(*search, *words, *border == "-w")
		return
	}
	if *dir == "" {
		fail("name an empty folder with -dir")
	}
	b := &bench{dir: *dir, pairs: *pairs}
	if *literals > 0 {
		check(os.MkdirAll(b.dir, 0o755))
		b.compareLiterals(int(*literals))
		return
	}
	b.prepare()
	fmt.Println("| set | bytes | what | wall s | pipeline s | ratio (least to greatest) | cpu ratio (least to " +
		"greatest) | peak MiB | size ratio |")
	fmt.Println("|---|---|---|---|---|---|---|---|---|")
	for _, kind := range strings.Split(*kinds, ",") {
		make, ok := sets[kind]
		if !ok {
			fail("there is no set " + kind)
		}
		for _, text := range strings.Split(*sizes, ",") {
			size, err := strconv.ParseFloat(text, 64)
			check(err)
			switch kind {
			case "small":
				size = 20_000
			case "bin", "rand":
				size = 1e9
			}
			b.compare(kind, int64(size), make)
			if kind != "csv" {
				break
			}
		}
	}
}

// A bench is a folder with the programs, keys and collections of the comparison.
type bench struct {
	dir   string
	pairs int
	tool  string
	env   []string
}

func (b *bench) at(name string) string { return filepath.Join(b.dir, name) }

// prepare builds the programs and makes the keys.
func (b *bench) prepare() {
	check(os.MkdirAll(b.at("bin"), 0o755))
	run("go", "build", "-o", b.at("bin"), "./cmd/outbreath", "filippo.io/age/cmd/age")
	b.tool = b.at("bin/outbreath")
	b.env = append(os.Environ(), "D="+b.dir, "PATH="+b.at("bin")+":"+os.Getenv("PATH"))
	if _, err := os.Stat(b.at("site")); err == nil {
		return
	}
	run(b.tool, "keys", "new", "--role", "site", "--name", demo.Site, "--no-passphrase", "--keys", b.at("site"))
	run(b.tool, "keys", "new", "--role", "lab", "--name", "harbour-lab", "--no-passphrase", "--keys", b.at("lab"))
	run(b.tool, "keys", "trust", b.at("lab/public-keys.txt"), "--keys", b.at("site"))
	run(b.tool, "keys", "trust", b.at("site/public-keys.txt"), "--keys", b.at("lab"))
}

// shell runs a script of the pipeline.
func (b *bench) shell(script string) cost {
	return timed(b.env, "bash", "-e", "-o", "pipefail", "-c", script)
}

// compare makes a collection, takes times, and removes it.
func (b *bench) compare(kind string, size int64, make func(string, int64)) {
	for _, name := range []string{"collection", "media", "back", "opened", "out.age"} {
		check(os.RemoveAll(b.at(name)))
	}
	make(b.at("collection"), size)
	plain := treeSize(b.at("collection"))
	shipment := b.at("media/" + demo.Site + "-0001")
	var seal, pack, verify, unpack, open []cost
	var sealed, packed int64
	for i := range b.pairs + 1 { // the first pair warms the caches and is not counted
		for _, name := range []string{"media", "opened", "collection/custody.jsonl", "collection/custody.jsonl.sig",
			"site/state-" + demo.Study} {
			check(os.RemoveAll(b.at(name)))
		}
		check(os.MkdirAll(b.at("media"), 0o755))
		s := timed(b.env, b.tool, "seal", b.at("collection"), "--to", b.at("media"), "--keys", b.at("site"), "--quiet")
		p := b.shell(`cd "$D"; find collection -type f -exec sha256sum {} + > MANIFEST; tar -cf - collection | zstd -3 -q -c | age -R lab/recipient.txt > out.age; sync out.age`)
		v := timed(b.env, b.tool, "verify", shipment, "--keys", b.at("lab"), "--quiet")
		u := b.shell(`cd "$D"; rm -rf back; mkdir back; cd back; age -d -i ../lab/identity.txt ../out.age | zstd -d -q -c | tar -xf -; sha256sum --quiet -c ../MANIFEST`)
		o := timed(b.env, b.tool, "open", shipment, "--into", b.at("opened"), "--keys", b.at("lab"), "--quiet")
		if i > 0 {
			seal, pack, verify, unpack, open = append(seal, s), append(pack, p), append(verify, v), append(unpack, u),
				append(open, o)
		}
		sealed, packed = treeSize(b.at("media")), treeSize(b.at("out.age"))
	}
	ratio := fmt.Sprintf("%.3f", float64(sealed)/float64(packed))
	row(kind, plain, "seal / pipeline", seal, pack, ratio)
	row(kind, plain, "verify / reverse", verify, unpack, "")
	row(kind, plain, "open / reverse", open, unpack, "")
}

// row prints medians, and the ratio pair by pair.
func row(kind string, bytes int64, what string, a, b []cost, size string) {
	pick := func(c []cost, f func(cost) float64) []float64 {
		var out []float64
		for _, x := range c {
			out = append(out, f(x))
		}
		slices.Sort(out)
		return out
	}
	ratio := func(f func(cost) float64) []float64 {
		var out []float64
		for i := range a {
			out = append(out, f(a[i])/f(b[i]))
		}
		slices.Sort(out)
		return out
	}
	wall := func(c cost) float64 { return c.wall }
	cpu := func(c cost) float64 { return c.cpu }
	peak := func(c cost) float64 { return c.peak }
	mid := func(s []float64) float64 { return s[len(s)/2] }
	w, c := ratio(wall), ratio(cpu)
	fmt.Printf("| %s | %.2e | %s | %.2f | %.2f | %.2f (%.2f to %.2f) | %.2f (%.2f to %.2f) | %.0f | %s |\n", kind,
		float64(bytes), what,
		mid(pick(a, wall)), mid(pick(b, wall)), mid(w), w[0], w[len(w)-1], mid(c), c[0], c[len(c)-1],
		pick(a, peak)[len(a)-1], size)
}

func timed(env []string, name string, args ...string) cost {
	cmd := exec.Command(name, args...)
	cmd.Env = env
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	return measure(cmd, false)
}

// measure runs cmd, which may say with status 1 that it found nothing.
func measure(cmd *exec.Cmd, mayFail bool) cost {
	start := time.Now()
	if err := cmd.Run(); err != nil && !(mayFail && cmd.ProcessState != nil && cmd.ProcessState.ExitCode() == 1) {
		fail(fmt.Sprintf("%s: %v\n%v", cmd.Path, err, cmd.Stderr))
	}
	usage := cmd.ProcessState.SysUsage().(*syscall.Rusage)
	return cost{
		wall: time.Since(start).Seconds(),
		cpu:  (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds(),
		peak: float64(usage.Maxrss) / 1024,
	}
}

func run(name string, args ...string) { timed(os.Environ(), name, args...) }

func treeSize(dir string) (total int64) {
	check(filepath.Walk(dir, func(_ string, info os.FileInfo, err error) error {
		if err == nil && info.Mode().IsRegular() {
			total += info.Size()
		}
		return err
	}))
	return total
}

func check(err error) {
	if err != nil {
		fail(err.Error())
	}
}

func fail(msg string) {
	fmt.Fprintln(os.Stderr, "compare:", msg)
	os.Exit(1)
}
