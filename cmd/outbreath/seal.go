package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/pack/place"
	"outbreath/pack/site"
	"outbreath/schema"
)

type sealOptions struct {
	to                             []string
	number, again, tubes, by, slip string
	partSize                       int64
	clockIsRight                   bool
	scan                           bool
	anew                           bool     // a new number for sessions that have left before
	amended                        string   // why records were amended after they were sealed
	newPlan                        string   // why the plan is another than that of the shipment before
	reasons                        []string // BARCODE=TEXT
	repair                         int      // percent; 0: none
	shareApart                     bool
	collection                     string
	packed                         *packing // what was scanned for it; nil: no box was compared
}

func newSealCmd(u *ui, o *options) *cobra.Command {
	s := &sealOptions{}
	c := &cobra.Command{
		Use:   "seal COLLECTION --to MEDIA [--to MEDIA]",
		Short: "Seal the collection into a shipment on the medium",
		Long: `Check, pseudonymise, search for identifiers, encrypt to the laboratory, sign,
write to the medium, read everything back, and only then give the shipment its
name. Nothing is written while a query or a finding is open. The shipment number
is the next one that neither custody.jsonl nor the key folder knows.

With --to given twice the same shipment goes onto two media; if one fails, no
copy is left on either. --again N makes another copy of shipment N from the
unchanged collection, encrypted afresh, when a medium was lost or came to harm;
what was said of the box then is said again. Sessions that left before are sealed
under a new number with --new-number only. A record that was changed since it was
sealed needs a reason: at a terminal it is asked for, else give --amended.
A file system that holds no file of 4 GiB (FAT32) gets the archive in parts.

--tubes or --scan compares the box with the records. A tube that is only in one of
the two needs a reason, which travels with the shipment: at a terminal it is asked
for, else give --tube-reason. Write nothing about a person into a reason; it is
searched like every text.

With --repair, repair data are written beside the archive: the laboratory can mend
an archive that was damaged on the way as long as less of it is damaged than the
share. Stock tools do not need them.

Eject the medium properly before you pull it out. Pseudonymised data stay
personal data: hand the medium over as your protocol and local law say.
` + statusHelp,
		Example: "  outbreath seal week-48 --to /media/stick\n  outbreath seal week-48 --to /media/stick --tubes box.txt\n  outbreath seal week-48 --to /media/stick --to /media/safe\n  outbreath seal week-48 --to /media/new --again 12",
		Args:    func(c *cobra.Command, args []string) error { return s.takeShare(c, args) },
		RunE:    func(c *cobra.Command, args []string) error { return runSeal(c, u, o, s, s.collection) },
	}
	c.Flags().StringArrayVar(&s.to, "to", nil, "folder on the medium; give it twice for two copies on two media")
	c.Flags().StringVar(&s.again, "again", "", "make another copy of this sealed shipment")
	c.Flags().BoolVar(&s.anew, "new-number", false, "seal sessions that an earlier shipment holds once more, under a new number")
	c.Flags().StringVar(&s.newPlan, "new-plan", "", "why this shipment is sealed under another plan than the one before, as the privacy officer decided")
	c.Flags().StringVar(&s.amended, "amended", "", "why records were changed after they were sealed, without anything about a person")
	c.Flags().BoolVar(&s.clockIsRight, "clock-is-right", false, "this computer's clock is right, though custody.jsonl has a later entry")
	c.Flags().StringVar(&s.number, "shipment", "", "shipment number (default: the next one of the site)")
	c.Flags().StringVar(&s.tubes, "tubes", "", "file with the barcodes in the box, one a line, to compare with the records")
	c.Flags().BoolVar(&s.scan, "scan", false, "scan or type the barcodes of the box now, an empty line at the end")
	c.Flags().StringArrayVar(&s.reasons, "tube-reason", nil, "BARCODE=TEXT: why this tube is not in the box, or has no record (repeatable)")
	c.Flags().StringVar(&s.slip, "slip", "", "write a packing slip to print and lay into the box, an HTML page")
	c.Flags().Int64Var(&s.partSize, "part-size", 0, "largest file in bytes (default: what the medium's file system holds)")
	s.repairFlag(c)
	c.Flags().StringVar(&s.by, "by", "", "who seals (default: the user's name on this computer)")
	return c
}

// A sealJob is one run of seal: what is sealed, with what, and what is known of it.
type sealJob struct {
	c      *cobra.Command
	u      *ui
	o      *options
	s      *sealOptions
	dir    string
	before state // of the collection's files

	col    *schema.Collection
	folder *keys.Folder
	log    *site.Log
	key    *keys.PseudonymKey // the generation that the shipment is made with
	opts   pack.SealOptions   // signer and recipients
	known  []keys.Trusted     // who the recipients are

	number  string
	again   *site.Shipment  // the shipment that another copy is made of; nil: a new number
	names   *deid.FileNames // nil until the records are treated
	stated  []deid.Discrepancy
	sources []site.Sealed
	amended []site.Amendment
	why     string // the records were amended
	entry   custody.Entry
	begun   bool // the entry "sealing" was written
	date    time.Time
	paper   *stagedPage
}

func runSeal(c *cobra.Command, u *ui, o *options, s *sealOptions, dir string) (err error) {
	if err := s.usable(c); err != nil {
		return err
	}
	release, err := holdCollection(dir)
	if err != nil {
		return err
	}
	defer release()
	j := &sealJob{c: c, u: u, o: o, s: s, dir: dir}
	defer func() { err = j.told(err) }()
	if err := j.open(); err != nil {
		return err
	}
	defer j.col.Root.Close()
	defer func() { j.log.Release() }()
	j.entry = custody.Entry{When: now(), Who: operatorName(s.by), Why: "sealed for the laboratory"}
	if err := clockGoesOn(j.log.Journal, &j.entry, s.clockIsRight); err != nil {
		return err
	}
	if err := settleUnfinished(u, j.log.Journal, s.to, j.entry); err != nil {
		return err
	}
	j.log.Release() // what follows takes long; commit holds it again
	leftOut, err := leaveOutWithdrawn(u, j.col, j.log)
	if err != nil {
		return err
	}
	if len(leftOut) > 0 && len(j.col.Sessions) == 0 {
		return usagef("there is nothing to seal", "every record of this collection is of a subject who has withdrawn")
	}
	if known := j.log.Objections(j.col); len(known) > 0 {
		return &schema.QueriesError{Problems: known}
	}
	if err := j.choose(); err != nil {
		return err
	}
	sayFirstOfStudy(u, j.log, j.col.Study.Study)
	if err := j.samePlan(); err != nil {
		return err
	}
	cleared, err := j.clear(tubesIn(leftOut))
	if err != nil {
		return err
	}
	if j.again != nil {
		j.entry.Why = "another copy of the same contents"
	}
	if j.number == "" {
		if j.number, err = j.log.Next(j.col.Study.Site); err != nil {
			return err
		}
	}
	return j.write(cleared)
}

// samePlan refuses a plan that is not the one of the shipment before, unless it was
// said why. Another copy keeps its own: the bag's digest proves it.
func (j *sealJob) samePlan() error {
	before := j.log.EarlierPlan(j.col.Plan)
	switch {
	case j.again != nil:
	case before == nil && j.s.newPlan != "":
		return usagef("leave --new-plan away", "the plan is the one of the shipment before")
	case before != nil && j.s.newPlan == "":
		return usagef("put the plan in study.json back; if the privacy officer has decided on another one, add --new-plan TEXT, which says why",
			"the plan is %q now, and treats fields otherwise than %s of %s did: data of one subject under two plans can undo each other, as true dates beside shifted ones give the shift away",
			j.col.Plan.Name, before.Number, before.Day)
	case before != nil:
		j.entry.Why += "; under another plan than before: " + j.s.newPlan
	}
	return nil
}

// sayFirstOfStudy tells that nothing is known of a study yet: no number, no withdrawal.
func sayFirstOfStudy(u *ui, l *site.Log, study string) {
	first, others := l.FirstOfStudy()
	switch {
	case first && len(others) > 0:
		u.tell("caution: these keys have sealed nothing for study %s yet, and know no withdrawal of it; they know %s\n"+
			"  to do: if the study has had shipments, stop, and correct the study's code or put back the newest copy of the key folder", study, words(others))
	case first:
		u.say("remark: these keys have sealed nothing yet, and know no withdrawal; if that is wrong, stop, and put back the newest copy of the key folder")
	}
}

// usable refuses options that contradict each other.
func (s *sealOptions) usable(c *cobra.Command) error {
	switch {
	case len(s.to) == 0:
		return usagef("name the folder on the medium with --to", "seal needs --to MEDIA")
	case s.partSize < 0:
		return usagef("leave it away, or give a number of bytes", "--part-size must not be negative")
	case s.again != "" && s.number != "":
		return usagef("use --again for a copy of a sealed shipment, --shipment for a new one", "--again and --shipment cannot be used together")
	case s.again != "" && s.anew:
		return usagef("use --again for a copy of a sealed shipment, --new-number for a new one", "--again and --new-number cannot be used together")
	}
	return s.checkShare(c)
}

// open reads the collection and the keys, and compares the log with what the key
// folder knows. The caller closes j.col.Root if there is no error.
func (j *sealJob) open() (err error) {
	if j.before, err = stateOf(j.dir); err != nil {
		return err
	}
	if j.col, err = loadCollection(j.u, j.dir); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			j.col.Root.Close()
		}
	}()
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
	if errs := j.col.Errors(); len(errs) > 0 {
		return &schema.QueriesError{Problems: errs}
	}
	if held := j.col.Holding(time.Now()); len(held) > 0 {
		j.u.say("remark: %s about how long the tubes have waited; check lists them", count(len(held), "warning"))
	}
	if err = j.openKeys(); err != nil {
		return err
	}
	if j.opts.Recipients, j.known, err = j.folder.Recipients(j.col.Study.Recipients, now().Format("2006-01-02")); err != nil {
		return err
	}
	sayRecipients(j.u, j.known)
	sayOtherName(j.u.tell, j.folder, j.col.Study.Site)
	j.opts.Program = programName()
	if j.opts.Signer, err = j.folder.Signer(); err != nil {
		return err
	}
	j.log, err = openLog(j.u, j.col, j.folder)
	return err
}

func (j *sealJob) openKeys() (err error) {
	j.folder, j.key, err = siteKey(j.u, j.o, true)
	return err
}

// clear treats and searches the records, and compares the box with them.
func (j *sealJob) clear(leftOut map[string]bool) (*deid.Cleared, error) {
	decisions, err := parseDecisions(j.log)
	if err != nil {
		return nil, err
	}
	draft, err := treatAs(j.program(), j.col, j.key)
	if err != nil {
		return nil, err
	}
	if j.stated, err = j.pack(draft, leftOut); err != nil {
		return nil, err
	}
	sources, err := draft.Sources()
	if err != nil {
		return nil, err
	}
	j.sources, j.amended = j.log.Sealed(sources)
	if len(j.amended) > 0 && j.again == nil {
		if j.why, err = amendReason(j.u, j.col, j.s.amended, j.amended); err != nil {
			return nil, err
		}
	}
	j.names = namesOf(j.col, draft, decisions, nil)
	for _, s := range j.col.Sessions {
		s.Doc = nil // large, and read by nobody from here on
	}
	return deid.Release(draft, decisions)
}

// program names the program in treatment.json. A copy of a sealed shipment keeps the
// name of the program that sealed it first, so that a stick lost before an update can
// be made again after it: the bag's digest proves that this program makes the same of
// the records. The label names the program that makes the copy.
func (j *sealJob) program() string {
	if j.again != nil {
		for _, e := range j.log.Entries {
			if name := e.Facts[programFact]; e.What == custody.Sealed && e.Shipment == j.again.Number && deid.ProgramForm.MatchString(name) {
				return name
			}
		}
	}
	return programName()
}

// pack compares the box with the records. For another copy of a shipment what was
// stated then is stated again, unless the box is compared anew.
func (j *sealJob) pack(draft *deid.Draft, leftOut map[string]bool) ([]deid.Discrepancy, error) {
	if j.again == nil {
		return packBox(j.u, j.s, j.col.Root, draft, leftOut, nil)
	}
	if j.s.tubes != "" || j.s.scan {
		return packBox(j.u, j.s, j.col.Root, draft, leftOut, j.again.Stated)
	}
	for _, d := range j.again.Stated {
		j.u.say("as %s was sealed: %s tube %s: %s", j.number, d.Kind, quoted(d.Barcode), d.Reason)
	}
	if len(j.again.Stated) == 0 {
		return packBox(j.u, j.s, j.col.Root, draft, leftOut, nil)
	}
	return j.again.Stated, draft.State(j.again.Stated)
}

// write seals, and records it before and after the shipment gets its name.
func (j *sealJob) write(cleared *deid.Cleared) error {
	defer func() { j.paper.discard() }()
	j.date = time.Now()
	p := j.u.progress("sealing " + j.number)
	opts := j.opts
	opts.Media, opts.Number, opts.PartSize, opts.Repair, opts.Date, opts.Progress = j.s.to, j.number, j.s.partSize, j.s.repair, j.date, p.update
	opts.BeforeCommit = func(done *pack.Sealed) error { return j.commit(cleared, done) }
	sealed, err := pack.Seal(j.c.Context(), cleared, opts)
	p.end()
	if err != nil {
		if exists := new(pack.ExistsError); j.again != nil && errors.As(err, &exists) {
			err = usagef("name another medium; this one holds a copy of the shipment already, or something of its name. Nothing was changed", "%s", err)
		}
		if j.begun {
			err = errors.Join(err, abandon(j.log.Journal, j.entry, j.number, j.s.to))
		}
		return err
	}
	e := j.entry
	e.What, e.Shipment, e.Facts = custody.Sealed, j.number, j.facts(sealed)
	if err := j.log.Append(e); err != nil {
		return fmt.Errorf("the shipment is whole, but %s could not be written: %w", custodyFile, err)
	}
	if err := j.s.packed.clear(); err != nil {
		return fmt.Errorf("the shipment is whole, but %s was not removed; delete it: %w", packingFile, err)
	}
	if j.paper != nil {
		if err := j.paper.commit(); err != nil {
			return fmt.Errorf("the shipment is whole, but its slip: %w", err)
		}
	}
	return j.u.result(sealedResult{sealed, j.s.slip, j.stated, j.known}, func(w io.Writer) { printSealed(w, sealed, j.s.slip) })
}

// commit is the last look before the shipment gets its name.
func (j *sealJob) commit(cleared *deid.Cleared, done *pack.Sealed) error {
	now, err := stateOf(j.dir)
	if err != nil {
		return err
	}
	if err := j.before.same(now); err != nil {
		return err
	}
	if x := j.log.State.Shipment(j.number); x != nil && x.Bag != "" && x.Bag != done.Bag {
		return otherContents(j.log, x, j.s.again != "", j.facts(done))
	}
	if j.s.slip != "" {
		doc, err := newSlip(cleared, done, j.date, j.stated)
		if err != nil {
			return err
		}
		var page bytes.Buffer
		if err := slipPage.Execute(&page, doc); err != nil {
			return err
		}
		if j.paper, err = stagePage(j.s.slip, page.Bytes()); err != nil {
			return err
		}
	}
	decided := j.log.Review
	if err := j.log.ToAdd(); err != nil {
		return err
	}
	if !bytes.Equal(decided, j.log.Review) {
		return &custody.ChangedError{Path: reviewFile}
	}
	if len(j.amended) > 0 && j.again == nil {
		e := j.entry
		e.Why = j.why
		if err := j.log.Amend(e, j.amended); err != nil {
			return err
		}
	}
	e := j.entry
	e.Shipment, e.Facts = j.number, j.facts(done)
	err = j.log.Sealing(e, &site.Shipment{
		Number: j.number, Bag: done.Bag, KeyID: deid.KeyID(j.key, j.col.Study.Study),
		Sessions: j.sources, Subjects: cleared.Subjects(), Stated: j.stated,
	})
	if n := len(j.log.Entries); n > 0 {
		j.begun = j.log.Entries[n-1].What == custody.Sealing && j.log.Entries[n-1].Shipment == j.number
	}
	return err
}

// sealedResult is the JSON document of seal.
type sealedResult struct {
	*pack.Sealed
	Slip   string             `json:"slip,omitempty"`
	Stated []deid.Discrepancy `json:"stated,omitempty"` // what box and records do not share, with the packer's reasons
	For    []keys.Trusted     `json:"recipients"`       // who can open it
}

func printSealed(w io.Writer, s *pack.Sealed, slip string) {
	fmt.Fprintf(w, "shipment %s is sealed in %s\n", s.Shipment, quoted(s.Folder))
	for _, c := range s.Copies[1:] {
		fmt.Fprintf(w, "  and the same in %s\n", quoted(c.Folder))
	}
	fmt.Fprintf(w, "  %s, %s, %s\n", count(s.Sessions, "session"), count(s.Recordings, "recording"), count(s.Tubes, "tube"))
	for _, p := range s.Parts {
		fmt.Fprintf(w, "  %s  %d bytes\n    SHA-256 %s\n", p.Name, p.Bytes, p.SHA256)
	}
	if r := s.Repair; r != nil {
		fmt.Fprintf(w, "  %s  %d bytes of repair data\n    SHA-256 %s\n", r.Name, r.Bytes, r.SHA256)
	}
	if s.ReadBack {
		fmt.Fprintln(w, "  read back from the medium and compared: the same")
	} else {
		fmt.Fprintln(w, "  compared after writing, but this system could not be told to read from the device itself:\n  eject the medium, put it in again and run verify at the laboratory's side or sha256sum -c here")
	}
	if slip != "" {
		fmt.Fprintf(w, "packing slip written: %s\nIt shows session pseudonyms: print it for the box, for packer, courier and laboratory only, and delete the file.\n", quoted(slip))
	}
	fmt.Fprintln(w, "Next: eject the medium properly, pack it with the tubes, and hand both over together.")
}

// facts are what custody.jsonl keeps of a shipment: counts, digests, and who can read it.
func (j *sealJob) facts(s *pack.Sealed) map[string]string {
	f := map[string]string{
		"bag_sha256": s.Bag,
		"sessions":   fmt.Sprint(s.Sessions), "recordings": fmt.Sprint(s.Recordings), "tubes": fmt.Sprint(s.Tubes),
		"copies": fmt.Sprint(len(s.Copies)), programFact: programName(), site.FactPlan: site.PlanName(j.col.Plan),
	}
	for sort, sum := range s.Inside {
		f[insideFact+sort] = sum
	}
	for _, p := range s.Parts {
		f["sha256 "+p.Name] = p.SHA256
	}
	var who []string
	for _, t := range j.known {
		who = append(who, cmp.Or(t.Name, "-")+" "+t.Fingerprint)
	}
	f["recipients"] = strings.Join(who, ", ")
	if len(j.stated) > 0 {
		f["discrepancies"] = fmt.Sprint(len(j.stated))
	}
	return f
}

func readTubes(path string) ([]string, error) {
	data, err := readBounded(path, 16<<20)
	if err != nil {
		return nil, err
	}
	tubes, err := pack.ParseTubes(data)
	if errors.Is(err, pack.ErrNoBarcode) {
		return nil, err
	}
	if err != nil {
		return nil, usagef("scan the box again, one barcode a line", "%s: %s", quoted(path), err)
	}
	return tubes, nil
}

func printTubes(w io.Writer, m *pack.TubeMatch) {
	fmt.Fprintf(w, "tubes: %d matched, %d missing, %d unexpected\n", len(m.Matched), len(m.Missing), len(m.Unexpected))
	for _, n := range m.Notes {
		fmt.Fprintf(w, "  %s: %s %s\n", noteWord(n), quoted(n.Barcode), n.Detail)
	}
}

func noteWord(n pack.TubeNote) string {
	switch n.Kind {
	case pack.NoteMissing:
		return "missing"
	case pack.NoteReturn:
		return "misread"
	}
	return "unexpected"
}
