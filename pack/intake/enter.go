package intake

import (
	"context"
	"slices"
	"time"

	"outbreath/pack"
	"outbreath/pack/register"
)

// CheckRegister is the name of the check that says what the register knows.
const CheckRegister = "register"

// enterAll enters the verdicts in the register, and notes in each what that means for
// it. A register that fails leaves the verdicts as they are: they are those of the
// verification. The error is the context's.
func (j *Job) enterAll(ctx context.Context, r *Result) error {
	if j.Register == nil {
		if j.Verify.Into != "" {
			j.notAsked(r.Shipments)
		}
		return nil
	}
	r.Gaps, r.Unentered = j.enter(ctx, r.Shipments)
	if ctx.Err() != nil {
		return r.Unentered
	}
	if r.Unentered != nil {
		notEntered(r.Shipments)
	}
	return nil
}

// enter enters the verdicts in their order and returns the gaps in the numbering of
// their sites.
func (j *Job) enter(ctx context.Context, verdicts []*pack.Verdict) ([]register.Gap, error) {
	type site struct{ study, code string }
	sites := map[site]bool{}
	for _, v := range verdicts {
		if v.Decision == pack.NotVerified {
			continue
		}
		if v.Study == "" {
			const detail = "not entered: nothing of it is signed by a trusted site"
			v.Add(pack.Check{Name: CheckRegister, OK: true, Detail: detail}, "")
			continue
		}
		if err := j.enterOne(ctx, v); err != nil {
			return nil, err
		}
		sites[site{v.Study, v.Site}] = true
	}
	status, err := j.Register.Overdue(ctx, j.Now(), 0)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(status.Gaps, func(g register.Gap) bool { return !sites[site{g.Study, g.Site}] }), nil
}

// enterOne enters v and notes what the register knows of it.
func (j *Job) enterOne(ctx context.Context, v *pack.Verdict) error {
	now := j.Now()
	since := time.Time{}
	if days := j.Register.Reuse; days > 0 {
		since = now.AddDate(0, 0, -days)
	}
	ans, err := j.Register.Enter(ctx, register.Arrival{
		Study: v.Study, Site: v.Site, Shipment: v.Shipment, Bag: v.Bag, Archive: v.Archive,
		Decision: string(v.Decision), Barcodes: v.Recorded,
		Station: j.Register.Station, When: now, TubesSince: since,
	})
	if err != nil {
		return err
	}
	a := judge(ans, v.Shipment, j.Register.Station)
	decision := a.Decision()
	v.Disputed = v.Disputed || decision == pack.Rejected
	v.Add(pack.Check{Name: CheckRegister, OK: decision == "", Detail: j.advised(a)}, decision)
	return nil
}

// notEntered notes on the verdicts that the register has failed to take them.
func notEntered(all []*pack.Verdict) {
	for _, v := range all {
		said := slices.ContainsFunc(v.Checks, func(c pack.Check) bool { return c.Name == CheckRegister })
		if v.Decision != pack.NotVerified && !said {
			const detail = "not tested, and not entered: the register failed, " +
				"so nobody knows whether this number came before"
			v.Add(pack.Check{Name: CheckRegister, Detail: detail}, v.Decision)
		}
	}
}

// notAsked notes that shipments were unpacked without asking a register.
func (j *Job) notAsked(all []*pack.Verdict) {
	for _, v := range all {
		if v.Decision == pack.Accepted || v.Decision == pack.Discrepancies {
			v.Add(pack.Check{Name: CheckRegister, OK: true, Detail: j.with("not tested", ErrNotAsked)}, v.Decision)
		}
	}
}
