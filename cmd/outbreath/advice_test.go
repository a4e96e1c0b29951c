package main

import (
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"maps"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"outbreath/keys"
	"outbreath/pack/intake"
)

// kinds returns the values of the constants of a type, as the sources of some packages
// of the module declare them.
func kinds(t *testing.T, kind string, pkgs ...string) map[string]bool {
	t.Helper()
	var files []string
	for _, pkg := range pkgs {
		some, err := filepath.Glob("../../" + pkg + "/*.go")
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, some...)
	}
	found := map[string]bool{}
	for _, path := range files {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, text, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range file.Decls {
			g, ok := d.(*ast.GenDecl)
			if !ok || g.Tok != token.CONST {
				continue
			}
			for _, s := range g.Specs {
				v := s.(*ast.ValueSpec)
				if types.ExprString(v.Type) != kind {
					continue
				}
				word, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
				if err != nil || word == "" || found[word] {
					t.Errorf("%s: %q is not a word, or is used for two kinds", path, word)
				}
				found[word] = true
			}
		}
	}
	return found
}

// TestEveryFaultHasAdvice: for each kind of error of a library there is a line that says
// what to do, and none for a kind that no longer exists.
func TestEveryFaultHasAdvice(t *testing.T) {
	for _, table := range []struct {
		kind, pkg string
		advice    map[string]string
		none      []string // that have no advice of their own, and why
	}{
		{"Fault", "keys", texts(keyAdvice), []string{
			string(keys.FailedIO),        // the system's error behind it decides
			string(keys.UnreadableInput), // whoever asked says what to do
		}},
		{"Reason", "keys", texts(signatureAdvice), nil},
		{"Fault", "pack/register", texts(registerAdvice), nil},
		{"Fault", "pack/media", texts(mediaAdvice), nil},
		{"Fault", "pack/intake", texts(intakeAdvice), nil},
		{"Case", "pack/intake", texts(answerAdvice), []string{ // nothing is wrong
			string(intake.First), string(intake.Again), string(intake.AgainSettled),
			string(intake.RejectedAlone), string(intake.RejectedCopy),
		}},
	} {
		known := kinds(t, table.kind, table.pkg)
		if table.pkg == "pack/media" {
			maps.Copy(known, kinds(t, "media.Fault", "pack"))
		}
		if len(known) < 5 {
			t.Errorf("%s.%s: only %d kinds were found", table.pkg, table.kind, len(known))
		}
		for _, word := range table.none {
			delete(known, word)
		}
		for word := range known {
			if table.advice[word] == "" {
				t.Errorf("%s: there is no advice for %q", table.pkg, word)
			}
		}
		for word, do := range table.advice {
			if !known[word] {
				t.Errorf("%s: advice for %q, which does not exist", table.pkg, word)
			}
			if strings.HasSuffix(do, ".") || strings.TrimSpace(do) != do || do[:1] != strings.ToLower(do[:1]) {
				t.Errorf("not in the house style: %q", do)
			}
		}
	}
}

func texts[K ~string](table map[K]string) map[string]string {
	out := map[string]string{}
	for k, do := range table {
		out[string(k)] = do
	}
	return out
}

// TestAdviceIsFilledIn: what an error is about is in the advice, and of several
// errors each is advised on once.
func TestAdviceIsFilledIn(t *testing.T) {
	for want, err := range map[string]error{
		"run: chmod 700 '/my keys' (":    &keys.Error{Fault: keys.OpenFolder, Path: "/my keys"},
		"-f /k/signing > /k/signing.pub": &keys.Error{Fault: keys.NoPublicKey, Path: "/k/signing.pub"},
		"keys trust FILE --name lab,":    &keys.Error{Fault: keys.UnknownRecipient, Name: "lab"},
		"tell P. Officer and":            &keys.SignatureError{Reason: keys.RevokedSigner, By: "P. Officer"},
		"add bag@outbreath to":           &keys.SignatureError{Reason: keys.NotTrustedFor, Namespace: "bag@outbreath"},
		"ask lab by telephone for":       &keys.SignatureError{Reason: keys.Expired, Name: "lab"},
		"type all lines of the sheet; check the name": fmt.Errorf("two: %w", errors.Join(
			&keys.Error{Fault: keys.MissingLetters}, &keys.Error{Fault: keys.NoFile}, &keys.Error{Fault: keys.NoFile})),
	} {
		if do := toDo(err); !strings.Contains(do, want) || strings.Contains(do, "{") {
			t.Errorf("%q, not %q", do, want)
		}
	}
}

func TestShellPath(t *testing.T) {
	for in, want := range map[string]string{
		"/home/k/keys":  "/home/k/keys",
		"my keys":       "'my keys'",
		"it's":          `'it'\''s'`,
		"$(rm x)":       "'$(rm x)'",
		"":              "''",
		"Schlüssel/one": "Schlüssel/one",
	} {
		if got := shellPath(in); got != want {
			t.Errorf("%q: %s, not %s", in, got, want)
		}
	}
}
