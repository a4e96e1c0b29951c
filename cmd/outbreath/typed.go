package main

import (
	"strings"

	"outbreath/deid"
	"outbreath/schema"
)

// An actText is an option whose text is kept permanently, such as the reason for an act.
type actText struct{ option, text string }

// textsMayStay checks such texts before any work is done: first the reasons, of which empty
// ones are skipped, then by, who acts. col is nil at the laboratory, which has no roster.
func textsMayStay(col *schema.Collection, by string, reasons ...actText) error {
	typed := deid.NewTyped(col)
	for _, r := range reasons {
		if r.text == "" {
			continue
		}
		if err := typed.Why(r.text); err != nil {
			return usagef("write "+r.option+" in one line and in other words, without names, numbers or dates of a "+
				"person; nothing was written",
				"%s %s", r.option, err)
		}
	}
	if by == "" {
		return nil
	}
	if err := typed.Who(by); err != nil {
		return usagef("give initials or a role with --by, such as coordinator; nothing was written", "--by %s", err)
	}
	return nil
}

// textsMayStay checks all texts among the options of seal, those of tubes included.
func (s *sealOptions) textsMayStay(col *schema.Collection) error {
	if err := textsMayStay(col, s.by, actText{"--amended", s.amended}, actText{"--new-plan", s.newPlan}); err != nil {
		return err
	}
	typed := deid.NewTyped(col)
	for _, given := range s.reasons {
		barcode, reason, of := cutBarcode(col, given)
		if reason == "" {
			continue // reported when it is compared with the box
		}
		if err := typed.Why(reason, barcode); err != nil {
			return usagef("write --tube-reason in one line and in other words, without names, numbers or dates of a "+
				"person; nothing was written",
				"--tube-reason%s %s", of, err)
		}
	}
	return nil
}

// cutBarcode splits BARCODE=TEXT; a barcode of the records may itself hold "=". of is " of "
// and the barcode, for messages, or "" if no record has it: then it may be anything, even an
// identifier.
func cutBarcode(col *schema.Collection, given string) (barcode, reason, of string) {
	for _, s := range col.Sessions {
		for _, t := range s.Tubes {
			if rest, ok := strings.CutPrefix(given, t.Barcode+"="); ok && len(t.Barcode) > len(barcode) {
				barcode, reason, of = t.Barcode, rest, " of "+quoted(t.Barcode)
			}
		}
	}
	if barcode == "" {
		barcode, reason, _ = strings.Cut(given, "=")
	}
	return barcode, reason, of
}
