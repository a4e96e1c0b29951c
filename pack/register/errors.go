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

// A Fault is the kind of an [Error]. Its values are stable, for callers that choose
// their advice by them.
type Fault string

// Faults of the address and of the settings for the database.
const (
	NoAddress      Fault = "no-address"       // it is empty
	UnknownAddress Fault = "unknown-address"  // neither a file nor PostgreSQL's
	BadAddress     Fault = "bad-address"      // PostgreSQL's, but it cannot be read
	PasswordShown  Fault = "password-shown"   // it holds a password, which other users can see
	BadSetting     Fault = "bad-setting"      // it or an environment variable cannot be used
	BadTLS         Fault = "bad-tls"          // likewise, of what it says on TLS
	Unverified     Fault = "unverified"       // another computer's certificate would not be verified
	SettingNoFile  Fault = "setting-no-file"  // a setting names something that is not an ordinary file
	SettingTooLong Fault = "setting-too-long" // or a file that is far too large
	NoFolder       Fault = "no-folder"        // the folder of the register's file cannot be opened
	NotFile        Fault = "not-a-file"       // the register is a link, a folder, a pipe ...
	NotSideFile    Fault = "not-a-side-file"  // likewise, a file that SQLite keeps with it
)

// Faults of the database.
const (
	NotRegister    Fault = "not-a-register"   // something else is in the file
	NotWritable    Fault = "not-writable"     // nor may it be written to
	LaterVersion   Fault = "later-version"    // a later version of the program made it
	NotPrepared    Fault = "not-prepared"     // [Prepare] must make its tables, or bring them up to date
	BadContents    Fault = "bad-contents"     // it holds what no version writes
	DamagedFile    Fault = "damaged-file"     // SQLite finds it damaged
	FailedFile     Fault = "failed-file"      // SQLite failed otherwise
	DiskFull       Fault = "disk-full"        // where the file is
	Busy           Fault = "busy"             // another program has held it for a minute
	Unreachable    Fault = "unreachable"      // the server does not answer
	BadCertificate Fault = "bad-certificate"  // the server's is not trusted here
	LoginRefused   Fault = "login-refused"    // role, password or database is wrong
	NoDatabase     Fault = "no-database"      // the server has none of that name
	NotGranted     Fault = "not-granted"      // the role lacks a right
	ServerDiskFull Fault = "server-disk-full" // of the server
	ServerRefused  Fault = "server-refused"   // the server gives another reason
)

// Faults of what is to be entered or settled.
const (
	WrongSite      Fault = "wrong-site"      // a shipment's number does not belong to its site
	BadNumber      Fault = "bad-number"      // it is not a site code, a hyphen and four digits
	BadReason      Fault = "bad-reason"      // empty, too long, or of several lines
	NothingOpen    Fault = "nothing-open"    // the shipment is not open, or was settled
	UnknownSite    Fault = "unknown-site"    // nothing of that site and study has arrived
	SeveralStudies Fault = "several-studies" // the site sends for all of Studies
	TwoContents    Fault = "two-contents"    // came under one number, which cannot be settled
)

// An Error states why a register cannot be used, or cannot take what is to be entered.
// It never quotes the address. What to do about it follows from Fault.
type Error struct {
	Fault   Fault
	Msg     string   // the fact
	Config  bool     // the address, the database or what is to be entered is wrong; false: it fails at the moment
	Studies []string // with SeveralStudies: their codes, sorted
}

func (e *Error) Error() string { return e.Msg }

func configError(kind Fault, msg string) error { return &Error{Fault: kind, Msg: msg, Config: true} }

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
	case err == nil || errors.As(err, &own) || errors.Is(err, context.Canceled) ||
		errors.Is(err, context.DeadlineExceeded):
		return err
	case errors.Is(err, errContents):
		return &Error{Msg: err.Error(), Fault: BadContents}
	case errors.As(err, &lite):
		return explainSQLite(lite.Code())
	case errors.As(err, &pg):
		return explainPostgres(pg.Code)
	}
	if errors.As(err, new(x509.UnknownAuthorityError)) || errors.As(err, new(x509.HostnameError)) ||
		errors.As(err, new(x509.CertificateInvalidError)) || errors.As(err, new(*tls.CertificateVerificationError)) {
		return configError(BadCertificate,
			"the certificate of the register's server is not trusted here, is out of date, or is that of another "+
				"computer")
	}
	return &Error{Fault: Unreachable, Msg: "the register's database cannot be reached, or the connection broke"}
}

// Source: SQLite documentation, "Result and Error Codes".
func explainSQLite(code int) error {
	switch code & 0xff {
	case sqlite3.SQLITE_NOTADB:
		return configError(NotRegister, "the file named as the register is not an SQLite database")
	case sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM:
		return configError(NotWritable, "the register's file cannot be opened for writing")
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return &Error{Fault: Busy, Msg: "another program has held the register for a minute"}
	case sqlite3.SQLITE_FULL:
		return &Error{Fault: DiskFull, Msg: "the disk of the register is full"}
	case sqlite3.SQLITE_CORRUPT:
		return &Error{Fault: DamagedFile, Msg: "the register's file is damaged"}
	}
	return &Error{Msg: fmt.Sprintf("the register's file failed (SQLite result code %d)", code), Fault: FailedFile}
}

// Source: PostgreSQL 15 documentation, appendix A "PostgreSQL Error Codes".
func explainPostgres(code string) error {
	switch code {
	case "28P01", "28000":
		return configError(LoginRefused,
			"the server does not let this role into this database; it does not say whether role, password or "+
				"database is the wrong one")
	case "3D000":
		return configError(NoDatabase, "the server has no such database")
	case "42501":
		return configError(NotGranted,
			"this role may not do in the database what a register needs")
	case "53100":
		return &Error{Fault: ServerDiskFull, Msg: "the disk of the database server is full"}
	}
	return &Error{Msg: "the database server refused (SQLSTATE " + code + ")", Fault: ServerRefused}
}
