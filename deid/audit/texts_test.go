package audit

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"outbreath/deid/leak"
)

func listAt(t *testing.T, lists []TextList, where string) (list TextList, texts map[string]Text) {
	t.Helper()
	texts = map[string]Text{}
	for _, l := range lists {
		if l.Where == where {
			for _, x := range l.Texts {
				texts[x.Text+x.Withheld] = x
			}
			return l, texts
		}
	}
	t.Fatalf("no list of %s", where)
	return
}

// TestTextsToRead: each text is listed once with its count, the rarest first; a long list of
// codes shows a name among them; what was found in a text withholds it, unless a person
// decided to keep it.
func TestTextsToRead(t *testing.T) {
	v := invent(t)
	v.records[3]["notes"] = "The baker from the corner shop."
	v.records[5]["notes"] = "Seen again by Zofia Wąsik."
	v.records[7]["notes"] = "Asked Padraig O'Hallaghan."
	v.records[9]["notes"] = "An undecided text."
	v.records[11]["tubes"].([]any)[0].(map[string]any)["barcode"] = "BAKER-1"
	at := func(i int) string { return "sessions/" + v.records[i]["session_id"].(string) + ".json /notes" }
	v.in.Kept = map[string]bool{at(7): true}
	v.in.Open = map[string]leak.Class{at(9): "D"}
	o := v.output(t)
	if err := o.Add("discrepancies.csv", strings.NewReader("barcode,kind,reason\nT00007,missing,dropped by "+
		"the porter\n")); err != nil {
		t.Fatal(err)
	}
	lists := Examine(o, &v.in).ToRead
	list, notes := listAt(t, lists, "/notes")
	if list.Values != len(v.records) || !list.Free || list.Texts[0].Count != 1 ||
		list.Texts[len(list.Texts)-1].Count != len(v.records)-4 {
		t.Errorf("notes: %+v", list)
	}
	for want, file := range map[string]int{"The baker from the corner shop.": 3, "a name": 5,
		"Asked Padraig O'Hallaghan.": 7, "a telephone number": 9} {
		if x := notes[want]; x.Count != 1 || len(x.In) != 1 || x.In[0]+" /notes" != at(file) {
			t.Errorf("%q: %+v", want, x)
		}
	}
	if s := fmt.Sprintf("%+v", lists); strings.Contains(s, "Zofia") || strings.Contains(s, "undecided") {
		t.Error("a text with a finding is shown")
	}
	codes, barcodes := listAt(t, lists, "/tubes/*/barcode")
	if !codes.Forms || len(codes.Texts) != 2 || barcodes["T99999"].Count != len(v.records)-1 ||
		codes.Texts[0].Text != "BAKER-9" {
		t.Errorf("barcodes: %+v", codes)
	}
	if reasons, _ := listAt(t, lists, "discrepancies.csv, column reason"); !reasons.Free ||
		reasons.Texts[0].Text != "dropped by the porter" {
		t.Errorf("reasons: %+v", reasons)
	}
	for i := 1; i < len(lists); i++ {
		if !lists[i].Plan && len(lists[i].Texts) < len(lists[i-1].Texts) {
			t.Errorf("the list of %s comes after a longer one", lists[i].Where)
		}
	}
}

// TestFold: the kinds have the count of all issues, also of those that are not listed.
func TestFold(t *testing.T) {
	var is issues
	for i := range maxOfCode + 7 {
		is.add("risk.unique", false, fmt.Sprintf("subject %d", i), "alone", "judge")
	}
	is.add("date.unshifted", true, "a", "unchanged", "stop")
	is.add("date.unshifted", true, "a", "unchanged", "stop")
	kinds := Fold(is.done())
	if len(kinds) != 2 || kinds[0].Code != "date.unshifted" || kinds[0].Count != 2 || len(kinds[0].Where) != 1 ||
		kinds[1].Count != maxOfCode+7 || len(kinds[1].Where) != maxOfCode {
		t.Errorf("%d kinds, the first %+v", len(kinds), kinds[0])
	}
}

// TestNotTested: what was not run is listed, and a plan without marks has no figures.
func TestNotTested(t *testing.T) {
	v := invent(t)
	v.in.Roster = nil
	v.in.Fields = nil
	for _, f := range inventedFields {
		v.in.Fields = append(v.in.Fields, Field{f.Path, f.Treatment, ""})
	}
	var what []string
	for _, n := range Examine(v.output(t), &v.in).NotTested {
		what = append(what, n.What)
		if n.Why == "" {
			t.Errorf("%s: without a reason", n.What)
		}
	}
	list := strings.Join(what, "; ")
	for _, want := range []string{"linkage with the roster", "whether subjects can be told apart"} {
		if !strings.Contains(list, want) {
			t.Errorf("%q is not among what was not tested: %s", want, list)
		}
	}
}

// TestLinkageByGuessing: 40 subjects in four cells of ten have no sole fit, and guessing
// names one of each ten: 40 times one tenth.
func TestLinkageByGuessing(t *testing.T) {
	v := invent(t)
	for _, a := range Examine(v.output(t), &v.in).Attacks {
		if a.Name == "linkage with the roster" && (a.Tried != 40 || a.Succeeded != 0 || a.Chance != 4) {
			t.Errorf("%+v", a)
		}
	}
}

// TestTrueDates: a plan that keeps true dates is not broken by them; a birth date in a text
// is found all the same.
func TestTrueDates(t *testing.T) {
	for _, note := range []string{"", "Born 1985-02-02."} {
		v := invent(t)
		v.in.Fields = slices.Clone(inventedFields)
		for i := range v.in.Fields {
			if v.in.Fields[i].Path == "/subject/birth_date" {
				v.in.Fields[i].Treatment = "keep"
			}
		}
		for _, r := range v.records {
			r["subject"].(map[string]any)["birth_date"] = "1985-02-02"
			if note != "" {
				r["notes"] = note
			}
		}
		faults := 0
		for _, i := range Examine(v.output(t), &v.in).Issues {
			if i.Code == "leftover.C" {
				faults++
			}
		}
		if want := map[bool]int{true: len(v.records), false: 0}[note != ""]; faults != want {
			t.Errorf("with the note %q: %d faults, want %d", note, faults, want)
		}
	}
}
