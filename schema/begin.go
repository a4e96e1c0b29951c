package schema

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"errors"
	"html"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// beginFiles holds the files of a new collection. Begin fills in what is between {{ and }}.
//
//go:embed begin
var beginFiles embed.FS

var (
	studyCode = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9-]{0,31}$`)
	siteCode  = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9-]{0,15}$`)
	plainName = regexp.MustCompile(`^[A-Za-z0-9_][A-Za-z0-9._-]*$`)
)

// A File is one that a new collection gets in addition to those that [Begin] makes, or in
// place of one of them.
type File struct {
	Name string // as in the collection, slash-separated: "study.json"
	Data []byte
}

// Begin creates an empty collection in dir, which must not exist or be an empty folder. It
// holds study.json, roster.csv with its header row, the folders for records and recordings,
// session-to-copy.json, which is a valid record of invented values, START-HERE.html, which
// explains them, and the further files. Only its owner can read it, because it will hold a
// roster.
//
// It appears complete or not at all. The error is a *[ConfigError] if a code or the folder
// cannot be used, otherwise an I/O error.
func Begin(dir, study, site string, further ...File) error {
	switch {
	case !studyCode.MatchString(study):
		return &ConfigError{File: "study code", Message: "must be 1 to 32 letters, digits and hyphens, and not " +
			"begin with a hyphen: write it as the protocol does"}
	case !siteCode.MatchString(site):
		return &ConfigError{File: "site code", Message: "must be 1 to 16 letters, digits and hyphens, and not " +
			"begin with a hyphen: write it as the protocol does"}
	}
	dir, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	there, err := emptyFolder(dir)
	if err != nil {
		return err
	}
	// Unfinished files are in a temporary folder: next to dir or, if dir exists and may be
	// somebody's current folder, inside it.
	parent := filepath.Dir(dir)
	if there {
		parent = dir
	}
	staging, err := os.MkdirTemp(parent, ".begin-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(staging)
	if err := layOut(staging, filepath.Base(dir), study, site, further); err != nil {
		return err
	}
	if !there {
		return os.Rename(staging, dir)
	}
	return moveAll(staging, dir)
}

// StudyWith returns the study.json that [Begin] writes, with the contact of the site in
// it. The error is a *[ConfigError] if the contact or a code cannot be used.
func StudyWith(study, site, contact string) (File, error) {
	data, err := beginFiles.ReadFile("begin/" + studyFile)
	if err != nil {
		return File{}, err
	}
	n, err := ParseJSON(data)
	if err != nil {
		return File{}, err
	}
	n.Member("study").Text, n.Member("site").Text, n.Member("contact").Text = study, site, contact
	data = n.Encode()
	_, err = parseStudy(data)
	return File{Name: studyFile, Data: data}, err
}

// emptyFolder reports whether dir exists. If it does, it must be an empty folder.
func emptyFolder(dir string) (bool, error) {
	name := filepath.Base(dir)
	if above, err := os.Stat(filepath.Dir(dir)); err != nil || !above.IsDir() {
		return false, &ConfigError{File: name, Message: "the folder above it does not exist: make " +
			"that one first, or correct the path"}
	}
	info, err := os.Lstat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return false, nil
	case err != nil:
		return false, err
	case !info.IsDir():
		return false, &ConfigError{File: name, Message: "exists and is not a folder: choose another name"}
	}
	entries, err := os.ReadDir(dir)
	if err == nil && len(entries) > 0 {
		err = &ConfigError{File: name, Message: "exists and is not empty; nothing in it was touched: choose " +
			"the name of a new folder"}
	}
	return true, err
}

// layOut writes the files of begin/ and the further ones into staging. The commands in the
// page are for a folder called name.
func layOut(staging, name, study, site string, further []File) error {
	if !plainName.MatchString(name) {
		name = "FOLDER" // other names must be quoted, differently for each shell
	}
	page, err := beginFiles.ReadFile("begin/START-HERE.html")
	if err != nil {
		return err
	}
	fill := strings.NewReplacer(
		"{{STUDY}}", html.EscapeString(study), "{{SITE}}", html.EscapeString(site), "{{FOLDER}}",
		html.EscapeString(name),
		"{{STYLE}}", styleHash(string(page)),
	)
	entries, err := beginFiles.ReadDir("begin")
	if err != nil {
		return err
	}
	for _, e := range entries {
		if slices.ContainsFunc(further, func(f File) bool { return f.Name == e.Name() }) {
			continue
		}
		data, err := beginFiles.ReadFile("begin/" + e.Name())
		if err != nil {
			return err
		}
		if err := writeSynced(filepath.Join(staging, e.Name()), fill.Replace(string(data))); err != nil {
			return err
		}
	}
	for _, f := range further {
		path := filepath.Join(staging, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			return err
		}
		if err := writeSynced(path, string(f.Data)); err != nil {
			return err
		}
	}
	return errors.Join(os.Mkdir(filepath.Join(staging, "sessions"), 0o700),
		os.Mkdir(filepath.Join(staging, "recordings"), 0o700))
}

// styleHash returns the source expression ('sha256-...', CSP level 2) of the page's own style
// for its Content-Security-Policy, under which a browser applies that style and loads nothing.
func styleHash(page string) string {
	_, style, _ := strings.Cut(page, "<style>")
	style, _, _ = strings.Cut(style, "</style>")
	sum := sha256.Sum256([]byte(style))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

// writeSynced writes a new file with mode 0600 and syncs it.
func writeSynced(path, text string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Sync(), f.Close())
}

// moveAll moves the contents of from to to, study.json last, because without it a folder is not
// a collection. If it fails, it removes what it has moved.
func moveAll(from, to string) error {
	entries, err := os.ReadDir(from)
	if err != nil {
		return err
	}
	var names []string
	for _, e := range entries {
		if e.Name() != "study.json" {
			names = append(names, e.Name())
		}
	}
	names = append(names, "study.json")
	for i, name := range names {
		if err := os.Rename(filepath.Join(from, name), filepath.Join(to, name)); err != nil {
			for _, done := range names[:i] {
				os.RemoveAll(filepath.Join(to, done))
			}
			return err
		}
	}
	return nil
}
