package edf

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// The first case is the example of EDF+ 2.1.3; the others vary it.
func TestAbout(t *testing.T) {
	for _, test := range []struct {
		patient, recording string
		want               About
	}{
		{"MCH-0234567 F 02-MAY-1951 Haagse_Harry", "Startdate 02-MAR-2002 PSG-1234/2002 NN Telemetry03",
			About{"MCH-0234567", "female", "1951-05-02", "Haagse Harry", "PSG-1234/2002", "NN", "Telemetry03"}},
		{"X X X X", "Startdate X X X X", About{}},
		{"X M X Harry more", "Startdate 02-MAR-2002 X X T3", About{Sex: "male", Name: "Harry", With: "T3"}},
		{"7 F 31-FEB-1951 A", "", About{Code: "7", Name: "7 F 31-FEB-1951 A"}},
		{"Harry", "of no form", About{Code: "Harry", Name: "Harry"}},
		{"", "", About{}},
	} {
		h := &Header{Patient: test.patient, Recording: test.recording}
		if diff := cmp.Diff(test.want, h.About()); diff != "" {
			t.Errorf("%q, %q:\n%s", test.patient, test.recording, diff)
		}
	}
}

func TestStart(t *testing.T) {
	h := &Header{Recording: "Startdate 02-MAR-2002 X X X", StartDate: "02.03.02", StartTime: "23.05.09"}
	if at, ok := h.Start(); !ok || !at.Equal(time.Date(2002, 3, 2, 23, 5, 9, 0, time.UTC)) {
		t.Errorf("%v %v", at, ok)
	}
	for _, h := range []*Header{
		{Recording: "Startdate X X X X", StartDate: "02.03.02", StartTime: "23.05.09"},
		{Recording: "Startdate 02-MAR-2002 X X X", StartDate: "02.03.02", StartTime: "24.05.09"},
		{},
	} {
		if at, ok := h.Start(); ok {
			t.Errorf("%+v began at %v", h, at)
		}
	}
}
