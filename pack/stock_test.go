package pack

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"filippo.io/age"

	"outbreath/pack/media"
)

// needTools skips a test where a stock tool is absent, except in CI.
func needTools(t *testing.T, names ...string) {
	t.Helper()
	for _, name := range names {
		if _, err := exec.LookPath(name); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatal(err)
			}
			t.Skipf("%s is not here", name)
		}
	}
}

// buildAge builds the age command from the module cache and returns its folder.
func buildAge(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	out, err := exec.Command("go", "build", "-o", dir, "filippo.io/age/cmd/age").CombinedOutput()
	if err != nil {
		t.Fatalf("age cannot be built: %v\n%s", err, out)
	}
	return dir
}

// The commands that READ-ME-FIRST.txt gives to a laboratory without outbreath
// are run as they are printed, on a whole shipment and on one in parts.
//
// Source: OpenSSH's ssh-keygen, zstd, GNU tar and coreutils, age's own command.
func TestStockTools(t *testing.T) {
	needTools(t, "bash", "ssh-keygen", "zstd", "tar", "sha256sum", "diff", "go")
	ageDir := buildAge(t)
	b := newBench(t)
	pq, err := age.GenerateHybridIdentity()
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name     string
		partSize int64
		to       age.Recipient
		identity string
	}{
		{"whole", 0, b.to, b.identity.(*age.X25519Identity).String()},
		{"parts", 700_000, b.to, b.identity.(*age.X25519Identity).String()},
		{"post-quantum", 0, pq.Recipient(), pq.String()},
	} {
		t.Run(tt.name, func(t *testing.T) {
			o := b.sealOptions(t.TempDir())
			o.PartSize, o.Recipients = tt.partSize, []age.Recipient{tt.to}
			p := sample(t, 2, 3<<20)
			s, err := seal(context.Background(), media.OS{}, p, o)
			if err != nil {
				t.Fatal(err)
			}
			text, err := os.ReadFile(filepath.Join(s.Folder, readmeName))
			if err != nil {
				t.Fatal(err)
			}
			script := "set -e\n" + strings.Join(stockCommands(string(text)), "\n")
			run := func(shipment string) (string, string, error) {
				dir := t.TempDir()
				write(t, filepath.Join(dir, "allowed_signers"), []byte(b.list))
				write(t, filepath.Join(dir, "identity.txt"), []byte(tt.identity+"\n"))
				cmd := exec.Command("bash", "-c", script)
				cmd.Dir = dir
				cmd.Env = append(os.Environ(), "SHIPMENT="+shipment, "PATH="+ageDir+":"+os.Getenv("PATH"), "LC_ALL=C")
				out, err := cmd.CombinedOutput()
				return filepath.Join(dir, "07-0012"), string(out), err
			}
			opened, out, err := run(s.Folder)
			if err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			if n := strings.Count(out, "Good \""); n != 2 {
				t.Errorf("%d good signatures, want 2:\n%s", n, out)
			}
			if n := strings.Count(out, ": OK"); n != len(s.Parts)+2+3+len(p.files) {
				t.Errorf("%d good checksums for %d parts and %d files:\n%s", n, len(s.Parts), len(p.files), out)
			}
			into := filepath.Join(t.TempDir(), "opened")
			vo := b.verifyOptions()
			vo.Identities, vo.Into = append(vo.Identities, pq), into
			if v, err := Verify(context.Background(), s.Folder, vo); err != nil || v.Decision != Accepted {
				t.Fatalf("%+v, %v", v, err)
			}
			ours, theirs := tree(t, into), tree(t, opened)
			for name, data := range ours {
				if theirs[name] != data {
					t.Errorf("%s differs between the tools", name)
				}
			}
			if len(ours) != len(theirs) {
				t.Errorf("%d files opened here, %d there", len(ours), len(theirs))
			}

			// The commands notice what they must.
			for _, name := range []string{s.Parts[0].Name, labelName, sumsName, sigName} {
				dir := copyDir(t, s.Folder)
				data, err := os.ReadFile(filepath.Join(dir, name))
				if err != nil {
					t.Fatal(err)
				}
				data[len(data)/2] ^= 1
				write(t, filepath.Join(dir, name), data)
				if _, out, err := run(dir); err == nil {
					t.Errorf("%s changed and nothing said so:\n%s", name, out)
				}
			}
		})
	}
}

// stockCommands returns the indented lines after the headline about stock tools.
func stockCommands(readme string) []string {
	_, after, _ := strings.Cut(readme, "WITH STOCK TOOLS ALONE")
	var lines []string
	for _, m := range regexp.MustCompile(`(?m)^    (\S.*)$`).FindAllStringSubmatch(after, -1) {
		lines = append(lines, m[1])
	}
	return lines
}

func TestReadme(t *testing.T) {
	l := &label{Shipment: "07-0012", Study: "LARK-2", Site: "07", Parts: make([]labelPart, 2)}
	text := string(readme(l, "Example Institute,\ntelephone +00 000 0000\x1b[31m, "+strings.Repeat("door ", 30)))
	if n := len(stockCommands(text)); n != 9 {
		t.Errorf("%d commands, want 9", n)
	}
	for i, line := range strings.Split(text, "\n") {
		if len(line) > readmeWidth && !strings.HasPrefix(line, "    ssh-keygen") &&
			!strings.HasPrefix(line, "    cat ") && !strings.HasPrefix(line, "    diff ") {
			t.Errorf("line %d has %d characters", i+1, len(line))
		}
		if strings.ContainsFunc(line, isControl) || strings.TrimRight(line, " ") != line {
			t.Errorf("line %d has a control character or ends in blanks: %q", i+1, line)
		}
	}
	for _, want := range []string{"Example Institute,\n", "    telephone +00 000 0000", "07-0012", "LARK-2",
		"2 parts"} {
		if !strings.Contains(text, want) {
			t.Errorf("it does not say %q", want)
		}
	}
}
