package demo

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"outbreath/schema/edf"
)

// marks are what the operator typed on the recorder: second and text.
var marks = []struct {
	second int
	text   string
}{
	{2, "start"}, {61, "tube 1 open"}, {128, "swallowed"}, {205, "tube changed"}, {300, "cough"},
	{341, "tube 2 closed"},
}

// annotationBytes leaves space for one more annotation in every data record.
const annotationBytes = 160

// writeEDF writes the curve as EDF+C, a data record a second. The header names
// the subject, as recorders do: replacing that is what the tool is for.
func writeEDF(path string, c *curve, r *Recording, s *Session, person map[string]string) error {
	h := &edf.Header{
		Patient:        edfPatient(person),
		Recording:      "Startdate " + edfDate(s.Started) + " " + s.ID + " " + s.Operator + " " + s.Sampler,
		StartDate:      s.Started.Format("02.01.06"),
		StartTime:      s.Started.Format("15.04.05"),
		Reserved:       "EDF+C",
		Records:        r.Seconds,
		RecordDuration: "1",
		Signals: []edf.Signal{
			{Label: "CO2", Transducer: "infrared cell", Dimension: "kPa", PhysMin: "-327.68", PhysMax: "327.67",
				Prefilter: "LP:8Hz"},
			{Label: "Pressure mouth", Transducer: "silicon bridge", Dimension: "Pa", PhysMin: "-3276.8",
				PhysMax: "3276.7", Prefilter: "LP:8Hz"},
			{Label: edf.AnnotationLabel, PhysMin: "-1", PhysMax: "1"},
		},
	}
	for i := range h.Signals {
		h.Signals[i].DigMin, h.Signals[i].DigMax = "-32768", "32767"
		h.Signals[i].Samples = r.Hz
	}
	h.Signals[2].Samples = annotationBytes / 2

	data := make([][]byte, r.Seconds)
	for second := range data {
		b := make([]byte, 4*r.Hz, h.RecordSize())
		for k := range r.Hz {
			co2, pressure := c.sample()
			binary.LittleEndian.PutUint16(b[2*k:], uint16(int16(co2)))
			binary.LittleEndian.PutUint16(b[2*(r.Hz+k):], uint16(int16(pressure)))
		}
		onset := fmt.Sprintf("+%d", second)
		tals := []edf.TAL{edf.NewTAL(onset, "", "")}
		for _, m := range marks {
			if m.second == second {
				tals = append(tals, edf.NewTAL(onset, "", m.text))
				r.Annotations = append(r.Annotations, m.text)
			}
		}
		a, err := edf.EncodeTALs(annotationBytes, tals...)
		if err != nil {
			return err
		}
		data[second] = append(b, a...)
	}
	c.finish(r)

	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(f)
	return errors.Join(edf.Write(w, h, data), w.Flush(), f.Close())
}

// edfPatient is the local patient identification (EDF+ 2.1.3): hospital code,
// sex, birth date, name; X for what is unknown. The header takes ASCII only, so
// the name is the one in the mail address.
func edfPatient(person map[string]string) string {
	sex := "X"
	switch person["sex"] {
	case "female":
		sex = "F"
	case "male":
		sex = "M"
	}
	name, _, _ := strings.Cut(person["email"], "@")
	if name == "" {
		name = "X"
	}
	birth, _ := time.Parse(time.DateOnly, person["birth_date"])
	return fmt.Sprintf("%s %s %s %s", strings.ReplaceAll(person["mrn"], " ", "_"), sex, edfDate(birth),
		strings.ReplaceAll(name, ".", "_"))
}

func edfDate(t time.Time) string { return strings.ToUpper(t.Format("02-Jan-2006")) }
