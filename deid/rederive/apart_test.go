package rederive

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// Of this module, the package uses the statement of a plan alone: what a fault in the code
// that treats could change must not be used here.
func TestRederiveSharesNothing(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) < 10 {
		t.Fatal(files, err)
	}
	used := map[string]bool{}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range f.Imports {
			if path, _ := strconv.Unquote(i.Path.Value); strings.HasPrefix(path, "outbreath/") &&
				path != "outbreath/schema" {
				t.Errorf("%s imports %s", name, path)
			}
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if s, ok := n.(*ast.SelectorExpr); ok {
				if x, ok := s.X.(*ast.Ident); ok && x.Name == "schema" && x.Obj == nil {
					used[s.Sel.Name] = true
					if s.Sel.Name != "Field" && s.Sel.Name != "Treatment" {
						t.Errorf("%s uses schema.%s", name, s.Sel.Name)
					}
				}
			}
			return true
		})
	}
	if !used["Field"] || !used["Treatment"] {
		t.Error("the test does not see what is used")
	}
}
