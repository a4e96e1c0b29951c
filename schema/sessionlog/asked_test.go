package sessionlog

import (
	"strings"
	"testing"
)

// oneColumn is a log in which one column is put in; the rest is plain.
func oneColumn(heading string, values ...string) string {
	var b strings.Builder
	b.WriteString("session id;operator;subject id;birth date;sex;date;start;end;outcome;fraction;sampler;barcode " +
		"A;uncapped A;" +
		"capped A;volume A;storage A;" + heading + "\n")
	for i, v := range values {
		n := string(rune('1' + i))
		b.WriteString("V-" + n + ";op-1;W-0" + n + ";1970-01-31;f;2026-03-0" + n +
			";09:00;09:10;complete;end-tidal;S-7;T-" + n +
			";09:01;09:02;500;fridge;" + v + "\n")
	}
	return b.String()
}

// replaced is the same with the values of a column of its own replaced.
func replaced(heading string, values ...string) string {
	lines := strings.Split(strings.TrimSpace(oneColumn("x", make([]string, len(values))...)), "\n")
	head := strings.Split(lines[0], ";")
	for j, h := range head {
		if h != heading {
			continue
		}
		for i, v := range values {
			cells := strings.Split(lines[i+1], ";")
			cells[j] = v
			lines[i+1] = strings.Join(cells, ";")
		}
	}
	return strings.Join(lines, "\n") + "\n"
}

// TestAsked: what a cell can mean in two ways is asked, what it cannot mean at all is a
// problem that names it, and what it means is taken. Each case says which.
func TestAsked(t *testing.T) {
	for _, c := range []struct {
		name, log string
		doubt     string // kind of the one doubt, "" for none
		problem   string // in the one problem; "" for none
		want      string // in the records
	}{
		{"a thirteen settles the order", replaced("date", "13/03/2026", "04/03/2026"), "", "", `2026-03-04T09:00:00`},
		{"a thirteen behind settles the order", replaced("date", "03/13/2026", "03/04/2026"), "", "",
			`2026-03-04T09:00:00`},
		{"nothing settles the order", replaced("date", "02/03/2026", "04/03/2026"), "dates", "", ""},
		{"points settle nothing", replaced("date", "02.03.2026"), "dates", "", ""},
		{"the same in both orders", replaced("date", "03/03/2026"), "", "", `2026-03-03T09:00:00`},
		{"two orders in a column", replaced("date", "13/03/2026", "03/14/2026", "05/03/2026"), "", "two orders", ""},
		{"another column settles it", strings.ReplaceAll(replaced("date", "02.03.2026"), "1970-01-31",
			"31.01.1970"), "", "",
			`2026-03-02T09:00:00`},
		{"a weekday settles it", replaced("date", "Mon 02/03/2026"), "", "", `2026-03-02T09:00:00`},
		{"a weekday that is wrong", replaced("date", "Tue 2026-03-02"), "", "cannot be read", ""},
		{"no such day", replaced("date", "30/02/2026"), "", "cannot be read", ""},
		{"a decimal comma", oneColumn("weight", "68,5"), "", "", `"weight_kg": 68.5`},
		{"limits settle thousands", oneColumn("weight", "68,500"), "", "", `"weight_kg": 68.5`},
		{"a comma that may part thousands", replaced("volume A", "1,234"), "decimals", "", ""},
		{"one that cannot settles the others", replaced("volume A", "1,234", "12,5"), "", "", `"volume_ml": 1.234`},
		{"another column's comma settles no thousands",
			strings.ReplaceAll(oneColumn("weight", "68,5"), ";500;", ";1,234;"),
			"decimals", "", ""},
		{"both signs in a column", replaced("volume A", "12.5", "12,5", "1,234"), "", "decimal sign", ""},
		{"both signs, each certain", replaced("volume A", "12.5", "12,5"), "", "", `"volume_ml": 12.5`},
		{"thousands do not begin with a zero", oneColumn("flow start A", "0,310"), "", "", `"flow_start_ml_min": 0.31`},
		{"apostrophe and point", replaced("volume A", "1'234.5"), "", "", `"volume_ml": 1234.5`},
		{"a unit that is another's", replaced("volume A", "500 kPa"), "", "not a unit of this field", ""},
		{"a unit that is converted", replaced("volume A", "0,5 l"), "", "", `"volume_ml": 500`},
		{"about", replaced("volume A", "ca. 500"), "", "no plain number", ""},
		{"less than", replaced("volume A", "<500"), "", "no plain number", ""},
		{"an exponent", replaced("volume A", "5E+02"), "", "no plain number", ""},
		{"a minus of a word processor", oneColumn("temperature", "−3,5"), "", "", `"room_c": -3.5`},
		{"beyond the plan's limits", oneColumn("height", "1.75"), "", "height_cm must be at least 30", ""},
		{"a barcode cut by a spreadsheet", replaced("barcode A", "4.74E+10"), "", "cut this number", ""},
		{"a barcode with an E", replaced("barcode A", "12E4"), "", "", `"barcode": "12E4"`},
		{"zeros lost in one row", replaced("barcode A", "0041", "42"), "zeros", "", `"0041"`},
		{"a position that became a month", replaced("barcode A", "01-Mar", "T-2"), "month", "", ""},
		{"a date of six digits", replaced("date", "020326"), "", "cannot be read", ""},
		{"a date of eight digits, day first", replaced("date", "02032026"), "", "cannot be read", ""},
		{"feet and inches", oneColumn("height", "5'10"), "", "not a unit of this field", ""},
		{"metres with the m between", oneColumn("height", "1m75"), "", "not a unit of this field", ""},
		{"a range", replaced("volume A", "450-500"), "", "not a unit of this field", ""},
		{"an hour alone", replaced("start", "9"), "", "cannot be read", ""},
		{"an hour with its word", replaced("start", "9 Uhr"), "", "", "T09:00:00"},
		{"a time typed as a date", replaced("start", "09.10.2026"), "dates", "", ""},
		{"an unknown word", replaced("storage A", "cupboard"), "word", "", ""},
		{"capitals of a listed word", replaced("outcome", "Timed out"), "", "", `"timed-out"`},
		{"a time that lost its zero", replaced("start", "910"), "", "", `T09:10:00`},
		{"a time as a decimal number", replaced("start", "9.1"), "hours", "", ""},
		{"a time with a point", replaced("start", "9.10"), "", "", `T09:10:00`},
		{"a time as a part of a day", replaced("start", "0.375"), "", "", `T09:00:00`},
		{"no such time", replaced("start", "9:75"), "", "cannot be read", ""},
		{"half of the day", replaced("start", "08:50 am"), "", "", `T08:50:00`},
		{"a time with its zone", replaced("start", "2026-03-01T08:50:00Z"), "", "", `"2026-03-01T08:50:00Z"`},
		{"the clock goes forward", strings.NewReplacer("2026-03-01", "2026-03-29", "09:0", "02:0", "09:1",
			"03:1").Replace(
			replaced("date", "2026-03-01")), "", "went forward", ""},
		{"the clock goes back", strings.NewReplacer("2026-03-01", "2025-10-26", "09:0", "02:0", "09:1",
			"03:1").Replace(
			replaced("date", "2026-03-01")), "twice", "", ""},
		{"an unknown heading", oneColumn("shoe size", "44"), "column", "", ""},
		{"an unknown heading without values", oneColumn("shoe size", ""), "", "", `"V-1"`},
		{"two headings of one field", oneColumn("tube barcode A", "T-9"), "column", "", ""},
		{"no session number", replaced("session id", ""), "", "no column gives", ""},
		{"two rows of one session", replaced("session id", "V-1", "v1"), "", "differs from what", ""},
		{"a missing operator", replaced("operator", "op-1", ""), "", "operator is missing", ""},
		{"an error of a spreadsheet", replaced("operator", "#N/A"), "", "error instead of a value", ""},
		{"a word for nothing that may be a value", replaced("operator", "n/a"), "nothing", "", ""},
		{"a sex that may be two", replaced("sex", "H", "M"), "word", "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := inputs(t)
			r := Read(csvLog(t, [2]string{"log.csv", c.log}), in, nil)
			kinds := map[string]bool{}
			for _, d := range r.Doubts {
				kind, _, _ := strings.Cut(d.ID, "-")
				kinds[kind] = true
				if d.Where == "" || d.Question == "" || len(d.Choices) == 0 && d.Option != "zone" {
					t.Errorf("a doubt without place, question or choices: %+v", d)
				}
			}
			if c.doubt != "" && !kinds[c.doubt] || c.doubt == "" && len(kinds) > 0 || len(kinds) > 1 {
				t.Errorf("doubts %v, want %q", kinds, c.doubt)
			}
			if c.problem == "" && len(r.Problems) > 0 && c.doubt == "" ||
				c.problem != "" && !strings.Contains(told(r), c.problem) {
				t.Errorf("want the problem %q", c.problem)
			}
			if got := bytesOf(in.Plan, r); !strings.Contains(got, c.want) {
				t.Errorf("want %s in %s", c.want, got)
			}
			if t.Failed() {
				t.Logf("%s\n%s", told(r), understood(r))
			}
		})
	}
}

// TestCellsTogether: the cells of a doubt are named sheet by sheet, or line by line.
func TestCellsTogether(t *testing.T) {
	for want, all := range map[string][]string{
		"sheet a, cell L2, cell":                  {"sheet a, cell L2, cell"},
		"sheet a, cells L2, K2; sheet b, cell E2": {"sheet a, cell L2", "sheet a, cell K2", "sheet b, cell E2"},
		"l.csv, line 2, values 5, 4":              {"l.csv, line 2, value 5", "l.csv, line 2, value 4"},
		"l.csv, lines 2, 7, value 5":              {"l.csv, line 2, value 5", "l.csv, line 7, value 5"},
		"l.csv, line 2, value 5":                  {"l.csv, line 2, value 5"},
		"x, cells A1, A2, A3, A4, A5, A6 and 2 more": {"x, cell A1", "x, cell A2", "x, cell A3", "x, cell A4",
			"x, cell A5", "x, cell A6", "x, cell A7", "x, cell A8"},
	} {
		if got := cells(all); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
