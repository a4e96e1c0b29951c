package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/schema/demo"
)

// A plan is written by people too: an address in its reasons would leave with
// treatment.json. Nothing but the search of the finished bag looks there.
func TestPlanThatTells(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	if _, err := demo.Write(at("c"), smallDemo); err != nil {
		t.Fatal(err)
	}
	if err := makeKeys(at("site"), at("lab"), demo.Site); err != nil {
		t.Fatal(err)
	}
	plan, err := os.ReadFile("../../schema/session.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(plan), `"why": "`, `"why": "As w.brand@example.org said: `, 1)
	study, err := os.ReadFile(at("c/study.json"))
	if err != nil {
		t.Fatal(err)
	}
	named := strings.Replace(string(study), `"plan": "shifted"`, `"plan": "plan.json"`, 1)
	if text == string(plan) || named == string(study) {
		t.Fatal("nothing was planted")
	}
	for file, data := range map[string]string{"c/plan.json": text, "c/study.json": named} {
		if err := os.WriteFile(at(file), []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(at("stick"), 0o755); err != nil {
		t.Fatal(err)
	}
	status, out, errOut := runHere("seal", at("c"), "--to", at("stick"), "--keys", at("site"))
	if status != exitResolve || !strings.Contains(errOut, "/why") || !strings.Contains(errOut, "correct the record or the plan") || strings.Contains(out+errOut, "brand") {
		t.Errorf("exit status %d: %s%s", status, out, errOut)
	}
	if left, _ := os.ReadDir(at("stick")); len(left) > 0 {
		t.Errorf("%v is on the medium", left)
	}
}
