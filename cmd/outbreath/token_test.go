package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/schema/demo"
)

// A spot is a folder in which commands are run.
type spot struct {
	t   *testing.T
	dir string
	env []string
}

// run runs a command, wants status 0, and returns what it printed on both streams.
func (p *spot) run(name string, args ...string) string {
	p.t.Helper()
	out, err := p.try(name, args...)
	if err != nil {
		p.t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return out
}

func (p *spot) try(name string, args ...string) (string, error) {
	cmd := exec.Command(name, args...)
	cmd.Dir, cmd.Env = p.dir, append(os.Environ(), p.env...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	err := cmd.Run()
	return out.String(), err
}

// fails wants a status other than 0, and what is to be read on the screen.
func (p *spot) fails(want, name string, args ...string) {
	p.t.Helper()
	out, err := p.try(name, args...)
	if err == nil || !strings.Contains(out, want) {
		p.t.Errorf("%s %s: %v, and not %q:\n%s", name, strings.Join(args, " "), err, want, out)
	}
}

// newPlace is a folder with a small collection in week, and a stick.
func newPlace(t *testing.T, tools ...string) *spot {
	for _, tool := range tools {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatalf("%s is not installed", tool)
			}
			t.Skipf("%s is not installed", tool)
		}
	}
	p := &spot{t: t, dir: t.TempDir(), env: []string{"SSH_AUTH_SOCK="}}
	if _, err := demo.Write(filepath.Join(p.dir, "week"), demo.Options{Subjects: 2, Sessions: 3, RecordingSeconds: 60,
		NoEDF: true}); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(p.dir, "stick"), 0o755); err != nil {
		t.Fatal(err)
	}
	return p
}

// TestSSHAgent: the site's signing key lives in the real ssh-agent; the folder has
// its public half only. What it signs is verified by us and by ssh-keygen.
func TestSSHAgent(t *testing.T) {
	t.Parallel()
	for _, kind := range []string{"ed25519", "rsa", "ecdsa"} {
		t.Run(kind, func(t *testing.T) {
			p := newPlace(t, "ssh-agent", "ssh-add", "ssh-keygen")
			p.run("ssh-keygen", "-q", "-t", kind, "-N", "", "-C", "x", "-f", "key")
			p.fails("holds a private key, which an ssh-agent keeps to itself", "outbreath", "keys", "new", "--role",
				"site", "--name", demo.Site, "--no-passphrase", "--signing-key", "key", "--keys", "site")
			p.run("outbreath", "keys", "new", "--role", "site", "--name", demo.Site, "--no-passphrase", "--signing-key",
				"key.pub", "--keys", "site")
			if _, err := os.Stat(filepath.Join(p.dir, "site", "signing")); err == nil {
				t.Fatal("a private signing key was written")
			}
			p.run("outbreath", "keys", "new", "--role", "lab", "--name", "harbour-lab", "--no-passphrase", "--keys",
				"lab")
			p.run("outbreath", "keys", "trust", "lab/public-keys.txt", "--keys", "site")
			p.run("outbreath", "keys", "trust", "site/public-keys.txt", "--keys", "lab")
			seal := []string{"seal", "week", "--to", "stick", "--keys", "site"}

			p.fails("if the key is kept in an ssh-agent, start that", "outbreath", seal...)
			socket := filepath.Join(p.dir, "agent")
			p.env = append(p.env, "SSH_AUTH_SOCK="+socket)
			p.fails("does not answer", "outbreath", seal...)
			agent := exec.Command("ssh-agent", "-D", "-a", socket)
			if err := agent.Start(); err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { agent.Process.Kill(); agent.Wait() })
			if !eventually(func() bool {
				_, err := p.try("ssh-add", "-l")
				return err == nil || err.(*exec.ExitError).ExitCode() == 1
			}) {
				t.Fatal("the agent does not answer")
			}
			p.fails("does not hold this key", "outbreath", seal...)
			p.run("ssh-add", "-q", "key")
			if err := os.Remove(filepath.Join(p.dir, "key")); err != nil {
				t.Fatal(err)
			}
			p.run("outbreath", seal...)
			p.run("outbreath", "verify", "stick/"+demo.Site+"-0001", "--keys", "lab")
			p.run("sh", "-c", "ssh-keygen -Y verify -f lab/allowed_signers -I "+demo.Site+
				" -n shipment@outbreath -s stick/"+demo.Site+"-0001/SHA256SUMS.sig <stick/"+demo.Site+
				"-0001/SHA256SUMS")
			p.run("outbreath", "custody", "week", "--check", "--keys", "site")
			p.run("ssh-add", "-q", "-D")
			p.fails("does not hold this key", "outbreath", seal...)
		})
	}
}

// TestSSHRecipients: the laboratory opens shipments with an SSH key that it has
// already, with and without a passphrase, and so does age itself.
func TestSSHRecipients(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ kind, pass string }{{"ed25519", ""}, {"rsa", ""}, {"ed25519", "correct horse"},
		{"rsa", "correct horse"}} {
		t.Run(tt.kind+" "+tt.pass, func(t *testing.T) {
			p := newPlace(t, "ssh-keygen")
			p.run("ssh-keygen", "-q", "-t", tt.kind, "-N", tt.pass, "-C", "x", "-f", "key")
			p.run("outbreath", "keys", "new", "--role", "site", "--name", demo.Site, "--no-passphrase", "--keys",
				"site")
			p.run("outbreath", "keys", "new", "--role", "lab", "--name", "harbour-lab", "--no-passphrase", "--identity",
				"key", "--keys", "lab")
			out := p.run("outbreath", "keys", "trust", "lab/public-keys.txt", "--keys", "site")
			if !strings.Contains(out, "recipient harbour-lab (ssh-"+tt.kind+")") ||
				!strings.Contains(out, "signer harbour-lab (ssh-ed25519)") {
				t.Errorf("%s", out)
			}
			p.run("outbreath", "keys", "trust", "site/public-keys.txt", "--keys", "lab")
			if out := p.run("outbreath", "seal", "week", "--to", "stick", "--keys", "site"); !strings.Contains(out,
				"sealed for harbour-lab: ssh-"+tt.kind) {
				t.Errorf("%s", out)
			}
			verify := []string{"verify", "stick/" + demo.Site + "-0001", "--keys", "lab"}
			if tt.pass != "" {
				p.fails("run this at a terminal, or name a file with --passphrase-file", "outbreath", verify...)
				for name, text := range map[string]string{"pass": tt.pass, "wrong": "wrong horse"} {
					if err := os.WriteFile(filepath.Join(p.dir, name), []byte(text+"\n"), 0o600); err != nil {
						t.Fatal(err)
					}
				}
				p.fails("the passphrase is wrong", "outbreath", append(verify, "--passphrase-file", "wrong")...)
				p.run("outbreath", append(verify, "--passphrase-file", "pass")...)
				return
			}
			p.run("outbreath", verify...)
			p.run(ageBinary(t), "-d", "-i", "key", "-o", "plain", "stick/"+demo.Site+"-0001/"+demo.Site+
				"-0001.tar.zst.age")

			// a plain .pub file, and a key that cannot be encrypted to
			p.run("outbreath", "keys", "new", "--role", "site", "--name", demo.Site, "--no-passphrase", "--keys",
				"site2")
			p.run("outbreath", "keys", "trust", "key.pub", "--recipient", "--name", "harbour-lab", "--keys", "site2")
			p.run("ssh-keygen", "-q", "-t", "ecdsa", "-N", "", "-f", "signs")
			p.fails("nothing can be encrypted", "outbreath", "keys", "trust", "signs.pub", "--recipient", "--keys",
				"site2")
			p.fails("the identity is not an OpenSSH private key of type ed25519 or rsa", "outbreath", "keys", "new",
				"--role", "lab", "--name", "x", "--no-passphrase", "--identity", "signs", "--keys", "lab2")
			// post-quantum and SSH do not mix
			p.run("outbreath", "keys", "new", "--role", "lab", "--name", "pq-lab", "--no-passphrase", "--keys", "lab3")
			p.fails("cannot share one archive", "outbreath", "keys", "trust", "lab3/public-keys.txt", "--keys", "site2")
		})
	}
}

// TestPlugin: the laboratory's identity lives behind a program age-plugin-lark,
// as a hardware token's does.
func TestPlugin(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	bin := filepath.Join(p.dir, "bin")
	build := exec.Command("go", "build", "-o", filepath.Join(bin, "age-plugin-lark"),
		"outbreath/keys/testdata/age-plugin-lark")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	without := os.Getenv("PATH")
	path := "PATH=" + bin + ":" + without
	p.env = append(p.env, path)
	made := strings.Fields(p.run(filepath.Join(bin, "age-plugin-lark"), "new"))
	if err := os.WriteFile(filepath.Join(p.dir, "token.txt"), []byte("# a token\n"+made[0]+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	p.run("outbreath", "keys", "new", "--role", "site", "--name", demo.Site, "--no-passphrase", "--keys", "site")
	lab := []string{"keys", "new", "--role", "lab", "--name", "harbour-lab", "--no-passphrase", "--identity",
		"token.txt", "--keys", "lab"}
	p.fails("give its recipient, as the plugin showed it, with --recipient", "outbreath", lab...)
	p.run("outbreath", append(lab, "--recipient", made[1])...)
	// trusting runs no program
	p.env = append(p.env, "PATH="+without)
	if out := p.run("outbreath", "keys", "trust", "lab/public-keys.txt", "--keys", "site"); !strings.Contains(out,
		"recipient harbour-lab (by age-plugin-lark)") {
		t.Errorf("%s", out)
	}
	p.run("outbreath", "keys", "trust", "site/public-keys.txt", "--keys", "lab")
	seal := []string{"seal", "week", "--to", "stick", "--keys", "site"}
	verify := []string{"verify", "stick/" + demo.Site + "-0001", "--keys", "lab"}
	p.fails("the program age-plugin-lark is not on this computer", "outbreath", seal...)
	p.env = append(p.env, path)
	p.run("outbreath", seal...)
	if out := p.run("outbreath", verify...); !strings.Contains(out, "age-plugin-lark: touch the token now") {
		t.Errorf("the token's message is not shown:\n%s", out)
	}
	p.run("outbreath", "open", "stick/"+demo.Site+"-0001", "--into", "received", "--keys", "lab")
	p.run(ageBinary(t), "-d", "-i", "token.txt", "-o", "plain", "stick/"+demo.Site+"-0001/"+demo.Site+
		"-0001.tar.zst.age")

	p.env = append(p.env, "PATH="+without)
	p.fails("the program age-plugin-lark is not on this computer", "outbreath", verify...)
	p.env = append(p.env, path, "LARK_BROKEN="+p.dir)
	p.fails("to do: check whether the token is connected", "outbreath", verify...)
}
