package main

import (
	"encoding/json"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// floors says what of this module each package may import, tests left aside.
// Imports point one way, downwards; DEVELOPERS.md draws the same.
var floors = map[string][]string{
	"outbreath/schema/breath":        {},
	"outbreath/schema/edf":           {},
	"outbreath/schema/sheet":         {},
	"outbreath/schema/sampler":       {"outbreath/schema/edf"},
	"outbreath/keys/sshsig":          {},
	"outbreath/pack/bag":             {},
	"outbreath/pack/durable":         {},
	"outbreath/pack/media":           {"outbreath/pack/durable"},
	"outbreath/pack/place":           {"outbreath/pack/durable"},
	"outbreath/pack/repair":          {},
	"outbreath/pack/custody":         {"outbreath/pack/durable", "outbreath/pack/media"},
	"outbreath/pack/media/mediatest": {"outbreath/pack/media"},
	"outbreath/schema":               {"outbreath/schema/edf", "outbreath/pack/durable"},
	"outbreath/schema/demo":          {"outbreath/schema", "outbreath/schema/edf"},
	"outbreath/schema/demo/planting": {"outbreath/schema", "outbreath/schema/edf"}, // for tests
	"outbreath/schema/sessionlog": {"outbreath/schema", "outbreath/schema/edf", "outbreath/schema/sheet",
		"outbreath/schema/sampler", "outbreath/pack/durable"},
	"outbreath/schema/entry": {"outbreath/schema", "outbreath/schema/sessionlog", "outbreath/pack/durable"},
	"outbreath/keys":         {"outbreath/keys/sshsig", "outbreath/pack/durable"},
	"outbreath/deid/leak":    {"outbreath/schema", "outbreath/pack/durable"},
	"outbreath/deid": {"outbreath/schema", "outbreath/schema/breath", "outbreath/schema/edf",
		"outbreath/schema/sampler", "outbreath/keys", "outbreath/deid/leak", "outbreath/pack/durable"},
	"outbreath/deid/attack": {}, // written apart from all that treats or reads elsewhere
	"outbreath/deid/reach":  {"outbreath/schema"},
	"outbreath/deid/audit": {"outbreath/deid", "outbreath/deid/attack", "outbreath/deid/leak", "outbreath/deid/reach",
		"outbreath/schema", "outbreath/schema/breath", "outbreath/schema/edf"},
	"outbreath/deid/rederive": {"outbreath/schema"}, // schema.Field and schema.Treatment: TestRederiveSharesNothing
	"outbreath/pack": {"outbreath/deid", "outbreath/schema", "outbreath/schema/edf", "outbreath/keys",
		"outbreath/keys/sshsig", "outbreath/pack/bag", "outbreath/pack/durable", "outbreath/pack/media",
		"outbreath/pack/repair"},
	"outbreath/pack/site": {"outbreath/deid", "outbreath/deid/leak", "outbreath/schema", "outbreath/keys",
		"outbreath/keys/sshsig", "outbreath/pack", "outbreath/pack/custody", "outbreath/pack/durable"},
	"outbreath/pack/intake": {"outbreath/keys", "outbreath/pack", "outbreath/pack/durable",
		"outbreath/pack/media", "outbreath/pack/register"},
	"outbreath/cmd/outbreath": {
		"outbreath/deid", "outbreath/deid/attack", "outbreath/deid/audit", "outbreath/deid/leak",
		"outbreath/deid/reach",
		"outbreath/deid/rederive", "outbreath/schema",
		"outbreath/schema/breath",
		"outbreath/schema/demo", "outbreath/schema/edf", "outbreath/schema/entry", "outbreath/schema/sessionlog",
		"outbreath/schema/sheet",
		"outbreath/keys", "outbreath/pack", "outbreath/pack/custody",
		"outbreath/pack/durable", "outbreath/pack/intake", "outbreath/pack/media", "outbreath/pack/place",
		"outbreath/pack/register", "outbreath/pack/repair", "outbreath/pack/site", "outbreath/pack/symbol",
	},

	"outbreath/pack/symbol":                {},
	"outbreath/pack/register":              {"outbreath/pack/durable"},
	"outbreath/pack/register/registertest": {},
	"outbreath/schema/costtest":            {}, // for tests
}

// houses says which packages may import a library from outside. A module that
// is not named here may be imported by nobody.
var houses = map[string][]string{
	"filippo.io/age":                           {"outbreath/keys", "outbreath/pack", "outbreath/cmd/outbreath"},
	"github.com/cloudflare/circl":              {"outbreath/keys"},
	"github.com/tyler-smith/go-bip39":          {"outbreath/keys"},
	"github.com/klauspost/compress":            {"outbreath/pack"},
	"github.com/klauspost/reedsolomon":         {"outbreath/pack/repair"},
	"github.com/santhosh-tekuri/jsonschema/v5": {"outbreath/schema"},
	"github.com/spf13/cobra":                   {"outbreath/cmd/outbreath"},
	"github.com/spf13/pflag":                   {},
	"github.com/jackc/pgx/v5":                  {"outbreath/pack/register"},
	"modernc.org/sqlite":                       {"outbreath/pack/register"},
	"github.com/boombuler/barcode":             {"outbreath/pack/symbol"},
	"github.com/xuri/excelize/v2":              {"outbreath/schema/sheet"},
	"github.com/xuri/nfp":                      {"outbreath/schema/sheet"},
	"golang.org/x/crypto": {"outbreath/keys", "outbreath/keys/sshsig", "outbreath/pack",
		"outbreath/pack/site"},
	"golang.org/x/sys": {"outbreath/pack/durable", "outbreath/pack/media",
		"outbreath/pack/custody", "outbreath/cmd/outbreath"},
	"golang.org/x/term": {"outbreath/cmd/outbreath"},
	"golang.org/x/text": {"outbreath/schema", "outbreath/schema/sessionlog", "outbreath/schema/sheet",
		"outbreath/deid", "outbreath/deid/audit", "outbreath/deid/leak", "outbreath/deid/rederive",
		"outbreath/pack/bag"},
}

func TestImportsPointOneWay(t *testing.T) {
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports", "outbreath/...")
	cmd.Dir = "../.."
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	seen := map[string]bool{}
	for dec := json.NewDecoder(strings.NewReader(string(out))); dec.More(); {
		var p struct {
			ImportPath string
			Imports    []string
		}
		if err := dec.Decode(&p); err != nil {
			t.Fatal(err)
		}
		allowed, ok := floors[p.ImportPath]
		if !ok {
			t.Errorf("%s has no place in the table of floors", p.ImportPath)
		}
		seen[p.ImportPath] = true
		for _, imp := range p.Imports {
			switch first, _, _ := strings.Cut(imp, "/"); {
			case strings.HasPrefix(imp, "outbreath/"):
				if !slices.Contains(allowed, imp) {
					t.Errorf("%s imports %s: that arrow points the wrong way", p.ImportPath, imp)
				}
			case strings.Contains(first, "."):
				if !mayImport(p.ImportPath, imp) {
					t.Errorf("%s imports %s, which is not at home there", p.ImportPath, imp)
				}
			}
		}
	}
	for p := range floors {
		if !seen[p] {
			t.Errorf("the table of floors names %s, which is not there", p)
		}
	}
}

func mayImport(pkg, imp string) bool {
	for module, homes := range houses {
		if imp == module || strings.HasPrefix(imp, module+"/") {
			return slices.Contains(homes, pkg)
		}
	}
	return false
}
