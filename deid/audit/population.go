package audit

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// A Population is a table of how many people share values of quasi-identifiers.
type Population struct {
	columns []string // the last name of a field's path, for example "sex"
	rows    [][]string
	counts  []int64
}

const (
	maxPopulationBytes = 64 << 20
	maxPopulationRows  = 1_000_000
)

// ParsePopulation parses a CSV table with a header row. It has columns named like the
// last part of a field's path, with values in treated form ("45-49"), and a column
// "count". The error names the line, and holds no value.
func ParsePopulation(data []byte) (*Population, error) {
	if len(data) > maxPopulationBytes {
		return nil, errors.New("the population table is larger than 64 MiB; keep only the columns that are needed, " +
			"and add up the counts")
	}
	in := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
	header, err := in.Read()
	if err != nil {
		return nil, errors.New("the population table has no header row; name its columns, for example " +
			"sex,postal_code,count")
	}
	for i := range header {
		header[i] = strings.TrimSpace(strings.ToLower(header[i]))
	}
	at := slices.Index(header, "count")
	if at < 0 || len(header) < 2 {
		return nil, errors.New("the population table needs a column count and at least one column named like a " +
			"field, for example sex,count")
	}
	for i, name := range header {
		if slices.Contains(header[:i], name) {
			return nil, fmt.Errorf("the population table names column %d twice; remove one", i+1)
		}
	}
	p := &Population{columns: slices.Delete(slices.Clone(header), at, at+1)}
	for line := 2; ; line++ {
		row, err := in.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("line %d of the population table cannot be read; it needs as many values as the "+
				"header", line)
		}
		if len(p.rows) == maxPopulationRows {
			return nil, errors.New("the population table has more than 1,000,000 rows; add up the counts of rows " +
				"that share their values")
		}
		n, err := strconv.ParseInt(strings.TrimSpace(row[at]), 10, 64)
		if err != nil || n < 0 || n > 1e10 {
			return nil, fmt.Errorf("line %d of the population table: count is not a whole number from 0 to "+
				"10,000,000,000", line)
		}
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
		}
		p.rows = append(p.rows, slices.Delete(slices.Clone(row), at, at+1))
		p.counts = append(p.counts, n)
	}
	if len(p.rows) == 0 {
		return nil, errors.New("the population table has no row below its header")
	}
	return p, nil
}

// Journalist is the risk from an attacker who knows only that the subject belongs to
// the population. For J classes of n subjects in all, with f the subjects of a class and
// F the people of the population who share its values: max = 1/min F;
// mean = max(J / sum F, (1/n) sum f/F); marketer = (1/n) sum f/F.
//
// Source: El Emam's attackers (from memory).
type Journalist struct {
	Max      float64  `json:"max"`
	Mean     float64  `json:"mean"`
	Marketer float64  `json:"marketer"`
	Columns  []string `json:"columns"` // paths of the fields that the table has a column for
	// Raised counts the classes for which the table has fewer people than subjects; F is
	// then raised to f.
	Raised int `json:"raised"`
}

// journalist computes the risk of t with classes as rows. It returns nil without a
// population, and if none of its columns is a quasi-identifier of t.
func (p *Population) journalist(t *Table, classes [][]int) *Journalist {
	if p == nil || len(t.Rows) == 0 {
		return nil
	}
	j := &Journalist{}
	var own, theirs []int
	for i, f := range t.Quasi {
		if c := slices.Index(p.columns, f.Path[strings.LastIndexByte(f.Path, '/')+1:]); c >= 0 {
			own, theirs = append(own, i), append(theirs, c)
			j.Columns = append(j.Columns, f.Path)
		}
	}
	if len(own) == 0 {
		return nil
	}
	key := func(row []string, at []int) string {
		var b strings.Builder
		for _, i := range at {
			b.WriteString(row[i] + "\x00")
		}
		return b.String()
	}
	people := map[string]int64{}
	for i, row := range p.rows {
		people[key(row, theirs)] += p.counts[i]
	}
	least, sumF, sum := int64(0), 0.0, 0.0
	for _, rows := range classes {
		f := int64(len(rows))
		F := people[key(t.Rows[rows[0]].Quasi, own)]
		if F < f {
			F = f
			j.Raised++
		}
		if least == 0 || F < least {
			least = F
		}
		sumF += float64(F)
		sum += float64(f) / float64(F)
	}
	j.Max = 1 / float64(least)
	j.Marketer = sum / float64(len(t.Rows))
	j.Mean = max(float64(len(classes))/sumF, j.Marketer)
	return j
}
