package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"time"

	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/pack/site"
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
	a, err := j.Acknowledge(r, digest, custody.Entry{When: now(), Who: operatorName(s.by)})
	if err != nil {
		return err
	}
	status := exitOK
	if a.State.Open() || !a.Proven {
		status = exitResolve
	}
	doc := map[string]any{"ok": status == exitOK, "receipt": r, "recorded_before": a.Known, "proven": a.Proven,
		"given_up": a.GivenUp, "shipment": a.State}
	if err := u.result(doc, func(w io.Writer) {
		printReceipt(w, r, a)
		if a.GivenUp {
			fmt.Fprintf(w, "caution: %s was given up here, but the laboratory has received it: agree with the "+
				"laboratory whether to use it; the number is not used again\n", r.Shipment)
		}
	}); err != nil {
		return err
	}
	if status != exitOK {
		return statusError(status)
	}
	return nil
}

// readReceipt reads the receipt at path and its signature next to it, and checks the
// signature against the laboratories that this site trusts. digest is the SHA-256 of
// the receipt's bytes, in hexadecimal.
func readReceipt(u *ui, path string, folder *keys.Folder) (r *pack.Receipt, digest string, err error) {
	const askAgain = "ask the laboratory for a new copy of the receipt and its .sig file; this one was not recorded"
	data, err := readBounded(path, pack.MaxReceipt)
	if err != nil {
		return nil, "", err
	}
	sig, err := readBounded(path+".sig", 16<<10)
	if errors.Is(err, fs.ErrNotExist) || err != nil {
		return nil, "", usagef("put the signature, whose name ends in .sig, next to "+
			"the receipt", "%s cannot be read", quoted(path+".sig"))
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
		return nil, "", rejectf(do, "%s is not accepted as the signature of the laboratory that the receipt "+
			"names: %s", quoted(path+".sig"), err)
	}
	if fingerprint := allowed.Uncompared(sig); fingerprint != "" {
		u.say("caution: key of laboratory %s: nobody has compared this key (%s) with its owner by the twelve words: %s",
			r.Laboratory, fingerprint, compareWordsToDo)
	}
	sum := sha256.Sum256(data)
	return r, hex.EncodeToString(sum[:]), nil
}

// printReceipt prints the receipt, and what to do about the shipment given its state in
// the log, in which a newer receipt may override this one.
func printReceipt(w io.Writer, r *pack.Receipt, a *site.Acknowledgement) {
	stored := a.State
	older := a.Proven && r.At.Before(stored.Received)
	if older {
		fmt.Fprintf(w, "%s: an older receipt: %s\n", r.Shipment, decisionWords[r.Decision])
	} else {
		fmt.Fprintf(w, "%s: %s\n", r.Shipment, decisionWords[r.Decision])
	}
	fmt.Fprintf(w, "  signed by laboratory %s, "+
		"%s, on %s\n", r.Laboratory, r.By, r.At.Local().Format("2006-01-02 15:04 -07:00"))
	for _, c := range r.Objections {
		fmt.Fprintf(w, "  NO  %s: %s\n", c.Name, c.Detail)
	}
	if d := r.Damage; d != nil && d.Salvage != nil && r.Decision == pack.Rejected {
		fmt.Fprintf(w, "  %d bytes of the archive are damaged; to send again: %s; "+
			"intact: %s\n", d.Bytes, sendAgain(d.Salvage), count(len(d.Salvage.Whole), "session"))
	}
	if t := r.Tubes; t != nil {
		fmt.Fprintf(w, "  tubes: %d matched, %d missing, %d "+
			"unexpected\n", len(t.Matched), len(t.Missing), len(t.Unexpected))
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
	if a.Known {
		fmt.Fprintln(w, "recorded before; nothing was added. Keep the receipt and its .sig file")
	} else {
		fmt.Fprintln(w, "recorded. Keep the receipt and its .sig file with the study's papers")
	}
	if !a.Proven {
		fmt.Fprintln(w, "to do: the laboratory could not identify the shipment in that folder, so the "+
			"state of "+r.Shipment+" is unchanged: ask by telephone what it received")
		return
	}
	if older {
		fmt.Fprintf(w, "the newer receipt of %s counts: "+
			"%s is %s\n", stored.Received.Local().Format("2006-01-02 15:04"), r.Shipment, stateWords(stored))
	}
	fmt.Fprintf(w, "to do: %s\n", custodyToDo(stored))
}

// sendAgain lists the sessions that the site has to send again.
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
