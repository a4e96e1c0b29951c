package pack

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"

	"outbreath/deid"
)

const (
	labelFormat = "outbreath-shipment-1"
	maxLabel    = 1 << 20 // bytes; 999 parts need about 80,000
	maxParts    = 999
)

var (
	// siteCode and studyCode are those of study.json.
	siteCode  = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9-]{0,15}$`)
	studyCode = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9-]{0,31}$`)
	// shipmentNumber is a site code, '-', four digits.
	shipmentNumber = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9-]{0,15}-[0-9]{4}$`)
	// archiveName is a part of an archive, whichever the shipment.
	archiveName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9-]{0,15}-[0-9]{4}\.tar\.zst\.age(\.[0-9]{3})?$`)
	// repairForm is a file of repair data, whichever the shipment.
	repairForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9-]{0,15}-[0-9]{4}\.repair$`)
)

// A label is shipment.json, which anyone who finds the medium can read: no
// subject data and no pseudonyms.
type label struct {
	Format     string      `json:"format"`
	Shipment   string      `json:"shipment"`
	Study      string      `json:"study"`
	Site       string      `json:"site"`
	Sealed     string      `json:"sealed"`            // "2026-11-25"
	Program    string      `json:"program,omitempty"` // which program sealed it, as [deid.ProgramForm]
	Sessions   int         `json:"sessions"`
	Recordings int         `json:"recordings"`
	Tubes      int         `json:"tubes"`
	Parts      []labelPart `json:"parts"` // in the order in which they join
	Repair     *labelPart  `json:"repair,omitempty"`
}

type labelPart struct {
	Name  string `json:"name"`
	Bytes int64  `json:"bytes"`
}

// format returns the label as written to the medium. Equal labels give equal
// bytes.
func (l *label) format() []byte {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(l); err != nil {
		panic(err) // strings and integers only
	}
	return b.Bytes()
}

var errLaterLabel = errors.New("was written by a later version of outbreath; use that version")

// parseLabel reads exactly what format writes. The error says what is wrong
// without any content of data.
func parseLabel(data []byte) (*label, error) {
	if len(data) > maxLabel {
		return nil, fmt.Errorf("is longer than %d bytes", maxLabel)
	}
	var named struct {
		Format string `json:"format"`
	}
	other := json.Unmarshal(data, &named) == nil && named.Format != labelFormat
	if other && strings.HasPrefix(named.Format, "outbreath-shipment-") {
		return nil, errLaterLabel
	}
	l := new(label)
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(l); err != nil {
		return nil, errors.New("is damaged, or no label of a shipment")
	}
	if err := l.check(); err != nil {
		return nil, err
	}
	// One spelling a label: equal names, text after the value and the like
	// are no concern of anyone then.
	if !bytes.Equal(l.format(), data) {
		return nil, errors.New("is not in the form that outbreath writes")
	}
	return l, nil
}

// check says what is wrong with l, in words that follow the file's name.
func (l *label) check() error {
	switch {
	case l.Format != labelFormat:
		return errors.New("is damaged, or no label of a shipment")
	case !siteCode.MatchString(l.Site):
		return errors.New("has no usable site code")
	case !studyCode.MatchString(l.Study):
		return errors.New("has no usable study code")
	case checkNumber(l.Shipment, l.Site) != nil:
		return errors.New("has a shipment number that does not belong to its site")
	case checkProgram(l.Program) != nil:
		return errors.New("does not name the program as it must be named")
	case l.Sessions < 0 || l.Recordings < 0 || l.Tubes < 0:
		return errors.New("has a negative count")
	case len(l.Parts) == 0 || len(l.Parts) > maxParts:
		return fmt.Errorf("does not list 1 to %d parts", maxParts)
	}
	if t, err := time.Parse(time.DateOnly, l.Sealed); err != nil || t.Format(time.DateOnly) != l.Sealed {
		return errors.New("has no usable sealing date")
	}
	for i, p := range l.Parts {
		if p.Name != partName(l.Shipment, i, len(l.Parts)) || p.Bytes <= 0 {
			return fmt.Errorf("does not list part %d as it must be named", i+1)
		}
	}
	if l.Repair != nil && (l.Repair.Name != repairName(l.Shipment) || l.Repair.Bytes <= 0) {
		return errors.New("does not name the repair data as they must be named")
	}
	return nil
}

// archiveBytes returns the size of all parts, which is about the least that is inside.
func (l *label) archiveBytes() (n int64) {
	for _, p := range l.Parts {
		n += p.Bytes
	}
	return n
}

// checkNumber returns nil if number is site, '-', four digits.
func checkNumber(number, site string) error {
	if !shipmentNumber.MatchString(number) || len(number) != len(site)+5 || !strings.HasPrefix(number, site+"-") {
		return errors.New("a shipment number is the site code, a hyphen and four digits")
	}
	return nil
}

// checkProgram returns nil if program can be on a label: "" when it was not said.
func checkProgram(program string) error {
	if program != "" && !deid.ProgramForm.MatchString(program) {
		return errors.New("the program is not named in the form that a laboratory accepts: " +
			"\"outbreath\", version, commit, Go")
	}
	return nil
}

// repairName names the repair data of a shipment.
func repairName(number string) string { return number + ".repair" }

// partName names part i (from 0) of n.
func partName(number string, i, n int) string {
	if n == 1 {
		return number + ".tar.zst.age"
	}
	return fmt.Sprintf("%s.tar.zst.age.%03d", number, i+1)
}
