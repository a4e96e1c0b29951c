package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"outbreath/schema/demo"
)

// A desk is a real terminal, 100 columns by 50 rows, with a shell in a folder.
type desk struct {
	t    *testing.T
	name string
	sock string
}

// newDesk opens a terminal by tmux.
func newDesk(t *testing.T, name, dir string) *desk {
	if _, err := exec.LookPath("tmux"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("tmux is not installed")
		}
		t.Skip("tmux is not installed")
	}
	d := &desk{t, name, fmt.Sprintf("ob-%d-%s", os.Getpid(), name)}
	d.tmux("new-session", "-d", "-s", name, "-x", "100", "-y", "50", "-c", dir, "env", "PS1=$ ", "sh")
	t.Cleanup(func() { exec.Command("tmux", "-L", d.sock, "kill-server").Run() })
	d.see(`(?m)^\$`)
	return d
}

func (d *desk) tmux(args ...string) string {
	out, err := exec.Command("tmux", append([]string{"-L", d.sock}, args...)...).CombinedOutput()
	if err != nil {
		d.t.Fatalf("tmux %s: %v\n%s", args[0], err, out)
	}
	return string(out)
}

func (d *desk) screen() string { return d.tmux("capture-pane", "-p", "-t", d.name) }

// see waits until the screen shows pattern, and returns its first group or match.
func (d *desk) see(pattern string) string {
	d.t.Helper()
	re := regexp.MustCompile(pattern)
	var m []string
	d.until(fmt.Sprintf("shows %q", pattern), func(screen string) bool {
		m = re.FindStringSubmatch(screen)
		return m != nil
	})
	return m[len(m)-1]
}

// until waits for a screen that does what is wanted.
func (d *desk) until(what string, done func(screen string) bool) {
	d.t.Helper()
	var screen string
	if !eventually(func() bool { screen = d.screen(); return done(screen) }) {
		d.t.Fatalf("the screen of %s never %s:\n%s", d.name, what, screen)
	}
}

// types types a line.
func (d *desk) types(text string) { d.ahead(text, "") }

// ahead types a line and, before anybody can act on that, more.
func (d *desk) ahead(line string, more ...string) {
	to := []string{"send-keys", "-t", d.name}
	args := slices.Concat(to, []string{"-l", line, ";"}, to, []string{"Enter"})
	for _, text := range more {
		if text != "" {
			args = slices.Concat(args, []string{";"}, to, []string{"-l", text})
		}
	}
	d.tmux(args...)
}

// run types a command on an empty screen, on which nothing of the last one can be
// taken for an answer of this one: it waits until that has ended.
func (d *desk) run(command string) {
	d.t.Helper()
	d.see(`(?m)^\$\s*\z`)
	d.tmux("send-keys", "-t", d.name, "-R")
	d.types("clear; " + command)
}

// words reads the twelve words from keys show, as the person does.
func (d *desk) words(folder string) []string {
	d.run("outbreath keys show --keys " + folder)
	d.see(`(?m)^twelve words(.*\n){3,}.*\$$`)
	lines := strings.Split(d.screen(), "\n")
	var words []string
	for i, l := range lines {
		if strings.HasPrefix(l, "twelve words") {
			numbered := strings.Fields(strings.Join(lines[i+1:i+4], " "))
			for k := 1; k < len(numbered); k += 2 {
				words = append(words, numbered[k])
			}
		}
	}
	if len(words) != 12 {
		d.t.Fatalf("twelve words: %q", words)
	}
	return words
}

// compares answers what keys trust asks with the words that the other side reads,
// as far as it asks, and returns the places asked for. One place may be asked for
// several times, so the questions are counted.
func (d *desk) compares(words []string) (asked []string) {
	question, end := regexp.MustCompile(`(?m)\bword (\d+):`), regexp.MustCompile(`(?m)^now trusted|^outbreath: error`)
	for {
		var questions [][]string
		d.until("asks for a word, or comes to an end", func(screen string) bool {
			questions = question.FindAllStringSubmatch(screen, -1)
			return len(questions) > len(asked) || end.MatchString(screen)
		})
		if len(questions) == len(asked) {
			return asked
		}
		place := questions[len(asked)][1]
		asked = append(asked, place)
		var i int
		fmt.Sscan(place, &i)
		d.types(words[i-1][:min(4, len(words[i-1]))])
	}
}

// newKeys answers every question of keys new, takes the suggested passphrase and
// returns it.
func (d *desk) newKeys(folder, role, name string) string {
	d.run("outbreath keys new --keys " + folder)
	d.see(`(?m)site or lab\?$`)
	d.types(role)
	d.see(`(?m)(Site code, as in study.json|harbour-lab):$`)
	d.types(name)
	pass := strings.TrimSpace(d.see(`77 bits\):\n\n +([a-z ]+)\n`))
	d.tmux("send-keys", "-t", d.name, "Enter")
	d.see(`(?m)passphrase of the new keys, from your paper:$`)
	if strings.Contains(d.screen(), pass) {
		d.t.Error("the passphrase is still on the screen")
	}
	d.types(pass)
	d.see(`print "?` + folder + `/what-to-keep-where.html"?, and keep copies`)
	if strings.Contains(d.screen(), pass) {
		d.t.Error("the passphrase is on the screen")
	}
	return pass
}

// TestCeremony: a site and a laboratory make and exchange keys at real terminals,
// then a shipment is sealed and accepted. Keys that somebody exchanges on the way
// are caught by the comparison, and nothing is trusted.
func TestCeremony(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if _, err := demo.Write(filepath.Join(dir, "week"), demo.Options{Subjects: 2, Sessions: 3, RecordingSeconds: 60,
		NoEDF: true}); err != nil {
		t.Fatal(err)
	}

	site, lab := newDesk(t, "site", dir), newDesk(t, "lab", dir)
	sitePass := site.newKeys("site", "site", demo.Site)
	labPass := lab.newKeys("lab", "lab", "harbour-lab")
	if sitePass == labPass || len(strings.Fields(sitePass)) != 7 {
		t.Fatal("not two passphrases of seven words")
	}
	labWords, siteWords := lab.words("lab"), site.words("site")

	// somebody in between exchanges the laboratory's file
	lab.run("outbreath keys new --role lab --name harbour-lab --no-passphrase --keys other && echo made")
	lab.see(`(?m)^made$`)
	site.run("outbreath keys trust other/public-keys.txt --keys site; echo status $?")
	if asked := site.compares(labWords); len(asked) != 3 {
		t.Errorf("asked for %q before it was refused", asked)
	}
	site.see(`the words differ`)
	site.see(`(?m)^status 3$`)
	if data, err := os.ReadFile(filepath.Join(dir, "site", "recipients.txt")); err != nil ||
		strings.Contains(string(data), "\nage1") {
		t.Errorf("a recipient is trusted: %v", err)
	}

	// the true files
	for _, side := range []struct {
		*desk
		file, keys string
		words      []string
	}{{site, "lab/public-keys.txt", "site", labWords}, {lab, "site/public-keys.txt", "lab", siteWords}} {
		side.run("outbreath keys trust " + side.file + " --keys " + side.keys + "; echo status $?")
		if asked := side.compares(side.words); len(asked) != askedWords {
			t.Errorf("asked for %q", asked)
		}
		side.see(`the words agree`)
		side.see(`(?m)^status 0$`)
		side.run("outbreath keys show --keys " + side.keys)
		side.see(`compared on \d{4}-`)
	}

	if err := os.Mkdir(filepath.Join(dir, "stick"), 0o755); err != nil {
		t.Fatal(err)
	}
	site.run("outbreath seal week --to stick --keys site; echo status $?")
	site.see(`(?m)passphrase of [^\n]*:$`)
	site.types(sitePass)
	site.see(`(?m)^status 0$`)
	if strings.Contains(site.screen(), "caution") {
		t.Errorf("a compared key is cautioned against:\n%s", site.screen())
	}
	site.see(`sealed for harbour-lab: post-quantum hybrid, SHA256:`)
	lab.run("outbreath verify stick/" + demo.Site + "-0001 --keys lab; echo status $?")
	lab.see(`(?m)passphrase of [^\n]*:$`)
	lab.types(labPass)
	lab.see(`(?m)^status 0$`)
	lab.see(demo.Site + `-0001: accepted`)

	// the laboratory's keys change: refused, and replaced only after a comparison
	site.run("outbreath keys trust other/public-keys.txt --keys site; echo status $?")
	site.see(`somebody`)
	site.see(`(?m)^status [23]$`)
	otherWords := lab.words("other")
	site.run("outbreath keys trust other/public-keys.txt --replace --keys site; echo status $?")
	site.compares(otherWords)
	site.see(`(?m)^status 0$`)
	out, err := exec.Command("outbreath", "keys", "show", "--json", "--keys", filepath.Join(dir, "site")).Output()
	var shown struct {
		Trusted []struct{ Name, Compared string }
	}
	if err != nil || json.Unmarshal(out, &shown) != nil || len(shown.Trusted) != 2 || shown.Trusted[0].Compared == "" {
		t.Errorf("%s %v", out, err)
	}
}
