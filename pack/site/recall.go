package site

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"outbreath/pack/custody"
)

// recall brings back into the log what the state knows of this collection's
// shipments and the log does not, after a log was lost or put back from a copy: so
// that they are listed, their receipts are recorded, and copies can be made. A run
// that is killed in between leaves the rest to the next one.
func (l *Log) recall() error {
	if l.State == nil || l.restored != nil || len(l.Entries) == 0 {
		return nil
	}
	for _, e := range l.missing() {
		if err := l.Append(e); err != nil {
			return err
		}
	}
	return nil
}

// missing returns the entries that [Log.recall] adds.
func (l *Log) missing() (list []custody.Entry) {
	for i := range l.State.Shipments {
		x := &l.State.Shipments[i]
		if x.Log != l.id() && l.successor(x.Log) != l.id() {
			continue
		}
		known := slices.ContainsFunc(l.Entries, func(e custody.Entry) bool { return e.Shipment == x.Number })
		for _, m := range x.Makings {
			here := slices.ContainsFunc(l.Entries, func(e custody.Entry) bool {
				return e.Shipment == x.Number && m.isIn(e)
			})
			if here || m.What == custody.Sealing && known {
				continue
			}
			e := l.recalled(x.Number, m.What, m.When.UTC().Format(time.RFC3339))
			maps.Copy(e.Facts, m.Facts)
			list = append(list, e)
		}
		if x.What == custody.GivenUp && !known {
			list = append(list, l.recalled(x.Number, custody.GivenUp, x.Day))
		}
	}
	return list
}

func (l *Log) recalled(number, what, when string) custody.Entry {
	return custody.Entry{When: l.o.Now(), Who: l.o.Who, What: what, Shipment: number,
		Why: fmt.Sprintf("recalled from the key folder: %s "+
			"on %.10s", what, when), Facts: map[string]string{custody.FactRecalled: when}}
}

// successor returns the ID of the log that was put in a known log's place.
func (l *Log) successor(id string) string {
	for range l.State.Logs { // not without end, whatever the state contains
		k := l.State.log(id)
		if k == nil || k.Replaced == "" {
			break
		}
		id = k.Replaced
	}
	return id
}
