package sessionlog

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"maps"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"outbreath/pack/durable"
	"outbreath/schema"
	"outbreath/schema/sampler"
)

// SettingsFile is the file of a collection that keeps [Settings].
const SettingsFile = "log-settings.json"

// Settings are what a person has said about the logs of a site, so that nothing is
// asked twice. The zero value is that of a site that has been asked nothing.
type Settings struct {
	Headings []Heading `json:"headings,omitempty"`
	Dates    string    `json:"dates,omitempty"`    // "day-first", "month-first", "year-first" or ""
	Decimals string    `json:"decimals,omitempty"` // "comma", "point" or ""
	Zone     string    `json:"zone,omitempty"`     // IANA name, used where Inputs has none

	// Samplers are the forms of the samplers' tables, as a person has checked them.
	Samplers []sampler.Profile `json:"samplers,omitempty"`

	// GasKPa is the pressure of the air where recordings give CO2 as a share of the gas and
	// the log has no pressure of the room; 0 if nobody has said.
	GasKPa float64 `json:"gas_kpa,omitempty"`

	// Answers holds the Value of the choice that was taken, by the doubt's ID.
	Answers map[string]string `json:"answers,omitempty"`
}

// A Heading says which field a column of a log holds.
type Heading struct {
	Sheet   string `json:"sheet,omitempty"` // "sessions", "tubes" ... of [Column.Sheet]; "" for all
	Heading string `json:"heading"`         // as written; compared without case, accents and marks
	Field   string `json:"field"`           // "/tubes/*/barcode", "roster:phone", "date"; "-": not read
}

// Set puts h in the place of what was said before of that heading.
func (s *Settings) Set(h Heading) {
	for i, o := range s.Headings {
		if o.Sheet == h.Sheet && normal(o.Heading) == normal(h.Heading) {
			s.Headings[i] = h
			return
		}
	}
	s.Headings = append(s.Headings, h)
}

// field returns what was said of a heading in a sheet.
func (s *Settings) field(sheet, heading string) string {
	found, key := "", normal(heading)
	for _, h := range s.Headings {
		if normal(h.Heading) != key {
			continue
		}
		if h.Sheet == sheet {
			return h.Field
		}
		if h.Sheet == "" {
			found = h.Field
		}
	}
	return found
}

// Answer takes the choice with the given value as the answer to d.
func (s *Settings) Answer(d Doubt, value string) {
	switch d.Option {
	case "column":
		s.Set(Heading{Sheet: d.Sheet, Heading: d.Heading, Field: value})
	case "dates":
		s.Dates = value
	case "decimals":
		s.Decimals = value
	case "zone":
		s.Zone = value
	case "gas-kpa":
		s.GasKPa, _ = strconv.ParseFloat(strings.ReplaceAll(value, ",", "."), 64)
	default:
		if s.Answers == nil {
			s.Answers = map[string]string{}
		}
		s.Answers[d.ID] = value
	}
}

// single begins the IDs of doubts about one recording, or about values of one session.
var single = []string{RecordingDoubt(""), "changed-", "renumbered-", "odd-"}

// DropSingle forgets the answers about single recordings and sessions, which another
// week's log does not have: a recording of the same name is another one there.
func (s *Settings) DropSingle() {
	maps.DeleteFunc(s.Answers, func(id, _ string) bool {
		return slices.ContainsFunc(single, func(kind string) bool { return strings.HasPrefix(id, kind) })
	})
}

// ReadSettings reads those of a collection; they are the zero value if it has none.
func ReadSettings(root *os.Root) (*Settings, error) {
	data, err := durable.Read(root, SettingsFile, maxSettings)
	if errors.Is(err, fs.ErrNotExist) {
		return &Settings{}, nil
	}
	if err != nil {
		return nil, err
	}
	return ParseSettings(data)
}

// Write keeps the settings in a collection.
func (s *Settings) Write(root *os.Root) error {
	return durable.Replace(root, SettingsFile, s.Encode(), 0o600)
}

const maxSettings = 16 << 20 // bytes

// IsZone reports whether name is one of the IANA time zone database.
func IsZone(name string) bool {
	_, err := time.LoadLocation(name)
	return err == nil && name != "" && name != "Local"
}

// ParseSettings reads what [Settings.Encode] wrote.
func ParseSettings(data []byte) (*Settings, error) {
	s := &Settings{}
	dec := json.NewDecoder(bytes.NewReader(data))
	if err := dec.Decode(s); err != nil || dec.More() {
		return nil, &schema.ConfigError{File: SettingsFile, Message: "is not in the form in which it was written: " +
			"remove it, and the questions are asked again"}
	}
	return s, nil
}

// Encode returns the settings as JSON; equal settings give equal bytes.
func (s *Settings) Encode() []byte {
	data, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		panic(err) // texts, lists and maps of texts cannot fail
	}
	return append(data, '\n')
}
