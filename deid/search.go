package deid

import (
	"cmp"
	"crypto/hmac"
	"crypto/sha256"
	"slices"
	"strconv"
	"strings"
	"time"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// A manner says what a decision to redact does to a text.
type manner uint8

const (
	fixed  manner = iota // nothing: the text leaves as it is, or is corrected at the site
	words                // the stretch is replaced by a word in brackets
	masked               // the stretch is overwritten, so that the text keeps its size
	name                 // the text does not leave: a file gets another name
)

// A place is one text that is searched for identifiers.
type place struct {
	file, pointer string
	base          int // of the text's first byte in the file; recordings only
	text          string
	manner        manner
	declared      *leak.Declared // values that the record declares
	shift         int            // days by which a date in the text moves; 0: it is taken out
	day           time.Time      // of the session
	initials      []string       // of its subject
}

// search notes a value that leaves with the words of a person in it. Listed
// values, dates and times are none: the plan's schema fixes their form.
func (v *visit) search(n *schema.Node, f *schema.Field, pointer string) {
	p := place{file: v.File, pointer: pointer, text: n.Text}
	switch {
	case f.Enum || f.Format != "" || n.Kind == schema.Bool:
		return
	case f.Treatment.Kind == schema.Text:
		p.manner, p.shift, p.day, p.initials = words, v.textShift, v.day, v.initials
	}
	v.places = append(v.places, p)
}

// A searcher looks for identifiers and applies decisions. Safe for concurrent use.
type searcher struct {
	scan  *leak.Scanner
	keyed bool
	key   [32]byte // makes the ids of findings
}

// id names a finding by what it says, where, and the whole text: when the text
// changes, a person is asked again.
func (s *searcher) id(p *place, start int, m leak.Match) string {
	if !s.keyed {
		return ""
	}
	h := hmac.New(sha256.New, s.key[:])
	for _, part := range []string{string(m.Class), m.Basis, p.file, p.pointer, strconv.Itoa(start)} {
		h.Write([]byte(part))
		h.Write([]byte{0})
	}
	h.Write([]byte(p.text))
	return shortCode([32]byte(h.Sum(nil)))
}

// matches searches text, which p became.
func (s *searcher) matches(p *place, text string) []leak.Match {
	scan := s.scan.Scan
	if p.manner == fixed && p.pointer != "" && p.file != "study.json" {
		scan = s.scan.ScanField
	}
	list := slices.DeleteFunc(scan(text, p.declared), func(m leak.Match) bool { return p.meant(m) })
	for _, m := range leak.FindInitials(text, p.initials) {
		if !slices.ContainsFunc(list, func(o leak.Match) bool { return o.Start < m.End && m.Start < o.End }) {
			list = append(list, m)
		}
	}
	slices.SortFunc(list, func(a, b leak.Match) int { return cmp.Compare(a.Start, b.Start) })
	return list
}

// meant says whether m is what the plan lets out on purpose: the whole of a
// postal code or a city in a field of that name that is kept, as a limited data
// set may have them (45 CFR 164.514(e)(2)(ii)). Anything else there is a finding.
//
// The contact of a study is an address or a telephone number; a name there is a
// person's, and only the roster can tell that the rest is a wrong one.
func (p *place) meant(m leak.Match) bool {
	if p.file == "study.json" && p.pointer == "/contact" {
		return m.Class != "A" && strings.HasPrefix(m.Basis, "pattern: ")
	}
	field := p.pointer[strings.LastIndexByte(p.pointer, '/')+1:]
	return p.manner == fixed && (field == "postal_code" || field == "city") && m.Class == "B" &&
		strings.TrimSpace(p.text) == p.text[m.Start:m.End] &&
		(m.Basis == "roster: "+field || strings.HasPrefix(m.Basis, "pattern: "))
}

// instead returns what stands for m once it is redacted: a date that the plan
// shifts and that can be read in one way only moves with the subject's others, so
// that intervals stay true. All else is taken out (""), also a date of the roster
// and one that the words around call a birth date, which the search is surer of.
func (p *place) instead(m leak.Match) string {
	if p.shift == 0 || m.Class != "C" || m.Basis != "pattern: date" || m.Confidence != leak.Possible {
		return ""
	}
	moved, _ := movedDate(p.text[m.Start:m.End], p.shift, p.day)
	return moved
}

// certain says whether m is taken out without asking: where the plan lets a person
// write freely, what is sure to be an identifier goes, and a date moves that can
// move. Anywhere else an identifier means that something is wrong, and a person
// must look.
func (p *place) certain(m leak.Match) bool {
	return p.manner == words && (m.Confidence == leak.Sure || p.instead(m) != "")
}

// settled is a text after the decisions on its findings.
type settled struct {
	text     string
	findings []leak.Finding // by Start; offsets in the text as it was
	removed  []span         // of text, in bytes: what the treatment put there itself
}

// keeps says whether a person decided to keep something that was found.
func (s settled) keeps() bool {
	return slices.ContainsFunc(s.findings, func(f leak.Finding) bool { return f.Decision == "keep" })
}

// settle searches p, redacts what is certain and what decisions say, and searches the outcome until
// nothing new is found: a redaction may bring words together, and what it leaves
// must be clean as well. Matches within what we put in ourselves do not count.
func (s *searcher) settle(p place, dec *leak.Decisions) settled {
	out := settled{text: p.text}
	var cut cuts
	type key struct {
		start, end   int
		class, basis string
	}
	seen := map[key]bool{}
	for {
		text, parts := cut.apply(p.text, p.manner)
		grown := false
		for _, m := range s.matches(&p, text) {
			if parts.within(m.Start, m.End) {
				continue
			}
			m.Start, m.End = parts.origin(m.Start, m.End)
			k := key{m.Start, m.End, string(m.Class), m.Basis}
			if seen[k] {
				continue
			}
			seen[k] = true
			f := leak.Finding{
				ID: s.id(&p, p.base+m.Start, m), File: p.file, Pointer: p.pointer, Start: p.base + m.Start,
				End:   p.base + m.End,
				Class: m.Class, Basis: m.Basis, Confidence: m.Confidence, Action: "review",
			}
			if p.certain(m) {
				f.Action, f.Decision, f.Automatic = "redact", "redact", true
			}
			if d, ok := dec.Of(f.ID); ok && f.ID != "" &&
				(d.Action == "keep" || d.Action == "redact" && p.manner != fixed) {
				f.Decision, f.Automatic = d.Action, false
			}
			f.Moved = f.Decision == "redact" && p.instead(m) != ""
			if k.end = 0; !seen[k] { // else the same finding, a little longer now
				seen[k] = true
				out.findings = append(out.findings, f)
			}
			if f.Decision == "redact" {
				cut = cut.add(p.text, m, p.instead(m))
				grown = true
			}
		}
		if !grown {
			out.text, out.removed = text, parts.ours()
			break
		}
	}
	slices.SortStableFunc(out.findings, func(a, b leak.Finding) int { return cmp.Compare(a.Start, b.Start) })
	return out
}

// cuts are stretches of a text that are taken out, in order and apart.
type cuts []cut

type cut struct {
	start, end int
	words      []string // what was there
	instead    string   // what stands there now; "": a word for what was there
}

// add takes out m as well. Stretches that touch, or have nothing but blanks
// between them, become one.
func (c cuts) add(text string, m leak.Match, instead string) cuts {
	c = append(c, cut{m.Start, m.End, []string{m.Class.Words().Removed}, instead})
	slices.SortFunc(c, func(a, b cut) int { return cmp.Compare(a.start, b.start) })
	var out cuts
	for _, next := range c {
		last := len(out) - 1
		if last < 0 || next.start > out[last].end && strings.Trim(text[out[last].end:next.start], " \t") != "" {
			out = append(out, next)
			continue
		}
		out[last].end = max(out[last].end, next.end)
		out[last].instead = "" // a date beside something else goes with it
		for _, w := range next.words {
			if !slices.Contains(out[last].words, w) {
				out[last].words = append(slices.Clip(out[last].words), w)
			}
		}
	}
	return out
}

// A part is a stretch of a redacted text, and where it comes from.
type part struct {
	start, end int // in the redacted text
	from, to   int // in the text as it was
	ours       bool
}

type parts []part

// apply returns text without the cuts.
func (c cuts) apply(text string, how manner) (string, parts) {
	if len(c) == 0 {
		return text, parts{{0, len(text), 0, len(text), false}}
	}
	var b strings.Builder
	var ps parts
	put := func(s string, from, to int, ours bool) {
		if from < to {
			ps = append(ps, part{b.Len(), b.Len() + len(s), from, to, ours})
			b.WriteString(s)
		}
	}
	at := 0
	for _, cut := range c {
		put(text[at:cut.start], at, cut.start, false)
		token := "[removed: " + strings.Join(cut.words, ", ") + "]"
		switch {
		case how == words && cut.instead != "":
			token = cut.instead
		case how == masked:
			token = strings.Repeat("X", cut.end-cut.start)
		}
		put(token, cut.start, cut.end, true)
		at = cut.end
	}
	put(text[at:], at, len(text), false)
	return b.String(), ps
}

// within says whether a stretch of the redacted text lies in one of our words.
func (ps parts) within(start, end int) bool {
	for _, p := range ps {
		if p.ours && p.start <= start && end <= p.end {
			return true
		}
	}
	return false
}

// ours returns where our words are in the redacted text.
func (ps parts) ours() (list []span) {
	for _, p := range ps {
		if p.ours {
			list = append(list, span{int64(p.start), int64(p.end)})
		}
	}
	return list
}

// origin returns where a stretch of the redacted text comes from. A word of ours
// stands for all that it replaced.
func (ps parts) origin(start, end int) (from, to int) {
	for _, p := range ps {
		if p.start <= start && start < p.end {
			from = p.from
			if !p.ours {
				from += start - p.start
			}
		}
		if p.start < end && end <= p.end {
			to = p.to
			if !p.ours {
				to = p.from + end - p.start
			}
		}
	}
	return from, to
}
