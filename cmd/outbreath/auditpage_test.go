package main

import (
	"encoding/json"
	"fmt"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"outbreath/deid/audit"
	"outbreath/deid/leak"
	"outbreath/deid/rederive"
	"outbreath/pack"
	"outbreath/schema"
	"outbreath/schema/demo"
)

// at follows a JSON pointer of names and indices; ok is false if nothing is there.
func at(doc any, pointer string) (v any, ok bool) {
	for _, name := range strings.Split(strings.TrimPrefix(pointer, "/"), "/") {
		switch d := doc.(type) {
		case map[string]any:
			if doc, ok = d[name]; !ok {
				return nil, false
			}
		case []any:
			i, err := strconv.Atoi(name)
			if err != nil || i >= len(d) {
				return nil, false
			}
			doc = d[i]
		default:
			return nil, false
		}
	}
	return doc, true
}

var pageFigure = regexp.MustCompile(`<span data-json="([^"]*)">([^<]*)</span>`)

// differing returns the figures of a page that are not those of --json, and how many
// figures it has.
func differing(t *testing.T, page string, doc any) (wrong []string, n int) {
	t.Helper()
	for _, m := range pageFigure.FindAllStringSubmatch(page, -1) {
		n++
		v, ok := at(doc, m[1])
		x, number := v.(float64)
		whole, short, share := strconv.FormatFloat(x, 'f', -1, 64), fmt.Sprintf("%.3g", x), fmt.Sprintf("%.3g %%",
			100*x)
		if text := html.UnescapeString(m[2]); !ok || !number || text != whole && text != short && text != share {
			wrong = append(wrong, fmt.Sprintf("%s: the page has %q, --json %v", m[1], text, v))
		}
	}
	return wrong, n
}

// TestPageFigures: every figure of the page is that of --json at the same place, of a
// collection and of a shipment; a figure that was changed is found.
func TestPageFigures(t *testing.T) {
	t.Parallel()
	j := newJob(t, demo.Options{Subjects: 40, Sessions: 60, RecordingSeconds: 5})
	j.seal(t)
	for _, of := range [][]string{
		{j.collection, "--keys", j.site},
		{j.shipment, "--keys", j.lab, "--roster", filepath.Join(j.collection, "roster.csv")},
	} {
		path := j.at(filepath.Base(of[0]) + ".html")
		out := must(t, append([]string{"audit", "--report", path, "--json", "--quiet"}, of...)...)
		var doc any
		if err := json.Unmarshal([]byte(out), &doc); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		wrong, n := differing(t, string(data), doc)
		if len(wrong) > 0 || n < 80 {
			t.Errorf("%d figures of %s: %s", n, of[0], strings.Join(wrong, "\n"))
		}
		worse := strings.Replace(string(data), `"/risk/unique">`, `"/risk/unique">9`, 1)
		if wrong, _ := differing(t, worse, doc); len(wrong) != 1 {
			t.Errorf("a figure was changed, and %d differ", len(wrong))
		}
		if strings.Contains(string(data), "holds.") || strings.Contains(string(data), ">holds<") {
			t.Error("the page says \"holds\"")
		}
	}
}

// large is the collection of an officer who audits half a year: 600 sessions of 300 subjects.
var large = demo.Options{Subjects: 300, Sessions: 600, RecordingSeconds: 20}

// largePage returns the page of the large collection, without its content security policy,
// so that a test can add a script that measures it.
func largePage(t *testing.T) (page string, doc auditPageDoc) {
	t.Helper()
	j := newJob(t, large)
	path := j.at("page.html")
	out := must(t, "audit", j.collection, "--report", path, "--keys", j.site, "--json", "--quiet")
	data, err := os.ReadFile(path)
	if err != nil || json.Unmarshal([]byte(out), &doc) != nil {
		t.Fatal(err)
	}
	bare := regexp.MustCompile(`<meta http-equiv="Content-Security-Policy"[^>]*>`).ReplaceAllString(string(data), "")
	if bare == string(data) {
		t.Fatal("the page has no policy")
	}
	return bare, doc
}

type auditPageDoc struct {
	Risk struct {
		Unique int
		Small  int `json:"small_cells_count"`
	}
	Kinds []struct {
		Code  string
		Count int
	} `json:"issue_kinds"`
	Issues []struct{ Code string }
}

// browser runs Chromium on a file in dir.
func browser(t *testing.T, dir string, args ...string) string {
	t.Helper()
	return tool(t, dir, "chromium", append([]string{"--headless", "--no-sandbox", "--disable-gpu",
		"--user-data-dir=" + t.TempDir()}, args...)...)
}

// TestPageOfManySubjects: for 600 sessions of 300 subjects, equal rows are one, the page
// prints on at most ten sheets of either paper, the summary fits a laptop's screen, and
// nothing runs out of a phone's.
func TestPageOfManySubjects(t *testing.T) {
	t.Parallel()
	outside(t, "chromium")
	outside(t, "pdfinfo")
	page, doc := largePage(t)
	folded := 0
	for _, k := range doc.Kinds {
		if k.Code == "risk.unique" {
			folded++
			if k.Count != doc.Risk.Unique || doc.Risk.Unique < 100 {
				t.Errorf("%d subjects are alone, and the row says %d", doc.Risk.Unique, k.Count)
			}
		}
	}
	if folded != 1 || strings.Count(page, "[risk.unique]") != 1 {
		t.Errorf("%d rows for those who are alone", folded)
	}
	if rows := strings.Count(page, "<tr>"); rows > 250 {
		t.Errorf("%d rows", rows)
	}
	dir := t.TempDir()
	if keep := os.Getenv("OUTBREATH_SLIPS"); keep != "" { // to look at
		dir = keep
	}
	for _, paper := range []string{"A4", "Letter"} {
		printed := strings.Replace(page, "@page { margin: 11mm; }", "@page { margin: 11mm; size: "+paper+"; }", 1)
		if printed == page {
			t.Fatal("the page has no margins")
		}
		write(t, filepath.Join(dir, "print.html"), []byte(printed))
		browser(t, dir, "--no-pdf-header-footer", "--print-to-pdf="+paper+".pdf", "print.html")
		m := regexp.MustCompile(`Pages: +(\d+)`).FindStringSubmatch(tool(t, dir, "pdfinfo", paper+".pdf"))
		if m == nil {
			t.Fatal("nothing was printed")
		}
		sheets, _ := strconv.Atoi(m[1])
		t.Logf("%d sheets of %s", sheets, paper)
		if sheets > 10 || sheets < 3 {
			t.Errorf("%d sheets of %s", sheets, paper)
		}
	}
	laptop, phone := measured(t, dir, page, 1366, 768), measured(t, dir, page, 390, 844)
	if laptop.Top > 768 || laptop.Top < 200 || laptop.Wide > 1366 {
		t.Errorf("on a laptop the summary ends at %g px of 768, and the page is %g px wide", laptop.Top, laptop.Wide)
	}
	if phone.Wide > 390 || phone.Wide < 300 || phone.Out != "" {
		t.Errorf("on a phone the page is %g px wide of 390; out of it: %s", phone.Wide, phone.Out)
	}
	if phone.Ticks < 20 || phone.Letters < 11 || phone.Over != "" {
		t.Errorf("on a phone the smallest of %g labels has %g px; over each other: %s", phone.Ticks, phone.Letters,
			phone.Over)
	}
	// It can fail: a table that does not fold up.
	if worse := measured(t, dir, strings.ReplaceAll(page, `class="cards"`, ""), 390, 844); worse.Wide <= 390 {
		t.Errorf("with wide tables the page is %g px wide", worse.Wide)
	}
}

// A measure is what a script of the test measured in a page.
type measure struct {
	Top, Wide      float64 // end of the summary, width of the whole page, in pixels
	Ticks, Letters float64 // how many labels of charts, and the smallest height of letters
	Out, Over      string  // tags that run out of the page, labels over each other
}

// measured shows a page in a frame of the given size, because a window has a least width.
func measured(t *testing.T, dir, page string, width, height int) (m measure) {
	t.Helper()
	script := `<script>addEventListener("load", () => {
const m = {Top: document.querySelector(".top").getBoundingClientRect().bottom,
  Wide: document.documentElement.scrollWidth,
  Ticks: 0, Letters: 99, Out: "", Over: ""}
for (const e of document.querySelectorAll("main *")) {
  const b = e.getBoundingClientRect()
  if (b.right > innerWidth + 1 && b.width > 0 && !e.closest("thead")) m.Out += e.tagName + " "
}
for (const s of document.querySelectorAll(".plot")) {
  let last = -1
  for (const e of s.querySelectorAll(".tick")) {
    m.Ticks++
    m.Letters = Math.min(m.Letters, parseFloat(getComputedStyle(e).fontSize))
    const b = e.getBoundingClientRect()
    if (b.left < last) m.Over += e.textContent + " "
    last = b.right
  }
}
parent.postMessage(JSON.stringify(m), "*")
})</script></body>`
	write(t, filepath.Join(dir, "framed.html"), []byte(strings.Replace(page, "</body>", script, 1)))
	write(t, filepath.Join(dir, "frame.html"), fmt.Appendf(nil, `<!DOCTYPE html><body><script>
addEventListener("message", e => { document.body.dataset.measured = e.data })</script>
<iframe src="framed.html" width="%d" height="%d"></iframe></body>`, width, height))
	dom := browser(t, dir, "--virtual-time-budget=20000", "--dump-dom", "frame.html")
	got := regexp.MustCompile(`data-measured="([^"]*)"`).FindStringSubmatch(dom)
	if got == nil {
		t.Fatalf("the page was not measured:\n%.400s", dom)
	}
	if err := json.Unmarshal([]byte(html.UnescapeString(got[1])), &m); err != nil {
		t.Fatal(err)
	}
	return m
}

// TestPageInBrowserAxe lets axe-core judge the page in Chromium, where it can judge colours
// too, with all texts unfolded; and one with letters that are too pale.
func TestPageInBrowserAxe(t *testing.T) {
	t.Parallel()
	outside(t, "chromium")
	axe, err := os.ReadFile(filepath.Join(npm(t), "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	page, _ := largePage(t)
	judge := func(page string) string {
		dir := t.TempDir()
		script := "<script>" + string(axe) + `
axe.run(document).then(r => { document.body.dataset.axe = r.passes.length + " held; " +
  r.violations.map(v => v.id + " " + v.nodes.length + ": " + v.nodes[0].html.slice(0, 80)).join(", ") })
</script></body>`
		open := strings.ReplaceAll(page, "<details>", "<details open>")
		write(t, filepath.Join(dir, "axe.html"), []byte(strings.Replace(open, "</body>", script, 1)))
		dom := browser(t, dir, "--virtual-time-budget=60000", "--window-size=1366,768", "--dump-dom", "axe.html")
		got := regexp.MustCompile(`data-axe="([^"]*)"`).FindStringSubmatch(dom)
		if got == nil {
			t.Fatalf("axe-core said nothing:\n%.300s", dom[max(0, len(dom)-300):])
		}
		return html.UnescapeString(got[1])
	}
	if got := judge(page); !regexp.MustCompile(`^[1-9]\d held; $`).MatchString(got) {
		t.Errorf("axe-core says %s", got)
	}
	if got := judge(strings.Replace(page, "--ink: #1b1b1b", "--ink: #cccccc", 1)); !strings.Contains(got,
		"color-contrast") {
		t.Errorf("of pale letters, axe-core says %s", got)
	}
}

// TestPageTextsToRead: every text that a person typed is on the page, once, with how often
// it occurs; none of them prints.
func TestPageTextsToRead(t *testing.T) {
	t.Parallel()
	j := newJob(t, demo.Options{Subjects: 8, Sessions: 24, RecordingSeconds: 5})
	path := j.at("page.html")
	out := must(t, "audit", j.collection, "--report", path, "--keys", j.site, "--json", "--quiet")
	var doc struct {
		Lists []struct {
			Where  string
			Values int
			Texts  []struct {
				Text  string
				Count int
			}
		} `json:"texts_to_read"`
	}
	data, err := os.ReadFile(path)
	if err != nil || json.Unmarshal([]byte(out), &doc) != nil {
		t.Fatal(err)
	}
	page := html.UnescapeString(string(data))
	count := map[string]map[string]int{}
	for _, l := range doc.Lists {
		sum := 0
		count[l.Where] = map[string]int{}
		for _, x := range l.Texts {
			count[l.Where][x.Text] = x.Count
			sum += x.Count
			if !strings.Contains(page, "<q>"+x.Text+"</q>") {
				t.Errorf("%s: a text is not on the page: %q", l.Where, x.Text)
			}
		}
		if sum != l.Values {
			t.Errorf("%s: %d of %d values", l.Where, sum, l.Values)
		}
	}
	notes := map[string]int{}
	for _, s := range j.truth.Sessions {
		if s.Notes != "" {
			notes[s.Notes]++
		}
		for _, r := range s.Recordings {
			for _, a := range r.Annotations {
				if count["EDF annotations"][a] == 0 {
					t.Errorf("the annotation %q is not listed", a)
				}
			}
		}
	}
	for text, n := range notes {
		if count["/notes"][text] != n {
			t.Errorf("%q is listed %d times, want %d", text, count["/notes"][text], n)
		}
	}
	if len(notes) < 5 || len(count["EDF headers, transducer type"]) == 0 {
		t.Errorf("%d notes; lists %q", len(notes), sortedKeys(count))
	}
	if _, err := exec.LookPath("chromium"); err != nil {
		t.Skip("chromium is missing: that texts do not print was not tested")
	}
	browser(t, j.dir, "--no-pdf-header-footer", "--print-to-pdf=page.pdf", "page.html")
	printed := tool(t, j.dir, "pdftotext", "page.pdf", "-")
	if !strings.Contains(printed, "not printed: open the page") || strings.Contains(printed, "silicon bridge") {
		t.Error("the texts are printed, or their place is not told")
	}
}

// TestSummaryTellsFailures: whatever fails is on top of page and screen with its count, and
// then nothing says that nothing failed.
func TestSummaryTellsFailures(t *testing.T) {
	report := &audit.Report{Risk: &audit.Risk{}, WhatIf: &audit.Choice{}, Table: &audit.Table{},
		Issues: []audit.Issue{{Code: "date.unshifted", Fault: true, Where: "sessions/a.json",
			What: "a date that was kept",
			Do:   "stop"}, {Code: "date.unshifted", Fault: true, Where: "sessions/b.json", What: "a date that was kept",
			Do: "stop"}, {Code: "risk.unique", What: "alone", Do: "judge"}},
		NotTested: []audit.Untested{{What: "the tides", Why: "nobody knows them"}}}
	fault := func(change func(*auditResult)) *auditResult {
		d := &auditResult{Of: "collection", Name: "week", figures: &audit.Report{Risk: report.Risk,
			WhatIf: report.WhatIf,
			Table:  report.Table}, Rederived: &rederived{Tested: true, OK: true}}
		change(d)
		d.IssueKinds = audit.Fold(d.Issues)
		d.Summary = d.summarise()
		return d
	}
	for want, change := range map[string]func(*auditResult){
		"a date that was kept: 2": func(d *auditResult) { d.figures = report },
		"errors in the collection: 1": func(d *auditResult) {
			d.Problems = []schema.Problem{
				{Severity: schema.Error}}
		},
		"findings that nobody has decided on: 1": func(d *auditResult) {
			d.Leaks = []leak.Finding{
				{Class: "A"}}
		},
		"the shipment's check tubes: 1": func(d *auditResult) {
			d.Checks = []pack.Check{
				{Name: "tubes", Detail: "one is missing"}}
		},
		"what leaves is not what source, plan and key give: 3": func(d *auditResult) { d.Rederived = differing3() },
	} {
		d := fault(change)
		var screen strings.Builder
		var page strings.Builder
		printAudit(&screen, d)
		if err := auditPage.Execute(&page, d); err != nil {
			t.Fatal(err)
		}
		text := regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page.String(), "")
		for name, shown := range map[string]string{"page": html.UnescapeString(text), "screen": screen.String()} {
			if !strings.Contains(shown, want) || strings.Contains(strings.ToLower(shown), "nothing failed") ||
				strings.Contains(shown, "what fails: nothing") {
				t.Errorf("%s: the %s does not tell it", want, name)
			}
			if d.figures == report && !strings.Contains(shown, "the tides") {
				t.Errorf("the %s does not tell what was not tested", name)
			}
		}
	}
	if d := fault(func(*auditResult) {}); len(d.Summary.Fails) != 0 {
		t.Errorf("without a failure, it tells %+v", d.Summary.Fails)
	}
}

func differing3() *rederived {
	return &rederived{Tested: true, Mismatches: []rederive.Mismatch{{File: "a", What: "differs"},
		{File: "b", What: "differs"}, {File: "c", Field: "/notes", What: "differs"}}}
}
