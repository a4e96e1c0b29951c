package demo

import (
	"fmt"
	"time"
)

// record is a session record of the default schema, members in the order of that schema.
type record struct {
	SessionID     string         `json:"session_id"`
	Study         string         `json:"study"`
	Site          string         `json:"site"`
	Operator      string         `json:"operator"`
	Subject       subject        `json:"subject"`
	StartedAt     string         `json:"started_at"`
	EndedAt       string         `json:"ended_at"`
	Outcome       string         `json:"outcome"`
	Fraction      string         `json:"fraction"`
	Kit           *kit           `json:"kit,omitempty"`
	Sampler       sampler        `json:"sampler"`
	Tubes         []tube         `json:"tubes"`
	Recordings    []recordingRef `json:"recordings"`
	Interruptions []interruption `json:"interruptions,omitempty"`
	Notes         string         `json:"notes,omitempty"`
}

type subject struct {
	SubjectID     string  `json:"subject_id"`
	BirthDate     string  `json:"birth_date"`
	Sex           string  `json:"sex"`
	PostalCode    string  `json:"postal_code,omitempty"`
	SmokingStatus string  `json:"smoking_status,omitempty"`
	HeightCM      int     `json:"height_cm,omitempty"`
	WeightKG      float64 `json:"weight_kg,omitempty"`
}

type kit struct {
	Lot  string `json:"lot"`
	Unit string `json:"unit"`
}

type sampler struct {
	Serial   string         `json:"serial"`
	Firmware string         `json:"firmware,omitempty"`
	Checks   []samplerCheck `json:"checks,omitempty"`
}

type samplerCheck struct {
	Name   string `json:"name"`
	Passed bool   `json:"passed"`
}

type tube struct {
	Barcode    string `json:"barcode"`
	Position   string `json:"position"`
	UncappedAt string `json:"uncapped_at"`
	CappedAt   string `json:"capped_at"`
	VolumeML   int    `json:"volume_ml"`
	Storage    string `json:"storage"`
}

type recordingRef struct {
	File    string `json:"file"`
	Format  string `json:"format"`
	Content string `json:"content"`
}

type interruption struct {
	At    string `json:"at"`
	Cause string `json:"cause"`
	Note  string `json:"note"`
}

// zone is the site's fixed offset; its clocks do not change in an invented week.
var zone = time.FixedZone("", -5*60*60)

var operators = []string{"op-kestrel", "op-teal", "op-plover"}

const content = "CO2 and mouth pressure"

// What is special about a session, by its number from 0.
func coughs(i int) bool  { return i%18 == 6 }
func maskOff(i int) bool { return i%18 == 11 }

func edfSession(o Options) int { return min(3, o.Sessions-1) }

// rowOf returns the roster row of session i: first everybody once, then a few return.
func rowOf(o Options, i int) int {
	if i < o.Subjects {
		return i
	}
	if k := i - o.Subjects; k < 4 {
		return []int{2, 5, 9, 2}[k] % o.Subjects
	}
	return i * 7 % o.Subjects
}

// startOf puts four sessions into a working day, or 24 when there are many.
func startOf(o Options, i int) time.Time {
	perDay, every := 4, 110*time.Minute
	if o.Sessions > 60 {
		perDay, every = 24, 20*time.Minute
	}
	y, m, d := o.Start.Date()
	day := time.Date(y, m, d, 8, 20, 0, 0, zone)
	for n := i / perDay; ; day = day.AddDate(0, 0, 1) {
		if wd := day.Weekday(); wd == time.Saturday || wd == time.Sunday {
			continue
		}
		if n == 0 {
			break
		}
		n--
	}
	late := time.Duration(rng(o.Seed, "late", i).IntN(300)) * time.Second
	return day.Add(time.Duration(i%perDay)*every + late)
}

// invent makes session i: the record, and what is true of it.
func invent(o Options, t *Truth, i int) (Session, record) {
	r := rng(o.Seed, "session", i)
	row := rowOf(o, i)
	person := t.Roster[row]
	start := startOf(o, i)
	at := func(s int) string { return start.Add(time.Duration(s) * time.Second).Format(time.RFC3339) }

	seconds := o.RecordingSeconds
	if seconds == 0 {
		seconds = 360 + r.IntN(181)
	}
	// The sampler runs for the recording, a little before and a little after.
	ended := max(seconds, 360) + 12 + r.IntN(8)

	s := Session{
		File:     fmt.Sprintf("sessions/%04d.json", i+1),
		ID:       fmt.Sprintf("WEIR-V%04d", i+1),
		Row:      row,
		Operator: operators[i%len(operators)],
		Started:  start,
		Notes:    noteFor(i),
		Sampler:  []string{"SMP-207", "SMP-211"}[i%2],
	}
	body := rng(o.Seed, "body", row)
	rec := record{
		SessionID: s.ID, Study: Study, Site: Site, Operator: s.Operator,
		Subject: subject{
			SubjectID: person["subject_id"], BirthDate: person["birth_date"], Sex: person["sex"],
			PostalCode:    person["postal_code"],
			SmokingStatus: []string{"never", "never", "former", "current"}[body.IntN(4)],
			HeightCM:      154 + body.IntN(36),
			WeightKG:      float64(520+body.IntN(420)) / 10,
		},
		StartedAt: at(0), EndedAt: at(ended), Outcome: "complete", Fraction: "end-tidal",
		Kit: &kit{Lot: "L2611", Unit: fmt.Sprintf("K-%04d", i+1)},
		Sampler: sampler{
			Serial: s.Sampler, Firmware: "3.2.1",
			Checks: []samplerCheck{{"leak-test", true}, {"flow", true}},
		},
		Notes: s.Notes,
	}
	if i%9 == 8 {
		rec.Kit.Lot = "L2612"
	}
	if i%5 == 4 {
		rec.Fraction = "mixed-expiratory"
	}
	if coughs(i) {
		rec.Outcome = "stopped"
		rec.Interruptions = []interruption{{at(coughSecond + 1), "cough", "pt coughed x3, paused 20 s"}}
	}
	if maskOff(i) {
		rec.Interruptions = []interruption{{at(maskSecond), "mask", "mask off to drink, refitted"}}
	}
	for k, pos := range []string{"A", "B"} {
		open := 60 + k*160 + r.IntN(12)
		volume := 500
		if coughs(i) && k == 1 {
			volume = 430
		}
		b := fmt.Sprintf("LK07-%04d-%s", i+1, pos)
		s.Tubes = append(s.Tubes, b)
		rec.Tubes = append(rec.Tubes, tube{b, pos, at(open), at(open + 82 + r.IntN(30)), volume, "refrigerated"})
	}
	add := func(ext string) {
		f := fmt.Sprintf("recordings/trace-%04d.%s", i+1, ext)
		s.Recordings = append(s.Recordings, Recording{File: f, Format: ext, Seconds: seconds, Hz: o.SampleHz})
		rec.Recordings = append(rec.Recordings, recordingRef{f, ext, content})
	}
	add("csv")
	if !o.NoEDF && i == edfSession(o) {
		add("edf")
	}
	return s, rec
}
