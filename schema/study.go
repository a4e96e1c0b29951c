package schema

import (
	_ "embed"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A Study is the contents of study.json.
type Study struct {
	Study, Site   string // codes: letters, digits and hyphens
	Contact       string // an institution's telephone or address
	Plan          string
	HoldingDays   int           // default 30
	UncappedLimit time.Duration // default 120 s
	TimeLimit     time.Duration // default 12 min
	ReceiptDays   int           // default 14: then a shipment without receipt is overdue
	ReuseDays     int           // default 0: a sent tube is reused only after an acknowledged shipment
	Zone          string        // IANA name of the zone of the site's clocks; "" if study.json has none
	GapDays       int           // default 7: sessions of one folder with a longer gap between them are odd
	ClockDrift    time.Duration // default 10 min: by how much a sampler's clock may be wrong
	// names of the recipients that shipments are encrypted for; empty: all that the key folder trusts
	Recipients []string
}

const studyFile = "study.json"

// contactToWrite is how the contact of a new folder begins: see [Begin].
const contactToWrite = "WRITE HERE"

//go:embed study.schema.json
var studySchema []byte

// parseStudy reads study.json. The error is a *[ConfigError].
func parseStudy(data []byte) (*Study, error) {
	n, err := ParseJSON(data)
	if e, ok := err.(*SyntaxError); ok {
		return nil, &ConfigError{File: studyFile, Message: fmt.Sprintf("line %d, column %d: %s", e.Line, e.Column,
			e.Message)}
	}
	v, err := CompileOutgoing(studySchema)
	if err != nil {
		return nil, err
	}
	if problems := v.Validate(studyFile, n); len(problems) > 0 {
		return nil, &ConfigError{File: studyFile, Message: sentence(problems)}
	}
	if _, message, found := Hidden(n.Member("contact").Text); found {
		return nil, &ConfigError{File: studyFile, Message: "the contact: " + message}
	}
	s := &Study{
		Study: n.Member("study").Text, Site: n.Member("site").Text,
		Contact:       strings.TrimSpace(n.Member("contact").Text),
		Plan:          "shifted",
		HoldingDays:   whole(n.Member("holding_days"), 30),
		UncappedLimit: time.Duration(whole(n.Member("uncapped_limit_s"), 120)) * time.Second,
		TimeLimit:     time.Duration(whole(n.Member("time_limit_min"), 12)) * time.Minute,
		ReceiptDays:   whole(n.Member("receipt_days"), 14),
		ReuseDays:     whole(n.Member("reuse_days"), 0),
		GapDays:       whole(n.Member("gap_days"), 7),
		ClockDrift:    time.Duration(whole(n.Member("clock_drift_min"), 10)) * time.Minute,
	}
	if list := n.Member("recipients"); list != nil {
		for _, name := range list.Items {
			s.Recipients = append(s.Recipients, name.Text)
		}
	}
	if p := n.Member("plan"); p != nil {
		s.Plan = p.Text
	}
	if s.Zone = n.Member("zone").text(); s.Zone != "" {
		if _, err := time.LoadLocation(s.Zone); err != nil || s.Zone == "Local" {
			return nil, &ConfigError{File: studyFile, Message: `"zone" must name a time zone as continent and city, such ` +
				`as "Europe/Berlin", or be "UTC"`}
		}
	}
	return s, nil
}

// sentence joins up to three problems into one message.
func sentence(problems []Problem) string {
	var parts []string
	for _, p := range problems[:min(len(problems), 3)] {
		parts = append(parts, fmt.Sprintf("line %d, column %d: %s", p.Line, p.Column, p.Message))
	}
	if more := len(problems) - len(parts); more > 0 {
		parts = append(parts, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(parts, "; ")
}

// whole returns an integer that the schema has checked, or otherwise if n is nil. "30.0" and
// "3e1" are integers too.
func whole(n *Node, otherwise int) int {
	if n == nil {
		return otherwise
	}
	f, err := strconv.ParseFloat(n.Text, 64)
	if err != nil {
		return otherwise
	}
	return int(f)
}

// loadPlan returns the plan that study.json names: a built-in one, or a schema
// in the collection folder.
func loadPlan(root *os.Root, name string) (*Plan, error) {
	if slices.Contains(Builtin(), name) {
		return LoadPlan(name)
	}
	name = strings.TrimPrefix(name, "./")
	if !filepath.IsLocal(filepath.FromSlash(name)) || strings.Contains(name, `\`) {
		return nil, &ConfigError{File: studyFile, Message: `"plan" must be "shifted", "limited", "year-only" or ` +
			`the path of a schema in the collection folder, with / between folders`}
	}
	if top, _, _ := strings.Cut(name, "/"); top == sessionsDir || top == recordingsDir {
		return nil, &ConfigError{File: studyFile, Message: `"plan" names a file among the records or recordings: ` +
			`move the schema to the top of the folder`}
	}
	data, err := readPlain(root, name, maxSchemaBytes)
	if err != nil {
		return nil, explainFile(err, studyFile, `"plan" names a file that is not in the collection folder: correct `+
			`it, or write "shifted", "limited" or "year-only"`)
	}
	return ParsePlan(name, data)
}
