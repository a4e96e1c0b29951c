package register

import (
	"net/url"
	"os"
	"path/filepath"
	"strings"
)

// maxSettings bounds, in bytes, each file that the PostgreSQL driver reads whole.
const maxSettings = 1 << 20

// driverFiles are the settings that name a file which the driver opens while it reads an
// address, with the environment variable and the place in the home folder of each.
//
// Source: PostgreSQL documentation, 34.15 "Environment Variables", 34.16 "The Password
// File", 34.17 "The Connection Service File", 34.19 "SSL Support".
var driverFiles = map[string]struct{ env, home string }{
	"passfile":    {"PGPASSFILE", ".pgpass"},
	"servicefile": {"PGSERVICEFILE", ".pg_service.conf"},
	"sslrootcert": {"PGSSLROOTCERT", ".postgresql/root.crt"},
	"sslcert":     {"PGSSLCERT", ".postgresql/postgresql.crt"},
	"sslkey":      {"PGSSLKEY", ".postgresql/postgresql.key"},
}

// plainFiles refuses an address that would make the driver open a pipe, for which it would
// wait without end, a device or a folder. Every place that may name a file is checked, whichever
// of them the driver would prefer. Whether a file exists is left to the driver.
func plainFiles(address *url.URL) error {
	home, _ := os.UserHomeDir()
	for setting, at := range driverFiles {
		paths := []string{os.Getenv(at.env), address.Query().Get(setting)}
		if home != "" {
			paths = append(paths, filepath.Join(home, at.home))
		}
		for _, path := range paths {
			if err := plainFile(setting, path); err != nil {
				return err
			}
			if setting != "servicefile" {
				continue
			}
			if err := plainInService(path); err != nil {
				return err
			}
		}
	}
	return nil
}

// plainInService judges the files that a service file, of any service in it, names.
func plainInService(path string) error {
	text, err := os.ReadFile(path) // which has been judged
	if err != nil {
		return nil
	}
	for line := range strings.Lines(string(text)) {
		setting, value, _ := strings.Cut(line, "=")
		setting, value = strings.TrimSpace(setting), strings.TrimSpace(value)
		if _, ok := driverFiles[setting]; !ok {
			continue
		}
		if err := plainFile(setting, value); err != nil {
			return err
		}
	}
	return nil
}

// plainFile judges one file, after the links that lead to it: administrators link
// certificates.
func plainFile(setting, path string) error {
	if path == "" || setting == "sslrootcert" && path == "system" {
		return nil
	}
	info, err := os.Stat(path)
	what := setting + " (" + driverFiles[setting].env + ", or ~/" + driverFiles[setting].home + ")"
	switch {
	case err != nil:
		return nil
	case path == os.DevNull: // the usual way to say: none
		return nil
	case !info.Mode().IsRegular():
		return configError(SettingNoFile, "what is set as "+what+" is not an ordinary file; it was not opened")
	case info.Size() > maxSettings:
		return configError(SettingTooLong, "the file that is set as "+what+" is far too large to be one")
	}
	return nil
}
