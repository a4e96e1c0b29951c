package main

import (
	"outbreath/pack"
	"outbreath/pack/site"
	"outbreath/schema"
)

const untriedRehearsal = "the search of what would leave, which follows once the errors are corrected and the " +
	"findings decided"

// checkOptions are the options of check that describe the seal to come.
type checkOptions struct {
	to      []string // folders on the media
	tubes   string   // the list of the box
	anew    bool     // --new-number
	amended string   // why records were changed after they were sealed
	newPlan string   // why the plan is another one
}

// asked reports whether a problem is a question that seal asks, or that an option answers.
func asked(p schema.Problem) bool {
	return p.Rule == site.RuleNumber || p.Rule == site.RuleAmended || p.Rule == site.RulePlan
}

// preflight adds to the problems what seal would refuse apart from the data: recipients,
// signer, log, clock, number and, if they are named, media and box. It asks nobody and
// writes nothing. It returns what could not be tested.
//
// Every refusal of seal belongs into [site.Seal.Refusals], here, or in
// [reading.rehearse]; TestCheckIsSeal fails otherwise.
func (r *reading) preflight(u *ui, o *options, dir string, c checkOptions) (untested []string, err error) {
	if r.folder != nil && !r.tried {
		untested = append(untested, untriedRehearsal)
	}
	if r.folder == nil {
		untested = append(untested, "what needs the keys: the recipients, and the search of what would leave "+
			"(make them with keys new --role site)")
	} else {
		seal := site.NewSeal(nil, r.col, r.folder, nil, site.Order{
			Wish: site.Wish{Anew: c.anew}, When: now(), NewPlan: c.newPlan, Amended: c.amended,
		})
		seal.Log, seal.Draft = r.log, r.draft
		for _, refusal := range seal.Refusals() {
			r.refuse(refusal.File, refusal.Rule, refusal.Err)
		}
	}
	if len(c.to) == 0 {
		untested = append(untested, "the medium (name it with --to)")
	} else if err := r.preflightMedia(o, dir, c.to); err != nil {
		return nil, err
	}
	if c.tubes == "" {
		untested = append(untested, "the box (name the list of its barcodes with --tubes, or scan it when you seal)")
	} else if err := r.preflightBox(u, c.tubes); err != nil {
		return nil, err
	}
	schema.SortProblems(r.problems)
	return untested, nil
}

// refuse adds an error of seal, with its advice, to the problems. A nil error adds nothing.
func (r *reading) refuse(file, rule string, err error) {
	if err == nil {
		return
	}
	message := err.Error()
	if do := toDo(err); do != "" {
		message += "; " + do
	}
	r.problems = append(r.problems, schema.Problem{File: file, Rule: rule, Severity: schema.Error, Message: message})
}

// preflightMedia adds what seal would refuse about the media, room included.
func (r *reading) preflightMedia(o *options, dir string, to []string) error {
	if err := mediaFit(dir, o, to); err != nil {
		return err
	}
	if r.cleared == nil {
		return nil
	}
	number := ""
	if r.log != nil {
		number, _ = r.log.Next(r.col.Study.Site)
	}
	r.refuse("", "seal.medium", pack.HasSpace(r.cleared, to, number))
	return nil
}

// preflightBox adds what differs between the list of the box and the records.
func (r *reading) preflightBox(u *ui, list string) error {
	if r.draft == nil {
		_, err := scannedTubes(u, list, nil)
		return err
	}
	box := site.NewBox(r.draft, r.gone)
	scanned, err := siteTubes(u, r.col.Root, list, box)
	if err != nil {
		return err
	}
	m := box.Compare(scanned)
	r.refuse("tubes", "box.stranger", box.Strangers(m, scanned))
	for _, n := range m.Notes {
		r.problems = append(r.problems, schema.Problem{
			File: "tubes", Rule: "box." + noteWord(n), Severity: schema.Error,
			Message: quoted(n.Barcode) + " " + n.Detail + "; if it must be sent like this, give the reason with " +
				"--tube-reason when you seal"})
	}
	return nil
}
