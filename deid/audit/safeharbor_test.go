package audit

import (
	"strings"
	"testing"

	"outbreath/deid"
)

// TestClassOfName has the class of every column that a list of subjects may have, and of
// fields of records. Source: 45 CFR 164.514(b)(2)(i); a drug is nobody, and a number of an
// insurance is a "health plan beneficiary number" (I), a licence a "certificate/license
// number" (K).
func TestClassOfName(t *testing.T) {
	for path, want := range map[string]string{
		"/medications/*/name": "", "/subject/drug_name": "", "/sampler/checks/*/name": "", "file_name": "",
		"/subject/name": "A", "/subject/maiden_name": "A", "surname": "A", "mother_name": "A", "physician_name": "A",
		"insurance_number": "I", "Insurance-No": "I", "health_plan_id": "I", "medicare_number": "I",
		"/subject/insurance_id": "I", "driving_licence": "K", "driver_license_number": "K", "certificate_no": "K",
		"license_plate": "L", "implant_serial": "M", "bank_account": "J", "fax": "E", "mobile_phone": "D",
		"e_mail": "F", "date_of_death": "C", "zip": "B", "home_url": "N", "ip": "O", "photo": "Q",
		"/subject/smoking_status": "", "/tubes/*/barcode": "R", "/study": "", "/sampler/firmware": "", "study_id": "R",
		"nationality": "", "/recordings/*/file": "", "hospital_number": "H", "/tubes/*/capped_at": "C",
	} {
		if got := classOfName(path); got != want {
			t.Errorf("%s is of class %q, want %q", path, got, want)
		}
	}
	// The project's own columns, and one that says nothing.
	for column, want := range map[string]string{"given_name": "A", "mrn": "H", "national_id": "G", "street": "B",
		"birth_date": "C", "phone": "D", "emergency_contact_phone": "D", "emergency_contact_name": "A", "sex": "none",
		"country": "none", "city": "B", "postal_code": "B", "insurance_no": "I", "remark": ""} {
		if got := classOfColumn(column); got != want {
			t.Errorf("the column %s is of class %q, want %q", column, got, want)
		}
	}
}

func classFacts(plan, dates string) *Facts {
	return &Facts{
		Ledger: &deid.Ledger{Plan: plan, Fields: []deid.FieldLedger{
			{Path: "/subject/postal_code", Treatment: "keep", Values: 3},
			{Path: "/medications/*/name", Treatment: "keep", Values: 3},
			{Path: "/started_at", Treatment: dates, Values: 3},
			{Path: "/tubes/*/barcode", Treatment: "keep", Values: 3},
		}},
		Roster: []string{"subject_id", "family_name", "insurance_no", "driving_licence", "street", "city", "ward"},
	}
}

// TestSixteen: a limited data set is judged by the sixteen classes of its own rule. Towns,
// ZIP codes, dates and other codes are none of them.
//
// Source: 45 CFR 164.514(e)(2)(i) to (xvi), from memory.
func TestSixteen(t *testing.T) {
	f := classFacts("limited", "keep")
	if !f.Limited() || !classFacts("own.schema.json", "keep").Limited() || classFacts("shifted", "shift").Limited() {
		t.Error("true dates do not decide which rule applies")
	}
	var numbers []string
	by := map[string]Class{}
	for _, c := range Sixteen(f) {
		numbers = append(numbers, c.Class)
		by[c.Class] = c
		if c.Name == "" || c.Evidence == "" {
			t.Errorf("class %s: %+v", c.Class, c)
		}
	}
	if got := strings.Join(numbers, " "); got != "i ii iii iv v vi vii viii ix x xi xii xiii xiv xv xvi" {
		t.Errorf("classes %s", got)
	}
	for class, want := range map[string]string{"i": Removed, "ii": Removed, "viii": Removed, "x": Removed,
		"iii": Absent} {
		if by[class].Status != want {
			t.Errorf("class %s is %s, want %s: %s", class, by[class].Status, want, by[class].Evidence)
		}
	}
	if got := by["ii"].Evidence; !strings.Contains(got, "street") || strings.Contains(got, "city") ||
		strings.Contains(got, "postal") {
		t.Errorf("addresses: %s", got)
	}
	route := strings.Join(RouteOf(f, Sixteen(f)).NotSafeHarbor, "\n")
	if !strings.Contains(route, "true dates leave") {
		t.Errorf("the route says %s", route)
	}
}

// TestEighteen: what the roster's columns and the fields are is told under their classes.
func TestEighteen(t *testing.T) {
	by := map[string]Class{}
	for _, c := range Eighteen(classFacts("shifted", "shift")) {
		by[c.Class] = c
	}
	if len(by) != 18 {
		t.Fatalf("%d classes", len(by))
	}
	for class, want := range map[string]string{"A": Removed, "B": Retained, "C": Transformed, "I": Removed,
		"K": Removed, "R": Retained, "L": Absent} {
		if by[class].Status != want {
			t.Errorf("class %s is %s, want %s: %s", class, by[class].Status, want, by[class].Evidence)
		}
	}
	for class, want := range map[string]string{"I": "insurance_no", "K": "driving_licence", "R": "ward",
		"A": "family_name"} {
		if !strings.Contains(by[class].Evidence, want) {
			t.Errorf("class %s does not name %s: %s", class, want, by[class].Evidence)
		}
	}
	if strings.Contains(by["A"].Evidence, "medications") {
		t.Error("a drug is called a name of somebody")
	}
}
