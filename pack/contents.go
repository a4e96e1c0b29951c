package pack

import (
	"errors"
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"

	"outbreath/deid"
	"outbreath/pack/bag"
	"outbreath/pack/media"
	"outbreath/schema"
)

// Files of a shipment folder, except the archive.
const (
	readmeName = "READ-ME-FIRST.txt"
	labelName  = "shipment.json"
	sumsName   = "SHA256SUMS"
	sigName    = "SHA256SUMS.sig"
)

// Tag files of the bag, in the order in which they follow the payload: each
// after those that it speaks of.
const tagSigName = bag.TagManifest + ".sig"

var tagNames = []string{bag.Info, bag.Bagit, bag.Manifest, bag.TagManifest, tagSigName}

// Namespaces of the two signatures (SSHSIG).
const (
	shipmentNamespace = "shipment@outbreath"
	bagNamespace      = "bag@outbreath"
)

// Limits on what is inside, the same when sealing and when verifying. What a
// hostile archive can make the laboratory's computer hold follows from them.
const (
	maxEntries  = 1_000_000
	maxName     = 100       // bytes, of a whole path in the archive: what a USTAR header holds
	maxFile     = 1<<33 - 1 // bytes of a recording: what a USTAR header can say
	maxRecord   = 16 << 20  // bytes of any other payload file and of a small tag file; deid.File promises it too
	maxManifest = bag.MaxBytes
	maxTotal    = 1 << 43 // bytes of the whole archive, unpacked

	// maxRecordings is how many summary.json can speak of: 14 values each, of the
	// 262,144 that are read of one JSON file.
	maxRecordings = 18_000
)

// A kind of payload file.
type kind int

const (
	otherFile kind = iota // nothing that belongs in a shipment
	recordingFile
	schemaFile
	sessionFile
	treatmentFile
	tubesFile
	summaryFile       // not in shipments of earlier versions
	handlingFile      // not in shipments of earlier versions
	discrepanciesFile // only when box and records differed
)

// Names below data/.
const (
	schemaName    = "session.schema.json"
	treatmentName = "treatment.json"
	tubesName     = "tubes.csv"
)

var (
	recordingName = regexp.MustCompile(`^recordings/[A-Za-z0-9][A-Za-z0-9._-]*\.(csv|edf)$`)
	sessionName   = regexp.MustCompile(`^sessions/[A-Za-z0-9][A-Za-z0-9._-]*\.json$`)
)

// kindOf says what the payload file called name (below data/) is.
func kindOf(name string) kind {
	switch {
	case name == schemaName:
		return schemaFile
	case name == treatmentName:
		return treatmentFile
	case name == tubesName:
		return tubesFile
	case name == deid.SummaryName:
		return summaryFile
	case name == deid.HandlingName:
		return handlingFile
	case name == deid.DiscrepanciesName:
		return discrepanciesFile
	case media.PortableName(path.Base(name)) != nil: // a device of Windows
		return otherFile
	case recordingName.MatchString(name):
		return recordingFile
	case sessionName.MatchString(name):
		return sessionFile
	}
	return otherFile
}

// limit returns the greatest size of a file of kind k, in bytes.
func (k kind) limit() int64 {
	if k == recordingFile {
		return maxFile
	}
	return maxRecord
}

// cmpNames orders names by their bytes, as `LC_ALL=C sort` does.
func cmpNames(a, b string) int { return strings.Compare(a, b) }

// foldName makes names equal that some file systems take for one. Names here
// are ASCII.
func foldName(name string) string { return strings.ToLower(name) }

// A payload is what Seal seals.
type payload struct {
	study, site, contact string
	files                []deid.File // ordered by name
	sessions, recordings int
	tubes                int
	inspection           *deid.Inspection // nil: one that knows no roster
}

// payloadOf prepares c for one sealing.
func payloadOf(c *deid.Cleared) (*payload, error) {
	inspection, err := c.Inspection()
	if err != nil {
		return nil, err
	}
	study := c.Study()
	return &payload{
		study: study.Study, site: study.Site, contact: study.Contact,
		files: c.Files(), sessions: c.Sessions(), recordings: c.Recordings(), tubes: len(c.Tubes()),
		inspection: inspection,
	}, nil
}

// search returns what looks at every byte once more.
func (p *payload) search() *deid.Inspection {
	if p.inspection == nil {
		return deid.NewInspection(p.study, p.site)
	}
	return p.inspection
}

// total returns the number of payload bytes, but for a file whose size is not
// known yet.
func (p *payload) total() (n int64) {
	for _, f := range p.files {
		n += max(0, f.Size)
	}
	return n
}

// check refuses, before anything is read or written, what Verify would refuse
// at the laboratory.
func (p *payload) check(number string) error {
	if !siteCode.MatchString(p.site) || !studyCode.MatchString(p.study) {
		return tooMuch("study.json",
			"the study or site code cannot be used in a shipment: letters, digits and hyphens only")
	}
	if err := checkNumber(number, p.site); err != nil {
		return err
	}
	if len(p.files) > maxEntries {
		return tooMuch("sessions", fmt.Sprintf("one shipment holds at most %d files: split the collection", maxEntries))
	}
	if p.recordings > maxRecordings {
		return tooMuch("recordings",
			fmt.Sprintf("one shipment holds at most %d recordings: split the collection", maxRecordings))
	}
	if !slices.IsSortedFunc(p.files, func(a, b deid.File) int { return cmpNames(a.Name, b.Name) }) {
		return errors.New("the payload is not ordered by name")
	}
	seen := make(map[string]bool, len(p.files))
	count := make(map[kind]int)
	var manifest int64
	for _, f := range p.files {
		k := kindOf(f.Name)
		name := number + "/data/" + f.Name
		switch {
		case k == otherFile || seen[foldName(f.Name)]:
			return errors.New("a file of the payload has a name that cannot be used in a shipment")
		case len(name) > maxName:
			return tooMuch("study.json", fmt.Sprintf("a name in the archive would be longer than %d characters: "+
				"choose a shorter site code", maxName))
		case f.Size < 0 && (f.Size != -1 || k != summaryFile), f.Size > k.limit():
			return tooMuch("data/"+f.Name, fmt.Sprintf("this file would have more than %d bytes, the most that a "+
				"shipment holds in such a file: split the collection", k.limit()))
		}
		seen[foldName(f.Name)] = true
		count[k]++
		manifest += manifestLine(f.Name)
	}
	switch {
	case manifest > maxManifest:
		return tooMuch("sessions", "the collection has too many files for one shipment: split it")
	case p.total() > maxTotal:
		return tooMuch("recordings", "the collection has too many bytes for one shipment: split it")
	case count[schemaFile] != 1 || count[treatmentFile] != 1 || count[tubesFile] != 1:
		return errors.New("the payload lacks its schema, its treatment or its list of tubes")
	case count[sessionFile] != p.sessions || count[recordingFile] != p.recordings:
		return errors.New("the payload does not hold as many records and recordings as were cleared")
	}
	return nil
}

// tooMuch says what a shipment cannot hold.
func tooMuch(file, message string) error {
	return &schema.QueriesError{Problems: []schema.Problem{
		{File: file, Rule: "shipment.limit", Severity: schema.Error, Message: message},
	}}
}

// manifestLine returns the length of name's line in the payload manifest.
func manifestLine(name string) int64 { return int64(64 + 2 + len("data/") + len(name) + 1) }

// bagInfo returns bag-info.txt: what the bag is and how much is in it. No date
// and no version, so that equal input gives equal bytes.
//
// Source: RFC 8493, 2.2.2.
func bagInfo(number string, bytes, files int64) ([]byte, error) {
	return bag.FormatInfo([]bag.Field{
		{Label: "External-Identifier", Value: number},
		{Label: "Payload-Oxum", Value: bag.Oxum(bytes, files)},
	})
}
