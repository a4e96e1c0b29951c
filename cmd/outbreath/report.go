package main

import (
	"embed"
	"errors"
	"fmt"
	"html/template"
	"os"
	"path/filepath"

	"outbreath/deid/leak"
)

//go:embed html/*.tmpl
var pages embed.FS

var auditPage = template.Must(template.New("audit.html.tmpl").Funcs(template.FuncMap{
	"word":  func(c leak.Class) string { return classWords[c] },
	"count": count,
	"open":  func(l []leak.Finding) int { return len(openFindings(l)) },
}).ParseFS(pages, "html/audit.html.tmpl"))

// writeReport writes the page under a temporary name in the same folder and
// renames it when it is whole.
func writeReport(path string, doc *auditResult) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".outbreath-page-*")
	if err != nil {
		return usagef("name a folder that exists and may be written to", "%s cannot be written", quoted(path))
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("%s was not written: %w", quoted(path), err), os.Remove(f.Name()))
		}
	}()
	err = auditPage.Execute(f, doc)
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
