package main

import (
	"fmt"
	"io"

	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/pack/site"
	"outbreath/schema"
)

// A keyLog records an act on the pseudonym key in the custody log of a collection. Without
// a collection nothing is recorded.
type keyLog struct {
	u     *ui
	col   *schema.Collection // nil: none was named
	entry custody.Entry
}

// newKeyLog loads the collection and tries its log, before anything is done to the key.
func newKeyLog(u *ui, o *options, collection, reason, by string) (*keyLog, error) {
	l := &keyLog{u: u}
	if collection == "" {
		if reason != "" {
			return nil, usagef("name the collection whose custody.jsonl keeps the reason, with --collection DIR",
				"--reason needs --collection")
		}
		return l, nil
	}
	col, err := loadCollection(u, collection)
	if err != nil {
		return nil, err
	}
	l.col = col
	if l.entry, err = officerEntry(col, by, reason); err == nil {
		var f *keys.Folder
		if f, err = siteFolder(u, o); err == nil {
			err = l.add(f, func(*site.Log) error { return nil })
		}
	}
	if err != nil {
		l.close()
		return nil, err
	}
	return l, nil
}

// add opens the log and lets record add to it.
func (l *keyLog) add(f *keys.Folder, record func(*site.Log) error) error {
	if l.col == nil {
		return nil
	}
	log, err := openLog(l.u, l.col, f)
	if err != nil {
		return err
	}
	defer log.Release()
	return record(log)
}

// remark says that no log holds what was done.
func (l *keyLog) remark(w io.Writer) {
	if l.col == nil {
		fmt.Fprintln(w, "remark: no custody.jsonl holds this; --collection and --reason record it there")
	}
}

func (l *keyLog) close() {
	if l.col != nil {
		l.col.Root.Close()
	}
}
