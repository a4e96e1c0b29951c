package deid

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"time"

	"outbreath/schema"
)

// HandlingName is the payload file that lists which tubes to analyse first.
const HandlingName = "handling.csv"

// The marks of handling.csv.
const (
	AnalyseFirst = "first"
	AnalyseUsual = "usual"
)

// markFirst marks the tubes to analyse before the others: those kept at ambient
// temperature, and those whose session ended more than half of holding_days before
// the newest session of the collection. The reference is the newest session instead
// of the clock: the same collection always gets the same marks.
//
// A mark reveals whether a tube's session is that much older than the newest one, and
// nothing finer. A true date, or the days of waiting, would undo the shift when
// combined with the sealing date on the label. If the plan drops the end of sessions,
// only the storage counts.
func (d *draft) markFirst(tubes []ClearedTube) {
	var newest time.Time
	ended := map[string]time.Time{}
	if f, ok := d.c.Plan.Field("/ended_at"); ok && f.Treatment.Kind != schema.Drop {
		for _, s := range d.sessions {
			ended[s.name] = s.ended
			if s.ended.After(newest) {
				newest = s.ended
			}
		}
	}
	for i := range tubes {
		t := &tubes[i]
		at := ended[t.Session]
		t.First = t.Storage == "ambient" || !at.IsZero() && newest.Sub(at) > d.halfHolding()
	}
}

// handlingCSV returns handling.csv (RFC 4180, but lines end with LF): the columns
// barcode and analyse, in the order of tubes.
func handlingCSV(tubes []ClearedTube) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write([]string{"barcode", "analyse"})
	for _, t := range tubes {
		analyse := AnalyseUsual
		if t.First {
			analyse = AnalyseFirst
		}
		w.Write([]string{t.Barcode, analyse})
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// halfHolding returns the age from which a tube is analysed first. Half of the holding
// time is our own choice; no standard gives one.
func (d *draft) halfHolding() time.Duration {
	return time.Duration(d.c.Study.HoldingDays) * 24 * time.Hour / 2
}

// handlingCaution returns the caution about what handling.csv reveals.
func (d *draft) handlingCaution() string {
	days := strconv.FormatFloat(d.halfHolding().Hours()/24, 'f', -1, 64)
	return fmt.Sprintf("handling.csv shows which tubes are from sessions that ended more than %s days before the "+
		"newest session in this shipment, or were kept at ambient temperature. It holds no date, but "+
		"together with the sealing date on the label it narrows down when those sessions took place.", days)
}
