package deid

import (
	"slices"
	"strings"

	"outbreath/keys"
	"outbreath/schema"
)

// KeyID returns the name of a generation of the pseudonym key in one study,
// "XXXX-XXXX": the first 40 bits of a key that is derived for this purpose only. It is
// in treatment.json of every shipment and reveals nothing about the key.
func KeyID(key *keys.PseudonymKey, study string) string {
	return shortCode(key.Derive(keys.Label, study))
}

// A Generation makes the pseudonyms of one generation of the key.
type Generation struct {
	KeyID string
	*Pseudonymiser
}

// Generations prepares every generation of the key for a study, in the order
// given: newest first.
func Generations(all []*keys.PseudonymKey, study string) []Generation {
	var out []Generation
	for _, k := range all {
		out = append(out, Generation{KeyID(k, study), NewPseudonymiser(k, study)})
	}
	return out
}

// A Traced reports to whom a pseudonym belongs. It is for the site's own screen.
type Traced struct {
	SubjectID string   // as spelled in the roster, otherwise in a record
	KeyID     string   // generation of the key that made the pseudonym
	Kind      string   // "subject" or "session"
	Records   []string // the subject's records in this collection, or the session's
}

// Trace looks in every generation for the subject or session of c with the pseudonym
// name, in the form that [ParsePseudonym] returns. ok is false when there is none.
func Trace(all []Generation, c *schema.Collection, name string) (t Traced, ok bool) {
	ids := subjects(c)
	for _, g := range all {
		for _, id := range ids {
			if p, err := g.Subject(id); err == nil && p == name {
				return Traced{id, g.KeyID, "subject", recordsOf(c, id)}, true
			}
		}
		for _, s := range c.Sessions {
			if p, err := g.Session(s.ID); err == nil && p == name {
				return Traced{s.Subject, g.KeyID, "session", []string{s.File}}, true
			}
		}
	}
	return Traced{}, false
}

// Known returns the subject id that equals typed apart from its spelling, as the
// roster or a record spells it; ok is false when there is none. The id is an
// identifier, for the site alone.
func Known(c *schema.Collection, typed string) (id string, ok bool) {
	for _, id := range subjects(c) {
		if schema.SameID(id, typed) {
			return id, true
		}
	}
	return "", false
}

// Pseudonyms returns a subject's pseudonym in every generation, in the order of all.
// The errors are those of [Pseudonymiser.Subject].
func Pseudonyms(all []Generation, id string) ([]string, error) {
	var out []string
	for _, g := range all {
		p, err := g.Subject(id)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// TubesOf returns the barcodes of a subject's tubes in c, sorted.
func TubesOf(c *schema.Collection, id string) []string {
	var out []string
	for _, s := range c.Sessions {
		if schema.SameID(s.Subject, id) {
			for _, t := range s.Tubes {
				out = append(out, t.Barcode)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// LeaveOut removes from c the sessions of every subject who has, in any generation,
// one of the pseudonyms in withdrawn, and returns the removed sessions. Source files
// are not touched.
func LeaveOut(all []Generation, c *schema.Collection, withdrawn map[string]bool) (out []*schema.Session) {
	gone := map[string]bool{}
	for _, s := range c.Sessions {
		if _, done := gone[s.Subject]; done {
			continue
		}
		gone[s.Subject] = false
		for _, g := range all {
			if p, err := g.Subject(s.Subject); err == nil && withdrawn[p] {
				gone[s.Subject] = true
			}
		}
	}
	c.Sessions = slices.DeleteFunc(c.Sessions, func(s *schema.Session) bool {
		if gone[s.Subject] {
			out = append(out, s)
		}
		return gone[s.Subject]
	})
	return out
}

// subjects returns the ids of the roster and then those of the records, each once.
func subjects(c *schema.Collection) []string {
	var ids []string
	seen := map[string]bool{}
	add := func(id string) {
		if id != "" && !seen[id] {
			seen[id] = true
			ids = append(ids, id)
		}
	}
	for _, row := range c.Roster.Rows {
		add(row["subject_id"])
	}
	for _, s := range c.Sessions {
		add(s.Subject)
	}
	return ids
}

func recordsOf(c *schema.Collection, id string) []string {
	var files []string
	for _, s := range c.Sessions {
		if schema.SameID(s.Subject, id) {
			files = append(files, s.File)
		}
	}
	return files
}

// Subjects returns the pseudonyms of the subjects of c, sorted, each once.
func (c *Cleared) Subjects() []string { return c.subjects }

// Linkage returns a CSV table with the columns before and after, ordered by the first:
// for every subject of c who has not withdrawn, the pseudonyms under the last
// generation but one and under the newest. It holds no identifier, but links
// shipments that the change of the key separated. all holds at least two generations,
// newest first.
func Linkage(all []Generation, c *schema.Collection, withdrawn map[string]bool) ([]byte, error) {
	var rows []string
	for _, id := range subjects(c) {
		p, err := Pseudonyms(all, id)
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(p, func(name string) bool { return withdrawn[name] }) {
			rows = append(rows, p[1]+","+p[0]+"\n")
		}
	}
	slices.Sort(rows)
	return []byte("before,after\n" + strings.Join(slices.Compact(rows), "")), nil
}
