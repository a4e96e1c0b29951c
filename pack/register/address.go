package register

import (
	"errors"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"outbreath/pack/durable"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// parseAddress returns the driver that opens address, and what it is to open. Its
// errors never repeat address.
func parseAddress(address string) (driver, dsn string, sys system, err error) {
	scheme, _, found := strings.Cut(address, "://")
	switch {
	case strings.EqualFold(scheme, "postgres") || strings.EqualFold(scheme, "postgresql"):
		if !found {
			return "", "", 0, configError(BadAddress, "the address of the register is not complete")
		}
		if err := checkPostgres(address); err != nil {
			return "", "", 0, err
		}
		dsn, err := secured(address)
		return "pgx", dsn, postgres, err
	case strings.Contains(address, "password="):
		return "", "", 0, passwordError()
	case found || likeAddress.MatchString(address) || strings.Contains(address, "=") && !plainPath(address):
		return "", "", 0, configError(UnknownAddress,
			"the register is neither a file nor a PostgreSQL address")
	}
	dsn, err = sqliteAddress(address)
	return "sqlite", dsn, sqliteFile, err
}

// likeAddress is the beginning of an address of some kind. One letter is a drive.
//
// Source: RFC 3986, 3.1.
var likeAddress = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9+.-]+:`)

// plainPath reports whether address can be nothing but a path.
func plainPath(address string) bool {
	path := filepath.ToSlash(address)
	return filepath.IsAbs(address) || strings.HasPrefix(path, "./") || strings.HasPrefix(path, "../")
}

func passwordError() error {
	return configError(PasswordShown,
		"the address of the register has a password in it")
}

func checkPostgres(address string) error {
	u, err := url.Parse(address)
	if err != nil {
		return configError(BadAddress, "the address of the register cannot be read")
	}
	if _, has := u.User.Password(); has {
		return passwordError()
	}
	for name := range u.Query() {
		if name := strings.ToLower(name); name == "password" || name == "sslpassword" {
			return passwordError()
		}
	}
	if err := plainFiles(u); err != nil {
		return err
	}
	if _, err := pgx.ParseConfig(address); err != nil {
		return configError(BadSetting, "the address of the register, or a setting for PostgreSQL, cannot be used")
	}
	return nil
}

// secured returns the address with the server's certificate and name verified, unless
// nothing leaves this computer. A setting that would be less is refused: what is entered
// decides which samples are used, and the password goes the same way.
//
// Source: PostgreSQL 15 documentation, 34.19.3 "Protection Provided in Different Modes".
func secured(address string) (string, error) {
	u, err := url.Parse(address)
	if err != nil {
		return "", configError(BadAddress, "the address of the register cannot be read")
	}
	q := u.Query()
	if !q.Has("sslmode") && os.Getenv("PGSSLMODE") == "" {
		c, err := pgx.ParseConfig(address)
		if err != nil {
			return "", configError(BadAddress, "the address of the register cannot be used")
		}
		if local(c.Host) && !slices.ContainsFunc(c.Fallbacks,
			func(f *pgconn.FallbackConfig) bool { return !local(f.Host) }) {
			return address, nil
		}
		q.Set("sslmode", "verify-full")
		u.RawQuery = q.Encode()
		address = u.String()
	}
	c, err := pgx.ParseConfig(address)
	if err != nil {
		return "", configError(BadTLS, "the settings for TLS cannot be used")
	}
	hosts := append([]*pgconn.FallbackConfig{{Host: c.Host, TLSConfig: c.TLSConfig}}, c.Fallbacks...)
	for _, h := range hosts {
		if !local(h.Host) && (h.TLSConfig == nil || h.TLSConfig.InsecureSkipVerify || h.TLSConfig.ServerName == "") {
			return "", configError(Unverified,
				"the register's server is on another computer, and its certificate would not be verified")
		}
	}
	return address, nil
}

// local reports whether host is a socket or this computer itself.
func local(host string) bool {
	if strings.HasPrefix(host, "/") || strings.HasPrefix(host, "@") || host == "localhost" {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

// ownFiles refuses a register, or a file that SQLite keeps with it, that is a link or
// no plain file: SQLite would follow it. A register that is not there is made here,
// before SQLite makes it for everybody to read; its other files take its mode.
//
// Source: SQLite documentation, "Temporary Files Used By SQLite".
func ownFiles(abs string) error {
	root, name, err := durable.At(abs)
	if err != nil {
		return configError(NoFolder, "the folder of the register cannot be opened")
	}
	defer root.Close()
	for _, suffix := range []string{"", "-journal", "-wal", "-shm"} {
		err := durable.Alone(root, name+suffix)
		var refused *durable.Refusal
		switch {
		case errors.As(err, &refused) && suffix == "":
			return configError(NotFile, "the register "+refused.Msg)
		case errors.As(err, &refused):
			return configError(NotSideFile, "the register's file that ends in "+suffix+" "+refused.Msg)
		}
	}
	if f, err := durable.Create(root, name, 0); err == nil {
		f.Close()
	}
	return nil
}

// sqliteAddress makes the driver's address of a file. BEGIN takes the write lock
// at once, so that two stations wait for each other instead of failing; every
// commit is on the disk before it is answered.
//
// Source: SQLite documentation, "URI Filenames", "PRAGMA synchronous",
// "Transaction": BEGIN IMMEDIATE.
func sqliteAddress(path string) (string, error) {
	if path == "" {
		return "", configError(NoAddress, "the register has no address")
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	if info, err := os.Stat(filepath.Dir(abs)); err != nil || !info.IsDir() {
		return "", configError(NoFolder, "the folder of the register is not there")
	}
	if err := ownFiles(abs); err != nil {
		return "", err
	}
	abs = filepath.ToSlash(abs)
	if !strings.HasPrefix(abs, "/") {
		abs = "/" + abs // C:/...
	}
	q := url.Values{"_txlock": {"immediate"}, "_pragma": {
		"busy_timeout(60000)", "synchronous(FULL)", "foreign_keys(ON)"}}
	return (&url.URL{Scheme: "file", Path: abs, RawQuery: q.Encode()}).String(), nil
}
