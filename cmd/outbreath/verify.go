package main

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/intake"
	"outbreath/pack/place"
)

type verifyOptions struct {
	tubes, slips, remarks []string
	receipt, by           string
	lines                 bool
	repairInto            string
	jobs                  int
	into                  string // of open: the new folder for the bag
	register              registerOptions
}

const verifyLong = `Read each shipment once, to its end. Check both signatures against the signers that
this laboratory trusts, every digest, every record against the schema that came with
it and, with --tubes, the box against the records. Nothing is unpacked. Use nothing
from a rejected shipment: keep the medium as it is and ask the site for a new copy.

With several shipments, give one --tubes file for each, in the same order, so that
swapped boxes are recognised; or give one file with the tubes of all boxes. --slip
takes the text of the code on a packing slip, which proves that paper, box and medium
belong together. Nothing is corrected by guessing: a barcode that differs in one
character is reported, and a person looks at the tube.

For a damaged archive, the places of the damage are listed. If the site added repair
data and they suffice, --repair-into DIR writes the complete shipment into a new
folder and verifies it there; what arrived is not changed.

--register keeps an intake register: a file, created if it does not exist, or
postgres://USER@HOST/DATABASE for several stations. It recognises a shipment that
came before, two contents under one number, a barcode of another shipment, and
numbers that never arrived. verify --register DB --overdue lists the gaps and the
silent sites. Record what you settled with the site, such as a number that was given
up, with --settle NUMBER --reason TEXT: it is no longer listed, and is a discrepancy
if it comes after all. Never write a password into the address: put it into the file
that PGPASSFILE names.

--receipt writes the laboratory's signed statement, and its signature (FILE.sig),
for the site; with several shipments it names a folder. Remarks on the condition of
box, tubes and medium go into it: write nothing about a person.
`

const verifyExample = "  outbreath verify /media/stick/WEIR-0001 --tubes box.txt --keys lab-keys\n" +
	"  outbreath verify /media/a/WEIR-0001 /media/b/WEIR-0002 --tubes box1.txt --tubes box2.txt --keys lab-keys\n" +
	"  outbreath verify /media/stick/* --register intake.db --keys lab-keys\n" +
	"  outbreath verify --register intake.db --overdue --days 14\n" +
	"  outbreath verify --register intake.db --settle WEIR-0002 --reason 'given up, says the site'"

func newVerifyCmd(u *ui, o *options) *cobra.Command {
	s := &verifyOptions{}
	c := &cobra.Command{
		Use:     "verify SHIPMENT...",
		Short:   "Check that what arrived is what was sent, complete and from a trusted site",
		Long:    verifyLong + statusHelp,
		Example: verifyExample,
		Args: func(c *cobra.Command, args []string) error {
			if s.register.alone() {
				return cobra.NoArgs(c, args)
			}
			return cobra.MinimumNArgs(1)(c, args)
		},
		RunE: func(c *cobra.Command, args []string) error {
			holdMemory()
			switch {
			case s.register.settle != "":
				return runSettle(c, u, &s.register)
			case s.register.prepare:
				return runPrepare(c, u, &s.register)
			case s.register.overdue:
				return runOverdue(c, u, &s.register)
			}
			return s.verify(c, u, o, args)
		},
	}
	f := c.Flags()
	f.StringArrayVar(&s.tubes, "tubes", nil,
		"`FILE` with the barcodes in the box, "+tubesForms+"; one for each shipment, or one for all")
	f.StringArrayVar(&s.slips, "slip", nil, "text of the code on the packing slip (repeatable)")
	f.BoolVar(&s.lines, "json-lines", false, "print one JSON document per line for each shipment")
	f.StringVar(&s.receipt, "receipt", "",
		"file for the signed receipt (with several shipments: folder for the receipts)")
	f.StringArrayVar(&s.remarks, "remark", nil,
		"remark on the condition of what arrived, for the receipt (repeatable)")
	f.StringVar(&s.by, "by", "", "who verified (default: the user's name on this computer)")
	f.IntVar(&s.jobs, "jobs", 0, "shipments verified at the same time (default: number of cores)")
	f.StringVar(&s.repairInto, "repair-into", "", "new folder for a damaged shipment that can be repaired")
	s.register.flags(c)
	return c
}

func newOpenCmd(u *ui, o *options) *cobra.Command {
	s := &verifyOptions{}
	var tubes string
	c := &cobra.Command{
		Use:   "open SHIPMENT --into DIR",
		Short: "Verify a shipment and unpack it into a new folder",
		Long: `The folder appears once everything is verified, complete or not at all. It holds the
bag: data/ with records, recordings and tubes.csv, and the manifests.
` + statusHelp,
		Example: "  outbreath open /media/stick/WEIR-0001 --into received/WEIR-0001 --keys lab-keys",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			holdMemory()
			if s.into == "" {
				return usagef("name a folder that does not exist yet with --into", "open needs --into DIR")
			}
			if info, err := os.Stat(filepath.Dir(filepath.Clean(s.into))); err != nil || !info.IsDir() {
				return usagef("name a new folder inside one that exists",
					"there is no folder to unpack %s into", quoted(s.into))
			}
			if _, err := os.Lstat(s.into); err == nil {
				return usagef("name a folder that does not exist yet",
					"%s already exists; it was not touched", quoted(s.into))
			}
			if err := place.Unpacking(s.into, args[0]); err != nil {
				return err
			}
			if tubes != "" {
				s.tubes = []string{tubes}
			}
			return s.run(c, u, o, args)
		},
	}
	c.Flags().StringVar(&s.into, "into", "", "new folder for the unpacked bag")
	c.Flags().StringVar(&tubes, "tubes", "", "`FILE` with the barcodes in the box, "+tubesForms)
	return c
}

// verify verifies the shipments at dirs. Wrong paths are reported first: the verification of
// the others may take hours.
func (s *verifyOptions) verify(c *cobra.Command, u *ui, o *options, dirs []string) error {
	all := len(dirs)
	dirs = intake.OfSites(dirs)
	if n := all - len(dirs); n > 0 {
		u.say("remark: skipped files of the operating system: %s", count(n, "entry"))
	}
	for _, dir := range dirs {
		err := intake.Named(dir)
		if err != nil && len(dirs) == 1 {
			return s.tell(u, err)
		}
		if err != nil {
			u.say("remark: %s; to do: %s; the others are verified", err, toDo(err))
		}
	}
	return s.run(c, u, o, dirs)
}

// run verifies the shipments at dirs, which are folders, and prints the verdicts.
func (s *verifyOptions) run(c *cobra.Command, u *ui, o *options, dirs []string) (err error) {
	j, err := s.job(u, o, len(dirs))
	if err != nil {
		return err
	}
	if s.register.address != "" {
		if j.Register, err = openRegister(c.Context(), u, &s.register); err != nil {
			return err
		}
		defer j.Register.Close()
	}
	return s.show(c, u, j, dirs)
}

// show runs the job and prints the verdicts.
func (s *verifyOptions) show(c *cobra.Command, u *ui, j *intake.Job, dirs []string) error {
	what := "verifying"
	if len(dirs) == 1 {
		what += " " + quoted(dirs[0])
	}
	p := u.progress(what)
	if len(dirs) > 1 {
		p.countOf("shipment")
	}
	j.Progress, j.Verified = p.update, p.end
	r, err := j.Run(c.Context(), dirs)
	if err != nil {
		p.end()
		return err
	}
	doc := newVerifyResult(s.into, dirs, r)
	sayCautions(u, r, j.Receipts != nil)
	if s.lines {
		if err := doc.printLines(u); err != nil {
			return err
		}
	} else if err := u.result(doc, func(w io.Writer) { doc.print(w) }); err != nil {
		return err
	}
	// Register and receipts come after the verification: if they failed, the verdicts still hold.
	if failed := r.Failed(); failed != nil {
		return failed
	}
	if !doc.OK {
		return statusError(doc.status)
	}
	return nil
}

// sayCautions warns once of each key that was relied on though nobody has compared it, and
// reports the shipments that got no receipt.
func sayCautions(u *ui, r *intake.Result, receipts bool) {
	said := map[string]bool{}
	for _, v := range r.Shipments {
		if v.Caution != "" && !said[v.Caution] {
			said[v.Caution] = true
			u.say("caution: key of site %s: %s", v.Site, v.Caution)
		}
	}
	if r.Unentered != nil && receipts {
		u.say("no receipt was written, because the register has not entered the verdict")
	}
	for _, n := range r.Unnamed {
		u.tell("remark: no receipt for %s, because it %s; tell the site by telephone", quoted(n.Shipment), n.Err)
	}
}

// job prepares the verification of shipments with the laboratory's keys: boxes, slips,
// receipts and the folder for a repaired shipment.
func (s *verifyOptions) job(u *ui, o *options, shipments int) (*intake.Job, error) {
	if s.jobs < 0 {
		return nil, usagef("leave it out, or give a number from 1", "--jobs must not be negative")
	}
	if n := len(s.tubes); n > 1 && n != shipments {
		return nil, usagef("give one file for each shipment, in the same order, or one with the tubes of all boxes",
			"%s for %s", count(n, "--tubes file"), count(shipments, "shipment"))
	}
	if err := textsMayStay(nil, s.by); err != nil {
		return nil, err
	}
	j := &intake.Job{Workers: s.jobs, Now: time.Now, Advise: toDo}
	for _, file := range s.tubes {
		box, err := scannedTubes(u, file, nil)
		if err != nil {
			return nil, err
		}
		j.Boxes = append(j.Boxes, box)
	}
	var slips []pack.SlipCode
	for _, text := range s.slips {
		code, err := pack.ParseSlipCode(text)
		if err != nil {
			return nil, usagef("scan or type the whole text of the code on the packing slip, in quotation marks",
				"the text of --slip %s", err)
		}
		slips = append(slips, code)
	}
	folder, verify, err := labKeys(u, o)
	if err != nil {
		return nil, err
	}
	if j.Receipts, err = s.receipts(folder, shipments); err != nil {
		return nil, err
	}
	verify.Into, verify.Slips = s.into, slips
	if verify.RepairInto, err = s.repairFolder(shipments); err != nil {
		return nil, err
	}
	j.Verify = verify
	return j, nil
}

// labKeys opens the laboratory's key folder, and returns the options of a verification with
// its keys.
func labKeys(u *ui, o *options) (*keys.Folder, pack.VerifyOptions, error) {
	folder, err := openKeys(u, o)
	if err != nil {
		return nil, pack.VerifyOptions{}, err
	}
	verify, err := intake.Keys(folder, time.Now())
	return folder, verify, err
}

// receipts prepares the receipts that --receipt asks for, nil for none.
func (s *verifyOptions) receipts(folder *keys.Folder, shipments int) (*intake.Receipts, error) {
	if s.receipt == "" {
		if len(s.remarks) > 0 {
			return nil, usagef("name the receipt's file with --receipt FILE", "--remark is for a receipt")
		}
		return nil, nil
	}
	inside := s.receipt
	if shipments > 1 {
		inside = filepath.Join(s.receipt, "receipt")
	}
	if err := place.Output(inside); err != nil {
		return nil, err
	}
	return intake.NewReceipts(folder, s.receipt, operatorName(s.by), s.remarks, shipments)
}

// tell prints err as a line of JSON with --json-lines, and returns it.
func (s *verifyOptions) tell(u *ui, err error) error {
	if s.lines {
		u.printed = true
		doc := map[string]any{"ok": false, "status": exitStatus(err), "error": err.Error(), "to_do": toDo(err)}
		return errors.Join(err, writeJSON(u.out, doc, ""))
	}
	return err
}
