package audit

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/deid"
	"outbreath/deid/attack"
	"outbreath/keys"
	"outbreath/schema"
)

// localTime is the form of a shifted time.
const localTime = "2006-01-02T15:04:05"

// An invented output of 40 subjects in four cells of ten, two visits each, as the
// laboratory reads it, with the roster and the site's records. Pseudonyms are made
// by the real code; everything else by hand.
type invented struct {
	records []map[string]any
	files   []Entry
	traces  map[string]string // name to contents
	in      Input
}

var inventedFields = []Field{
	{"/session_id", "pseudonym session", ""}, {"/study", "keep", ""}, {"/site", "keep", ""},
	{"/subject/subject_id", "pseudonym subject", ""}, {"/subject/birth_date", "age-band 5", "quasi"},
	{"/subject/sex", "keep", "quasi"},
	{"/subject/postal_code", "region", "quasi"}, {"/subject/smoking_status", "keep", "sensitive"},
	{"/subject/height_cm", "round 5, 140 to 200", ""},
	{"/subject/phone", "drop", ""}, {"/started_at", "shift", ""}, {"/tubes/*/uncapped_at", "shift", ""},
	{"/tubes/*/barcode", "keep", ""},
	{"/recordings/*/file", "recording", ""}, {"/notes", "text", ""},
}

const hashStudy = "LARK-2"

func invent(t *testing.T) *invented {
	t.Helper()
	v := &invented{traces: map[string]string{}}
	names := deid.NewPseudonymiser(keys.NewPseudonymKey([32]byte{7}), hashStudy)
	v.in = Input{Study: hashStudy, Site: "WEIR", Fields: inventedFields,
		Sealed: time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC), HoldingDays: 30,
		Source: map[string]*schema.Session{}, SubjectOf: map[string]string{}, Roster: &schema.Roster{}, MaxIDs: 100}
	given := []string{"Zofia", "Padraig", "Søren", "Mbali", "Jürgen"}
	family := []string{"Wąsik", "O'Hallaghan", "Fjældgård", "Dlozinkulu"}
	for i := range 40 {
		id := fmt.Sprintf("LARK2-WEIR-%03d", i+1)
		sex := []string{"female", "male"}[i%2]
		postal := []string{"98703", "81714"}[i/2%2]
		born := time.Date(1985, 1+time.Month(i%12), 1+i%28, 0, 0, 0, 0, time.UTC)
		v.in.Roster.Rows = append(v.in.Roster.Rows, map[string]string{
			"subject_id": id, "given_name": given[i%5], "family_name": family[i%4],
			"birth_date": born.Format(time.DateOnly), "sex": sex,
			"mrn": fmt.Sprintf("MRN %08d", 30417788+i*13), "email": fmt.Sprintf("p%d@example.org", i),
			"phone": fmt.Sprintf("+1 212 555 %04d", 100+i), "postal_code": postal,
		})
		who, err := names.Subject(id)
		if err != nil {
			t.Fatal(err)
		}
		v.in.SubjectOf[who] = id
		shift, _ := names.ShiftDays(id)
		for visit := range 2 {
			session := fmt.Sprintf("WEIR-V%04d", 2*i+visit+1)
			ps, err := names.Session(session)
			if err != nil {
				t.Fatal(err)
			}
			start := time.Date(2026, 3, 2+visit*7+i%5, 9, 3*i%60, 11, 0, time.UTC)
			uncapped := start.Add(2 * time.Minute)
			doc, err := schema.ParseJSON(fmt.Appendf(nil, `{"started_at":%q,"tubes":[{"uncapped_at":%q}]}`,
				start.Format(time.RFC3339), uncapped.Format(time.RFC3339)))
			if err != nil {
				t.Fatal(err)
			}
			v.in.Source[ps] = &schema.Session{ID: session, Subject: id, Started: start, Doc: doc}
			file := "recordings/" + ps + "-1.csv"
			v.traces[file] = "t_s,co2_kpa,pressure_pa\n0,0.1,3\n0.05,4.9,-7.5\n0.1,,2\n"
			v.records = append(v.records, map[string]any{
				"session_id": ps, "study": hashStudy, "site": "WEIR",
				"subject": map[string]any{"subject_id": who, "birth_date": "40-44", "sex": sex,
					"postal_code":    postal[:3],
					"smoking_status": []string{"never", "former"}[i/4%2], "height_cm": 150 + 5*(i%4)},
				"started_at": start.AddDate(0, 0, -shift).Format(localTime),
				"tubes": []any{map[string]any{"barcode": fmt.Sprintf("T%05d", 2*i+visit),
					"uncapped_at": uncapped.AddDate(0, 0, -shift).Format(localTime)}},
				"recordings": []any{map[string]any{"file": file}},
				"notes":      "One cough; the winter sun was low. Nothing else.",
			})
		}
	}
	slices.SortFunc(v.records, func(a, b map[string]any) int {
		return strings.Compare(a["session_id"].(string), b["session_id"].(string))
	})
	return v
}

func (v *invented) subject(i int) map[string]any { return v.records[i]["subject"].(map[string]any) }

// output builds what the audit sees, in the order of the records.
func (v *invented) output(t *testing.T) *Output {
	t.Helper()
	o := &Output{Archive: true, Words: NewWords(v.in.Roster)}
	add := func(name, data string) {
		o.Files = append(o.Files, Entry{Name: name, Size: int64(len(data)), ModTime: time.Unix(0, 0), Mode: 0o644})
		if err := o.Add(name, strings.NewReader(data)); err != nil {
			t.Fatal(err)
		}
	}
	var traces []string
	for name := range v.traces {
		traces = append(traces, name)
	}
	slices.Sort(traces)
	for _, name := range traces {
		add(name, v.traces[name])
	}
	for _, r := range v.records {
		add("sessions/"+r["session_id"].(string)+".json", encode(r))
	}
	for _, f := range v.files { // changes to entries
		o.Files[0] = f
	}
	return o
}

func encode(v any) string {
	switch v := v.(type) {
	case map[string]any:
		var b []string
		for k, m := range v {
			b = append(b, fmt.Sprintf("%q:%s", k, encode(m)))
		}
		slices.Sort(b)
		return "{" + strings.Join(b, ",") + "}"
	case []any:
		var b []string
		for _, m := range v {
			b = append(b, encode(m))
		}
		return "[" + strings.Join(b, ",") + "]"
	case string:
		return fmt.Sprintf("%q", v)
	}
	return fmt.Sprint(v)
}

// plainHash is a pseudonym made wrongly: SHA-256 without a key, in the right form.
func plainHash(id string) string {
	sum := sha256.Sum256([]byte(id))
	body := crockford.EncodeToString(sum[:10])
	s := body[:4] + "-" + body[4:8] + "-" + body[8:12] + "-" + body[12:] + "-"
	for _, c := range "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ" {
		if checkDigit(s + string(c)) {
			return s + string(c)
		}
	}
	panic("no check character fits")
}

// A tube is cleaned days or weeks before its session: that is no date left where it was.
func TestCleanedLongBefore(t *testing.T) {
	v := invent(t)
	v.in.Fields = append(slices.Clone(v.in.Fields), Field{"/tubes/*/conditioned_at", "shift", ""})
	for _, r := range v.records {
		tube := r["tubes"].([]any)[0].(map[string]any)
		at, err := time.Parse(localTime, tube["uncapped_at"].(string))
		if err != nil {
			t.Fatal(err)
		}
		tube["conditioned_at"] = at.AddDate(0, 0, -10).Format(localTime)
	}
	for _, i := range Examine(v.output(t), &v.in).Issues {
		if i.Code == "date.apart" {
			t.Fatalf("%+v", i)
		}
	}
}

func TestSabotage(t *testing.T) {
	clean := invent(t)
	rep := Examine(clean.output(t), &clean.in)
	if len(rep.Issues) != 0 || !rep.OK() {
		t.Fatalf("the clean output is objected to: %+v", rep.Issues)
	}
	if rep.Risk.K != 10 || rep.Risk.Subjects != 40 || rep.Risk.Records != 80 || rep.Risk.L != 2 ||
		rep.Risk.ByRecord.K != 20 {
		t.Fatalf("figures of the clean output: %+v", rep.Risk)
	}
	for _, a := range rep.Attacks {
		if a.Verdict == Broken || a.Verdict == NotRun && a.Name != "recordings across a changed key" {
			t.Errorf("clean output: attack %q: %s", a.Name, a.Verdict)
		}
	}
	for _, c := range []struct {
		name, code string
		do         func(v *invented)
	}{
		{"pseudonym replaced by a plain hash", "pseudonym.hash",
			func(v *invented) { v.subject(3)["subject_id"] = plainHash("lark2weir004") }},
		{"plain hash of an id that nobody has", "pseudonym.hash", func(v *invented) {
			v.in.MaxIDs = 3000
			v.subject(3)["subject_id"] = plainHash("LARK2-WEIR-977")
		}},
		{"hexadecimal hash with the study as salt", "pseudonym.hash", func(v *invented) {
			sum := sha256.Sum256([]byte(hashStudy + ":LARK2-WEIR-007"))
			v.subject(3)["subject_id"] = hex.EncodeToString(sum[:])
		}},
		{"identifier left in place of its pseudonym", "pseudonym.form",
			func(v *invented) { v.subject(3)["subject_id"] = "LARK2-WEIR-004" }},
		{"a time with its offset", "date.offset", func(v *invented) {
			v.records[5]["started_at"] = v.records[5]["started_at"].(string) + "Z"
		}},
		{"one date unshifted", "date.unshifted", func(v *invented) {
			r := v.records[5]
			r["started_at"] = v.in.Source[r["session_id"].(string)].Started.Format(localTime)
		}},
		{"one date unshifted, seen without the site's records", "date.apart", func(v *invented) {
			r := v.records[5]
			r["started_at"] = v.in.Source[r["session_id"].(string)].Started.Format(localTime)
			v.in.Source = nil
		}},
		{"one visit of a subject moved by other days", "date.inconsistent", func(v *invented) {
			at, _ := time.Parse(localTime, v.records[5]["started_at"].(string))
			v.records[5]["started_at"] = at.AddDate(0, 0, 1).Format(localTime)
		}},
		{"roster name in one note", "leftover.A", func(v *invented) {
			v.records[9]["notes"] = "Seen with Mbali " +
				"before lunch."
		}},
		{"name without its accents, in upper case", "leftover.A",
			func(v *invented) { v.records[9]["notes"] = "spoke to FJAELDGARD" }},
		{"record number with other separators", "leftover.H",
			func(v *invented) { v.records[9]["notes"] = "see file 30.417.788" }},
		{"mail address that no roster has", "leftover.F",
			func(v *invented) { v.records[9]["notes"] = "write to someone@post.example" }},
		{"age 93 kept", "age.over-89", func(v *invented) { v.subject(7)["birth_date"] = "93" }},
		{"band of 90 to 94", "age.over-89", func(v *invented) { v.subject(7)["birth_date"] = "90-94" }},
		{"age in a note", "leftover.C", func(v *invented) { v.records[9]["notes"] = "Very fit for 93 years." }},
		{"file time kept", "archive.time", func(v *invented) {
			v.files = []Entry{{Name: "recordings/x", ModTime: time.Unix(1772442000, 0), Mode: 0o644}}
		}},
		{"owner kept", "archive.owner", func(v *invented) {
			v.files = []Entry{{Name: "recordings/x", ModTime: time.Unix(0, 0), Mode: 0o644, UID: 1004, Owner: "mk"}}
		}},
		{"records in the order of the visits", "archive.order", func(v *invented) {
			slices.SortFunc(v.records, func(a, b map[string]any) int {
				first, second := v.in.Source[a["session_id"].(string)], v.in.Source[b["session_id"].(string)]
				return first.Started.Compare(second.Started)
			})
		}},
		{"records in the order of the roster", "archive.order", func(v *invented) {
			slices.SortFunc(v.records, func(a, b map[string]any) int {
				return strings.Compare(v.in.SubjectOf[a["subject"].(map[string]any)["subject_id"].(string)],
					v.in.SubjectOf[b["subject"].(map[string]any)["subject_id"].(string)])
			})
		}},
		{"small postal area", "region.small", func(v *invented) { v.subject(11)["postal_code"] = "036" }},
		{"whole postal code", "region.fine", func(v *invented) { v.subject(11)["postal_code"] = "98703" }},
		{"a row that nobody shares", "risk.unique", func(v *invented) { v.subject(12)["postal_code"] = "999" }},
		{"exact height", "round.fine", func(v *invented) { v.subject(12)["height_cm"] = 167 }},
		{"a field that is dropped", "field.dropped", func(v *invented) { v.subject(12)["phone"] = "not given" }},
		{"a field that the plan does not name", "field.unplanned",
			func(v *invented) { v.subject(12)["nickname"] = "Mino" }},
		{"words in a CSV recording", "recording.text", func(v *invented) {
			for name := range v.traces {
				v.traces[name] += "0.15,1,by mk\n"
				return
			}
		}},
		{"record number in a CSV recording's header", "leftover.H", func(v *invented) {
			for name := range v.traces {
				v.traces[name] = strings.Replace(v.traces[name], "co2_kpa", "co2_MRN30417788", 1)
				return
			}
		}},
		{"the site's file name kept", "name.recording",
			func(v *invented) { v.traces["recordings/monday-3.csv"] = "t_s\n0\n" }},
		{"one shift for all", "date.same-shift", func(v *invented) {
			for _, r := range v.records {
				at := v.in.Source[r["session_id"].(string)].Started.AddDate(0, 0, -100)
				r["started_at"] = at.Format(localTime)
				r["tubes"].([]any)[0].(map[string]any)["uncapped_at"] = at.Add(2 * time.Minute).Format(localTime)
			}
		}},
	} {
		v := invent(t)
		c.do(v)
		rep := Examine(v.output(t), &v.in)
		found := slices.ContainsFunc(rep.Issues, func(i Issue) bool { return i.Code == c.code })
		if !found {
			t.Errorf("%s: not found; issues: %+v", c.name, rep.Issues)
		}
		if wantFault := c.code != "risk.unique"; rep.OK() == wantFault {
			t.Errorf("%s: OK is %v", c.name, rep.OK())
		}
		for _, i := range rep.Issues {
			for _, value := range []string{"Mbali", "30417788", "30.417", "someone@", "mk", "98703"} {
				if strings.Contains(i.What+i.Do, value) {
					t.Errorf("%s: the issue holds the value", c.name)
				}
			}
		}
	}
}

// Attackers who know the visits succeed by what a shift keeps; the count is
// worked by hand: every subject has two visits a week apart, on five days of the
// week, so days alone single out nobody; the clock times of each are its own but
// for pairs of subjects 20 apart, which share them and the day.
func TestVisitAttacksByHand(t *testing.T) {
	v := invent(t)
	got := map[string][2]int64{}
	for _, a := range Examine(v.output(t), &v.in).Attacks {
		got[a.Name] = [2]int64{a.Tried, a.Succeeded}
	}
	for name, want := range map[string][2]int64{
		"days between visits":       {40, 0},
		"time of day of the visits": {40, 0},
		"linkage with the roster":   {40, 0},
	} {
		if got[name] != want {
			t.Errorf("%s: %v, want %v", name, got[name], want)
		}
	}
	// One subject comes a day later the second time, one at a minute of its own.
	v = invent(t)
	move := func(id string, by time.Duration) {
		for _, r := range v.records {
			s := v.in.Source[r["session_id"].(string)]
			if s.Subject == id && s.Started.Day() > 8 {
				s.Started = s.Started.Add(by)
				s.Doc, _ = schema.ParseJSON(fmt.Appendf(nil, `{"started_at":%q}`, s.Started.Format(time.RFC3339)))
				at, _ := time.Parse(localTime, r["started_at"].(string))
				r["started_at"] = at.Add(by).Format(localTime)
			}
		}
	}
	move("LARK2-WEIR-004", 24*time.Hour)
	move("LARK2-WEIR-009", time.Hour)
	for _, a := range Examine(v.output(t), &v.in).Attacks {
		got[a.Name] = [2]int64{a.Tried, a.Succeeded}
	}
	if got["days between visits"] != [2]int64{40, 1} {
		t.Errorf("days between visits: %v, want one of 40", got["days between visits"])
	}
	if got["time of day of the visits"] != [2]int64{40, 2} {
		t.Errorf("time of day: %v, want 2 of 40", got["time of day of the visits"])
	}
}

// A birth date, sex and postal code that the plan keeps name everybody, and are no fault of
// the treatment; the same birth date in a note is one.
func TestKeptOnPurpose(t *testing.T) {
	keep := func() *invented {
		v := invent(t)
		v.in.Fields = slices.Clone(v.in.Fields)
		for i, f := range v.in.Fields {
			if f.Path == "/subject/birth_date" || f.Path == "/subject/postal_code" {
				v.in.Fields[i].Treatment = "keep"
			}
		}
		for i, row := range v.in.Roster.Rows { // nobody shares a birth date
			row["birth_date"] = time.Date(1985, 1, 1+9*i, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
		}
		for _, r := range v.records {
			s := r["subject"].(map[string]any)
			for _, row := range v.in.Roster.Rows {
				if row["subject_id"] == v.in.SubjectOf[s["subject_id"].(string)] {
					s["birth_date"], s["postal_code"] = row["birth_date"], row["postal_code"]
				}
			}
		}
		return v
	}
	v := keep()
	rep := Examine(v.output(t), &v.in)
	if !rep.OK() {
		t.Errorf("a fault of what the plan keeps: %+v", rep.Issues)
	}
	for _, a := range rep.Attacks {
		if a.Name == "linkage with the roster" && (a.Tried != 40 || a.Succeeded != 40 || a.Verdict != Residual) {
			t.Errorf("%+v", a)
		}
	}
	v = keep()
	v.records[3]["notes"] = "born " + v.in.Roster.Rows[3]["birth_date"]
	if Examine(v.output(t), &v.in).OK() {
		t.Error("a birth date in a note is no fault")
	}
}

// Tubes that were held longer than allowed do not mislead the attackers, so that no figure
// is too low.
func TestHeldLonger(t *testing.T) {
	v := invent(t)
	v.in.Sealed = v.in.Sealed.AddDate(0, 0, 100)
	for _, r := range v.records {
		delete(r["tubes"].([]any)[0].(map[string]any), "barcode")
	}
	for _, a := range Examine(v.output(t), &v.in).Attackers {
		if a.NotRun == attack.WasRun && a.Dates && (a.Dating.Wrong > 0 || len(a.Claims) != 40) {
			t.Errorf("%s: %+v", a.Attacker, a.Dating)
		}
	}
}

// Every line of the report shows what the attacker's claims come to, counted here by the
// site's records.
func TestFigureIsSuccess(t *testing.T) {
	v := invent(t)
	rep := Examine(v.output(t), &v.in)
	lines := map[string]Attack{}
	for _, a := range rep.Attacks {
		lines[a.Name] = a
	}
	if len(rep.Attackers) != len(attackerNames) {
		t.Fatalf("%d attackers, %d names", len(rep.Attackers), len(attackerNames))
	}
	for _, a := range rep.Attackers {
		line, ok := lines[attackerNames[a.Attacker][0]]
		n := 0
		for _, c := range a.Claims {
			right := !a.Links
			for _, visit := range c.Visits {
				day := dayNumber(v.in.Source[visit.Session].Started)
				right = right && int(visit.From) == day && int(visit.To) == day
			}
			switch {
			case a.Links && a.Attacker == attack.TwoKeys:
				right = c.Person == c.Subject
			case a.Links:
				right = c.Alone || c.Person != "" && c.Person == identity(v.in.SubjectOf[c.Subject])
			}
			if right {
				n++
			}
		}
		if !ok || line.Verdict != NotRun && (!a.Scored || int(line.Succeeded) != n || line.Tried == 0) {
			t.Errorf("%s: %d succeeded; the line says %+v", a.Attacker, n, line)
		}
	}
}

func dayNumber(t time.Time) int {
	y, m, d := t.Date()
	return int(time.Date(y, m, d, 12, 0, 0, 0, time.UTC).Unix() / 86400)
}

// Every shift of every subject is tried in turn: those that put both visits on weekdays
// between the sealing day and 18 days before it remain. The barcodes are taken away, so that
// no order helps.
func TestSealingDateByTrying(t *testing.T) {
	v := invent(t)
	v.in.HoldingDays = 18
	days := map[string][]time.Time{}
	for _, r := range v.records {
		at, _ := time.Parse(localTime, r["started_at"].(string))
		delete(r["tubes"].([]any)[0].(map[string]any), "barcode")
		who := r["subject"].(map[string]any)["subject_id"].(string)
		days[who] = append(days[who], at.Truncate(24*time.Hour))
	}
	want := map[string][2]int{}
	for who, list := range days {
		for s := 1; s <= 364; s++ {
			if slices.ContainsFunc(list, func(d time.Time) bool {
				d = d.AddDate(0, 0, s)
				return d.After(v.in.Sealed) || d.Before(v.in.Sealed.AddDate(0, 0, -18)) ||
					d.Weekday() == time.Saturday || d.Weekday() == time.Sunday
			}) {
				continue
			}
			if want[who] == [2]int{} {
				want[who] = [2]int{s, s}
			}
			want[who] = [2]int{min(want[who][0], s), max(want[who][1], s)}
		}
	}
	rep := Examine(v.output(t), &v.in)
	for _, a := range rep.Attackers {
		if a.Attacker != attack.Label {
			continue
		}
		if len(a.Claims) != 40 || !a.Scored || a.Dating.Wrong > 0 {
			t.Errorf("%d claims, %+v", len(a.Claims), a.Dating)
		}
		for _, c := range a.Claims {
			if w := want[c.Subject]; c.Within != w[1]-w[0] {
				t.Errorf("%s: %d days remain, want %d, by %v", c.Subject, c.Within, w[1]-w[0], a.Fields)
			}
		}
	}
}
