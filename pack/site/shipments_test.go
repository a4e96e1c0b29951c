package site

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"outbreath/pack/custody"
)

// The next number is one after all that the log and the key folder know of a site.
func TestNext(t *testing.T) {
	state := &State{Shipments: []Shipment{{Number: "WEIR-0001"}, {Number: "WEIR-0004"}, {Number: "HOLM-0020"}}}
	logOf := func(shipments ...string) (list []custody.Entry) {
		for _, s := range shipments {
			list = append(list, custody.Entry{Shipment: s})
		}
		return list
	}
	odd := []string{"07-99999", "07-abcd", "07-+999", "07-12", "107-0500", "A-07-0600", "07", "07-", "", "07-0003",
		"07-0002"}
	for _, c := range []struct {
		state   *State
		entries []custody.Entry
		site    string
		want    string
	}{
		{nil, nil, "WEIR", "WEIR-0001"}, {nil, logOf("WEIR-0007"), "WEIR", "WEIR-0008"},
		{state, nil, "WEIR", "WEIR-0005"}, {state, logOf("WEIR-0007"), "WEIR", "WEIR-0008"},
		{nil, logOf(odd...), "07", "07-0004"}, {nil, logOf(odd...), "A-07", "A-07-0601"}, {nil, logOf(odd...), "7",
			"7-0001"}, {nil, logOf("07-9998"), "07", "07-9999"},
	} {
		l := &Log{Journal: &custody.Journal{Entries: c.entries}, State: c.state}
		if got, err := l.Next(c.site); err != nil || got != c.want {
			t.Errorf("%s, %v; want %s", got, err, c.want)
		}
	}
}

// After the last number none follows, but the free ones are not lost.
func TestLastNumber(t *testing.T) {
	var all []Shipment
	for n := range lastNumber {
		all = append(all, Shipment{Number: number("WEIR", n+1)})
	}
	for _, c := range []struct {
		given []Shipment
		free  string
	}{
		{[]Shipment{{Number: "WEIR-9999"}}, "WEIR-0001"},
		{[]Shipment{{Number: "WEIR-0011"}, {Number: "WEIR-9999"}, {Number: "WEIR-0003"}}, "WEIR-0012"},
		{[]Shipment{{Number: "WEIR-0011"}, {Number: "WEIR-9998"}, {Number: "WEIR-9999"}}, "WEIR-0012"},
		{[]Shipment{{Number: "WEIR-0011"}, {Number: "WEIR-0400"}, {Number: "WEIR-9999"}}, "WEIR-0401"},
		{all, ""}, {all[1:], "WEIR-0001"}, {append([]Shipment{}, append(all[:41:41], all[42:]...)...), "WEIR-0042"},
	} {
		l := &Log{Journal: &custody.Journal{}, State: &State{Shipments: c.given}}
		got, err := l.Next("WEIR")
		if e := new(LastNumberError); got != "" || !errors.As(err, &e) || e.Free != c.free {
			t.Errorf("%d given: %q, %v; want %q to be free", len(c.given), got, err, c.free)
		}
	}
}

// A number more than 200 beyond the next one is a slip of the hand; a lower one is not.
func TestTooFar(t *testing.T) {
	l := &Log{Journal: &custody.Journal{}, State: &State{Shipments: []Shipment{{Number: "WEIR-0011"},
		{Number: "HOLM-0500"}}}}
	for n, want := range map[int]bool{1: false, 11: false, 12: false, 212: false, 213: true, 9999: true} {
		if next, far := l.TooFar("WEIR", fmt.Sprintf("WEIR-%04d", n)); far != want || next != "WEIR-0012" {
			t.Errorf("%d: %v, next %s", n, far, next)
		}
	}
}

// A log owns what it has sealed, and what a log has whose place it took.
func TestOwn(t *testing.T) {
	s := &State{Logs: []KnownLog{{ID: "a", Replaced: "b"}, {ID: "b", Replaced: "c"}, {ID: "c"},
		{ID: "x", Replaced: "y"}, {ID: "y", Replaced: "x"}}}
	for pair, want := range map[[2]string]bool{
		{"a", "c"}: true, {"b", "c"}: true, {"c", "c"}: true, {"c", "a"}: false, {"x", "c"}: false, {"z", "c"}: false,
		{"", "c"}: false, {"x", "y"}: true,
	} {
		if got := s.leads(pair[0], pair[1]); got != want {
			t.Errorf("%v: %v", pair, got)
		}
	}
	if l := (&Log{Journal: &custody.Journal{}, State: s}); l.Own(&Shipment{}) || l.Own(&Shipment{Log: "c"}) {
		t.Error("a log without entries owns a shipment")
	}
}

// Of a session that left under several pseudonyms, the last shipment counts.
func TestLastOf(t *testing.T) {
	last := map[string]Amendment{"old": {Shipment: "WEIR-0001"}, "new": {Shipment: "WEIR-0002"}}
	for _, names := range [][]string{{"old", "new"}, {"new", "old"}, {"none", "old", "new"}} {
		if a, ok := lastOf(names, last); !ok || a.Shipment != "WEIR-0002" {
			t.Errorf("%q: %+v, %v", names, a, ok)
		}
	}
	if a, ok := lastOf([]string{"none"}, last); ok {
		t.Errorf("%+v", a)
	}
}

// A making is told by its time, what was done, and its facts: by all of them.
func TestMakingIsIn(t *testing.T) {
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	m := &Making{What: custody.Sealed, When: at, Facts: map[string]string{"a": "b"}}
	same := custody.Entry{What: custody.Sealed, When: at, Facts: map[string]string{"a": "b"}}
	later, begun, other := same, same, same
	later.When, begun.What, other.Facts = at.Add(time.Second), custody.Sealing, map[string]string{"a": "c"}
	if !m.isIn(same) || m.isIn(later) || m.isIn(begun) || m.isIn(other) {
		t.Errorf("%v, %v, %v, %v", m.isIn(same), m.isIn(later), m.isIn(begun), m.isIn(other))
	}
}
