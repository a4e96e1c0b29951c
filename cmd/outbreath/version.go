package main

import (
	"fmt"
	"io"
	"regexp"
	"runtime"
	"runtime/debug"
	"sync"
)

// A build describes what this program was built from, as recorded by the Go tool.
type build struct {
	Version string   `json:"version"` // of the module, "devel" when it was built from a checkout
	Commit  string   `json:"commit"`  // 40 hexadecimal digits; "" when the checkout was not known
	Changed bool     `json:"changed"` // the checkout had changes that no commit holds
	Go      string   `json:"go"`
	Modules []module `json:"modules"` // of others, ordered by path
}

// A module is one dependency of the program.
type module struct {
	Path    string `json:"path"`
	Version string `json:"version"`
	Sum     string `json:"sum"` // as in go.sum
}

var thisBuild = sync.OnceValue(func() build {
	b := build{Version: "devel", Go: runtime.Version(), Modules: []module{}}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return b
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		b.Version = v
	}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			b.Commit = s.Value
		case "vcs.modified":
			b.Changed = s.Value == "true"
		}
	}
	for _, m := range info.Deps {
		for m.Replace != nil {
			m = m.Replace
		}
		b.Modules = append(b.Modules, module{m.Path, m.Version, m.Sum})
	}
	return b
})

// programName is the short form in treatment.json, on the label, in custody.jsonl and on the
// audit's page: "outbreath VERSION COMMIT GO". The commit has seven digits, a + if the
// checkout was changed, and is left out if it is unknown. Every run of one program gives the
// same name.
var programName = sync.OnceValue(func() string {
	b := thisBuild()
	name := "outbreath " + notForm.ReplaceAllString(b.Version, "")
	if len(b.Commit) >= 7 {
		name += " " + b.Commit[:7]
	}
	if b.Changed {
		name += "+"
	}
	return name + " " + notForm.ReplaceAllString(b.Go, "")
})

// notForm matches what a program's name must not hold; see [deid.ProgramForm].
var notForm = regexp.MustCompile(`[^0-9A-Za-z.+-]`)

func printVersion(u *ui) error {
	b := thisBuild()
	return u.result(struct {
		OK      bool   `json:"ok"`
		Program string `json:"program"`
		build
	}{true, programName(), b}, func(w io.Writer) {
		fmt.Fprintln(w, programName())
		commit := b.Commit
		switch {
		case commit == "":
			commit = "not known to this build"
		case b.Changed:
			commit += ", with changes that no commit holds"
		}
		fmt.Fprintf(w, "version %s\ncommit  %s\nbuilt with %s for %s/%s\nmodules of others, with their sums as "+
			"in go.sum:\n", b.Version, commit, b.Go, runtime.GOOS, runtime.GOARCH)
		var rows [][]string
		for _, m := range b.Modules {
			rows = append(rows, []string{"  " + m.Path, m.Version, m.Sum})
		}
		table(w, rows)
	})
}
