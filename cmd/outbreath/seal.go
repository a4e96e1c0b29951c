package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"outbreath/deid"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/schema"
)

type sealOptions struct {
	to, number, tubes, by string
	partSize              int64
}

func newSealCmd(u *ui, o *options) *cobra.Command {
	s := &sealOptions{}
	c := &cobra.Command{
		Use:   "seal COLLECTION --to MEDIA",
		Short: "Seal the collection into a shipment on the medium",
		Long: `Check, pseudonymise, search for identifiers, encrypt to the laboratory, sign,
write to the medium, read everything back, and only then give the shipment its
name. Nothing is written while a query or a finding is open. The shipment number
counts on from custody.jsonl.

Eject the medium properly before you pull it out. Pseudonymised data stay
personal data: hand the medium over as your protocol and local law say.
` + statusHelp,
		Example: "  outbreath seal week-48 --to /media/stick\n  outbreath seal week-48 --to /media/stick --tubes box.txt",
		Args:    cobra.ExactArgs(1),
		RunE:    func(c *cobra.Command, args []string) error { return runSeal(c, u, o, s, args[0]) },
	}
	c.Flags().StringVar(&s.to, "to", "", "folder on the medium")
	c.Flags().StringVar(&s.number, "shipment", "", "shipment number (default: the next one of the site)")
	c.Flags().StringVar(&s.tubes, "tubes", "", "file with the barcodes in the box, one a line, to compare with the records")
	c.Flags().Int64Var(&s.partSize, "part-size", 0, "largest file in bytes (default: what the medium's file system holds)")
	c.Flags().StringVar(&s.by, "by", "", "who seals (default: the user's name on this computer)")
	return c
}

func runSeal(c *cobra.Command, u *ui, o *options, s *sealOptions, dir string) error {
	if s.to == "" {
		return usagef("name the folder on the medium with --to", "seal needs --to MEDIA")
	}
	if s.partSize < 0 {
		return usagef("leave it away, or give a number of bytes", "--part-size must not be negative")
	}
	col, err := loadCollection(dir)
	if err != nil {
		return err
	}
	defer col.Root.Close()
	if err := mediaApart(dir, s.to); err != nil {
		return err
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
	recipients, err := folder.Recipients()
	if err != nil {
		return err
	}
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
	draft, err := deid.Treat(col, key)
	if err != nil {
		return err
	}
	cleared, err := deid.Release(draft, decisions)
	if err != nil {
		return err
	}
	if s.tubes != "" {
		if err := tubesInBox(u, s.tubes, cleared); err != nil {
			return err
		}
	}
	entry := custody.Entry{When: now(), Who: operatorName(s.by), Why: "sealed for the laboratory"}
	if err := settleUnfinished(u, journal, s.to, entry); err != nil {
		return err
	}
	number, err := shipmentNumber(journal, col.Study.Site, s.number)
	if err != nil {
		return err
	}
	before, again := journal.Of(number, "sealed")

	p := u.progress("sealing " + number)
	sealed, err := pack.Seal(c.Context(), cleared, pack.SealOptions{
		Media: s.to, Number: number, Signer: signer, Recipients: recipients, PartSize: s.partSize, Date: time.Now(), Progress: p.update,
		BeforeCommit: func(done *pack.Sealed) error {
			if again && before.Facts["bag_sha256"] != done.Bag {
				return usagef("leave --shipment away, and the next free number is taken", "%s was sealed before with other contents; one number must never stand for two", number)
			}
			e := entry
			e.What, e.Shipment, e.Facts = "sealing", number, facts(done)
			return journal.Append(e)
		},
	})
	p.end()
	if err != nil {
		return err
	}
	entry.What, entry.Shipment, entry.Facts = "sealed", number, facts(sealed)
	if err := journal.Append(entry); err != nil {
		return fmt.Errorf("the shipment is whole, but %s could not be written: %w", custodyFile, err)
	}
	return u.result(sealed, func(w io.Writer) { printSealed(w, sealed) })
}

func printSealed(w io.Writer, s *pack.Sealed) {
	fmt.Fprintf(w, "shipment %s is sealed in %s\n", s.Shipment, quoted(s.Folder))
	fmt.Fprintf(w, "  %s, %s, %s\n", count(s.Sessions, "session"), count(s.Recordings, "recording"), count(s.Tubes, "tube"))
	for _, p := range s.Parts {
		fmt.Fprintf(w, "  %s  %d bytes\n    SHA-256 %s\n", p.Name, p.Bytes, p.SHA256)
	}
	if s.ReadBack {
		fmt.Fprintln(w, "  read back from the medium and compared: the same")
	} else {
		fmt.Fprintln(w, "  compared after writing, but this system could not be told to read from the device itself:\n  eject the medium, put it in again and run verify at the laboratory's side or sha256sum -c here")
	}
	fmt.Fprintln(w, "Next: eject the medium properly, pack it with the tubes, and hand both over together.")
}

// facts are what custody.jsonl keeps of a shipment: counts and digests.
func facts(s *pack.Sealed) map[string]string {
	f := map[string]string{
		"bag_sha256": s.Bag,
		"sessions":   fmt.Sprint(s.Sessions), "recordings": fmt.Sprint(s.Recordings), "tubes": fmt.Sprint(s.Tubes),
	}
	for _, p := range s.Parts {
		f["sha256 "+p.Name] = p.SHA256
	}
	return f
}

var numberForm = regexp.MustCompile(`^[0-9]{1,4}$`)

// shipmentNumber takes the number asked for ("12", "0012" or "WEIR-0012"), or
// the next one of the site.
func shipmentNumber(j *custody.Journal, site, asked string) (string, error) {
	if asked == "" {
		return j.Next(site)
	}
	digits := strings.TrimPrefix(asked, site+"-")
	if !numberForm.MatchString(digits) || strings.Trim(digits, "0") == "" {
		return "", usagef("write it as "+site+"-0012, or only 12", "the shipment number is not this site's code, a hyphen and four digits")
	}
	return fmt.Sprintf("%s-%04s", site, digits), nil
}

// settleUnfinished looks after a seal that was cut off between the entry
// "sealing" and the entry "sealed": the shipment got its name in between, or
// not. A number that may be on another medium is never used again.
func settleUnfinished(u *ui, j *custody.Journal, media string, entry custody.Entry) error {
	for _, e := range j.Unfinished() {
		next := entry
		next.Shipment, next.Facts = e.Shipment, e.Facts
		sums, err := os.ReadFile(filepath.Join(media, e.Shipment, "SHA256SUMS"))
		complete := err == nil
		for name, digest := range e.Facts {
			if part, ok := strings.CutPrefix(name, "sha256 "); ok {
				complete = complete && strings.Contains(string(sums), digest+"  "+part+"\n")
			}
		}
		if complete {
			next.What, next.Why = "sealed", "the computer stopped after writing; found complete on the medium"
			u.say("remark: %s was sealed when the computer stopped; it is complete on this medium", e.Shipment)
		} else {
			next.What, next.Why, next.Facts = "abandoned", "the computer stopped before the shipment got its name; not on the medium in use now", nil
			u.say("remark: sealing %s was cut off; the number is not used again. If that medium does hold a folder of this name, do not send it before verify accepts it", e.Shipment)
		}
		if err := j.Append(next); err != nil {
			return err
		}
	}
	return nil
}

// mediaApart refuses a medium that is missing, or that is the collection.
func mediaApart(collection, media string) error {
	info, err := os.Stat(media)
	if err != nil || !info.IsDir() {
		return usagef("plug the medium in, or correct the name", "there is no folder at %s", quoted(media))
	}
	a, err := realPath(collection)
	if err != nil {
		return err
	}
	b, err := realPath(media)
	if err != nil {
		return err
	}
	if rel, err := filepath.Rel(a, b); err == nil && filepath.IsLocal(rel) {
		return usagef("name a folder on the medium", "the shipment must not be written into the collection itself")
	}
	return nil
}

func realPath(p string) (string, error) {
	abs, err := filepath.Abs(p)
	if err != nil {
		return "", err
	}
	return filepath.EvalSymlinks(abs)
}

// tubesInBox compares the box with the records before anything is written.
func tubesInBox(u *ui, path string, c *deid.Cleared) error {
	scanned, err := scannedTubes(u, path)
	if err != nil {
		return err
	}
	var recorded []string
	for _, t := range c.Tubes() {
		recorded = append(recorded, t.Barcode)
	}
	m := pack.MatchTubes(scanned, recorded)
	if m.Explain(); m.Agrees() {
		u.say("tubes: all %d are in the box", len(m.Matched))
		return nil
	}
	if err := u.result(map[string]any{"ok": false, "tubes": m}, func(w io.Writer) {
		printTubes(w, m)
		fmt.Fprintln(w, "to do: find the tube, or correct its record, then scan the box and seal again; nothing was written")
	}); err != nil {
		return err
	}
	return statusError(exitResolve)
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
		if n.Kind == pack.NoteMissing {
			kind = "missing"
		}
		fmt.Fprintf(w, "  %s: %s %s\n", kind, quoted(n.Barcode), n.Detail)
	}
}
