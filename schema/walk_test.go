package schema

import (
	"fmt"
	"testing"
)

// Walk comes by every value once, and names the place at which At finds it.
func TestWalk(t *testing.T) {
	root, err := ParseJSON([]byte(`{"a":[[1,2],{"b~/c":[3]}],"d":{"e":null},"f":[]}`))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	root.Walk(func(at Place, n *Node) bool {
		got = append(got, at.Path)
		if root.At(at.Pointer()) != n {
			t.Errorf("%s (%v) is another value", at.Pointer(), at.Index)
		}
		return at.Path != "/d"
	})
	want := "[ /a /a/* /a/*/* /a/*/* /a/* /a/*/b~0~1c /a/*/b~0~1c/* /d /f]"
	if fmt.Sprint(got) != want {
		t.Errorf("%v, want %v", got, want)
	}
}

// A field name of a million bytes is not written out once for each value below it.
func TestWorkLongName(t *testing.T) {
	p, err := LoadPlan("shifted")
	if err != nil {
		t.Fatal(err)
	}
	n := &Node{Kind: Array}
	for range 2_000 {
		n.Items = append(n.Items, &Node{Kind: Null})
	}
	record := &Node{Kind: Object, Members: []Member{{string(make([]byte, 1<<20)), n}}}
	if bytes := testing.Benchmark(func(b *testing.B) {
		b.ReportAllocs()
		for range b.N {
			p.records.Work(record)
		}
	}).AllocedBytesPerOp(); bytes > 8<<20 {
		t.Errorf("%d bytes are made on the way", bytes)
	}
}
