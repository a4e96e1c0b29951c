package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/schema"
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

// A chosenNumber is the number to seal under.
type chosenNumber struct {
	number string
	before *custody.Entry // the first sealing, if it was sealed from this collection before
	twin   *keys.Given    // the shipment of another collection that has it already
	free   string         // then: one that none has
}

// chooseNumber asks, at a terminal, where the next number was given elsewhere, as
// the key folder's list of given ones says. A
// number that the laboratory has acknowledged is at its end.
func chooseNumber(u *ui, j *custody.Journal, given []keys.Given, study *schema.Study, s *sealOptions) (c chosenNumber, err error) {
	asked := s.number
	if s.again != "" {
		asked = s.again
	}
	if c.number, err = shipmentNumber(j, study.Site, asked); err != nil {
		return c, err
	}
	for _, e := range j.Entries {
		if e.Shipment == c.number && e.What == custody.Receipt && e.Facts[custody.FactDecision] == "accepted" {
			return c, usagef("nothing needs to be sent again; for a new shipment leave --again and --shipment away",
				"the laboratory acknowledged %s as complete (receipt of %s)", c.number, e.When.Format(time.DateOnly))
		}
	}
	if before, ok := j.Of(c.number, custody.Sealed); ok {
		c.before = &before
	} else if s.again != "" {
		return c, usagef("outbreath custody COLLECTION lists what was sealed", "%s was not sealed from this collection, so there is nothing to copy", c.number)
	}
	if c.twin = givenElsewhere(j, given, study.Study, c.number); c.twin == nil {
		return c, nil
	}
	if c.free, err = freeNumber(j, given, study); err != nil {
		return c, err
	}
	if asked == "" && interactive(u) {
		c.number, err = askNumber(u, c.number, c.free, c.twin)
		c.twin = nil
	}
	return c, err
}

// givenElsewhere returns the shipment of another collection that has the number
// already, as the key folder knows, or nil.
func givenElsewhere(j *custody.Journal, given []keys.Given, study, number string) *keys.Given {
	own, _ := j.Of(number, custody.Sealed)
	for i, g := range given {
		if g.Study == study && g.Shipment == number && g.Bag != own.Facts["bag_sha256"] {
			return &given[i]
		}
	}
	return nil
}

// freeNumber returns the number after all that the collection and the key folder know.
func freeNumber(j *custody.Journal, given []keys.Given, study *schema.Study) (string, error) {
	next, err := j.Next(study.Site)
	if err != nil {
		return "", err
	}
	highest, _ := strconv.Atoi(next[len(study.Site)+1:])
	for _, g := range given {
		digits, ours := strings.CutPrefix(g.Shipment, study.Site+"-")
		if n, err := strconv.Atoi(digits); g.Study == study.Study && ours && err == nil {
			highest = max(highest, n+1)
		}
	}
	if highest > 9999 {
		return "", usagef("agree on another site code with the laboratory", "all 9999 shipment numbers of this site are used")
	}
	return fmt.Sprintf("%s-%04d", study.Site, highest), nil
}

// noteNumbers lists the shipments sealed from this collection in the key folder,
// also those that are missing there: after a power failure, or in a folder that
// came back from a backup.
func noteNumbers(u *ui, folder *keys.Folder, j *custody.Journal, study string) {
	given, err := folder.Given()
	for _, e := range j.Entries {
		bag := e.Facts["bag_sha256"]
		noted := slices.ContainsFunc(given, func(g keys.Given) bool { return g.Study == study && g.Shipment == e.Shipment && g.Bag == bag })
		if err == nil && e.What == custody.Sealed && !noted {
			err = folder.Give(keys.Given{Study: study, Shipment: e.Shipment, Day: e.When.Format(time.DateOnly), Bag: bag})
		}
	}
	if err != nil {
		u.say("caution: the shipments of %s could not be noted in the key folder: %v", custodyFile, err)
	}
}

// sameNumber says what is wrong with a number that stands for two contents.
func sameNumber(number string, before *keys.Given) string {
	return fmt.Sprintf("%s is also the number of a shipment of %s, sealed from another folder: a laboratory that gets one number twice with other contents refuses the second", number, before.Day)
}

// askNumber offers the next free number at a terminal where the one that comes
// next in this collection was given in another one.
func askNumber(u *ui, number, free string, before *keys.Given) (string, error) {
	u.tell("%s.", sameNumber(number, before))
	answer, err := askLine(u, "Seal this one as "+free+"? (yes or no) ")
	if err != nil {
		return "", err
	}
	switch strings.ToLower(answer) {
	case "yes", "y":
		return free, nil
	}
	return "", usagef("give this shipment's number with --shipment, such as --shipment "+free, "nothing was sealed")
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
