package site

import (
	"cmp"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"slices"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// LeaveOut takes the records of subjects who have withdrawn from any collection of
// the study out of c, and returns them.
func (l *Log) LeaveOut(c *schema.Collection) []*schema.Session {
	gone := l.State.Gone()
	if len(gone) == 0 {
		return nil
	}
	return deid.LeaveOut(l.Generations, c, gone)
}

// ShipmentsWith returns the shipments of the study, from whatever collection, that
// hold data under one of the pseudonyms, and those of which it is not known.
func (l *Log) ShipmentsWith(pseudonyms []string) (holding, unknown []string) {
	if l.State == nil {
		return nil, nil
	}
	for _, x := range l.State.Shipments {
		switch {
		case x.What == custody.Abandoned:
		case len(x.Subjects) == 0:
			unknown = append(unknown, x.Number)
		case slices.ContainsFunc(pseudonyms, func(p string) bool { return slices.Contains(x.Subjects, p) }):
			holding = append(holding, x.Number)
		}
	}
	return holding, unknown
}

// HoldsWithdrawn reports whether a shipment holds data of a subject who has
// withdrawn since.
func (l *Log) HoldsWithdrawn(x *Shipment) bool {
	gone := l.State.Gone()
	return slices.ContainsFunc(x.Subjects, func(p string) bool { return gone[p] })
}

// An Earlier is a shipment that sessions of this collection have left in before.
type Earlier struct {
	*Shipment
	Sessions int  // of this collection that it holds
	Same     bool // it holds all of them and no others
}

// Earlier returns the shipments in which records of c, of which nobody who has
// withdrawn is one, have left, the newest first.
func (l *Log) Earlier(c *schema.Collection) (list []Earlier) {
	if l.State == nil {
		return nil
	}
	names := map[string]bool{}
	for _, s := range c.Sessions {
		for _, g := range l.Generations {
			if p, err := g.Session(s.ID); err == nil {
				names[p] = true
			}
		}
	}
	for i := range l.State.Shipments {
		x := &l.State.Shipments[i]
		if x.What != custody.Sealed && x.What != custody.Sealing {
			continue
		}
		n := 0
		for _, s := range x.Sessions {
			if names[s.Session] {
				n++
			}
		}
		if n > 0 {
			list = append(list, Earlier{x, n, n == len(x.Sessions) && n == len(c.Sessions)})
		}
	}
	slices.Reverse(list)
	slices.SortStableFunc(list, func(a, b Earlier) int { return cmp.Compare(b.Sessions, a.Sessions) })
	return list
}

// An Amendment is a session whose record or recordings are others than when it was
// last sealed.
type Amendment struct {
	File     string // of the record
	Session  string // pseudonym
	Shipment string // the last one that it left in
	Was, Now string // keyed digests
}

// Sealed makes of the sources of a draft what the state keeps of them, and says
// which were amended since they were last sealed.
func (l *Log) Sealed(sources []deid.Source) (all []Sealed, amended []Amendment) {
	// The oldest generation stays when the key is rotated, and so do the digests.
	key := l.Keys[len(l.Keys)-1].Derive(keys.Source, l.study)
	last := map[string]Amendment{} // what was sealed last, by any pseudonym of the session
	if l.State != nil {
		for _, x := range l.State.Shipments {
			for _, s := range x.Sessions {
				if x.What != custody.Abandoned {
					last[s.Session] = Amendment{Shipment: x.Number, Was: s.Source}
				}
			}
		}
	}
	names := map[string][]string{} // of a session in every generation, by any of them
	for _, all := range l.sessions {
		for _, name := range all {
			names[name] = all
		}
	}
	for _, s := range sources {
		h := hmac.New(sha256.New, key[:])
		h.Write(s.SHA256[:])
		now := hex.EncodeToString(h.Sum(nil))
		all = append(all, Sealed{Session: s.Session, Subject: s.Subject, Tubes: s.Tubes, Source: now})
		was, ok := lastOf(append([]string{s.Session}, names[s.Session]...), last)
		if ok && was.Was != now && !s.Absent {
			was.File, was.Session, was.Now = s.File, s.Session, now
			amended = append(amended, was)
		}
	}
	return all, amended
}

// lastOf finds what was sealed last of a session under any of its pseudonyms.
func lastOf(names []string, last map[string]Amendment) (a Amendment, ok bool) {
	for _, p := range names {
		if b, found := last[p]; found && (!ok || b.Shipment > a.Shipment) {
			a, ok = b, true
		}
	}
	return a, ok
}

// Amend notes amendments and their reason, e.Why, in the log.
func (l *Log) Amend(e custody.Entry, list []Amendment) error {
	const perEntry = 300 // below the longest line
	for some := range slices.Chunk(list, perEntry) {
		e.What, e.Facts = Amended, map[string]string{}
		for _, a := range some {
			e.Facts["session "+a.Session] = a.Was + " " + a.Now
		}
		if err := l.Append(e); err != nil {
			return err
		}
	}
	return nil
}
