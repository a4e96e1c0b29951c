package main

import (
	"crypto/sha256"
	"encoding/base64"
	"html"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"outbreath/schema/demo"
)

// The page of 200 sessions is small, loads nothing, runs nothing, admits its
// own style sheet only, names no subject, and has words for every picture.
func TestAuditPage(t *testing.T) {
	t.Parallel()
	j := newJob(t, demo.Options{Subjects: 66, Sessions: 200, RecordingSeconds: 5, NoEDF: true})
	path := j.at("page.html")
	must(t, "audit", j.collection, "--report", path, "--keys", j.site, "--quiet")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	page := string(data)
	if len(page) > 2<<20 {
		t.Errorf("the page of 200 sessions has %d bytes", len(page))
	}
	_, rest, _ := strings.Cut(page, "<style>")
	style, _, ok := strings.Cut(rest, "</style>")
	sum := sha256.Sum256([]byte(style))
	policy := regexp.MustCompile(`http-equiv="Content-Security-Policy" content="([^"]*)"`).FindStringSubmatch(page)
	if !ok || policy == nil || !strings.Contains(html.UnescapeString(policy[1]),
		"default-src 'none'; style-src 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'") {
		t.Errorf("the policy does not admit the style sheet and nothing else: %v", policy)
	}
	// What could load, run or go round the policy.
	if bad := regexp.MustCompile(`(?i)<(script|img|iframe|object|embed|link|base|form|audio|video|use|image)\b|\s(src|style|on[a-z]+|xlink:href)=|url\(|@import|javascript:|https?:`).FindString(page); bad != "" {
		t.Errorf("the page holds %q", bad)
	}
	svgs := regexp.MustCompile(`<svg [^>]*>`).FindAllString(page, -1)
	if len(svgs) != mostDrawn+5 {
		t.Errorf("%d pictures, want %d recordings and the plots", len(svgs), mostDrawn)
	}
	for _, s := range svgs {
		if !regexp.MustCompile(`role="img".* aria-label="[^"]{10,}"`).MatchString(s) {
			t.Fatalf("a picture without words: %s", s)
		}
	}
	for _, m := range regexp.MustCompile(`href="#([a-z]+)"`).FindAllStringSubmatch(page, -1) {
		if !strings.Contains(page, `id="`+m[1]+`"`) {
			t.Errorf("a link leads to %q, which is not there", m[1])
		}
	}
	for _, row := range j.truth.Roster {
		for _, column := range []string{"subject_id", "mrn", "national_id", "birth_date", "email"} {
			// the invented example
			if v := row[column]; v != "" && strings.Contains(strings.ReplaceAll(page, "LARK2-WEIR-003", ""), v) {
				t.Errorf("the page holds a value of the roster's column %s", column)
			}
		}
	}
}

// TestAccessibility lets axe-core judge the page, and one from which the language
// was taken away.
func TestAccessibility(t *testing.T) {
	t.Parallel()
	node := outside(t, "node")
	modules := npm(t)
	j := newJob(t, demo.Small())
	path := j.at("page.html")
	must(t, "audit", j.collection, "--report", path, "--keys", j.site, "--quiet")
	judge := func(path string) string {
		cmd := exec.Command(node, "testdata/axe.cjs", path)
		cmd.Env = append(os.Environ(), "NODE_PATH="+modules)
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("axe-core: %v\n%s", err, out)
		}
		return string(out)
	}
	if got := judge(path); !strings.HasPrefix(got, "held ") || got == "held 0\n" {
		t.Errorf("axe-core says %q", got)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	worse := strings.Replace(string(data), ` lang="en"`, "", 1)
	write(t, j.at("worse.html"), []byte(worse))
	if got := judge(j.at("worse.html")); !strings.Contains(got, "violation html-has-lang") {
		t.Errorf("of a page without its language, axe-core says %q", got)
	}
}
