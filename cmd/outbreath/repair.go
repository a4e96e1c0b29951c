package main

import (
	"fmt"
	"io"
	"os"
	"strconv"

	"github.com/spf13/cobra"

	"outbreath/pack"
	"outbreath/pack/place"
	"outbreath/pack/repair"
)

// usualRepair is the share of repair data, in percent, when --repair has no number.
const usualRepair = 5

func (s *sealOptions) repairFlag(c *cobra.Command) {
	c.Flags().IntVar(&s.repair, "repair", 0, "add repair data, in percent of the archive (5 when no number follows)")
	c.Flags().Lookup("repair").NoOptDefVal = strconv.Itoa(usualRepair)
}

// takeShare finds the collection among the arguments. A number next to it is the share of
// --repair: the flag library accepts one only after an equals sign.
func (s *sealOptions) takeShare(c *cobra.Command, args []string) error {
	bare := s.repair == usualRepair || s.shareApart // the library may call this twice
	if bare && len(args) == 2 {
		for i, a := range args {
			if n, err := strconv.ParseUint(a, 10, 16); err == nil {
				s.repair, s.shareApart, args = int(n), true, []string{args[1-i]}
				break
			}
		}
	}
	if err := cobra.ExactArgs(1)(c, args); err != nil {
		return err
	}
	s.collection = args[0]
	return nil
}

// checkShare refuses a share of repair data that is out of range.
func (s *sealOptions) checkShare(c *cobra.Command) error {
	if c.Flags().Changed("repair") && (s.repair < repair.MinPercent || s.repair > repair.MaxPercent) {
		do := fmt.Sprintf("write --repair alone for %d percent, or a whole number from %d to %d",
			usualRepair, repair.MinPercent, repair.MaxPercent)
		return usagef(do, "the share of repair data is not usable")
	}
	return nil
}

// repairFolder returns the folder of --repair-into, "" for none.
func (s *verifyOptions) repairFolder(shipments int) (string, error) {
	if s.repairInto == "" {
		return "", nil
	}
	if shipments != 1 {
		return "", usagef("verify that shipment alone", "--repair-into is for one shipment")
	}
	if _, err := os.Lstat(s.repairInto); err == nil {
		return "", usagef("name a folder that does not exist yet",
			"%s already exists; it was not touched", quoted(s.repairInto))
	}
	return s.repairInto, place.Output(s.repairInto)
}

// printDamage prints where an archive is damaged, and what can be done or was done about it.
func printDamage(w io.Writer, v *pack.Verdict) {
	d := v.Damage
	if d == nil {
		return
	}
	const most = 10
	for i, r := range d.Ranges {
		if i == most {
			fmt.Fprintf(w, "damaged: more places; --json lists them\n")
			break
		}
		fmt.Fprintf(w, "damaged: %s, bytes %d to %d\n", r.Part, r.From, r.To-1)
	}
	if d.Bytes > 0 {
		fmt.Fprintf(w, "damaged in all: %d bytes of the archive, counted in pieces of %d\n", d.Bytes, d.Unit)
	}
	if v.Repaired == nil {
		printSalvage(w, d.Salvage, v.Incomplete())
	}
	switch {
	case v.Repaired != nil:
		fmt.Fprintf(w, "repaired: written anew into %s and verified there; what arrived was not changed\n",
			quoted(v.Repaired.Folder))
	case d.Mendable:
		fmt.Fprintln(w, "the repair data suffice: "+
			"verify SHIPMENT --repair-into DIR writes the whole shipment anew into a new folder")
	case d.Beyond():
		fmt.Fprintln(w, "more is damaged than the repair data can mend")
	}
}

// printSalvage prints which sessions are still whole, for the telephone call with the site.
// It accepts nothing. missing means that a file is absent, so the others were not compared.
func printSalvage(w io.Writer, s *pack.Salvage, missing bool) {
	if s == nil {
		if missing {
			fmt.Fprintln(w, "not tested: the files of the archive that are there; without its head they cannot be read")
		}
		fmt.Fprintln(w, "it is not known which sessions are still whole: "+
			"the head of the archive is damaged, or this key does not open it")
		return
	}
	proof := "as the site signed them"
	if !s.Proven {
		proof = "readable; the site's signed list of them is damaged, so they are not proven to be the site's"
	}
	fmt.Fprintf(w, "still whole: %s, %s (a report only: nothing of them is unpacked or accepted)\n",
		count(len(s.Whole), "session"), proof)
	for _, id := range s.Whole {
		fmt.Fprintf(w, "  whole  %s\n", id)
	}
	for _, id := range s.Ask {
		fmt.Fprintf(w, "  lost   %s\n", id)
	}
	if s.Unnamed > 0 {
		fmt.Fprintf(w, "  lost   %s whose pseudonym is lost too\n", count(s.Unnamed, "further session"))
	}
}
