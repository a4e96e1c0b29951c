package schema

import (
	"strconv"
	"testing"
)

// Every leaf of a plan is in its outline, in its order, with the plan's own row.
func TestOutlineHasEveryField(t *testing.T) {
	for _, name := range Builtin() {
		p, err := LoadPlan(name)
		if err != nil {
			t.Fatal(err)
		}
		var paths []string
		var walk func(o *Outline)
		walk = func(o *Outline) {
			if p.Outline().Find(o.Path) == nil {
				t.Errorf("%q is not found by its path", o.Path)
			}
			if o.Leaf != nil {
				paths = append(paths, o.Path)
				if f, _ := p.Field(o.Path); f.Why != o.Leaf.Why || f.Why == "" {
					t.Errorf("%s: not the plan's row", o.Path)
				}
			}
			for _, m := range o.Members {
				walk(m)
			}
			if o.Items != nil {
				walk(o.Items)
			}
		}
		walk(p.Outline())
		if len(paths) != len(p.Fields) || len(paths) < 25 {
			t.Fatalf("%s: %d leaves, the plan has %d", name, len(paths), len(p.Fields))
		}
		for i, f := range p.Fields {
			if paths[i] != f.Path {
				t.Errorf("%s: leaf %d is %s, want %s", name, i, paths[i], f.Path)
			}
		}
	}
}

// A record that is taken apart into its values and built again is the same.
func TestOutlineBuildsTheRecord(t *testing.T) {
	p, err := LoadPlan("shifted")
	if err != nil {
		t.Fatal(err)
	}
	want := parse(t, validRecord)
	values := map[string]*Node{}
	want.Walk(func(at Place, n *Node) bool {
		if n.Kind != Object && n.Kind != Array {
			values[at.Pointer()] = n
		}
		return true
	})
	values["/no/such/field"] = &Node{Kind: Bool, Text: "true"}
	got := p.Outline().Record(values)
	if problems := p.Validate("r", got); len(problems) > 0 {
		t.Errorf("%+v", problems)
	}
	if len(values) < 20 || !equal(parse(t, string(got.Encode())), got) {
		t.Fatal("nothing was compared")
	}
	for pointer, n := range values {
		if at := got.At(pointer); pointer != "/no/such/field" && (at == nil || at.Text != n.Text) {
			t.Errorf("%s is lost", pointer)
		}
	}
	if got.Member("no") != nil {
		t.Error("a value that no schema has is in the record")
	}
	// Lists that the schema requires are there without entries, others are not.
	empty := p.Outline().Record(nil)
	if n := empty.Member("recordings"); n == nil || len(n.Items) != 0 || empty.Member("interruptions") != nil {
		t.Errorf("%s", empty.Encode())
	}
	// A gap in a list stays visible.
	gap := p.Outline().Record(map[string]*Node{"/tubes/2/barcode": {Kind: String, Text: "x"}})
	if n := gap.Member("tubes"); len(n.Items) != 3 || n.Items[1].Kind != Null {
		t.Errorf("%s", gap.Encode())
	}
}

func TestOutlineOfAlternatives(t *testing.T) {
	root := parse(t, `{"type":"object","additionalProperties":false,"required":["a"],"properties":{
		"a":{"oneOf":[
			{"type":"object","additionalProperties":false,"required":["k","x"],"properties":{
				"k":{"const":"one","deid":"keep"},
				"x":{"type":"number","minimum":1,"maximum":9,"deid":"keep"}}},
			{"type":"object","additionalProperties":false,"required":["k"],"properties":{
				"k":{"const":"two","deid":"keep"},
				"y":{"type":"string","pattern":"^a$","minLength":1,"deid":"keep"}}}]}}}`)
	s, err := shapeOf(root, true)
	if err != nil {
		t.Fatal(err)
	}
	o := &Outline{}
	s.outline(o)
	k, x, y := o.Find("/a/k"), o.Find("/a/x"), o.Find("/a/y")
	if k == nil || x == nil || y == nil || o.Find("/a/z") != nil || o.Find("/a/*") != nil {
		t.Fatal("fields are missing")
	}
	if len(k.Leaf.Listed) != 2 || !k.Required || x.Required || y.Required || x.Leaf.Minimum != "1" ||
		x.Leaf.Maximum != "9" ||
		len(y.Leaf.Patterns) != 1 || strconv.Itoa(y.Leaf.MinLength) != "1" {
		t.Errorf("%+v %+v %+v", k.Leaf, x.Leaf, y.Leaf)
	}
}
