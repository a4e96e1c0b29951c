package site

import (
	"crypto/sha256"
	"fmt"
	"io"

	"outbreath/pack/custody"
	"outbreath/schema"
)

// PlanName names a plan by what it does: its name, and the first 16 hexadecimal digits
// of the SHA-256 of its treatments, so that other words in a schema do not count.
func PlanName(p *schema.Plan) string {
	h := sha256.New()
	for _, f := range p.Fields {
		io.WriteString(h, f.Path+"\x00"+f.Treatment.String()+"\n")
	}
	return fmt.Sprintf("%s %x", p.Name, h.Sum(nil)[:8])
}

// EarlierPlan returns the newest shipment of the study that counts, if it was sealed
// under another plan than p; nil if not. Data of one subject under two plans can undo
// each other's protection: true dates beside shifted ones give the shift away.
func (l *Log) EarlierPlan(p *schema.Plan) *Shipment {
	if l.State == nil {
		return nil
	}
	for i := len(l.State.Shipments) - 1; i >= 0; i-- {
		x := &l.State.Shipments[i]
		if x.Plan != "" && x.What != custody.Abandoned && x.What != custody.GivenUp {
			if x.Plan == PlanName(p) {
				return nil
			}
			return x
		}
	}
	return nil
}
