package schema

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"outbreath/schema/breath"

	"pgregory.net/rapid"
)

const csvHead = "t_s,co2_kpa,pressure_pa\n"

// checkCSV runs a check over text, given in pieces of step bytes.
func checkCSV(text string, columns []Column, step int) *CSVCheck {
	c := NewCSVCheck("recordings/a.csv", columns, 100)
	for b := []byte(text); len(b) > 0; {
		n := min(step, len(b))
		c.Write(b[:n])
		b = b[n:]
	}
	c.Close()
	return c
}

// exact are the contract's columns for numbers of any number of digits.
func exact() []Column {
	columns := DefaultColumns()
	for i := range columns {
		columns[i].Digits = maxCell
	}
	return columns
}

// More digits than a sensor has are enough for somebody's number.
func TestCSVDigits(t *testing.T) {
	for cell, ok := range map[string]bool{
		"4.123456": true, "-0.4123456": true, "0.0001234567": true, "0000000004.25": true, "1.234567e-3": true,
		"0.00000": true, "10.00000": true,
		"4.1234567": true, "4.12345678": true, "4.123456789": false, "0.0000000304189231": true,
		"0.00000030418923123": false,
		"1.23456789e-3":       true, "1.234567891e-3": false, "1.23456780e-3": true, "-0.4123456789": false,
		"-0.41234567800000": true, "10.000000": true, "4.850000000": true,
		"3.4028235e-02": true, "13.400001": true, "0.000000000": true, "5.0699999332": false, "1e-005": true,
		"0.1234567891234567890000": false, "0.1234567890000000000000": true, "4.12345678000000000000": true,
		"0.0000000000000000000000000001": true,
	} {
		for _, step := range []int{1, 1 << 20} {
			c := checkCSV(csvHead+"0,4.25,0\n0.1,"+cell+",0\n", DefaultColumns(), step)
			if got := len(c.Problems()) == 0; got != ok || !ok && c.Problems()[0].Rule != "recording.csv.digits" {
				t.Errorf("%s: %v", cell, c.Problems())
			}
		}
	}
	if c := checkCSV(csvHead+"86399.9999,0,0\n", DefaultColumns(), 1); len(c.Problems()) > 0 {
		t.Error(c.Problems())
	}
	if c := checkCSV(csvHead+"3600.000001,0,0\n", DefaultColumns(), 1); len(c.Problems()) != 1 {
		t.Error("a time of ten digits passes")
	}
	for _, cell := range []string{"1e-030418923", "0e30418923"} {
		if c := checkCSV(csvHead+"0,"+cell+",0\n", DefaultColumns(), 1); len(c.Problems()) != 1 ||
			c.Problems()[0].Rule != "recording.csv.number" {
			t.Errorf("%s: %v", cell, c.Problems())
		}
	}
	pressure := csvHead
	for i, cell := range []string{"1013.250000", "-1013.2500", "12345.6787", "4.50000000"} {
		pressure += fmt.Sprintf("%d,,%s\n", i, cell)
	}
	if c := checkCSV(pressure, DefaultColumns(), 1); len(c.Problems()) > 0 {
		t.Error(c.Problems())
	}
	for _, digits := range []int{3, 4, 9} {
		c := checkCSV("a\n1.234\n12.34567\n", []Column{{Name: "a", Max: 99, Digits: digits}}, 1)
		if want := map[int]int{3: 2, 4: 1, 9: 0}[digits]; len(c.Problems()) != want {
			t.Errorf("%d digits: %v", digits, c.Problems())
		}
	}
}

func TestCSVAccepted(t *testing.T) {
	for name, tt := range map[string]struct {
		text string
		rows int
	}{
		"plain":             {"0,0,0\n0.01,4.5,-12.3\n", 2},
		"CRLF":              {"0,0,0\r\n0.01,4.5,-12.3\r\n", 2},
		"no final line end": {"0,0,0\n0.01,4.5,-12.3", 2},
		"dropped samples":   {"0,,\n1,NaN,\n2,,NaN", 3},
		"signs, exponents":  {"+0,+.5,-5e4\n1E-2,-1.0e0,5.0E+4\n", 2},
		"limits":            {"0,-1,-50000\n86400,15,50000.000\n", 2},
		"tiny steps":        {"0.0000000000000000000000000001,0,0\n0.0000000000000000000000000002,0,0\n", 2},
		"32 bytes":          {"0,15." + strings.Repeat("0", 29) + ",0\n", 1},
		"huge exponents":    {"0,1e-999,0e999\n", 1},
	} {
		for _, step := range []int{1, 2, 3, 7, 1 << 20} {
			c := checkCSV(csvHead+tt.text, exact(), step)
			if len(c.Problems()) > 0 || c.Rows() != tt.rows {
				t.Errorf("%s in pieces of %d: %d rows, want %d; problems %v", name, step, c.Rows(), tt.rows,
					c.Problems())
			}
		}
	}
}

func TestCSVRefused(t *testing.T) {
	const long = "000000000000000000000000000000000" // 33 bytes
	for name, tt := range map[string]struct {
		text string
		want []string // rule without its prefix, line and column
		rows int
	}{
		"no bytes":                {"", []string{"empty 1:1"}, 0},
		"header alone":            {csvHead, []string{"empty 2:1"}, 0},
		"header without line end": {"t_s,co2_kpa,pressure_pa", []string{"empty 2:1"}, 0},
		"cut header":              {"t_s,co2", []string{"header 1:8"}, 0},
		"no header":               {"0,0,0\n1,1,1\n", []string{"header 1:1"}, 0},
		"other order":             {"t_s,pressure_pa,co2_kpa\n0,0,0\n", []string{"header 1:5"}, 0},
		"one column more":         {"t_s,co2_kpa,pressure_pa,name\n0,0,0,x\n", []string{"header 1:24"}, 0},
		"quoted header":           {"\"t_s\",\"co2_kpa\",\"pressure_pa\"\n", []string{"header 1:1"}, 0},
		"space in header":         {"t_s, co2_kpa,pressure_pa\n", []string{"header 1:5"}, 0},
		"byte order mark": {"\xEF\xBB\xBF" + csvHead + "0,0,0\n1,x,0\n",
			[]string{"bom 1:1", "text 3:3"}, 1},
		"UTF-16": {"\xFF\xFEt\x00_\x00s\x00", []string{"bom 1:1"}, 0},
		"semicolons": {"t_s;co2_kpa;pressure_pa\n0.0;1.0;2.0\n0.1;1;2\n",
			[]string{"separator 1:4"}, 0},
		"semicolons in rows": {csvHead + "0.0;1;2\n0.1;1;2\n0.2,x,0\n",
			[]string{"separator 2:4", "text 4:5"}, 0},
		"tabs": {"t_s\tco2_kpa\tpressure_pa\n", []string{"separator 1:4"}, 0},
		"semicolons and commas": {"t_s;co2_kpa;pressure_pa\n0,0;1,0;2,0\n0,1;1,1;2,1\n",
			[]string{"separator 1:4", "decimal-comma 2:3"}, 0},
		"decimal commas": {csvHead + "0,01,4,35,1,20\n0,02,4,36,1,20\n", []string{"decimal-comma 2:8"},
			0},
		"comment before": {"# who and when\n" + csvHead + "0,0,0\n", []string{"comment 1:1"}, 1},
		"comment among rows": {csvHead + "0,0,0\n# cough\n1,0,0\n// x\n%\n",
			[]string{"comment 3:1", "comment 5:1", "comment 6:1"}, 2},
		"CR alone": {csvHead + "0,0,0\r1,0,0\n2,0,0\n3,0,0\r4,4,4\n5,0,0\n",
			[]string{"line-end 2:6"}, 2},
		"CR alone after header": {"t_s,co2_kpa,pressure_pa\r0,0,0\r", []string{"line-end 1:24"}, 0},
		"CR alone at the end":   {csvHead + "0,0,0\r", []string{"line-end 2:6"}, 0},
		"CR CR LF":              {csvHead + "0,0,0\r\r\n1,0,0\n", []string{"line-end 2:6"}, 1},
		"blank line":            {csvHead + "0,0,0\n\n1,0,0\n\r\n", []string{"empty 3:1", "empty 5:1"}, 2},
		"few cells":             {csvHead + "0,0\n1,0,0\n2\n", []string{"columns 2:4", "columns 4:2"}, 1},
		"many cells": {csvHead + "0,0,0,0\n1,0,0,\n2,0,0,Ada\n3,0,0\n",
			[]string{"columns 2:7", "columns 3:7", "columns 4:7"}, 1},
		"text": {csvHead + "0,Ada,0\nx,0,0\n1,0,4.5kPa\n2,nan,0\n3,Inf,0\n4,\"4\",0\n5,0,\xC3\xA9\n6,NaNs,0\n7,0,e5\n",
			[]string{"text 2:3", "text 3:1", "text 4:5", "text 5:3", "text 6:3", "text 7:3", "text 8:5", "text 9:3",
				"text 10:5"}, 0},
		"numbers": {csvHead + "0,1.2.3,0\n1,--1,0\n2,1-,0\n3,1e,0\n4,1., 0\n5,-,0\n6, " +
			"1,0\n7,1 ,0\n8,.,0\n9,1e5.0,0\n10,+NaN,0\n11,0,1e+\n",
			[]string{"number 2:3", "number 3:3", "number 4:3", "number 5:3", "number 6:3", "number 7:3",
				"number 8:3", "number 9:3", "number 10:3", "number 11:3", "text 12:4", "number 13:6"}, 0},
		"33 bytes":              {csvHead + "0," + long + ",0\n", []string{"number 2:3"}, 0},
		"hexadecimal, grouping": {csvHead + "0,0x1,0\n1,1_0,0\n", []string{"text 2:3", "text 3:3"}, 0},
		"range": {csvHead +
			"-0.1,0,0\n0,15.0000000000000000000000001,0\n1,0,-50000.000000000000000001\n2,1.5000001e1,0\n86400.01,0,0\n3,-1.000000000000001,0\n",
			[]string{"range 2:1", "range 3:3", "range 4:5", "range 5:3", "range 6:1", "range 7:3"}, 0},
		"not rising": {csvHead + "0,0,0\n0,0,0\n1,0,0\n1.0,0,0\n0.5,0,0\n100e-2,0,0\n2,0,0\n",
			[]string{"rising 3:1", "rising 5:1", "rising 6:1", "rising 7:1"}, 3},
		"rising at the 28th digit": {csvHead +
			"1.0000000000000000000000000002,0,0\n1.0000000000000000000000000001,0,0\n", []string{"rising 3:1"}, 1},
		"no time":                      {csvHead + "NaN,0,0\n,0,0\n", []string{"rising 2:1", "rising 3:1"}, 0},
		"zero byte":                    {csvHead + "0,0,0\n\x001,0,0\n", []string{"text 3:1"}, 1},
		"last line cut":                {csvHead + "0,0,0\n1,0", []string{"columns 3:4"}, 1},
		"last line a comment, no line": {csvHead + "0,0,0\n#", []string{"comment 3:1"}, 1},
	} {
		for _, step := range []int{1, 2, 5, 1 << 20} {
			c := checkCSV(tt.text, exact(), step)
			var got []string
			for _, p := range c.Problems() {
				rule, ok := strings.CutPrefix(p.Rule, "recording.csv.")
				if !ok || p.Severity != Error || p.File != "recordings/a.csv" || p.Message == "" ||
					strings.ContainsAny(p.Message, "{}") {
					t.Errorf("%s: bad problem %+v", name, p)
				}
				got = append(got, fmt.Sprintf("%s %d:%d", rule, p.Line, p.Column))
			}
			if strings.Join(got, ", ") != strings.Join(tt.want, ", ") || c.Rows() != tt.rows {
				t.Errorf("%s in pieces of %d: %d rows, %v\nwant %d rows, %v", name, step, c.Rows(), got, tt.rows,
					tt.want)
			}
		}
	}
}

// The messages come from the columns, never from the file.
func TestCSVMessageIsWithoutContent(t *testing.T) {
	c := checkCSV(csvHead+"0,99.875,0\n1,Hollis Quandt,0\n", DefaultColumns(), 1<<20)
	for _, p := range c.Problems() {
		if strings.Contains(p.Message, "99") || strings.Contains(p.Message, "Hollis") {
			t.Errorf("the message quotes the file: %s", p.Message)
		}
	}
	if len(c.Problems()) != 2 || !strings.HasPrefix(c.Problems()[0].Message, "co2_kpa is outside -1 to 15; ") {
		t.Errorf("got %v", c.Problems())
	}
}

func TestCSVKeepsAtMostMaxProblems(t *testing.T) {
	c := NewCSVCheck("a.csv", DefaultColumns(), 3)
	c.Write([]byte(csvHead + strings.Repeat("x\n", 50)))
	c.Close()
	if len(c.Problems()) != 3 || c.Count() != 50 {
		t.Errorf("%d problems kept, %d counted; want 3 and 50", len(c.Problems()), c.Count())
	}
}

// strictRow is the grammar again, as a regular expression.
var strictCell = regexp.MustCompile(`^[+-]?([0-9]+(\.[0-9]+)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?$`)

// acceptable is an independent reader: lines, cells, one regular expression and
// rational numbers. It returns the number of rows, or false.
func acceptable(text string, columns []Column) (int, bool) {
	lines := strings.Split(text, "\n")
	if lines[len(lines)-1] == "" {
		lines = lines[:len(lines)-1]
	}
	var names []string
	for _, c := range columns {
		names = append(names, c.Name)
	}
	last := make([]*big.Rat, len(columns))
	for i, l := range lines {
		if i < len(lines)-1 || strings.HasSuffix(text, "\n") {
			l = strings.TrimSuffix(l, "\r")
		}
		if i == 0 {
			if l != strings.Join(names, ",") {
				return 0, false
			}
			continue
		}
		cells := strings.Split(l, ",")
		if l == "" || len(cells) != len(columns) {
			return 0, false
		}
		for k, cell := range cells {
			if len(cell) > 32 {
				return 0, false
			}
			if cell == "" || cell == "NaN" {
				if columns[k].Rising {
					return 0, false
				}
				continue
			}
			if !strictCell.MatchString(cell) {
				return 0, false
			}
			mantissa, _, _ := strings.Cut(strings.ToLower(cell), "e")
			most := columns[k].Digits
			if most == 0 {
				most = 9
			}
			if strings.Contains(mantissa, ".") {
				mantissa = strings.TrimRight(mantissa, "0")
			}
			if len(strings.ReplaceAll(strings.TrimLeft(mantissa, "+-0."), ".", "")) > most {
				return 0, false
			}
			if at := strings.IndexAny(cell, "eE"); at >= 0 {
				if e, err := strconv.Atoi(cell[at+1:]); err != nil || e < -5000 || e > 5000 {
					// spare big.Rat
					cell = cell[:at] + map[bool]string{true: "e-5000", false: "e5000"}[cell[at+1] == '-']
				}
			}
			v, ok := new(big.Rat).SetString(cell)
			if !ok {
				return 0, false
			}
			if lo := columns[k].Min; !math.IsInf(lo, 0) && v.Cmp(rat(lo)) < 0 {
				return 0, false
			}
			if hi := columns[k].Max; !math.IsInf(hi, 0) && v.Cmp(rat(hi)) > 0 {
				return 0, false
			}
			if columns[k].Rising {
				if last[k] != nil && v.Cmp(last[k]) <= 0 {
					return 0, false
				}
				last[k] = v
			}
		}
	}
	return len(lines) - 1, len(lines) > 1
}

func rat(f float64) *big.Rat {
	r, _ := new(big.Rat).SetString(strconv.FormatFloat(f, 'g', -1, 64))
	return r
}

// eachOfCSV is checkCSV, and gathers the numbers of the good rows.
func eachOfCSV(text string, columns []Column, step int) (*CSVCheck, []float64) {
	var got []float64
	c := NewCSVCheck("recordings/a.csv", columns, 100)
	c.Each = func(row []float64) { got = append(got, row...) }
	for p := []byte(text); len(p) > 0; p = p[min(len(p), step):] {
		c.Write(p[:min(len(p), step)])
	}
	c.Close()
	return c, got
}

// numbersOf reads the numbers of a recording that is acceptable.
func numbersOf(text string) (out []float64) {
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	for _, l := range lines[1:] {
		for _, cell := range strings.Split(strings.TrimSuffix(l, "\r"), ",") {
			f, err := strconv.ParseFloat(cell, 64)
			if errors.Is(err, strconv.ErrSyntax) {
				f = math.NaN() // an empty cell
			}
			out = append(out, f)
		}
	}
	return out
}

func sameNumber(a, b float64) bool {
	return math.Float64bits(a) == math.Float64bits(b) || math.IsNaN(a) && math.IsNaN(b)
}

// agree compares the check with the independent reader, whole and byte by byte.
func agree(t interface {
	Fatalf(string, ...any)
}, text string, columns []Column) bool {
	rows, ok := acceptable(text, columns)
	for _, step := range []int{1, 5, 1 << 20} {
		c, got := eachOfCSV(text, columns, step)
		if ok && !slices.EqualFunc(got, numbersOf(text), sameNumber) {
			t.Fatalf("in pieces of %d Each gave %v of\n%q", step, got, text)
		}
		if passed := len(c.Problems()) == 0; passed != ok || passed && c.Rows() != rows || passed != (c.Count() == 0) {
			t.Fatalf("in pieces of %d passed = %v with %d rows, the independent reader says %v with %d\n%q\n%v",
				step, passed, c.Rows(), ok, rows, text, c.Problems())
		}
	}
	return ok
}

var oddColumns = [][]Column{
	DefaultColumns(),
	{{Name: "x", Min: math.Inf(-1), Max: math.Inf(1), Digits: maxCell}},
	{{Name: "a", Min: 0.3, Max: 0.7, Rising: true, Digits: maxCell},
		{Name: "b", Min: -1e-30, Max: 1e25, Digits: maxCell}},
	{{Name: "a", Min: -0.1, Max: 123456789.12345678, Digits: maxCell},
		{Name: "b", Min: math.Inf(-1), Max: 5e-324, Rising: true}},
}

func TestCSVAgreesWithIndependentReader(t *testing.T) {
	passed := 0
	digits := rapid.StringMatching(`[0-9]{0,3}`)
	rapid.Check(t, func(t *rapid.T) {
		columns := rapid.SampledFrom(oddColumns).Draw(t, "columns")
		limits := []string{""}
		var names []string
		for _, c := range columns {
			limits = append(limits, strconv.FormatFloat(c.Min, 'g', -1, 64), strconv.FormatFloat(c.Max, 'g', -1, 64),
				strconv.FormatFloat(c.Max, 'f', -1, 64)+".0")
			names = append(names, c.Name)
		}
		number := rapid.Custom(func(t *rapid.T) string {
			switch rapid.IntRange(0, 60).Draw(t, "kind") {
			case 0:
				return rapid.SampledFrom([]string{"", "NaN", "nan", "1.", ".", "-", "1e", "-0", "0x1", "+1", "1 ",
					"Ada", "1\r", "#", ";"}).Draw(t, "odd")
			case 1:
				return rapid.SampledFrom(limits).Draw(t, "limit")
			case 2:
				return rapid.StringMatching(`[+-]?[0-9]{0,20}\.[0-9]{1,20}`).Draw(t, "long")
			case 3:
				return rapid.StringMatching(`-?[0-9]\.?[0-9]{0,3}[eE][+-]?[0-9]{1,2}`).Draw(t, "exponent")
			case 4:
				return rapid.SampledFrom(limits).Draw(t, "limit") + digits.Draw(t, "more")
			}
			return fmt.Sprintf("0.%d%s", rapid.IntRange(30, 70).Draw(t, "hundredths"), digits.Draw(t, "places"))
		})
		text := strings.Join(names, ",") + rapid.SampledFrom([]string{"\n", "\r\n", "\n", "\r\n", "\n", "\r",
			""}).Draw(t, "end")
		for range rapid.SampledFrom([]int{0, 1, 1, 1, 1, 2, 2, 3}).Draw(t, "rows") {
			n := len(columns) + rapid.SampledFrom([]int{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, -1}).Draw(t, "more")
			for k := range n {
				if k > 0 {
					text += ","
				}
				text += number.Draw(t, "cell")
			}
			text += rapid.SampledFrom([]string{"\n", "\r\n", "\n", "\r\n", "\n", "\n", "\n", "\r\n", "",
				"\n\n"}).Draw(t, "end")
		}
		if agree(t, text, columns) {
			passed++
		}
	})
	t.Logf("%d recordings were accepted", passed)
	if passed < 5 {
		t.Errorf("only %d recordings were accepted: the test shows nothing", passed)
	}
}

func FuzzCSVCheck(f *testing.F) {
	f.Add(csvHead+"0,0,0\r\n0.5,NaN,-1e3\n1,,", byte(0))
	f.Add("x\n1e308\n-.5\nNaN\n", byte(1))
	f.Add("a,b\n0.3,1\n0.30000000000000001,10000000000000000000000000\n0.7,-1e-30", byte(2))
	f.Add("a,b\n123456789.12345678,0\n-0.10,5e-324\n", byte(3))
	f.Add(csvHead+"0,01;4,35;1,2\n#\n\r", byte(0))
	f.Fuzz(func(t *testing.T, text string, which byte) {
		agree(t, text, oddColumns[int(which)%len(oddColumns)])
	})
}

// RESP.csv and rtpeaks.csv were written by others (peakdet, see SOURCES.md).
func TestCSVOfOthers(t *testing.T) {
	dir := "../../shared/external/csv/peakdet"
	b, err := os.ReadFile(filepath.Join(dir, "RESP.csv"))
	if err != nil {
		t.Skip("the recordings of other projects (shared/external/csv) are not here")
	}
	c := checkCSV("resp\n"+string(b), []Column{{Name: "resp", Min: -1e6, Max: 1e6}}, 4096)
	if len(c.Problems()) > 0 || c.Rows() != 24_000 { // 24,000 integers, says SOURCES.md
		t.Errorf("%d rows, problems %v", c.Rows(), c.Problems())
	}
	b, err = os.ReadFile(filepath.Join(dir, "rtpeaks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if c := checkCSV(string(b), DefaultColumns(), 4096); len(c.Problems()) == 0 {
		t.Error("a recording with other columns was accepted")
	}
}

// traceCSV is a recording like those of the sites: 100 rows a second.
func traceCSV(rows int) []byte {
	var b bytes.Buffer
	b.WriteString(csvHead)
	for i := range rows {
		fmt.Fprintf(&b, "%.4f,%.6f,%.5f\n", float64(i)/100, 2.5+2.5*math.Sin(float64(i)/30), 90*math.Cos(float64(i)/30))
	}
	return b.Bytes()
}

// meter is what a caller hangs on a check.
func meter() func(row []float64) {
	m := breath.NewMeter()
	return func(row []float64) { m.Add(row[0], row[1]) }
}

func TestCSVDoesNotAllocate(t *testing.T) {
	good := traceCSV(1000)[len(csvHead):]
	for name, body := range map[string][]byte{
		"good":    good,
		"unusual": bytes.ReplaceAll(good, []byte("\n"), []byte("e-0\r\n")),
		"long":    bytes.ReplaceAll(good, []byte("\n"), []byte("0000000000000001\n")),
		"bad":     bytes.ReplaceAll(good, []byte("\n"), []byte("x\n")),
	} {
		for _, each := range []func([]float64){nil, meter()} {
			var checks []*CSVCheck
			for range 2 { // AllocsPerRun runs once before it measures
				c := NewCSVCheck("a.csv", DefaultColumns(), 1)
				c.Write([]byte(csvHead + "0,0,x\n"))
				c.Each = each
				checks = append(checks, c)
			}
			n := testing.AllocsPerRun(1, func() { checks[0].Write(body); checks = checks[1:] })
			if n != 0 {
				t.Errorf("%s, Each set %t: %v allocations", name, each != nil, n)
			}
		}
	}
}

// A dropped sample is NaN, and a bad row is nobody's.
func TestCSVEach(t *testing.T) {
	_, got := eachOfCSV(csvHead+
		"0,4.25,-0\n0.5,x,1\n1,,NaN\n1,2,3\n2,1e-3,0.10,\n+3,.5,1E2\r\n4,123456789012345678901e-20,7", exact(), 1<<20)
	nan := math.NaN()
	want := []float64{0, 4.25, math.Copysign(0, -1), 1, nan, nan, 3, 0.5, 100, 4, 1.23456789012345678901, 7}
	if !slices.EqualFunc(got, want, sameNumber) {
		t.Errorf("%v", got)
	}
}

func BenchmarkCSVCheck(b *testing.B) {
	text := traceCSV(72_000)
	for _, hook := range []struct {
		name string
		each func() func([]float64)
	}{
		{"alone", func() func([]float64) { return nil }},
		{"meter", meter},
	} {
		b.Run(hook.name, func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			b.ReportAllocs()
			for b.Loop() {
				c := NewCSVCheck("a.csv", DefaultColumns(), 10)
				c.Each = hook.each()
				for p := text; len(p) > 0; p = p[min(len(p), 1<<16):] {
					c.Write(p[:min(len(p), 1<<16)])
				}
				c.Close()
				if len(c.Problems()) > 0 || c.Rows() != 72_000 {
					b.Fatal(c.Problems())
				}
			}
		})
	}
}
