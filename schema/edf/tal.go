package edf

import (
	"bytes"
	"fmt"
	"slices"
	"unicode/utf8"
)

// Marks between the parts of a TAL (2.2.2; the text gives them as 20, 21 and 0).
const (
	beforeDuration = 0x15
	endText        = 0x14
	endTAL         = 0x00
)

// maxTime is the longest onset or duration that is accepted, in bytes. The format sets no limit,
// but no time needs more, and endless digits could hide anything.
const maxTime = 24

// A TAL is a time-stamped annotations list: texts that share an onset.
type TAL struct {
	Onset    string // seconds from the start of the file, with sign: "+180", "-0.65"
	Duration string // seconds, no sign: "25.5"; "" if it is not given
	Texts    []Text // at least one; the first may be empty
}

// A Text is one annotation. Start and End are its byte offsets in what was
// parsed; writing ignores them.
type Text struct {
	Start, End int
	Value      string // UTF-8
}

// NewTAL returns a TAL of the given texts.
func NewTAL(onset, duration string, texts ...string) TAL {
	t := TAL{Onset: onset, Duration: duration}
	for _, s := range texts {
		t.Texts = append(t.Texts, Text{Value: s})
	}
	return t
}

// ParseTALs parses the bytes of one annotation signal in one data record: TALs one after another,
// then zero bytes to the end. Every byte is accounted for: EncodeTALs reproduces them. The error is a *FieldError whose
// Offset counts from b[0].
func ParseTALs(b []byte) ([]TAL, error) {
	var out []TAL
	err := scanTALs(b, func(a annotation) *FieldError {
		if a.first {
			out = append(out, TAL{Onset: string(a.onset), Duration: string(a.duration)})
		}
		t := &out[len(out)-1]
		t.Texts = append(t.Texts, Text{a.start, a.end, string(b[a.start:a.end])})
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// An annotation is one text in the bytes that are scanned, with its time stamp.
type annotation struct {
	onset, duration []byte
	start, end      int
	first           bool // of its TAL
}

// scanTALs calls fn for each text in b, the empty ones too.
func scanTALs(b []byte, fn func(annotation) *FieldError) *FieldError {
	at := 0
	for at < len(b) && b[at] != endTAL {
		next, err := scanTAL(b, at, fn)
		if err != nil {
			return err
		}
		at = next
	}
	for i := at; i < len(b); i++ {
		if b[i] != endTAL {
			return talError(i, "is after the zero bytes that close the signal, where only more of them may follow")
		}
	}
	return nil
}

// scanTAL scans the TAL at b[at] and returns where the next may begin.
func scanTAL(b []byte, at int, fn func(annotation) *FieldError) (int, *FieldError) {
	begin, n := at, bytes.IndexByte(b[at:], endText)
	if n < 0 {
		return 0, talError(begin, "has no end (byte 20) after its onset")
	}
	var a annotation
	var timed bool
	a.onset, a.duration, timed = bytes.Cut(b[at:at+n], []byte{beforeDuration})
	if timed && !digits(a.duration) {
		return 0, talError(begin, "has a duration that is not a plain decimal number of seconds")
	}
	if len(a.onset) == 0 || a.onset[0] != '+' && a.onset[0] != '-' || !digits(a.onset[1:]) {
		return 0, talError(begin, "does not begin with + or - and a plain decimal number of seconds")
	}
	if digitCount(string(a.onset)) > maxTimeDigits || digitCount(string(a.duration)) > maxTimeDigits {
		return 0, talError(begin, fmt.Sprintf("has an onset or a duration of more than %d digits, more than a time "+
			"needs and enough for somebody's number", maxTimeDigits))
	}
	if padded(string(a.onset)) || padded(string(a.duration)) {
		return 0, talError(begin, "has an onset or a duration that "+paddedNumber)
	}
	if places(a.onset) > maxTimePlaces || places(a.duration) > maxTimePlaces {
		return 0, talError(begin, fmt.Sprintf("has an onset or a duration of more than %d decimal places, "+
			"more than a time needs and enough for somebody's number", maxTimePlaces))
	}
	at += n + 1
	for a.first = true; ; a.first = false {
		if at < len(b) && b[at] == endTAL && !a.first {
			return at + 1, nil
		}
		n := bytes.IndexByte(b[at:], endText)
		if n < 0 {
			return 0, talError(begin, "has a text without an end (byte 20), or is not closed by a zero byte, in "+
				"its data record")
		}
		if err := checkText(b[at:at+n], at); err != nil {
			return 0, err
		}
		a.start, a.end = at, at+n
		if err := fn(a); err != nil {
			return 0, err
		}
		at += n + 1
	}
}

// maxTimeDigits is how many digits a time may have, from the first that is not
// zero: a day in tenths of milliseconds.
const maxTimeDigits = 9

// maxTimePlaces is how many of them may be decimal places: microseconds. The
// examples of 2.2.4 have up to four places.
const maxTimePlaces = 6

func places(b []byte) int {
	_, fraction, _ := bytes.Cut(b, []byte("."))
	return len(fraction)
}

// digits accepts "12" and "12.5": a point only before a fraction (2.2.2).
func digits(b []byte) bool {
	if len(b) == 0 || len(b) > maxTime {
		return false
	}
	point := false
	for i, c := range b {
		switch {
		case c >= '0' && c <= '9':
		case c == '.' && !point && i > 0 && i < len(b)-1:
			point = true
		default:
			return false
		}
	}
	return true
}

// checkText accepts UTF-8 with tab, line feed and carriage return as the only
// control characters below 32 (2.2.2).
func checkText(b []byte, at int) *FieldError {
	for i, c := range b {
		if c < 32 && c != '\t' && c != '\n' && c != '\r' {
			return talError(at+i, "has a control character in its text")
		}
	}
	if !utf8.Valid(b) {
		return talError(at, "has a text that is not UTF-8")
	}
	return nil
}

func talError(at int, message string) *FieldError {
	return &FieldError{"annotation", int64(at), message + exportAgain}
}

// EncodeTALs returns tals as the size bytes of an annotation signal in one data
// record. The error is a *FieldError if they do not fit or break a rule.
func EncodeTALs(size int, tals ...TAL) ([]byte, error) {
	var b bytes.Buffer
	for _, t := range tals {
		b.WriteString(t.Onset)
		if t.Duration != "" {
			b.WriteByte(beforeDuration)
			b.WriteString(t.Duration)
		}
		b.WriteByte(endText)
		for _, s := range t.Texts {
			b.WriteString(s.Value)
			b.WriteByte(endText)
		}
		b.WriteByte(endTAL)
	}
	if b.Len() > size {
		return nil, &FieldError{"annotation", int64(size),
			fmt.Sprintf("needs %s bytes of the %s that its signal has in a data record; "+
				"give the signal more samples", grouped(int64(b.Len())), grouped(int64(size)))}
	}
	out := append(b.Bytes(), make([]byte, size-b.Len())...)
	if back, err := ParseTALs(out); err != nil {
		return nil, err
	} else if !sameTALs(back, tals) {
		return nil, &FieldError{"annotation", 0, "has a mark of the format (byte 0, 20 or 21) within a text or a " +
			"time; remove it"}
	}
	return out, nil
}

// sameTALs compares the contents of TALs, not their offsets.
func sameTALs(a, b []TAL) bool {
	return slices.EqualFunc(a, b, func(x, y TAL) bool {
		return x.Onset == y.Onset && x.Duration == y.Duration &&
			slices.EqualFunc(x.Texts, y.Texts, func(s, t Text) bool { return s.Value == t.Value })
	})
}
