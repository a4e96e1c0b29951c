package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
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
	if status, out, _ := runHere("check", at("c"), "--keys", at("site")); status != exitResolve ||
		!strings.Contains(out, "[leak.finished /") || strings.Contains(out, "brand") {
		t.Errorf("check: exit status %d: %s", status, out)
	}
	if status != exitResolve || !strings.Contains(errOut, "/why") ||
		!strings.Contains(errOut, "correct the record or the plan") || strings.Contains(out+errOut, "brand") {
		t.Errorf("exit status %d: %s%s", status, out, errOut)
	}
	if left, _ := os.ReadDir(at("stick")); len(left) > 0 {
		t.Errorf("%v is on the medium", left)
	}
}

// A name among the samples of a recording is no text that a reader of the format
// would look at. Only the comparison of every byte with the roster sees it.
func TestNameAmongSamples(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	o := smallDemo
	o.SampleHz = 20
	truth, err := demo.Write(at("c"), o)
	if err != nil {
		t.Fatal(err)
	}
	if err := makeKeys(at("site"), at("lab"), demo.Site); err != nil {
		t.Fatal(err)
	}
	recordings, err := filepath.Glob(at("c/recordings/*.edf"))
	if err != nil || len(recordings) != 1 {
		t.Fatalf("%v, %v", recordings, err)
	}
	clean, err := os.ReadFile(recordings[0])
	if err != nil {
		t.Fatal(err)
	}
	const header, record, place = 4 * 256, 2*2*20 + 160, 2*20 + 7 // among the samples of the second signal
	offset := header + 100*record + place
	row := truth.Roster[1]
	for column, value := range map[string]string{
		"given_name, family_name": strings.ToUpper(row["given_name"] + " " + row["family_name"]), "mrn": row["mrn"],
		"email": row["email"],
	} {
		data := slices.Clone(clean)
		if copy(data[offset:], value) > 2*20-7 {
			t.Fatalf("%q does not fit", value)
		}
		if err := os.WriteFile(recordings[0], data, 0o600); err != nil {
			t.Fatal(err)
		}
		if status, out, errOut := runHere("check", at("c"), "--keys", at("site")); status != exitResolve ||
			!strings.Contains(out, "0 findings of 0 undecided") ||
			!strings.Contains(out, fmt.Sprintf("bytes %d to ", offset)) || !strings.Contains(out, "[leak.bytes]") {
			t.Fatalf("%s: the searches before see it, or check does not tell: exit status %d: %s%s", column, status,
				out, errOut)
		}
		for _, args := range [][]string{nil, {"--json"}} {
			if err := os.MkdirAll(at("stick"), 0o755); err != nil {
				t.Fatal(err)
			}
			status, out, errOut := runHere(append([]string{"seal", at("c"), "--to", at("stick"), "--keys", at("site")},
				args...)...)
			if status != exitResolve || !strings.Contains(errOut, fmt.Sprintf("at byte %d ", offset)) ||
				!strings.Contains(errOut, column) ||
				!strings.Contains(errOut, filepath.Base(recordings[0])) ||
				!strings.Contains(errOut, "nothing was sealed") {
				t.Errorf("%s: exit status %d: %s%s", column, status, out, errOut)
			}
			// nothing to decide; the family name within the name is no second place
			if strings.Contains(errOut, "undecided") || strings.Contains(errOut, "further places") {
				t.Errorf("%s: %s", column, errOut)
			}
			for _, secret := range []string{value, row["given_name"], row["family_name"], row["email"], row["mrn"]} {
				if strings.Contains(strings.ToLower(out+errOut), strings.ToLower(secret)) {
					t.Errorf("%s: the value is told: %s%s", column, out, errOut)
				}
			}
			if len(args) > 0 && !strings.Contains(out, `"start": `+fmt.Sprint(offset)) {
				t.Errorf("%s: %s", column, out)
			}
			if left, _ := os.ReadDir(at("stick")); len(left) > 0 {
				t.Errorf("%s: %v is on the medium", column, left)
			}
		}
	}
	if err := os.WriteFile(recordings[0], clean, 0o600); err != nil {
		t.Fatal(err)
	}
	if status, out, errOut := runHere("seal", at("c"), "--to", at("stick"), "--keys", at("site")); status != exitOK {
		t.Errorf("without it: exit status %d: %s%s", status, out, errOut)
	}
}
