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
	"outbreath/schema"
)

type sealOptions struct {
	to                             []string
	number, again, tubes, by, slip string
	partSize                       int64
	clockIsRight                   bool
	scan                           bool
	reasons                        []string // BARCODE=TEXT
	repair                         int      // percent; 0: none
	shareApart                     bool
	collection                     string
}

func newSealCmd(u *ui, o *options) *cobra.Command {
	s := &sealOptions{}
	c := &cobra.Command{
		Use:   "seal COLLECTION --to MEDIA [--to MEDIA]",
		Short: "Seal the collection into a shipment on the medium",
		Long: `Check, pseudonymise, search for identifiers, encrypt to the laboratory, sign,
write to the medium, read everything back, and only then give the shipment its
name. Nothing is written while a query or a finding is open. The shipment number
counts on from custody.jsonl.

With --to given twice the same shipment goes onto two media; if one fails, no
copy is left on either. --again N makes another copy of shipment N from the
unchanged collection, encrypted afresh, when a medium was lost or came to harm.
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

func runSeal(c *cobra.Command, u *ui, o *options, s *sealOptions, dir string) error {
	switch {
	case len(s.to) == 0:
		return usagef("name the folder on the medium with --to", "seal needs --to MEDIA")
	case s.partSize < 0:
		return usagef("leave it away, or give a number of bytes", "--part-size must not be negative")
	case s.again != "" && s.number != "":
		return usagef("use --again for a copy of a sealed shipment, --shipment for a new one", "--again and --shipment cannot be used together")
	}
	if err := s.checkShare(c); err != nil {
		return err
	}
	release, err := holdCollection(dir)
	if err != nil {
		return err
	}
	defer release()
	before, err := stateOf(dir)
	if err != nil {
		return err
	}
	col, err := loadCollection(dir)
	if err != nil {
		return err
	}
	defer col.Root.Close()
	if err := mediaApart(dir, o, s.to); err != nil {
		return err
	}
	if s.slip != "" {
		if err := slipApart(s.slip, s.to, dir); err != nil {
			return err
		}
	}
	if errs := col.Errors(); len(errs) > 0 {
		return &schema.QueriesError{Problems: errs}
	}
	if held := col.Holding(time.Now()); len(held) > 0 {
		u.say("remark: %s about how long the tubes have waited; check lists them", count(len(held), "warning"))
	}
	folder, key, err := siteKey(u, o, true)
	if err != nil {
		return err
	}
	recipients, known, err := folder.Recipients(col.Study.Recipients, now().Format("2006-01-02"))
	if err != nil {
		return err
	}
	sayRecipients(u, known)
	sayOtherName(u.tell, folder, col.Study.Site)
	signer, err := folder.Signer()
	if err != nil {
		return err
	}
	decisions, err := loadDecisions(dir)
	if err != nil {
		return err
	}
	journal, err := openLog(u, dir, folder)
	if err != nil {
		return err
	}
	leftOut, err := leaveOutWithdrawn(u, col, folder, journal)
	if err != nil {
		return err
	}
	draft, err := deid.Treat(col, key)
	if err != nil {
		return err
	}
	col.Sessions = nil // from here on only what leaves is needed
	stated, err := packBox(u, s, draft, leftOut)
	if err != nil {
		return err
	}
	cleared, err := deid.Release(draft, decisions)
	if err != nil {
		return err
	}
	entry := custody.Entry{When: now(), Who: operatorName(s.by), Why: "sealed for the laboratory"}
	if err := clockGoesOn(journal, &entry, s.clockIsRight); err != nil {
		return err
	}
	if err := settleUnfinished(u, journal, s.to, entry); err != nil {
		return err
	}
	given, err := folder.Given()
	if err != nil {
		return err
	}
	noteNumbers(u, folder, journal, col.Study.Study)
	chosen, err := chooseNumber(u, journal, given, col.Study, s)
	if err != nil {
		return err
	}
	number, sealedBefore := chosen.number, chosen.before
	if sealedBefore != nil {
		entry.Why = "another copy of the same contents"
	}

	begun := false // the entry "sealing" stands
	var paper *stagedPage
	defer func() { paper.discard() }()
	date := time.Now()
	p := u.progress("sealing " + number)
	sealed, err := pack.Seal(c.Context(), cleared, pack.SealOptions{
		Media: s.to, Number: number, Signer: signer, Recipients: recipients, PartSize: s.partSize, Repair: s.repair, Date: date, Progress: p.update,
		BeforeCommit: func(done *pack.Sealed) error {
			now, err := stateOf(dir)
			if err != nil {
				return err
			}
			if err := before.same(now); err != nil {
				return err
			}
			if sealedBefore != nil && sealedBefore.Facts["bag_sha256"] != done.Bag {
				return otherContents(number, s.again != "", sealedBefore.Facts, facts(done, stated, known))
			}
			if s.slip != "" {
				doc, err := newSlip(cleared, done, date, stated)
				if err != nil {
					return err
				}
				var page bytes.Buffer
				if err := slipPage.Execute(&page, doc); err != nil {
					return err
				}
				if paper, err = stagePage(s.slip, page.Bytes()); err != nil {
					return err
				}
			}
			e := entry
			e.What, e.Shipment, e.Facts = custody.Sealing, number, facts(done, stated, known)
			if err := logContents(journal, &e, deid.KeyID(key, col.Study.Study), cleared.Subjects()); err != nil {
				return err
			}
			begun = true
			return journal.Append(e)
		},
	})
	p.end()
	if err != nil {
		if begun {
			err = errors.Join(err, abandon(journal, entry, number, s.to))
		}
		return err
	}
	entry.What, entry.Shipment, entry.Facts = custody.Sealed, number, facts(sealed, stated, known)
	if err := journal.Append(entry); err != nil {
		return fmt.Errorf("the shipment is whole, but %s could not be written: %w", custodyFile, err)
	}
	if paper != nil {
		if err := paper.commit(); err != nil {
			return fmt.Errorf("the shipment is whole, but its slip: %w", err)
		}
	}
	if chosen.twin != nil && chosen.twin.Bag != sealed.Bag {
		u.tell("caution: %s\n  to do: do not send this one; seal again with --shipment %s", sameNumber(number, chosen.twin), chosen.free)
	}
	noteNumbers(u, folder, journal, col.Study.Study)
	return u.result(sealedResult{sealed, s.slip, stated, known}, func(w io.Writer) { printSealed(w, sealed, s.slip) })
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
func facts(s *pack.Sealed, stated []deid.Discrepancy, readers []keys.Trusted) map[string]string {
	f := map[string]string{
		"bag_sha256": s.Bag,
		"sessions":   fmt.Sprint(s.Sessions), "recordings": fmt.Sprint(s.Recordings), "tubes": fmt.Sprint(s.Tubes),
		"copies": fmt.Sprint(len(s.Copies)),
	}
	for sort, sum := range s.Inside {
		f[insideFact+sort] = sum
	}
	for _, p := range s.Parts {
		f["sha256 "+p.Name] = p.SHA256
	}
	var who []string
	for _, t := range readers {
		who = append(who, cmp.Or(t.Name, "-")+" "+t.Fingerprint)
	}
	f["recipients"] = strings.Join(who, ", ")
	if len(stated) > 0 {
		f["discrepancies"] = fmt.Sprint(len(stated))
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
		kind := "unexpected"
		switch n.Kind {
		case pack.NoteMissing:
			kind = "missing"
		case pack.NoteReturn:
			kind = "misread"
		}
		fmt.Fprintf(w, "  %s: %s %s\n", kind, quoted(n.Barcode), n.Detail)
	}
}
