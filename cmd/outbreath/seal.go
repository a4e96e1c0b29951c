package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/place"
	"outbreath/pack/site"
	"outbreath/schema"
	"outbreath/schema/sessionlog"
)

type sealOptions struct {
	to                             []string
	number, again, tubes, by, slip string
	partSize                       int64
	clockIsRight                   bool
	scan                           bool
	anew                           bool     // a new number for sessions that have left before
	amended                        string   // why records were amended after they were sealed
	newPlan                        string   // why the plan differs from the previous shipment's
	reasons                        []string // BARCODE=TEXT
	repair                         int      // percent; 0: none
	shareApart                     bool
	collection                     string
	packed                         *site.Packing // what was scanned for it; nil: no box was compared
}

func newSealCmd(u *ui, o *options) *cobra.Command {
	s := &sealOptions{}
	c := &cobra.Command{
		Use:   "seal COLLECTION --to MEDIA [--to MEDIA]",
		Short: "Seal the collection into a shipment on the medium",
		Long: `Check, pseudonymise, search for identifiers, encrypt to the laboratory, sign, write
to the medium, read everything back, and only then give the shipment its name.
Nothing is written while a query or a finding is open. The shipment number is the
next one that neither custody.jsonl nor the key folder knows.

With --to given twice, the same shipment goes onto two media; if one fails, no copy
is left on either. --again N makes another copy of shipment N from the unchanged
collection, encrypted afresh, after a medium was lost or damaged; what was stated
about the box then is stated again. Sessions that left before are sealed again only
with --new-number. A record that was changed since it was sealed needs a reason: you
are asked for it at a terminal, otherwise give --amended. On a file system that cannot
hold files of 4 GiB (FAT32), the archive is written in parts.

--tubes or --scan compares the box with the records. A tube that is in only one of
the two needs a reason, which travels with the shipment: you are asked for it at a
terminal, otherwise give --tube-reason. Write nothing about a person into a reason;
it is searched like every text.

With --repair, repair data are written next to the archive. With them the laboratory
can mend an archive that was damaged on the way, as long as the damage is smaller
than their share. Stock tools do not need them.

Eject the medium properly before you pull it out. Pseudonymised data stay
personal data: hand the medium over as your protocol and local law say.
` + statusHelp,
		Example: "  outbreath seal week-48 --to /media/stick\n  outbreath seal week-48 --to /media/stick --tubes " +
			"box.txt\n  outbreath seal week-48 --to /media/stick --to /media/safe\n  outbreath seal week-48 --to " +
			"/media/new --again 12",
		Args: func(c *cobra.Command, args []string) error { return s.takeShare(c, args) },
		RunE: func(c *cobra.Command, args []string) error { return runSeal(c, u, o, s, s.collection) },
	}
	c.Flags().StringArrayVar(&s.to, "to", nil, "folder on the medium; give it twice for two copies on two media")
	c.Flags().StringVar(&s.again, "again", "", "make another copy of this sealed shipment")
	c.Flags().BoolVar(&s.anew, "new-number", false, "seal sessions of an earlier shipment again, "+
		"under a new number")
	c.Flags().StringVar(&s.newPlan, "new-plan", "", "why the plan differs from that of the previous "+
		"shipment, as the privacy officer decided")
	c.Flags().StringVar(&s.amended, "amended", "", "why records were changed after they were sealed, without "+
		"anything about a person")
	c.Flags().BoolVar(&s.clockIsRight, "clock-is-right", false, "this computer's clock is right, though "+
		"custody.jsonl has a later entry")
	c.Flags().StringVar(&s.number, "shipment", "", "shipment number (default: the next one of the site)")
	c.Flags().StringVar(&s.tubes, "tubes", "", "`FILE` with the barcodes in the box, "+tubesForms+", to compare "+
		"with the records")
	c.Flags().BoolVar(&s.scan, "scan", false, "scan or type the barcodes of the box now, and end with an empty line")
	c.Flags().StringArrayVar(&s.reasons, "tube-reason", nil, "BARCODE=TEXT: why this tube is not in the box, or "+
		"has no record (repeatable)")
	c.Flags().StringVar(&s.slip, "slip", "", "write a packing slip, an HTML page to print and put into the box")
	c.Flags().Int64Var(&s.partSize, "part-size", 0, "largest file in bytes (default: the limit of the "+
		"medium's file system)")
	s.repairFlag(c)
	c.Flags().StringVar(&s.by, "by", "", "who seals (default: the user's name on this computer)")
	return c
}

// A sealJob is one run of seal as the user sees it; [site.Seal] does the work.
type sealJob struct {
	*site.Seal
	c *cobra.Command
	u *ui
	o *options
	s *sealOptions

	dir    string
	col    *schema.Collection
	folder *keys.Folder
	names  *deid.FileNames // nil until the records are treated
	date   time.Time
	paper  *stagedPage // the packing slip; nil without --slip
}

// runSeal takes the steps of a seal in order. The collection is locked throughout, and its
// log from open to the end.
func runSeal(c *cobra.Command, u *ui, o *options, s *sealOptions, dir string) (err error) {
	if err := s.usable(c); err != nil {
		return err
	}
	held, err := site.Hold(dir)
	if err != nil {
		return err
	}
	defer held.Release()
	j := &sealJob{c: c, u: u, o: o, s: s, dir: dir}
	defer func() { err = j.explained(err) }()
	if j.col, err = loadCollection(u, dir); err != nil {
		return err
	}
	defer j.col.Root.Close()
	if err := j.open(held); err != nil {
		return err
	}
	defer func() { j.Log.Release() }()
	gone, err := j.LeaveOut()
	sayLeftOut(u, gone)
	if err != nil {
		return err
	}
	if err := j.choose(); err != nil {
		return err
	}
	sayFirstOfStudy(u, j.Log, j.col.Study.Study)
	if err := j.clear(gone); err != nil {
		return err
	}
	return j.write()
}

// sayFirstOfStudy warns that the key folder knows nothing of the study yet, neither a number
// nor a withdrawal: it may be the wrong folder, or an old copy.
func sayFirstOfStudy(u *ui, l *site.Log, study string) {
	first, others := l.FirstOfStudy()
	switch {
	case first && len(others) > 0:
		u.tell("caution: these keys have sealed nothing for study %s yet, and know no withdrawal from it; they know %s\n"+
			"  to do: if the study has had shipments, stop, and correct the study's code or put back the newest "+
			"copy of the key folder", study, words(others))
	case first:
		u.say("remark: these keys have sealed nothing yet, and know no withdrawal; if that is wrong, stop, and " +
			"put back the newest copy of the key folder")
	}
}

// usable refuses options that contradict each other.
func (s *sealOptions) usable(c *cobra.Command) error {
	switch {
	case len(s.to) == 0:
		return usagef("name the folder on the medium with --to", "seal needs --to MEDIA")
	case s.partSize < 0:
		return usagef("leave it out, or give a number of bytes", "--part-size must not be negative")
	case s.again != "" && s.number != "":
		return usagef("use --again for a copy of a sealed shipment, --shipment for "+
			"a new one", "--again and --shipment cannot be used together")
	case s.again != "" && s.anew:
		return usagef("use --again for a copy of a sealed shipment, --new-number for "+
			"a new one", "--again and --new-number cannot be used together")
	}
	return s.checkShare(c)
}

// open checks the options, media and texts, opens keys and log, and settles interrupted
// seals.
func (j *sealJob) open(held *site.Held) error {
	if err := j.s.textsMayStay(j.col); err != nil {
		return err
	}
	if err := mediaFit(j.dir, j.o, j.s.to); err != nil {
		return err
	}
	if j.s.slip != "" {
		if err := place.Slip(j.s.slip, j.s.to, j.dir); err != nil {
			return err
		}
	}
	at := time.Now()
	if errs := append(j.col.Errors(), j.col.Future(at)...); len(errs) > 0 {
		return &schema.QueriesError{Problems: errs}
	}
	if held := j.col.Holding(at); len(held) > 0 {
		j.u.say("remark: %s about how long tubes have waited; check lists them", count(len(held), "warning"))
	}
	folder, key, err := siteKey(j.u, j.o, true)
	if err != nil {
		return err
	}
	j.folder = folder
	filled, err := sessionlog.ReadFilled(j.col.Root)
	if err != nil {
		return err
	}
	j.Seal = site.NewSeal(held, j.col, folder, key, site.Order{
		Media: j.s.to, Who: operatorName(j.s.by), When: now(), ClockIsRight: j.s.clockIsRight,
		NewPlan: j.s.newPlan, Program: programName(), Logs: filled.Logs,
	})
	err = j.OpenKeys()
	sayRecipients(j.u, j.Readers)
	sayOtherName(j.u.tell, folder, j.col.Study.Site)
	if err != nil {
		return err
	}
	log, err := openLog(j.u, j.col, folder)
	if err != nil {
		return err
	}
	settled, err := j.Begin(log)
	sayInterrupted(j.u, settled)
	return err
}

// clear treats the records, compares the box with them, asks why records were amended, and
// searches what would leave. gone are the sessions left out, which [site.NewBox] must know.
func (j *sealJob) clear(gone []*schema.Session) error {
	if err := j.Treat(); err != nil {
		return err
	}
	stated, err := j.pack(site.NewBox(j.Draft, gone))
	if err != nil {
		return err
	}
	if err := j.amended(); err != nil {
		return err
	}
	j.names = namesOf(j.col, j.Draft, j.Decisions, nil)
	return j.Clear(stated)
}

// pack compares the box with the records. Another copy of a shipment repeats what was stated
// about the box then, unless the box is compared again.
func (j *sealJob) pack(box *site.Box) ([]deid.Discrepancy, error) {
	var before []deid.Discrepancy
	if again := j.Choice.Copy; again != nil {
		before = again.Stated
	}
	if len(before) == 0 || j.s.tubes != "" || j.s.scan {
		return packBox(j.u, j.s, j.col.Root, box, before)
	}
	for _, d := range before {
		j.u.say("as when %s was sealed: %s tube %s: %s", j.Choice.Number, d.Kind, quoted(d.Barcode), d.Reason)
	}
	return before, box.State(before)
}

// write seals, gives the packing slip its name, and prints what was sealed.
func (j *sealJob) write() error {
	number, err := j.Number()
	if err != nil {
		return err
	}
	defer func() { j.paper.discard() }()
	j.date = time.Now()
	p := j.u.progress("sealing " + number)
	sealed, err := j.Write(j.c.Context(), site.Writing{
		Number: number, PartSize: j.s.partSize, Repair: j.s.repair, Date: j.date, Progress: p.update,
		Named: j.stageSlip,
	})
	p.end()
	if exists := new(pack.ExistsError); j.Choice.Copy != nil && errors.As(err, &exists) {
		return usagef("name another medium; this one already has a copy of the shipment, or something of that "+
			"name. Nothing was changed", "%s", err)
	}
	if err != nil {
		return err
	}
	if err := j.s.packed.Clear(); err != nil {
		return fmt.Errorf("the shipment is complete, but %s was not removed; delete it: %w", site.PackingName, err)
	}
	if j.paper != nil {
		if err := j.paper.commit(); err != nil {
			return fmt.Errorf("the shipment is complete, but its slip is missing: %w", err)
		}
	}
	return j.u.result(sealedResult{sealed, j.s.slip, j.Stated, j.Readers},
		func(w io.Writer) { printSealed(w, sealed, j.s.slip) })
}

// stageSlip writes the packing slip under a temporary name, before the shipment gets its
// name: a slip that cannot be written must stop the seal.
func (j *sealJob) stageSlip(cleared *deid.Cleared, done *pack.Sealed) error {
	if j.s.slip == "" {
		return nil
	}
	doc, err := newSlip(cleared, done, j.date, j.Stated)
	if err != nil {
		return err
	}
	var page bytes.Buffer
	if err := slipPage.Execute(&page, doc); err != nil {
		return err
	}
	j.paper, err = stagePage(j.s.slip, page.Bytes())
	return err
}

// sealedResult is the JSON document of seal.
type sealedResult struct {
	*pack.Sealed
	Slip   string             `json:"slip,omitempty"`
	Stated []deid.Discrepancy `json:"stated,omitempty"` // differences between box and records, with the packer's reasons
	For    []keys.Trusted     `json:"recipients"`       // who can open it
}

// printSealed prints what was written where, with digests, and what to do next.
func printSealed(w io.Writer, s *pack.Sealed, slip string) {
	fmt.Fprintf(w, "shipment %s is sealed in %s\n", s.Shipment, quoted(s.Folder))
	for _, c := range s.Copies[1:] {
		fmt.Fprintf(w, "  and the same in %s\n", quoted(c.Folder))
	}
	fmt.Fprintf(w, "  %s, %s, %s\n", count(s.Sessions, "session"), count(s.Recordings, "recording"),
		count(s.Tubes, "tube"))
	for _, p := range s.Parts {
		fmt.Fprintf(w, "  %s  %d bytes\n    SHA-256 %s\n", p.Name, p.Bytes, p.SHA256)
	}
	if r := s.Repair; r != nil {
		fmt.Fprintf(w, "  %s  %d bytes of repair data\n    SHA-256 %s\n", r.Name, r.Bytes, r.SHA256)
	}
	if s.ReadBack {
		fmt.Fprintln(w, "  read back from the medium and compared: the same")
	} else {
		fmt.Fprintln(w, "  compared after writing, but this system could not be made to read from the device "+
			"itself:\n  eject the medium, put it in again and run verify at the laboratory's side or sha256sum -c here")
	}
	if slip != "" {
		fmt.Fprintf(w, "packing slip written: %s\nIt shows session pseudonyms: print it for the box, for packer, "+
			"courier and laboratory only, and delete the file.\n", quoted(slip))
	}
	fmt.Fprintln(w, "Next: eject the medium properly, pack it with the tubes, and hand both over together.")
}

// printTubes prints how box and records agree, and each difference.
func printTubes(w io.Writer, m *pack.TubeMatch) {
	fmt.Fprintf(w, "tubes: %d matched, %d missing, %d unexpected\n", len(m.Matched), len(m.Missing), len(m.Unexpected))
	for _, n := range m.Notes {
		fmt.Fprintf(w, "  %s: %s %s\n", noteWord(n), quoted(n.Barcode), n.Detail)
	}
}

// noteWord is the kind of a note as it is printed: of barcodes, the records miss or do not
// know one, or the scanner misread it.
func noteWord(n pack.TubeNote) string {
	switch n.Kind {
	case pack.NoteMissing:
		return "missing"
	case pack.NoteReturn:
		return "misread"
	}
	return "unexpected"
}
