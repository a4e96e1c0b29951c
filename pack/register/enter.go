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
	Bag                   string   // SHA-256 (hex) of what the site is proven to have put inside; "" if unknown
	Archive               string   // SHA-256 as on the packing slip
	Decision              string   // "accepted", "discrepancies" or "rejected"
	Barcodes              []string // of the records
	Station               string
	When                  time.Time
	TubesSince            time.Time // shipments first seen earlier are not compared: their tubes were used again
}

// A Kind is what an arrival is to the register.
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

// A Sighting is where and when something was seen.
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

// A received is what the register has of a number before an arrival.
type received struct {
	known      bool // something was received; else the rest is zero
	bag, state string
	first      Sighting
}

// enter is Enter within its transaction.
func enter(ctx context.Context, tx *sql.Tx, n int, a Arrival) (ans Answer, err error) {
	before, err := receivedBefore(ctx, tx, n, a)
	if err != nil {
		return ans, err
	}
	state, err := ans.classify(ctx, tx, n, a, before)
	if err != nil {
		return ans, err
	}
	if !before.known && ans.Kind != Rejected {
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
		_, err := tx.ExecContext(ctx,
			"UPDATE intake_shipment SET state = $1 WHERE study = $2 AND site = $3 AND number = $4",
			state, a.Study, a.Site, n)
		if err != nil {
			return ans, err
		}
	}
	return ans, note(ctx, tx, n, a, ans.Kind)
}

// receivedBefore reads what was received under the number.
func receivedBefore(ctx context.Context, tx *sql.Tx, n int, a Arrival) (r received, err error) {
	var seen string
	row := tx.QueryRowContext(ctx, `SELECT bag, state, station, first_seen FROM intake_shipment
		WHERE study = $1 AND site = $2 AND number = $3`, a.Study, a.Site, n)
	err = row.Scan(&r.bag, &r.state, &r.first.Station, &seen)
	if errors.Is(err, sql.ErrNoRows) {
		return received{}, nil
	}
	if err == nil {
		r.known = true
		r.first.When, err = parseStamp(seen)
	}
	return r, err
}

// classify sets what the arrival is, after what was there before, and returns the state
// that the number gets.
func (ans *Answer) classify(
	ctx context.Context, tx *sql.Tx, n int, a Arrival, before received,
) (state string, err error) {
	ans.First = before.first
	clash := before.known && a.Bag != "" && before.bag != a.Bag
	if !before.known && a.Bag != "" {
		if clash, err = rejectedOther(ctx, tx, n, a, &ans.First); err != nil {
			return "", err
		}
	}
	disputed := before.state == string(Conflict)
	switch {
	case clash:
		ans.Kind = Conflict
		return string(Conflict), nil
	case a.Decision == string(Rejected):
		ans.Kind, ans.Disputed = Rejected, a.Bag != "" && disputed
		return before.state, nil
	case !before.known:
		ans.Kind = New
		return a.Decision, nil
	}
	ans.Kind, ans.Disputed = Repeat, disputed
	if disputed {
		return before.state, nil
	}
	return a.Decision, nil
}

// note adds the arrival to those of its number.
func note(ctx context.Context, tx *sql.Tx, n int, a Arrival, kind Kind) error {
	var before int
	err := tx.QueryRowContext(ctx, "SELECT count(*) FROM intake_arrival WHERE study = $1 AND site = $2 AND number = $3",
		a.Study, a.Site, n).Scan(&before)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO intake_arrival
		(study, site, number, nth, kind, decision, bag, archive, station, seen_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		a.Study, a.Site, n, before+1, string(kind), a.Decision, a.Bag, a.Archive, a.Station, stamp(a.When))
	return err
}

// rejectedOther reports whether other contents came under a number of which none was
// received: the site signed them, though they were rejected. first is when.
func rejectedOther(ctx context.Context, tx *sql.Tx, n int, a Arrival, first *Sighting) (bool, error) {
	var seen string
	err := tx.QueryRowContext(ctx, `SELECT station, seen_at FROM intake_arrival
		WHERE study = $1 AND site = $2 AND number = $3 AND bag NOT IN ('', $4) ORDER BY nth LIMIT 1`,
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
	_, err := tx.ExecContext(ctx, `INSERT INTO intake_shipment
		(study, site, number, bag, archive, state, station, first_seen) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
		a.Study, a.Site, n, a.Bag, a.Archive, state, a.Station, stamp(a.When))
	if err != nil {
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
	rows, err := tx.QueryContext(ctx, `SELECT o.barcode, o.study, o.site, o.number
		FROM intake_tube t JOIN intake_tube o ON o.barcode = t.barcode
		JOIN intake_shipment s ON s.study = o.study AND s.site = o.site AND s.number = o.number
		WHERE t.study = $1 AND t.site = $2 AND t.number = $3
		AND NOT (o.study = $1 AND o.site = $2 AND o.number = $3) AND s.first_seen >= $4
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
