package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"outbreath/schema"
	"outbreath/schema/demo"
)

// A declaredPlan is what `outbreath plan --json` says: the treatments of the fields, and the rest of what leaves.
type declaredPlan struct {
	Fields []struct{ Path, Treatment string }
	Leaves []struct {
		Where string
		What  []string
	}
	Known []string
	seen  map[string]bool
}

func (p *declaredPlan) treatment(path string) string {
	for _, f := range p.Fields {
		if f.Path == path {
			return f.Treatment
		}
	}
	return ""
}

// names reports whether the plan's page names what at a place, and notes that it was met.
func (p *declaredPlan) names(where, what string) bool {
	for _, l := range p.Leaves {
		if l.Where == where && slices.Contains(l.What, what) {
			p.seen[where+" "+what] = true
			return true
		}
	}
	return false
}

// TestEverythingThatLeavesIsInThePlan seals the invented collection under each built-in plan, opens
// the archive with other programs, and walks every byte: each JSON leaf, CSV cell, byte range of
// an EDF header, annotation, file name, line of a tag file and header field of the archive must be
// under a treatment or a rule that `outbreath plan` names.
func TestEverythingThatLeavesIsInThePlan(t *testing.T) {
	for _, name := range schema.Builtin() {
		t.Run(name, func(t *testing.T) {
			j := newJob(t, demo.Options{RecordingSeconds: 10})
			study := filepath.Join(j.collection, "study.json")
			data, err := os.ReadFile(study)
			if err != nil {
				t.Fatal(err)
			}
			changed := bytes.Replace(data, []byte(`"plan": "shifted"`), []byte(`"plan": "`+name+`"`), 1)
			if name != "shifted" && bytes.Equal(changed, data) {
				t.Fatal("study.json names no plan")
			}
			if err := os.WriteFile(study, changed, 0o600); err != nil {
				t.Fatal(err)
			}
			j.seal(t)
			p := &declaredPlan{seen: map[string]bool{}}
			if err := json.Unmarshal([]byte(must(t, "plan", j.collection, "--json")), p); err != nil {
				t.Fatal(err)
			}
			if len(p.Known) == 0 {
				t.Error("the page does not tell what the laboratory knows anyway")
			}
			w := &leavesWalk{T: t, plan: name, p: p}
			w.outsideOf(files(t, j.shipment))
			w.archive(tarBytes(t, j))
			w.complete()
		})
	}
}

// tarBytes decrypts and unpacks the shipment's archive with programs of others.
func tarBytes(t *testing.T, j *job) []byte {
	t.Helper()
	outside(t, "zstd")
	decrypt := exec.Command("go", "tool", "age", "-d", "-i", filepath.Join(j.lab, "identity.txt"),
		filepath.Join(j.shipment, demo.Site+"-0001.tar.zst.age"))
	decrypt.Stderr = os.Stderr
	packed, err := decrypt.Output()
	if err != nil {
		t.Fatal(err)
	}
	unpack := exec.Command("zstd", "-q", "-d", "-c")
	unpack.Stdin = bytes.NewReader(packed)
	out, err := unpack.Output()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// A leavesWalk is the walk through one shipment.
type leavesWalk struct {
	*testing.T
	plan  string
	p     *declaredPlan
	files int
}

func (w *leavesWalk) require(where, what, place string) {
	w.Helper()
	if !w.p.names(where, what) {
		w.Errorf("%s: the plan's page does not name %q of %s", place, what, where)
	}
}

// complete fails if the walk met too little to show anything.
func (w *leavesWalk) complete() {
	for _, l := range w.p.Leaves {
		met := 0
		for _, what := range l.What {
			if w.p.seen[l.Where+" "+what] {
				met++
			}
		}
		// The demo's box agrees with its records, and nothing is decided or taken out.
		if met == 0 && l.Where != "discrepancies.csv" && !slices.Contains(l.What, "settled/*/file") {
			w.Errorf("the plan's page names %v of %s, and nothing of it leaves", l.What, l.Where)
		}
	}
	if w.files < 30 {
		w.Errorf("only %d files were walked", w.files)
	}
}

// outsideOf looks at what lies on the medium.
func (w *leavesWalk) outsideOf(all map[string][]byte) {
	for name := range all {
		switch {
		case strings.Contains(name, ".tar.zst.age"):
			name = "*.tar.zst.age*"
		case strings.HasSuffix(name, ".repair"):
			name = "*.repair"
		}
		w.require("label", name, "the medium")
	}
}

// The fields of a ustar header, with their ends. Source: POSIX.1-2017, pax, "ustar Interchange
// Format".
var tarFields = []struct {
	name string
	end  int
}{
	{"name", 100}, {"mode", 108}, {"uid", 116}, {"gid", 124}, {"size", 136}, {"mtime", 148}, {"chksum", 156},
	{"typeflag", 157}, {"linkname", 257}, {"magic", 263}, {"version", 265}, {"uname", 297}, {"gname", 329},
	{"devmajor", 337}, {"devminor", 345}, {"prefix", 500}, {"rest", 512},
}

func (w *leavesWalk) archive(data []byte) {
	fixed := map[string]string{} // of fields that must be the same in every header
	for len(data) >= 512 && data[0] != 0 {
		head := data[:512]
		at := 0
		for _, f := range tarFields {
			field := head[at:f.end]
			at = f.end
			if len(bytes.Trim(field, "\x00")) == 0 {
				continue
			}
			w.require("archive", f.name, "tar header")
			if f.name != "name" && f.name != "size" && f.name != "chksum" {
				if old, ok := fixed[f.name]; ok && old != string(field) {
					w.Errorf("the tar header's %s differs from file to file", f.name)
				}
				fixed[f.name] = string(field)
			}
		}
		size, err := strconv.ParseInt(string(head[124:135]), 8, 64)
		if err != nil {
			w.Fatal(err)
		}
		full := (size + 511) / 512 * 512
		if len(bytes.Trim(data[512+size:512+full], "\x00")) > 0 {
			w.Error("the archive has something in the padding")
		}
		_, name, _ := strings.Cut(string(bytes.TrimRight(head[:100], "\x00")), "/")
		w.file(name, data[512:512+size])
		data = data[512+full:]
	}
	if len(bytes.Trim(data, "\x00")) > 0 {
		w.Error("the archive has something after its last file")
	}
}

var (
	pseudonymName = regexp.MustCompile(`^[0-9A-HJKMNP-TV-Z]{4}(-[0-9A-HJKMNP-TV-Z]{4}){3}-[0-9A-Z*]$`)
	fileName      = regexp.MustCompile(`^(sessions|recordings)/(.{21})(-[1-9][0-9]*)?\.(json|csv|edf)$`)
)

// file walks through one file of the bag.
func (w *leavesWalk) file(name string, data []byte) {
	w.files++
	inner, payload := strings.CutPrefix(name, "data/")
	if !payload {
		w.require("bag", name, name)
		w.tagFile(name, data)
		return
	}
	if m := fileName.FindStringSubmatch(inner); m != nil {
		if !pseudonymName.MatchString(m[2]) {
			w.Errorf("%s is not named after a pseudonym", name)
		}
		w.require("names", m[1]+"/*."+m[4], name)
		switch m[4] {
		case "json":
			w.json(data, func(path, text string) { w.field(path, text, name) })
		case "csv":
			w.recording(name, data)
		default:
			w.edf(name, data)
		}
		return
	}
	switch {
	case strings.HasSuffix(inner, ".csv"):
		rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
		if err != nil {
			w.Fatal(err)
		}
		for _, column := range rows[0] {
			w.require(inner, column, name)
		}
	case inner == "session.schema.json":
		w.require(inner, "schema", name)
		w.schema(data)
	case strings.HasSuffix(inner, ".json"):
		w.json(data, func(path, _ string) { w.require(inner, path[1:], name) })
	default:
		w.Errorf("%s leaves and no rule of the plan is about it", name)
	}
}

// tagFile checks the lines of a tag file.
func (w *leavesWalk) tagFile(name string, data []byte) {
	forms := map[string]string{
		"bagit.txt":    `^(BagIt-Version: 1\.0|Tag-File-Character-Encoding: UTF-8)$`,
		"bag-info.txt": `^(External-Identifier: ` + demo.Site + `-0001|Payload-Oxum: [0-9]+\.[0-9]+)$`,
		"manifest-sha256.txt": `^[0-9a-f]{64}  data/((sessions|recordings)/[0-9A-Z-]{21}(-[0-9]+)?\.(json|csv|edf)|` +
			`recordings/summary\.json|tubes\.csv|handling\.csv|session\.schema\.json|treatment\.json)$`,
		"tagmanifest-sha256.txt":     `^[0-9a-f]{64}  (bagit\.txt|bag-info\.txt|manifest-sha256\.txt)$`,
		"tagmanifest-sha256.txt.sig": `^(-----(BEGIN|END) SSH SIGNATURE-----|[A-Za-z0-9+/=]+)$`,
	}
	form := regexp.MustCompile(forms[name])
	for line := range strings.Lines(string(data)) {
		if !form.MatchString(strings.TrimRight(line, "\n")) || forms[name] == "" {
			w.Errorf("%s has the line %q", name, line)
		}
	}
}

// json calls fn for every leaf, with "*" for the indices of lists.
func (w *leavesWalk) json(data []byte, fn func(path, text string)) {
	n, err := schema.ParseJSON(data)
	if err != nil {
		w.Fatal(err)
	}
	n.Walk(func(at schema.Place, n *schema.Node) bool {
		if n.Kind != schema.Object && n.Kind != schema.Array {
			fn(at.Path, n.Text)
		}
		return true
	})
}

var (
	anOffset = regexp.MustCompile(`^[0-9]{4}-.*[Tt].*([Zz]|[+-][0-9]{2}:[0-9]{2})$`)
	reduced  = regexp.MustCompile(`/(year|day|date|elapsed_s)$`)
)

// field checks one leaf of a record.
func (w *leavesWalk) field(path, text, name string) {
	treatment := w.p.treatment(path)
	if treatment == "" && reduced.MatchString(path) {
		treatment = w.p.treatment(reduced.ReplaceAllString(path, ""))
		if treatment != "year" && treatment != "day" && treatment != "shift, no clock" {
			treatment = ""
		}
	}
	switch {
	case treatment == "" || treatment == "drop":
		w.Errorf("%s: %s leaves and has the treatment %q", name, path, treatment)
	case strings.HasPrefix(treatment, "pseudonym") && !pseudonymName.MatchString(text):
		w.Errorf("%s: %s is no pseudonym", name, path)
	case w.plan != "limited" && anOffset.MatchString(text):
		w.Errorf("%s: %s leaves with its offset from UTC", name, path)
	case treatment == "text" && w.plan == "year-only":
		w.Errorf("%s: %s is free text", name, path)
	}
}

// recording checks the header row of a CSV recording, and that every cell is a number.
func (w *leavesWalk) recording(name string, data []byte) {
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		w.Fatal(err)
	}
	w.require("recordings/*.csv", "header row", name)
	for _, column := range rows[0] {
		w.require("recordings/*.csv", column, name)
	}
	for i, row := range rows[1:] {
		for k, cell := range row {
			if _, err := strconv.ParseFloat(cell, 64); err != nil && cell != "" {
				w.Fatalf("%s: row %d holds what is no number", name, i)
			} else if at, _ := strconv.ParseFloat(cell, 64); i == 0 && k == 0 && at > 600 {
				w.Errorf("%s begins at %s s", name, cell)
			}
		}
	}
}

// The fields of an EDF header, with their widths. Source: EDF (1992), table of the header record.
var edfFile = []edfField{{"version", 8}, {"patient identification", 80}, {"recording identification", 80},
	{"start date", 8}, {"start time", 8}, {"number of header bytes", 8}, {"reserved field", 44},
	{"number of data records", 8}, {"duration of a data record", 8}, {"number of signals", 4}}

var edfSignal = []edfField{{"label", 16}, {"transducer type", 80}, {"physical dimension", 8}, {"physical minimum", 8},
	{"physical maximum", 8}, {"digital minimum", 8}, {"digital maximum", 8}, {"prefiltering", 80},
	{"samples in a data record", 8}, {"reserved field", 32}}

type edfField struct {
	name  string
	width int
}

// edf walks through the header by byte ranges, and the data records.
func (w *leavesWalk) edf(name string, data []byte) {
	const where = "recordings/*.edf"
	at := 0
	take := func(f edfField, prefix string) string {
		text := strings.TrimRight(string(data[at:at+f.width]), " ")
		at += f.width
		w.require(where, prefix+f.name, name)
		form := map[string]string{
			"version": `^0$`, "patient identification": `^[0-9A-Z-]{21} X X X$`,
			"recording identification": `^Startdate (X|[0-9]{2}-[A-Z]{3}-[0-9]{4}) X X X$`,
			"start date":               `^[0-9]{2}\.[0-9]{2}\.[0-9]{2}$`,
			"start time":               `^[0-9]{2}\.[0-9]{2}\.[0-9]{2}$`,
			"label":                    `^(CO2|Pressure mouth|EDF Annotations|signal [0-9]+)$`,
			"transducer type":          `^(infrared cell|silicon bridge)?$`,
			"physical dimension":       `^(kPa|Pa)?$`, "prefiltering": `^(LP:8Hz)?$`,
		}[f.name]
		if f.name == "reserved field" {
			form = `^$`
			if prefix == "header: " {
				form = `^EDF\+[CD]$`
			}
		}
		if form == "" {
			form = `^-?[0-9]+(\.[0-9]+)?$`
		}
		if !regexp.MustCompile(form).MatchString(text) {
			w.Errorf("%s: the %s leaves as %q", name, f.name, text)
		}
		if w.plan == "year-only" && (f.name == "start date" && text != "01.01.85" || f.name == "start time" &&
			text != "00.00.00") {
			w.Errorf("%s: the %s leaves as %q", name, f.name, text)
		}
		return text
	}
	signals := 0
	for _, f := range edfFile {
		if text := take(f, "header: "); f.name == "number of signals" {
			signals, _ = strconv.Atoi(text)
		}
	}
	var labels []string
	var samples []int
	for _, f := range edfSignal {
		for range signals {
			switch text := take(f, "header of a signal: "); f.name {
			case "label":
				labels = append(labels, text)
			case "samples in a data record":
				n, _ := strconv.Atoi(text)
				samples = append(samples, n)
			}
		}
	}
	w.edfData(name, data[at:], labels, samples)
}

var timeKeeping = regexp.MustCompile("^[+-][0-9.]+\x14\x14\x00+$")

// edfData walks through the data records.
func (w *leavesWalk) edfData(name string, data []byte, labels []string, samples []int) {
	const where = "recordings/*.edf"
	for len(data) > 0 {
		for i, n := range samples {
			b := data[:2*n]
			data = data[2*n:]
			if labels[i] != "EDF Annotations" {
				w.require(where, "samples", name)
				continue
			}
			w.require(where, "annotations", name)
			if w.plan == "year-only" && !timeKeeping.Match(b) {
				w.Errorf("%s: an annotation leaves: %q", name, bytes.TrimRight(b, "\x00"))
			}
		}
	}
}

// schema checks that every property of the schema that leaves is of a field of the plan, and that
// every text is a keyword's own or a title of ours.
func (w *leavesWalk) schema(data []byte) {
	var root map[string]any
	if err := json.Unmarshal(data, &root); err != nil {
		w.Fatal(err)
	}
	met := 0
	var walk func(path string, s map[string]any)
	walk = func(path string, s map[string]any) {
		for word, value := range s {
			switch word {
			case "properties":
				for name, sub := range value.(map[string]any) {
					walk(path+"/"+name, sub.(map[string]any))
				}
			case "items":
				walk(path+"/*", value.(map[string]any))
			case "deid", "why", "risk", "default", "examples", "$comment":
				w.Errorf("the schema that leaves has %q at %s", word, path)
			}
		}
		if _, inner := s["properties"]; inner || s["items"] != nil {
			return
		}
		met++
		at := path
		if w.p.treatment(at) == "" {
			at = reduced.ReplaceAllString(at, "")
		}
		if treatment := w.p.treatment(at); treatment == "" || treatment == "drop" {
			w.Errorf("the schema that leaves has %s, whose treatment is %q", path, treatment)
		}
	}
	walk("", root)
	if met < 30 {
		w.Errorf("only %d fields in the schema that leaves", met)
	}
}
