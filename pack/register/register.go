// Package register remembers what arrived at a laboratory: which shipments, in
// which state, and where the numbering of a site has a gap.
//
// Callers need [Open], [Register.Enter], [Register.Overdue] and [Register.Settle]. One station keeps
// the register in an SQLite file; several stations, and a scheduler's jobs,
// share one in a PostgreSQL database. No identifiers go in: only shipment
// numbers, study and site codes, digests, barcodes, times, stations, decisions.
package register

import (
	"context"
	"database/sql"
	"fmt"
	"regexp"
	"strconv"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // driver "pgx"
	_ "modernc.org/sqlite"             // driver "sqlite"
)

// A Register is open until Close. It may be used by several goroutines, and the
// database behind it by several processes, at once.
type Register struct {
	db  *sql.DB
	sys system

	waiting func(holder string) // may be nil
	after   alarm
}

// An alarm has do called after a while, on another goroutine, unless stop is called first.
type alarm func(while time.Duration, do func()) (stop func() bool)

func clock(while time.Duration, do func()) (stop func() bool) { return time.AfterFunc(while, do).Stop }

// A system is what differs between the two databases.
type system int

const (
	sqliteFile system = iota
	postgres
)

// Open opens the register at address: a file's path, which is made when it is not
// there and whose tables are brought up to date, or postgres://..., whose tables
// [Prepare] must have made: the role of a station needs no right to make any. The error
// is an *[Error].
//
// The password of a PostgreSQL role comes from the file or variables that libpq
// reads as well (PGPASSFILE, PGPASSWORD and so on), never from address, which other
// users of the computer can see.
//
// Source: PostgreSQL 15 documentation, 34.15 "Environment Variables" and 34.16
// "The Password File".
//
// waiting, if not nil, is called with a description of who holds the register once for
// each operation, opening included, that has waited for another program for a second. It
// is called on another goroutine.
func Open(ctx context.Context, address string, waiting func(holder string)) (*Register, error) {
	return open(ctx, address, waiting, clock, false)
}

// Prepare makes the tables of the register at address, or brings them up to date. The
// role must be allowed to make tables.
func Prepare(ctx context.Context, address string) error {
	r, err := open(ctx, address, nil, clock, true)
	if err != nil {
		return err
	}
	return r.Close()
}

func open(ctx context.Context, address string, waiting func(holder string), after alarm, prepare bool) (*Register,
	error) {
	driver, dsn, sys, err := parseAddress(address)
	if err != nil {
		return nil, err
	}
	db, err := sql.Open(driver, dsn)
	if err != nil {
		return nil, explain(err)
	}
	r := &Register{db: db, sys: sys, waiting: waiting, after: after}
	if sys == sqliteFile {
		db.SetMaxOpenConns(1) // one writer at a time; others wait in Go and not in SQLite
	}
	ready := r.migrate
	if sys == postgres && !prepare {
		ready = r.current
	}
	defer r.patiently(ctx)()
	if err := ready(ctx); err != nil {
		db.Close()
		return nil, explain(err)
	}
	return r, nil
}

// Close gives back what the register holds.
func (r *Register) Close() error { return r.db.Close() }

// lockKey is the advisory lock, of the whole database, under which one process
// at a time writes: the first eight bytes of the text "outbreathregister" as a
// big-endian number.
const lockKey = 0x6f75746272656174

// write does all of do in one transaction, or nothing of it. One process at a
// time is in here: an entry takes milliseconds, and what it finds is still true
// when it is written.
func (r *Register) write(ctx context.Context, do func(tx *sql.Tx) error) error {
	defer r.patiently(ctx)()
	tx, err := r.db.BeginTx(ctx, nil) // on SQLite: BEGIN IMMEDIATE, see parseAddress
	if err != nil {
		return err
	}
	defer tx.Rollback() // does nothing after Commit
	if r.sys == postgres {
		if _, err := tx.ExecContext(ctx, "SELECT pg_advisory_xact_lock($1)", int64(lockKey)); err != nil {
			return err
		}
	}
	if err := do(tx); err != nil {
		return err
	}
	return tx.Commit()
}

// patiently calls waiting if the operation takes longer than patience; the function that
// it returns ends it.
func (r *Register) patiently(ctx context.Context) func() {
	if r.waiting == nil {
		return func() {}
	}
	stop := r.after(patience, func() { r.waiting(r.holder(ctx)) })
	return func() { stop() }
}

// patience is how long an operation waits for the register before it says so.
const patience = time.Second

// holder describes who has the register, as far as that can be known.
func (r *Register) holder(ctx context.Context) string {
	const unknown = "another program"
	if r.sys != postgres {
		return unknown + " on this computer or on one that shares the file"
	}
	var pid int
	var host string
	// Whoever holds up a session of this database, and waits for nobody itself. The
	// sessions of other roles are seen as far as the server shows them.
	err := r.db.QueryRowContext(ctx, `SELECT h.pid, coalesce(host(h.client_addr), 'the server itself')
		FROM pg_stat_activity w CROSS JOIN LATERAL unnest(pg_blocking_pids(w.pid)) AS b(pid)
			JOIN pg_stat_activity h ON h.pid = b.pid
		WHERE w.datname = current_database() AND w.usename = current_user
			AND cardinality(pg_blocking_pids(h.pid)) = 0 LIMIT 1`).Scan(&pid, &host)
	if err != nil {
		return unknown
	}
	return fmt.Sprintf("process %d of the server, from %s", pid, host)
}

// stamp writes a time as the tables have it: UTC, whole seconds, so that the
// order of texts is that of times.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }

func parseStamp(s string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return t, fmt.Errorf("%w: a time", errContents)
	}
	return t, nil
}

var numberForm = regexp.MustCompile(`^-([0-9]{4})$`)

// number returns 12 of shipment "WEIR-0012" of site "WEIR".
func number(shipment, site string) (int, error) {
	if len(shipment) > len(site) && shipment[:len(site)] == site {
		if m := numberForm.FindStringSubmatch(shipment[len(site):]); m != nil {
			return strconv.Atoi(m[1])
		}
	}
	return 0, configError(WrongSite, "a shipment's number does not belong to its site")
}

// shipmentName is the opposite of number.
func shipmentName(site string, n int) string { return fmt.Sprintf("%s-%04d", site, n) }
