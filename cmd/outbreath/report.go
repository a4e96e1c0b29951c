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

	"outbreath/deid/attack"
	"outbreath/deid/audit"
	"outbreath/deid/leak"
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
	"word":  func(c leak.Class) string { return c.Words().Shown },
	"count": count,
	"fig":   figure,
	"share": func(at string, x float64) template.HTML {
		return tagged(at, percent(x))
	},
	"number":   func(x float64) string { return fmt.Sprintf("%.3g", x) },
	"percent":  percent,
	"label":    audit.Label,
	"attacker": func(a attack.Attacker) string { return attackerWords[a] },
	"lines":    func(p []audit.Paste) []pasteLine { return proposal{Answer: &audit.Answer{Paste: p}}.Lines() },
	"join":     func(s []string) string { return strings.Join(s, ", ") },
	"fold":     folded,
	"minus":    func(a, b int) int { return a - b },
	"outcome":  outcome,
	"row": func(list string, i int, w audit.WhatIf) any {
		return struct {
			At string
			W  audit.WhatIf
		}{fmt.Sprintf("/what_if/%s/%d", list, i), w}
	},
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

// figure returns a figure of the page, marked with its place in the output of --json, as a
// JSON pointer. What is not whole has three digits.
func figure(at string, x any) template.HTML {
	if v, ok := x.(float64); ok {
		return tagged(at, fmt.Sprintf("%.3g", v))
	}
	return tagged(at, fmt.Sprint(x))
}

func tagged(at, text string) template.HTML {
	return template.HTML(`<span data-json="` + template.HTMLEscapeString(at) + `">` +
		template.HTMLEscapeString(text) + `</span>`)
}

func percent(x float64) string { return fmt.Sprintf("%.3g %%", 100*x) }

// outcome returns the result of an attack in words.
func outcome(a audit.Attack) string {
	switch {
	case a.Verdict == audit.Broken:
		return "a treatment failed"
	case a.Verdict == audit.NotRun:
		return "not tested"
	case a.Verdict == audit.NotScored:
		return "claimed, not compared with the truth"
	case a.Verdict == audit.Residual:
		return "the plan leaves this"
	case a.Succeeded > 0:
		return "no more than by chance"
	}
	return "nothing gained"
}

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

// Faults returns the kinds of issues that are faults, Judge those for a person to judge.
func (d *auditResult) Faults() []audit.Kind { return d.kinds(true) }
func (d *auditResult) Judge() []audit.Kind  { return d.kinds(false) }

func (d *auditResult) kinds(fault bool) []audit.Kind {
	return slices.DeleteFunc(slices.Clone(d.IssueKinds), func(k audit.Kind) bool { return k.Fault != fault })
}
