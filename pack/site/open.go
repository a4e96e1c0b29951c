// Package site keeps what a site must not forget, and judges what may be done
// with it: which entries a collection's log has, which shipment numbers were
// given and to what, and who has withdrawn.
//
// In: a collection, and the site's key folder, which holds the [State] of each
// study under a keyed checksum. Out: a [Log], which has been compared with the
// state; or a *[ConflictError]. Callers need [Open], and then [Log.Append] and
// its other methods. [Restore] takes a collection for the present one that came
// back from a backup.
//
// Nothing is signed or sealed over a log, decisions or a signature that
// contradict the state. It does not defend the key folder against whoever may
// write it.
package site

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"golang.org/x/crypto/ssh"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/keys/sshsig"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// Files of a collection that the program writes.
const (
	LogName    = "custody.jsonl"
	ReviewName = "review.jsonl"

	namespace = "custody@outbreath" // of the log's signature
)

// What entries of the log are about, in addition to those of package custody.
const (
	Contents  = "contents"  // further subjects of a shipment that is about to be sealed
	Withdrawn = "withdrawn" // consent was withdrawn
	Decided   = "decided"   // on findings: facts ids, action, was
	Amended   = "amended"   // records changed after they were sealed
	Restored  = "restored"  // an officer took the log as it is for the present one
	Repaired  = "repaired"  // a last line was not written to its end
)

// Options say what to open.
type Options struct {
	Collection *schema.Collection // as loaded: nobody left out yet
	Folder     *keys.Folder
	Who        string           // for the entry about a line that is set aside
	Now        func() time.Time // UTC, whole seconds
	Waiting    func()           // called once when another command has had the log for a second; may be nil

	sessions [][]string // as an earlier look found them; nil: those of Collection
}

// A Log is a collection's custody log that agrees with the site's state.
type Log struct {
	*custody.Journal
	State       *State            // as of the last look; nil: there is none yet
	Generations []deid.Generation // newest first
	Keys        []*keys.PseudonymKey
	Review      []byte // review.jsonl
	Signed      int    // entries, from the first, that the signature covered when it was opened

	// For remarks.
	Torn      string // file that an unfinished last line was moved to
	Ended     bool   // the last line lacked its line feed
	Completed bool   // review.jsonl lacked decisions that the log knows

	o        Options
	study    string
	others   []string   // studies that the key folder also knows
	sessions [][]string // of the collection, a pseudonym for each generation
	torn     bool       // the last line is unfinished
	made     *Shipment  // what the next entry "sealing" is about
	restored *restoring
	release  func() // gives the log back to other commands; nil while it is not held
}

// Open compares the collection's log, its signature and its decisions with the
// site's state and changes nothing. The error is a *[ConflictError], or one of
// package custody for a log that cannot be read; with a *custody.TornError comes
// the log of the lines before the one that was not written to its end.
func Open(o Options) (*Log, error) {
	l, err := look(o)
	// Another command may have written between two of the files that were read. Only
	// what is found twice, with nothing changed in between, is a contradiction.
	for until := time.Now().Add(longestWait); err != nil; time.Sleep(20 * time.Millisecond) {
		before := marks(o)
		if l, err = look(o); err == nil || marks(o) == before {
			break
		}
		if time.Now().After(until) {
			return nil, &BusyError{}
		}
	}
	return l, err
}

// look is one look at everything that [Open] compares.
func look(o Options) (*Log, error) {
	l, err := load(o)
	if err != nil && !errors.As(err, new(*custody.TornError)) {
		return nil, err
	}
	conflict, other := l.conflict()
	if other != nil {
		return nil, other
	}
	if conflict != nil {
		return nil, conflict
	}
	return l, err
}

// OpenToAdd is [Open] and [Log.ToAdd] in one.
func OpenToAdd(o Options) (*Log, error) {
	l := &Log{o: o}
	if err := l.ToAdd(); err != nil {
		return nil, err
	}
	return l, nil
}

// ToAdd readies a log for entries: each is signed, and known to the state. It waits
// until no other command adds to the log, takes over what they have added since it
// was opened, and keeps them waiting until [Log.Release]. An unfinished last line is
// set aside first, and decisions that a run which was killed has left out of
// review.jsonl are completed.
func (l *Log) ToAdd() error {
	if l.release != nil {
		return nil
	}
	release, err := hold(l.o)
	if err != nil {
		return err
	}
	o := l.o
	o.sessions = l.sessions // the caller may have taken records out of the collection since
	now, err := Open(o)
	if now != nil {
		err = now.follow(l)
	}
	if err == nil {
		*l = *now
		err = l.ready()
	}
	if err != nil {
		release()
		return err
	}
	l.release = release
	return nil
}

// follow makes l go on where old, an earlier look at the same log, was. The error
// is another log.
func (l *Log) follow(old *Log) error {
	if old.Journal == nil {
		return nil
	}
	if n := len(old.Entries); n > len(l.Entries) || l.Digest(n) != old.Head() {
		return &custody.ChangedError{Path: logPath(l.o.Collection)}
	}
	return nil
}

// load reads all there is to compare. With a *custody.TornError comes the log of
// the whole lines.
func load(o Options) (*Log, error) {
	l := &Log{o: o, study: o.Collection.Study.Study}
	var err error
	if l.Keys, err = o.Folder.Generations(); err != nil {
		return nil, err
	}
	l.Generations = deid.Generations(l.Keys, l.study)
	if l.sessions = o.sessions; l.sessions == nil {
		l.sessions = sessionNames(l.Generations, o.Collection)
	}
	if err := l.oneSpelling(); err != nil {
		return nil, err
	}
	body, err := o.Folder.State(l.study)
	if errors.Is(err, keys.ErrState) {
		return nil, &ConflictError{Kind: StateAltered, Signed: -1, cause: err}
	}
	if err != nil {
		return nil, err
	}
	if l.State, err = parseState(body); err != nil {
		return nil, &ConflictError{Kind: StateAltered, Signed: -1, cause: err}
	}
	if l.Review, err = readReview(o.Collection); err != nil {
		return nil, err
	}
	j, err := custody.Read(o.Collection.Root, LogName)
	if j != nil {
		l.Journal = j
	}
	var torn *custody.TornError
	if l.torn = errors.As(err, &torn); l.torn {
		l.Ended = l.end(torn)
	}
	return l, err
}

// oneSpelling refuses a study code that differs from one that the key folder knows only
// by case or punctuation: the numbers and withdrawals of the study would be unknown
// under it, and both states would be one file on systems that ignore case.
func (l *Log) oneSpelling() (err error) {
	all, err := l.o.Folder.Studies()
	if err != nil {
		return err
	}
	l.others = slices.DeleteFunc(all, func(s string) bool { return s == l.study })
	for _, known := range l.others {
		if schema.SameID(known, l.study) {
			return &schema.ConfigError{File: "study.json", Message: fmt.Sprintf("the study is written %s, but "+
				"these keys know it as %s: "+
				"correct the code in study.json and in the records", l.study, known)}
		}
	}
	return nil
}

// FirstOfStudy reports whether the key folder knows no shipment and no withdrawal of
// the study, and which other studies it knows.
func (l *Log) FirstOfStudy() (first bool, others []string) {
	return l.State == nil || len(l.State.Shipments) == 0 && len(l.State.Withdrawn) == 0, l.others
}

// end takes a last line that lacks only its line feed and is what the state knows.
func (l *Log) end(torn *custody.TornError) bool {
	if l.State == nil {
		return false
	}
	return slices.ContainsFunc(l.State.Logs, func(k KnownLog) bool {
		same := l.id() == k.ID || l.id() == "" && k.ID == k.Head
		return same && k.Length == len(l.Entries)+1 && l.Journal.End(torn, k.Head)
	})
}

// sessionNames returns the pseudonyms of each session, the newest generation first.
func sessionNames(all []deid.Generation, c *schema.Collection) (list [][]string) {
	for _, s := range c.Sessions {
		var names []string
		for _, g := range all {
			if p, err := g.Session(s.ID); err == nil {
				names = append(names, p)
			}
		}
		if len(names) > 0 {
			list = append(list, names)
		}
	}
	return list
}

// id names the log by its first line; "" for an empty one.
func (l *Log) id() string {
	if len(l.Entries) == 0 {
		return ""
	}
	return l.Digest(1)
}

// conflict says how collection and state contradict each other; nil if not.
func (l *Log) conflict() (*ConflictError, error) {
	known, c := l.compare()
	signed, err := l.Journal.Signed(l.verify)
	l.Signed = signed
	sig, err := signatureKind(err)
	if err != nil {
		return nil, err
	}
	if sig != "" {
		signed = -1
	}
	if c != nil {
		if c.Kind == Newer && signed < len(l.Entries) {
			c.Kind = Added
		}
	} else if c = l.compareSignature(known, sig, signed); c == nil && !l.reviewed() {
		c = &ConflictError{Kind: Decisions}
	}
	if c != nil {
		c.Here, c.HeadHere, c.Signed = len(l.Entries), l.Head(), signed
		c.Torn = l.torn
		c.Unproven = c.Here - max(signed, l.vouched(known), 0)
	}
	return c, nil
}

// vouched returns how many entries, from the first, the state knows: an entry fixes
// all that are before it.
func (l *Log) vouched(known *KnownLog) int {
	switch {
	case known == nil || known.Length > len(l.Entries):
		return 0
	case l.arrived(known):
		return known.Pending.Length + 1
	case l.Digest(known.Length) == known.Head:
		return known.Length
	}
	return 0
}

// compare compares the log with the state. known is nil for a new collection.
func (l *Log) compare() (known *KnownLog, c *ConflictError) {
	n := len(l.Entries)
	if n == 0 {
		if old, shared := l.sharing(); old != nil {
			return nil, &ConflictError{Kind: NoLog, Known: old.Length, HeadKnown: old.Head, Last: old.Last,
				Sessions: shared}
		}
		if old, shared := l.sharingTubes(); old != nil {
			return nil, &ConflictError{Kind: NoLog, Known: old.Length, HeadKnown: old.Head, Last: old.Last,
				Tubes: shared}
		}
		return nil, nil
	}
	last := l.Entries[n-1].When
	if l.State == nil {
		return nil, &ConflictError{Kind: NoState, Last: last}
	}
	if known = l.State.log(l.id()); known == nil || known.Length == 0 && known.Pending == nil {
		if old, shared := l.sharing(); old != nil {
			return nil, &ConflictError{Kind: Rewritten, Known: old.Length, HeadKnown: old.Head, Last: old.Last,
				Sessions: shared}
		}
		return nil, &ConflictError{Kind: UnknownLog, Last: last}
	}
	of := func(k Kind, last time.Time) (*KnownLog, *ConflictError) {
		return known, &ConflictError{Kind: k, Known: known.Length, HeadKnown: known.Head, Last: last}
	}
	switch {
	case known.Replaced != "":
		return of(Replaced, known.Last)
	case l.foreign(known):
		return of(Foreign, known.Last)
	case l.arrived(known):
		return known, nil
	case n < known.Length:
		return of(Older, known.Last)
	case l.Digest(known.Length) != known.Head:
		return of(Rewritten, known.Last)
	case n > known.Length:
		return of(Newer, last)
	}
	return known, nil
}

// foreign reports whether a known log is another collection's: none of the sessions
// that it held is here, or more of those that are here are known from another log.
func (l *Log) foreign(known *KnownLog) bool {
	if len(l.sessions) == 0 || len(known.Sessions) == 0 {
		return false
	}
	here := l.shared(known)
	other, most := l.sharing()
	return here == 0 || other.ID != known.ID && other.Replaced == "" && most > here
}

// arrived reports whether the line that the state had announced is the log's last:
// the run was killed after it had been written.
func (l *Log) arrived(known *KnownLog) bool {
	p := known.Pending
	return p != nil && len(l.Entries) == p.Length+1 && l.Head() == p.Line && l.Digest(p.Length) == p.Head
}

// compareSignature judges the signature of a log that agrees with the state.
func (l *Log) compareSignature(known *KnownLog, sig Kind, signed int) *ConflictError {
	if known == nil { // a log without entries
		if sig != "" {
			return &ConflictError{Kind: sig}
		}
		return nil
	}
	if l.arrived(known) && known.Pending.Restored {
		return nil // the line was written over whatever lay there, and says so
	}
	// Entries after these were announced, and so are known, but could not be signed:
	// the next one signs them all.
	switch {
	case sig == NoSignature && known.Signed == 0, sig == "" && signed >= known.Signed:
		return nil
	case sig == "":
		sig = OldSignature
	}
	return &ConflictError{Kind: sig, Known: known.Length, HeadKnown: known.Head, Last: known.Last}
}

// signatureKind makes a kind of what custody says of a signature.
func signatureKind(err error) (Kind, error) {
	var other *keys.SignatureError
	switch {
	case err == nil:
		return "", nil
	case errors.Is(err, custody.ErrUnsigned):
		return NoSignature, nil
	case errors.As(err, &other) && other.Reason == keys.UnknownSigner:
		return OtherSigner, nil
	case errors.As(err, &other), errors.As(err, new(*custody.AlteredError)):
		return BadSignature, nil
	}
	return "", err
}

// sharing returns the log that shares most sessions with the collection, and how
// many; nil if none does.
func (l *Log) sharing() (best *KnownLog, most int) {
	if l.State == nil {
		return nil, 0
	}
	for i := range l.State.Logs {
		if n := l.shared(&l.State.Logs[i]); n > most {
			best, most = &l.State.Logs[i], n
		}
	}
	return best, most
}

// shared counts the sessions of the collection that a known log held.
func (l *Log) shared(known *KnownLog) (n int) {
	held := map[string]bool{}
	for _, p := range known.Sessions {
		held[p] = true
	}
	for _, names := range l.sessions {
		if slices.ContainsFunc(names, func(p string) bool { return held[p] }) {
			n++
		}
	}
	return n
}

// verify checks a signature with the folder's own public key.
func (l *Log) verify(text, sig []byte) error {
	err := l.o.Folder.VerifyOwn(text, sig, namespace)
	if e := new(keys.SignatureError); errors.As(err, &e) && e.Reason == keys.DataChanged {
		return custody.ErrText
	}
	return err
}

// ready has every later entry signed, and announced to the state.
func (l *Log) ready() (err error) {
	if l.Completed { // first: what is added must not come between an entry and its lines
		if err := l.writeReview(); err != nil {
			return err
		}
	}
	if l.torn {
		if l.Torn, err = l.setAside(); err != nil {
			return err
		}
	}
	var signer ssh.Signer
	l.SignWith(func(text []byte) ([]byte, error) {
		if signer == nil {
			if signer, err = l.o.Folder.Signer(); err != nil {
				return nil, err
			}
		}
		return sshsig.Sign(signer, namespace, text)
	})
	l.Watch(l.announce, l.there)
	if l.restored != nil { // an officer's entry is about the line itself
		return nil
	}
	if l.torn {
		l.torn = false
		e := custody.Entry{When: l.o.Now(), Who: l.o.Who, What: Repaired, Why: "the last line lacked its line " +
			"feed, which was added"}
		if l.Torn != "" {
			e.Why, e.Facts = "the last line was not written to its end and was "+
				"set aside", map[string]string{"file": l.Torn}
		}
		if err := l.Append(e); err != nil {
			return err
		}
	}
	return l.recall()
}
