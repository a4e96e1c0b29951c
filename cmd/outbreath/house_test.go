package main

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"
)

// Limits of the code's form. A function that needs more does more than one thing.
const (
	longestFunc = 80 // lines of a function of the program
	mostPaths   = 25 // cyclomatic complexity of one: 1 and a path for each branch

	widestLine = 120 // columns, a tab counted as four
)

// sources calls look for each Go file of the module, with its path from the root.
func sources(t *testing.T, look func(path string, text []byte)) {
	t.Helper()
	n := 0
	err := filepath.WalkDir("../..", func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if e.IsDir() && path != "../.." && strings.HasPrefix(e.Name(), ".") {
			return filepath.SkipDir
		}
		if e.IsDir() || !strings.HasSuffix(path, ".go") {
			return nil
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		n++
		look(filepath.ToSlash(strings.TrimPrefix(path, "../../")), text)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if n < 200 {
		t.Fatalf("only %d Go files were found", n)
	}
}

// TestLinesFit: a line is longer than others only for a text that cannot be broken: a
// raw string, or one that fills a line by itself.
func TestLinesFit(t *testing.T) {
	sources(t, func(path string, text []byte) {
		var long []int
		for i, line := range bytes.Split(text, []byte("\n")) {
			if utf8.RuneCount(line)+3*bytes.Count(line, []byte("\t")) > widestLine {
				long = append(long, i+1)
			}
		}
		if len(long) == 0 {
			return
		}
		excused := map[int]bool{}
		set, file := parsed(t, path, text)
		ast.Inspect(file, func(x ast.Node) bool {
			lit, ok := x.(*ast.BasicLit)
			if ok && lit.Kind == token.STRING && (lit.Value[0] == '`' || len(lit.Value) > widestLine-40) {
				for n := set.Position(lit.Pos()).Line; n <= set.Position(lit.End()).Line; n++ {
					excused[n] = true
				}
			}
			return true
		})
		for _, n := range long {
			if !excused[n] {
				t.Errorf("%s:%d is too long", path, n)
			}
		}
	})
}

func TestFunctionsAreShort(t *testing.T) {
	sources(t, func(path string, text []byte) {
		if strings.HasSuffix(path, "_test.go") {
			return
		}
		set, file := parsed(t, path, text)
		for _, d := range file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok || f.Body == nil {
				continue
			}
			if n := set.Position(f.End()).Line - set.Position(f.Pos()).Line + 1; n > longestFunc {
				t.Errorf("%s: %s has %d lines", path, f.Name.Name, n)
			}
			if n := paths(f); n > mostPaths {
				t.Errorf("%s: %s has a cyclomatic complexity of %d", path, f.Name.Name, n)
			}
		}
	})
}

func parsed(t *testing.T, path string, text []byte) (*token.FileSet, *ast.File) {
	t.Helper()
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, path, text, parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	return set, file
}

// paths counts as McCabe did (A Complexity Measure, IEEE Transactions on Software
// Engineering SE-2(4), 1976): a path for each condition. From memory.
func paths(f *ast.FuncDecl) int {
	n := 1
	ast.Inspect(f, func(x ast.Node) bool {
		switch x := x.(type) {
		case *ast.IfStmt, *ast.ForStmt, *ast.RangeStmt:
			n++
		case *ast.CaseClause:
			if x.List != nil {
				n++
			}
		case *ast.CommClause:
			if x.Comm != nil {
				n++
			}
		case *ast.BinaryExpr:
			if x.Op == token.LAND || x.Op == token.LOR {
				n++
			}
		}
		return true
	})
	return n
}

// TestLibrariesNameNoCommand: a package states what is the case; what to type about it
// is for cmd to say, which knows its commands and options.
func TestLibrariesNameNoCommand(t *testing.T) {
	names := commandNames()
	if !names.MatchString("run keys trust again") || !names.MatchString("add --tubes FILE") ||
		names.MatchString("the keys are trusted") {
		t.Fatal("commands are not recognised")
	}
	sources(t, func(path string, text []byte) {
		if strings.HasSuffix(path, "_test.go") || strings.HasPrefix(path, "cmd/") ||
			strings.HasPrefix(path, "testdata/") ||
			strings.HasPrefix(path, "pack/register/registertest/") {
			return
		}
		set, file := parsed(t, path, text)
		ast.Inspect(file, func(x ast.Node) bool {
			lit, ok := x.(*ast.BasicLit)
			if !ok || lit.Kind != token.STRING {
				return true
			}
			if s, err := strconv.Unquote(lit.Value); err == nil && names.MatchString(s) &&
				!slices.Contains(manuals, path) {
				t.Errorf("%s:%d names a command or an option: %q", path, set.Position(lit.Pos()).Line,
					names.FindString(s))
			}
			return true
		})
	})
}

// manuals lists the files of texts for a person who has a medium or a key folder in hand
// and no help of the program: their whole purpose is to say what to type.
var manuals = []string{"keys/intros.go", "pack/readme.go"}

// commandNames matches a command of this program, or an option, in a sentence.
func commandNames() *regexp.Regexp {
	var verbs, pairs []string
	root := newRootCmd(newUI(strings.NewReader(""), &bytes.Buffer{}, &bytes.Buffer{}))
	for _, c := range root.Commands() {
		verbs = append(verbs, c.Name())
		for _, sub := range c.Commands() {
			pairs = append(pairs, c.Name()+" "+sub.Name())
		}
	}
	return regexp.MustCompile(`\b(outbreath|run|see|with|then) (` + strings.Join(verbs, "|") +
		`)\b( again|[^a-z]|$)|\b(` +
		strings.Join(pairs, "|") + `)\b|(^|[ (])--[a-z]+`)
}
