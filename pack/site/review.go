package site

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"strconv"
	"strings"

	"outbreath/deid/leak"
	"outbreath/pack/custody"
	"outbreath/pack/durable"
	"outbreath/schema"
)

// review.jsonl is the file that people read. The log is what counts: each entry
// "decided" says who, when, what and why, what was decided before, and the digest
// of review.jsonl with its lines. So the file is bound by the chain and the state.

// maxReview bounds review.jsonl, bytes.
const maxReview = 64 << 20

func readReview(c *schema.Collection) ([]byte, error) {
	data, err := durable.Read(c.Root, ReviewName, maxReview)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	return data, err
}

func sum(b []byte) string {
	s := sha256.Sum256(b)
	return hex.EncodeToString(s[:])
}

const (
	factReview = "review_sha256"
	factBytes  = "review_bytes"
)

// reviewed reports whether review.jsonl is what the log says. The lines of the
// log's last entry may be missing from its end: the run was killed before they
// were written. They are completed in l.Review.
func (l *Log) reviewed() bool {
	want := sum(nil)
	at := -1
	for i, e := range l.Entries {
		if s, ok := e.Facts[factReview]; ok {
			want, at = s, i
		}
	}
	if sum(l.Review) == want {
		return true
	}
	if at < 0 || at != len(l.Entries)-1 || l.Entries[at].What != Decided {
		return false
	}
	lines := decisionLines(l.Entries[at])
	size, err := strconv.Atoi(l.Entries[at].Facts[factBytes])
	part := len(l.Review) - (size - len(lines))
	if err != nil || part < 0 || part >= len(lines) || !bytes.HasSuffix(l.Review, lines[:part]) {
		return false
	}
	whole := append(bytes.Clone(l.Review), lines[part:]...)
	if sum(whole) != want {
		return false
	}
	l.Review, l.Completed = whole, true
	return true
}

// noReason is in the log where nobody had to say why.
const noReason = "decided in review"

// decisionLines returns the lines of review.jsonl that an entry "decided" is about.
func decisionLines(e custody.Entry) (lines []byte) {
	reason := e.Why
	if reason == noReason {
		reason = ""
	}
	for _, id := range strings.Fields(e.Facts["ids"]) {
		d := leak.Decision{ID: id, Action: e.Facts["action"], Reason: reason, Who: e.Who, When: e.When}
		lines = append(lines, d.Format()...)
	}
	return lines
}

// Decide records one decision on several findings: in the log, then in
// review.jsonl. e says who and when; was has the earlier decision on an id, if
// there is one.
func (l *Log) Decide(e custody.Entry, action, reason string, ids []string, was func(id string) string) error {
	for len(ids) > 0 {
		some := ids[:min(len(ids), contentsPerEntry)]
		ids = ids[len(some):]
		e.What, e.Why = Decided, reason
		if reason == "" {
			e.Why = noReason
		}
		var before []string
		for _, id := range some {
			w := was(id)
			if w == "" {
				w = "-"
			}
			before = append(before, w)
		}
		e.Facts = map[string]string{"action": action, "ids": strings.Join(some, " "), "was": strings.Join(before, " ")}
		whole := append(bytes.Clone(l.Review), decisionLines(e)...)
		if len(whole) > maxReview {
			return &schema.ConfigError{File: ReviewName, Message: "has no room for more decisions"}
		}
		e.Facts[factReview], e.Facts[factBytes] = sum(whole), strconv.Itoa(len(whole))
		if err := l.Append(e); err != nil {
			return err
		}
		l.Review = whole
		if err := l.writeReview(); err != nil {
			return err
		}
	}
	return nil
}

// writeReview appends to review.jsonl what it lacks of l.Review; it only ever grows.
func (l *Log) writeReview() error {
	root, flag := l.o.Collection.Root, os.O_WRONLY|os.O_APPEND
	f, err := durable.OpenToChange(root, ReviewName, flag)
	if errors.Is(err, fs.ErrNotExist) {
		f, err = durable.Create(root, ReviewName, flag)
	}
	if err != nil {
		return err
	}
	info, err := f.Stat()
	if err == nil && info.Size() > int64(len(l.Review)) {
		err = &custody.ChangedError{Path: ReviewName}
	}
	if err == nil {
		_, err = f.Write(l.Review[info.Size():])
	}
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}
