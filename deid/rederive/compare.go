package rederive

import (
	"archive/tar"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"slices"
	"strings"
)

// A Comparison takes the files of a bag in their order. It is for one goroutine.
type Comparison struct {
	findings
	source   Source
	rules    []rule
	root     *step
	counts   []int64 // values of the source by field
	searched int64   // texts that are searched
	sessions []*session
	found    map[string][]Finding // by file of the source
	files    map[string]string    // recordings of the source by NFC of their names
	listed   bool                 // files is filled
	shifted  bool                 // the plan moves the start of sessions
	spoken   bool                 // the plan lets annotations leave
	times    []int                // columns of time in CSV recordings, from 0
	dated    rule                 // of /started_at

	keys   *keyring            // generation of the bag; the newest until one is recognised
	known  bool                // keys was recognised
	byName map[string]*session // by pseudonym under keys

	small    map[string][]byte          // files that are compared at the end, by path
	sums     []sum                      // of all files, in their order
	payload  int64                      // bytes below data/
	number   int                        // of the file in the archive
	archive  bool                       // files came with headers
	marks    []place                    // of replacements, for treatment.json
	seenAs   map[string]map[string]bool // pseudonyms of a subject in the bag
	owner    map[string]string          // subject of a pseudonym in the bag
	moved    map[string]map[int]bool    // shifts of a subject in the bag
	traces   map[string][]mark          // texts of EDF recordings by file of the source
	treated  int                        // records that were compared
	formats  map[string]int             // recordings by format
	moves    int                        // recordings whose time axis was moved
	finished bool
}

type sum struct {
	path string
	hash [sha256.Size]byte
}

// A place is a stretch of a text that leaves.
type place struct {
	file, pointer string
	start, end    int64
}

// New prepares a comparison: it reads every record of the source once. The error is one
// of the folder, or of a plan with an unknown treatment.
func New(ctx context.Context, source Source) (*Comparison, error) {
	if len(source.Keys) == 0 {
		return nil, errors.New("no pseudonym key was given, so nothing can be computed again")
	}
	c := &Comparison{source: source, counts: make([]int64, len(source.Fields)), found: map[string][]Finding{},
		files: map[string]string{}, small: map[string][]byte{}, seenAs: map[string]map[string]bool{},
		owner: map[string]string{}, moved: map[string]map[int]bool{}, traces: map[string][]mark{},
		formats: map[string]int{}}
	for _, f := range source.Fields {
		r, err := ruleOf(f.Treatment)
		if err != nil {
			return nil, err
		}
		c.rules = append(c.rules, r)
		if f.Path == "/started_at" {
			c.dated, c.shifted = r, r.kind == "shift"
		}
		if f.Path == "/recordings/*/content" {
			c.spoken = r.kind == "text" || r.kind == "keep"
		}
	}
	c.root = tree(source.Fields, c.rules)
	c.times = timeColumns(source.Schema)
	for _, f := range source.Findings {
		c.found[f.File] = append(c.found[f.File], f)
	}
	if err := c.readSessions(ctx); err != nil {
		return nil, err
	}
	c.generation(0)
	return c, nil
}

// generation makes the names of the sessions under a generation of the key.
func (c *Comparison) generation(i int) {
	c.keys = newKeyring(c.source.Keys[i], c.source.Study)
	c.byName = make(map[string]*session, len(c.sessions))
	for _, s := range c.sessions {
		c.byName[c.keys.pseudonym("session", s.id)] = s
	}
}

// recognise chooses the generation of the key under which name is a session, as long as
// none has been recognised.
func (c *Comparison) recognise(name string) {
	if c.known {
		return
	}
	for i := range c.source.Keys {
		c.generation(i)
		if c.byName[name] != nil {
			c.known = true
			return
		}
	}
	c.generation(0)
}

// visit prepares the treatment of a session.
func (c *Comparison) visit(s *session) *visit {
	return &visit{session: s, keys: c.keys, name: c.keys.pseudonym("session", s.id),
		who: c.keys.pseudonym("subject", s.subject), days: c.keys.shift(s.subject)}
}

// Limits of files that are held in memory.
const (
	maxSmall = 16 << 20
	maxTag   = 64 << 20
)

// smallFiles are the payload files that are no records and no recordings.
var smallFiles = map[string]string{
	"data/tubes.csv": Tables, "data/handling.csv": Tables, "data/discrepancies.csv": Tables,
	"data/session.schema.json": PlanSchema, "data/treatment.json": Treatment, "data/recordings/summary.json": Summary,
}

// tagFiles are the files of the bag outside its payload, in their order.
var tagFiles = []string{"bag-info.txt", "bagit.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt",
	"tagmanifest-sha256.txt.sig"}

// File compares one file of the bag, by its path in it ("data/tubes.csv"). h is its
// header in the archive, nil before there is one. It reads r to its end. The error is
// that of a reader, never about a difference.
func (c *Comparison) File(path string, h *tar.Header, r io.Reader) error {
	c.number++
	digest := sha256.New()
	in := &counted{r: io.TeeReader(r, digest)}
	if err := c.file(path, in); err != nil {
		return err
	}
	if _, err := io.Copy(io.Discard, in); err != nil {
		return err
	}
	c.name(path)
	if h != nil {
		c.header(path, h, in.n)
	}
	c.sums = append(c.sums, sum{path, sumOf(digest)})
	if strings.HasPrefix(path, "data/") {
		c.payload += in.n
	}
	return nil
}

func sumOf(h hash.Hash) (s [sha256.Size]byte) {
	h.Sum(s[:0])
	return s
}

// A counted reader counts what passed through.
type counted struct {
	r io.Reader
	n int64
}

func (c *counted) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

func (c *Comparison) file(path string, in *counted) error {
	folder, name, _ := strings.Cut(strings.TrimPrefix(path, "data/"), "/")
	switch sort, small := smallFiles[path]; {
	case small:
		c.sort(sort).Files++
		data, err := readAll(in, maxSmall)
		c.small[path] = data
		if errors.Is(err, errLarge) {
			c.small[path] = nil
			c.unlike(sort, path, "", "is larger than such a file may be", 0, maxSmall)
			err = nil
		}
		return err
	case slices.Contains(tagFiles, path):
		c.sort(TagFiles).Files++
		data, err := readAll(in, maxTag)
		c.small[path] = data
		return err
	case strings.HasPrefix(path, "data/") && folder == "sessions":
		return c.session(path, strings.TrimSuffix(name, ".json"), in)
	case strings.HasPrefix(path, "data/") && folder == "recordings":
		return c.recording(path, name, in)
	}
	return c.stranger(path, "is no file of a shipment", in)
}

// stranger counts a file for which the source gives no content.
func (c *Comparison) stranger(path, what string, in *counted) error {
	t := c.sort(Strangers)
	t.Files++
	_, err := io.Copy(io.Discard, in)
	t.Values.Mismatched++
	t.Bytes.Mismatched += in.n
	c.mismatch(c.describe(path), "", what)
	return err
}

// describe returns the path of a file of the bag, if it has a name that the tool gives
// to one of this collection.
func (c *Comparison) describe(path string) string {
	if smallFiles[path] != "" || slices.Contains(tagFiles, path) {
		return path
	}
	rest, ok := strings.CutPrefix(path, "data/sessions/")
	if ok && c.byName[strings.TrimSuffix(rest, ".json")] != nil && strings.HasSuffix(rest, ".json") {
		return path
	}
	if rest, ok = strings.CutPrefix(path, "data/recordings/"); ok {
		if s, r := c.ofRecording(rest); s != nil && r != nil {
			return path
		}
	}
	folder := ""
	for _, f := range []string{"data/sessions/", "data/recordings/", "data/"} {
		if strings.HasPrefix(path, f) {
			folder = " in " + strings.TrimSuffix(f, "/")
			break
		}
	}
	return fmt.Sprintf("file %d of the archive%s", c.number, folder)
}

// ofRecording returns the session and the recording that leaves as name; nil if there
// is none.
func (c *Comparison) ofRecording(name string) (*session, *recording) {
	if len(name) < 21 {
		return nil, nil
	}
	s := c.byName[name[:21]]
	if s == nil {
		return nil, nil
	}
	for i := range s.recordings {
		if s.recordings[i].leaves(name[:21]) == "recordings/"+name {
			return s, &s.recordings[i]
		}
	}
	return s, nil
}

// alike counts a file that is equal to what was computed.
func (c *Comparison) alike(sort string, values, bytes int64) {
	t := c.sort(sort)
	t.Values.Rederived += values
	t.Bytes.Rederived += bytes
}

// unlike counts a file, or a part of one, that differs.
func (c *Comparison) unlike(sort, path, field, what string, values, bytes int64) {
	t := c.sort(sort)
	t.Values.Mismatched += values
	t.Bytes.Mismatched += bytes
	c.mismatch(c.describe(path), field, what)
}

// untestable counts a file, or a part of one, that cannot be computed.
func (c *Comparison) untestable(sort, what, why string, values, bytes int64) {
	t := c.sort(sort)
	t.Values.NotTested += values
	t.Bytes.NotTested += bytes
	c.cannot(what, why, values)
}

// session compares a record.
func (c *Comparison) session(path, name string, in *counted) error {
	c.recognise(name)
	s := c.byName[name]
	switch {
	case s == nil || path != "data/sessions/"+name+".json":
		return c.stranger(path, "is no session of the collection under the site's key", in)
	case s.leftOut:
		return c.stranger(path, "is of a subject who has withdrawn; nothing of theirs may leave", in)
	case s.seen:
		return c.stranger(path, "is in the bag twice", in)
	}
	s.seen = true
	c.sort(Records).Files++
	data, err := readAll(in, maxJSON)
	if errors.Is(err, errLarge) {
		c.unlike(Records, path, "", "is larger than a record may be", 1, maxJSON)
		return nil
	} else if err != nil {
		return err
	}
	source, err := c.record(s.file)
	if err != nil {
		c.untestable(Records, "a record", "its source cannot be read any more", 1, int64(len(data)))
		return nil
	}
	v := c.visit(s)
	v.counted = true
	made, err := c.derive(v, source, c.root, "")
	c.searched += v.sums + 1
	if err != nil || made == nil {
		c.unlike(Records, path, "", "cannot be the record that the source gives: "+fmt.Sprint(err), 1, int64(len(data)))
		return nil
	}
	c.treated++
	there, err := parse(data)
	if err != nil {
		c.unlike(Records, path, "", "is not a JSON text that can be read here", 1, int64(len(data)))
		return nil
	}
	c.observe(s, there)
	c.trees(Records, path, made, there, data)
	return nil
}

// trees compares a JSON file with what was computed, and counts it.
func (c *Comparison) trees(sort, path string, made, there *node, data []byte) {
	d := &difference{c: c, path: path, sort: sort}
	d.compare(made, there, "")
	if !d.bad && string(made.write()) != string(data) {
		d.report("", "is written in another form than the tool writes: order, blanks, line ends or escapes", 0)
	}
	t := c.sort(sort)
	t.Values.add(Count{Rederived: d.right, Mismatched: d.wrong})
	if d.bad {
		t.Bytes.Mismatched += int64(len(data))
	} else {
		t.Bytes.Rederived += int64(len(data))
	}
}

// observe notes under which pseudonym and with which shift a subject leaves.
func (c *Comparison) observe(s *session, there *node) {
	if p := there.at("/subject/subject_id").str(); p != "" {
		if c.seenAs[s.subject] == nil {
			c.seenAs[s.subject] = map[string]bool{}
		}
		c.seenAs[s.subject][p] = true
		if other, ok := c.owner[p]; ok && other != s.subject {
			c.mismatch("data/sessions", "/subject/subject_id", "two subjects have one pseudonym")
		}
		c.owner[p] = s.subject
	}
	if !c.shifted {
		return
	}
	leaves := there.at("/started_at").str()
	if leaves == "" {
		leaves = there.at("/started_at/date").str()
	}
	if len(leaves) < 10 {
		return
	}
	if d, ok := parseDay(leaves[:10]); ok {
		if c.moved[s.subject] == nil {
			c.moved[s.subject] = map[int]bool{}
		}
		c.moved[s.subject][int(s.started.day-d)] = true
	}
}

// A difference compares two trees, and counts their values.
type difference struct {
	c            *Comparison
	path, sort   string
	right, wrong int64 // values that are there
	bad          bool  // something differs
}

func (d *difference) report(pointer, what string, values int64) {
	d.wrong += values
	d.bad = true
	d.c.mismatch(d.c.describe(d.path), pointer, what)
}

// compare walks over what was computed and what is there. An open text of made becomes
// what is there, if it may.
func (d *difference) compare(made, there *node, pointer string) {
	switch {
	case made.kind != there.kind:
		d.report(pointer, "is of another kind than what was computed", there.leaves())
	case made.kind == object:
		d.members(made, there, pointer)
	case made.kind == array:
		for i, item := range there.items {
			at := fmt.Sprintf("%s/%d", pointer, i)
			if i < len(made.items) {
				d.compare(made.items[i], item, at)
			} else {
				d.report(at, "is not among what was computed", item.leaves())
			}
		}
		if n := len(made.items) - len(there.items); n > 0 {
			d.report(pointer, fmt.Sprintf("lacks %d of the entries that were computed", n), 0)
		}
	case made.open != nil:
		marks, ok := made.open.leaves(there.text)
		if !ok {
			d.report(pointer, "is not the text of the source with the decided parts replaced", 1)
			return
		}
		for _, m := range marks {
			d.c.marks = append(d.c.marks, place{strings.TrimPrefix(d.path, "data/"), pointer, int64(m.start),
				int64(m.end)})
		}
		made.text = there.text
		d.right++
	case made.text != there.text:
		d.report(pointer, "differs from what source, plan and key give", 1)
	default:
		d.right++
	}
}

func (d *difference) members(made, there *node, pointer string) {
	for i, name := range there.names {
		if m := made.member(name); m != nil {
			d.compare(m, there.items[i], pointer+"/"+name)
		} else {
			d.report(pointer, "has a member that was not computed", there.items[i].leaves())
		}
	}
	for _, name := range made.names {
		if there.member(name) == nil {
			d.report(pointer+"/"+name, "is missing", 0)
		}
	}
}
