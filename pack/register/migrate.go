package register

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
)

// The statements of each version, in the subset of SQL that both databases
// know; NNNN_what.sql leads from version NNNN-1 to NNNN.
//
//go:embed migrations/*.sql
var migrations embed.FS

// applicationID marks an SQLite file as a register: "OBRG" in ASCII.
//
// Source: SQLite documentation, "PRAGMA application_id".
const applicationID = 0x4f425247

// migrate brings the tables to the newest version, in one transaction: several
// processes that open a new register at once make it once.
func (r *Register) migrate(ctx context.Context) error {
	files, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil {
		return err
	}
	return r.write(ctx, func(tx *sql.Tx) error {
		version, err := r.version(ctx, tx)
		if err != nil {
			return err
		}
		if version > len(files) {
			return configError(LaterVersion, "the register was made by a later version of outbreath")
		}
		for _, name := range files[version:] {
			statements, err := migrations.ReadFile(name)
			if err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, string(statements)); err != nil {
				return err
			}
		}
		if version == len(files) {
			return nil
		}
		return r.setVersion(ctx, tx, len(files))
	})
}

// current refuses tables that are not those of this version, and changes nothing.
func (r *Register) current(ctx context.Context) error {
	files, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil {
		return err
	}
	var there bool
	if err := r.db.QueryRowContext(ctx, "SELECT to_regclass('intake_version') IS NOT NULL").Scan(&there); err != nil {
		return err
	}
	if !there {
		return configError(NotPrepared, "the database holds no register yet")
	}
	var n int
	if err := r.db.QueryRowContext(ctx, "SELECT coalesce(max(version), 0) FROM intake_version").Scan(&n); err != nil {
		return err
	}
	switch {
	case n < len(files):
		return configError(NotPrepared, "the tables of the register are of an earlier version of outbreath")
	case n > len(files):
		return configError(LaterVersion, "the register was made by a later version of outbreath")
	}
	return nil
}

// version returns the version of the tables, 0 when there are none yet.
func (r *Register) version(ctx context.Context, tx *sql.Tx) (n int, err error) {
	if r.sys == postgres {
		if _, err := tx.ExecContext(ctx,
			"CREATE TABLE IF NOT EXISTS intake_version (version INTEGER NOT NULL)"); err != nil {
			return 0, err
		}
		err := tx.QueryRowContext(ctx, "SELECT coalesce(max(version), 0) FROM intake_version").Scan(&n)
		return n, err
	}
	var id, tables int
	if err := tx.QueryRowContext(ctx,
		"SELECT (SELECT application_id FROM pragma_application_id), (SELECT count(*) FROM sqlite_master), (SELECT "+
			"user_version FROM pragma_user_version)").Scan(&id, &tables, &n); err != nil {
		return 0, err
	}
	if id != applicationID && (id != 0 || tables > 0 || n > 0) {
		return 0, configError(NotRegister,
			"the file named as the register is a database of something else; it was not changed")
	}
	return n, nil
}

func (r *Register) setVersion(ctx context.Context, tx *sql.Tx, n int) error {
	statement := fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, n)
	if r.sys == postgres {
		statement = fmt.Sprintf("DELETE FROM intake_version; INSERT INTO intake_version VALUES (%d)", n)
	}
	_, err := tx.ExecContext(ctx, statement)
	return err
}
