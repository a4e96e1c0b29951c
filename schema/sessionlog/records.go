package sessionlog

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strconv"
	"strings"

	"outbreath/pack/durable"
	"outbreath/schema"
)

const sessionsDir = "sessions"

// MaxRecord is how many bytes a record may have, as schema.Load takes them.
const MaxRecord = 16 << 20

// A RecordFile is a file in a collection's folder of sessions.
type RecordFile struct {
	File   string       // "sessions/0001.json"
	Number int          // that is its name; 0 if the name is none of up to nine digits
	Doc    *schema.Node // an object; nil if the file cannot be read as a record
	Err    error        // why it cannot, a *[schema.ConfigError] or of the disk
}

// RecordFiles reads the records of a collection in the order of their names. last is the
// greatest number that is the name of one: the next is free. The error is a
// *[schema.ConfigError] or of the disk.
func RecordFiles(root *os.Root) (files []RecordFile, last int, err error) {
	entries, err := durable.ReadDir(root, sessionsDir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, 0, &schema.ConfigError{File: sessionsDir, Message: "this folder is missing: make it again, or " +
			"put back the newest copy of the collection"}
	}
	if err != nil {
		return nil, 0, err
	}
	for _, e := range entries {
		file := sessionsDir + "/" + e.Name()
		if !IsRecordFile(file) {
			continue
		}
		r := RecordFile{File: file}
		if name := strings.TrimSuffix(e.Name(), ".json"); len(name) < 10 && strings.Trim(name, "0123456789") == "" {
			r.Number, _ = strconv.Atoi(name)
		}
		r.Doc, _, r.Err = ReadRecord(root, file)
		files, last = append(files, r), max(last, r.Number)
	}
	return files, last, nil
}

// IsRecordFile reports whether a name, from the collection on, can be that of a record.
func IsRecordFile(file string) bool {
	name, ok := strings.CutPrefix(file, sessionsDir+"/")
	return ok && strings.HasSuffix(name, ".json") && !strings.ContainsAny(name, `/\`) && !strings.HasPrefix(name, ".")
}

// ReadRecord reads one record, and returns the bytes that it was read from.
func ReadRecord(root *os.Root, file string) (doc *schema.Node, data []byte, err error) {
	if data, err = durable.Read(root, file, MaxRecord); err != nil {
		return nil, nil, err
	}
	if doc, err = schema.ParseJSON(data); err != nil || doc.Kind != schema.Object {
		return nil, data, &schema.ConfigError{File: file, Message: "cannot be read as a record: correct it as check " +
			"says, or move it out of the folder"}
	}
	return doc, data, nil
}

// NewRecordFile is the name of the record with a number.
func NewRecordFile(number int) string { return fmt.Sprintf("%s/%04d.json", sessionsDir, number) }

// WriteRecord writes one record, whole or not at all. write is [durable.WriteNew] or
// [durable.Replace].
func WriteRecord(root *os.Root, file string, data []byte,
	write func(*os.Root, string, []byte, fs.FileMode) error) error {
	folder, err := durable.Folder(root, sessionsDir)
	if err != nil {
		return err
	}
	defer folder.Close()
	return write(folder, strings.TrimPrefix(file, sessionsDir+"/"), data, 0o600)
}
