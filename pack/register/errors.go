package register

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5/pgconn"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// An Error is a register that cannot be used.
type Error struct {
	Msg    string
	Do     string // what to do
	Config bool   // the address or the database is the wrong one; else it fails at the moment
}

func (e *Error) Error() string { return e.Msg }

func configError(do, msg string) error { return &Error{Msg: msg, Do: do, Config: true} }

// errContents marks what no version of this program writes.
var errContents = errors.New("the register holds something that cannot be read")

// explain makes an *Error of a driver's error, whose text may quote the address
// or an entry and is not passed on.
func explain(err error) error {
	var (
		own  *Error
		lite *sqlite.Error
		pg   *pgconn.PgError
	)
	switch {
	case err == nil || errors.As(err, &own) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded):
		return err
	case errors.Is(err, errContents):
		return &Error{Msg: err.Error(), Do: "keep the database as it is, and ask the person who looks after it"}
	case errors.As(err, &lite):
		return explainSQLite(lite.Code())
	case errors.As(err, &pg):
		return explainPostgres(pg.Code)
	}
	if errors.As(err, new(x509.UnknownAuthorityError)) || errors.As(err, new(x509.HostnameError)) || errors.As(err, new(x509.CertificateInvalidError)) || errors.As(err, new(*tls.CertificateVerificationError)) {
		return configError("ask the person who looks after the server for the certificate of its authority, and name that file with sslrootcert=FILE in the address; do not turn the check off",
			"the certificate of the register's server is not trusted here, is out of date, or is that of another computer")
	}
	return &Error{Msg: "the register's database cannot be reached, or the connection broke",
		Do: "look whether the server runs and the address is right, then run this again: what was entered counts once"}
}

// Source: SQLite documentation, "Result and Error Codes".
func explainSQLite(code int) error {
	switch code & 0xff {
	case sqlite3.SQLITE_NOTADB:
		return configError("name the register's file, or one that is not there yet", "the file named as the register is no SQLite database")
	case sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM:
		return configError("ask for the right to write the file and its folder", "the register's file cannot be opened for writing")
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return &Error{Msg: "another program has held the register for a minute", Do: "close it, then run this again: what was entered counts once"}
	case sqlite3.SQLITE_FULL:
		return &Error{Msg: "the disk of the register is full", Do: "make room, then run this again: what was entered counts once"}
	case sqlite3.SQLITE_CORRUPT:
		return &Error{Msg: "the register's file is damaged", Do: "keep it as it is, and go on with the last copy of it"}
	}
	return &Error{Msg: fmt.Sprintf("the register's file failed (SQLite result code %d)", code), Do: "look at the disk, then run this again: what was entered counts once"}
}

// Source: PostgreSQL 15 documentation, appendix A "PostgreSQL Error Codes".
func explainPostgres(code string) error {
	switch code {
	case "28P01", "28000":
		return configError("look whether the names of role and database in the address are right, put the role's password into the file that PGPASSFILE names, or ask the person who looks after the server",
			"the server does not let this role into this database; it does not say whether role, password or database is the wrong one")
	case "3D000":
		return configError("correct the name, or have the database made", "the server has no such database")
	case "42501":
		return configError("ask for SELECT, INSERT and UPDATE on the register's tables for a station's role; the role that makes them with --prepare also needs the right to make tables",
			"this role may not do in the database what a register needs")
	case "53100":
		return &Error{Msg: "the disk of the database server is full", Do: "have room made, then run this again: what was entered counts once"}
	}
	return &Error{Msg: "the database server refused (SQLSTATE " + code + ")", Do: "run this again: what was entered counts once; if it fails once more, ask the person who looks after the server"}
}
