package site

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// A withdrawal applies to a subject, and a number to sessions: both are known
// by more than the subject's id, which a slip of the pen changes.

// Facts of an entry "withdrawn", each a list with blanks between. They suffice to
// restore a lost state.
const (
	factPseudonyms = "pseudonyms"
	factSessions   = "sessions" // of the collection, in every generation
	factBarcodes   = "barcodes" // of the collection, as schema.Barcode has them
	factLook       = "look"     // HMAC-SHA256 (hex) of how the id looks
)

// withdrawalBytes is how much of the collection one entry contains at least before the next
// one begins: a session has 100 tubes at most, so that it stays below the longest line
// of the log.
const withdrawalBytes = 32 << 10

// Withdraw records that the subject id has withdrawn. e says who, when and why, and
// has the fact "pseudonyms"; what the collection holds of the subject comes to it, in
// as many entries as it takes.
func (l *Log) Withdraw(e custody.Entry, id string) error {
	var sessions, tubes []string
	note := func() error {
		e.Facts = maps.Clone(e.Facts)
		e.Facts[factSessions], e.Facts[factBarcodes] = strings.Join(sessions, " "), strings.Join(tubes, " ")
		e.Facts[factLook] = l.look(id)
		sessions, tubes = nil, nil
		return l.Append(e)
	}
	size := 0
	for _, s := range l.o.Collection.Sessions {
		if !schema.SameID(s.Subject, id) {
			continue
		}
		if size > withdrawalBytes {
			if err := note(); err != nil {
				return err
			}
			size = 0
		}
		names := l.names(s.ID)
		sessions = append(sessions, names...)
		for _, t := range s.Tubes {
			tubes = append(tubes, schema.Barcode(t.Barcode))
			size += len(t.Barcode) + 1
		}
		size += len(strings.Join(names, " ")) + 1
	}
	return note()
}

// names returns the pseudonyms of a session, newest generation first.
func (l *Log) names(session string) (names []string) {
	for _, g := range l.Generations {
		if p, err := g.Session(session); err == nil {
			names = append(names, p)
		}
	}
	return names
}

// look returns a digest of how a subject id looks, "" for one that cannot be used. Its
// key is of the oldest generation, which stays when the key is rotated.
func (l *Log) look(id string) string {
	canonical, err := schema.Canonical(id)
	if err != nil {
		return ""
	}
	key := l.Keys[len(l.Keys)-1].Derive(keys.Look, l.study)
	h := hmac.New(sha256.New, key[:])
	h.Write([]byte(schema.Look(canonical)))
	return hex.EncodeToString(h.Sum(nil))
}

// A sent tube is one that a shipment holds.
type sent struct {
	*Shipment
	*Sealed
}

// A memory is what the state knows of sessions, tubes and ids, made for looking up.
type memory struct {
	gone  map[string]bool   // sessions, tubes and looks of subjects who have withdrawn
	tubes map[string][]sent // by barcode, in the order of the shipments
}

func (s *State) memory() *memory {
	m := &memory{map[string]bool{}, map[string][]sent{}}
	if s == nil {
		return m
	}
	last := map[string]string{} // whose a session or tube was when it was sent last
	for i := range s.Shipments {
		x := &s.Shipments[i]
		for k := range x.Sessions {
			r := &x.Sessions[k]
			last[r.Session] = r.Subject
			for _, t := range r.Tubes {
				last[t] = r.Subject
				m.tubes[t] = append(m.tubes[t], sent{x, r})
			}
		}
	}
	gone := s.Gone()
	for what, subject := range last {
		if gone[subject] {
			m.gone[what] = true
		}
	}
	for _, w := range s.Withdrawn {
		for _, what := range slices.Concat(w.Sessions, w.Tubes, w.Looks) {
			m.gone[what] = true
		}
	}
	return m
}

const (
	officerSays = "; if the record really is another person's, tell the privacy officer"

	goneSession = "this session was recorded under a subject who has withdrawn: take the record and its " +
		"tubes out" + officerSays
	goneTube = "this tube belongs to a subject who has withdrawn: take the record and the tube out" + officerSays
	goneLook = "this subject_id differs from that of a subject who has withdrawn only by characters that " +
		"look alike (O and 0; I, l and 1): correct it; if it really is another person's, " +
		"list both in roster.csv, each with the birth date"
	tubeSent = "%s of %s holds this tube under another session: look at the tube, and correct the record that " +
		"is wrong; a tube that was analysed and is used again is accepted once the receipt for %s is recorded"
	tubeDays = ", or %d days after it was sealed (reuse_days in study.json)"
)

// Objections says which records of c, from which those of subjects who have withdrawn
// were taken out, hold a session, a tube or an id that the state knows as another's.
// The problems are errors: withdrawn.session, withdrawn.tube, withdrawn.alike,
// tube.sent.
func (l *Log) Objections(c *schema.Collection) (problems []schema.Problem) {
	m := l.State.memory()
	for _, s := range c.Sessions {
		names := l.names(s.ID)
		if slices.ContainsFunc(names, func(p string) bool { return m.gone[p] }) {
			problems = append(problems, s.Problem("/session_id", "withdrawn.session", goneSession))
		}
		if look := l.look(s.Subject); m.gone[look] && !l.listedBeside(c, s.Subject) {
			problems = append(problems, s.Problem("/subject/subject_id", "withdrawn.alike", goneLook))
		}
		for i, t := range s.Tubes {
			barcode, pointer := schema.Barcode(t.Barcode), fmt.Sprintf("/tubes/%d/barcode", i)
			if m.gone[barcode] {
				problems = append(problems, s.Problem(pointer, "withdrawn.tube", goneTube))
			} else if x := l.elsewhere(m, barcode, names); x != nil {
				message := fmt.Sprintf(tubeSent, x.Number, x.Day, x.Number)
				if days := c.Study.ReuseDays; days > 0 {
					message += fmt.Sprintf(tubeDays, days)
				}
				problems = append(problems, s.Problem(pointer, "tube.sent", message))
			}
		}
	}
	return problems
}

// elsewhere returns the shipment that holds a tube under a session that is none of
// names, nil if there is none. Two records of one shipment may exchange tubes: that is
// an amendment, which needs its reason.
func (l *Log) elsewhere(m *memory, barcode string, names []string) *Shipment {
	for _, x := range m.tubes[barcode] {
		other := !slices.Contains(names, x.Session)
		amended := slices.ContainsFunc(x.Sessions, func(r Sealed) bool { return slices.Contains(names, r.Session) })
		if other && !amended && l.keepsTubes(x.Shipment) {
			return x.Shipment
		}
	}
	return nil
}

// keepsTubes reports whether a shipment's tubes must not come back yet in another
// session: it may have left, no receipt says that it arrived, and the study's
// reuse_days have not gone by. That a tube is cleaned and used again once it was
// analysed is common practice, no source.
func (l *Log) keepsTubes(x *Shipment) bool {
	if x.Accepted || x.What == custody.Abandoned || x.What == custody.GivenUp {
		return false
	}
	days := l.o.Collection.Study.ReuseDays
	return days == 0 || x.Day >= l.o.Now().AddDate(0, 0, -days).Format(time.DateOnly)
}

// listedBeside reports whether the roster also lists, with the subject id, one that looks
// alike and has withdrawn, with another birth date: they are two people.
func (l *Log) listedBeside(c *schema.Collection, id string) bool {
	born, gone := "", l.State.Gone()
	for _, row := range c.Roster.Rows {
		if schema.SameID(row["subject_id"], id) {
			born = row["birth_date"]
		}
	}
	return born != "" && slices.ContainsFunc(c.Roster.Rows, func(row map[string]string) bool {
		other := row["subject_id"]
		if row["birth_date"] == born || l.look(other) != l.look(id) {
			return false
		}
		return slices.ContainsFunc(l.Generations, func(g deid.Generation) bool {
			p, err := g.Subject(other)
			return err == nil && gone[p]
		})
	})
}

// sharingTubes returns the log whose shipments hold most of the collection's tubes, if
// they hold more than half of them, and how many; nil else. A tube or two are a
// mistake in a record, which [Log.Objections] reports.
func (l *Log) sharingTubes() (best *KnownLog, most int) {
	m, held, all := l.State.memory(), map[string]int{}, 0
	for _, s := range l.o.Collection.Sessions {
		for _, t := range s.Tubes {
			all++
			logs := map[string]bool{}
			for _, x := range m.tubes[schema.Barcode(t.Barcode)] {
				if l.keepsTubes(x.Shipment) {
					logs[x.Log] = true
				}
			}
			for id := range logs {
				held[id]++
			}
		}
	}
	for id, n := range held {
		if known := l.State.log(id); known != nil && n > most && 2*n > all {
			best, most = known, n
		}
	}
	return best, most
}
