package main

import (
	"slices"
	"strings"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// Entries of custody.jsonl that are about subjects, by pseudonym.
const (
	contentsEntry = "contents"  // further subjects of a shipment that is about to be sealed
	withdrawEntry = "withdrawn" // consent was withdrawn
	traceEntry    = "traced"    // a pseudonym was led back to its subject
	linkageEntry  = "linkage"   // the laboratory got a list of old and new pseudonyms
)

// contentsPerEntry keeps an entry below the longest line of the log.
const contentsPerEntry = 2000

// logContents notes in e, the entry that says that a shipment is about to get its
// name, whose data it holds, by pseudonym, so that a withdrawal can name the
// shipments. What does not fit goes into entries before it.
func logContents(j *custody.Journal, e *custody.Entry, keyID string, subjects []string) error {
	for ; len(subjects) > contentsPerEntry; subjects = subjects[contentsPerEntry:] {
		more := custody.Entry{When: e.When, Who: e.Who, What: contentsEntry, Why: "further subjects in " + e.Shipment}
		more.Facts = map[string]string{"shipment": e.Shipment, "key_id": keyID, "subjects": strings.Join(subjects[:contentsPerEntry], " ")}
		if err := j.Append(more); err != nil {
			return err
		}
	}
	e.Facts["key_id"], e.Facts["subjects"] = keyID, strings.Join(subjects, " ")
	return nil
}

// withdrawnIn returns the pseudonyms whose subjects have withdrawn.
func withdrawnIn(j *custody.Journal) map[string]bool {
	out := map[string]bool{}
	for _, e := range j.Entries {
		if e.What == withdrawEntry {
			for _, p := range strings.Fields(e.Facts["pseudonyms"]) {
				out[p] = true
			}
		}
	}
	return out
}

// shipmentsWith returns the shipments that hold data under one of the
// pseudonyms, and those sealed before it was noted whose data they hold.
func shipmentsWith(j *custody.Journal, pseudonyms []string) (holding, unknown []string) {
	noted, with := map[string]bool{}, map[string]bool{}
	for _, e := range j.Entries {
		list, ok := e.Facts["subjects"]
		if !ok {
			continue
		}
		shipment := e.Shipment
		if e.What == contentsEntry {
			shipment = e.Facts["shipment"]
		}
		noted[shipment] = true
		for _, p := range strings.Fields(list) {
			if slices.Contains(pseudonyms, p) {
				with[shipment] = true
			}
		}
	}
	for _, e := range j.Entries {
		if _, sealed := j.Of(e.Shipment, custody.Sealed); !sealed || slices.Contains(holding, e.Shipment) || slices.Contains(unknown, e.Shipment) {
			continue
		}
		switch {
		case with[e.Shipment]:
			holding = append(holding, e.Shipment)
		case !noted[e.Shipment]:
			unknown = append(unknown, e.Shipment)
		}
	}
	return holding, unknown
}

// leaveOutWithdrawn takes the records of subjects who have withdrawn out of what
// is sealed, and returns the barcodes of their tubes. It says how many records,
// never whose.
func leaveOutWithdrawn(u *ui, col *schema.Collection, f *keys.Folder, j *custody.Journal) (tubes map[string]bool, err error) {
	withdrawn := withdrawnIn(j)
	if len(withdrawn) == 0 {
		return nil, nil
	}
	all, err := f.Generations()
	if err != nil {
		return nil, err
	}
	gone := deid.LeaveOut(deid.Generations(all, col.Study.Study), col, withdrawn)
	if len(gone) == 0 {
		return nil, nil
	}
	u.say("remark: consent was withdrawn for %s; nothing of it is sealed: take its tubes out of the box", count(len(gone), "record"))
	if len(col.Sessions) == 0 {
		return nil, usagef("there is nothing to seal", "every record of this collection is of a subject who has withdrawn")
	}
	tubes = map[string]bool{}
	for _, s := range gone {
		if list := s.Doc().Member("tubes"); list != nil {
			for _, t := range list.Items {
				if b := t.Member("barcode"); b != nil {
					tubes[b.Text] = true
				}
			}
		}
	}
	return tubes, nil
}

// officerEntry is the entry of a privacy officer's act. The reason must not name
// anybody: it stays in the log for good.
func officerEntry(col *schema.Collection, by, reason, what string) (custody.Entry, error) {
	if strings.TrimSpace(reason) == "" {
		return custody.Entry{}, usagef("say why with --reason TEXT; it is kept in custody.jsonl", "--reason is missing")
	}
	if len(reason) > 2000 {
		return custody.Entry{}, usagef("shorten it to 2,000 bytes", "the reason is too long")
	}
	if deid.Suspect(col, reason) {
		return custody.Entry{}, usagef("write the reason without names, numbers or dates of a person", "the reason holds something that may identify a person, and it would stand in %s for good", custodyFile)
	}
	return custody.Entry{When: now(), Who: operatorName(by), What: what, Why: reason}, nil
}

// siteGenerations opens the site's key folder with every generation of its key.
func siteGenerations(u *ui, o *options, study string) (*keys.Folder, []deid.Generation, error) {
	f, _, err := siteKey(u, o, true)
	if err != nil {
		return nil, nil, err
	}
	all, err := f.Generations()
	if err != nil {
		return nil, nil, err
	}
	return f, deid.Generations(all, study), nil
}

// words joins with commas, for the screen.
func words(list []string) string {
	if len(list) == 0 {
		return "none"
	}
	return strings.Join(list, ", ")
}
