package audit

import (
	"os"
	"slices"
	"testing"

	"outbreath/deid"
	"outbreath/deid/reach"
	"outbreath/schema"
	"outbreath/schema/demo"

	"pgregory.net/rapid"
)

// The lattice counts as Measure does: k and l of any table, lists included.
func TestLatticeCountsAsMeasure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tab := &Table{Quasi: []Field{{"/a", "keep", "quasi"}, {"/b", "keep", "quasi"}},
			Sensitive: []Field{{"/s", "keep", "sensitive"}}}
		var secret []string
		for range rapid.IntRange(1, 30).Draw(t, "subjects") {
			s := rapid.SampledFrom([]string{"x", "y", "z", "x / y", "y / z", ""}).Draw(t, "secret")
			secret = append(secret, s)
			tab.Rows = append(tab.Rows, Row{Sensitive: []string{s}, Quasi: []string{
				rapid.SampledFrom([]string{"1", "2"}).Draw(t, "a"), rapid.SampledFrom([]string{"1", "2"}).Draw(t,
					"b")}})
		}
		lattice := tab.lattice()
		lattice.Sensitive = [][]string{secret}
		got, want := reach.Search(lattice, reach.Target{}, 0), Measure(tab, nil)
		if got.K != want.K || got.L != want.L || got.Loss != 0 {
			t.Fatalf("the lattice has k %d, l %d; measured k %d, l %d", got.K, got.L, want.K, want.L)
		}
	})
}

// The classes of every level of every field are those of the records when they are treated by the
// plan that has this level: for each built-in plan, on records of people who come again.
func TestLevelsAreWhatLeaves(t *testing.T) {
	dir := t.TempDir()
	if _, err := demo.Write(dir, demo.Options{Seed: 5, Subjects: 16, Sessions: 24, RecordingSeconds: 1,
		SampleHz: 1}); err != nil {
		t.Fatal(err)
	}
	tried := 0
	for _, name := range schema.Builtin() {
		study, err := os.ReadFile(dir + "/study.json")
		if err != nil {
			t.Fatal(err)
		}
		n, err := schema.ParseJSON(study)
		if err != nil {
			t.Fatal(err)
		}
		n.Member("plan").Text = name
		if err := os.WriteFile(dir+"/study.json", n.Encode(), 0o600); err != nil {
			t.Fatal(err)
		}
		c, err := schema.Load(dir)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Root.Close()
		lattice := latticeOf(t, c)
		for i, a := range lattice.Axes {
			for l := range a.Levels {
				levels, changes := make([]int, len(lattice.Axes)), map[string]schema.Retreatment{}
				for j, other := range lattice.Axes { // dropped, or else all would be alone
					levels[j] = len(other.Levels) - 1
				}
				levels[i] = l
				for j, k := range levels {
					axis := lattice.Axes[j]
					changes[axis.Field.Path] = schema.Retreatment{Treatment: axis.Levels[k].Treatment, Why: "Test."}
				}
				want, _ := lattice.Sizes(levels)
				slices.Sort(want)
				if got := sizesUnder(t, c, changes); !slices.Equal(got, want) {
					t.Errorf("%s, %s: %s: classes of %v, the lattice has %v", name, a.Field.Path, a.Levels[l].Treatment,
						got, want)
				}
				tried++
			}
		}
	}
	if t.Logf("%d levels", tried); tried < 30 {
		t.Error("too few levels")
	}
}

func latticeOf(t *testing.T, c *schema.Collection) *reach.Table {
	t.Helper()
	d, err := deid.Treat(c, nil)
	if err != nil {
		t.Fatal(err)
	}
	in := &Input{}
	o, err := OfCollection(c, d, nil, nil, nil, in, nil)
	if err != nil {
		t.Fatal(err)
	}
	lattice, _ := o.Lattice(in, c.Plan)
	return lattice
}

// sizesUnder treats c by its plan with some fields changed, and returns the sizes of the classes.
func sizesUnder(t *testing.T, c *schema.Collection, changes map[string]schema.Retreatment) []int {
	t.Helper()
	data, err := c.Plan.Amended("p.json", changes)
	if err != nil {
		t.Fatal(err)
	}
	with := *c
	if with.Plan, err = schema.ParsePlan("p.json", data); err != nil {
		t.Fatal(err)
	}
	d, err := deid.Treat(&with, nil)
	if err != nil {
		t.Fatal(err)
	}
	o, err := OfCollection(&with, d, nil, nil, nil, &Input{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	var sizes []int
	for _, rows := range o.Table(fieldsOf(with.Plan)).classes() {
		sizes = append(sizes, len(rows))
	}
	slices.Sort(sizes)
	return sizes
}
