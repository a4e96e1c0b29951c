package audit

import (
	"cmp"
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/base32"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"outbreath/schema"
)

// targets maps the first 64 bits of each pseudonym, decoded in every usual encoding of
// bytes, to the place of the pseudonym.
type targets map[uint64]string

var crockford = base32.NewEncoding("0123456789ABCDEFGHJKMNPQRSTVWXYZ").WithPadding(base32.NoPadding)

// add decodes text as Crockford base32, hexadecimal, base32 and base64, and enters each
// result of eight bytes or more.
func (t targets) add(text, where string) {
	put := func(b []byte, err error) {
		if err == nil && len(b) >= 8 {
			t[binary.BigEndian.Uint64(b)] = where
		}
	}
	s := strings.ToUpper(strings.NewReplacer("-", "", " ", "").Replace(text))
	for n := len(s); n >= 13 && n >= len(s)-1; n-- { // with and without a check character
		put(crockford.DecodeString(s[:n/8*8+[]int{0, 0, 2, 2, 4, 5, 5, 7}[n%8]]))
	}
	put(hex.DecodeString(s[:len(s)&^1]))
	put(base32.StdEncoding.WithPadding(base32.NoPadding).DecodeString(strings.TrimRight(s, "=")))
	raw := strings.TrimRight(text, "=")
	put(base64.RawStdEncoding.DecodeString(raw))
	put(base64.RawURLEncoding.DecodeString(raw))
}

// pseudonyms returns the targets for all fields that the plan turns into pseudonyms.
func (e *examiner) pseudonyms() targets {
	t := targets{}
	for _, f := range e.in.Fields {
		if f.treatment().Kind != schema.Pseudonym {
			continue
		}
		for _, r := range e.o.Records {
			for _, l := range r.Leaves {
				if l.Path == f.Path && l.Text != "" {
					t.add(l.Text, r.Name+" "+l.Pointer())
				}
			}
		}
	}
	return t
}

// A hasher compares hashes with targets. Each goroutine needs its own.
type hasher struct {
	t     targets
	tried int64
	found map[string]bool // places
	buf   []byte
}

// try hashes id with each pair of salts around it, by all algorithms of hashKinds.
func (h *hasher) try(id string, salts [][2]string) {
	for _, s := range salts {
		h.buf = append(append(append(h.buf[:0], s[0]...), id...), s[1]...)
		m, s1, s2, s5 := md5.Sum(h.buf), sha1.Sum(h.buf), sha256.Sum256(h.buf), sha512.Sum512(h.buf)
		for _, head := range [4]uint64{binary.BigEndian.Uint64(m[:]), binary.BigEndian.Uint64(s1[:]),
			binary.BigEndian.Uint64(s2[:]), binary.BigEndian.Uint64(s5[:])} {
			if where, ok := h.t[head]; ok {
				h.found[where] = true
			}
		}
		h.tried += 4
	}
}

// forms returns the spellings of an identifier to try, each once.
func forms(id string) []string {
	bare := strings.Map(func(r rune) rune {
		if strings.ContainsRune(" -._/", r) {
			return -1
		}
		return r
	}, id)
	list := []string{id, strings.ToUpper(id), strings.ToLower(id), bare, strings.ToUpper(bare), strings.ToLower(bare)}
	slices.Sort(list)
	return slices.Compact(list)
}

// salts returns the texts that people put before and after an identifier before they
// hash it: nothing, or the study code with a separator.
func salts(study string) [][2]string {
	list := [][2]string{{}}
	if study != "" {
		for _, sep := range []string{"", ":", "-", "|"} {
			list = append(list, [2]string{study + sep, ""}, [2]string{"", sep + study})
		}
	}
	return list
}

// identifiers returns the identifiers of subjects and sessions in the roster and in the
// site's records; with all also operators, the other numbers of the roster, mail
// addresses, and names with birth dates.
func (e *examiner) identifiers(all bool) []string {
	seen := map[string]bool{}
	if e.in.Roster != nil {
		for _, row := range e.in.Roster.Rows {
			for _, column := range []string{"subject_id", "mrn", "national_id", "email", "phone"} {
				if row[column] != "" && (all || column == "subject_id") {
					seen[row[column]] = true
				}
			}
			if all {
				seen[row["family_name"]+row["given_name"]+row["birth_date"]] = true
			}
		}
	}
	for _, s := range e.in.Source {
		seen[s.ID], seen[s.Subject] = true, true
		if all && s.Operator != "" {
			seen[s.Operator] = true
		}
	}
	list := make([]string, 0, len(seen))
	for id := range seen {
		list = append(list, id)
	}
	slices.Sort(list)
	return list
}

// hashKinds names the algorithms of hasher.try.
const hashKinds = "MD5, SHA-1, SHA-256, SHA-512"

// rosterHashes tries the unkeyed hashes of every identifier of the site.
func (e *examiner) rosterHashes() Attack {
	a := Attack{Name: "hashes of the roster", Unit: "hashes", Knows: "the roster, and how an unkeyed hash is made"}
	ids := e.identifiers(true)
	if len(ids) == 0 {
		a.Verdict, a.Detail, a.Lacks = NotRun, "there is no roster here", LacksRoster
		return a
	}
	h := &hasher{t: e.pseudonyms(), found: map[string]bool{}}
	with := salts(e.in.Study)
	for _, id := range ids {
		for _, form := range forms(id) {
			h.try(form, with)
		}
	}
	return e.hashed(a, h.tried, h.found, fmt.Sprintf("%d identifiers (subject, session, operator, record, national "+
		"and telephone numbers, mail addresses, name with birth date) in every spelling, with %s, alone and with "+
		"the study code, against %d pseudonyms", len(ids), hashKinds, len(h.t)))
}

// hashed completes the result of an attack with hashes; found are the places of
// pseudonyms that are hashes.
func (e *examiner) hashed(a Attack, tried int64, found map[string]bool, how string) Attack {
	a.Tried, a.Succeeded, a.Verdict, a.Detail = tried, int64(len(found)), Holds, how
	if len(found) > 0 {
		a.Verdict = Broken
		places := make([]string, 0, len(found))
		for where := range found {
			places = append(places, where)
		}
		slices.Sort(places)
		for _, where := range places {
			e.is.add("pseudonym.hash", true, where, "this pseudonym is an unkeyed hash of an identifier, which "+
				"anybody can compute", stop)
		}
	}
	return a
}

// A pattern is an identifier in which every run of digits may be any number of
// that length.
type pattern struct {
	parts  []string // fixed text, then digits, by turns: "LARK2-WEIR-", "003", ""
	digits int
}

// patternOf returns the pattern of id, and a key that is equal for equal patterns:
// "LARK#-WEIR-###".
func patternOf(id string) (p pattern, key string) {
	run := strings.Builder{}
	inDigits := false
	end := func() {
		p.parts = append(p.parts, run.String())
		if inDigits {
			p.digits += run.Len()
			key += strings.Repeat("#", run.Len())
		} else {
			key += run.String()
		}
		run.Reset()
	}
	for _, r := range id {
		if d := r >= '0' && r <= '9'; d != inDigits {
			end()
			inDigits = d
		}
		run.WriteRune(r)
	}
	end()
	return p, key
}

// id returns the n-th identifier of the pattern: the decimal digits of n fill its
// digits from the right. It reuses buf.
func (p pattern) id(buf []byte, n int64) []byte {
	buf = buf[:0]
	for _, part := range p.parts {
		buf = append(buf, part...)
	}
	at := len(buf)
	for i := len(p.parts) - 1; i >= 0; i-- {
		at -= len(p.parts[i])
		if i%2 == 1 {
			for j := len(p.parts[i]) - 1; j >= 0; j-- {
				buf[at+j] = byte('0' + n%10)
				n /= 10
			}
		}
	}
	return buf
}

// patternHashes tries every identifier that looks like one of the site's.
func (e *examiner) patternHashes() Attack {
	a := Attack{Name: "hashes of every possible identifier", Unit: "hashes",
		Knows: "what the site's identifiers look like, and how an unkeyed hash is made"}
	most := int64(e.in.MaxIDs)
	if most == 0 {
		most = 10_000_000
	}
	spaces := map[string]pattern{}
	for _, id := range e.identifiers(false) {
		if p, key := patternOf(id); p.digits > 0 {
			spaces[key] = p
		}
	}
	if len(spaces) == 0 {
		a.Verdict, a.Detail, a.Lacks = NotRun, "there is no identifier here whose form could be tried", LacksRoster
		return a
	}
	keys := make([]string, 0, len(spaces))
	for key := range spaces {
		keys = append(keys, key)
	}
	slices.SortFunc(keys, func(x, y string) int {
		return cmp.Or(cmp.Compare(spaces[x].digits, spaces[y].digits), cmp.Compare(x, y))
	})
	t := e.pseudonyms()
	found := map[string]bool{}
	var tried, ids int64
	cut := false
	for _, key := range keys {
		p := spaces[key]
		n := int64(1)
		for range min(p.digits, 15) {
			n *= 10
		}
		if n > most-ids {
			n, cut = most-ids, true
		}
		ids += n
		tried += e.sweep(p, n, t, found)
	}
	how := fmt.Sprintf("%d identifiers of %d patterns (every digit from 0 to 9), with %s", ids, len(spaces), hashKinds)
	if cut {
		how += "; the patterns allow more than were tried"
	}
	return e.hashed(a, tried, found, how)
}

// fullSpace is the number of identifiers up to which a pattern is tried in every
// spelling, and also with the study code in two of them (as written; in lower case
// without separators). Identifiers of a larger pattern are tried as written and without
// separators only.
const fullSpace = 200_000

// sweep tries the first n identifiers of p on all cores, adds to found the places of
// pseudonyms that are hashes, and returns the number of hashes tried.
func (e *examiner) sweep(p pattern, n int64, t targets, found map[string]bool) int64 {
	const batch = 1 << 13
	var next, tried atomic.Int64
	var mu sync.Mutex
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			h := &hasher{t: t, found: map[string]bool{}}
			with := salts(e.in.Study)
			alone := with[:1]
			var buf []byte
			for from := next.Add(batch) - batch; from < n; from = next.Add(batch) - batch {
				for i := from; i < min(n, from+batch); i++ {
					buf = p.id(buf, i)
					id := string(buf)
					bare := strings.ToLower(squeeze(id))
					if n > fullSpace {
						h.try(id, alone)
						if squeezed := squeeze(id); squeezed != id {
							h.try(squeezed, alone)
						}
						continue
					}
					for _, form := range forms(id) {
						if form == id || form == bare {
							h.try(form, with)
						} else {
							h.try(form, alone)
						}
					}
				}
			}
			tried.Add(h.tried)
			mu.Lock()
			defer mu.Unlock()
			for where := range h.found {
				found[where] = true
			}
		})
	}
	wg.Wait()
	return tried.Load()
}
