package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"outbreath/pack/durable"
	"outbreath/schema"
	"outbreath/schema/sessionlog"
	"outbreath/schema/sheet"
)

// maxLog bounds a log that is read, in bytes.
const maxLog = 64 << 20

// fillOptions are the flags of fill.
type fillOptions struct {
	from       []string
	recordings string
	yes        bool

	columns, files, answers []string
	dates, decimals, zone   string
	gasKPa                  float64
}

func newFillCmd(u *ui, o *options) *cobra.Command {
	s := &fillOptions{}
	c := &cobra.Command{
		Use:   "fill COLLECTION [--from LOG]... [--recordings FOLDER]",
		Short: "Make the session records from the log that you keep, and take in the recordings",
		Long: `Read the log of the week, an XLSX workbook or CSV files, and write a record of
each session and the roster. The sampler's recordings are matched with the
sessions by name, clock, sampler and subject, and converted where a sampler
writes another form.

First you see what was understood: which column is which field, the order of
dates, the decimal sign, the zone of the clock. What can be read in two ways is
asked, never guessed; the answers are kept in log-settings.json, so that next
week nothing is asked. Then you see what changes, and one question is left.

A value that was typed into a record is kept: if the log has changed it too, you
are asked. A record that was sealed is never changed. The log and the sampler's
files are only read.

Where there is no terminal, each question is listed with the option that answers
it. While a question is open or something in the log cannot be read, nothing is
written. --yes writes without the last question.
` + statusHelp,
		Example: "  outbreath fill week-48\n" +
			"  outbreath fill week-48 --from log.xlsx --recordings export\n" +
			"  outbreath fill week-48 --from sessions.csv --from tubes.csv --dates day-first --yes",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error { return s.run(u, o, args[0]) },
	}
	f := c.Flags()
	f.StringArrayVar(&s.from, "from", nil, "the `LOG`: XLSX or CSV; may be given several times (default: "+
		sessionlog.LogFile+" in the collection)")
	f.StringVar(&s.recordings, "recordings", "", "`FOLDER` with the sampler's recordings (default: recordings in the "+
		"collection)")
	f.BoolVar(&s.yes, "yes", false, "write without the last question; open questions stay open")
	f.StringArrayVar(&s.columns, "column", nil, "`HEADING=FIELD`: what a column holds; HEADING=- leaves it out")
	f.StringVar(&s.dates, "dates", "", "`ORDER` of dates: day-first, month-first or year-first")
	f.StringVar(&s.decimals, "decimals", "", "decimal `SIGN`: comma or point")
	f.StringVar(&s.zone, "zone", "", "time `ZONE` of the log's clock, such as Europe/Berlin")
	f.StringArrayVar(&s.files, "recording", nil, "`FILE=SESSION`: whose recording a file is; FILE=- leaves it out")
	f.Float64Var(&s.gasKPa, "gas-kpa", 0, "pressure of the room's air in `KPA`, for CO2 recorded as a share")
	f.StringArrayVar(&s.answers, "answer", nil, "`NUMBER=ANSWER` to a question that was listed with a number")
	return c
}

// A filling is one run of fill.
type filling struct {
	u        *ui
	o        *options
	col      *schema.Collection
	settings *sessionlog.Settings
	prior    *sessionlog.Filled
	tables   []sheet.Table
	digests  []string
	source   *os.Root // of the recordings
	inside   bool     // they are in the collection already
	shipped  func(session string) (string, error)
	screen   *screen
	said     map[string]bool // of what was understood
	given    *fillOptions

	reading    *sessionlog.Reading
	recordings *sessionlog.Recordings
	changes    *sessionlog.Changes
}

func (s *fillOptions) run(u *ui, o *options, dir string) error {
	col, err := loadCollection(u, dir)
	if err != nil {
		return err
	}
	defer col.Root.Close()
	f := &filling{u: u, o: o, col: col, screen: newScreen(u, errStopped), said: map[string]bool{}, given: s}
	if err := f.open(s); err != nil {
		return err
	}
	defer f.source.Close()
	if f.settings, err = sessionlog.ReadSettings(col.Root); err != nil {
		return err
	}
	if err := s.answer(col.Plan, f.settings); err != nil {
		return err
	}
	if s.zone != "" && col.Study.Zone != "" && s.zone != col.Study.Zone {
		return usagef("leave --zone out, or correct the zone in study.json",
			"--zone %s is not the zone of study.json, %s",
			quoted(s.zone), quoted(col.Study.Zone))
	}
	if f.prior, err = sessionlog.ReadFilled(col.Root); err != nil {
		return err
	}
	if s.given() { // kept at once, as those that are typed
		if err := f.settings.Write(col.Root); err != nil {
			return err
		}
	}
	if err := f.read(); err != nil {
		return err
	}
	if interactive(u) {
		if err := f.askAll(); err != nil {
			return err
		}
	}
	return f.finish(s.yes)
}

// open reads the tables of the log and opens the folder of recordings.
func (f *filling) open(s *fillOptions) error {
	files := s.from
	if files == nil {
		files = []string{filepath.Join(f.col.Dir, sessionlog.LogFile)}
		if _, err := lstat(files[0]); notExist(err) {
			return usagef("name the log with --from", "there is no %s in the collection", sessionlog.LogFile)
		}
	}
	for _, path := range files {
		data, err := readBounded(path, maxLog)
		if err != nil {
			return err
		}
		tables, err := sheet.Read(filepath.Base(path), data)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(data)
		f.tables, f.digests = append(f.tables, tables...), append(f.digests, hex.EncodeToString(sum[:]))
	}
	f.shipped = f.sealed()
	var err error
	if s.recordings == "" {
		f.inside = true
		f.source, err = durable.Folder(f.col.Root, recordingsFolder)
	} else if f.source, err = durable.OpenFolder(s.recordings); err == nil {
		f.inside = sameFolder(f.source, f.col.Root)
	}
	if notExist(err) && s.recordings != "" {
		return usagef("name the folder into which the sampler's files were copied", "there is no folder %s",
			quoted(s.recordings))
	}
	return err
}

const recordingsFolder = "recordings"

// sameFolder reports whether from is the folder of recordings of the collection root.
func sameFolder(from, root *os.Root) bool {
	one, err := from.Stat(".")
	other, err2 := root.Stat(recordingsFolder)
	return err == nil && err2 == nil && os.SameFile(one, other)
}

// sealed returns a function that finds the shipment in which a session has left. The key
// is opened only when it is first asked and something was sealed from this collection.
func (f *filling) sealed() func(string) (string, error) {
	opened := false
	var find func(string) string
	return func(session string) (string, error) {
		if !opened {
			opened = true
			if _, err := durable.Lstat(f.col.Root, custodyFile); err == nil {
				folder, _, err := siteKey(f.u, f.o, true)
				if err != nil {
					return "", err
				}
				log, err := lookAtLog(f.u, f.col, folder)
				if err != nil && !tornOnly(err) {
					return "", err
				}
				find = func(session string) string {
					one := &schema.Collection{Sessions: []*schema.Session{{ID: session}}}
					if earlier := log.Earlier(one); len(earlier) > 0 {
						return earlier[0].Number
					}
					return ""
				}
			} else if !errors.Is(err, fs.ErrNotExist) {
				return "", err
			}
		}
		if find == nil {
			return "", nil
		}
		return find(session), nil
	}
}

// isRoomKPa reports whether a pressure can be that of the air in a room, from the highest
// towns to below sea level; the limits are those of room_kpa in the record.
func isRoomKPa(kPa float64) bool { return kPa >= 40 && kPa <= 115 }

// given reports whether options answer something.
func (s *fillOptions) given() bool {
	return len(s.columns)+len(s.files)+len(s.answers) > 0 || s.dates+s.decimals+s.zone != "" || s.gasKPa != 0
}

// answer takes what the options say into the settings.
func (s *fillOptions) answer(plan *schema.Plan, set *sessionlog.Settings) error {
	fields := map[string]bool{sessionlog.DateField: true, "-": true}
	for _, c := range sessionlog.Columns(plan) {
		fields[c.Field] = true
	}
	orders := []string{"", "day-first", "month-first", "year-first"}
	if !slices.Contains(orders, s.dates) {
		return usagef("write day-first, month-first or year-first", "--dates %s is no order of dates", quoted(s.dates))
	}
	if !slices.Contains([]string{"", "comma", "point"}, s.decimals) {
		return usagef("write comma or point", "--decimals %s is no decimal sign", quoted(s.decimals))
	}
	if s.gasKPa != 0 && !isRoomKPa(s.gasKPa) {
		return usagef("write what a barometer in the room shows, in kPa: 40 to 115",
			"--gas-kpa is no pressure of a room")
	}
	if s.zone != "" && !sessionlog.IsZone(s.zone) {
		return usagef("write it as continent and city, such as Europe/Berlin", "--zone %s is no time zone",
			quoted(s.zone))
	}
	for _, o := range []struct{ option, value string }{{"dates", s.dates}, {"decimals", s.decimals}, {"zone", s.zone}} {
		if o.value != "" {
			set.Answer(sessionlog.Doubt{Option: o.option}, o.value)
		}
	}
	if s.gasKPa != 0 {
		set.GasKPa = s.gasKPa
	}
	for _, given := range s.columns {
		heading, field, ok := cutLast(given)
		if !ok {
			return usagef(`write it like --column "Tube no.=/tubes/*/barcode"`, "--column needs HEADING=FIELD")
		}
		if !fields[strings.Split(field, "@")[0]] {
			return usagef("write it as outbreath plan lists it, such as /tubes/*/barcode, or - to leave the column out",
				"there is no field %s", quoted(field))
		}
		set.Set(sessionlog.Heading{Heading: heading, Field: field})
	}
	for _, given := range s.files {
		file, session, ok := cutLast(given)
		if !ok {
			return usagef("write it like --recording run7.csv=WEIR-V0007", "--recording needs FILE=SESSION")
		}
		set.Answer(sessionlog.Doubt{ID: sessionlog.RecordingDoubt(file)}, session)
	}
	for _, given := range s.answers {
		id, answer, ok := strings.Cut(given, "=")
		if !ok {
			return usagef("write it like --answer NUMBER=ANSWER, as the question was listed",
				"--answer needs NUMBER=ANSWER")
		}
		set.Answer(sessionlog.Doubt{ID: id}, answer)
	}
	return nil
}

// idle lists the options that speak of something that the log does not have: they would change nothing,
// though who typed them thinks that they did.
func (s *fillOptions) idle(tables []sheet.Table, r *sessionlog.Reading) (list []sessionlog.Problem) {
	for _, given := range s.columns {
		if heading, _, _ := cutLast(given); !sessionlog.Written(tables, heading) {
			list = append(list, sessionlog.Problem{Where: "--column " + given,
				Message: "no column of the log has this heading: write it as it is in the log"})
		}
	}
	if len(r.Doubts) > 0 {
		return list // sessions may still be unread
	}
	for _, given := range s.files {
		_, session, _ := cutLast(given)
		if session != "-" && !slices.ContainsFunc(r.Records,
			func(x *sessionlog.Record) bool { return x.ID == session }) {
			list = append(list, sessionlog.Problem{Where: "--recording " + given,
				Message: "the log has no session of this number: write it as it is in the log"})
		}
	}
	return list
}

// cutLast takes NAME=VALUE apart at the last "=": headings and file names may hold one.
func cutLast(given string) (name, value string, ok bool) {
	at := strings.LastIndexByte(given, '=')
	if at <= 0 || at == len(given)-1 {
		return "", "", false
	}
	return given[:at], given[at+1:], true
}

// read reads the log and the recordings with what has been answered so far, and
// compares them with the collection.
func (f *filling) read() error {
	in := sessionlog.Inputs{Plan: f.col.Plan, Study: f.col.Study, Roster: f.col.Roster, Zone: f.col.Study.Zone,
		Today: now()}
	f.reading = sessionlog.Read(f.tables, in, f.settings)
	if r := f.reading; len(r.Records)+len(r.Problems)+len(r.Doubts) == 0 {
		r.Problems = []sessionlog.Problem{{Where: "the log",
			Message: "there is no session in it yet: write a row for " +
				"each session, save it, and run fill again"}}
	}
	f.reading.Problems = append(f.reading.Problems, f.given.idle(f.tables, f.reading)...)
	// What is wrong with the log comes first: a session that is missing from it would only
	// make its recording a riddle.
	f.recordings, f.changes = &sessionlog.Recordings{}, &sessionlog.Changes{}
	if len(f.reading.Doubts)+len(f.reading.Problems) > 0 {
		return nil
	}
	if f.reading.Roster != nil {
		in.Roster = f.reading.Roster.Merged(f.col.Roster)
	}
	var err error
	p := f.u.progress("reading recordings")
	f.recordings, err = f.reading.TakeRecordings(f.source, f.col.Root, f.inside, in, f.settings, f.prior)
	p.end()
	if err != nil {
		return err
	}
	f.changes, err = f.reading.Compare(f.col.Root, in, f.settings, f.prior, f.digests, f.recordings, f.shipped)
	return err
}

// doubts are all open questions.
func (f *filling) doubts() []sessionlog.Doubt {
	return slices.Concat(f.reading.Doubts, f.recordings.Doubts, f.changes.Doubts)
}

// faulty reports whether a record would break the plan.
func (f *filling) faulty() bool {
	return slices.ContainsFunc(f.changes.Sessions, func(c sessionlog.Change) bool {
		return c.What == sessionlog.Faulty
	})
}

// finish shows what would be written, and writes it once a person, or --yes, agrees.
func (f *filling) finish(yes bool) error {
	doubts := f.doubts()
	problems := slices.Concat(f.reading.Problems, f.recordings.Problems)
	write := len(doubts)+len(problems) == 0 && !f.faulty() && f.changes.Any()
	if f.u.json {
		return f.finishJSON(doubts, problems, write && yes)
	}
	if len(doubts) > 0 {
		f.printDoubts(doubts) // errors are listed once nothing is open: many would follow from a question
		return statusError(exitResolve)
	}
	text := f.understood()
	if len(f.reading.Problems) == 0 {
		text += f.changesText() + f.remarksText()
	}
	if err := f.screen.print(f.u.out, text+logProblems(problems)); err != nil {
		return err
	}
	if len(problems) > 0 || f.faulty() {
		fmt.Fprintln(f.u.out, "to do: correct what is named, save it, and run fill again; nothing was written")
		return statusError(exitResolve)
	}
	if write && !yes {
		if !interactive(f.u) {
			fmt.Fprintln(f.u.out, "to do: look through the above, then run the command again with --yes; nothing "+
				"was written")
			return statusError(exitResolve)
		}
		answer, err := f.screen.ask("Write this? (yes or no) ")
		if err != nil {
			return err
		}
		if a := strings.ToLower(answer); a != "yes" && a != "y" {
			return usagef("correct the log, then run fill again; answers to questions are kept", "nothing was written")
		}
	}
	if err := f.write(write); err != nil {
		return err
	}
	return f.closing(write)
}

func (f *filling) write(write bool) error {
	if err := f.settings.Write(f.col.Root); err != nil {
		return err
	}
	if !write {
		return nil
	}
	return f.changes.Write(f.col.Root)
}

// left reports whether the log differs from a record that was sealed.
func (f *filling) left() bool {
	return slices.ContainsFunc(f.changes.Sessions,
		func(c sessionlog.Change) bool { return c.What == sessionlog.Sealed })
}

func (f *filling) closing(wrote bool) error {
	switch {
	case f.left():
		fmt.Fprintln(f.u.out, "to do: find out which is right for the sessions that were sealed; they stay as they "+
			"were, all others are as the log says")
		return statusError(exitResolve)
	case wrote:
		fmt.Fprintln(f.u.out, "written. Next: outbreath check "+quoted(f.col.Dir))
	default:
		fmt.Fprintln(f.u.out, "the records hold already what the log says. Next: outbreath check "+quoted(f.col.Dir))
	}
	return nil
}

func (f *filling) finishJSON(doubts []sessionlog.Doubt, problems []sessionlog.Problem, write bool) error {
	if len(doubts)+len(problems) == 0 {
		if err := f.write(write); err != nil {
			return err
		}
	}
	pending := f.changes.Any() && !write
	ok := len(doubts) == 0 && !pending && !f.left() && !f.faulty() && len(problems) == 0
	doc := map[string]any{"ok": ok, "understood": nonNil(f.reading.Understood), "doubts": nonNil(doubts),
		"problems": nonNil(problems), "sessions": nonNil(f.changes.Sessions), "roster": f.changes.Roster,
		"remarks": nonNil(f.changes.Remarks), "recordings": nonNil(f.recordings.Incoming),
		"without_recording": nonNil(f.recordings.Without),
		"written":           write}
	if err := f.u.result(doc, nil); err != nil {
		return err
	}
	if !ok {
		return statusError(exitResolve)
	}
	return nil
}
