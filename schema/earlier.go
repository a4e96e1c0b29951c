package schema

import (
	"errors"
	"io/fs"
	"slices"

	"outbreath/pack/durable"
)

// An Earlier is what a new collection takes over from an earlier one of the same site.
type Earlier struct {
	Study *Study
	Plan  *Plan
	Files []File // study.json, roster.csv, the study's own plan, and the settings of its log, as they are
}

// logSettings is the file of what was said about the site's log: see package sessionlog.
const logSettings = "log-settings.json"

// ReadEarlier reads what is taken over from the collection in dir. Its records are not
// read, and nothing in it is changed. The error is a *[ConfigError] or of the disk.
func ReadEarlier(dir string) (*Earlier, error) {
	root, err := durable.OpenFolder(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &ConfigError{File: dir, Message: "there is no such folder: correct the name of the earlier one"}
	}
	if err != nil {
		return nil, err
	}
	defer root.Close()
	e := &Earlier{}
	take := func(name string, limit int64) error {
		data, err := readPlain(root, name, limit)
		if err == nil {
			e.Files = append(e.Files, File{name, data})
		}
		return err
	}
	if err := take(studyFile, maxSchemaBytes); err != nil {
		return nil, explainFile(err, studyFile, "there is no study.json in the earlier folder, so that it is no "+
			"collection: correct its name")
	}
	if e.Study, err = parseStudy(e.Files[0].Data); err != nil {
		return nil, err
	}
	if e.Plan, err = loadPlan(root, e.Study.Plan); err != nil {
		return nil, err
	}
	if !slices.Contains(Builtin(), e.Plan.Name) {
		if err := take(e.Plan.Name, maxSchemaBytes); err != nil {
			return nil, err
		}
	}
	if err := take(rosterFile, maxRosterBytes); err != nil {
		return nil, explainFile(err, rosterFile, "there is no roster.csv in the earlier folder: put the site's "+
			"list of "+
			"subjects back")
	}
	if err := take(logSettings, maxSchemaBytes); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, explainFile(err, logSettings, "")
	}
	return e, nil
}
