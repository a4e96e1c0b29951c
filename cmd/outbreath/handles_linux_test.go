package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// A name is one that the program opens, makes, renames or removes in a scene.
type name struct {
	is      string // regular expression of the path in the scene, whole
	planted string // an example: where something else is planted; "": only made by the program, under a random name
	by      []act  // the commands that touch the example
	refused bool   // whatever lies there instead is refused by each of them
}

// An act is a command in a scene.
type act struct {
	args  []string
	input string
}

var (
	actCheck   = act{args: []string{"check", "collection", "--keys", "site"}}
	actReview  = act{args: []string{"review", "collection", "--list", "--keys", "site"}}
	actSealNew = act{args: []string{"seal", "collection", "--to", "media", "--new-number", "--slip", "out/slip.html",
		"--keys", "site"}}
	actCustody  = act{args: []string{"custody", "collection", "--check", "--keys", "site"}}
	actReceive  = act{args: []string{"custody", "collection", "--receipt", "receipt", "--keys", "site"}}
	actWithdraw = act{args: []string{"withdraw", "collection", "--reason", "asked in writing", "--to", "out/notice",
		"--keys", "site"}, input: "LARK2-WEIR-001\n"}
	actRotate = act{args: []string{"keys", "rotate", "--linkage", "out/linkage.csv", "--collection", "collection",
		"--reason", "joined analysis", "--keys", "site"}}
	actRenew   = act{args: []string{"keys", "rotate", "--keys", "site"}}
	actAuditOf = act{args: []string{"audit", "collection", "--report", "out/audit.html", "--keys", "site"}}
	actPlan    = act{args: []string{"plan", "collection"}}
	actVerify  = act{args: []string{"verify", "media/WEIR-0001", "--tubes", "box", "--receipt", "out/receipt",
		"--keys", "lab"}}
	actRegister = act{args: []string{"verify", "media/WEIR-0001", "--register", "out/intake.db", "--keys", "lab"}}
	actOpen     = act{args: []string{"open", "media/WEIR-0001", "--into", "out/opened", "--keys", "lab"}}
)

const random = `[0-9a-f]{8}-[0-9a-f]{16}`

// ownNames is the one table of the names that the program touches. TestNamesTraced
// fails on a name that it lacks, TestPlanted puts something else in the place of each.
var ownNames = []name{
	{is: `collection`},
	{is: `collection/(sessions|recordings)`, planted: "collection/sessions", by: []act{actCheck, actSealNew},
		refused: true},
	{is: `collection/study\.json`, planted: "collection/study.json", by: []act{actCheck}, refused: true},
	{is: `collection/roster\.csv`, planted: "collection/roster.csv", by: []act{actCheck}, refused: true},
	{is: `collection/sessions/[0-9]+\.json`, planted: "collection/sessions/0001.json", by: []act{actCheck},
		refused: true},
	{is: `collection/recordings/trace-[0-9]+\.csv`, planted: "collection/recordings/trace-0001.csv",
		by: []act{actCheck}, refused: true},
	{is: `collection/recordings/trace-[0-9]+\.edf`, planted: "collection/recordings/trace-0004.edf",
		by: []act{actCheck}, refused: true},
	{is: `collection/review\.jsonl`, planted: "collection/review.jsonl", by: []act{actCheck, actReview, actSealNew},
		refused: true},
	{is: `collection/custody\.jsonl`, planted: "collection/custody.jsonl", by: []act{actCheck, actCustody, actReceive,
		actWithdraw, actSealNew}, refused: true},
	{is: `collection/custody\.jsonl\.sig`, planted: "collection/custody.jsonl.sig", by: []act{actCustody, actReceive,
		actWithdraw}, refused: true},
	{is: `collection/\.outbreath-new-` + random},

	{is: `media`},
	{is: `media/WEIR-[0-9]{4}`, planted: "media/WEIR-0002", by: []act{actSealNew}, refused: true},
	{is: `media/\.outbreath-WEIR-[0-9]{4}-[0-9a-f]{16}`, planted: "media/.outbreath-WEIR-0009-0123456789abcdef",
		by: []act{actSealNew}},
	{is: `media/(WEIR-|\.outbreath-WEIR-)[^/]+/(READ-ME-FIRST\.txt)`, planted: "media/WEIR-0001/READ-ME-FIRST.txt",
		by: []act{actVerify}, refused: true},
	{is: `media/(WEIR-|\.outbreath-WEIR-)[^/]+/shipment\.json`, planted: "media/WEIR-0001/shipment.json",
		by: []act{actVerify}, refused: true},
	{is: `media/(WEIR-|\.outbreath-WEIR-)[^/]+/SHA256SUMS`, planted: "media/WEIR-0001/SHA256SUMS",
		by: []act{actVerify, actOpen}, refused: true},
	{is: `media/(WEIR-|\.outbreath-WEIR-)[^/]+/SHA256SUMS\.sig`, planted: "media/WEIR-0001/SHA256SUMS.sig",
		by: []act{actVerify}, refused: true},
	{is: `media/(WEIR-|\.outbreath-WEIR-)[^/]+/WEIR-[0-9]{4}\.tar\.zst\.age(\.[0-9]{3})?`,
		planted: "media/WEIR-0001/WEIR-0001.tar.zst.age", by: []act{actVerify, actOpen}, refused: true},

	{is: `site|lab`},
	{is: `site/pseudonym(-[0-9]+)?\.key`, planted: "site/pseudonym.key", by: []act{actCheck}, refused: true},
	{is: `(site|lab)/\.outbreath-new-` + random},
	{is: `site/\.outbreath-pseudonym\.key`, planted: "site/.outbreath-pseudonym.key", by: []act{actRenew}},
	{is: `(site|lab)/signing`, planted: "site/signing", by: []act{actSealNew}, refused: true},
	{is: `(site|lab)/signing\.pub`, planted: "site/signing.pub", by: []act{actSealNew}, refused: true},
	{is: `(site|lab)/(recipients?\.txt)`, planted: "site/recipients.txt", by: []act{actSealNew}, refused: true},
	{is: `(site|lab)/allowed_signers`, planted: "lab/allowed_signers", by: []act{actVerify}, refused: true},
	{is: `(site|lab)/contacts\.txt`, planted: "site/contacts.txt", by: []act{actSealNew}, refused: true},
	{is: `lab/identity\.(txt|age|ssh)`, planted: "lab/identity.txt", by: []act{actVerify}, refused: true},
	{is: `(site|lab)/revoked[a-z_.]*`},
	{is: `site/state[^/]*`},
	{is: `site/shipments\.txt`},

	{is: `out|\.`},
	{is: `box`, planted: "box", by: []act{actVerify}},
	{is: `receipt`, planted: "receipt", by: []act{actReceive}, refused: true},
	{is: `receipt\.sig`, planted: "receipt.sig", by: []act{actReceive}, refused: true},
	{is: `out/\.outbreath-new-` + random},
	{is: `out/\.outbreath-open-[0-9a-f]{12}-[0-9a-f]{16}(/.*)?`},
	{is: `out/slip\.html`, planted: "out/slip.html", by: []act{actSealNew}, refused: true},
	{is: `out/notice`, planted: "out/notice", by: []act{actWithdraw}, refused: true},
	{is: `out/notice\.sig`, planted: "out/notice.sig", by: []act{actWithdraw}, refused: true},
	{is: `out/linkage\.csv(\.sig)?`, planted: "out/linkage.csv", by: []act{actRotate}, refused: true},
	{is: `out/audit\.html`, planted: "out/audit.html", by: []act{actAuditOf}, refused: true},
	{is: `out/audit\.html\.sig`, planted: "out/audit.html.sig", by: []act{actAuditOf}, refused: true},
	{is: `out/receipt`, planted: "out/receipt", by: []act{actVerify}, refused: true},
	{is: `out/receipt\.sig`, planted: "out/receipt.sig", by: []act{actVerify}, refused: true},
	{is: `out/intake\.db`, planted: "out/intake.db", by: []act{actRegister}, refused: true},
	{is: `out/intake\.db-journal`, planted: "out/intake.db-journal", by: []act{actRegister}, refused: true},
	{is: `out/intake\.db-wal`, planted: "out/intake.db-wal", by: []act{actRegister}, refused: true},
	{is: `out/intake\.db-shm`, planted: "out/intake.db-shm", by: []act{actRegister}, refused: true},
	{is: `out/opened`, planted: "out/opened", by: []act{actOpen}, refused: true},
}

// calls that take a name; strace(1) writes -y descriptors with their paths.
var (
	namedCall = regexp.MustCompile(`\b(open|openat|openat2|creat|rename|renameat|renameat2|unlink|unlinkat|link|linkat|mkdir|mkdirat|symlink|symlinkat|truncate|chmod|fchmodat|mknodat)\((.*)`)
	namedArg  = regexp.MustCompile(`(?:(AT_FDCWD|[0-9]+)(?:<([^>]*)>)?, )?"((?:[^"\\]|\\.)*)"`)
)

// advice is how a message says what to do: after "to do", or after what is wrong.
var advice = regexp.MustCompile(`to do: |[;:,] (find out|run|name|put|move|replace|ask|copy|change nothing|give) `)

// followed says how a call could be led elsewhere by a link below a folder that the person
// named; "" if it cannot. The intake register's files are opened by its library, those
// of a key folder by path: that folder must be its owner's alone.
func followed(a act, call, args, rel string, arg []string) string {
	named := strings.TrimSuffix(arg[3], "/.")
	typed := call == "openat" && slices.Contains(a.args, named)
	if !strings.Contains(rel, "/") || strings.HasPrefix(rel, "out/intake.db") || typed {
		return ""
	}
	ofKeys := strings.HasPrefix(rel, "site/") || strings.HasPrefix(rel, "lab/")
	if !ofKeys && (arg[1] == "" || arg[1] == "AT_FDCWD" || strings.Contains(arg[3], "/")) {
		return "is reached by a path and not through the handle of its folder"
	}
	if call == "openat" && !strings.Contains(args, "O_NOFOLLOW") && !strings.Contains(args, "O_EXCL") {
		return "is opened through links"
	}
	return ""
}

// TestNamesTraced runs the commands under strace and holds every name that they
// touch in the scene against the table.
func TestNamesTraced(t *testing.T) {
	t.Parallel()
	strace := outside(t, "strace")
	if out, err := exec.Command(strace, "-f", "-qq", "-o", "/dev/null", "-e", "trace=fsync",
		"true").CombinedOutput(); err != nil {
		t.Skipf("strace may not trace here: %v: %s", err, out)
	}
	var forms []*regexp.Regexp
	for _, n := range ownNames {
		forms = append(forms, regexp.MustCompile(`^(?:`+n.is+`)$`))
	}
	first := newScene(t)
	seen := make([]int, len(forms))
	for _, a := range []act{actCheck, actReview, actPlan, actSealNew, actCustody, actReceive, actWithdraw, actRotate,
		actRenew, actAuditOf, actVerify, actRegister, actOpen} {
		s := first.copied(t)
		log := s.at("trace")
		args := append([]string{"-f", "-qq", "-y", "-s", "4096", "-o", log, "-e",
			"trace=open,openat,openat2,creat,rename,renameat,renameat2,unlink,unlinkat," +
				"link,linkat,mkdir,mkdirat,symlink,symlinkat,truncate,chmod,fchmodat,mknodat", s.bin}, a.args...)
		cmd := exec.Command(strace, args...)
		cmd.Dir, cmd.Stdin = s.dir, strings.NewReader(a.input)
		out, _ := cmd.CombinedOutput()
		text, err := os.ReadFile(log)
		ok(t, err)
		found := 0
		for line := range strings.Lines(string(text)) {
			call := namedCall.FindStringSubmatch(line)
			if call == nil {
				continue
			}
			for _, arg := range namedArg.FindAllStringSubmatch(call[2], -1) {
				path := arg[3]
				if !filepath.IsAbs(path) {
					base := s.dir
					if arg[2] != "" {
						base = strings.TrimSuffix(arg[2], " (deleted)")
					}
					path = filepath.Join(base, path)
				}
				rel, inside := strings.CutPrefix(filepath.Clean(path), s.dir+"/")
				if !inside || rel == "trace" {
					continue
				}
				found++
				i := slices.IndexFunc(forms, func(f *regexp.Regexp) bool { return f.MatchString(rel) })
				if i < 0 {
					t.Errorf("%s: %s is in no table\n%s", a.args[0], rel, line)
					continue
				}
				seen[i]++
				if why := followed(a, call[1], call[2], rel, arg); why != "" {
					t.Errorf("%s: %s %s\n%s", a.args[0], rel, why, line)
				}
			}
		}
		if found == 0 {
			t.Errorf("%s: the trace has no name of the scene\n%s", a.args[0], out)
		}
	}
	for i, n := range ownNames {
		if seen[i] == 0 {
			t.Logf("no command of this test touches %s", n.is)
		}
	}
}

// TestPlanted puts links, pipes, sockets and devices under every name: nothing outside is
// touched, nothing hangs, and what is refused is refused in words.
func TestPlanted(t *testing.T) {
	first := newScene(t)
	for k, n := range ownNames {
		if n.planted == "" {
			continue
		}
		for i, p := range plants {
			acts := n.by
			if !full() && (k+i)%2 == 0 { // by itself each name meets every second kind, and one command
				continue
			} else if !full() {
				acts = n.by[:1]
			}
			for _, a := range acts {
				t.Run(n.planted+"/"+p.what+"/"+a.args[0], func(t *testing.T) {
					s := first.copied(t)
					path, decoy := s.at(n.planted), s.at("decoy/file")
					ok(t, os.RemoveAll(path))
					p.put(t, path, decoy)
					before := marks(t, s.at("decoy"))
					status, out := s.run(t, a.input, a.args...)
					if after := marks(t, s.at("decoy")); after != before {
						t.Fatalf("status %d; the files outside were touched\n%s\n%s\n%s", status, before, after, out)
					}
					hard := strings.HasPrefix(p.what, "a hard link")
					if n.refused && status == 0 && !hard {
						t.Errorf("status 0\n%s", out)
					}
					// of a hard link it is the words that are wrong
					if status != 0 && !hard && !advice.MatchString(out) {
						t.Errorf("status %d, and no word of what to do\n%s", status, out)
					}
					if strings.Contains(out, decoyText) {
						t.Errorf("the words of a file outside are shown\n%s", out)
					}
				})
			}
		}
	}
}
