package register

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"time"
)

// An Arrival is what a station found of one shipment. Its label must have been
// signed by a trusted site.
type Arrival struct {
	Study, Site, Shipment string
	Bag                   string   // SHA-256 of what the site is proven to have put inside, hexadecimal; "" when that is not known
	Archive               string   // SHA-256 as on the packing slip
	Decision              string   // "accepted", "discrepancies" or "rejected"
	Barcodes              []string // of the records
	Station               string
	When                  time.Time
	TubesSince            time.Time // barcodes of shipments first seen earlier are not compared: those tubes were used again
}

// A Kind says what an arrival is to the register.
type Kind string

const (
	New      Kind = "new"
	Repeat   Kind = "repeat"   // the same bag was here before
	Conflict Kind = "conflict" // another bag was here under the same number; either may have been rejected
	Rejected Kind = "rejected" // noted as an arrival; the number is not received
)

// An Answer is what the register knows of an arrival.
type Answer struct {
	Kind     Kind
	First    Sighting     // of the number; zero when New or never received
	Disputed bool         // a Repeat, and another bag has come under the same number
	Tubes    []SharedTube // ordered by barcode; of a New arrival or a Repeat
	Settled  *Settlement  // the last one of the number, or nil
}

// A Sighting says where and when something was seen.
type Sighting struct {
	Station string
	When    time.Time // UTC
}

// A SharedTube is a barcode that another shipment has too.
type SharedTube struct{ Barcode, Study, Shipment string }

// Enter notes a and says what is known about it, in one transaction: of several
// stations that enter one shipment at once, one has Kind New. The error is an
// *[Error] or the context's, and nothing is noted then.
func (r *Register) Enter(ctx context.Context, a Arrival) (ans Answer, err error) {
	n, err := number(a.Shipment, a.Site)
	if err != nil {
		return ans, err
	}
	err = r.write(ctx, func(tx *sql.Tx) error {
		ans, err = enter(ctx, tx, n, a)
		return err
	})
	return ans, explain(err)
}

// enter is Enter within its transaction.
func enter(ctx context.Context, tx *sql.Tx, n int, a Arrival) (ans Answer, err error) {
	var bag, state, seen string
	err = tx.QueryRowContext(ctx, "SELECT bag, state, station, first_seen FROM intake_shipment WHERE study = $1 AND site = $2 AND number = $3",
		a.Study, a.Site, n).Scan(&bag, &state, &ans.First.Station, &seen)
	known := err == nil
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	if err != nil {
		return ans, err
	}
	if known {
		if ans.First.When, err = parseStamp(seen); err != nil {
			return ans, err
		}
	}
	rejected := a.Decision == string(Rejected)
	clash := known && a.Bag != "" && bag != a.Bag
	if !known && a.Bag != "" {
		if clash, err = rejectedOther(ctx, tx, n, a, &ans.First); err != nil {
			return ans, err
		}
	}
	switch {
	case clash:
		ans.Kind, state = Conflict, string(Conflict)
	case rejected:
		ans.Kind, ans.Disputed = Rejected, a.Bag != "" && state == string(Conflict)
	case !known:
		ans.Kind, state = New, a.Decision
	default:
		ans.Kind, ans.Disputed = Repeat, state == string(Conflict)
		if !ans.Disputed {
			state = a.Decision
		}
	}
	if !known && ans.Kind != Rejected {
		if err := insert(ctx, tx, n, a, state); err != nil {
			return ans, err
		}
	}
	if ans.Settled, err = settledBefore(ctx, tx, n, a.Study, a.Site, false); err != nil {
		return ans, err
	}
	if ans.Kind == New || ans.Kind == Repeat {
		if ans.Tubes, err = sharedTubes(ctx, tx, n, a); err != nil {
			return ans, err
		}
		if (len(ans.Tubes) > 0 || ans.Settled.Late()) && state == "accepted" {
			state = discrepancies
		}
	}
	if ans.Kind != Rejected {
		if _, err := tx.ExecContext(ctx, "UPDATE intake_shipment SET state = $1 WHERE study = $2 AND site = $3 AND number = $4", state, a.Study, a.Site, n); err != nil {
			return ans, err
		}
	}
	var before int
	if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM intake_arrival WHERE study = $1 AND site = $2 AND number = $3", a.Study, a.Site, n).Scan(&before); err != nil {
		return ans, err
	}
	_, err = tx.ExecContext(ctx, "INSERT INTO intake_arrival (study, site, number, nth, kind, decision, bag, archive, station, seen_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
		a.Study, a.Site, n, before+1, string(ans.Kind), a.Decision, a.Bag, a.Archive, a.Station, stamp(a.When))
	return ans, err
}

// rejectedOther reports whether other contents came under a number of which none was
// received: the site signed them, though they were rejected. first is when.
func rejectedOther(ctx context.Context, tx *sql.Tx, n int, a Arrival, first *Sighting) (bool, error) {
	var seen string
	err := tx.QueryRowContext(ctx, "SELECT station, seen_at FROM intake_arrival WHERE study = $1 AND site = $2 AND number = $3 AND bag NOT IN ('', $4) ORDER BY nth LIMIT 1",
		a.Study, a.Site, n, a.Bag).Scan(&first.Station, &seen)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	if err == nil {
		first.When, err = parseStamp(seen)
	}
	return true, err
}

// insert notes a shipment that is received for the first time, in its state.
func insert(ctx context.Context, tx *sql.Tx, n int, a Arrival, state string) error {
	if _, err := tx.ExecContext(ctx, "INSERT INTO intake_shipment (study, site, number, bag, archive, state, station, first_seen) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
		a.Study, a.Site, n, a.Bag, a.Archive, state, a.Station, stamp(a.When)); err != nil {
		return err
	}
	add, err := tx.PrepareContext(ctx, "INSERT INTO intake_tube (barcode, study, site, number) VALUES ($1, $2, $3, $4)")
	if err != nil {
		return err
	}
	defer add.Close()
	for _, b := range slices.Compact(slices.Sorted(slices.Values(a.Barcodes))) {
		if _, err := add.ExecContext(ctx, b, a.Study, a.Site, n); err != nil {
			return err
		}
	}
	return nil
}

// sharedTubes finds the tubes of shipment n that another one has too.
func sharedTubes(ctx context.Context, tx *sql.Tx, n int, a Arrival) (tubes []SharedTube, err error) {
	rows, err := tx.QueryContext(ctx, `SELECT o.barcode, o.study, o.site, o.number FROM intake_tube t JOIN intake_tube o ON o.barcode = t.barcode
		JOIN intake_shipment s ON s.study = o.study AND s.site = o.site AND s.number = o.number
		WHERE t.study = $1 AND t.site = $2 AND t.number = $3 AND NOT (o.study = $1 AND o.site = $2 AND o.number = $3) AND s.first_seen >= $4
		ORDER BY o.barcode, o.study, o.site, o.number`, a.Study, a.Site, n, stamp(a.TubesSince))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var (
			t    SharedTube
			site string
			m    int
		)
		if err := rows.Scan(&t.Barcode, &t.Study, &site, &m); err != nil {
			return nil, err
		}
		t.Shipment = shipmentName(site, m)
		tubes = append(tubes, t)
	}
	return tubes, rows.Err()
}
