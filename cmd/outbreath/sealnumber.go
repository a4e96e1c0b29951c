package main

import (
	"cmp"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"outbreath/deid"
	"outbreath/pack/custody"
	"outbreath/pack/durable"
	"outbreath/pack/site"
	"outbreath/schema"
)

var numberForm = regexp.MustCompile(`^[0-9]{1,4}$`)

// shipmentNumber reads a number of the site as a person types it: "12", "0012" or
// "WEIR-0012".
func shipmentNumber(site, asked string) (string, error) {
	digits := strings.TrimPrefix(asked, site+"-")
	if !numberForm.MatchString(digits) || strings.Trim(digits, "0") == "" {
		return "", usagef("write it as "+site+"-0012, or only 12", "the shipment number is not this site's code, a hyphen and four digits")
	}
	return fmt.Sprintf("%s-%04s", site, digits), nil
}

// choose finds the number that was asked for; j.number stays "" for the next one.
func (j *sealJob) choose() (err error) {
	asked := cmp.Or(j.s.again, j.s.number)
	if asked == "" {
		return j.notTwice()
	}
	if j.number, err = shipmentNumber(j.col.Study.Site, asked); err != nil {
		return err
	}
	x := j.log.State.Shipment(j.number)
	if err := numberOpen(j.log, x, j.number); err != nil {
		return err
	}
	switch {
	case x == nil && j.s.again != "":
		return usagef("outbreath custody COLLECTION lists what was sealed", "%s was not sealed at this site, so there is nothing to copy", j.number)
	case x == nil:
		if err := notFar(j.log, j.col.Study.Site, j.number); err != nil {
			return err
		}
		return j.notTwice()
	case j.s.anew && x.What != custody.Abandoned:
		return usagef("leave --shipment away, and the next number is taken; for another copy of it give --again, without --new-number",
			"%s is no new number: it was given on %s", x.Number, x.Day)
	case j.s.again == "" && x.What == custody.Sealed:
		j.u.say("remark: %s was sealed on %s; this makes another copy of it", x.Number, x.Day)
	}
	return j.copyOf(x)
}

// numberOpen refuses a number that is at its end: acknowledged as complete, or
// given up.
func numberOpen(l *site.Log, x *site.Shipment, number string) error {
	for _, e := range l.Entries {
		if e.Shipment == number && e.What == custody.Receipt && e.Facts[custody.FactDecision] == "accepted" {
			return usagef("nothing needs to be sent again; for a new shipment leave --again and --shipment away",
				"the laboratory acknowledged %s as complete (receipt of %s)", number, e.When.Format(time.DateOnly))
		}
	}
	if x != nil && x.What == custody.GivenUp {
		return usagef("leave --again and --shipment away: the next number is taken", "%s was given up; the number is not used again", number)
	}
	return nil
}

// copyOf readies another copy of a shipment: with the key that made it.
func (j *sealJob) copyOf(x *site.Shipment) error {
	if j.log.HoldsWithdrawn(x) {
		return usagef("seal what is left under a new number, without that subject: outbreath seal COLLECTION --to MEDIA --new-number",
			"%s holds data of a subject who has withdrawn consent since; it must not be copied", x.Number)
	}
	for i, g := range j.log.Generations {
		if g.KeyID == x.KeyID {
			j.key = j.log.Keys[i]
		}
	}
	j.again = x
	return nil
}

// notTwice keeps sessions that left in an earlier shipment from leaving once more
// under a new number, unless that is what is wanted.
func (j *sealJob) notTwice() error {
	earlier := j.log.Earlier(j.col)
	if len(earlier) == 0 || j.s.anew {
		return nil
	}
	x := earlier[0]
	what := fmt.Sprintf("%s of %s holds %s of this collection already", x.Number, x.Day, count(x.Sessions, "session"))
	if more := len(earlier) - 1; more > 0 {
		what += "; " + holdSome(more)
	}
	anew := "to send them under a new number: outbreath seal COLLECTION --to MEDIA --new-number"
	switch {
	case j.log.HoldsWithdrawn(x.Shipment):
		return usagef(anew, "%s; a subject in it has withdrawn consent since, so it must not be copied", what)
	case !x.Same:
		return usagef(anew, "%s, and is not the same as it is now", what)
	case numberOpen(j.log, x.Shipment, x.Number) != nil:
		return usagef(anew, "%s, and the laboratory has acknowledged it", what)
	}
	digits := strings.TrimLeft(strings.TrimPrefix(x.Number, j.col.Study.Site+"-"), "0")
	if interactive(j.u) {
		j.u.tell("%s.", what)
		answer, err := askLine(j.u, "Make another copy of "+x.Number+"? (yes or no) ")
		if err != nil {
			return err
		}
		if a := strings.ToLower(answer); a == "yes" || a == "y" {
			j.number, j.s.again = x.Number, x.Number
			return j.copyOf(x.Shipment)
		}
		return usagef(anew, "nothing was sealed")
	}
	return usagef("for another copy of it: outbreath seal COLLECTION --to MEDIA --again "+digits+"; "+anew, "%s", what)
}

// amendReason returns why records were amended after they were sealed: as given, or
// asked for at a terminal.
func amendReason(u *ui, col *schema.Collection, given string, list []site.Amendment) (string, error) {
	what := fmt.Sprintf("%s since %s sealed: %s", changedRecords(len(list)), wereSealed(len(list)), amendedFiles(list))
	if given == "" && interactive(u) {
		u.tell("%s.", namesOf(col, nil, nil, nil).Shown(what))
		for { // what was scanned so far must not be lost over a word
			text, err := askLine(u, "Why? (nothing about a person; it is kept in custody.jsonl; empty: not) ")
			if err != nil {
				return "", err
			}
			if text == "" {
				break
			}
			if err := deid.NewTyped(col).Why(text); err == nil {
				return text, nil
			} else {
				u.tell("  the reason %s", err)
			}
		}
	}
	if strings.TrimSpace(given) == "" {
		return "", usagef("say why with --amended TEXT, without anything about a person; or bring the records back to what they were", "%s", what)
	}
	return given, nil
}

// holdSome says of other shipments that they hold some sessions too.
func holdSome(n int) string {
	if n == 1 {
		return "1 other shipment holds some too"
	}
	return fmt.Sprintf("%d other shipments hold some too", n)
}

func changedRecords(n int) string {
	if n == 1 {
		return "1 record was changed"
	}
	return fmt.Sprintf("%d records were changed", n)
}

func wereSealed(n int) string {
	if n == 1 {
		return "it was"
	}
	return "they were"
}

// amendedFiles names records and the shipments that they left in.
func amendedFiles(list []site.Amendment) string {
	const most = 5
	var names []string
	for _, a := range list[:min(len(list), most)] {
		names = append(names, quoted(a.File)+" ("+a.Shipment+")")
	}
	if more := len(list) - most; more > 0 {
		names = append(names, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(names, ", ")
}

// insideFact begins the names of facts that tell sorts of contents apart.
const insideFact = "inside "

// otherContents refuses to let one number stand for two contents, and says what
// is another now, as far as custody.jsonl tells.
func otherContents(l *site.Log, x *site.Shipment, again bool, now map[string]string) error {
	number, before := x.Number, map[string]string{}
	if e, ok := l.Of(number, custody.Sealed); ok {
		before = e.Facts
	}
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
	case before[programFact] != now[programFact] && before[programFact] != "" && len(differ) <= 1:
		what = ": it was sealed with " + before[programFact] + ", and this is " + now[programFact] + ", which may treat the records otherwise"
	case len(differ) > 0:
		what = ": changed since are " + strings.Join(differ, ", ")
	case known:
		what = ": the data are the same, but the site's signing key or this program's version has changed"
	}
	for _, name := range []string{"sessions", "recordings", "tubes"} {
		if before[name] != "" && before[name] != now[name] {
			what += fmt.Sprintf("; %s %s then, %s now", before[name], name, now[name])
		}
	}
	do := "leave --shipment away, and the next free number is taken"
	if again {
		do = "bring the collection back to what it was then, from your backup, and say the same of the box (--tubes, --tube-reason); or seal what it holds now under a new number, without --again"
	}
	return usagef(do, "%s was sealed before, on %s, with other contents%s; one number must never stand for two", number, x.Day, what)
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

// halfWritten is said of a shipment that is not on the medium in use now.
const halfWritten = "If the medium of that time has a folder of this name, do not send it"

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
			u.say("remark: the computer stopped while another copy of %s was being written; the earlier copy is not affected. %s", e.Shipment, halfWritten)
		default:
			next.What, next.Why, next.Facts = custody.Abandoned, "the computer stopped before the shipment got its name; not on the medium in use now", nil
			u.say("remark: the computer stopped while %s was being sealed; the number is not used again. %s", e.Shipment, halfWritten)
		}
		if err := j.Append(next); err != nil {
			return err
		}
	}
	return nil
}

// readIn reads a small file of a folder on a medium.
func readIn(medium, folder, name string, limit int64) ([]byte, error) {
	root, err := durable.OpenFolder(medium)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	sub, err := durable.Folder(root, folder)
	if err != nil {
		return nil, err
	}
	defer sub.Close()
	return durable.Read(sub, name, limit)
}

// complete says whether the medium holds the shipment of an entry, by its digests.
func complete(medium string, e custody.Entry) bool {
	sums, err := readIn(medium, e.Shipment, "SHA256SUMS", 1<<20)
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
