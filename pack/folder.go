package pack

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"outbreath/pack/durable"
)

// maxFolder bounds how many files of a shipment folder are looked at.
const maxFolder = maxParts + 100

// finished lists the folder, and checks that sealing and copying came to their
// end: the signature is written last.
func (v *verifying) finished() (there []fs.DirEntry, err error) {
	d, err := v.root.Open(".")
	if err != nil {
		return nil, readError(filepath.Clean(v.root.Name()), durable.Plain(v.root, err))
	}
	defer d.Close()
	there, err = d.ReadDir(maxFolder)
	if err != nil && err != io.EOF {
		return nil, readError(filepath.Clean(v.root.Name()), durable.Plain(v.root, err))
	}
	if !v.staged && strings.HasPrefix(folderName(v.root.Name()), ".outbreath-") {
		return nil, reject(checkFinished, "this is what an interrupted sealing left behind: %s", askForNew)
	}
	if len(there) == maxFolder { // what is not listed is not missing
		return nil, reject(checkFinished, "the folder holds %d files or more, and no shipment has so many: copy "+
			"the shipment's files alone from the medium into a new folder and verify that", maxFolder)
	}
	if err := renamed(there); err != nil {
		return nil, err
	}
	for _, name := range []string{sigName, sumsName} {
		if !slices.ContainsFunc(there, func(e fs.DirEntry) bool { return e.Name() == name }) {
			return nil, reject(checkFinished, "%s is missing: either this is not a shipment folder, or it was not "+
				"copied to the end; copy it again from the medium, else %s", name, askForNew)
		}
	}
	v.pass(checkFinished, "the shipment was written to its end")
	return there, nil
}

// shortName is a name that an old file system, or a driver for one, cut short.
var shortName = regexp.MustCompile(`(?i)^[^.]{1,6}~[0-9]{1,3}(\.[^.]{1,3})?$`)

// renamed refuses files whose names a copy changed: their case, or
// cut short.
func renamed(there []fs.DirEntry) error {
	has := func(name string) bool {
		return slices.ContainsFunc(there, func(e fs.DirEntry) bool { return e.Name() == name })
	}
	for _, e := range there {
		short := shortName.MatchString(e.Name())
		for _, name := range []string{sigName, sumsName, labelName, readmeName} {
			cut := short && strings.EqualFold(e.Name()[:min(4, len(e.Name()))], name[:4])
			if !has(name) && (cut || strings.EqualFold(e.Name(), name)) {
				return reject(checkFinished,
					"%s is missing, but %.40q is there: the names were changed when the folder was copied; "+
						"copy it again from the medium in a way that keeps long names and their case, else %s",
					name, e.Name(), askForNew)
			}
		}
	}
	return nil
}

// signature checks who signed the list of checksums. The label only says which
// site to look for; it is believed when its own checksum has been compared.
func (v *verifying) signature() error {
	data, err := v.small(checkSignature, labelName, maxLabel)
	if err != nil {
		return err
	}
	v.label, err = parseLabel(data)
	if errors.Is(err, errLaterLabel) {
		return reject(checkSignature, "%s %v, and verify it again; until then keep the medium as it is", labelName, err)
	}
	if err != nil {
		return reject(checkSignature, "%s, which names the site, %v: %s", labelName, err, askForNew)
	}
	sums, err := v.small(checkSignature, sumsName, maxSums)
	if err != nil {
		return err
	}
	sig, err := v.small(checkSignature, sigName, maxSig)
	if err != nil {
		return err
	}
	if err := v.o.Allowed.Verify(sums, sig, v.label.Site, shipmentNamespace, v.o.Now); err != nil {
		return distrust(checkSignature, sigName, v.label.Site, err)
	}
	if v.sums, err = parseSums(sums); err != nil {
		return reject(checkFiles, "%s %v: %s", sumsName, err, askSite)
	}
	if s, ok := v.sumOf(labelName); !ok || s != sha256.Sum256(data) {
		return reject(checkFiles, "%s was altered after the site signed it: %s", labelName, askForNew)
	}
	l := v.label
	v.verdict.Shipment, v.verdict.Study, v.verdict.Site = l.Shipment, l.Study, l.Site
	v.verdict.Sessions, v.verdict.Recordings, v.verdict.Count = l.Sessions, l.Recordings, l.Tubes
	v.verdict.Sealed = l.Sealed
	caution := ""
	if fingerprint := v.o.Allowed.Uncompared(sig); fingerprint != "" {
		v.verdict.Caution = "nobody has compared this key (" + fingerprint + ") with its owner by the twelve words"
		caution = "; but " + v.verdict.Caution
	}
	v.pass(checkSignature, "signed by site %s, whose key is trusted here%s", l.Site, caution)
	return nil
}

func (v *verifying) sumOf(name string) ([sha256.Size]byte, bool) {
	for _, s := range v.sums {
		if s.name == name {
			return s.sha256, true
		}
	}
	return [sha256.Size]byte{}, false
}

// files checks that the folder holds what was signed and nothing else. The
// archive's bytes are for archive to judge.
func (v *verifying) files(there []fs.DirEntry) error {
	want := map[string]bool{sumsName: true, sigName: true}
	for _, s := range v.sums {
		want[s.name] = true
	}
	var extra, odd, system []string
	for _, e := range there {
		switch {
		case !want[e.Name()] && leftBySystem(e, there):
			system = append(system, e.Name())
		case !want[e.Name()]:
			extra = append(extra, e.Name())
		case !e.Type().IsRegular():
			odd = append(odd, e.Name())
		}
		delete(want, e.Name())
	}
	var faults []string
	if len(want) > 0 {
		var missing []string
		for name := range want {
			missing = append(missing, name)
		}
		faults = append(faults,
			"missing: "+someNames(missing)+"; copy the folder again from the medium, else "+askForNew)
	}
	if len(odd) > 0 {
		faults = append(faults, "no plain files: "+someNames(odd)+"; "+askForNew)
	}
	if len(extra) > 0 {
		faults = append(faults, "not part of what the site signed: "+strangers(extra, want))
	}
	if len(faults) > 0 {
		return reject(checkFiles, "%s", strings.Join(faults, "; "))
	}
	data, err := v.small(checkFiles, readmeName, maxReadme)
	if err != nil {
		return err
	}
	if s, ok := v.sumOf(readmeName); !ok || s != sha256.Sum256(data) {
		return reject(checkFiles, "%s was altered after the site signed it: %s", readmeName, askForNew)
	}
	note := "; " + readmeName + " is not the text that this version writes, and was not compared: follow no " +
		"command in it"
	if usualReadme(v.label, data) {
		note = ""
	}
	if len(system) > 0 {
		v.pass(checkFiles, "all %d files are there; passed over and not read, because the system of a computer "+
			"leaves such files: %s%s",
			len(there)-len(system), someNames(system), note)
		return nil
	}
	v.pass(checkFiles, "all %d files are there and no others%s", len(there), note)
	return nil
}

// leftBySystem reports whether a computer's system left e behind: a file or a folder,
// whichever has such a name, and what a Mac keeps with a file that is there.
func leftBySystem(e fs.DirEntry, there []fs.DirEntry) bool {
	if !OfSystem(e.Name()) || !e.IsDir() && !e.Type().IsRegular() || e.IsDir() != systemFolder(e.Name()) {
		return false
	}
	of, beside := strings.CutPrefix(e.Name(), "._")
	return !beside || slices.ContainsFunc(there, func(o fs.DirEntry) bool { return o.Name() == of })
}

// strangers names the files that nobody signed, and says what to do about them.
func strangers(extra []string, missing map[string]bool) string {
	for _, name := range extra {
		for want := range missing {
			if strings.EqualFold(name, want) {
				return someNames(extra) + "; the names were changed when the folder was copied: " +
					"copy it again from the medium in a way that keeps " +
					"long names and their case, else " + askForNew
			}
		}
	}
	for _, name := range extra {
		if archiveName.MatchString(name) || repairForm.MatchString(name) {
			return someNames(extra) + "; files of another shipment, or of another sealing of this one, " +
				"were mixed in: copy each shipment from its own medium into a folder of its own, and verify that"
		}
	}
	return someNames(extra) + "; some computers add files of their own when a folder is looked at: copy the signed " +
		"files alone into a new folder and verify that, " +
		"and tell the site if you do not know where the others come from"
}

// systemNames are what systems write into any folder of a medium that is looked at,
// in lower case. Common practice, no source.
var systemNames = []string{"thumbs.db", "ehthumbs.db", "ehthumbs_vista.db", "desktop.ini", ".ds_store", ".localized",
	"system volume information", "$recycle.bin", "recycler",
	".trashes", ".spotlight-v100", ".fseventsd", ".temporaryitems", ".documentrevisions-v100", ".apdisk",
	".volumeicon.icns", ".directory", "lost+found",
	"wpsettings.dat", "indexervolumeguid"}

// systemFolder reports whether a system's own name is that of a folder.
func systemFolder(name string) bool {
	kept := []string{"system volume information", "$recycle.bin", "recycler", ".trashes", ".spotlight-v100",
		".fseventsd", ".temporaryitems", ".documentrevisions-v100", "lost+found"}
	return slices.Contains(kept, strings.ToLower(name)) || systemFolderForm.MatchString(name)
}

var systemFolderForm = regexp.MustCompile(`(?i)^(found\.[0-9]{3}|\.trash-[0-9]{1,10})$`)

var systemForm = regexp.MustCompile(`(?i)^(found\.[0-9]{3}|file[0-9]{4}\.chk|\.trash-[0-9]{1,10}|\._[^/]*)$`)

// OfSystem reports whether a system left the file or folder called name behind. It
// is neither read nor believed.
func OfSystem(name string) bool {
	return slices.Contains(systemNames, strings.ToLower(name)) || systemForm.MatchString(name)
}

// someNames lists names quoted, the first five of them.
func someNames(names []string) string {
	slices.Sort(names)
	var b bytes.Buffer
	for i, n := range names {
		if i == 5 {
			fmt.Fprintf(&b, " and %d more", len(names)-i)
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%.100q", n)
	}
	return b.String()
}

// sealedAhead is how far before the beginning of the sealing day, UTC, a clock may be that
// is right: the label has the site's own day, which begins up to 14 hours earlier.
const sealedAhead = 24 * time.Hour

// labelled checks that the label speaks about these parts.
func (v *verifying) labelled() error {
	if err := v.labelMatches(); err != nil {
		return err
	}
	note := ""
	if !v.staged && folderName(v.root.Name()) != v.label.Shipment {
		note = "; the folder was renamed, which does no harm"
		if shipmentNumber.MatchString(folderName(v.root.Name())) {
			note = "; BUT the folder bears the number of another shipment, " + folderName(v.root.Name()) +
				": go by " + v.label.Shipment +
				", and look for the other one, which this may have been taken for"
		}
	}
	if day, err := time.Parse(time.DateOnly, v.label.Sealed); err == nil && day.Sub(v.o.Now) > sealedAhead {
		note += "; CAUTION: by this computer's clock that day is still to come (it is " +
			v.o.Now.UTC().Format(time.DateOnly) + " UTC): one of the two clocks is wrong, " +
			"so correct this one, or tell the site; the last days of keys are judged by it"
	}
	for _, p := range v.label.Parts {
		digest, _ := v.sumOf(p.Name)
		v.verdict.Parts = append(v.verdict.Parts, Part{p.Name, p.Bytes, hex.EncodeToString(digest[:])})
	}
	v.verdict.Archive = ArchiveDigest(v.verdict.Parts)
	v.pass(checkLabel, "shipment %s of study %s, sealed on %s: %s, %s, %s%s", v.label.Shipment, v.label.Study,
		v.label.Sealed, counted(v.label.Sessions, "session"), counted(v.label.Recordings, "recording"),
		counted(v.label.Tubes, "tube"), note)
	return nil
}

// labelMatches reports whether label and list of checksums name the same files.
func (v *verifying) labelMatches() error {
	parts := 0
	for _, s := range v.sums {
		if archiveName.MatchString(s.name) {
			parts++
		}
	}
	for _, p := range v.label.Parts {
		if _, ok := v.sumOf(p.Name); ok {
			parts--
		}
	}
	others := 2 // READ-ME-FIRST.txt and the label
	if r := v.label.Repair; r != nil {
		others++
		if _, ok := v.sumOf(r.Name); !ok {
			parts++
		}
	}
	if parts != 0 || len(v.sums) != len(v.label.Parts)+others {
		return reject(checkLabel, "%s does not list the parts that the site signed: %s", labelName, askSite)
	}
	return nil
}

// small reads a small file of the folder whole.
func (v *verifying) small(check, name string, limit int64) ([]byte, error) {
	f, err := openRegular(v.root, name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, reject(check, "%s is missing: copy the folder again from the medium, else %s", name, askForNew)
	case errors.Is(err, errIrregular):
		return nil, reject(check, "%s is not an ordinary file: %s", name, askForNew)
	case err != nil:
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err != nil {
		return nil, readError(f.Name(), err)
	}
	if int64(len(data)) > limit {
		return nil, reject(check, "%s has more than the %d bytes that it may have: %s", name, limit, askForNew)
	}
	return data, nil
}

var errIrregular = errors.New("is not an ordinary file")

// openRegular opens a plain file of a shipment, and nothing else.
func openRegular(root *os.Root, name string) (*os.File, error) {
	f, err := durable.Open(root, name)
	if errors.As(err, new(*durable.Refusal)) {
		err = errIrregular
	}
	if err != nil {
		return nil, readError(filepath.Join(root.Name(), name), err)
	}
	return f, nil
}
