package site

import (
	"testing"

	"outbreath/pack/custody"
)

// The next number is one after all that the log and the key folder know of a site.
func TestNext(t *testing.T) {
	state := &State{Shipments: []Shipment{{Number: "WEIR-0001"}, {Number: "WEIR-0004"}, {Number: "HOLM-0020"}}}
	here := []custody.Entry{{What: custody.Sealed, Shipment: "WEIR-0007"}}
	for _, c := range []struct {
		state   *State
		entries []custody.Entry
		want    string
	}{
		{nil, nil, "WEIR-0001"}, {nil, here, "WEIR-0008"}, {state, nil, "WEIR-0005"}, {state, here, "WEIR-0008"},
	} {
		l := &Log{Journal: &custody.Journal{Entries: c.entries}, State: c.state}
		if got, err := l.Next("WEIR"); err != nil || got != c.want {
			t.Errorf("%s, %v; want %s", got, err, c.want)
		}
	}
	l := &Log{Journal: &custody.Journal{}, State: &State{Shipments: []Shipment{{Number: "WEIR-9999"}}}}
	if got, err := l.Next("WEIR"); err == nil {
		t.Errorf("after the last number: %s", got)
	}
}
