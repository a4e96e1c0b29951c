package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"outbreath/keys"
	"outbreath/pack"
)

func newVerifyCmd(u *ui, o *options) *cobra.Command {
	var tubes string
	c := &cobra.Command{
		Use:   "verify SHIPMENT...",
		Short: "Say whether what arrived is what was sent, whole and from a trusted site",
		Long: `Read each shipment once, to its end: both signatures against the signers that
this laboratory trusts, every digest, every record against the schema that came
with it, and, with --tubes, the box against the records. Nothing is unpacked.
Nothing of a rejected shipment may be used: keep the medium as it is and ask the
site for a new copy.
` + statusHelp,
		Example: "  outbreath verify /media/stick/WEIR-0001 --tubes box.txt --keys lab-keys",
		Args:    cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			v, err := newVerifier(u, o, tubes, len(args))
			if err != nil {
				return err
			}
			return v.run(c, args, "")
		},
	}
	c.Flags().StringVar(&tubes, "tubes", "", "file with the barcodes in the box, one a line (for one shipment)")
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
			if into == "" {
				return usagef("name a folder that does not exist yet with --into", "open needs --into DIR")
			}
			if _, err := os.Lstat(into); err == nil {
				return usagef("name a folder that does not exist yet", "%s is there already; it was not touched", quoted(into))
			}
			v, err := newVerifier(u, o, tubes, 1)
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
	u    *ui
	opts pack.VerifyOptions
}

func newVerifier(u *ui, o *options, tubesFile string, shipments int) (*verifier, error) {
	if tubesFile != "" && shipments > 1 {
		return nil, usagef("verify one shipment at a time when the box is compared", "--tubes is for one shipment")
	}
	folder, err := openKeys(u, o)
	if err != nil {
		return nil, err
	}
	if folder.Role() != keys.Lab {
		return nil, usagef("name the laboratory's folder with --keys DIR", "%s is a site's key folder, which cannot open shipments", quoted(folder.Dir()))
	}
	v := &verifier{u: u, opts: pack.VerifyOptions{Now: time.Now()}}
	if tubesFile != "" {
		if v.opts.Tubes, err = readTubes(tubesFile); err != nil {
			return nil, err
		}
		v.opts.Tubes = nonNil(v.opts.Tubes)
	}
	if v.opts.Allowed, err = folder.Allowed(); err != nil {
		return nil, err
	}
	v.opts.Identities, err = folder.Identities()
	return v, err
}

// verify looks at one shipment.
func (v *verifier) verify(c *cobra.Command, dir, into string) (*pack.Verdict, error) {
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return nil, usagef("name the shipment's folder on the medium", "there is no folder at %s", quoted(dir))
	}
	opts := v.opts
	opts.Into = into
	p := v.u.progress("verifying " + quoted(dir))
	opts.Progress = p.update
	verdict, err := pack.Verify(c.Context(), dir, opts)
	p.end()
	return verdict, err
}

// run verifies each folder and prints the verdicts.
func (v *verifier) run(c *cobra.Command, dirs []string, into string) error {
	var verdicts []*pack.Verdict
	status := exitOK
	for _, dir := range dirs {
		verdict, err := v.verify(c, dir, into)
		if err != nil {
			return err
		}
		verdicts = append(verdicts, verdict)
		switch verdict.Decision {
		case pack.Rejected:
			status = exitRejected
		case pack.Discrepancies:
			status = max(status, exitResolve)
		}
	}
	doc := map[string]any{"ok": status == exitOK, "shipments": verdicts}
	if into != "" {
		doc["folder"] = into
	}
	if err := v.u.result(doc, func(w io.Writer) {
		for i, verdict := range verdicts {
			printVerdict(w, dirs[i], verdict)
		}
		if into != "" && status != exitRejected {
			fmt.Fprintf(w, "unpacked into %s\n", quoted(into))
		}
	}); err != nil {
		return err
	}
	if status != exitOK {
		return statusError(status)
	}
	return nil
}

func printVerdict(w io.Writer, dir string, v *pack.Verdict) {
	name := v.Shipment
	if name == "" {
		name = quoted(dir)
	}
	fmt.Fprintf(w, "%s: %s\n", name, map[pack.Decision]string{
		pack.Accepted:      "accepted",
		pack.Discrepancies: "accepted, with discrepancies between box and records",
		pack.Rejected:      "REJECTED: do not use anything of it",
	}[v.Decision])
	rows := [][]string{}
	for _, c := range v.Checks {
		mark := "ok"
		if !c.OK {
			mark = "NO"
		}
		rows = append(rows, []string{"  " + mark, c.Name, c.Detail})
	}
	table(w, rows)
	if v.Tubes != nil {
		printTubes(w, v.Tubes)
	}
	switch v.Decision {
	case pack.Rejected:
		fmt.Fprintln(w, "to do: keep the medium as it is, tell the site by telephone, and ask for a new copy")
	case pack.Discrepancies:
		fmt.Fprintln(w, "to do: search the box again, then ask the site about each tube named; do not analyse a tube without its record")
	}
}
