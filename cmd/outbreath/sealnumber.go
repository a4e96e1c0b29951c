package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"outbreath/deid"
	"outbreath/pack/custody"
)

var numberForm = regexp.MustCompile(`^[0-9]{1,4}$`)

// shipmentNumber takes the number asked for ("12", "0012" or "WEIR-0012"), or
// the next one of the site.
func shipmentNumber(j *custody.Journal, site, asked string) (string, error) {
	if asked == "" {
		return j.Next(site)
	}
	digits := strings.TrimPrefix(asked, site+"-")
	if !numberForm.MatchString(digits) || strings.Trim(digits, "0") == "" {
		return "", usagef("write it as "+site+"-0012, or only 12", "the shipment number is not this site's code, a hyphen and four digits")
	}
	return fmt.Sprintf("%s-%04s", site, digits), nil
}

// chooseNumber returns the number to seal under, and the entry of the first
// sealing if it is one that was sealed before. A number that the laboratory has
// acknowledged is at its end.
func chooseNumber(j *custody.Journal, site string, s *sealOptions) (string, *custody.Entry, error) {
	asked := s.number
	if s.again != "" {
		asked = s.again
	}
	number, err := shipmentNumber(j, site, asked)
	if err != nil {
		return "", nil, err
	}
	for _, e := range j.Entries {
		if e.Shipment == number && e.What == custody.Receipt && e.Facts[custody.FactDecision] == "accepted" {
			return "", nil, usagef("nothing needs to be sent again; for a new shipment leave --again and --shipment away",
				"the laboratory acknowledged %s as complete (receipt of %s)", number, e.When.Format(time.DateOnly))
		}
	}
	if before, ok := j.Of(number, custody.Sealed); ok {
		return number, &before, nil
	}
	if s.again != "" {
		return "", nil, usagef("outbreath custody COLLECTION lists what was sealed", "%s was not sealed from this collection, so there is nothing to copy", number)
	}
	return number, nil, nil
}

// insideFact begins the names of facts that tell sorts of contents apart.
const insideFact = "inside "

// otherContents refuses to let one number stand for two contents, and says what
// is another now, as far as custody.jsonl tells.
func otherContents(number string, again bool, before, now map[string]string) error {
	words := map[string]string{
		"sessions": "the records", "recordings": "the recordings", "tubes.csv": "the tubes", "handling.csv": "the order of analysis",
		"session.schema.json": "the plan", "treatment.json": "the treatment or the decisions on findings",
	}
	var differ []string
	known := false
	for _, name := range sortedKeys(words) {
		if was, ok := before[insideFact+name]; ok {
			known = true
			if was != now[insideFact+name] {
				differ = append(differ, words[name])
			}
		}
	}
	if box := insideFact + deid.DiscrepanciesName; known && before[box] != now[box] { // which not every shipment has
		differ = append(differ, "what was said of tubes that box and records do not share")
	}
	what := ""
	switch {
	case len(differ) > 0:
		what = ": other than then are " + strings.Join(differ, ", ")
	case known:
		what = ": the data are the same, but the site's signing key or this program's version is another"
	}
	for _, name := range []string{"sessions", "recordings", "tubes"} {
		if before[name] != now[name] {
			what += fmt.Sprintf("; %s %s then, %s now", before[name], name, now[name])
		}
	}
	do := "leave --shipment away, and the next free number is taken"
	if again {
		do = "bring the collection back to what it was then, from your backup, and say the same of the box (--tubes, --tube-reason); or seal what it holds now under a new number, without --again"
	}
	return usagef(do, "%s was sealed before with other contents%s; one number must never stand for two", number, what)
}

// clockGoesOn refuses a clock that stands before the newest entry: a battery
// that ran out sets it years back, and the sealing date goes onto the label. A
// few minutes are a clock that was set right.
func clockGoesOn(j *custody.Journal, entry *custody.Entry, isRight bool) error {
	const tolerance = 10 * time.Minute
	if len(j.Entries) == 0 {
		return nil
	}
	last := j.Entries[len(j.Entries)-1].When
	if !entry.When.Add(tolerance).Before(last) {
		return nil
	}
	if isRight {
		entry.Why += "; the clock stands before an earlier entry, and the operator says that it is right"
		return nil
	}
	return usagef("set the clock, then seal again; if it is right and the earlier entry was written under a wrong one, add --clock-is-right",
		"this computer's clock says %s UTC, but the newest entry of %s is of %s UTC", entry.When.Format(time.DateTime), custodyFile, last.Format(time.DateTime))
}

// settleUnfinished looks after a seal that was cut off between the entry
// "sealing" and the entry "sealed": the shipment got its name in between, or
// not. A number that may be on another medium is never used again.
func settleUnfinished(u *ui, j *custody.Journal, media []string, entry custody.Entry) error {
	for _, e := range j.Unfinished() {
		next := entry
		next.Shipment, next.Facts = e.Shipment, e.Facts
		_, sealed := j.Of(e.Shipment, custody.Sealed)
		switch {
		case slices.ContainsFunc(media, func(m string) bool { return complete(m, e) }):
			next.What, next.Why = custody.Sealed, "the computer stopped after writing; found complete on the medium"
			u.say("remark: %s was sealed when the computer stopped; it is complete on this medium", e.Shipment)
		case sealed:
			next.What, next.Why, next.Facts = custody.Abandoned, "the computer stopped before another copy got its name; the earlier copy stands", nil
			u.say("remark: another copy of %s was cut off; the earlier one stands. If that medium does hold a folder of this name, do not send it before verify accepts it", e.Shipment)
		default:
			next.What, next.Why, next.Facts = custody.Abandoned, "the computer stopped before the shipment got its name; not on the medium in use now", nil
			u.say("remark: sealing %s was cut off; the number is not used again. If that medium does hold a folder of this name, do not send it before verify accepts it", e.Shipment)
		}
		if err := j.Append(next); err != nil {
			return err
		}
	}
	return nil
}

// complete says whether the medium holds the shipment of an entry, by its digests.
func complete(medium string, e custody.Entry) bool {
	sums, err := os.ReadFile(filepath.Join(medium, e.Shipment, "SHA256SUMS"))
	parts := 0
	for name, digest := range e.Facts {
		if part, ok := strings.CutPrefix(name, "sha256 "); ok {
			if parts++; !strings.Contains(string(sums), digest+"  "+part+"\n") {
				return false
			}
		}
	}
	return err == nil && parts > 0
}

// abandon records that a seal came to nothing after "sealing" was written. If a
// medium may hold the shipment under its name, the next seal has to look.
func abandon(j *custody.Journal, entry custody.Entry, number string, media []string) error {
	for _, m := range media {
		if _, err := lstat(filepath.Join(m, number)); !notExist(err) {
			return nil
		}
	}
	entry.What, entry.Shipment, entry.Why, entry.Facts = custody.Abandoned, number, "it was stopped, or a medium failed, before the shipment got its name", nil
	return j.Append(entry)
}
