package audit

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
)

// A Row holds a subject's values of the quasi-identifiers and of the sensitive fields,
// in the order of the [Table]. A missing value is "".
type Row struct {
	Who       string // pseudonym
	Quasi     []string
	Sensitive []string
}

// A Table is the input of [Measure] and [Consider].
type Table struct {
	Quasi     []Field
	Sensitive []Field
	Rows      []Row
}

// Risk holds the figures. A class is the set of subjects who share the values of all
// quasi-identifiers. Shares and risks are between 0 and 1. For a table without rows, or
// without quasi-identifiers, no figure is computed: all are 0, and so are the thresholds.
//
// Sources: k (Sweeney 2002), l (Machanavajjhala et al. 2007), t (Li et al. 2007); the
// three attackers of El Emam (from memory).
type Risk struct {
	K        int      `json:"k"` // size of the smallest class, in subjects
	L        int      `json:"l"` // least number of distinct values of a sensitive field in a class; 0: no such field
	Records  int      `json:"records"`
	Subjects int      `json:"subjects"`
	Classes  int      `json:"classes"`
	Quasi    []string `json:"quasi_identifiers"`

	ProsecutorMax  float64 `json:"prosecutor_max"`
	ProsecutorMean float64 `json:"prosecutor_mean"`
	Marketer       float64 `json:"marketer"` // share of subjects identified correctly by matching with a list of all
	Unique         int     `json:"unique"`   // subjects alone in their class
	UniqueShare    float64 `json:"unique_share"`

	Journalist *Journalist `json:"journalist,omitempty"` // with a population table only
	Sensitive  []Diversity `json:"sensitive"`
	Sizes      []Size      `json:"sizes"`       // ordered by size
	SmallCells []Cell      `json:"small_cells"` // below [SmallCell], smallest first, at most maxSmallCells
	SmallCount int         `json:"small_cells_count"`
	ByRecord   RecordRisk  `json:"by_record"`
	Thresholds []Threshold `json:"thresholds"`
}

// SmallCell is the least size of a cell that health statistics show.
//
// Source: CMS cell size suppression policy: 1 to 10 are not shown.
const SmallCell = 11

// maxSmallCells is how many small cells are listed; all are counted.
const maxSmallCells = 10_000

// RecordRisk counts records instead of subjects, as if each were a different person.
type RecordRisk struct {
	K              int     `json:"k"`
	Classes        int     `json:"classes"`
	ProsecutorMax  float64 `json:"prosecutor_max"`
	ProsecutorMean float64 `json:"prosecutor_mean"`
}

// Diversity describes how one sensitive field varies within the classes.
type Diversity struct {
	Field    string  `json:"field"`
	L        int     `json:"l"`         // least number of distinct values in a class
	EntropyL float64 `json:"entropy_l"` // least 2^entropy of a class, entropy in bits
	T        float64 `json:"t"`         // greatest distance of a class from the whole table, 0 to 1
	Items    bool    `json:"items"`     // some values are lists, of which each item counts
	Ordered  bool    `json:"ordered"`   // T uses the order of numbers; false: all values are equally distant
}

// A Size counts the classes of one size, and the subjects in them.
type Size struct {
	Size     int `json:"size"`
	Classes  int `json:"classes"`
	Subjects int `json:"subjects"`
}

// A Cell is one small class.
type Cell struct {
	Size   int      `json:"size"`
	Values []string `json:"values"` // in the order of Risk.Quasi
	Who    []string `json:"subjects"`
}

// A Threshold is a limit that people cite, and whether the figures meet it.
type Threshold struct {
	Name  string  `json:"name"`
	Limit float64 `json:"limit"`
	Found float64 `json:"found"` // 0 if not computed
	// Kept is false also where nothing was computed: what was not measured is not kept.
	Kept     bool   `json:"kept"`
	Computed bool   `json:"computed"`
	Source   string `json:"source"`
}

// Measure computes the figures of t. people may be nil.
func Measure(t *Table, people *Population) *Risk {
	classes := t.classes()
	r := &Risk{Subjects: len(t.Rows), Classes: len(classes), Quasi: paths(t.Quasi), Sensitive: []Diversity{},
		Sizes: []Size{}, SmallCells: []Cell{}}
	if len(t.Rows) == 0 || len(t.Quasi) == 0 {
		r.Classes = 0
		r.thresholds()
		return r
	}
	sizes := map[int]*Size{}
	for _, c := range classes {
		s := sizes[len(c)]
		if s == nil {
			s = &Size{Size: len(c)}
			sizes[len(c)] = s
		}
		s.Classes++
		s.Subjects += len(c)
		if len(c) < SmallCell {
			r.SmallCount++
			r.SmallCells = append(r.SmallCells, t.cell(c))
		}
	}
	for _, s := range sizes {
		r.Sizes = append(r.Sizes, *s)
	}
	slices.SortFunc(r.Sizes, func(a, b Size) int { return cmp.Compare(a.Size, b.Size) })
	slices.SortFunc(r.SmallCells, func(a, b Cell) int {
		return cmp.Or(cmp.Compare(a.Size, b.Size), slices.Compare(a.Values, b.Values))
	})
	r.SmallCells = r.SmallCells[:min(len(r.SmallCells), maxSmallCells)]
	n := float64(len(t.Rows))
	r.K = r.Sizes[0].Size
	r.ProsecutorMax = 1 / float64(r.K)
	r.ProsecutorMean = float64(len(classes)) / n
	r.Marketer = r.ProsecutorMean // the list is the release itself
	if r.K == 1 {
		r.Unique = r.Sizes[0].Subjects
		r.UniqueShare = float64(r.Unique) / n
	}
	for i, f := range t.Sensitive {
		d := t.diversity(classes, i)
		d.Field = f.Path
		r.Sensitive = append(r.Sensitive, d)
		if r.L == 0 || d.L < r.L {
			r.L = d.L
		}
	}
	r.Journalist = people.journalist(t, classes)
	r.thresholds()
	return r
}

func paths(fields []Field) []string {
	list := []string{}
	for _, f := range fields {
		list = append(list, f.Path)
	}
	return list
}

// classes returns the indices of the rows of each class. Classes are in the order of
// their first rows.
func (t *Table) classes() [][]int {
	at := map[string]int{}
	var list [][]int
	for i, row := range t.Rows {
		key := strings.Join(row.Quasi, "\x00")
		j, ok := at[key]
		if !ok {
			j = len(list)
			at[key] = j
			list = append(list, nil)
		}
		list[j] = append(list[j], i)
	}
	return list
}

func (t *Table) cell(rows []int) Cell {
	c := Cell{Size: len(rows), Values: t.Rows[rows[0]].Quasi}
	for _, i := range rows {
		c.Who = append(c.Who, t.Rows[i].Who)
	}
	slices.Sort(c.Who)
	return c
}

// diversity measures the sensitive field with index i in the given classes.
func (t *Table) diversity(classes [][]int, i int) Diversity {
	d := Diversity{L: math.MaxInt, EntropyL: math.Inf(1), Ordered: true}
	order := map[string]int{}
	for _, row := range t.Rows {
		if _, ok := order[row.Sensitive[i]]; !ok {
			order[row.Sensitive[i]] = 0
			_, err := strconv.ParseFloat(row.Sensitive[i], 64)
			d.Ordered = d.Ordered && err == nil
		}
	}
	values := make([]string, 0, len(order))
	for v := range order {
		values = append(values, v)
	}
	slices.SortFunc(values, func(a, b string) int {
		if d.Ordered {
			x, _ := strconv.ParseFloat(a, 64)
			y, _ := strconv.ParseFloat(b, 64)
			return cmp.Compare(x, y)
		}
		return cmp.Compare(a, b)
	})
	for j, v := range values {
		order[v] = j
	}
	share := func(rows []int) []float64 {
		p := make([]float64, len(values))
		for _, r := range rows {
			p[order[t.Rows[r].Sensitive[i]]] += 1 / float64(len(rows))
		}
		return p
	}
	all := make([]int, len(t.Rows))
	for r := range all {
		all[r] = r
	}
	whole := share(all)
	distance := equalDistance
	if d.Ordered {
		distance = orderedDistance
	}
	for _, rows := range classes {
		p := share(rows)
		distinct, entropy := 0, 0.0
		for _, x := range p {
			if x > 0 {
				distinct++
				entropy -= x * math.Log2(x)
			}
		}
		d.L = min(d.L, distinct)
		d.EntropyL = min(d.EntropyL, math.Exp2(entropy))
		d.T = max(d.T, distance(p, whole))
	}
	t.diverseItems(classes, i, &d)
	return d
}

// equalDistance returns the earth mover's distance of two distributions when all values
// are equally distant.
func equalDistance(p, q []float64) float64 {
	sum := 0.0
	for i := range p {
		sum += math.Abs(p[i] - q[i])
	}
	return sum / 2
}

// orderedDistance returns the earth mover's distance of two distributions of m ordered
// values when neighbours are 1/(m-1) apart.
func orderedDistance(p, q []float64) float64 {
	if len(p) < 2 {
		return 0
	}
	sum, carried := 0.0, 0.0
	for i := range p {
		carried += p[i] - q[i]
		sum += math.Abs(carried)
	}
	return sum / float64(len(p)-1)
}

// thresholds compares the figures with limits that people cite. None is a verdict.
func (r *Risk) thresholds() {
	computed := r.K > 0
	least := func(limit float64, source string) {
		r.Thresholds = append(r.Thresholds, Threshold{"least cell", limit, float64(r.K), computed &&
			float64(r.K) >= limit,
			computed, source})
	}
	most := func(limit float64, source string) {
		r.Thresholds = append(r.Thresholds, Threshold{"greatest risk", limit, r.ProsecutorMax,
			computed && r.ProsecutorMax <= limit, computed, source})
	}
	least(11, "CMS cell size suppression policy: cells of 1 to 10 are not shown")
	least(5, "common default of health research networks")
	most(0.09, "EMA Policy 0070 guidance and Health Canada's public release of clinical information: public release")
	most(0.2, "sharing that is not public (from memory, no document at hand)")
	most(0.33, "older practice for sharing that is not public (from memory, no document at hand)")
}
