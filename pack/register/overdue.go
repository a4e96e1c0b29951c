package register

import (
	"context"
	"database/sql"
	"slices"
	"time"
)

// A Status is what the register holds of all sites, ordered by study, site and
// number. Its JSON form is that of verify --overdue.
type Status struct {
	Sites   []Site       `json:"sites"`
	Gaps    []Gap        `json:"gaps"`
	Open    []Unsettled  `json:"open"`
	Settled []Settlement `json:"settled"` // what would be a gap or open otherwise
}

// A Site is the last sign of life of a site.
type Site struct {
	Study    string    `json:"study"`
	Site     string    `json:"site"`
	Received int       `json:"received"` // shipments
	Highest  string    `json:"highest"`  // number of the highest
	Last     time.Time `json:"last"`     // when anything arrived under a new number
	Days     int       `json:"days"`     // whole days since then
	Silent   bool      `json:"silent"`   // more days than were asked for
}

// A Gap is a run of numbers, both ends included, that were not received while a
// higher one was.
type Gap struct {
	Study string    `json:"study"`
	Site  string    `json:"site"`
	From  string    `json:"from"` // shipment number
	To    string    `json:"to"`
	Count int       `json:"count"`
	Since time.Time `json:"since"` // when the next higher number was received
}

// An Unsettled shipment needs a person: it has discrepancies, two bags claim its
// number, or only rejected copies of it arrived.
type Unsettled struct {
	Study    string    `json:"study"`
	Site     string    `json:"site"`
	Shipment string    `json:"shipment"`
	State    string    `json:"state"` // "discrepancies", "conflict" or "rejected"
	Since    time.Time `json:"since"`
	Station  string    `json:"station"`
}

// OK reports that nothing is overdue and no number has two contents. Other unsettled
// shipments are listed for the laboratory and are not overdue.
func (s *Status) OK() bool {
	silent := func(site Site) bool { return site.Silent }
	return len(s.Gaps) == 0 && !slices.ContainsFunc(s.Sites, silent) && !s.Alarm()
}

// Alarm reports whether two contents came under a number.
func (s *Status) Alarm() bool {
	return slices.ContainsFunc(s.Open, func(o Unsettled) bool { return o.State == string(Conflict) })
}

// Overdue looks at every site. A site is silent when nothing new came from it for
// more than days, up to now. Numbers count from 1. The error is an *[Error] or
// the context's.
func (r *Register) Overdue(ctx context.Context, now time.Time, days int) (*Status, error) {
	s := &Status{Sites: []Site{}, Gaps: []Gap{}, Open: []Unsettled{}, Settled: []Settlement{}}
	err := r.read(ctx, s)
	for i := range s.Sites {
		site := &s.Sites[i]
		site.Days = max(0, int(now.Sub(site.Last)/(24*time.Hour)))
		site.Silent = site.Days > days
	}
	return s, explain(err)
}

func (r *Register) read(ctx context.Context, s *Status) error {
	defer r.patiently(ctx)()
	// One statement is one state of the database, whoever writes meanwhile.
	rows, err := r.db.QueryContext(ctx, `
		WITH held AS (SELECT t.* FROM intake_settled t WHERE `+stillHeld+`)
		SELECT x.study, x.site, x.number, x.state, x.station, x.seen, h.why, h.station, h.settled_at FROM (
			SELECT study, site, number, state, station, first_seen AS seen FROM intake_shipment
			UNION ALL
			SELECT a.study, a.site, a.number, 'rejected', a.station, a.seen_at FROM intake_arrival a
			WHERE a.nth = 1 AND NOT EXISTS (SELECT 1 FROM intake_shipment s
				WHERE s.study = a.study AND s.site = a.site AND s.number = a.number)
			UNION ALL
			SELECT h.study, h.site, h.number, 'missing', h.station, h.settled_at FROM held h
			WHERE NOT EXISTS (SELECT 1 FROM intake_arrival a
				WHERE a.study = h.study AND a.site = h.site AND a.number = h.number)
		) x LEFT JOIN held h ON h.study = x.study AND h.site = x.site AND h.number = x.number
		ORDER BY x.study, x.site, x.number`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var (
			o                  Unsettled
			n                  int
			seen               string
			why, station, when sql.NullString
			settled            *Settlement
		)
		if err := rows.Scan(&o.Study, &o.Site, &n, &o.State, &o.Station, &seen, &why, &station, &when); err != nil {
			return err
		}
		if o.Since, err = parseStamp(seen); err != nil {
			return err
		}
		o.Shipment = shipmentName(o.Site, n)
		if when.Valid {
			settled = &Settlement{o.Study, o.Site, o.Shipment, o.State, why.String, station.String, time.Time{}}
			if settled.When, err = parseStamp(when.String); err != nil {
				return err
			}
		}
		s.add(o, n, settled)
	}
	return rows.Err()
}

// add takes the next number in order, with its settlement if it has one.
func (s *Status) add(o Unsettled, n int, settled *Settlement) {
	switch {
	case o.State == "accepted":
	case settled != nil:
		s.Settled = append(s.Settled, *settled)
	default:
		s.Open = append(s.Open, o)
	}
	if len(s.Sites) == 0 || s.Sites[len(s.Sites)-1].Study != o.Study || s.Sites[len(s.Sites)-1].Site != o.Site {
		s.Sites = append(s.Sites, Site{Study: o.Study, Site: o.Site, Highest: shipmentName(o.Site, 0)})
	}
	site := &s.Sites[len(s.Sites)-1]
	before, _ := number(site.Highest, site.Site)
	if n > before+1 {
		s.Gaps = append(s.Gaps, Gap{Study: o.Study, Site: o.Site, From: shipmentName(o.Site, before+1),
			To: shipmentName(o.Site, n-1), Count: n - before - 1, Since: o.Since})
	}
	site.Highest = o.Shipment
	if o.State == missing {
		return
	}
	if o.State != string(Rejected) {
		site.Received++
	}
	if o.Since.After(site.Last) {
		site.Last = o.Since
	}
}
