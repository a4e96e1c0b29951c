// Package planting puts identifiers where they do not belong in an invented collection,
// for the tests of the searches. No program imports it.
package planting

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"strings"

	"outbreath/schema"
	"outbreath/schema/edf"
)

// A Place is a place where [Put] can put an identifier.
type Place string

const (
	InNotes      Place = "notes"      // free text of the record
	InFileName   Place = "file name"  // of the session's first recording
	InTransducer Place = "transducer" // header field of the session's EDF recording; ASCII only
	InAnnotation Place = "annotation" // of the session's EDF recording
	InKeptField  Place = "kept field" // kit.lot
)

// An Identifier says what to plant where.
type Identifier struct {
	Place   Place
	Session string // "sessions/0004.json"
	Row     int    // of the roster, from 0
	Column  string // of the roster
	Value   string // planted instead of the roster's value, for other spellings of it
}

// Planted says what was planted. Start and End are byte offsets of Value: in
// the string at Pointer of the record, in the name for file names (Pointer is
// then that of the record's member), in the file for EDF recordings.
type Planted struct {
	Identifier        // with Value filled in
	File       string // the record, or the recording
	Pointer    string // RFC 6901; "" in recordings
	Start, End int
}

// Put puts one value of the roster of the collection in dir where it does not belong.
// The collection must be one that demo.Write made, in any state that earlier plantings
// left it in.
func Put(dir string, p Identifier) (Planted, error) {
	done, err := put(dir, p)
	if err != nil {
		return Planted{}, fmt.Errorf("plant in %s of %s: %w", p.Place, p.Session, err)
	}
	return done, nil
}

func put(dir string, p Identifier) (Planted, error) {
	if p.Value == "" {
		var err error
		if p.Value, err = rosterValue(dir, p.Row, p.Column); err != nil {
			return Planted{}, err
		}
	}
	data, err := os.ReadFile(at(dir, p.Session))
	if err != nil {
		return Planted{}, err
	}
	record, err := schema.ParseJSON(data)
	if err != nil {
		return Planted{}, err
	}
	if p.Place == InKeptField { // which has the form of a code
		p.Value = strings.ReplaceAll(p.Value, " ", "-")
	}
	done := Planted{Identifier: p, File: p.Session}
	switch p.Place {
	case InNotes:
		done.Pointer = "/notes"
		notes := record.Member("notes")
		if notes == nil {
			notes = &schema.Node{Kind: schema.String}
			record.Members = append(record.Members, schema.Member{Name: "notes", Value: notes})
		}
		notes.Text, done.Start = surround(notes.Text+"; ask ", p.Value, " again")
	case InKeptField:
		done.Pointer = "/kit/lot"
		lot := record.At(done.Pointer)
		lot.Text, done.Start = surround(lot.Text+"-", p.Value, "")
	case InFileName:
		done.Pointer = "/recordings/0/file"
		file := record.At(done.Pointer)
		old, ext := file.Text, path.Ext(file.Text)
		base := strings.TrimSuffix(path.Base(old), ext)
		var name string
		name, done.Start = surround(base+"-", strings.ReplaceAll(p.Value, "/", "-"), ext)
		file.Text = path.Join(path.Dir(old), name)
		if err := os.Rename(at(dir, old), at(dir, file.Text)); err != nil {
			return Planted{}, err
		}
	case InTransducer, InAnnotation:
		for _, r := range record.Member("recordings").Items {
			if r.Member("format").Text == "edf" {
				done.File = r.Member("file").Text
				done.Start, err = plantEDF(at(dir, done.File), p)
				done.End = done.Start + len(p.Value)
				return done, err
			}
		}
		return Planted{}, errors.New("the session has no EDF recording")
	default:
		return Planted{}, errors.New("no such place")
	}
	done.End = done.Start + len(p.Value)
	return done, os.WriteFile(at(dir, p.Session), record.Encode(), 0o600)
}

func at(dir, file string) string { return filepath.Join(dir, filepath.FromSlash(file)) }

func surround(before, value, after string) (text string, start int) {
	before = strings.TrimPrefix(before, "; ")
	return before + value + after, len(before)
}

// plantEDF plants the value in an EDF file, and returns its byte offset.
func plantEDF(file string, p Identifier) (int, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return 0, err
	}
	h, err := edf.ReadHeader(bytes.NewReader(data))
	if err != nil {
		return 0, err
	}
	switch p.Place {
	case InTransducer:
		h.Signals[0].Transducer += " " + p.Value
		if err := h.Validate(); err != nil {
			return 0, err
		}
		copy(data, h.Encode())
	case InAnnotation:
		a := h.AnnotationRanges()[0]
		from := int(h.HeaderSize()) + h.RecordSize()*(h.Records/2) + a.Offset
		tals, err := edf.ParseTALs(data[from : from+a.Size])
		if err != nil {
			return 0, err
		}
		b, err := edf.EncodeTALs(a.Size, append(tals, edf.NewTAL(tals[0].Onset, "", p.Value))...)
		if err != nil {
			return 0, err
		}
		copy(data[from:], b)
	}
	return bytes.LastIndex(data, []byte(p.Value)), os.WriteFile(file, data, 0o600)
}

func rosterValue(dir string, row int, column string) (string, error) {
	f, err := os.Open(filepath.Join(dir, "roster.csv"))
	if err != nil {
		return "", err
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return "", errors.New("the roster is not one that this package wrote")
	}
	if row < 0 || row+1 >= len(lines) {
		return "", errors.New("the roster has no such row")
	}
	for i, name := range lines[0] {
		if name == column && lines[row+1][i] != "" {
			return lines[row+1][i], nil
		}
	}
	return "", errors.New("the roster has no value in that column of that row")
}
