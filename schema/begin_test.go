package schema

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// Columns of roster.csv as the contract lists them.
const contractColumns = "subject_id, given_name, family_name, other_names, sex, birth_date, mrn, national_id, " +
	"phone, email, " +
	"street, city, postal_code, country, emergency_contact_name, emergency_contact_phone"

func begun(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "week-1")
	if err := Begin(dir, "LARK-2", "WEIR"); err != nil {
		t.Fatal(err)
	}
	return dir
}

func names(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}

var laidOut = []string{"START-HERE.html", "recordings", "roster.csv", "session-to-copy.json", "sessions", "study.json"}

func TestBeginLaysOut(t *testing.T) {
	dir := begun(t)
	if d := cmp.Diff(laidOut, names(t, dir)); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"week-1"}, names(t, filepath.Dir(dir))); d != "" {
		t.Error("left beside it: ", d)
	}
	data, err := os.ReadFile(filepath.Join(dir, "roster.csv"))
	if err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil || len(lines) != 1 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	if d := cmp.Diff(strings.Split(contractColumns, ", "), lines[0]); d != "" {
		t.Error(d)
	}
	for _, name := range laidOut {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s may be read by others", name)
		}
		if info.IsDir() {
			continue
		}
		data, _ := os.ReadFile(filepath.Join(dir, name))
		if bytes.Contains(data, []byte("{{")) {
			t.Errorf("%s: not filled in", name)
		}
	}
}

// A folder that is there already, empty, keeps its identity: it may be the
// current folder of a terminal.
func TestBeginInEmptyFolder(t *testing.T) {
	dir := t.TempDir()
	before, err := os.Stat(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(dir)
	if err := Begin(".", "LARK-2", "WEIR"); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(laidOut, names(t, dir)); d != "" {
		t.Error(d)
	}
	after, err := os.Stat(dir)
	if err != nil || !os.SameFile(before, after) {
		t.Error("the folder was replaced")
	}
}

func TestBeginRefuses(t *testing.T) {
	top := t.TempDir()
	for _, sub := range []string{"full", "empty"} {
		if err := os.Mkdir(filepath.Join(top, sub), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	for _, f := range []string{"full/x", "file"} {
		if err := os.WriteFile(filepath.Join(top, f), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink("empty", filepath.Join(top, "link")); err != nil {
		t.Skip("no symbolic links here")
	}
	before := names(t, top)
	long := strings.Repeat("a", 17)
	for _, c := range []struct{ why, dir, study, site string }{
		{"folder not empty", "full", "LARK-2", "WEIR"},
		{"a file", "file", "LARK-2", "WEIR"},
		{"a link", "link", "LARK-2", "WEIR"},
		{"no parent", "no/such", "LARK-2", "WEIR"},
		{"parent is a file", "file/new", "LARK-2", "WEIR"},
		{"empty study", "new", "", "WEIR"},
		{"study with a space", "new", "LARK 2", "WEIR"},
		{"study with a leading hyphen", "new", "-LARK", "WEIR"},
		{"study with a line feed", "new", "LARK-2\n", "WEIR"},
		{"study of 33 letters", "new", long + long[1:], "WEIR"},
		{"study in other letters", "new", "ΛARK", "WEIR"},
		{"study with markup", "new", "<b>", "WEIR"},
		{"empty site", "new", "LARK-2", ""},
		{"site of 17 letters", "new", "LARK-2", long},
		{"site with a slash", "new", "LARK-2", "../x"},
	} {
		err := Begin(filepath.Join(top, filepath.FromSlash(c.dir)), c.study, c.site)
		var ce *ConfigError
		if !errors.As(err, &ce) {
			t.Errorf("%s: %v, want a *ConfigError", c.why, err)
			continue
		}
		if len(c.study) > 3 && c.dir == "new" && c.study != "LARK-2" && strings.Contains(ce.Error(), c.study) {
			t.Errorf("%s: the message repeats the value", c.why)
		}
	}
	if d := cmp.Diff(before, names(t, top)); d != "" {
		t.Error("a refusal left something: ", d)
	}
	if d := cmp.Diff([]string{"x"}, names(t, filepath.Join(top, "full"))); d != "" {
		t.Error(d)
	}
	if err := Begin(filepath.Join(top, "sixteen"), long[2:]+long, long[1:]); err != nil {
		t.Errorf("the longest codes: %v", err)
	}
}

// The page fetches and runs nothing, and its policy names its own style: CSP
// level 3, section 2.3.1 (hash-source), https://www.w3.org/TR/CSP3/.
func TestPageIsSelfContained(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(begun(t), "START-HERE.html"))
	if err != nil {
		t.Fatal(err)
	}
	page := string(data)
	for _, bad := range []string{`<script`, `javascript:`, `http:`, `https:`, `src=`, `@import`, `url\(`, `style="`,
		` on[a-z]+=`, `<link`, `<form`, `<iframe`, `unsafe`} {
		if m := regexp.MustCompile(bad).FindString(page); m != "" {
			t.Errorf("the page holds %q", m)
		}
	}
	style := regexp.MustCompile(`(?s)<style>(.*?)</style>`).FindAllStringSubmatch(page, -1)
	if len(style) != 1 {
		t.Fatalf("%d styles", len(style))
	}
	sum := sha256.Sum256([]byte(style[0][1]))
	policy := `content="default-src 'none'; style-src 'sha256-` + base64.StdEncoding.EncodeToString(sum[:]) +
		`'; base-uri 'none'; form-action 'none'"`
	if !strings.Contains(page, policy) {
		t.Error("the policy does not name the style")
	}
	links := regexp.MustCompile(`href="([^"]*)"`).FindAllStringSubmatch(page, -1)
	if len(links) == 0 {
		t.Error("no links within the page")
	}
	for _, l := range links {
		if !strings.HasPrefix(l[1], "#") || !strings.Contains(page, `id="`+l[1][1:]+`"`) {
			t.Errorf("link %q leads nowhere", l[1])
		}
	}
	if !strings.Contains(page, "outbreath check week-1") {
		t.Error("the commands do not name the folder")
	}
}

// A folder name that a terminal would take apart is not put into commands.
func TestPageWithOddFolderName(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "week 1 & <b>; more")
	if runtime.GOOS == "windows" {
		t.Skip("such a name cannot be made here")
	}
	if err := Begin(dir, "LARK-2", "WEIR"); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(dir, "START-HERE.html"))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(data), "outbreath check FOLDER") || strings.Contains(string(data), "; more") {
		t.Error("the odd name is in the page")
	}
}

// The page explains every field of the plan it names, and every roster column,
// and says of each field whether it is needed, as the plan does.
func TestPageExplainsEveryField(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(begun(t), "START-HERE.html"))
	if err != nil {
		t.Fatal(err)
	}
	page := string(data)
	plan, err := LoadPlan("shifted")
	if err != nil {
		t.Fatal(err)
	}
	_, table, _ := strings.Cut(page, `aria-label="Fields of a session record"`)
	table, _, _ = strings.Cut(table, "</table>")
	rows := map[string][]string{} // by the field's own name, in the order of the page, which is the plan's
	for _, row := range regexp.MustCompile(`<tr><th scope="row">(.*?)</th>(.*?)</tr>`).FindAllStringSubmatch(table,
		-1) {
		for _, name := range regexp.MustCompile(`<code>(\w+)</code>`).FindAllStringSubmatch(row[1], -1) {
			rows[name[1]] = append(rows[name[1]], row[2])
		}
	}
	promises := map[TreatmentKind]string{
		Keep: "word|as written|code", Pseudonym: "a pseudonym", Shift: "the date moved", AgeBand: "an age band",
		Region: "the region",
		Text:   "searched for identifiers", Recording: "under a new name",
	}
	if len(plan.Fields) < 25 {
		t.Fatalf("the plan has only %d fields", len(plan.Fields))
	}
	for _, f := range plan.Fields {
		name := f.Path[strings.LastIndexByte(f.Path, '/')+1:]
		if len(rows[name]) == 0 {
			t.Errorf("%s is not explained", f.Path)
			continue
		}
		row := rows[name][0]
		rows[name] = rows[name][1:]
		if got := strings.Contains(row, "Needed"); got != f.Required {
			t.Errorf("%s: the page says needed: %v", f.Path, got)
		}
		cells := strings.Split(row, "</td>")
		promise := promises[f.Treatment.Kind]
		if f.Treatment.Kind == Round {
			promise = fmt.Sprintf("rounded to %d$", f.Treatment.Width)
		}
		if !regexp.MustCompile(promise).MatchString(cells[len(cells)-2]) {
			t.Errorf("%s: the page does not say what %q does", f.Path, f.Treatment)
		}
	}
	for name, left := range rows {
		if len(left) > 0 {
			t.Errorf("%s is explained and is no field", name)
		}
	}
	for _, c := range strings.Split(contractColumns, ", ") {
		if !strings.Contains(page, "<code>"+c+"</code>") {
			t.Errorf("the roster column %s is not explained", c)
		}
	}
}

func loaded(t *testing.T, dir string) *Collection {
	t.Helper()
	c, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Root.Close() })
	return c
}

// What is laid out is a collection that wants nothing but content.
func TestBegunCollectionLoads(t *testing.T) {
	c := loaded(t, begun(t))
	var rules []string
	for _, p := range c.Errors() {
		rules = append(rules, p.Rule)
	}
	if d := cmp.Diff([]string{"collection.empty"}, rules); d != "" {
		t.Errorf("%s\n%+v", d, c.Problems)
	}
	if c.Study.Study != "LARK-2" || c.Study.Site != "WEIR" {
		t.Error("the codes are not those that were given")
	}
	omitted := map[string]bool{}
	for _, o := range c.Omitted {
		omitted[o.File] = true
	}
	if !omitted["START-HERE.html"] || !omitted["session-to-copy.json"] {
		t.Errorf("page and record to copy must stay at the site: %v", c.Omitted)
	}
}

// The record to copy, copied, with its subject on the roster and its recording
// in place, is accepted without a query.
func TestRecordToCopyIsValid(t *testing.T) {
	dir := begun(t)
	copyFile := func(from, to string) {
		t.Helper()
		data, err := os.ReadFile(filepath.Join(dir, from))
		if err == nil {
			err = os.WriteFile(filepath.Join(dir, to), data, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	copyFile("session-to-copy.json", "sessions/0001.json")
	f, err := os.OpenFile(filepath.Join(dir, "roster.csv"), os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		t.Fatal(err)
	}
	_, err = io.WriteString(f, "WEIR-001,Zofia,Wąsik-Małecka,,female,1970-01-31,,,,,,,00000,,,\n")
	if err := errors.Join(err, f.Close(), os.WriteFile(filepath.Join(dir, "recordings", "trace-0001.csv"),
		[]byte("t_s,co2_kpa,pressure_pa\n0.00,0.04,-60.0\n0.05,0.02,-59.2\n"), 0o600)); err != nil {
		t.Fatal(err)
	}
	c := loaded(t, dir)
	for _, p := range c.Problems {
		// the contact that is still to be written, and what was not filled in
		if p.File != "study.json" && p.Rule != "record.example" {
			t.Errorf("%+v", p)
		}
	}
	if len(c.Sessions) != 1 || len(c.Sessions[0].Tubes) != 2 || len(c.Sessions[0].Recordings) != 1 {
		t.Errorf("%d sessions accepted", len(c.Sessions))
	}
}

// The page names every file that lies in a collection folder, and every setting of study.json.
func TestPageNamesFilesAndSettings(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(begun(t), "START-HERE.html"))
	if err != nil {
		t.Fatal(err)
	}
	page := string(data)
	_, folder, _ := strings.Cut(page, `aria-label="What is in the folder"`)
	folder, list, _ := strings.Cut(folder, "</table>")
	names := slices.Concat(laidOut, ownFiles, slices.Collect(maps.Keys(asideFiles)))
	for _, name := range names {
		if !strings.Contains(folder, "<code>"+name) {
			t.Errorf("the table of the folder does not name %s", name)
		}
	}
	list, _, _ = strings.Cut(list, "</ul>")
	var study struct{ Properties map[string]any }
	if err := json.Unmarshal(studySchema, &study); err != nil || len(study.Properties) < 10 {
		t.Fatal(err, study)
	}
	for name := range study.Properties {
		if name != "study" && name != "site" && !strings.Contains(list, "<code>"+name+"</code>") {
			t.Errorf("the setting %s is not explained", name)
		}
	}
}
