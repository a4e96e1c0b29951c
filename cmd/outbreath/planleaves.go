package main

import (
	"fmt"
	"io"
	"strings"

	"outbreath/deid"
	"outbreath/schema"
	"outbreath/schema/edf"
)

// printLeaving prints what leaves beside the fields of the records, and what a laboratory knows
// because it holds the box.
func printLeaving(w io.Writer, p *schema.Plan) {
	fmt.Fprintln(w, "\nWHAT ELSE LEAVES: recordings, lists, names, the archive and its outside")
	where := ""
	for _, l := range deid.Leaving(p) {
		if l.Where != where {
			where = l.Where
			fmt.Fprintf(w, "\n%s\n", where)
		}
		printWrapped(w, "  ", strings.Join(l.What, ", "))
		printWrapped(w, "      ", l.Treatment)
	}
	fmt.Fprintln(w, "\nTECHNICAL WORDS that texts of an EDF header may keep")
	printWrapped(w, "  ", strings.Join(edf.Words(), " "))
	fmt.Fprintln(w, "\nWHAT THE LABORATORY KNOWS ANYWAY, because it holds the box")
	for _, known := range deid.KnownAnyway(p) {
		printWrapped(w, "  - ", known)
	}
}

// printWrapped prints text in lines of at most 80 characters. The first begins with lead, the
// others with as many blanks.
func printWrapped(w io.Writer, lead, text string) {
	const width = 80
	line := lead
	for word := range strings.FieldsSeq(text) {
		if len(line) > len(lead) && len(line)+1+len(word) > width {
			fmt.Fprintln(w, line)
			line = strings.Repeat(" ", len(lead))
		}
		if len(line) > len(lead) {
			line += " "
		}
		line += word
	}
	fmt.Fprintln(w, line)
}
