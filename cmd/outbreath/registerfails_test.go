package main

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"outbreath/pack"
)

// TestRegisterFails: a register that fails once everything was verified does not take the
// verdict away from the screen; the status is the register's, and no receipt is written.
func TestRegisterFails(t *testing.T) {
	j := newJob(t, smallDemo)
	j.seal(t)
	for _, asJSON := range []bool{false, true} {
		var out, errOut strings.Builder
		u := newUI(strings.NewReader(""), &out, &errOut)
		u.json = asJSON
		s := &verifyOptions{receipt: j.at("receipt.json"), register: registerOptions{address: j.at("intake.db"), station: "bench-1"}}
		v, err := newVerifier(u, &options{keysDir: j.lab}, s, 1)
		if err != nil {
			t.Fatal(err)
		}
		if v.register, err = openRegister(t.Context(), u, &s.register); err != nil {
			t.Fatal(err)
		}
		if err := v.register.Close(); err != nil { // as if the server went away meanwhile
			t.Fatal(err)
		}
		c := &cobra.Command{}
		c.SetContext(t.Context())
		err = v.run(c, []string{j.shipment}, "")
		if got := exitStatus(err); got != exitIO || !strings.Contains(toDo(err), "what was entered counts once") {
			t.Errorf("exit status %d: %v; %s", got, err, toDo(err))
		}
		if _, err := os.Stat(j.at("receipt.json")); err == nil {
			t.Error("a receipt was written")
		}
		if !strings.Contains(errOut.String(), "no receipt was written: it waits until the register has the verdict") {
			t.Errorf("said %s", errOut.String())
		}
		if !asJSON {
			if text := out.String(); !strings.Contains(text, "WEIR-0001: accepted") || !strings.Contains(text, "ok  search") || !strings.Contains(text, "NO  register") {
				t.Errorf("printed %s", text)
			}
			continue
		}
		var doc intake
		if err := json.Unmarshal([]byte(out.String()), &doc); err != nil || len(doc.Shipments) != 1 {
			t.Fatal(err, out.String())
		}
		last := doc.Shipments[0].Checks[len(doc.Shipments[0].Checks)-1]
		if doc.OK || doc.Shipments[0].Decision != pack.Accepted || last.Name != checkRegister || last.OK || doc.Error == "" || doc.ToDo == "" {
			t.Errorf("printed %s", out.String())
		}
	}
	must(t, "verify", j.shipment, "--register", j.at("intake.db"), "--receipt", j.at("receipt.json"), "--keys", j.lab)
}
