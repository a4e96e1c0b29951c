package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"
	"time"

	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// acknowledge checks a laboratory's receipt and records it in the log.
func acknowledge(u *ui, s *custodyOptions, col *schema.Collection, folder *keys.Folder) error {
	r, digest, err := readReceipt(u, s.receipt, folder)
	if err != nil {
		return err
	}
	j, err := openLog(u, col, folder)
	if err != nil {
		return err
	}
	defer j.Release()
	proven, err := belongs(r, j.Journal, col.Study, folder)
	if err != nil {
		return err
	}
	known := false
	for _, e := range j.Entries {
		known = known || e.What == custody.Receipt && e.Facts["receipt_sha256"] == digest
	}
	if !known {
		e := custody.Entry{When: now(), Who: operatorName(s.by), What: custody.Receipt, Shipment: r.Shipment,
			Why: "signed receipt of laboratory " + r.Laboratory, Facts: receiptFacts(r, digest, proven)}
		if err := j.Append(e); err != nil {
			return err
		}
	}
	_, givenUp := j.Of(r.Shipment, custody.GivenUp)
	stored := standing(j.Journal, r.Shipment, col.Study.ReceiptDays)
	status := exitOK
	if stored.Open() || !proven {
		status = exitResolve
	}
	doc := map[string]any{"ok": status == exitOK, "receipt": r, "recorded_before": known, "proven": proven, "given_up": givenUp, "shipment": stored}
	if err := u.result(doc, func(w io.Writer) {
		printReceipt(w, r, known, proven, stored)
		if givenUp {
			fmt.Fprintf(w, "caution: %s was given up here, and the laboratory has it all the same: agree with the laboratory whether it is used; the number is not used again\n", r.Shipment)
		}
	}); err != nil {
		return err
	}
	if status != exitOK {
		return statusError(status)
	}
	return nil
}

// standing returns what the log now says of a shipment that it knows. A receipt that was
// just read need not be the one that counts.
func standing(j *custody.Journal, number string, days int) custody.Shipment {
	for _, s := range j.Shipments(time.Now(), days) {
		if s.Shipment == number {
			return s
		}
	}
	return custody.Shipment{Shipment: number}
}

// readReceipt reads a receipt and checks its signature against the laboratories
// that this site trusts.
func readReceipt(u *ui, path string, folder *keys.Folder) (r *pack.Receipt, digest string, err error) {
	const askAgain = "ask the laboratory for a new copy of the receipt and its .sig file; this one was not recorded"
	data, err := readBounded(path, pack.MaxReceipt)
	if err != nil {
		return nil, "", err
	}
	sig, err := readBounded(path+".sig", 16<<10)
	if errors.Is(err, fs.ErrNotExist) || err != nil {
		return nil, "", usagef("put the signature, whose name ends in .sig, beside the receipt", "%s cannot be read", quoted(path+".sig"))
	}
	r, err = pack.ParseReceipt(data)
	if errors.Is(err, pack.ErrLaterReceipt) {
		return nil, "", rejectf("use that version here too; nothing was recorded", "%s %s", quoted(path), err)
	}
	if err != nil {
		return nil, "", rejectf(askAgain, "%s %s", quoted(path), err)
	}
	allowed, err := folder.Allowed()
	if err != nil {
		return nil, "", err
	}
	if err := allowed.Verify(data, sig, r.Laboratory, pack.ReceiptNamespace, time.Now()); err != nil {
		do := askAgain
		var refused *keys.SignatureError
		if errors.As(err, &refused) && refused.Reason != keys.NotSignature && refused.Reason != keys.DataChanged {
			do = signatureToDo(refused) + "; the receipt was not recorded"
		}
		return nil, "", rejectf(do, "%s is not accepted as the signature of the laboratory that the receipt names: %s", quoted(path+".sig"), err)
	}
	if fingerprint := allowed.Uncompared(sig); fingerprint != "" {
		u.say("caution: key of laboratory %s: nobody has compared this key (%s) with its owner by the twelve words: %s",
			r.Laboratory, fingerprint, compareWordsToDo)
	}
	sum := sha256.Sum256(data)
	return r, hex.EncodeToString(sum[:]), nil
}

// belongs checks that the receipt is about a shipment that left from here, is signed
// by a laboratory that it was encrypted to, and names these very bytes. It is not
// proven what a rejection speaks of whose label could not be believed.
func belongs(r *pack.Receipt, j *custody.Journal, study *schema.Study, folder *keys.Folder) (proven bool, err error) {
	var sealed []custody.Entry
	for _, e := range j.Entries {
		if e.Shipment == r.Shipment && e.What == custody.Sealed {
			sealed = append(sealed, e)
		}
	}
	switch {
	case len(sealed) == 0:
		return false, rejectf("name the collection that it was sealed from; if this is the one, entries were taken from its log: tell the privacy officer",
			"the receipt is about shipment %s, which the log of this collection does not know", r.Shipment)
	case r.Site != "" && (r.Study != study.Study || r.Site != study.Site):
		return false, rejectf("tell the laboratory by telephone; nothing was recorded", "the receipt is about a shipment of another study or site")
	case r.At.After(now().Add(24 * time.Hour)):
		return false, rejectf("compare this computer's clock with the laboratory's, and ask for a new receipt; nothing was recorded", "the receipt is dated in the future")
	case !slices.ContainsFunc(sealed, func(e custody.Entry) bool { return !r.At.Before(e.When.Add(-24 * time.Hour)) }):
		return false, rejectf("compare this computer's clock with the laboratory's, and ask the laboratory by telephone for a new receipt; nothing was recorded",
			"the receipt is dated %s, before %s was sealed", r.At.Local().Format(time.DateOnly), r.Shipment)
	}
	if r.Archive != "" {
		sealed = slices.DeleteFunc(sealed, func(e custody.Entry) bool {
			return slices.ContainsFunc(r.Parts, func(p pack.Part) bool { return e.Facts["sha256 "+p.Name] != p.SHA256 })
		})
	}
	if len(sealed) == 0 {
		return false, rejectf("ask the laboratory by telephone what it received; nothing was recorded",
			"the receipt is about another archive than the one that was sealed here as %s", r.Shipment)
	}
	_, trusted, err := folder.Public()
	if err != nil {
		return false, err
	}
	if !slices.ContainsFunc(sealed, func(e custody.Entry) bool { return encryptedTo(e, r.Laboratory, trusted) }) {
		return false, rejectf("ask both laboratories by telephone how the shipment came there; if the laboratory's key was listed without a name, give it one with keys trust FILE --name NAME",
			"the receipt is signed by %s, but %s was not encrypted to that laboratory; nothing was recorded", r.Laboratory, r.Shipment)
	}
	return r.Archive != "", nil
}

// encryptedTo reports whether the shipment that e records was encrypted to a key of
// the laboratory, by the name that the key had then or has now.
func encryptedTo(e custody.Entry, laboratory string, trusted []keys.Trusted) bool {
	for _, reader := range strings.Split(e.Facts["recipients"], ", ") {
		name, fingerprint, _ := strings.Cut(reader, " ")
		if name == laboratory || slices.ContainsFunc(trusted, func(t keys.Trusted) bool {
			return t.Kind == "recipient" && t.Name == laboratory && t.Fingerprint == fingerprint
		}) {
			return true
		}
	}
	return false
}

func receiptFacts(r *pack.Receipt, digest string, proven bool) map[string]string {
	f := map[string]string{
		"laboratory": r.Laboratory, "received_by": r.By, custody.FactReceived: r.At.Format(time.RFC3339),
		"receipt_sha256": digest, "archive_sha256": r.Archive, "remarks": fmt.Sprint(len(r.Remarks)),
	}
	if proven {
		f[custody.FactDecision] = string(r.Decision)
	} else {
		f["decision_unproven"] = string(r.Decision)
	}
	if r.Tubes != nil {
		f["tubes_matched"], f["tubes_missing"], f["tubes_unexpected"] =
			fmt.Sprint(len(r.Tubes.Matched)), fmt.Sprint(len(r.Tubes.Missing)), fmt.Sprint(len(r.Tubes.Unexpected))
	}
	return f
}

// printReceipt shows what the receipt says, and what to do about the shipment as the log
// now has it.
func printReceipt(w io.Writer, r *pack.Receipt, known, proven bool, stored custody.Shipment) {
	older := proven && r.At.Before(stored.Received)
	if older {
		fmt.Fprintf(w, "%s: an older receipt: %s\n", r.Shipment, decisionWords[r.Decision])
	} else {
		fmt.Fprintf(w, "%s: %s\n", r.Shipment, decisionWords[r.Decision])
	}
	fmt.Fprintf(w, "  signed by laboratory %s, %s, on %s\n", r.Laboratory, r.By, r.At.Local().Format("2006-01-02 15:04 -07:00"))
	for _, c := range r.Objections {
		fmt.Fprintf(w, "  NO  %s: %s\n", c.Name, c.Detail)
	}
	if d := r.Damage; d != nil && d.Salvage != nil && r.Decision == pack.Rejected {
		fmt.Fprintf(w, "  of the archive %d bytes are damaged; to be sent again: %s; whole: %s\n", d.Bytes, sendAgain(d.Salvage), count(len(d.Salvage.Whole), "session"))
	}
	if t := r.Tubes; t != nil {
		fmt.Fprintf(w, "  tubes: %d matched, %d missing, %d unexpected\n", len(t.Matched), len(t.Missing), len(t.Unexpected))
		for _, b := range t.Missing {
			fmt.Fprintf(w, "    missing: %s\n", quoted(b))
		}
		for _, b := range t.Unexpected {
			fmt.Fprintf(w, "    unexpected: %s\n", quoted(b))
		}
	} else if r.Decision != pack.Rejected {
		fmt.Fprintln(w, "  the laboratory did not compare the box with the records")
	}
	for _, text := range r.Remarks {
		fmt.Fprintf(w, "  remark: %s\n", text)
	}
	if known {
		fmt.Fprintln(w, "recorded before; nothing was added. Keep the receipt and its .sig file")
	} else {
		fmt.Fprintln(w, "recorded. Keep the receipt and its .sig file with the study's papers")
	}
	if !proven {
		fmt.Fprintln(w, "to do: the laboratory could not tell which shipment that folder is, so the state of "+r.Shipment+" is unchanged: ask by telephone what it received")
		return
	}
	if older {
		fmt.Fprintf(w, "the newer receipt of %s counts: %s is %s\n", stored.Received.Local().Format("2006-01-02 15:04"), r.Shipment, stateWords(stored))
	}
	fmt.Fprintf(w, "to do: %s\n", custodyToDo(stored))
}

// sendAgain names the sessions that are lost.
func sendAgain(s *pack.Salvage) string {
	var lost []string
	if n := len(s.Ask); n > 0 {
		lost = append(lost, fmt.Sprintf("%s (%s)", count(n, "session"), strings.Join(s.Ask, ", ")))
	}
	if s.Unnamed > 0 {
		lost = append(lost, count(s.Unnamed, "session")+" that could not be named")
	}
	if len(lost) == 0 {
		return "no session"
	}
	return strings.Join(lost, " and ")
}
