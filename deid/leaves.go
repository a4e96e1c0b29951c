package deid

import (
	"strings"

	"outbreath/schema"
	"outbreath/schema/edf"
)

// Leaves is a part of what leaves beside the fields of the records, and its treatment.
type Leaves struct {
	Where     string   `json:"where"`     // a file below data/, or "bag", "archive", "label"
	What      []string `json:"what"`      // columns, header fields, or JSON leaves such as "fields/*/path"
	Treatment string   `json:"treatment"` // one sentence
}

// Leaving lists everything that leaves under plan beside the fields of the records: every column,
// header field, list, tag and name. Nothing that is not listed here, or is a field of the plan,
// may leave; a test of package main walks a sealed shipment and compares.
func Leaving(plan *schema.Plan) []Leaves {
	list := []Leaves{
		{"names", []string{"sessions/*.json", "recordings/*.csv", "recordings/*.edf"},
			"The session's pseudonym; a recording also has its number in the record. The site's own names " +
				"do not leave."},
	}
	list = append(list, csvLeaves(plan)...)
	list = append(list, edfLeaves(plan)...)
	return append(list, listLeaves()...)
}

// csvLeaves lists what leaves in a CSV recording.
func csvLeaves(plan *schema.Plan) []Leaves {
	var times, values []string
	for _, c := range plan.Columns() {
		if c.Rising {
			times = append(times, c.Name)
		} else {
			values = append(values, c.Name)
		}
	}
	list := []Leaves{{"recordings/*.csv", []string{"header row"},
		"The columns of the plan, and no other text."}}
	if len(times) > 0 {
		list = append(list, Leaves{"recordings/*.csv", times, "As recorded. An axis that begins after 600 s may be " +
			"the clock time; it is moved to begin at 0, and treatment.json counts those."})
	}
	if len(values) > 0 {
		list = append(list, Leaves{"recordings/*.csv", values, "The samples, byte for byte: numbers in the range of " +
			"the column, with at most nine digits."})
	}
	return list
}

// edfLeaves lists what leaves in an EDF recording: every field of its header, the annotations and
// the samples.
func edfLeaves(plan *schema.Plan) []Leaves {
	const where = "recordings/*.edf"
	date, clock := "01.01.85, which means an unknown day.", "00.00.00."
	day := "X, which means an unknown day"
	if f, ok := plan.Field("/started_at"); ok && (f.Treatment.Kind == schema.Shift || f.Treatment.Kind == schema.Keep) {
		date, day, clock = "The true day.", "the true day", "The local time of day as recorded."
		if f.Treatment.Kind == schema.Shift {
			date, day = "Moved by the subject's days.", "the moved day"
		}
		switch f.Treatment.Clock {
		case schema.ClockHour:
			clock = "The local hour."
		case schema.ClockDrop:
			clock = "00.00.00."
		}
	}
	texts := "None leaves: only the times of the data records are left."
	if f, ok := plan.Field("/recordings/*/content"); ok &&
		(f.Treatment.Kind == schema.Text || f.Treatment.Kind == schema.Keep) {
		texts = "Searched for identifiers like notes, which are taken out; the times as recorded."
	}
	special := map[string]string{
		"patient identification":   "The subject's pseudonym, and X for the rest.",
		"recording identification": "Startdate, " + day + ", and X for the rest.",
		"start date":               date,
		"start time":               clock,
		"reserved field":           "Of the file, EDF+C or EDF+D; of a signal, nothing.",
	}
	technical := "Kept if every word is in the list of technical words of the program, numbers only with a unit or " +
		"of one or two digits; otherwise emptied, and a label becomes \"signal 1\"."
	for _, name := range []string{"label", "transducer type", "physical dimension", "prefiltering"} {
		special[name] = technical
	}
	const numbers = "As recorded: the number that the format asks for, with at most seven digits."
	var list []Leaves
	at := map[string]int{}
	file, signal := edf.FieldNames()
	for i, name := range append(file, signal...) {
		treatment, ok := special[name]
		if !ok {
			treatment = numbers
		}
		what := "header: " + name
		if i >= len(file) {
			what = "header of a signal: " + name
		}
		if k, ok := at[treatment]; ok {
			list[k].What = append(list[k].What, what)
			continue
		}
		at[treatment] = len(list)
		list = append(list, Leaves{where, []string{what}, treatment})
	}
	return append(list, Leaves{where, []string{"annotations"}, texts},
		Leaves{where, []string{"samples"}, "Byte for byte."})
}

// listLeaves lists what leaves in the lists of a bag, around it, and on the outside.
func listLeaves() []Leaves {
	split := strings.Fields
	return []Leaves{
		{SummaryName, split("format note recordings/*/file recordings/*/session recordings/*/seconds " +
			"recordings/*/samples recordings/*/dropped recordings/*/breaths recordings/*/per_minute " +
			"recordings/*/end_tidal_kpa recordings/*/mask_off_share recordings/*/longest_gap_s recordings/*/flat " +
			"recordings/*/hint"), "Figures of the samples that leave, by the names that leave."},
		{"tubes.csv", tubeColumns, "What leaves of these fields in the records; the session's pseudonym."},
		{HandlingName, split("barcode analyse"), "\"first\" for tubes kept at ambient temperature or from sessions " +
			"older than half of holding_days, no date."},
		{DiscrepanciesName, split("barcode kind reason"), "Tubes on which box and records disagree; the packer's " +
			"reason, which is refused if the search finds anything in it."},
		{"session.schema.json", split("schema"), "The fields of this plan with the forms of what leaves, without " +
			"reasons; titles and descriptions only of a built-in plan."},
		{"treatment.json", split("format study site plan program key_id cautions/*"), "Codes of study and site, the " +
			"plan, the program, a name of the key that does not reveal it, and fixed sentences."},
		{"treatment.json", split("fields/*/path fields/*/treatment fields/*/risk fields/*/why fields/*/values"),
			"This table, with the number of values."},
		{"treatment.json", split("texts/searched texts/findings texts/redacted texts/certain texts/kept " +
			"recordings/csv recordings/edf recordings/axes_moved"), "Counts."},
		{"treatment.json", split("settled/*/file settled/*/pointer settled/*/class settled/*/start settled/*/end " +
			"removed/*/file removed/*/pointer removed/*/start removed/*/end"), "Where a finding was kept, moved or " +
			"taken out, by the names that leave; not what it was."},
		{"bag", split("bagit.txt bag-info.txt manifest-sha256.txt tagmanifest-sha256.txt tagmanifest-sha256.txt.sig"),
			"The shipment's number, the count and bytes of the files, their digests, and the site's " +
				"signature; no date."},
		{"archive", split("name mode uid gid size mtime chksum typeflag magic version devmajor devminor"),
			"Header fields of the archive: the names above and the sizes; all others are the same for every file."},
		{"label", split("shipment.json READ-ME-FIRST.txt SHA256SUMS SHA256SUMS.sig *.tar.zst.age* *.repair"),
			"Outside the encryption: number, study, site, the day of sealing, counts, sizes and program, the " +
				"contact of " +
				"study.json, digests and signature."},
	}
}

// KnownAnyway is what a laboratory that holds the box knows whatever the plan does.
func KnownAnyway(plan *schema.Plan) []string {
	list := []string{
		"the barcodes, which are printed on the tubes: used in order, they give away the order of the sessions and " +
			"with it the days; hand out tubes at random from the box; of the built-in plans only year-only holds " +
			"against it, and whoever has the appointment book links all sessions under each plan",
		"the day on which the box arrived, and the day of sealing on the label: the sessions were before it, and not " +
			"longer than tubes may be held",
		"whatever else is in or on the box: a kit's own number, a slip, a carrier's label",
		"site and study, and so the place and its time zone",
	}
	if f, ok := plan.Field("/started_at"); ok && f.Treatment.Kind == schema.Shift {
		list = append(list, "from these together, about when a session was: the shift protects dates from those who "+
			"have only the data")
	}
	return list
}
