package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"outbreath/schema/demo"
)

// neverShows reports an error if the screen shows text, now or in the time that the
// command still runs.
func (d *desk) neverShows(text string, until string) {
	d.t.Helper()
	d.until(fmt.Sprintf("shows %q", until), func(screen string) bool {
		if strings.Contains(screen, text) {
			d.t.Fatalf("the screen of %s shows what was typed ahead:\n%s", d.name, screen)
		}
		return strings.Contains(screen, until)
	})
}

// TestPassphraseAgain: a passphrase that is too short, mistyped or wrong is asked for
// again in place; what was typed already is lost for the shell, and never shown.
func TestPassphraseAgain(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if _, err := demo.Write(filepath.Join(dir, "week"), demo.Options{Subjects: 2, Sessions: 2, RecordingSeconds: 5,
		NoEDF: true}); err != nil {
		t.Fatal(err)
	}
	const pass, other = "seven dry reeds by the weir", "six wet reeds by the weir"
	d := newDesk(t, "typing", dir)

	// one of one's own: too short, then two that differ, then well
	d.run("outbreath keys new --role site --name " + demo.Site + " --keys site; echo status $?")
	d.see(`(?m)o: type my own`)
	d.types("o")
	question := regexp.MustCompile(`(?m)^passphrase of the new keys[^\n]*:$`)
	for i, typed := range []string{"short", pass, other, pass, pass} {
		d.until(fmt.Sprintf("asks %d times", i+1), func(screen string) bool {
			return len(question.FindAllString(screen, -1)) > i
		})
		d.types(typed)
	}
	d.see(`(?m)^status 0$`)
	if screen := d.screen(); !strings.Contains(screen, "that is too short") ||
		!strings.Contains(screen, "the two differ") || strings.Contains(screen, "reeds") {
		t.Errorf("the screen:\n%s", screen)
	}

	// a wrong one is asked for again; a subject's id, typed while the key opens, is not
	// shown, and is no answer
	d.run("outbreath withdraw week --reason 'consent withdrawn' --to notice.json --keys site; echo status $?")
	d.see(`(?m)^passphrase of the pseudonym key:$`)
	d.ahead(other, "LARK2-WEIR-001\r")
	d.see(`that is not the passphrase\npassphrase of the pseudonym key:`)
	d.ahead(pass, "LARK2-WEIR-001\r")
	d.neverShows("LARK2", "subject id, as in roster.csv")
	d.types("LARK2-WEIR-002")
	d.neverShows("LARK2", "status 0")
	if screen := d.screen(); strings.Contains(screen, "LARK2") || strings.Contains(screen, "reeds") {
		t.Errorf("the screen:\n%s", screen)
	}

	// five wrong ones end it; what was typed after the last does not reach the shell
	d.run("outbreath check week --keys site; echo status $?")
	for i := range 5 {
		d.see(fmt.Sprintf(`(?s)(passphrase of the pseudonym key:.*){%d}`, i+1))
		if i < 4 {
			d.types(other)
		} else {
			d.ahead(other, "echo leaked; "+other)
		}
	}
	d.see(`(?m)^status 2$`)
	d.types("echo over") // the shell reads what was left to it before this
	d.see(`(?m)\bover\n\$\s*\z`)
	if screen := d.screen(); strings.Contains(screen, "reeds") || strings.Contains(screen, "leaked") {
		t.Errorf("the screen:\n%s", screen)
	}

	// after Ctrl-C, too, the terminal shows what is typed
	d.run("outbreath check week --keys site; echo status $?")
	d.see(`(?m)^passphrase of the pseudonym key:$`)
	d.tmux("send-keys", "-t", d.name, "C-c")
	d.see(`(?m)^status 130$`)
	d.tmux("send-keys", "-t", d.name, "-l", "still-shown")
	d.see(`still-shown`)
}

// TestSuggestedTypedTooEarly: the suggested words, typed at the first question, are not
// thrown away.
func TestSuggestedTypedTooEarly(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	d := newDesk(t, "early", dir)
	d.run("outbreath keys new --role site --name " + demo.Site + " --keys site; echo status $?")
	pass := strings.TrimSpace(d.see(`77 bits\):\n\n +([a-z ]+)\n`))
	d.types(pass[:len(pass)-1])
	if again := strings.TrimSpace(d.see(`(?s)here are the words again.*77 bits\):\n\n +([a-z ]+)\n`)); again != pass {
		t.Errorf("%q was suggested, and %q after it", pass, again)
	}
	d.types(pass)
	d.see(`(?m)once more, from your paper\n(.*\n)*passphrase of the new keys, from your paper:$`)
	if strings.Contains(d.screen(), pass) {
		t.Error("the words are still on the screen")
	}
	d.types(pass)
	d.see(`(?m)^status 0$`)
	if _, err := os.Stat(filepath.Join(dir, "site", "pseudonym.key")); err != nil {
		t.Error(err)
	}
}
