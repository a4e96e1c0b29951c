package leak

import (
	"cmp"
	"strings"
	"sync"
	"testing"
	"unicode"

	"outbreath/schema"

	"pgregory.net/rapid"
)

// roster is invented; numbers are published samples or reserved ranges:
// 943 476 5919 and +44 20 7946 0018 (UK drama range), 900-12-3456 (never
// issued), 12345678Z (DNI sample), +1 202 555 0123 (reserved for fiction).
var roster = &schema.Roster{
	Columns: []string{"subject_id", "given_name", "family_name", "other_names", "sex", "birth_date", "mrn",
		"national_id", "phone", "email",
		"street", "city", "postal_code", "country", "emergency_contact_name", "emergency_contact_phone", "locker"},
	Rows: []map[string]string{
		{"subject_id": "LK-0107", "given_name": "Anne-Sophie", "family_name": "Grünwald",
			"other_names": "Sissy; Nadolny", "sex": "F", "birth_date": "1947-01-09",
			"mrn": "30417788", "national_id": "943 476 5919", "phone": "+44 20 7946 0018",
			"email": "as.gruenwald@example.org", "street": "17 Quarry Road",
			"city": "Ostermouth", "postal_code": "OX7 4QZ", "country": "GB",
			"emergency_contact_name": "Torvald Øvregård", "emergency_contact_phone": "0113 496 0123",
			"locker": "Blue Heron"},
		{"subject_id": "LK-0108", "given_name": "Will", "family_name": "May", "birth_date": "1988-09-21",
			"mrn": "QX 204 519", "national_id": "900-12-3456",
			"phone": "+1 202 555 0123", "email": "willmay88@example.com", "street": "Lindenstraße 4b",
			"city": "Reading", "postal_code": "04177"},
		{"subject_id": "LK-0109", "given_name": "Tuấn", "family_name": "Vũ", "other_names": "",
			"birth_date": "2001-12-03", "mrn": "55501234", "national_id": "12345678Z",
			"street": "Rua das Flores 12", "postal_code": "4106 ER",
			"emergency_contact_name": "Zofia van der Łęcka-O'Dell"},
		{"subject_id": "LK-0110", "given_name": "Дарья", "family_name": "Вересова", "mrn": "61000042"},
	},
}

var scan = sync.OnceValue(func() *Scanner { return New(roster) })

// In each text the part between « and » must be found, by a match that includes nothing
// else except adjacent punctuation or a title.
func TestFinds(t *testing.T) {
	for _, c := range []struct{ class, basis, text string }{
		// Names of the roster: our own spellings, common practice, no source.
		{"A", "roster: given_name", "Spoke to «Anne-Sophie» again"},
		{"A", "roster: given_name, family_name", "«Anne-Sophie Grünwald» arrived late"},
		{"A", "roster", "«GRUNWALD, Anne Sophie» arrived late"},
		{"A", "roster", "«Annesophie  Gruenwald» arrived"},
		{"A", "roster", "ask «anne\nsophie» first"},
		{"A", "roster: family_name", "«Grünwald»’s mask leaks"},
		{"A", "roster: family_name", "«Gru\u0308nwald» again"},
		{"A", "roster: family_name", "«Gr\u00ad\u200bünwald» again"},
		{"A", "roster: family_name", "«Ｇｒünwald» again"},
		{"A", "roster: family_name", "«Grün-\n  wald» again"},
		{"A", "roster: family_name", "Mrs «Grünwld» coughs"},
		{"A", "roster: family_name", "file grunwald_01.csv is «grunwald»"},
		{"A", "roster: other_names", "they call her «Sissy» here"},
		{"A", "roster: emergency_contact_name", "rang «Torvald Ovregard» at noon"},
		{"A", "roster", "rang «van der Lecka-ODell»"},
		{"A", "roster", "rang «Zofia Łęcka»"},
		{"A", "roster: family_name", "Mr «May» sat up"},
		{"A", "roster", "«May, Will» sat up"},
		{"A", "roster", "«W. May» sat up"},
		{"A", "roster", "MR «MAY» SAT UP"},
		{"A", "roster", "tube of «Vũ Tuấn» swapped"},
		{"A", "roster", "patient «Vu» swapped"},
		{"A", "roster", "приходила «ДАРЬЯ ВЕРЕСОВА» сегодня"},
		{"A", "roster", "Gave it to «Аnne-Sорhie»"}, // Cyrillic А, о, р
		// Numbers of the roster.
		{"H", "roster: mrn", "MRN «30417788» seen"},
		{"H", "roster: mrn", "file «30 41-77.88» seen"},
		{"H", "roster: mrn", "file «３０４１７７８８» seen"},
		{"H", "roster: mrn", "file «304177-\n88» seen"},
		{"H", "roster: mrn", "sticker «qx204519»."},
		{"H", "roster: mrn", "sticker «204519»."},
		{"R", "roster: subject_id", "see «LK0107» too"},
		{"R", "roster: subject_id", "see «lk 0107» too"},
		{"R", "roster: national_id", "number «9434765919»"}, // NHS number sample, standards 5.1
		{"G", "roster: national_id", "number «900 12 3456»"},
		{"R", "roster: national_id", "number «12.345.678-Z»"}, // DNI sample, python-stdnum
		{"D", "roster: phone", "ring «+44 (0)20 7946 0018» now"},
		{"D", "roster: phone", "ring «020 79460018» now"},
		{"D", "roster: phone", "ring «0044 20 7946 0018» now"},
		{"D", "roster: phone", "on «(202) 555-0123» now"},
		{"D", "roster: phone", "on «555-0123» now"},
		{"D", "roster: emergency_contact_phone", "on «+44 113 496 0123» now"},
		{"F", "roster: email", "to «AS.Gruenwald@Example.org», please"},
		{"F", "roster: email", "login «willmay88» again"},
		// Dates of birth.
		{"C", "roster: birth_date", "«1947-01-09»"},
		{"C", "roster: birth_date", "on «9.1.1947» and"},
		{"C", "roster: birth_date", "on «09/01/47» and"},
		{"C", "roster: birth_date", "on «01/09/1947» and"},
		{"C", "roster: birth_date", "on «9th of January, 1947» and"},
		{"C", "roster: birth_date", "on «Jan. 9th 1947» and"},
		{"C", "roster: birth_date", "am «9. Januar 1947» und"},
		{"C", "roster: birth_date", "le «9 janvier 1947» et"},
		{"C", "roster: birth_date", "el «9 de enero de 1947» y"},
		{"C", "roster: birth_date", "il «9 gennaio 1947» e"},
		{"C", "roster: birth_date", "op «21 september 1988» en"},
		{"C", "roster: birth_date", "on «09JAN1947» and"},
		{"C", "roster: birth_date", "on «19470109» and"},
		{"C", "roster: birth_date", "on «09011947» and"},
		// Places.
		{"B", "roster: street", "lives at «17 Quarry Rd»."},
		{"B", "roster: street", "near «Lindenstr. 4b»"},
		{"B", "roster: street", "near «rua das flores»"},
		{"B", "roster: postal_code", "of «OX74QZ»"},
		{"B", "roster: postal_code", "zip «04177»"},
		{"B", "roster: city", "bus from «Ostermouth»"},
		{"R", "roster: locker", "key of the «blue heron»"},
		// Digests, by sha256sum and md5sum of "30417788"; base64 by base64(1).
		{"H", "roster: mrn", "link «" + sha256Of30417788 + "»"},
		{"H", "roster: mrn", "link «MzA0MTc3ODg=»"},
		// Patterns; standards section 5 unless a line names another source.
		{"F", "pattern: e-mail", "to «joe.bloggs@example.com»."},        // JSON-Schema-Test-Suite
		{"F", "pattern: e-mail", "to «te~st@example.com»"},              // same
		{"F", "pattern: e-mail", "to «\"joe bloggs\"@example.com» now"}, // same
		{"F", "pattern: e-mail", "to «joe.bloggs@[127.0.0.1]» now"},     // same
		{"O", "pattern: IP address", "from «192.168.0.1» again"},        // same, format ipv4
		{"O", "pattern: IP address", "from «2001:DB8::AAAA» again"},     // RFC 5952
		{"O", "pattern: IP address", "from «::ffff:192.168.0.1»."},      // JSON-Schema-Test-Suite
		{"M", "pattern: MAC address", "from «00-00-5E-00-53-01» again"}, // RFC 9542 documentation block
		{"M", "pattern: MAC address", "from «00:00:5e:00:53:01» again"}, // same
		{"N", "pattern: URL", "see «https://records.example.org/p/4711»."},
		{"N", "pattern: URL", "see «www.example.org»."},
		{"N", "pattern: URL", "see «example.org/~heron»."},
		{"G", "pattern: social security number", "no. «987-65-4320»"}, // once reserved for advertisements, from memory
		{"R", "pattern: NHS number", "code «943 476 5870»"},           // standards 5.1
		{"J", "pattern: IBAN", "to «GB82 WEST 1234 5698 7654 32»"},    // ISO 13616 sample
		{"J", "pattern: IBAN", "to «BE31435411161155»"},               // python-stdnum
		{"D", "pattern: telephone number", "now «+442079460958»"},     // E.123 form, UK drama range
		{"D", "pattern: telephone number", "tel. «01632 960 001»"},    // same
		{"D", "pattern: telephone number", "on «(212) 555-0100»"},     // reserved for fiction
		{"E", "pattern: telephone number", "fax «01632 960 002»"},
		{"A", "pattern: title and name", "Dr «Ploskonka» agreed"},
		{"A", "pattern: relative and name", "his wife «Ottilie» waited"},
		{"A", "pattern: relative and name", "her sister-in-law «Ottilie de Vreese» waited"},
		{"A", "pattern: staff and name", "nurse «Ottilie» helped"},
		{"C", "pattern: age over 89", "aged «93», well"},
		{"C", "pattern: age over 89", "«93» y/o, well"},
		{"C", "pattern: age over 89", "a «104»-year-old"},
		{"C", "pattern: age over 89", "age «ninety-one»"},
		{"C", "pattern: date", "born «3 March 1951»"},
		{"C", "pattern: date", "seen again on «2026-03-12»"},
		{"L", "pattern: vehicle registration", "car «AB12 CDE» outside"}, // form of UK registrations, common practice
		{"J", "pattern: account number", "bank «12345678»"},
		{"I", "pattern: health-plan number", "insurer no «A123456780»"},
		{"R", "pattern: account name", "as «@heron_tales» online"},
	} {
		text := strings.NewReplacer("«", "", "»", "").Replace(c.text)
		start := strings.Index(c.text, "«")
		end := strings.Index(c.text, "»") - len("«")
		ms := scan().Scan(text, nil)
		checkMatches(t, text, ms)
		ok := false
		for _, m := range ms {
			ok = ok || m.Start == start && m.End == end && string(m.Class) == c.class &&
				strings.HasPrefix(m.Basis, c.basis)
		}
		if !ok {
			t.Errorf("%q: want %s %q %d-%d, have %+v", text, c.class, c.basis, start, end, ms)
		}
	}
}

// By printf %s 30417788 | sha256sum.
const sha256Of30417788 = "2022fc67cfcf1d919a8ed479e50ab6382a4cc7c567e0136b5027401a6d57c7df"

// What the trade writes every day and names nobody.
var harmless = []string{
	"", " ", "Complete, no remarks", "Flow 200 ml/min, end-tidal CO2 5.1 kPa at 14:32:10",
	"pump at 250 mL/min for 4:20 min",
	"pressure -12.5 Pa, leak 0.3 mbar, 21.5 °C and 45 % humidity", "firmware 2.8.8, app 6.7.11, build 1.7.7.6 loaded",
	"bootloader version 4.10.2.31",
	"error E-153, then 0xB3 and ERR 24", "lot 26833399 and lot 75-0939 in use", "tube 5353729064 recapped",
	"serial 2010076547 restarted",
	"EXH 4, cohort 2, repeat 2", "heart rate 76, saturation 97", "saturation is 97, stable",
	"humidity was 93 and rising", "aged tube bed replaced after 95 uses",
	"participant is 73, no complaints", "waited 90 min", "took salbutamol 400 ug at 08:15", "may need a longer hose",
	"will price a new hose", "Will try again in May",
	"May was warm; Will not repeat", "Reading on the gauge was low", "CO2 trace 12.345678 kPa", "SOP-027 section 3.4.1",
	"room 1.102, then B-08",
	"message digest " + strings.Repeat("0f", 32), "transfer id 1nBcuJpEyBtcxiHz",
	"consignment of 12 March 2026 complete", "calibrated 2026-01-15, expires 15/01/2027",
	"date on the unit was 2000-01-01", "delivered 3.3.26", "signal lost @14:33", "12:01:02 to 12:05:59", "ratio 1:2:3",
	"p.o. intake 250 ml", "i.e. nothing",
	"tag 752 013 8950 fell off", "order 9738 3302 0407 7899", "code 943 476 5871", "checked 3x, o.k.",
	"see section 3/4", "and/or", "approx.20/min", "t_s,co2_kpa,pressure_pa",
	"0.01,5.32,-12.5\n0.02,5.31,-12.4\n", "2 of 3 tubes; 1 left", "Mouthpiece size M/L", "nurse on duty helped",
	"doctor informed", "Dr informed", "patient will return", "PATIENT WILL RETURN IN MAY",
	// IBAN sample with mod 97 = 0, standards 5.7
	"his wife drove", "Sister ward informed", "position 7 of 10", "GB28NWBK60161331926819",
	"unit restarted at 09:15, 09:17 and 09:20", "1,100,000,000 bytes", "breath no. 3 at 00:01:25.5",
	"dead space 150 ml, tidal volume 0.5 l", "Tenax TA 200 mg", "fridge at 4 °C since Monday",
}

// remarks are what coordinators write, after the manner of the trade.
const remarks = `Nurse's station was noisy
Doctor's letter seen, no change
Partner waited outside, friend drove home
Mother of three, no time
Contact lenses removed before the run
Calls in the corridor, repeated at 14:30
Phone rang 3 times during exhalation 4
Mobile pump 500 ml, call 2 of 3
Bank holiday traffic, 45 min late
Insurance of the device checked
Patient ID card left in room
Patient Card missing
Participant Information Sheet version 3.2 handed out
Subject Number not on label
Car park full, started 20 min late
Van late, box at 7 degrees C
Zip tie on bag replaced
Post-run flush 2 min at 300 ml/min
Age of battery unknown, 95 cycles
Battery at 95, then 91 %
Filter is 99, replaced at 100
Pressure was 101, then 99
He is 1.93 m tall; BMI 24.2
Weight 92 kg, height 178 cm
Spirometry FEV1 2.91 l, FVC 3.60 l
SpO2 98 %, HR 64, BP 120/80
Nose clip size 2, cap 4/5
T 21.4 C, RH 43 %, p 1013.2 hPa
Tubes 1-4 sealed, 5-8 not
Position 3/4 swapped with 2/4
Serial no. SN 4471-2203-19 on the sampler
Barcode 0012345678905 unreadable
Session restarted at 10:42:07, ended 10:55
Started 9.30, stopped 10.05
Break from 11 to 12, then 3 more
Sample volume 500 mL at 250 mL/min, tube no. 4
Ventolin at 7, nothing since
Took Ibuprofen 400 mg and Paracetamol 1 g
Moved from Ward 7 to the Lab
Site visit by Monitor on Tuesday
Sponsor Monitor present
CO2 sensor drift 0.12 kPa, zeroed with N2
Log file log_20260312_1015.csv copied
Recording session-0012.edf stopped early
Error 0x80070005 on export, code 1603
Software v2.10.4.1200 updated
Firmware 1.2.3 to 1.2.4
Firmware 10.20.30.40 loaded
IP rating 67, hose ok
Exhalation 12/20 too short, 2.5 s
Mask leak at nose bridge; re-seated
Gave up after third try
Second tube from Box 12, Row B
Kit K-2291 opened, lot 44-B-902
CRM 5021 used as check
Leak rate 3.2e-4 mbar l/s
Hay fever today; sneezing
Read the instructions twice
Smell of Garlic and Mint
Fire alarm test at 10
Lunch at 12, sampling at 14
Follow-up in 6 weeks
Follow-up on Monday
Follow up in May, with Dr on duty
Sat upright, arms on rest
Interpreter present throughout
Interpreter needed next time
Daughter translated, fine
Son asked whether results will be sent
Husband in the room, quiet
Wife Very helpful
Sister Study protocol followed
Professor asked for a copy
Prof on leave
MS diagnosed in 2015
Ms requested a break
DR TUBE FAILED
Mask, hose and valve OK
Study LARK-2, site 07, shipment 07-0012
Cold room 4 C, freezer -20 C
At 100 ml/min for 5 min = 500 ml
Ambient blank 3 taken by window
Cylinder 15 L, 200 bar, zero air
Order 4500123456 pending
PO 4500-1234-56 pending
Ticket INC0012345 opened
Ref. 2026/0311-A
Timer 00:12:30, 00:12:45
See note 4.2.1 of the manual, p. 17
GPS off. Bluetooth off.
WiFi: Guest
Visit 2 of 4, arm B
Randomised to arm A on day 14
Cohort 2; visit 3; exhalations 12
Waiting time 1 h 20 min
Room Lisbon booked
Pump flow 199.8 200.1 200.3 199.9
O2 20.9, CO2 0.04, N2 78.1
Signal 1023 counts, offset 512
Ethanol wipe used; Acetone peak seen
Isoprene high, limonene after orange
Ward round interrupted; resumed 11:05
Used spare Mouthpiece from Cabinet 3`

func TestHarmless(t *testing.T) {
	for _, text := range append(strings.Split(remarks, "\n"), harmless...) {
		for _, m := range scan().Scan(text, nil) {
			t.Errorf("%q: %s (%s) at %d-%d", text, m.Basis, m.Confidence, m.Start, m.End)
		}
	}
}

// strangers hold identifiers that no roster knows.
const strangers = `Her neighbour, Mr. Okonkwo-Bell, drove
Signed by Thea Lindqvist
Seen by T. Lindqvist
Caretaker Ms Hollis-Wray let us in
Call back on 07700 900123
Rang 0117 496 0777 twice
fax: +1-202-555-0176
mail to ruth(at)example.org
ruth at example dot org
Social 987-65-4321
SSN 987654321
DOB 12/5/61
d.o.b. 5 May 61
Born 1961-05-12 in Leeds
admitted 3 Mar 2026
discharged on March 9th
he turned 91 in spring
a 92 year old
aged ninety two
just over a hundred years old
93yo male
patient aged 101
grandson Piet waits
Brother's name is Tomasz
friend called Ulla came
Medical record no 4471-9921
hospital no. 55-12-90-3
NHS 9434765919
passport 533380006
Plate: B-MX 4471
reg. no. LV72 OPA
Member ID W2233 44556
Policy number 88-4471-22
account no 20-44-71 33445566
card 4111 1111 1111 1111
driving licence MORGA753116SM9IJ
IP 203.0.113.9
mac 00-00-5e-00-53-9f
fe80::1ff:fe23:4567:890a
profile at facebook.example/ruth.k
instagram @ruth_k_81
lives in 4 Elm Row, Harrowgate
Flat 3, 22 Baker Lane
123 Main Street
GP is Dr. Said al-Masri
Dres. Kowal und Partner
Hr. Petersen ringte an
Frau Dr. Kowalski war da
Mme Lefebvre-Noir est venue
Sra. Ximena Obregón llamó
her carer (Blessing Adeyemi) helped
nurse practitioner Gail Thorne
Consultant anaesthetist Dr R. Pym
Trainee Lotte filled tube 3
WhatsApp 0049 151 23456789`

func TestFindsStrangers(t *testing.T) {
	s := New(nil)
	for _, text := range strings.Split(strangers, "\n") {
		ms := s.Scan(text, nil)
		checkMatches(t, text, ms)
		if len(ms) == 0 {
			t.Errorf("%q: nothing found", text)
		}
	}
}

// Numbers of a recording are not read together as one identifier, though their
// digits after one another are the MRN 30417788 or the phone 20 7946 0018.
// Another area code makes another number, even when its end is a subscriber's.
func TestOtherAreaCode(t *testing.T) {
	for _, c := range []struct {
		text   string
		roster bool
	}{
		{"ring 555 0123 at noon", true},
		{"ring (202) 555-0123", true},
		{"ring +1 202 555 0123", true},
		{"ring +1 646 555 0123", false},
		{"ring (646) 555-0123", false},
		{"ring +1-646-555-0123", false},
		{"ring ext. 646, 555 0123", true},
		{"ring 646-555-0123", false},
		{"ring 646.555.0123", false},
		{"ring 0646 555 0123", false},
		{"ring 202-555-0123", true},
		{"ring 0202 555 0123", true},
		{"ring 2 555 0123", true}, // perhaps not its area code: better one alarm more
	} {
		found := false
		for _, m := range scan().Scan(c.text, nil) {
			found = found || strings.HasPrefix(m.Basis, "roster: phone")
		}
		if found != c.roster {
			t.Errorf("%q: found as the roster's %v, want %v", c.text, found, c.roster)
		}
	}
}

func TestTables(t *testing.T) {
	for _, text := range []string{
		"30.41,77.88", "30.41;77.88", "30.41\t77.88", "30.41\n77.88", "30.41 77.88", "3041\n7788", "1.5,30.417788,2",
		"x,y\n30,41\n77,88\n", "1 3041 7788 2",
		"30417.7 88", "30 417.788", "1,204519,2", "204519\n204520\n", "1.5;79460018;2", "20.79,46.00\n18.0",
		"79.46 00.18", "30:41:77.88", "0.30417788",
	} {
		for _, m := range scan().Scan(text, nil) {
			t.Errorf("%q: %s (%s) at %d-%d", text, m.Basis, m.Confidence, m.Start, m.End)
		}
	}
	for _, text := range []string{"a,30417788,b", "1.5;30417788;2", "30417788\n", "x\t30417788\t2", "t_s,30-41-77-88",
		"file 3041\n7788", "3041,7788"} {
		if ms := scan().Scan(text, nil); len(ms) != 1 || ms[0].Basis != "roster: mrn" {
			t.Errorf("%q: %+v", text, ms)
		}
	}
}

// A declared code excuses patterns where it occurs as a whole. A declared name, several
// words, or a part of something longer excuse nothing.
func TestDeclared(t *testing.T) {
	for _, c := range []struct {
		text     string
		declared string
		left     int
	}{
		{"serial 01632-960001 checked, tel", "01632-960001", 0},
		{"call 01632-960001 and 30417788", "01632-960001", 1}, // the roster's
		{"call 01632-960001 and 30417788", "30417788", 2},
		{"call +44 1632 960001", "+44 1632 960001", 1},
		{"call 01632-9600014", "01632-960001", 1},
		{"Dr Ulla Brandt came", "Dr Ulla Brandt", 1},
		{"Dr Brandt came", "Brandt", 1},
		{"call 01632-960001", "", 1},
	} {
		if ms := scan().Scan(c.text, Declare(c.declared)); len(ms) != c.left {
			t.Errorf("%q with %q: %+v", c.text, c.declared, ms)
		}
	}
}

// A date of birth that its label touches.
func TestGluedDates(t *testing.T) {
	for _, text := range []string{"DOB1979-04-04", "F1979-04-04", "geb04041979", "dob19790404", "geb.04.04.1979",
		"M1979/04/04;", "born4Apr1979", "tube 2, F1979-04-04"} {
		if ms := New(nil).Scan(text, nil); len(ms) != 1 || ms[0].Class != "C" {
			t.Errorf("%q: %+v", text, ms)
		}
	}
	for _, text := range []string{"A04041979", "v2.10.4", "kPa12", "LOT2024-01-17", "SN19790404"} {
		if ms := New(nil).Scan(text, nil); len(ms) != 0 {
			t.Errorf("%q: %+v", text, ms)
		}
	}
}

func TestNoRoster(t *testing.T) {
	s := New(nil)
	if ms := s.Scan("Grünwald, joe.bloggs@example.com", nil); len(ms) != 1 || ms[0].Class != "F" {
		t.Errorf("%+v", ms)
	}
	if ms := New(&schema.Roster{}).Scan("Grünwald", nil); len(ms) != 0 {
		t.Errorf("%+v", ms)
	}
}

// A value of the roster with marks, invisible characters and changed case is found with
// exact offsets, and folds to the value.
func TestOffsets(t *testing.T) {
	values := []string{"Anne-Sophie Grünwald", "Torvald Øvregård", "30417788", "+44 20 7946 0018", "LK-0107",
		"as.gruenwald@example.org", "1947-01-09", "17 Quarry Road", "Vũ Tuấn"}
	before := []string{"", "søt ", "日本 ", "e\u0301 ", "ﬁt ", "\u200b", "½ ", "\xff ", "Ω、"}
	after := []string{"", " ß", "。", " \u0301", "\u200b.", " 🙂", "\n", "\xfe"}
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SampledFrom(values).Draw(t, "value")
		pre := rapid.SampledFrom(before).Draw(t, "before")
		post := rapid.SampledFrom(after).Draw(t, "after")
		var b strings.Builder
		for i, r := range v {
			if unicode.IsLetter(r) && rapid.Bool().Draw(t, "upper") {
				r = unicode.ToUpper(r)
			}
			if i > 0 && rapid.IntRange(0, 3).Draw(t, "invisible") == 0 {
				b.WriteString(rapid.SampledFrom([]string{"\u200b", "\u00ad", "\ufeff", "\u2060"}).Draw(t, "which"))
			}
			b.WriteRune(r)
			if unicode.IsLetter(r) && rapid.IntRange(0, 3).Draw(t, "mark") == 0 {
				b.WriteString(rapid.SampledFrom([]string{"\u0301", "\u0323\u0307"}).Draw(t, "marks"))
			}
		}
		text := pre + b.String() + post
		ms := scan().Scan(text, nil)
		for _, m := range ms {
			if m.Start < 0 || m.End > len(text) || m.Start >= m.End {
				t.Fatalf("%+v", m)
			}
			if m.Start == len(pre) && m.End == len(pre)+b.Len() {
				if !strings.Contains(squeeze(foldString(text[m.Start:m.End])), squeeze(foldString(v))) {
					t.Fatalf("%q is not %q folded", text[m.Start:m.End], v)
				}
				return
			}
		}
		t.Fatalf("%q in %q (%d-%d): %+v", v, text, len(pre), len(pre)+b.Len(), ms)
	})
}

// Every byte of a folded text stems from one whole character.
func TestFoldMap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		var f folded
		f.fold(text)
		for i := range f.b {
			s, e := f.span(i, i+1)
			if s >= e || e > len(text) || !border(text, s) || !border(text, e) || i > 0 && f.start != nil &&
				s < f.start[i-1] {
				t.Fatalf("byte %d of %q is %d-%d", i, text, s, e)
			}
			if got := foldString(text[s:e]); !strings.Contains(got, string(f.b[i:i+1])) {
				t.Fatalf("byte %d of %q folds to %q", i, text, got)
			}
		}
		if again := foldString(string(f.b)); again != string(f.b) {
			t.Fatalf("%q folds to %q, that to %q", text, f.b, again)
		}
	})
}

func TestFold(t *testing.T) {
	for in, want := range map[string]string{
		"Ångström": "angstrom", "Łódź": "lodz", "STRASSE Straße": "strasse strasse", "Ǆ": "dz", "ﬁne": "fine",
		"Ｂ０３": "b03", "İzmir ışık": "izmir isik",
		"Ørsted Đặng Ærø Þór œuf": "orsted dang aero thor oeuf", "O’Hara": "o'hara", "a\u00adb\u200bc\ufeff": "abc",
		"٣٠": "30", "１２：３０": "12:30", "Кemâl": "kemal", "Σίσυφος": "σiσyφoσ",
	} {
		if got := foldString(in); got != want {
			t.Errorf("%q folds to %q, not %q", in, got, want)
		}
	}
}

// A roster of anything builds, and finds every national id and MRN it holds.
func TestAnyRoster(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := &schema.Roster{Columns: roster.Columns}
		for range rapid.IntRange(1, 4).Draw(t, "rows") {
			row := map[string]string{}
			for _, c := range r.Columns {
				row[c] = rapid.OneOf(rapid.String(), rapid.StringMatching(`[A-Za-z0-9.@; -]{0,20}`)).Draw(t, c)
			}
			row["mrn"] = rapid.StringMatching(`[A-Z]{0,3}[0-9]{6,10}`).Draw(t, "number")
			r.Rows = append(r.Rows, row)
		}
		s := New(r)
		for _, row := range r.Rows {
			text := "file " + row["mrn"] + " and " + row["email"]
			ms := s.Scan(text, nil)
			checkMatches(t, text, ms)
			if len(ms) == 0 || ms[0].Start > 5 || ms[0].End < 5+len(row["mrn"]) {
				t.Fatalf("%q: %+v", text, ms)
			}
		}
	})
}

func FuzzScan(f *testing.F) {
	for _, s := range harmless {
		f.Add(s, "")
	}
	f.Add("Anne-\nSophie Grünwald, 30 41-77.88, +44 (0)20 7946 0018, MzA0MTc3ODg=", "30 41")
	f.Add("Gr=C3=BC=\nnwald Gr%C3%BCnwald Gr\\u00fcnwald Gr&#252;nwald 4772c3bc6e77616c64 DNI 54362315K VIN "+
		"1M8GDM9AXKP042788", "%")
	f.Add("\"@\"@[::1] 1::2: 00:00:5e:00:53:01 a1a1a1a1 \xff\u0301 Dr. Prof. X 9th of May 1947", "a")
	f.Fuzz(func(t *testing.T, text, declared string) {
		checkMatches(t, text, scan().Scan(text, Declare(declared)))
	})
}

func manyRows(n int) *schema.Roster {
	r := &schema.Roster{Columns: roster.Columns}
	syl := []string{"ba", "dor", "kle", "min", "rog", "sti", "tav", "ull", "wen", "zy", "qua", "fen", "hob", "jur",
		"lix", "nop"}
	word := func(k int) string {
		return strings.ToUpper(syl[k%16][:1]) + syl[k%16][1:] + syl[k/16%16] + syl[k/256%16]
	}
	num := func(k, n int) string {
		b := make([]byte, n)
		for i, x := 0, uint64(k)*2654435761+12345; i < n; i, x = i+1, x*6364136223846793005+1442695040888963407 {
			b[i] = byte('0' + x>>60%10)
		}
		return string(b)
	}
	for i := range n {
		r.Rows = append(r.Rows, map[string]string{
			"subject_id": "LK-" + num(i, 5), "given_name": word(i * 7), "family_name": word(i*13+5) + word(i)[:2],
			"birth_date": "19" + num(i, 1) + "5-0" + "3-1" + num(i+1, 1),
			"mrn":        num(i+2, 8), "national_id": num(i+3, 9) + "X", "phone": "+44 20 " + num(i+4, 8),
			"email":  strings.ToLower(word(i)) + num(i, 3) + "@example.org",
			"street": num(i, 2) + " " + word(i+9) + " Road", "city": word(i % 50), "postal_code": "LK" + num(i, 1) +
				" " + num(i+5, 1) + "QZ", "emergency_contact_name": word(i+3) + " " + word(i+4),
			"emergency_contact_phone": "+44 113 " + num(i+6, 7),
		})
	}
	return r
}

// Where every match is cut out and a word put in its place, as often as the cut
// brings new words together, nothing is left to be found but what was put in.
func TestCutOut(t *testing.T) {
	names := map[Class]string{"A": "name", "B": "address", "C": "date", "D": "telephone", "E": "fax", "F": "e-mail",
		"G": "number", "H": "number", "R": "identifier"}
	pieces := append(append(strings.Split(strangers, "\n"), strings.Split(remarks, "\n")...),
		"Anne-Sophie Grünwald", "30417788", "LK-0107", "9.1.1947", "Mr May", "+44 20 7946 0018", "17 Quarry Road",
		"as.gruenwald@example.org", "Gr=C3=BCnwald", "May", "Will", "born", "Dr")
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(rapid.SampledFrom(pieces), 1, 6).Draw(t, "pieces"),
			rapid.SampledFrom([]string{" ", ". ", "\n", ", "}).Draw(t, "between"))
		for round := 0; ; round++ {
			var b strings.Builder
			at := 0
			var put [][2]int
			for _, m := range scan().Scan(text, nil) {
				b.WriteString(text[at:m.Start])
				from := b.Len()
				b.WriteString("[removed: " + cmp.Or(names[m.Class], "other") + "]")
				put = append(put, [2]int{from, b.Len()})
				at = m.End
			}
			b.WriteString(text[at:])
			text = b.String()
			left := 0
			for _, m := range scan().Scan(text, nil) {
				inside := strings.Contains(text[m.Start:m.End], "[removed")
				for _, p := range put {
					inside = inside || m.Start < p[1] && p[0] < m.End
				}
				if inside {
					t.Fatalf("%+v finds the replacement of a match in %q", m, text)
				}
				left++
			}
			if left == 0 {
				return
			}
			if round == 3 {
				t.Fatalf("still %d matches in %q", left, text)
			}
		}
	})
}
