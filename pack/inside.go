package pack

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"outbreath/deid"
	"outbreath/pack/bag"
)

// archive reads the parts once: they are hashed, decrypted and taken apart at
// the same time. Whether they are the bytes that the site signed is judged
// first, whatever became of their content.
func (v *verifying) archive() (*content, error) {
	if err := v.sizes(); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(v.ctx)
	src := readParts(ctx, v.root, v.label.Parts, v.o.Progress)
	defer func() { cancel(); src.finish() }()
	var to unpackTarget
	if v.staging != nil {
		to = v.staging
	} else if v.o.Look != nil {
		to = &looking{look: v.o.Look}
	}
	c, inner := readArchive(ctx, src, v.o, v.label, to)
	fault, ok := errors.AsType[*rejection](inner)
	if inner != nil && !ok {
		return nil, inner // of the context or of the target
	}
	read, err := src.finish()
	if err != nil {
		return nil, err
	}
	var damaged []string
	for i, p := range v.label.Parts {
		if want, _ := v.sumOf(p.Name); read[i].bytes != p.Bytes || read[i].sha256 != want {
			damaged = append(damaged, p.Name)
		}
	}
	if len(damaged) > 0 {
		return nil, reject(checkArchive, "damaged or altered after the site signed it: %s (%d of %d parts); copy "+
			"the folder again from the medium, else %s",
			someNames(damaged), len(damaged), len(v.label.Parts), askForNew)
	}
	v.pass(checkArchive, "every byte of the archive is as the site signed it")
	if fault != nil {
		if fault.check != checkDecryption {
			v.decrypted()
		}
		return nil, fault
	}
	v.decrypted()
	return c, nil
}

func (v *verifying) decrypted() {
	v.pass(checkDecryption, "the archive opens with the key of this folder")
}

// sizes compares the lengths of the parts first: a copy that stopped half way
// need not be read to be known.
func (v *verifying) sizes() error {
	for _, p := range v.label.Parts {
		f, err := openRegular(v.root, p.Name)
		if err != nil {
			return err
		}
		info, err := f.Stat()
		f.Close()
		if err != nil {
			return readError(f.Name(), err)
		}
		switch n := info.Size(); {
		case n < p.Bytes:
			return reject(checkArchive, "%s has %d of %d bytes: it was not copied to the end; copy the folder "+
				"again from the medium, else %s", p.Name, n, p.Bytes, askForNew)
		case n > p.Bytes:
			return reject(checkArchive, "%s has %d bytes, and the label that the site signed says %d: one of them "+
				"is wrong; %s", p.Name, n, p.Bytes, askForNew)
		}
	}
	return nil
}

// inside judges what was found in the archive.
func (v *verifying) inside(c *content) error {
	info, err := bagInfo(v.label.Shipment, c.bytes, c.files)
	switch {
	case bag.ParseBagit(c.tags[bag.Bagit]) != nil:
		return reject(checkContents, "%s does not declare a bag of the known form: %s", bag.Bagit, askSite)
	case err != nil || !bytes.Equal(info, c.tags[bag.Info]):
		return reject(checkContents, "%s does not name this shipment and what is in it: %s", bag.Info, askSite)
	}
	v.pass(checkContents, "one bag with %d files of data, %d bytes, and nothing else", c.files, c.bytes)

	err = v.o.Allowed.Verify(c.tags[bag.TagManifest], c.tags[tagSigName], v.label.Site, bagNamespace, v.o.Now)
	if err != nil {
		return distrust(checkBag, tagSigName, v.label.Site, err)
	}
	v.pass(checkBag, "what is inside was signed by site %s too", v.label.Site)

	if v.ctx.Err() != nil { // a list may be long
		return context.Cause(v.ctx)
	}
	manifest, err := bag.ParseManifest(c.tags[bag.Manifest], true)
	if err != nil {
		return reject(checkSums, "%s cannot be read: %v: %s", bag.Manifest, err, askSite)
	}
	tagManifest, err := bag.ParseManifest(c.tags[bag.TagManifest], false)
	if err != nil {
		return reject(checkSums, "%s cannot be read: %v: %s", bag.TagManifest, err, askSite)
	}
	if v.ctx.Err() != nil {
		return context.Cause(v.ctx)
	}
	if issues := bag.CheckComplete(manifest, tagManifest, c.entries, tagSigName); len(issues) > 0 {
		return reject(checkSums, "%s: %s", someIssues(issues), askSite)
	}
	v.pass(checkSums, "all %d files have the checksums that the site signed", len(c.entries))
	digest := sha256.Sum256(c.tags[bag.TagManifest])
	v.verdict.Bag = hex.EncodeToString(digest[:])

	if fault := c.records.result(); fault != "" {
		return reject(checkRecords, "%s: %s", fault, askSite)
	}
	v.pass(checkRecords, "%s with the recordings and the list of tubes; not tested: the figures in data/%s",
		allRecords(c.records.sessions), deid.SummaryName)
	return nil
}

func someIssues(issues []bag.Issue) string {
	var b strings.Builder
	for i, issue := range issues {
		if i == 5 {
			fmt.Fprintf(&b, " and %d more", len(issues)-i)
			break
		}
		if i > 0 {
			b.WriteString("; ")
		}
		b.WriteString(issue.String())
	}
	return b.String()
}

// search judges what the second look for identifiers found.
func (v *verifying) search(again *deid.Inspection) {
	left := again.Left()
	if len(left) == 0 {
		v.pass(checkSearch, "no text has the form of an identifier, as far as can be known without the site's roster")
		return
	}
	v.verdict.Decision = Discrepancies
	at := left[0]
	v.verdict.Checks = append(v.verdict.Checks, Check{Name: checkSearch, Detail: fmt.Sprintf(
		"%d texts have the form of an identifier that nobody at the site decided to keep, the first in data/%s at "+
			"%q (class %s): "+
			"do not pass the data on; tell the site, whose privacy officer decides",
		len(left), at.File, at.Pointer, at.Class)})
}

// allRecords says what holds of n records.
func allRecords(n int) string {
	if n == 1 {
		return "the record follows its schema and agrees"
	}
	return fmt.Sprintf("all %d records follow their schema and agree", n)
}

// counted writes n things of a kind.
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}
