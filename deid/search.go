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

// A manner is the effect that a decision to redact has on a text.
type manner uint8

const (
	fixed  manner = iota // none: the text leaves unchanged, or is corrected at the site
	words                // the finding is replaced by a word in brackets
	masked               // the finding is overwritten: the text keeps its size
	name                 // none: the text is a file name, which does not leave
)

// A place is one text that is searched for identifiers.
type place struct {
	file, pointer string
	base          int // offset in the file of the text's first byte; recordings only
	text          string
	manner        manner
	declared      *leak.Declared // codes that the record declares
	shift         int            // days by which a date in the text moves; 0: the date is removed
	day           time.Time      // of the session
	initials      []string       // of its subject
}

// search adds to v.places a value that a person typed freely. Enumerated values,
// dates and times are not searched: the plan's schema fixes their form.
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

// id returns the id of a finding, or "" without a key. It depends on class, basis and
// place of the finding and on the whole text: when the text changes, earlier decisions
// no longer apply.
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

// matches searches text, which is the text of p before or after redactions, and
// returns the matches by start.
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

// meant reports whether the plan lets m leave on purpose. That holds for a whole postal
// code or city in a kept field of that name, which a limited data set may contain (45
// CFR 164.514(e)(2)(ii)). Anything else in such a field is a finding.
//
// It also holds for a postal or mail address or a telephone number in the contact of a
// study, unless the roster lists it. A name in that field is a finding.
func (p *place) meant(m leak.Match) bool {
	if p.file == "study.json" && p.pointer == "/contact" {
		return m.Class != "A" && strings.HasPrefix(m.Basis, "pattern: ")
	}
	field := p.pointer[strings.LastIndexByte(p.pointer, '/')+1:]
	return p.manner == fixed && (field == "postal_code" || field == "city") && m.Class == "B" &&
		strings.TrimSpace(p.text) == p.text[m.Start:m.End] &&
		(m.Basis == "roster: "+field || strings.HasPrefix(m.Basis, "pattern: "))
}

// instead returns the text that replaces a redacted m, or "" for a mask. Only a date
// is replaced by another text: if the plan shifts dates and m can be read in one way
// only, it moves by the subject's shift, which preserves intervals. A date of the
// roster is masked, and so is one that the words around it call a birth date; the
// search reports both with more confidence than Possible.
func (p *place) instead(m leak.Match) string {
	if p.shift == 0 || m.Class != "C" || m.Basis != "pattern: date" || m.Confidence != leak.Possible {
		return ""
	}
	moved, _ := movedDate(p.text[m.Start:m.End], p.shift, p.day)
	return moved
}

// certain reports whether m is redacted without a person's decision: in free text a
// sure identifier is removed, and a date is moved if possible. In any other place an
// identifier shows that something is wrong, and a person must look.
func (p *place) certain(m leak.Match) bool {
	return p.manner == words && (m.Confidence == leak.Sure || p.instead(m) != "")
}

// settled is a text after the decisions on its findings.
type settled struct {
	text     string
	findings []leak.Finding // by Start; offsets refer to the original text
	removed  []span         // masks and moved dates, in bytes of text
}

// keeps reports whether a person decided to keep a finding.
func (s settled) keeps() bool {
	return slices.ContainsFunc(s.findings, func(f leak.Finding) bool { return f.Decision == "keep" })
}

// settle searches p, redacts what is certain and what dec decides, and repeats this
// with the result until nothing new is found: a redaction may bring words together that
// form an identifier. Matches within our own replacements do not count.
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
			if k.end = 0; !seen[k] { // otherwise it is the same finding, now longer
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

// cuts are the redacted spans of a text, sorted, with other text between them.
type cuts []cut

type cut struct {
	start, end int
	words      []string // kinds of identifier that were there
	instead    string   // replacement; "": a mask with words
}

// add returns c with m redacted as well. Cuts that touch, or are separated by blanks
// only, become one.
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
		out[last].instead = "" // a date next to another identifier is masked with it
		for _, w := range next.words {
			if !slices.Contains(out[last].words, w) {
				out[last].words = append(slices.Clip(out[last].words), w)
			}
		}
	}
	return out
}

// A part is a span of a redacted text, with its origin.
type part struct {
	start, end int  // in the redacted text
	from, to   int  // in the original text
	ours       bool // a replacement
}

type parts []part

// apply returns text with the cuts replaced as how requires, and its parts in order.
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

// within reports whether a span of the redacted text lies in one replacement.
func (ps parts) within(start, end int) bool {
	for _, p := range ps {
		if p.ours && p.start <= start && end <= p.end {
			return true
		}
	}
	return false
}

// ours returns the replacements as spans of the redacted text.
func (ps parts) ours() (list []span) {
	for _, p := range ps {
		if p.ours {
			list = append(list, span{int64(p.start), int64(p.end)})
		}
	}
	return list
}

// origin returns the span of the original text that corresponds to a span of the
// redacted one. A replacement corresponds to the whole of what it replaced.
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
