package sampler

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"

	"outbreath/schema"
)

// FuzzPropose: no head of a file breaks Propose, Look or Convert, and what Convert
// writes is a recording as the collection wants it, or refused for its digits or
// ranges alone.
func FuzzPropose(f *testing.F) {
	for _, format := range foreign {
		data := format.write()
		f.Add([]byte(data[:3000]))
	}
	f.Add([]byte("t_s,co2_kpa,pressure_pa\n0,0.1,1\n1,4.2,1\n"))
	f.Add([]byte("Start: 2026-11-30 09:10\nDOB=02/03/1951\n\n10:00:00 0.1\n10:00:01 0.2\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, questions, err := Propose("a.txt", data)
		if _, err := Look("a.txt", bytes.NewReader(data), nil); err != nil && err == io.EOF {
			t.Error(err)
		}
		if err != nil {
			if !errors.As(err, new(*Fault)) {
				t.Errorf("%T", err)
			}
			return
		}
		for i := 0; i < len(questions) && i < 20; i++ {
			q := questions[i]
			choice := "10"
			if len(q.Choices) > 0 {
				choice = q.Choices[0]
			}
			next, err := p.Answer(q, choice)
			if err != nil && len(q.Choices) > 0 { // the column is something else already
				next, err = p.Answer(q, q.Choices[len(q.Choices)-1])
			}
			if err != nil {
				t.Fatalf("an offered answer is refused: %v", err)
			}
			if next != nil {
				questions = append(questions, *next)
			}
		}
		var out strings.Builder
		if _, err := Convert(&out, bytes.NewReader(data), p, GasPressure{100, "a test"}); err != nil {
			return
		}
		check := schema.NewCSVCheck("a.csv", schema.DefaultColumns(), 5)
		check.Write([]byte(out.String()))
		check.Close()
		if problems := check.Problems(); len(problems) > 0 {
			t.Fatalf("%+v", problems[0])
		}
	})
}

// FuzzConvert: no profile, as log-settings.json may hold it, and no table break
// Convert.
func FuzzConvert(f *testing.F) {
	f.Add([]byte(`{"separator":";","decimal":",","columns":[{"heading":"Zeit","number":1,"is":"time","unit":"s"},`+
		`{"heading":"CO2","number":2,"is":"co2","unit":"%"}],"gas":"dry","missing":["-9"]}`),
		[]byte("Zeit;CO2\n0;1\n1;-9\n"))
	f.Add([]byte(`{"separator":" ","decimal":".","skip":1,"columns":[{"number":2,"is":"clock"},{"number":1,"is":"date"},`+
		`{"number":4,"is":"pressure","unit":"mbar"}],"hz":2}`), []byte("x\n1.2.2026 10:00:00 1 2\n1.2.2026 10:00:00 3 4\n"))
	f.Fuzz(func(t *testing.T, profile, data []byte) {
		var p Profile
		if json.Unmarshal(profile, &p) != nil {
			return
		}
		var out strings.Builder
		if _, err := Convert(&out, bytes.NewReader(data), p, GasPressure{100, "a test"}); err != nil {
			return
		}
		check := schema.NewCSVCheck("a.csv", schema.DefaultColumns(), 5)
		check.Write([]byte(out.String()))
		check.Close()
		if problems := check.Problems(); len(problems) > 0 {
			t.Fatalf("%+v", problems[0])
		}
	})
}
