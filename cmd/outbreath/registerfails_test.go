package main

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"outbreath/pack"
	"outbreath/pack/intake"
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
		s := &verifyOptions{receipt: j.at("receipt.json")}
		s.register = registerOptions{address: j.at("intake.db"), station: "bench-1"}
		job, err := s.job(u, &options{keysDir: j.lab}, 1)
		if err != nil {
			t.Fatal(err)
		}
		if job.Register, err = openRegister(t.Context(), u, &s.register); err != nil {
			t.Fatal(err)
		}
		if err := job.Register.Close(); err != nil { // as if the server went away meanwhile
			t.Fatal(err)
		}
		c := &cobra.Command{}
		c.SetContext(t.Context())
		err = s.show(c, u, job, []string{j.shipment})
		if got := exitStatus(err); got != exitIO || !strings.Contains(toDo(err), "what was entered counts once") {
			t.Errorf("exit status %d: %v; %s", got, err, toDo(err))
		}
		if _, err := os.Stat(j.at("receipt.json")); err == nil {
			t.Error("a receipt was written")
		}
		if !strings.Contains(errOut.String(), "no receipt was written, because the register has not") {
			t.Errorf("said %s", errOut.String())
		}
		if !asJSON {
			for _, want := range []string{"WEIR-0001: accepted", "ok  search", "NO  register"} {
				if !strings.Contains(out.String(), want) {
					t.Errorf("not %q: printed %s", want, out.String())
				}
			}
			continue
		}
		var doc verifyResult
		if err := json.Unmarshal([]byte(out.String()), &doc); err != nil || len(doc.Shipments) != 1 {
			t.Fatal(err, out.String())
		}
		last := doc.Shipments[0].Checks[len(doc.Shipments[0].Checks)-1]
		if doc.OK || doc.Error == "" || doc.ToDo == "" || doc.Shipments[0].Decision != pack.Accepted {
			t.Errorf("printed %s", out.String())
		}
		if last.Name != intake.CheckRegister || last.OK {
			t.Errorf("printed %s", out.String())
		}
	}
	must(t, "verify", j.shipment, "--register", j.at("intake.db"), "--receipt", j.at("receipt.json"), "--keys", j.lab)
}
