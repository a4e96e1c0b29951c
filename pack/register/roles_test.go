package register

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"outbreath/pack/register/registertest"
	"outbreath/schema/costtest"
)

// A station's role makes no tables: it is told who must, and works once they are there.
func TestStationRole(t *testing.T) {
	database := registertest.Postgres(t)
	owner := database()
	station := strings.Replace(owner, "//outbreath@", "//station@", 1)
	ctx := t.Context()
	db, err := sql.Open("pgx", owner)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	run := func(statement string) {
		t.Helper()
		if _, err := db.ExecContext(ctx, statement); err != nil {
			t.Fatal(err)
		}
	}
	run("CREATE ROLE station LOGIN")
	told := func(want string) {
		t.Helper()
		r, err := Open(ctx, station, nil)
		own, ok := errors.AsType[*Error](err)
		if !ok || !own.Config || !strings.Contains(own.Msg+" ("+string(own.Fault)+")", want) {
			t.Errorf("%v, want %q", err, want)
		}
		if err == nil {
			r.Close()
		}
	}
	told("holds no register yet (not-prepared)")
	if err := Prepare(ctx, station); err == nil {
		t.Error("a role without the right made tables")
	}
	if err := Prepare(ctx, owner); err != nil {
		t.Fatal(err)
	}
	told("may not do in the database")
	run("GRANT SELECT, INSERT, UPDATE ON ALL TABLES IN SCHEMA public TO station")
	r, err := Open(ctx, station, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for _, want := range []Kind{New, Repeat} {
		if ans, err := r.Enter(ctx, arrival(1)); err != nil || ans.Kind != want {
			t.Errorf("%v, %v", ans, err)
		}
	}
	run("UPDATE intake_version SET version = 1")
	told("of an earlier version")
	run("UPDATE intake_version SET version = 99")
	told("by a later version")
	run("UPDATE intake_version SET version = 2")

	// whoever waits is told for whom
	var pid string
	conn, err := db.Conn(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if err := conn.QueryRowContext(ctx, "SELECT pg_backend_pid()::text FROM (SELECT pg_advisory_lock($1)) x",
		int64(lockKey)).Scan(&pid); err != nil {
		t.Fatal(err)
	}
	blocked := func() { // another connection waits for a lock
		for n := 0; n == 0 && ctx.Err() == nil; time.Sleep(time.Millisecond) {
			db.QueryRowContext(ctx, "SELECT count(*) FROM pg_stat_activity WHERE "+
				"cardinality(pg_blocking_pids(pid)) > 0").Scan(&n)
		}
	}
	waiting(t, r, "process "+pid+" of the server, from ", blocked,
		func() { conn.ExecContext(ctx, "SELECT pg_advisory_unlock($1)", int64(lockKey)) })

	// also when the tables are locked before the register is opened
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tx.ExecContext(ctx,
		"LOCK TABLE intake_version, intake_shipment IN ACCESS EXCLUSIVE MODE"); err != nil {
		t.Fatal(err)
	}
	heard := make(chan string, 1)
	go func() {
		select {
		case holder := <-heard:
			if !strings.HasPrefix(holder, "process "+pid+" of the server, from ") {
				t.Errorf("told %q", holder)
			}
		case <-time.After(costtest.Hang):
			t.Error("nothing was told")
		}
		tx.Rollback()
	}()
	rings := &rings{t: t, once: blocked}
	late, err := open(ctx, station, func(holder string) { heard <- holder }, rings.after, false)
	if err != nil {
		t.Fatal(err)
	}
	late.Close()
	if rings.stopped.Load() != 1 {
		t.Errorf("stopped %d alarms, not the one that was set", rings.stopped.Load())
	}
}

// rings are alarms that ring once something has come about, whatever the clock says.
type rings struct {
	t       *testing.T
	once    func() // returns once it has
	stopped atomic.Int32
}

func (r *rings) after(while time.Duration, do func()) (stop func() bool) {
	if while != time.Second { // what Open promises
		r.t.Errorf("an alarm after %v", while)
	}
	go func() { r.once(); do() }()
	return func() bool { r.stopped.Add(1); return true }
}

// waiting enters while another holds the register, until it was told so.
func waiting(t *testing.T, r *Register, want string, once, release func()) {
	t.Helper()
	told := make(chan string, 1)
	rings := &rings{t: t, once: once}
	r.waiting, r.after = func(holder string) { told <- holder }, rings.after
	done := make(chan error, 1)
	go func() {
		_, err := r.Enter(context.Background(), arrival(2))
		done <- err
	}()
	select {
	case holder := <-told:
		if !strings.HasPrefix(holder, want) || rings.stopped.Load() != 0 {
			t.Errorf("told %q, want %q", holder, want)
		}
	case err := <-done:
		t.Errorf("entered while another held the register: %v", err)
	case <-time.After(costtest.Hang):
		t.Error("nothing was told")
	}
	release()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if rings.stopped.Load() != 1 {
		t.Errorf("stopped %d alarms, not the one that was set", rings.stopped.Load())
	}
}

func TestSQLiteWaitsAndMode(t *testing.T) {
	path := filepath.Join(t.TempDir(), "intake.db")
	a, b := mustOpen(t, path), mustOpen(t, path)
	if info, err := os.Stat(path); err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	tx, err := a.db.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	waiting(t, b, "another program", func() {}, func() { tx.Rollback() })
}

// Source: PostgreSQL 15 documentation, 34.19.3, for what each mode protects from.
func TestPostgresTLS(t *testing.T) {
	t.Setenv("PGSSLMODE", "")
	t.Setenv("PGHOST", "")
	for address, want := range map[string]string{ // to what is added; "" is refused
		"postgres://u@db.lab.example/intake":                                  "sslmode=verify-full",
		"postgres://u@db.lab.example/intake?sslmode=verify-full":              "sslmode=verify-full",
		"postgres://u@db.lab.example/intake?sslmode=verify-ca":                "",
		"postgres://u@db.lab.example/intake?sslmode=require":                  "",
		"postgres://u@db.lab.example/intake?sslmode=prefer":                   "",
		"postgres://u@db.lab.example/intake?sslmode=disable":                  "",
		"postgres://u@192.0.2.7/intake?sslmode=allow":                         "",
		"postgres://u@localhost,db.lab.example/intake?sslmode=prefer":         "",
		"postgres://u@localhost,db.lab.example/intake":                        "sslmode=verify-full",
		"postgres://u@localhost/intake":                                       "localhost",
		"postgres://u@127.0.0.1/intake?sslmode=disable":                       "127.0.0.1",
		"postgres://u@[::1]/intake":                                           "[::1]",
		"postgres:///intake?host=/var/run/postgresql":                         "/var/run/postgresql",
		"postgres://u@localhost.example/intake?sslmode=disable":               "",
		"postgres://u@127.0.0.1.example/intake?sslmode=prefer":                "",
		"postgres://u@db.lab.example/intake?sslmode=disable&host=%2Ftmp&x=y#": "x=y",
	} {
		_, dsn, _, err := parseAddress(address)
		if (err == nil) != (want != "") || err == nil && !strings.Contains(dsn, want) {
			t.Errorf("%s: %q, %v", address, dsn, err)
		}
		if local := strings.Contains(address, "//u@localhost/") || strings.Contains(address, "[::1]"); local &&
			strings.Contains(dsn, "sslmode") {
			t.Errorf("%s became %s", address, dsn)
		}
	}
	t.Setenv("PGSSLMODE", "prefer")
	if _, _, _, err := parseAddress("postgres://u@db.lab.example/intake"); err == nil {
		t.Error("the environment turned the check off")
	}
}
