package leak

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"
)

// A Decision is one line of review.jsonl.
type Decision struct {
	ID     string    `json:"id"`
	Action string    `json:"action"` // "redact" or "keep"
	Reason string    `json:"reason"` // required for keep; never the value
	Who    string    `json:"who"`
	When   time.Time `json:"when"` // UTC
}

// Decisions holds the decisions in force. The last decision on an id counts. A nil
// Decisions is empty.
type Decisions struct{ byID map[string]Decision }

// Limits of review.jsonl, in bytes.
const (
	maxReview = 64 << 20
	maxLine   = 64 << 10
	maxID     = 256
)

// ParseDecisions parses review.jsonl; empty data are valid. If a finding has several
// decisions, the last one counts. The error names the line, and does not quote it.
func ParseDecisions(data []byte) (*Decisions, error) {
	if len(data) > maxReview {
		return nil, fmt.Errorf("review.jsonl has %d bytes, more than the %d allowed; move it away and decide again",
			len(data), maxReview)
	}
	d := &Decisions{byID: make(map[string]Decision)}
	for n := 1; len(data) > 0; n++ {
		line, rest, whole := bytes.Cut(data, []byte("\n"))
		if !whole {
			return nil, fmt.Errorf("review.jsonl:%d: the line has no end, so the file may have been cut; "+
				"complete or delete this line", n)
		}
		dec, err := parseDecision(line)
		if err != nil {
			return nil, fmt.Errorf("review.jsonl:%d: %w; correct or delete this line", n, err)
		}
		d.byID[dec.ID] = dec
		data = rest
	}
	return d, nil
}

// Of returns the decision on the finding with this id; ok is false if there is none.
func (d *Decisions) Of(id string) (dec Decision, ok bool) {
	if d == nil {
		return Decision{}, false
	}
	dec, ok = d.byID[id]
	return dec, ok
}

// Format returns d as a line of review.jsonl, with its line feed. The time is written
// in UTC; bytes that are not UTF-8 become U+FFFD.
func (d Decision) Format() []byte {
	d.When = d.When.UTC()
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if enc.Encode(d) != nil { // only a year outside 0 to 9999 cannot be encoded
		d.When = time.Time{}
		_ = enc.Encode(d)
	}
	return b.Bytes()
}

// parseDecision parses one line: an object with exactly the five members. Only reason
// may be absent or empty, and only if the action is "redact".
func parseDecision(line []byte) (d Decision, err error) {
	if len(line) > maxLine {
		return d, fmt.Errorf("the line has more than %d bytes", maxLine)
	}
	if !utf8.Valid(line) {
		return d, fmt.Errorf("the line is not UTF-8")
	}
	members, err := parseMembers(line)
	if err != nil {
		return d, err
	}
	for _, name := range []string{"id", "action", "who", "when"} {
		if _, ok := members[name]; !ok {
			return d, fmt.Errorf("%s is missing", name)
		}
	}
	d = Decision{ID: members["id"], Action: members["action"], Reason: members["reason"], Who: members["who"]}
	if d.ID == "" || len(d.ID) > maxID {
		return d, fmt.Errorf("id is empty or longer than %d bytes", maxID)
	}
	if d.Action != "redact" && d.Action != "keep" {
		return d, fmt.Errorf(`action is neither "redact" nor "keep"`)
	}
	if d.Action == "keep" && strings.TrimSpace(d.Reason) == "" {
		return d, fmt.Errorf("keep needs a reason")
	}
	if d.When, err = time.Parse(time.RFC3339, members["when"]); err != nil {
		return d, fmt.Errorf("when is not a date and time such as 2026-03-01T09:00:00Z")
	}
	d.When = d.When.UTC()
	return d, nil
}

// parseMembers parses an object whose members are strings and have the names of a
// decision's members. json.Unmarshal is too lenient: it ignores the case of names, and
// accepts two equal names.
func parseMembers(line []byte) (map[string]string, error) {
	errCut := fmt.Errorf("the line is not a whole JSON object")
	dec := json.NewDecoder(bytes.NewReader(line))
	if t, err := dec.Token(); err != nil || t != json.Delim('{') {
		return nil, fmt.Errorf("the line is not a JSON object")
	}
	members := map[string]string{}
	for dec.More() {
		t, err := dec.Token()
		if err != nil {
			return nil, errCut
		}
		name, _ := t.(string)
		switch name {
		case "id", "action", "reason", "who", "when":
		default:
			return nil, fmt.Errorf("a member other than id, action, reason, who and when")
		}
		if _, ok := members[name]; ok {
			return nil, fmt.Errorf("two members named %s", name)
		}
		if t, err = dec.Token(); err != nil {
			return nil, errCut
		}
		v, ok := t.(string)
		if !ok {
			return nil, fmt.Errorf("%s is not a string", name)
		}
		members[name] = v
	}
	if _, err := dec.Token(); err != nil {
		return nil, errCut
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, fmt.Errorf("something follows the JSON object")
	}
	return members, nil
}
