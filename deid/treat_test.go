package deid

import (
	"errors"
	"math/big"
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/schema"

	"pgregory.net/rapid"
)

func TestRegion(t *testing.T) {
	for code, want := range map[string]string{
		// 45 CFR 164.514(b)(2)(i)(B), test rows of the fact sheet 1.3
		"03601":                          "000",
		"10001":                          "100",
		"89301":                          "000",
		"55601-1234":                     "000",
		"05999":                          "000",
		"81799":                          "817",
		"100011234":                      "100",
		" 10001 ":                        "100",
		"\uff11\uff10\uff10\uff10\uff11": "100", // full width
		"SW1A 1AA":                       "SW",  // the forms of other countries are common knowledge, no source
		"k1a 0b6":                        "K1",
		"1010":                           "10",
		"101":                            "10",
		"1000-205":                       "10",
		"DE-10115":                       "DE",
		"-12 345 6":                      "12",
	} {
		if got, err := region(code, 0); err != nil || got != want {
			t.Errorf("%q: %q, %v, want %q", code, got, err, want)
		}
	}
	for _, code := range []string{"", "7", "1-2", "--", "\u0e31"} {
		if got, err := region(code, 0); err == nil {
			t.Errorf("%q leaves as %q", code, got)
		}
	}
	for _, c := range []struct {
		code  string
		width int
		want  string
	}{
		{"10115", 1, "1"}, {"10115", 2, "10"}, {"10115", 3, "101"}, {"03601", 3, "000"}, {"SW1A 1AA", 1, "S"},
		{"SW1A 1AA", 3, "SW1"},
		{"101", 3, ""}, {"101", 2, "10"}, {"10", 1, ""},
	} {
		if got, err := region(c.code, c.width); got != c.want || (err != nil) != (c.want == "") {
			t.Errorf("%q to %d: %q, %v, want %q", c.code, c.width, got, err, c.want)
		}
	}
	if len(census2000) != 17 {
		t.Errorf("%d restricted prefixes, want 17", len(census2000))
	}
	for _, zip := range census2000 {
		if got, err := region(zip+"77", 0); err != nil || got != "000" {
			t.Errorf("%s77 leaves as %q, %v", zip, got, err)
		}
	}
}

// Ends for extremes: common practice, no source.
func TestCoded(t *testing.T) {
	height := schema.Treatment{Kind: schema.Round, Width: 5, From: 140, To: 200, Coded: true}
	for in, want := range map[string]string{
		"92": "140", "137.4": "140", "142.4": "140", "142.5": "145", "173": "175", "200": "200", "202.4": "200",
		"219": "200", "1e3": "200", "-3": "140",
	} {
		if got, err := coded(in, height); err != nil || got != want {
			t.Errorf("%s: %q, %v, want %s", in, got, err, want)
		}
	}
	if got, err := coded("219", schema.Treatment{Kind: schema.Round, Width: 5}); err != nil || got != "220" {
		t.Errorf("without ends: %q, %v", got, err)
	}
}

func TestRoundTo(t *testing.T) {
	for _, test := range []struct {
		in    string
		width int
		want  string
	}{
		{"172.4", 5, "170"}, {"172.5", 5, "175"}, {"172.49999999999999999999", 5, "170"}, {"177.5", 5, "180"},
		{"0", 5, "0"}, {"2.4", 5, "0"}, {"-2.4", 5, "0"}, {"-0.0", 5, "0"}, {"-2.5", 5, "-5"}, {"-7.6", 5, "-10"},
		{"1.72e2", 1, "172"}, {"172.5", 1, "173"}, {"1E+3", 100, "1000"}, {"49.9", 100, "0"}, {"50", 100, "100"},
		{"1e-999", 5, "0"},
	} {
		if got, err := roundTo(test.in, test.width); err != nil || got != test.want {
			t.Errorf("%s to %d: %q, %v, want %s", test.in, test.width, got, err, test.want)
		}
	}
	for _, in := range []string{"", "x", "1e999", strings.Repeat("9", 65)} {
		if got, err := roundTo(in, 5); err == nil {
			t.Errorf("%.10q is rounded to %.10q", in, got)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		in := rapid.StringMatching(`-?(0|[1-9][0-9]{0,5})(\.[0-9]{1,6})?`).Draw(t, "in")
		width := rapid.IntRange(1, 100).Draw(t, "width")
		out, err := roundTo(in, width)
		if err != nil {
			t.Fatal(err)
		}
		x, _ := new(big.Rat).SetString(in)
		y, ok := new(big.Rat).SetString(out)
		if !ok || strings.ContainsAny(out, ".eE") {
			t.Fatalf("%q is no plain number", out)
		}
		w := big.NewRat(int64(width), 1)
		if q := new(big.Rat).Quo(y, w); !q.IsInt() {
			t.Fatalf("%s is no multiple of %d", out, width)
		}
		if d := new(big.Rat).Sub(x, y); d.Abs(d).Mul(d, big.NewRat(2, 1)).Cmp(w) > 0 {
			t.Fatalf("%s is not the multiple of %d nearest to %s", out, width, in)
		}
	})
}

// planWith returns a plan of the fields that the tool needs, and more.
func planWith(t rapid.TB, more string) *schema.Plan {
	t.Helper()
	p, err := schema.ParsePlan("plan.json", planText(more))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// planText returns the schema of [planWith].
func planText(more string) []byte {
	const text = `{"type":"object","additionalProperties":false,
	"required":["session_id","study","site","subject","started_at","ended_at","fraction","tubes","recordings"],
	"properties":{
	"session_id":{"type":"string","deid":{"pseudonym":"session"},"why":"w"},
	"study":{"type":"string","deid":"keep","why":"w"},
	"site":{"type":"string","deid":"keep","why":"w"},
	"subject":{"type":"object","additionalProperties":false,"required":["subject_id"],"properties":{
		"subject_id":{"type":"string","deid":{"pseudonym":"subject"},"why":"w"}}},
	"started_at":{"type":"string","format":"date-time","deid":"shift","why":"w"},
	"ended_at":{"type":"string","format":"date-time","deid":"year","why":"w"},
	"fraction":{"type":"string","deid":"keep","why":"w"},
	"tubes":{"type":"array","items":{"type":"object","additionalProperties":false,"required":["barcode","position","volume_ml","storage"],"properties":{
		"barcode":{"type":"string","deid":"keep","why":"w"},
		"position":{"type":["string","integer"],"deid":"keep","why":"w"},
		"volume_ml":{"type":"number","deid":"keep","why":"w"},
		"storage":{"type":"string","deid":"keep","why":"w"}}}},
	"recordings":{"type":"array","items":{"type":"object","additionalProperties":false,"required":["file","format"],"properties":{
		"file":{"type":"string","deid":"recording","why":"w"},
		"format":{"type":"string","enum":["csv","edf"],"deid":"keep","why":"w"}}}}`
	return []byte(text + more + "}}")
}

const coreRecord = `"session_id":"V-1","study":"LARK-2","site":"WEIR","subject":{"subject_id":"S-1"},
	"started_at":"2026-03-02T08:20:00.500-05:00","ended_at":"2026-03-02T08:30:01-05:00","fraction":"whole",
	"tubes":[{"barcode":"T1","position":1,"volume_ml":5e2,"storage":"ambient"}],"recordings":[]`

func session(record string) *schema.Session {
	doc, err := schema.ParseJSON([]byte(record))
	if err != nil {
		panic(err)
	}
	return &schema.Session{File: "sessions/1.json", Doc: doc, ID: "V-1", Subject: "S-1",
		Started: time.Date(2026, 3, 2, 8, 20, 0, 5e8, time.FixedZone("", -5*3600))}
}

func treatOne(t testing.TB, plan *schema.Plan, record string) (*schema.Node, *visit) {
	t.Helper()
	names := NewPseudonymiser(testKey(), "LARK-2")
	names.mac = func(key [32]byte, id string) [32]byte { // readable, and a shift of 1
		return [32]byte(append([]byte(id), make([]byte, 32-len(id))...))
	}
	tr, err := newTreater(plan, nil, names)
	if err != nil {
		t.Fatal(err)
	}
	v, err := tr.visit(session(record))
	if err != nil {
		t.Fatal(err)
	}
	v.shift = 1
	return tr.record(v), v
}

func TestTreatRecord(t *testing.T) {
	plan := planWith(t, `,
	"a":{"type":"object","additionalProperties":false,"properties":{
		"gone":{"type":"string","deid":"drop","why":"w"},
		"left":{"type":["string","null"],"deid":"keep","why":"w"}}},
	"b":{"type":"object","additionalProperties":false,"properties":{"gone":{"type":["string","null"],"deid":"drop","why":"w"}}},
	"c":{"type":"array","items":{"type":"object","additionalProperties":false,"properties":{
		"gone":{"type":"number","deid":"drop","why":"w"},
		"n":{"type":"number","deid":{"round":10},"why":"w"}}}},
	"d":{"type":"array","items":{"type":"string","deid":"drop","why":"w"}},
	"e":{"type":"array","items":{"type":"string","deid":"text","why":"w"}},
	"born":{"type":"string","format":"date","deid":"year","why":"w"},
	"by":{"type":"string","deid":{"pseudonym":"operator"},"why":"w"},
	"ok":{"type":"boolean","deid":"keep","why":"w"}`)
	out, v := treatOne(t, plan,
		`{"ok":true,"by":"op","e":["one","two"],"d":["x"],"c":[{"n":14.9,"gone":3},{"gone":4},{}],
		"b":{"gone":null},"a":{"left":null,"gone":"x"},"born":"1930-01-01",`+coreRecord+`}`)
	if out == nil || len(v.faults) > 0 {
		t.Fatal(v.faults)
	}
	want := `{"session_id":"","study":"LARK-2","site":"WEIR","subject":{"subject_id":""},"started_at":"2026-03-01T08:20:00.500",
	"ended_at":{"year":2026,"elapsed_s":601},"fraction":"whole","tubes":[{"barcode":"T1","position":1,"volume_ml":5e2,"storage":"ambient"}],"recordings":[],
	"a":{"left":null},"c":[{"n":10},{},{}],"e":["one","two"],"born":1936,"by":"","ok":true}`
	wanted, err := schema.ParseJSON([]byte(want))
	if err != nil {
		t.Fatal(err)
	}
	wanted.Member("session_id").Text = v.name
	wanted.At("/subject/subject_id").Text = v.subject
	wanted.Member("by").Text = out.Member("by").Text
	if got := string(out.Encode()); got != string(wanted.Encode()) {
		t.Errorf("got %s\nwant %s", got, wanted.Encode())
	}
	if by := out.Member("by").Text; !pseudonymForm.MatchString(by) || by == v.name {
		t.Errorf("operator %q", by)
	}
	if out.Member("born").Line == 0 {
		t.Error("the place in the source is lost")
	}
	var searched []string
	for _, p := range v.places {
		searched = append(searched, p.pointer)
	}
	slices.Sort(searched)
	// All that a person wrote and that leaves: not the listed, dated, dropped and treated values.
	if want := []string{"/e/0", "/e/1", "/fraction", "/site", "/study", "/tubes/0/barcode", "/tubes/0/position",
		"/tubes/0/storage", "/tubes/0/volume_ml"}; !slices.Equal(searched, want) {
		t.Errorf("searched %q, want %q", searched, want)
	}
}

// Nothing leaves for which the plan has no field, even if a record got past
// the plan's own validation.
func TestTreatDeniesByDefault(t *testing.T) {
	plan := planWith(t, `,"a":{"type":"object","additionalProperties":false,"properties":{"gone":{"type":"string","deid":"drop","why":"w"}}},
	"s":{"type":"string","deid":"text","why":"w"}`)
	for name, record := range map[string]string{
		"/":         `{` + coreRecord + `,"extra":"secretvalue"}`,
		"/a":        `{` + coreRecord + `,"a":{"gone":"x","extra":"secretvalue"}}`,
		"/s":        `{` + coreRecord + `,"s":{"extra":"secretvalue"}}`,
		"/s list":   `{` + coreRecord + `,"s":["secretvalue"]}`,
		"/s null":   `{` + coreRecord + `,"s":null}`,
		"/s number": `{` + coreRecord + `,"s":2125550143}`,
		"/study":    `{` + strings.Replace(coreRecord, `"study":"LARK-2"`, `"study":null`, 1) + `}`,
		"/tubes/0": `{` + strings.Replace(strings.Replace(coreRecord, `[{"barcode"`, `[[{"barcode"`, 1),
			`"ambient"}]`, `"ambient"}]]`, 1) + `}`,
		"/started_at": `{` + strings.Replace(coreRecord, `"started_at":"2026`, `"started_at":"secretvalue2026`, 1) +
			`}`,
		"/ended_at":    `{` + strings.Replace(coreRecord, `"ended_at":"2026`, `"ended_at":"secretvalue2026`, 1) + `}`,
		"/session_id ": `{` + strings.Replace(coreRecord, `"session_id":"V-1"`, `"session_id":"--"`, 1) + `}`,
	} {
		out, v := treatOne(t, plan, record)
		if len(v.faults) == 0 {
			t.Errorf("%s: leaves as %s", name, out.Encode())
			continue
		}
		for _, p := range v.faults {
			if strings.Contains(p.Message+p.Pointer, "secret") || p.Rule == "" || p.Severity != schema.Error ||
				p.Line == 0 {
				t.Errorf("%s: %+v", name, p)
			}
		}
	}
}

// What is made is proved against the schema that the laboratory gets.
func TestTreatProves(t *testing.T) {
	plan := planWith(t, `,"code":{"type":"string","pattern":"^[A-Z]+$","deid":"keep","why":"w"}`)
	out, v := treatOne(t, plan, `{`+coreRecord+`,"code":"lower"}`)
	if len(v.faults) != 1 || v.faults[0].Rule != "treat.outgoing" || v.faults[0].Pointer != "/code" ||
		strings.Contains(v.faults[0].Message, "lower\"") {
		t.Errorf("%v, %+v", out, v.faults)
	}
}

func TestTreatNeedsIdentifiers(t *testing.T) {
	plan := planWith(t, "")
	tr, err := newTreater(plan, nil, NewPseudonymiser(testKey(), "LARK-2"))
	if err != nil {
		t.Fatal(err)
	}
	for pointer, change := range map[string]func(*schema.Session){
		"/session_id":         func(s *schema.Session) { s.ID = " - " },
		"/subject/subject_id": func(s *schema.Session) { s.Subject = "\u0378" },
	} {
		s := session("{}")
		change(s)
		_, err := tr.visit(s)
		var queries *schema.QueriesError
		if !errors.As(err, &queries) || len(queries.Problems) != 1 || queries.Problems[0].Pointer != pointer ||
			queries.Problems[0].Rule != "treat.pseudonym" {
			t.Errorf("%s: %v", pointer, err)
		}
	}
}

func TestBandOfFuture(t *testing.T) {
	if got, err := bandOf("2026-03-03", day("2026-03-02"), 5); err == nil || strings.Contains(err.Error(), "2026") {
		t.Errorf("%q, %v", got, err)
	}
}

// An age comes of a date, and of nothing beside it.
func TestBandOfNoDate(t *testing.T) {
	for _, birth := range []string{"1950-01-01T10:00:00Z", "1950-13-01", "", "1950"} {
		if got, err := bandOf(birth, day("2026-03-02"), 5); err == nil {
			t.Errorf("%s: %q", birth, got)
		}
	}
}

func TestBandOfNewborn(t *testing.T) {
	if got, err := bandOf("2026-03-02", day("2026-03-02"), 5); err != nil || got != "0-4" {
		t.Errorf("%q, %v", got, err)
	}
}

// A single value where the plan has an object, or a list, has no treatment: it must not get
// that of another field.
func TestTreatMisplacedValue(t *testing.T) {
	plan := planWith(t, "")
	for record, pointer := range map[string]string{
		`"LARK-2"`: "", `7`: "", `null`: "", `[]`: "",
		`{` + strings.Replace(coreRecord, `[{"barcode":"T1","position":1,"volume_ml":5e2,"storage":"ambient"}]`,
			`["LARK-2"]`, 1) + `}`: "/tubes/0",
		`{` + strings.Replace(coreRecord, `{"subject_id":"S-1"}`, `"LARK-2"`, 1) + `}`:       "/subject",
		`{` + strings.Replace(coreRecord, `"study":"LARK-2"`, `"study":["LARK-2"]`, 1) + `}`: "/study",
	} {
		_, v := treatOne(t, plan, record)
		if len(v.faults) == 0 || v.faults[0].Rule != "treat.unplanned" || v.faults[0].Pointer != pointer {
			t.Errorf("%s: %+v", record, v.faults)
		}
	}
}

// A value that leaves as it is may hold no character that nobody sees; one that leaves treated
// may, and one of another kind has none.
func TestTreatHidden(t *testing.T) {
	plan := planWith(t, `,
	"notes":{"type":"string","deid":"text","why":"w"},
	"by":{"type":"string","deid":{"pseudonym":"operator"},"why":"w"}`)
	for _, c := range []struct{ field, rule string }{
		{`"fraction"`, "treat.keep"}, {`"notes"`, "treat.text"}, {`"by"`, ""},
	} {
		record := `{"notes":"a","by":"b",` + coreRecord + `}`
		at := strings.Index(record, c.field) + len(c.field) + 2
		record = record[:at] + "a\u200bb" + record[at:]
		_, v := treatOne(t, plan, record)
		if c.rule == "" && len(v.faults) != 0 || c.rule != "" && (len(v.faults) != 1 || v.faults[0].Rule != c.rule) {
			t.Errorf("%s: %+v", c.field, v.faults)
		}
	}
}

// What leaves with all its digits has no more of them than its meaning needs; what is reduced
// may.
func TestTreatTooLong(t *testing.T) {
	plan := planWith(t, `,
	"born":{"type":"number","deid":{"round":10},"why":"w"}`)
	for _, c := range []struct{ old, new, rule string }{
		{`"volume_ml":5e2`, `"volume_ml":500.123456789012`, "treat.keep"},
		{`"born":1`, `"born":500.123456789012`, ""},
		{`08:20:00.500`, `08:20:00.500123456`, "treat.shift"},
		{`08:30:01`, `08:30:01.500123456`, ""},
	} {
		record := `{"born":1,` + coreRecord + `}`
		changed := strings.Replace(record, c.old, c.new, 1)
		if changed == record {
			t.Fatal(c.old)
		}
		_, v := treatOne(t, plan, changed)
		if c.rule == "" && len(v.faults) != 0 || c.rule != "" && (len(v.faults) != 1 || v.faults[0].Rule != c.rule) {
			t.Errorf("%s: %+v", c.new, v.faults)
		}
	}
}

// A pseudonym is that of the id which the field holds, though the record is another's.
func TestTreatOtherSubject(t *testing.T) {
	plan := planWith(t, `,
	"twin":{"type":"string","deid":{"pseudonym":"subject"},"why":"w"}`)
	out, v := treatOne(t, plan, `{"twin":"S-2",`+coreRecord+`}`)
	if len(v.faults) > 0 {
		t.Fatal(v.faults)
	}
	same, _ := treatOne(t, plan, `{"twin":"S-1",`+coreRecord+`}`)
	if out.Member("twin").Text == v.subject || same.Member("twin").Text != v.subject {
		t.Errorf("%s\n%s", out.Encode(), same.Encode())
	}
}

// Dates in free text move with the dates of the record if the plan moves those; where it does
// not, there is nothing to move them by.
func TestTextShift(t *testing.T) {
	for name, want := range map[string]bool{"shifted": true, "year-only": false} {
		plan, err := schema.LoadPlan(name)
		if err != nil {
			t.Fatal(err)
		}
		tr, err := newTreater(plan, nil, NewPseudonymiser(testKey(), "LARK-2"))
		if err != nil {
			t.Fatal(err)
		}
		v, err := tr.visit(session("{}"))
		if err != nil || v.shift == 0 || (v.textShift == v.shift) != want || !want && v.textShift != 0 {
			t.Errorf("%s: %v, %v", name, v, err)
		}
	}
}

// A number of 64 characters is the longest that is rounded, and the longest that comes of it.
func TestRoundToBounds(t *testing.T) {
	for literal, ok := range map[string]bool{
		"0." + strings.Repeat("1", 62): true, "0." + strings.Repeat("1", 63): false,
		"1e63": true, "1e64": false, "-1e62": true, "-1e63": false,
	} {
		if got, err := roundTo(literal, 1); (err == nil) != ok {
			t.Errorf("%s: %q, %v", literal, got, err)
		}
	}
}

// A list in an object of its own leaves with the object.
func TestTreatListAlone(t *testing.T) {
	plan := planWith(t, `,
	"x":{"type":"object","additionalProperties":false,"properties":{
		"kept":{"type":"array","items":{"type":"string","deid":"keep","why":"w"}}}},
	"y":{"type":"object","additionalProperties":false,"properties":{
		"gone":{"type":"array","items":{"type":"string","deid":"drop","why":"w"}}}}`)
	out, v := treatOne(t, plan, `{"x":{"kept":["a"]},"y":{"gone":["b"]},`+coreRecord+`}`)
	if len(v.faults) > 0 {
		t.Fatal(v.faults)
	}
	if x := out.At("/x/kept/0"); x == nil || x.Text != "a" || out.Member("y") != nil {
		t.Errorf("%s", out.Encode())
	}
}
