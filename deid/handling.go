package deid

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"time"

	"outbreath/schema"
)

// HandlingName is where a shipment says which tubes to analyse first.
const HandlingName = "handling.csv"

// What handling.csv says of a tube.
const (
	AnalyseFirst = "first"
	AnalyseUsual = "usual"
)

// markFirst marks the tubes that are to be analysed before the others: those that
// were kept at ambient temperature, and those whose session ended more than half of
// holding_days before the newest session of the collection. Measured against the
// newest session and not against the clock, the marks are the same whenever they are
// made.
//
// They reveal, of every tube, whether its session is that much older than the
// newest one: not when it was, and nothing finer than the two bands. A true
// date, or days of waiting, would undo the shift beside the sealing date on the
// label. Where the plan lets no end of a session out, only the storage counts.
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

// handlingCSV returns handling.csv (RFC 4180, lines end with LF): barcode and
// analyse, in the order of tubes.
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

func (d *draft) halfHolding() time.Duration {
	return time.Duration(d.c.Study.HoldingDays) * 24 * time.Hour / 2
}

// handlingCaution says what handling.csv reveals.
func (d *draft) handlingCaution() string {
	days := strconv.FormatFloat(d.halfHolding().Hours()/24, 'f', -1, 64)
	return fmt.Sprintf("handling.csv tells which tubes are from sessions that ended more than %s days before the "+
		"newest session in this shipment, or were kept at ambient temperature, and no date. "+
		"Together with the sealing date on the label this narrows down when those sessions took place.", days)
}
