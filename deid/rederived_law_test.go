package deid

import (
	"bytes"
	"crypto/sha256"
	"strings"
	"testing"
	"testing/fstest"

	"outbreath/deid/rederive"
	"outbreath/keys"
	"outbreath/schema"

	"pgregory.net/rapid"
)

// Any record under any plan leaves as package rederive computes it from the description,
// byte for byte, and so does the schema for the laboratory.
func TestRederivedLaw(t *testing.T) {
	whole := 0 // schemas that were computed to the last byte
	rapid.Check(t, func(t *rapid.T) {
		m := &planMaker{T: t, kept: make(map[string]bool)}
		more, record := "", coreRecord
		for range m.int("fields", 1, 4) {
			f := m.member(0)
			more += `,"` + f.name + `":` + f.schema
			if m.yes("present") {
				record += `,"` + f.name + `":` + f.value()
			}
		}
		more += `},"$defs":{` + strings.Join(m.defs, ",")
		plan, key := planWith(t, more), keys.NewPseudonymKey(sha256.Sum256([]byte("a law")))
		s := session("{" + record + "}")
		tr, err := newTreater(plan, nil, NewPseudonymiser(key, "LARK-2"))
		if err != nil {
			t.Fatal(err)
		}
		tr.firstOf([]*schema.Session{s})
		v, err := tr.visit(s)
		if err != nil {
			t.Fatal(err)
		}
		out := tr.record(v)
		if out == nil {
			t.Fatal(v.faults)
		}
		c, err := rederive.New(t.Context(), rederive.Source{
			Folder: fstest.MapFS{"sessions/1.json": {Data: []byte("{" + record + "}")}},
			Study:  "LARK-2", Site: "WEIR", Plan: "plan.json", Fields: plan.Fields, Schema: planText(more),
			Keys: [][32]byte{key.Bytes()}})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range []struct {
			name string
			data []byte
		}{{"session.schema.json", plan.Outgoing()}, {"sessions/" + v.name + ".json", out.Encode()}} {
			if err := c.File("data/"+f.name, nil, bytes.NewReader(f.data)); err != nil {
				t.Fatal(err)
			}
		}
		r := c.Result()
		for _, x := range r.Mismatches {
			if strings.HasPrefix(x.File, "data/session") {
				t.Errorf("%+v\nplan %s\nrecord %s\nleaves %s\nschema %s", x, more, record, out.Encode(),
					plan.Outgoing())
			}
		}
		if r.Sessions != 1 {
			t.Error("the record was not compared")
		}
		for _, sort := range r.Sorts {
			if sort.Name == rederive.PlanSchema && sort.Values.Rederived > 0 {
				whole++
			}
		}
	})
	if whole == 0 {
		t.Error("no schema was computed")
	}
}
