package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"outbreath/schema"
	"outbreath/schema/demo"
)

// TestOutsideValidator lets ajv 8 judge the schema that the laboratory gets, as
// a draft 2020-12 schema, and every shipped record against it, under each
// built-in plan and one of a study's own that has alternatives.
func TestOutsideValidator(t *testing.T) {
	t.Parallel()
	node := outside(t, "node")
	modules := npm(t)
	script, err := filepath.Abs("testdata/ajv.cjs")
	if err != nil {
		t.Fatal(err)
	}
	judge := func(args ...string) string {
		cmd := exec.Command(node, append([]string{script}, args...)...)
		cmd.Env = append(os.Environ(), "NODE_PATH="+modules)
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("ajv: %v\n%s", err, out)
		}
		return string(out)
	}
	const own = "plan.json"
	for _, plan := range append(schema.Builtin(), own) {
		t.Run(plan, func(t *testing.T) {
			j := newJob(t, demo.Options{RecordingSeconds: 5, SampleHz: 5})
			study := filepath.Join(j.collection, "study.json")
			data, err := os.ReadFile(study)
			if err != nil {
				t.Fatal(err)
			}
			write(t, study, []byte(strings.Replace(string(data), `"shifted"`, `"`+plan+`"`, 1)))
			if plan == own {
				shifted, err := os.ReadFile("../../schema/session.schema.json")
				if err != nil {
					t.Fatal(err)
				}
				const either = `{"anyOf": [{"required": ["notes"]}, {"required": ["operator"]}],`
				write(t, filepath.Join(j.collection, own), []byte(strings.Replace(string(shifted), "{", either, 1)))
			}
			j.seal(t)
			must(t, "open", j.shipment, "--into", j.at("opened"), "--keys", j.lab)
			of := filepath.Join(j.at("opened"), "data", "session.schema.json")
			if text, err := os.ReadFile(of); err != nil || strings.Contains(string(text), "anyOf") != (plan == own) {
				t.Fatalf("the outgoing schema has the alternatives of another plan (%v)", err)
			}
			records, err := filepath.Glob(filepath.Join(j.at("opened"), "data", "sessions", "*.json"))
			if err != nil || len(records) != len(j.truth.Sessions) {
				t.Fatalf("%d records, want %d", len(records), len(j.truth.Sessions))
			}
			if got, want := judge(append([]string{of}, records...)...), fmt.Sprintf("accepted %d\n",
				len(records)); got != want {
				t.Errorf("ajv says %q, want %q", got, want)
			}
			// It can refuse: a subject's own identifier, a date that is none, a field too many.
			good, err := os.ReadFile(records[0])
			if err != nil {
				t.Fatal(err)
			}
			for name, change := range map[string][2]string{
				"identifier": {`"subject_id": "[^"]*"`, `"subject_id": "LARK2-WEIR-003"`},
				"start":      {`"started_at": ("[^"]*"|\{[^}]*\})`, `"started_at": "yesterday"`},
				"more":       {`"study":`, `"name": "x", "study":`},
			} {
				bad := regexp.MustCompile(change[0]).ReplaceAllString(string(good), change[1])
				if bad == string(good) {
					t.Fatalf("%s: nothing changed", name)
				}
				file := j.at(name + ".json")
				write(t, file, []byte(bad))
				if got := judge(of, file); !strings.HasPrefix(got, "accepted 0\nrefused") {
					t.Errorf("%s: ajv says %q", name, got)
				}
			}
		})
	}
}

// packages of npm that the tests use: judges of schemas and of pages.
var packages = []string{"ajv@8.20.0", "ajv-formats@3.0.1", "axe-core@4.14.1", "jsdom@26.1.0"}

// npm installs packages, once for all tests, and returns where they lie. Without npm,
// or where no registry answers, the test is skipped.
func npm(t *testing.T) string {
	t.Helper()
	tool := outside(t, "npm")
	dir := filepath.Join(shared, "npm")
	installed.Do(func() {
		cmd := exec.Command(tool, append([]string{"install", "--no-save", "--silent", "--no-audit", "--no-fund",
			"--prefix", dir}, packages...)...)
		if installed.err = os.Mkdir(dir, 0o755); installed.err == nil {
			cmd.Dir = dir
			installed.out, installed.err = cmd.CombinedOutput()
		}
	})
	if installed.err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("npm: %v\n%s", installed.err, installed.out)
		}
		t.Skipf("npm cannot install %s here", strings.Join(packages, " "))
	}
	return filepath.Join(dir, "node_modules")
}

var installed attempt
