package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/place"
	"outbreath/pack/register"
)

type verifyOptions struct {
	tubes, slips, remarks []string
	receipt, by           string
	lines                 bool
	repairInto            string
	jobs                  int
	register              registerOptions
}

func newVerifyCmd(u *ui, o *options) *cobra.Command {
	s := &verifyOptions{}
	c := &cobra.Command{
		Use:   "verify SHIPMENT...",
		Short: "Say whether what arrived is what was sent, whole and from a trusted site",
		Long: `Read each shipment once, to its end: both signatures against the signers that
this laboratory trusts, every digest, every record against the schema that came
with it, and, with --tubes, the box against the records. Nothing is unpacked.
Nothing of a rejected shipment may be used: keep the medium as it is and ask the
site for a new copy.

With several shipments, give one --tubes file for each, in the same order, and
swapped boxes are recognised; or one file with the tubes of all boxes. --slip
takes the text of the code on a packing slip: it proves that paper, box and
medium belong together. Nothing is corrected by guessing: a barcode that differs
in one character is told, and a person looks at the tube.

A damaged archive is told with the places of the damage. If the site added repair
data and they suffice, --repair-into DIR writes the whole shipment anew into a
folder that does not exist yet, and judges that; what arrived is not changed.

--register keeps an intake register: a file, made when it is not there, or
postgres://USER@HOST/DATABASE for several stations. It knows a shipment that was
here before, two contents under one number, a barcode of another shipment, and
numbers that never arrived. verify --register DB --overdue lists the gaps and the
sites that have been silent. What was settled with the site, a number that was
given up, say, is recorded with --settle NUMBER --reason TEXT and told no longer;
should it come after all, that is a discrepancy. A password never stands in the
address: put it into the file that PGPASSFILE names.

--receipt writes the laboratory's signed statement and its signature (FILE.sig)
for the site; with several shipments it names a folder. Remarks on the condition
of box, tubes and medium go into it: write nothing about a person.
` + statusHelp,
		Example: "  outbreath verify /media/stick/WEIR-0001 --tubes box.txt --keys lab-keys\n" +
			"  outbreath verify /media/a/WEIR-0001 /media/b/WEIR-0002 --tubes box1.txt --tubes box2.txt --keys lab-keys\n" +
			"  outbreath verify /media/stick/* --register intake.db --keys lab-keys\n" +
			"  outbreath verify --register intake.db --overdue --days 14\n" +
			"  outbreath verify --register intake.db --settle WEIR-0002 --reason 'given up, says the site'",
		Args: func(c *cobra.Command, args []string) error {
			if s.register.alone() {
				return cobra.NoArgs(c, args)
			}
			return cobra.MinimumNArgs(1)(c, args)
		},
		RunE: func(c *cobra.Command, args []string) error {
			holdMemory()
			args = ofSites(u, args)
			if s.register.settle != "" {
				return runSettle(c, u, &s.register)
			}
			if s.register.prepare {
				return runPrepare(c, u, &s.register)
			}
			if s.register.overdue {
				return runOverdue(c, u, &s.register)
			}
			for _, dir := range args { // a wrong path is told before the work of hours
				err := whole(dir)
				if err != nil && len(args) == 1 {
					return s.tell(u, err)
				}
				if err != nil {
					u.say("remark: %s; to do: %s; the others are verified", err, toDo(err))
				}
			}
			v, err := newVerifier(u, o, s, len(args))
			if err != nil {
				return err
			}
			if v.opts.RepairInto, err = s.repairFolder(len(args)); err != nil {
				return err
			}
			if s.register.address != "" {
				if v.register, err = openRegister(c.Context(), u, &s.register); err != nil {
					return err
				}
				defer v.register.Close()
			}
			return v.run(c, args, "")
		},
	}
	f := c.Flags()
	f.StringArrayVar(&s.tubes, "tubes", nil, "file with the barcodes in the box, one a line; one for each shipment, or one for all")
	f.StringArrayVar(&s.slips, "slip", nil, "text of the code on the packing slip (repeatable)")
	f.BoolVar(&s.lines, "json-lines", false, "print one JSON document a line for each shipment")
	f.StringVar(&s.receipt, "receipt", "", "file for the signed receipt (with several shipments: folder for the receipts)")
	f.StringArrayVar(&s.remarks, "remark", nil, "remark on the condition of what arrived, for the receipt (repeatable)")
	f.StringVar(&s.by, "by", "", "who verified (default: the user's name on this computer)")
	f.IntVar(&s.jobs, "jobs", 0, "shipments verified at a time (default: number of cores)")
	f.StringVar(&s.repairInto, "repair-into", "", "new folder for a shipment that is damaged and can be repaired")
	s.register.flags(c)
	return c
}

func newOpenCmd(u *ui, o *options) *cobra.Command {
	var into, tubes string
	c := &cobra.Command{
		Use:   "open SHIPMENT --into DIR",
		Short: "Verify a shipment and unpack it into a new folder",
		Long: `The folder appears whole, when everything was verified, or not at all. It holds
the bag: data/ with records, recordings and tubes.csv, and the manifests.
` + statusHelp,
		Example: "  outbreath open /media/stick/WEIR-0001 --into received/WEIR-0001 --keys lab-keys",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			holdMemory()
			if into == "" {
				return usagef("name a folder that does not exist yet with --into", "open needs --into DIR")
			}
			if info, err := os.Stat(filepath.Dir(filepath.Clean(into))); err != nil || !info.IsDir() {
				return usagef("name a new folder inside one that exists", "there is no folder to unpack %s into", quoted(into))
			}
			if _, err := os.Lstat(into); err == nil {
				return usagef("name a folder that does not exist yet", "%s is there already; it was not touched", quoted(into))
			}
			if err := place.Unpacking(into, args[0]); err != nil {
				return err
			}
			s := &verifyOptions{}
			if tubes != "" {
				s.tubes = []string{tubes}
			}
			v, err := newVerifier(u, o, s, 1)
			if err != nil {
				return err
			}
			return v.run(c, args, into)
		},
	}
	c.Flags().StringVar(&into, "into", "", "new folder for the unpacked bag")
	c.Flags().StringVar(&tubes, "tubes", "", "file with the barcodes in the box, one a line")
	return c
}

// A verifier verifies shipments with one laboratory's keys.
type verifier struct {
	u      *ui
	folder *keys.Folder
	opts   pack.VerifyOptions
	boxes  [][]string // barcodes scanned: of each shipment, or one list for all
	lines  bool
	jobs   int

	register *intakeRegister // nil: none
	paper    *receiptWriter  // nil: no receipts
}

func newVerifier(u *ui, o *options, s *verifyOptions, shipments int) (*verifier, error) {
	if s.jobs < 0 {
		return nil, usagef("leave it away, or give a number from 1", "--jobs must not be negative")
	}
	if n := len(s.tubes); n > 1 && n != shipments {
		return nil, usagef("give one file for each shipment, in the same order, or one with the tubes of all boxes", "%s for %s", count(n, "--tubes file"), count(shipments, "shipment"))
	}
	if err := textsMayStay(nil, s.by); err != nil {
		return nil, err
	}
	folder, err := openKeys(u, o)
	if err != nil {
		return nil, err
	}
	if folder.Role() != keys.Lab {
		return nil, usagef("name the laboratory's folder with --keys DIR", "%s is a site's key folder, which cannot open shipments", quoted(folder.Dir()))
	}
	v := &verifier{u: u, folder: folder, opts: pack.VerifyOptions{Now: time.Now()}, lines: s.lines, jobs: s.jobs}
	for _, file := range s.tubes {
		box, err := scannedTubes(u, file)
		if err != nil {
			return nil, err
		}
		v.boxes = append(v.boxes, box)
	}
	for _, text := range s.slips {
		code, err := pack.ParseSlipCode(text)
		if err != nil {
			return nil, usagef("scan or type the whole text of the code on the packing slip, in quotation marks", "the text of --slip %s", err)
		}
		v.opts.Slips = append(v.opts.Slips, code)
	}
	if v.opts.Allowed, err = folder.Allowed(); err != nil {
		return nil, err
	}
	if v.opts.Identities, err = folder.Identities(); err != nil {
		return nil, err
	}
	v.paper, err = newReceiptWriter(u, folder, s, shipments)
	return v, err
}

// scannedTubes reads a file of barcodes. An empty one is an empty box: every
// tube is missing then.
func scannedTubes(u *ui, path string) ([]string, error) {
	box, err := readTubes(path)
	if errors.Is(err, pack.ErrNoBarcode) {
		u.say("remark: %s: %s", quoted(path), pack.ErrNoBarcode)
		return []string{}, nil
	}
	return box, err
}

// verify looks at one shipment.
func (v *verifier) verify(ctx context.Context, dir, into string, box []string, update func(done, total int64)) (*pack.Verdict, error) {
	if err := whole(dir); err != nil {
		return nil, err
	}
	opts := v.opts
	opts.Into, opts.Tubes = into, box
	opts.Progress = update
	verdict, err := pack.Verify(ctx, dir, opts)
	if verdict != nil {
		verdict.Path = dir
	}
	return verdict, err
}

// whole refuses what is no folder, or no shipment but holds some.
func whole(dir string) error {
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return usagef("name the shipment's folder on the medium", "there is no folder at %s", quoted(dir))
	}
	return wholeMedium(dir)
}

// tell prints err as a line of JSON where each shipment has one.
func (s *verifyOptions) tell(u *ui, err error) error {
	if s.lines {
		u.printed = true
		return errors.Join(err, writeJSON(u.out, map[string]any{"ok": false, "status": exitStatus(err), "error": err.Error(), "to_do": toDo(err)}, ""))
	}
	return err
}

// ofSites leaves out what a system keeps on a stick, which "stick/*" names as well.
func ofSites(u *ui, dirs []string) []string {
	rest := slices.DeleteFunc(slices.Clone(dirs), func(dir string) bool {
		return pack.OfSystem(filepath.Base(dir))
	})
	if n := len(dirs) - len(rest); n > 0 && len(rest) > 0 {
		u.say("remark: passed over what the operating system keeps there: %s", count(n, "entry"))
		return rest
	}
	return dirs
}

// wholeMedium refuses a folder that is no shipment but holds some: the stick itself,
// or a folder around one, of which nothing must be called rejected.
func wholeMedium(dir string) error {
	has := func(folder string) bool {
		for _, name := range []string{"shipment.json", "SHA256SUMS", "SHA256SUMS.sig"} {
			if _, err := os.Lstat(filepath.Join(folder, name)); err == nil {
				return true
			}
		}
		return false
	}
	if has(dir) {
		return nil
	}
	const deepest, most = 3, 1000 // levels of folders, and folders, that are looked into
	var inside []string
	looked := 0
	var look func(folder string, depth int)
	look = func(folder string, depth int) {
		entries, err := os.ReadDir(folder)
		if err != nil {
			return // whoever reads the shipment says so
		}
		for _, e := range entries {
			at := filepath.Join(folder, e.Name())
			if looked++; looked > most || !e.IsDir() || pack.OfSystem(e.Name()) || strings.HasPrefix(e.Name(), ".outbreath-") {
				continue
			}
			if has(at) {
				inside = append(inside, at)
			} else if depth < deepest {
				look(at, depth+1)
			}
		}
	}
	look(dir, 1)
	if len(inside) == 0 {
		return nil
	}
	var names []string
	for i, at := range inside {
		if i == 5 {
			names = append(names, fmt.Sprintf("and %d more", len(inside)-i))
			break
		}
		name, err := filepath.Rel(dir, at)
		if err != nil {
			name = at
		}
		names = append(names, quoted(name))
	}
	return usagef("name the folder of each shipment, such as "+quoted(inside[0]), "%s is no shipment, but holds some: %s", quoted(dir), strings.Join(names, ", "))
}

var shipmentFolder = regexp.MustCompile(`^[0-9A-Za-z-]+-[0-9]{4}$`).MatchString

// An intake is what verify says of all shipments. Its JSON form is the
// contract's.
type intake struct {
	OK        bool            `json:"ok"`
	Shipments []*pack.Verdict `json:"shipments"`
	Tubes     *pack.TubeMatch `json:"tubes,omitempty"` // of all boxes, scanned together
	Folder    string          `json:"folder,omitempty"`
	Gaps      []register.Gap  `json:"gaps,omitempty"`     // of the sites that these shipments are from
	Receipts  []string        `json:"receipts,omitempty"` // files
	Error     string          `json:"error,omitempty"`    // of a register or a receipt that has not got the verdicts
	ToDo      string          `json:"to_do,omitempty"`    // about it

	dirs   []string
	unread int // exit status of a shipment that was not verified

	unentered error // of the register, which did not take all verdicts
	status    int
}

// run verifies each folder and prints the verdicts.
func (v *verifier) run(c *cobra.Command, dirs []string, into string) error {
	in := &intake{dirs: dirs, Folder: into}
	if err := v.all(c, in); err != nil {
		return err
	}
	in.cautions(v.u)
	var unwritten error // told after the verdicts, which hold without a receipt
	switch {
	case in.unentered != nil: // and no receipt: this number may have come before
		unwritten = in.unentered
		in.OK, in.Error, in.ToDo = false, unwritten.Error(), toDo(unwritten)
		if v.paper != nil {
			v.u.say("no receipt was written: it waits until the register has the verdict")
		}
	case v.paper != nil:
		if in.Receipts, unwritten = v.paper.all(in.Shipments); unwritten != nil {
			in.OK, in.Error, in.ToDo = false, unwritten.Error(), receiptToDo
		}
	}
	if v.lines {
		if err := v.printLines(in); err != nil {
			return err
		}
	} else if err := v.u.result(in, func(w io.Writer) { in.print(w) }); err != nil {
		return err
	}
	if unwritten != nil {
		return unwritten
	}
	if !in.OK {
		return statusError(in.status)
	}
	return nil
}

// cautions tells, once for each, which keys were relied on that nobody compared.
func (in *intake) cautions(u *ui) {
	told := map[string]bool{}
	for _, v := range in.Shipments {
		if v.Caution != "" && !told[v.Caution] {
			told[v.Caution] = true
			u.say("caution: key of site %s: %s", v.Site, v.Caution)
		}
	}
}

// all verifies the shipments, and then what only shows when all are known.
func (v *verifier) all(c *cobra.Command, in *intake) error {
	paired := len(v.boxes) == len(in.dirs)
	var err error
	in.Shipments, in.unread, err = v.each(c.Context(), in.dirs, in.Folder, func(i int) []string {
		if paired {
			return v.boxes[i]
		}
		return nil
	})
	if err != nil {
		return err
	}
	if len(v.boxes) == 1 && !paired {
		in.Tubes = pack.ComparePool(in.Shipments, v.boxes[0])
	}
	pack.Attribute(in.Shipments)
	alarms := pack.Contradictions(in.Shipments)
	if v.register != nil { // before the alarms, so that it learns of each of the contents
		in.Gaps, in.unentered = v.register.enter(c.Context(), in.Shipments)
		if c.Context().Err() != nil {
			return in.unentered
		}
		if in.unentered != nil {
			notEntered(in.Shipments)
		}
	} else if in.Folder != "" {
		unasked(in.Shipments)
	}
	for i, alarm := range alarms {
		if alarm != nil {
			in.Shipments[i].Add(*alarm, pack.Rejected)
			in.Shipments[i].Disputed = true
		}
	}
	in.judge()
	return nil
}

// judge sets the exit status: the worst that any shipment has. One that was not
// verified is worse than discrepancies.
func (in *intake) judge() {
	in.status = exitOK
	if in.Tubes != nil && !in.Tubes.Agrees() {
		in.status = exitResolve
	}
	worst := map[pack.Decision]int{pack.Discrepancies: 1, pack.NotVerified: 2, pack.Rejected: 3}
	rank := 0
	for _, v := range in.Shipments {
		if worst[v.Decision] > rank {
			rank = worst[v.Decision]
			in.status = [...]int{exitOK, exitResolve, in.unread, exitRejected}[rank]
		}
	}
	in.OK = in.status == exitOK
}

// notEntered notes on the verdicts that the register has failed to take them. They
// are those of the verification, and hold without it.
func notEntered(all []*pack.Verdict) {
	for _, v := range all {
		said := slices.ContainsFunc(v.Checks, func(c pack.Check) bool { return c.Name == checkRegister })
		if v.Decision != pack.NotVerified && !said {
			v.Add(pack.Check{Name: checkRegister, Detail: "not tested, and not entered: the register failed, so nobody knows whether this number came before"}, v.Decision)
		}
	}
}

// unasked notes that open asks no register.
func unasked(all []*pack.Verdict) {
	for _, v := range all {
		if v.Decision == pack.Accepted || v.Decision == pack.Discrepancies {
			v.Add(pack.Check{Name: checkRegister, OK: true,
				Detail: "not tested: open asks no register; a laboratory that keeps one runs verify --register first, which knows what came before under this number"}, v.Decision)
		}
	}
}
