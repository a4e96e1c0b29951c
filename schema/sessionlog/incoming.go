package sessionlog

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"outbreath/pack/durable"
	"outbreath/schema"
	"outbreath/schema/edf"
	"outbreath/schema/sampler"
)

const (
	recordingsDir = "recordings"
	maxFiles      = 20_000 // in the sampler's folder
)

// An Incoming is a recording that goes with a session.
type Incoming struct {
	From    string   `json:"from"` // name in the sampler's folder
	File    string   `json:"file"` // in the collection: "recordings/trace-0001.csv"
	Session string   `json:"-"`    // session_id
	How     string   `json:"how"`  // by what it was matched
	Said    []string `json:"said"` // what a person should know of its conversion
	New     bool     `json:"new"`  // it is not in the collection yet, or was made otherwise before

	match   Match
	look    *looked
	gas     sampler.GasPressure
	report  *sampler.Report
	digest  string // of what is, or will be, in the collection
	replace bool
}

// Renamed reports whether the recording has another name in the collection than its file,
// because that was the name of another session.
func (x *Incoming) Renamed() bool { return x.match.Misnamed && stem(x.File) != stem(x.From) }

// Recordings are the sampler's files as they go with the sessions of a log.
type Recordings struct {
	Incoming []*Incoming // by file
	Doubts   []Doubt
	Problems []Problem
	Left     []string // files that are no session's, as a person said
	Gone     []Gone   // files of sessions that the log has no more
	Unread   []Unread // what is no recording, by its name
	Without  []string // sessions (Where) without a recording

	from *os.Root
	into *os.Root
	same bool // both are one folder
}

// A Gone is the recording of a session that the log has no more: it stays with its record.
type Gone struct{ From, Record string } // "run7.csv", "sessions/0007.json"

// A looked is one file of the sampler's folder, as far as it could be read.
type looked struct {
	name    string
	digest  string
	format  string           // "csv" or "edf"
	profile *sampler.Profile // nil: it is in the collection's form already
	about   sampler.About
	content string // what was recorded, in words
}

// TakeRecordings finds the session of every recording in the folder from, and completes
// the records of r with them. into is the collection's folder; from may be its own
// folder of recordings, and then same is set: what lies there stays as it is. The
// profiles of samplers that a person has answered for are added to s. Nothing is
// written before [Changes.Write]. The error is of a disk.
func (r *Reading) TakeRecordings(from, into *os.Root, same bool, in Inputs, s *Settings,
	prior *Filled) (*Recordings, error) {
	k := &Recordings{from: from, into: into, same: same}
	all, err := k.look(in, s)
	if err != nil {
		return nil, err
	}
	var visits []Visit
	for _, record := range r.Records {
		visits = append(visits, VisitOf(record, in.Roster))
	}
	var files []RecordingFile
	gone := r.before(prior, s, visits)
	for _, l := range all {
		if record := gone[stem(l.name)]; record != "" {
			k.Gone = append(k.Gone, Gone{l.name, record})
			continue
		}
		files = append(files, RecordingFile{Name: l.name, Digest: l.digest, About: l.about})
	}
	if len(k.Doubts) > 0 {
		return k, nil // how a sampler's files are read comes first: it may settle the others
	}
	m := MatchRecordings(files, visits, s)
	k.Doubts, k.Left, k.Without = append(k.Doubts, m.Doubts...), append(k.Left, m.Left...), m.Without
	for _, match := range m.Matches {
		i := slices.IndexFunc(all, func(l *looked) bool { return l.name == match.File })
		k.Incoming = append(k.Incoming, &Incoming{From: match.File, Session: match.Session, How: match.How,
			match: match,
			look:  all[i]})
	}
	k.perhapsUnread(visits)
	k.name()
	outline := in.Plan.Outline()
	for _, record := range r.Records {
		if err := k.complete(record, outline, in, s, len(m.Doubts) > 0); err != nil {
			return nil, err
		}
	}
	return k, k.compare(prior, s)
}

// look reads every file of the sampler's folder.
func (k *Recordings) look(in Inputs, s *Settings) ([]*looked, error) {
	entries, err := durable.ReadDir(k.from, ".")
	if err != nil {
		return nil, err
	}
	var out []*looked
	for _, e := range entries {
		name, ext := e.Name(), strings.ToLower(path.Ext(e.Name()))
		switch {
		case strings.HasPrefix(name, ".") || strings.HasPrefix(name, "~$"):
			continue
		case !e.Type().IsRegular() || !slices.Contains([]string{".csv", ".txt", ".tsv", ".asc", ".dat", ".edf"}, ext):
			k.Unread = append(k.Unread, Unread{name, notRead(e.Type(), ext)})
			continue
		case s.Answers[RecordingDoubt(name)] == ignored:
			k.Left = append(k.Left, name)
			continue
		case len(out) == maxFiles:
			k.problem(name, "there are more than 20,000 recordings: put those of one week into a folder of their own")
			return out, nil
		}
		l, err := k.lookAt(name, in, s)
		if err != nil {
			return nil, err
		}
		if l != nil {
			out = append(out, l)
		}
	}
	return out, nil
}

func (k *Recordings) problem(where, message string) {
	k.Problems = append(k.Problems, Problem{Where: where, Message: message})
}

// lookAt reads one file to its end. It returns nil where that has made a problem or a
// doubt; the error is of the disk.
func (k *Recordings) lookAt(name string, in Inputs, s *Settings) (*looked, error) {
	f, err := durable.Open(k.from, name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	head := make([]byte, sampler.HeadSize)
	n, err := io.ReadFull(f, head)
	if err != nil && err != io.EOF && !errors.Is(err, io.ErrUnexpectedEOF) {
		return nil, err
	}
	head = head[:n]
	l := &looked{name: name, format: "csv"}
	switch {
	case strings.EqualFold(path.Ext(name), ".edf") || sampler.IsEDF(head):
		if l.format = "edf"; k.same && !strings.EqualFold(path.Ext(name), ".edf") {
			k.problem(name, "is an EDF recording under the name of a text table: rename it, so that it ends in .edf")
			return nil, nil
		}
	case !sampler.IsNative(head, natives(in.Plan)):
		if l.profile = k.profile(name, head, s); l.profile == nil {
			return nil, nil
		}
		if k.same {
			k.problem(name, "is not in the form of the collection, and in this folder it would stay beside "+
				"what is made "+
				"of it: put the sampler's files into a folder of their own, and name that")
			return nil, nil
		}
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	sum := sha256.New()
	l.about, err = sampler.Look(name, io.TeeReader(f, sum), l.profile)
	if err == nil {
		_, err = io.Copy(sum, f)
	}
	var fault *sampler.Fault
	var field *edf.FieldError
	switch {
	case errors.As(err, &fault) || errors.As(err, &field):
		k.problem(name, err.Error())
		return nil, nil
	case err != nil:
		return nil, err
	}
	l.digest = digest(sum)
	l.content, err = l.contents(f, in.Plan)
	return l, err
}

// contents says in words what was recorded.
func (l *looked) contents(f io.ReadSeeker, p *schema.Plan) (string, error) {
	if l.format == "edf" {
		if _, err := f.Seek(0, io.SeekStart); err != nil {
			return "", err
		}
		h, err := edf.ReadHeader(f)
		if err != nil {
			return "", err
		}
		if _, ok := sampler.CO2Signal(h, 0); ok {
			return "CO2", nil
		}
		return "the channels of its header", nil
	}
	var words []string
	for _, n := range natives(p) {
		if l.profile == nil && n.Is != sampler.Time || l.profile != nil && l.profile.Column(n.Is) >= 0 {
			switch n.Is {
			case sampler.CO2:
				words = append(words, "CO2")
			case sampler.Pressure:
				words = append(words, "pressure")
			case sampler.Flow:
				words = append(words, "flow")
			}
		}
	}
	if words == nil {
		return "the columns of its first line", nil
	}
	return strings.Join(words, " and "), nil
}

// natives are the columns that the plan declares for a CSV recording.
func natives(p *schema.Plan) []sampler.Native {
	var names []string
	for _, c := range p.Columns() {
		names = append(names, c.Name)
	}
	return sampler.NativeColumns(names...)
}

// profile returns how a foreign table is read: as a person has said before, or as
// proposed and answered now. It is nil while something is open.
func (k *Recordings) profile(name string, head []byte, s *Settings) *sampler.Profile {
	for i := range s.Samplers {
		if s.Samplers[i].Fits(head) {
			return &s.Samplers[i]
		}
	}
	p, questions, err := sampler.Propose(name, head)
	if err != nil {
		k.problem(name, err.Error())
		return nil
	}
	var about []string
	for _, c := range p.Columns {
		about = append(about, c.Heading)
	}
	about = append(about, p.Separator, strconv.Itoa(len(p.Columns)))
	for len(questions) > 0 {
		q := questions[0]
		questions = questions[1:]
		key := id("sampler", append(about, q.ID)...)
		answer, ok := s.Answers[key]
		if ok {
			next, err := p.Answer(q, answer)
			if next != nil {
				questions = append(questions, *next)
			}
			ok = err == nil
		}
		if !ok {
			d := Doubt{ID: key, Where: name, Question: q.Text, Number: len(q.Choices) == 0}
			for _, c := range q.Choices {
				d.Choices = append(d.Choices, Choice{c, c})
			}
			k.doubt(d)
			return nil
		}
	}
	if message := p.Validate(); message != "" {
		k.problem(name, message)
		return nil
	}
	key := id("sampler", append(about, "as read")...)
	switch s.Answers[key] {
	case "right":
		s.Samplers = append(s.Samplers, p)
		return &s.Samplers[len(s.Samplers)-1]
	case "wrong":
		k.problem(name, "is not read, because a person said that the columns were taken wrongly: export it in another "+
			"form, with a heading over each column that names the quantity and its unit")
		return nil
	}
	k.doubt(Doubt{ID: key, Where: name, Question: "files like this one are read so: " + described(&p) +
		". Compare it with the sampler's manual: is it right?",
		Choices: []Choice{{"right", "yes, for all files with these headings"}, {"wrong", "no"}}})
	return nil
}

// doubt raises a question once for all files of one form.
func (k *Recordings) doubt(d Doubt) {
	for i := range k.Doubts {
		if k.Doubts[i].ID == d.ID {
			return
		}
	}
	k.Doubts = append(k.Doubts, d)
}

// described says in words how a table is read.
func described(p *sampler.Profile) string {
	var parts []string
	for _, c := range p.Columns {
		name := fmt.Sprintf("%q", c.Heading)
		if c.Heading == "" {
			name = fmt.Sprintf("column %d", c.Number)
		}
		is := c.Is.Words()
		switch {
		case c.Is == sampler.Unused:
			parts = append(parts, name+" is not used")
		case c.Unit != "":
			parts = append(parts, fmt.Sprintf("%s is %s, in %s", name, is, c.Unit))
		default:
			parts = append(parts, fmt.Sprintf("%s is %s", name, is))
		}
	}
	if p.Hz > 0 {
		parts = append(parts, fmt.Sprintf("%g rows a second", p.Hz))
	}
	if p.Gas != "" {
		parts = append(parts, "CO2 is a share of "+string(p.Gas)+" gas")
	}
	return strings.Join(parts, "; ")
}

var plainID = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$`)

// name gives each recording its name in the collection: that of its file, unless it would
// say that it is another session's.
func (k *Recordings) name() {
	taken := map[string]bool{}
	for _, x := range k.Incoming {
		if x.File = recordingsDir + "/" + x.From; !k.same {
			stem := strings.TrimSuffix(x.From, path.Ext(x.From))
			if x.match.Misnamed && plainID.MatchString(x.Session) {
				stem = x.Session
			}
			x.File = recordingsDir + "/" + stem + "." + x.look.format
			for n := 2; taken[strings.ToLower(x.File)]; n++ {
				x.File = fmt.Sprintf("%s/%s-%d.%s", recordingsDir, stem, n, x.look.format)
			}
		}
		taken[strings.ToLower(x.File)] = true
	}
}

// complete puts the recordings of one session into its record. What the log says of a
// recording beside its name stays. open reports whether some files are still asked about.
func (k *Recordings) complete(r *Record, outline *schema.Outline, in Inputs, s *Settings, open bool) error {
	named := map[string]map[string]*schema.Node{} // by the name without its ending
	for i := 0; ; i++ {
		prefix := "/recordings/" + strconv.Itoa(i) + "/"
		file := r.Values[prefix+"file"]
		if file == nil {
			break
		}
		place, values := r.Places[prefix+"file"], map[string]*schema.Node{}
		for pointer, n := range r.Values {
			if rest, ok := strings.CutPrefix(pointer, prefix); ok {
				values[rest] = n
				delete(r.Values, pointer)
				delete(r.Places, pointer)
			}
		}
		named[stem(file.Text)] = values
		there := slices.ContainsFunc(k.Incoming, func(x *Incoming) bool {
			return x.Session == r.ID && stem(x.From) == stem(file.Text)
		})
		if !there && !open {
			k.Problems = append(k.Problems, Problem{Where: place, Field: "/recordings/*/file",
				Message: "the recording " +
					"that the log names for this session is not among the sampler's files, or belongs to " +
					"another session: " +
					"copy it there, or correct the name"})
			r.Places[prefix+"file"] = place // the record is not written without it
		}
	}
	i := 0
	for _, x := range k.Incoming {
		if x.Session != r.ID {
			continue
		}
		if err := k.convert(x, r, s); err != nil {
			return err
		}
		values := named[stem(x.From)]
		if values == nil {
			values = map[string]*schema.Node{}
		}
		text := func(name, value string) {
			if outline.Find("/recordings/*/"+name) != nil && value != "" && values[name] == nil {
				values[name] = &schema.Node{Kind: schema.String, Text: value}
			}
		}
		delete(values, "file")
		delete(values, "format")
		text("file", x.File)
		text("format", x.look.format)
		text("content", x.look.content)
		text("started_at", k.started(x, r))
		if x.report != nil {
			text("source_co2_unit", string(x.report.CO2Unit))
			if x.report.GasKPa > 0 && outline.Find("/recordings/*/source_gas_kpa") != nil {
				values["source_gas_kpa"] = &schema.Node{Kind: schema.Number,
					Text: strconv.FormatFloat(x.report.GasKPa, 'f', -1, 64)}
			}
		}
		for name, n := range values {
			pointer := fmt.Sprintf("/recordings/%d/%s", i, name)
			r.Values[pointer], r.Places[pointer] = n, x.From
		}
		i++
	}
	return nil
}

func stem(file string) string {
	name := base(file)
	return strings.ToLower(strings.TrimSuffix(name, path.Ext(name)))
}

// started returns the recording's own start where it is not the session's.
func (k *Recordings) started(x *Incoming, r *Record) string {
	at, begin := x.match.Started, r.Values["/started_at"]
	if at.IsZero() || begin == nil {
		return ""
	}
	t, err := time.Parse(time.RFC3339Nano, begin.Text)
	if err != nil || at.Sub(t).Abs() < time.Second {
		return ""
	}
	return at.In(t.Location()).Format(time.RFC3339Nano)
}

// convert finds what a foreign table becomes, without writing it.
func (k *Recordings) convert(x *Incoming, r *Record, s *Settings) error {
	x.digest = x.look.digest
	if x.look.profile == nil {
		return nil
	}
	if x.look.profile.NeedsGas() {
		switch n := r.Values["/room_kpa"]; {
		case n != nil:
			x.gas.KPa, _ = strconv.ParseFloat(n.Text, 64)
			x.gas.From = "room_kpa of the record"
		case s.GasKPa > 0:
			x.gas = sampler.GasPressure{KPa: s.GasKPa, From: "the answer given when the log was read"}
		default:
			k.doubt(Doubt{ID: "gas", Where: x.From, Option: "gas-kpa", Number: true,
				Question: "CO2 is a share of the gas " +
					"in this recording, and the log has no value of room (kPa): what was the pressure of the air " +
					"in the room, " +
					"in kPa, as a " +
					"barometer in it shows it?"})
			return nil
		}
	}
	sum := sha256.New()
	if err := k.make(x, sum); err != nil {
		var fault *sampler.Fault
		if errors.As(err, &fault) {
			k.problem(x.From, err.Error())
			return nil
		}
		return err
	}
	x.digest = digest(sum)
	x.Said = x.report.Sentences()
	return nil
}

// make writes a recording in the collection's form to w.
func (k *Recordings) make(x *Incoming, w io.Writer) error {
	f, err := durable.Open(k.from, x.From)
	if err != nil {
		return err
	}
	defer f.Close()
	if x.look.profile == nil {
		_, err = io.Copy(w, f)
		return err
	}
	x.report, err = sampler.Convert(w, f, *x.look.profile, x.gas)
	return err
}

// compare finds what is in the collection already. A file that was not made by an
// earlier run is never replaced.
func (k *Recordings) compare(prior *Filled, s *Settings) error {
	if k.same {
		return nil
	}
	for _, x := range k.Incoming {
		there, err := digestOf(k.into, x.File)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			x.New = true
		case err != nil:
			return err
		case there == x.digest:
		case prior.Recordings[x.File] == there:
			k.replaced(x, there, s)
		default:
			k.problem(x.From, "the collection has another file of the name "+x.File+" already, which was not made of "+
				"this one: rename one of the two")
		}
	}
	return nil
}

// keepSealed leaves the recordings of sealed sessions as they are.
func (k *Recordings) keepSealed(sealed func(session string) (string, error)) error {
	if k == nil {
		return nil
	}
	for _, x := range k.Incoming {
		if !x.replace {
			continue
		}
		number, err := sealed(x.Session)
		if err != nil {
			return err
		}
		if number != "" {
			x.New, x.replace = false, false
			x.Said = append(x.Said, "was sealed in "+number+" in another form: the recording stays as it is")
		}
	}
	return nil
}

// replaced asks about a file that is another one than when it was taken in.
func (k *Recordings) replaced(x *Incoming, there string, s *Settings) {
	key := id("replaced", x.File, there, x.digest)
	switch s.Answers[key] {
	case "new":
		x.New, x.replace = true, true
	case "old":
	default:
		k.doubt(Doubt{ID: key, Where: x.From, Question: x.File + " was made of this file, and the file has changed " +
			"since, or is read otherwise: which recording is right?",
			Choices: []Choice{{"old", "the one in the collection: it stays"},
				{"new", "the one in the sampler's folder"}}})
	}
}

func digestOf(root *os.Root, name string) (string, error) {
	f, err := durable.Open(root, name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	sum := sha256.New()
	_, err = io.Copy(sum, f)
	return digest(sum), err
}

// write brings one recording into the collection, whole or not at all, and refuses one
// whose source has changed meanwhile.
func (k *Recordings) write(x *Incoming) (err error) {
	folder, err := durable.Folder(k.into, recordingsDir)
	if err != nil {
		return err
	}
	defer folder.Close()
	name := strings.TrimPrefix(x.File, recordingsDir+"/")
	const temp = ".filling"
	if err := durable.Remove(folder, temp); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	f, err := durable.Create(folder, temp, 0)
	if err != nil {
		return err
	}
	defer durable.Remove(folder, temp)
	sum := sha256.New()
	err = k.make(x, io.MultiWriter(f, sum))
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if digest(sum) != x.digest {
		return &schema.ChangedError{File: x.From}
	}
	if x.replace {
		if err := durable.Remove(folder, name); err != nil {
			return err
		}
	}
	return errors.Join(durable.Rename(folder, temp, name), durable.SyncFolder(folder))
}

func digest(h hash.Hash) string { return hex.EncodeToString(h.Sum(nil)) }
