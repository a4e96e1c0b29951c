// Command compare times outbreath against a pipeline of general tools that does
// less: sha256sum, tar | zstd -3 | age, sync; and back. It makes an invented
// collection, runs both in alternation, and prints medians with their spread.
//
//	go run ./testdata/compare -bytes 1e9 -pairs 5 -dir DIR
//
// It needs sha256sum, tar, zstd and bash; age is built from go.mod. Both sides
// end with the output synced. The tool does more: it checks the schema and the
// grammar of recordings, pseudonymises, searches for identifiers, signs, and
// reads back what it wrote.
package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
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
	size := flag.Float64("bytes", 1e9, "bytes of recordings")
	pairs := flag.Int("pairs", 5, "pairs of runs")
	dir := flag.String("dir", "", "empty folder to work in")
	flag.Parse()
	if *dir == "" {
		fail("name an empty folder with -dir")
	}
	at := func(name string) string { return filepath.Join(*dir, name) }
	check(os.MkdirAll(at("bin"), 0o755))
	run("go", "build", "-o", at("bin"), "./cmd/outbreath", "filippo.io/age/cmd/age")
	tool := at("bin/outbreath")
	if _, err := os.Stat(at("collection")); err != nil {
		_, err := demo.Write(at("collection"), demo.Big(int64(*size)))
		check(err)
	}
	if _, err := os.Stat(at("site")); err != nil {
		run(tool, "keys", "new", "--role", "site", "--name", demo.Site, "--no-passphrase", "--keys", at("site"))
		run(tool, "keys", "new", "--role", "lab", "--name", "harbour-lab", "--no-passphrase", "--keys", at("lab"))
		run(tool, "keys", "trust", at("lab/public-keys.txt"), "--keys", at("site"))
		run(tool, "keys", "trust", at("site/public-keys.txt"), "--keys", at("lab"))
	}
	env := append(os.Environ(), "D="+*dir, "PATH="+at("bin")+":"+os.Getenv("PATH"))
	shell := func(script string) cost {
		return timed(env, "bash", "-e", "-o", "pipefail", "-c", script)
	}
	plain := treeSize(at("collection"))
	fmt.Printf("collection: %d bytes of plain input\n", plain)

	shipment := at("media/" + demo.Site + "-0001")
	var seal, pack, verify, unpack []cost
	var sealed, packed int64
	for i := range *pairs + 1 { // the first pair warms the caches and is not counted
		check(os.RemoveAll(at("media")))
		check(os.MkdirAll(at("media"), 0o755))
		check(os.RemoveAll(at("collection/custody.jsonl")))
		s := timed(env, tool, "seal", at("collection"), "--to", at("media"), "--keys", at("site"), "--quiet")
		p := shell(`cd "$D"; find collection -type f -exec sha256sum {} + > MANIFEST; tar -cf - collection | zstd -3 -q -c | age -R lab/recipient.txt > out.age; sync out.age`)
		v := timed(env, tool, "verify", shipment, "--keys", at("lab"), "--quiet")
		u := shell(`cd "$D"; rm -rf back; mkdir back; cd back; age -d -i ../lab/identity.txt ../out.age | zstd -d -q -c | tar -xf -; sha256sum --quiet -c ../MANIFEST`)
		if i > 0 {
			seal, pack, verify, unpack = append(seal, s), append(pack, p), append(verify, v), append(unpack, u)
		}
		sealed, packed = treeSize(at("media")), treeSize(at("out.age"))
	}
	fmt.Printf("sealed size / pipeline's: %d / %d = %.3f\n", sealed, packed, float64(sealed)/float64(packed))
	report("seal / pipeline", seal, pack)
	report("verify / reverse pipeline", verify, unpack)
}

// report prints medians, and the ratio pair by pair.
func report(what string, a, b []cost) {
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
	fmt.Printf("%-26s wall %.2f s : %.2f s, ratio %.2f (%.2f to %.2f); cpu %.2f s : %.2f s, ratio %.2f (%.2f to %.2f); peak %.0f : %.0f MiB\n", what,
		mid(pick(a, wall)), mid(pick(b, wall)), mid(w), w[0], w[len(w)-1],
		mid(pick(a, cpu)), mid(pick(b, cpu)), mid(c), c[0], c[len(c)-1],
		pick(a, peak)[len(a)-1], pick(b, peak)[len(b)-1])
}

func timed(env []string, name string, args ...string) cost {
	cmd := exec.Command(name, args...)
	cmd.Env = env
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	start := time.Now()
	if err := cmd.Run(); err != nil {
		fail(fmt.Sprintf("%s: %v\n%s", name, err, out.String()))
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
