package schema

import "time"

// A Session is one accepted record.
type Session struct {
	File       string // "sessions/0012.json"
	Doc        *Node  // the record as read, never modified; nil once it is no longer needed
	ID         string // session_id
	Subject    string // subject.subject_id
	Operator   string
	BirthDate  string // "2006-01-02", or "" if the plan has none
	Started    time.Time
	Ended      time.Time
	Outcome    string
	Fraction   string
	Tubes      []Tube
	Recordings []RecordingRef // those that are in the folder

	Where func(pointer string) string // of [Unwritten]; nil for a record that was read from a file
}

// A Tube is one sorbent tube of a session. Values are as written in the record.
type Tube struct {
	Barcode, Position, VolumeML, Storage string
	Uncapped, Capped                     time.Time // zero if the plan has none
}

// A RecordingRef is a recording that a session names.
type RecordingRef struct {
	File    string // "recordings/a.csv", relative to the collection
	Format  string // "csv" or "edf"
	Pointer string // of the record's member, "/recordings/0/file"
	Size    int64  // bytes, when the folder was read
	ModTime time.Time
	Columns []Column // CSV only
}

// newSession takes the fields that the tool itself uses from a valid record. The recordings are
// added later, once their files have been found.
func newSession(file string, n *Node) *Session {
	s := &Session{
		File: file, Doc: n,
		ID:        n.At("/session_id").text(),
		Subject:   n.At("/subject/subject_id").text(),
		Operator:  n.At("/operator").text(),
		BirthDate: n.At("/subject/birth_date").text(),
		Outcome:   n.At("/outcome").text(),
		Fraction:  n.At("/fraction").text(),
	}
	s.Started, _ = parseTime(n.At("/started_at").text())
	s.Ended, _ = parseTime(n.At("/ended_at").text())
	for _, t := range entries(n, "tubes") {
		tube := Tube{Barcode: literal(t.Member("barcode")), Position: literal(t.Member("position")),
			VolumeML: literal(t.Member("volume_ml")), Storage: literal(t.Member("storage"))}
		tube.Uncapped, _ = parseTime(t.Member("uncapped_at").text())
		tube.Capped, _ = parseTime(t.Member("capped_at").text())
		s.Tubes = append(s.Tubes, tube)
	}
	return s
}

// entries returns the entries of the list called name in n, nil if there is no such list.
func entries(n *Node, name string) []*Node {
	if list := n.Member(name); list != nil {
		return list.Items
	}
	return nil
}

// literal returns a text or a number as written, "" for nil.
func literal(n *Node) string {
	if n == nil {
		return ""
	}
	return n.Text
}
