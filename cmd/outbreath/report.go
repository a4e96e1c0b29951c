package main

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"slices"
	"strings"

	"outbreath/deid"
	"outbreath/deid/audit"
	"outbreath/deid/leak"
	"outbreath/schema"
)

//go:embed html/*.tmpl html/*.css
var pages embed.FS

// auditStyle is the page's only style sheet. The page's content security policy admits
// nothing else: see [auditResult.Policy].
var auditStyle = func() string {
	data, err := pages.ReadFile("html/audit.css")
	if err != nil {
		panic(err)
	}
	return string(data)
}()

var auditPage = template.Must(template.New("audit.html.tmpl").Funcs(template.FuncMap{
	"word":    func(c leak.Class) string { return c.Words().Shown },
	"count":   count,
	"percent": func(x float64) string { return fmt.Sprintf("%.3g %%", 100*x) },
	"number":  func(x float64) string { return fmt.Sprintf("%.3g", x) },
	"short": func(path string) string {
		return strings.ReplaceAll(path[strings.LastIndexByte(path, '/')+1:], "_", " ")
	},
	"join": func(s []string) string { return strings.Join(s, ", ") },
	"blank": func(s string) string {
		if s == "" {
			return "not given"
		}
		return s
	},
	"yes": func(b bool) string {
		if b {
			return "kept"
		}
		return "not kept"
	},
}).ParseFS(pages, "html/audit.html.tmpl"))

// write renders the page, signs it, and gives page and signature their names once both are
// complete. Without a usable key the page is written unsigned.
func (d *auditResult) write(path string) error {
	var b bytes.Buffer
	if err := auditPage.Execute(&b, d); err != nil {
		return fmt.Errorf("%s was not written: %w", quoted(path), err)
	}
	sig, err := d.folder.Sign(auditNamespace, b.Bytes())
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, errNoPassphrase):
		d.Unsigned = "no usable signing key is at hand; keys new makes one"
	case err != nil:
		return err
	}
	if sig == nil {
		err = writeOutput(path, b.Bytes(), 0o600)
	} else {
		err, d.Signature = writePair(path, b.Bytes(), sig, 0o600), path+".sig"
	}
	if err != nil {
		return err
	}
	d.Report = path
	return nil
}

// auditNamespace is the SSHSIG namespace of the page's signature.
const auditNamespace = "audit@outbreath"

// The methods below are called by the template.

func (d *auditResult) Style() template.CSS { return template.CSS(auditStyle) }

// Policy returns a content security policy that admits the style sheet, by its digest, and
// nothing else, not even an image.
func (d *auditResult) Policy() string {
	sum := sha256.Sum256([]byte(auditStyle))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) +
		"'; base-uri 'none'; form-action 'none'"
}

// Judged reports whether there are figures: there are none for a rejected shipment.
func (d *auditResult) Judged() bool { return d.figures != nil }

func (d *auditResult) OpenFindings() int { return len(openFindings(d.Leaks)) }

// Errors and Warnings count the problems of each severity.
func (d *auditResult) Errors() int   { return d.queries(false) }
func (d *auditResult) Warnings() int { return d.queries(true) }

func (d *auditResult) queries(warnings bool) int {
	n := 0
	for _, p := range d.Problems {
		if (p.Severity == "warning") == warnings {
			n++
		}
	}
	return n
}

// Faults returns the issues that are faults, Judge those for a person to judge.
func (d *auditResult) Faults() []audit.Issue { return d.issues(true) }
func (d *auditResult) Judge() []audit.Issue  { return d.issues(false) }

func (d *auditResult) issues(fault bool) []audit.Issue {
	return slices.DeleteFunc(slices.Clone(d.Issues), func(i audit.Issue) bool { return i.Fault != fault })
}

// Residual counts the attacks that gain what the plan is known to leave.
func (d *auditResult) Residual() int {
	n := 0
	for _, a := range d.Attacks {
		if a.Verdict == audit.Residual {
			n++
		}
	}
	return n
}

// A fieldRow is a field with an invented example.
type fieldRow struct {
	deid.FieldLedger
	deid.Example
}

func (d *auditResult) FieldRows() []fieldRow {
	return d.fieldRows(func(deid.FieldLedger) bool { return true })
}

// DateRows returns the fields that hold dates or values derived from dates.
func (d *auditResult) DateRows() []fieldRow {
	return d.fieldRows(func(f deid.FieldLedger) bool {
		kind := f.Kind()
		return kind == schema.Shift || kind == schema.Year || kind == schema.AgeBand ||
			strings.HasSuffix(f.Path, "_at") || strings.Contains(f.Path, "date")
	})
}

func (d *auditResult) fieldRows(want func(deid.FieldLedger) bool) []fieldRow {
	var rows []fieldRow
	for i, f := range d.Fields {
		row := fieldRow{FieldLedger: f}
		if i < len(d.Examples) {
			row.Example = d.Examples[i]
		}
		if want(f) {
			rows = append(rows, row)
		}
	}
	return rows
}

// A leakRow is a finding and the decision on it.
type leakRow struct {
	leak.Finding
	Who, Why, When string
}

// mostRows bounds a table of the page; --json has everything.
const mostRows = 1000

// LeakRows returns the open findings first, then those kept, then those redacted.
func (d *auditResult) LeakRows() []leakRow {
	by := map[string]leak.Decision{}
	for _, dec := range d.Decisions {
		by[dec.ID] = dec
	}
	var rows []leakRow
	for _, state := range []string{"", "keep", "redact"} {
		for _, f := range d.Leaks {
			if f.Decision != state || len(rows) == mostRows {
				continue
			}
			row := leakRow{Finding: f}
			if dec, ok := by[f.ID]; ok && f.Decision != "" {
				row.Who, row.Why, row.When = dec.Who, dec.Reason, dec.When.Format("2006-01-02 15:04 UTC")
			}
			rows = append(rows, row)
		}
	}
	return rows
}

// Drawn returns the recordings that the page draws.
func (d *auditResult) Drawn() []*audit.Trace {
	if d.Output == nil {
		return nil
	}
	return d.Output.Recordings[:min(len(d.Output.Recordings), audit.MaxStrips)]
}
