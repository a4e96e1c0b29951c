package register

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// A Settlement is a person's word that a number that was open has been dealt with.
type Settlement struct {
	Study    string    `json:"study"`
	Site     string    `json:"site"`
	Shipment string    `json:"shipment"`
	State    string    `json:"state"` // until then: "missing", "discrepancies" or "rejected"
	Why      string    `json:"why"`
	Station  string    `json:"station"`
	When     time.Time `json:"when"` // UTC
}

// Late says that a number which was settled as missing or as rejected has come
// after all.
func (s *Settlement) Late() bool { return s != nil && s.State != discrepancies }

const (
	missing       = "missing"
	discrepancies = "discrepancies"
)

// maxWhy is the longest reason, in bytes.
const maxWhy = 500

var shipmentForm = regexp.MustCompile(`^(.+)-[0-9]{4}$`)

// Settle notes that the shipment is settled, with s.Why, s.Station and s.When, and
// returns what was noted. s.Study may be left out where the register knows one
// study of the site. The error is an *[Error] when nothing of that number is open,
// or two contents came under it, or the context's.
func (r *Register) Settle(ctx context.Context, s Settlement) (Settlement, error) {
	m := shipmentForm.FindStringSubmatch(s.Shipment)
	if m == nil {
		return s, configError(BadNumber, "the number of the shipment is not a site code, a hyphen and four digits")
	}
	s.Site = m[1]
	n, err := number(s.Shipment, s.Site)
	if err != nil {
		return s, err
	}
	if strings.TrimSpace(s.Why) == "" || len(s.Why) > maxWhy || !utf8.ValidString(s.Why) ||
		strings.ContainsFunc(s.Why, unicode.IsControl) {
		return s, configError(BadReason, "the reason is empty, too long or has line ends")
	}
	s.When = s.When.UTC().Truncate(time.Second)
	err = r.write(ctx, func(tx *sql.Tx) error { return settle(ctx, tx, n, &s) })
	return s, explain(err)
}

// settle is Settle within its transaction.
func settle(ctx context.Context, tx *sql.Tx, n int, s *Settlement) error {
	if err := studyOf(ctx, tx, s); err != nil {
		return err
	}
	var arrivals, highest, nth int
	err := tx.QueryRowContext(ctx, `SELECT
		(SELECT count(*) FROM intake_arrival WHERE study = $1 AND site = $2 AND number = $3),
		(SELECT coalesce(max(number), 0) FROM intake_arrival WHERE study = $1 AND site = $2),
		(SELECT count(*) FROM intake_settled WHERE study = $1 AND site = $2 AND number = $3)`,
		s.Study, s.Site, n).Scan(&arrivals, &highest, &nth)
	if err != nil {
		return err
	}
	if arrivals == 0 && (n == 0 || n > highest) {
		return configError(NothingOpen, s.Shipment+" cannot be missing yet: no higher number of its site has arrived")
	}
	held, err := settledBefore(ctx, tx, n, s.Study, s.Site, true)
	switch {
	case err != nil:
		return err
	case held != nil:
		return configError(NothingOpen,
			fmt.Sprintf("%s was settled already, on %s UTC", s.Shipment, held.When.Format(time.DateTime)))
	}
	err = tx.QueryRowContext(ctx, "SELECT state FROM intake_shipment WHERE study = $1 AND site = $2 AND number = $3",
		s.Study, s.Site, n).Scan(&s.State)
	switch {
	case errors.Is(err, sql.ErrNoRows) && arrivals == 0:
		s.State = missing
	case errors.Is(err, sql.ErrNoRows):
		s.State = string(Rejected)
	case err != nil:
		return err
	case s.State == string(Conflict):
		return configError(TwoContents,
			"two contents came under the number "+s.Shipment+", and that stays an alarm")
	case s.State != discrepancies:
		return configError(NothingOpen, s.Shipment+" was accepted: nothing of it is open")
	}
	_, err = tx.ExecContext(ctx,
		"INSERT INTO intake_settled (study, site, number, nth, state, arrivals, why, station, settled_at) VALUES "+
			"($1, $2, $3, $4, $5, $6, $7, $8, $9)",
		s.Study, s.Site, n, nth+1, s.State, arrivals, s.Why, s.Station, stamp(s.When))
	return err
}

// studyOf fills in the study where one alone has sent shipments of the site.
func studyOf(ctx context.Context, tx *sql.Tx, s *Settlement) error {
	rows, err := tx.QueryContext(ctx,
		"SELECT DISTINCT study FROM intake_arrival WHERE site = $1 ORDER BY study", s.Site)
	if err != nil {
		return err
	}
	defer rows.Close()
	var known []string
	for rows.Next() {
		var study string
		if err := rows.Scan(&study); err != nil {
			return err
		}
		if s.Study == "" || study == s.Study {
			known = append(known, study)
		}
	}
	switch {
	case rows.Err() != nil:
		return rows.Err()
	case len(known) == 0:
		return configError(UnknownSite, "nothing of that site and study has arrived")
	case len(known) > 1:
		return &Error{Fault: SeveralStudies, Studies: known, Config: true,
			Msg: "the site sends for several studies, and each has its own numbers"}
	}
	s.Study = known[0]
	return nil
}

// stillHeld is the condition under which a settlement t counts.
const stillHeld = `t.nth = (SELECT max(u.nth) FROM intake_settled u
		WHERE u.study = t.study AND u.site = t.site AND u.number = t.number)
	AND NOT EXISTS (SELECT 1 FROM intake_arrival a WHERE a.study = t.study AND a.site = t.site AND a.number = t.number
		AND a.nth > t.arrivals
		AND (a.kind IN ('new', 'conflict') OR a.kind = 'rejected' AND t.state <> 'discrepancies'))`

// settledBefore returns the last settlement of a number, or with held the one that
// still counts; nil if there is none.
func settledBefore(ctx context.Context, tx *sql.Tx, n int, study, site string, held bool) (*Settlement, error) {
	condition := "1 = 1"
	if held {
		condition = stillHeld
	}
	s := Settlement{Study: study, Site: site, Shipment: shipmentName(site, n)}
	var when string
	err := tx.QueryRowContext(ctx,
		"SELECT t.state, t.why, t.station, t.settled_at FROM intake_settled t WHERE t.study = $1 AND t.site = $2 "+
			"AND t.number = $3 AND "+condition+
			" ORDER BY t.nth DESC LIMIT 1", study, site, n).Scan(&s.State, &s.Why, &s.Station, &when)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	s.When, err = parseStamp(when)
	return &s, err
}
