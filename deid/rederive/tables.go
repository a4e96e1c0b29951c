package rederive

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// A tube is one row of tubes.csv as the source gives it.
type tube struct {
	cells []string // barcode, session, position, fraction, volume_ml, storage
	open  []*opening
	first bool // to be analysed first
	from  string
	index int // in its record
}

var tubeColumns = []string{"barcode", "session", "position", "fraction", "volume_ml", "storage"}

// tubes returns the rows of tubes.csv, ordered by barcode, then by session.
func (c *Comparison) tubes() []tube {
	var all []tube
	var newest *clock
	if i := slices.IndexFunc(c.source.Fields, c.isEnd); i >= 0 && c.rules[i].kind != "drop" {
		for _, s := range c.sessions {
			if !s.leftOut && s.ends && (newest == nil || s.ended.after(*newest)) {
				newest = &s.ended
			}
		}
	}
	for _, s := range c.sessions {
		if s.leftOut {
			continue
		}
		source, err := c.record(s.file)
		if err != nil {
			continue // reported with the record
		}
		v := c.visit(s)
		made, err := c.derive(v, source, c.root, "")
		if err != nil || made == nil {
			continue
		}
		late := newest != nil && s.ends && s.ended.before(*newest, int64(c.source.HoldingDays)*86400/2)
		list := made.member("tubes")
		if list == nil {
			continue
		}
		for i, n := range list.items {
			t := tube{from: s.file, index: i}
			for _, column := range tubeColumns {
				value := n.member(column)
				switch column {
				case "session":
					value = str(v.name)
				case "fraction":
					value = made.member(column)
				}
				t.cells, t.open = append(t.cells, cell(value)), append(t.open, nil)
				if value != nil {
					t.open[len(t.open)-1] = value.open
				}
			}
			t.first = t.cells[5] == "ambient" || late
			all = append(all, t)
		}
	}
	slices.SortStableFunc(all, func(a, b tube) int {
		return cmp.Or(cmp.Compare(a.cells[0], b.cells[0]), cmp.Compare(a.cells[1], b.cells[1]))
	})
	return all
}

func cell(n *node) string {
	if n != nil && (n.kind == text || n.kind == number) {
		return n.text
	}
	return ""
}

// after reports whether c is later than o.
func (c clock) after(o clock) bool {
	return cmp.Or(cmp.Compare(c.seconds(), o.seconds()), cmp.Compare(c.nano, o.nano)) > 0
}

// before reports whether c is earlier than o by more than so many seconds.
func (c clock) before(o clock, seconds int64) bool {
	o.second -= seconds
	return o.after(c)
}

// A grid is a table as it was computed; open cells may differ as their findings allow.
type grid struct {
	rows [][]string
	open [][]*opening // nil, or one a cell
}

// table compares a table that is there with the one that was computed.
func (c *Comparison) table(path string, made grid) {
	data, ok := c.small[path]
	if !ok {
		c.mismatch(path, "", "is missing")
		return
	}
	rows, err := csvRows(data)
	if err != nil {
		c.unlike(Tables, path, "", "is not a table that can be read here", 1, int64(len(data)))
		return
	}
	var count Count
	bad := false
	for i, row := range rows {
		for k, there := range row {
			if i < len(made.rows) && k < len(made.rows[i]) && made.fits(i, k, there) {
				made.rows[i][k] = there
				count.Rederived++
				continue
			}
			count.Mismatched++
			bad = true
			c.mismatch(path, tableCell(i, k), "differs from what source, plan and key give")
		}
		if i < len(made.rows) && len(row) < len(made.rows[i]) {
			bad = true
			c.mismatch(path, tableCell(i, len(row)), "is missing")
		}
	}
	if n := len(made.rows) - len(rows); n > 0 {
		bad = true
		c.mismatch(path, "", fmt.Sprintf("lacks %d of the rows that were computed", n))
	}
	if !bad && !bytes.Equal(csvBytes(made.rows), data) {
		bad = true
		c.mismatch(path, "", "is written in another form than the tool writes: quotation marks, blanks or line ends")
	}
	t := c.sort(Tables)
	t.Values.add(count)
	if bad {
		t.Bytes.Mismatched += int64(len(data))
	} else {
		t.Bytes.Rederived += int64(len(data))
	}
}

func (g grid) fits(row, column int, there string) bool {
	if g.rows[row][column] == there {
		return true
	}
	if g.open == nil || g.open[row][column] == nil {
		return false
	}
	_, ok := g.open[row][column].leaves(there)
	return ok
}

func tableCell(row, column int) string { return fmt.Sprintf("row %d, column %d", row+1, column+1) }

func csvRows(data []byte) ([][]string, error) {
	r := csv.NewReader(bytes.NewReader(data))
	r.FieldsPerRecord = -1
	return r.ReadAll()
}

func csvBytes(rows [][]string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.WriteAll(rows)
	return b.Bytes()
}

// tables compares the tables that the records give.
func (c *Comparison) tables(tubes []tube) {
	list := grid{rows: [][]string{slices.Clone(tubeColumns)}, open: [][]*opening{make([]*opening, len(tubeColumns))}}
	first := grid{rows: [][]string{{"barcode", "analyse"}}, open: [][]*opening{{nil, nil}}}
	barcodes := map[string]bool{}
	for _, t := range tubes {
		list.rows, list.open = append(list.rows, slices.Clone(t.cells)), append(list.open, t.open)
		mark := "usual"
		if t.first {
			mark = "first"
		}
		first.rows = append(first.rows, []string{t.cells[0], mark})
		first.open = append(first.open, []*opening{t.open[0], nil})
		barcodes[t.cells[0]] = true
	}
	c.table("data/tubes.csv", list)
	c.table("data/handling.csv", first)
	if data, ok := c.small["data/discrepancies.csv"]; ok {
		c.discrepancies(data, barcodes)
	}
}

// discrepancies looks at the list of tubes on which box and records disagree. What was
// scanned and typed when the box was packed is not in the source.
func (c *Comparison) discrepancies(data []byte, barcodes map[string]bool) {
	const path = "data/discrepancies.csv"
	rows, err := csvRows(data)
	if err != nil || len(rows) < 2 || strings.Join(rows[0], ",") != "barcode,kind,reason" ||
		!bytes.Equal(csvBytes(rows), data) {
		c.unlike(Tables, path, "", "does not have the form of this table", 1, int64(len(data)))
		return
	}
	t := c.sort(Tables)
	t.Values.Rederived += 3
	bad := false
	for i, row := range rows[1:] {
		known := len(row) == 3 && barcodes[row[0]]
		switch {
		case len(row) != 3, row[1] == "unexpected" && known, (row[1] == "missing" || row[1] == "twice") && !known,
			row[1] != "unexpected" && row[1] != "missing" && row[1] != "twice":
			bad = true
			t.Values.Mismatched += int64(len(row))
			c.mismatch(path, "row "+strconv.Itoa(i+2), "does not fit the tubes of the records")
		case row[1] == "unexpected":
			t.Values.Rederived++
			t.Values.NotTested += 2
			c.cannot("barcodes of tubes that no record has, in discrepancies.csv", "they were scanned from the box", 1)
			c.cannot("reasons in discrepancies.csv", reasonWhy, 1)
		default:
			t.Values.Rederived += 2
			t.Values.NotTested++
			c.cannot("reasons in discrepancies.csv", reasonWhy, 1)
		}
	}
	if bad {
		t.Bytes.Mismatched += int64(len(data))
	} else {
		t.Bytes.NotTested += int64(len(data))
	}
}

const reasonWhy = "they were typed when the box was packed, and are not in the collection: read them"
