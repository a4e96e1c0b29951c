package sessionlog

import (
	"math/big"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"outbreath/schema"
)

// drawRecord makes a valid record of any plan from its outline: every required field,
// others by chance.
func drawRecord(t *rapid.T, p *schema.Plan, n int) *schema.Node {
	values := map[string]*schema.Node{}
	var draw func(o *schema.Outline, pointer string)
	draw = func(o *schema.Outline, pointer string) {
		switch {
		case o.Leaf != nil:
			values[pointer] = drawLeaf(t, o.Leaf, pointer, n)
		case o.Items != nil:
			least := 0
			if o.Path == "/tubes" {
				least = 1
			}
			for i := range rapid.IntRange(least, 3).Draw(t, o.Path) {
				draw(o.Items, pointer+"/"+strconv.Itoa(i))
			}
		default:
			for _, m := range o.Members {
				if m.Required || rapid.Bool().Draw(t, pointer+"/"+m.Name) {
					draw(m, pointer+"/"+m.Name)
				}
			}
		}
	}
	draw(p.Outline(), "")
	values["/study"].Text, values["/site"].Text = study.Study, study.Site
	return p.Outline().Record(values)
}

var places = []string{"Europe/Berlin", "America/New_York", "Asia/Kathmandu", "Europe/London", "UTC"}

func drawLeaf(t *rapid.T, l *schema.Leaf, pointer string, n int) *schema.Node {
	text := func(s string) *schema.Node { return &schema.Node{Kind: schema.String, Text: s} }
	switch {
	case l.Path == "/session_id":
		return text("V-" + strconv.Itoa(n) + rapid.StringMatching(`[A-Za-z]{0,5}`).Draw(t, "id"))
	case l.Treatment.Kind == schema.Recording:
		return text("recordings/trace-" + strconv.Itoa(n) + strings.ReplaceAll(pointer, "/", "-") + ".csv")
	case l.Listed != nil:
		return text(rapid.SampledFrom(l.Listed).Draw(t, pointer))
	case l.Accepts("boolean"):
		return &schema.Node{Kind: schema.Bool, Text: strconv.FormatBool(rapid.Bool().Draw(t, pointer))}
	case l.Format == "date":
		return text(day{1970, 1, 1}.add(rapid.IntRange(-18000, 15000).Draw(t, pointer)).String())
	case l.Format == "date-time":
		at := time.Unix(rapid.Int64Range(1_000_000_000, 1_790_000_000).Draw(t, pointer), 0)
		if rapid.Bool().Draw(t, "ms") {
			at = at.Add(time.Duration(rapid.IntRange(1, 999).Draw(t, pointer)) * time.Millisecond)
		}
		zone, err := time.LoadLocation(rapid.SampledFrom(places).Draw(t, pointer))
		if err != nil {
			t.Fatal(err)
		}
		return text(at.In(zone).Format(time.RFC3339Nano))
	case l.Accepts("string") && len(l.Patterns) > 0:
		s := rapid.StringMatching(l.Patterns[0]).Filter(func(s string) bool {
			return (l.MaxLength == 0 || len(s) <= l.MaxLength) && !saysNothing(s) && !lostDigits.MatchString(s) &&
				!(allDigits.MatchString(s)) && clean(s) == s && matches(l, s)
		}).Draw(t, pointer)
		return text(s)
	case l.Accepts("string") && l.Treatment.Kind == schema.Text:
		s := rapid.StringOfN(rapid.RuneFrom([]rune("aZ0 .,;\"'\n\täß–’€漢😀=+-@<&>_xX\u00a0")), 0, 40, -1).Draw(t,
			pointer)
		s = prose(s)
		if s == "" && !strings.HasPrefix(pointer, "/interruptions") {
			s = "x" // an empty cell is no value
		}
		return text(s)
	case l.Accepts("string"):
		s := rapid.StringOfN(rapid.RuneFrom([]rune("aZ0123.- _/äЖ漢")), 1, 12, -1).Filter(func(s string) bool {
			_, err := schema.Canonical(s)
			return err == nil && clean(s) == s && !saysNothing(s) && !lostDigits.MatchString(s) &&
				!allDigits.MatchString(s) && lookAlike(s) == ""
		}).Draw(t, pointer)
		return text(s)
	}
	return drawNumber(t, l, pointer)
}

func drawNumber(t *rapid.T, l *schema.Leaf, pointer string) *schema.Node {
	places := 0
	if l.Accepts("number") {
		places = rapid.IntRange(0, 3).Draw(t, pointer)
	}
	scale := new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(places)), nil))
	edge := func(s string, otherwise int64) int64 {
		v := big.NewRat(otherwise, 1)
		if s != "" {
			v.SetString(s)
		}
		v.Mul(v, scale)
		f, _ := v.Float64()
		return int64(f)
	}
	n := rapid.Int64Range(edge(l.Minimum, -1000)+1, edge(l.Maximum, 1000)).Draw(t, pointer)
	v := new(big.Rat).SetInt64(n)
	return &schema.Node{Kind: schema.Number, Text: plainDecimal(v.Quo(v, scale).FloatString(places))}
}

// TestRecordsThroughTheWorkbook is the law of this package: whatever valid records are
// written into the workbook, reading it gives the same records, byte for byte, or a named
// doubt, and never other values. Free texts are without white space around them.
func TestRecordsThroughTheWorkbook(t *testing.T) {
	for _, name := range []string{"shifted", "own"} {
		t.Run(name, func(t *testing.T) {
			p := shifted(t)
			if name == "own" {
				p = ownPlan(t)
			}
			in := inputs(t)
			in.Plan, in.Zone, in.Today = p, "", time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
			same, doubted := 0, 0
			rapid.Check(t, func(rt *rapid.T) {
				var records []*schema.Node
				want := ""
				for i := range rapid.IntRange(1, 4).Draw(rt, "records") {
					n := drawRecord(rt, p, i)
					if problems := p.Validate("r", n); len(problems) > 0 {
						rt.Fatalf("the generator made no valid record: %+v\n%s", problems, n.Encode())
					}
					records = append(records, n)
					want += string(n.Encode())
				}
				r := Read(workbook(t, BookOf(p, study, records, nil)), in, nil)
				if len(r.Doubts) > 0 {
					doubted++
					return
				}
				if got := bytesOf(p, r); got != want || len(r.Problems) > 0 {
					rt.Fatalf("%s\ngot  %s\nwant %s", told(r), got, want)
				}
				same++
			})
			if same < 10 || doubted > same/10 {
				t.Errorf("%d logs gave the same records, %d a doubt", same, doubted)
			}
			t.Logf("%d logs gave the same records, %d a doubt", same, doubted)
		})
	}
}

// ownPlan is a study's own: another order, objects in entries of a list, lists of single
// values, and alternatives.
func ownPlan(t testing.TB) *schema.Plan {
	t.Helper()
	p, err := schema.ParsePlan("own.json", []byte(ownSchema))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

const ownSchema = `{"type":"object","additionalProperties":false,
"required":["study","site","session_id","subject","started_at","ended_at","tubes","recordings"],
"properties":{
 "tubes":{"type":"array","minItems":1,"items":{"type":"object","additionalProperties":false,
  "required":["barcode"],"properties":{
   "flow":{"type":"object","additionalProperties":false,"required":["start_ml_min"],"properties":{
     "start_ml_min":{"type":"number","minimum":0,"maximum":1000,"deid":"keep"},
     "end_ml_min":{"type":"number","minimum":0,"maximum":1000,"deid":"keep"}}},
   "barcode":{"type":"string","pattern":"^[A-Z]{2}[0-9]{4}$","deid":"keep"},
   "leak":{"type":"boolean","deid":"keep"}}}},
 "study":{"type":"string","deid":"keep"},"site":{"type":"string","deid":"keep"},
 "session_id":{"type":"string","minLength":1,"maxLength":64,"deid":{"pseudonym":"session"}},
 "subject":{"type":"object","additionalProperties":false,"required":["subject_id"],"properties":{
   "subject_id":{"type":"string","minLength":1,"maxLength":64,"deid":{"pseudonym":"subject"}},
   "medication":{"type":"array","items":{"type":"string","pattern":"^[a-z]{3,12}$","deid":"keep"}},
   "fasting_h":{"type":"integer","minimum":0,"maximum":48,"deid":"keep"}}},
 "started_at":{"type":"string","format":"date-time","deid":"shift"},
 "ended_at":{"type":"string","format":"date-time","deid":"shift"},
 "recordings":{"type":"array","items":{"type":"object","additionalProperties":false,"required":["file","format"],
  "properties":{"file":{"type":"string","deid":"recording"},
   "format":{"type":"string","enum":["csv","edf"],"deid":"keep"}}}}}}`
