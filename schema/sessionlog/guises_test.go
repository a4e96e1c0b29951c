package sessionlog

import (
	"github.com/google/go-cmp/cmp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"outbreath/schema/sheet"
)

// plainLog is a log of four sessions as two text tables; each of its guises says the same.
var plainLog = [2][]string{
	{
		"session_id,operator,subject_id,birth_date,sex,postal_code,smoking_status,height_cm,weight_kg,date,started_at,ended_at," +
			"outcome,fraction,room_c,kit lot,kit unit,sampler serial,notes",
		"V-001,op-1,W-01,1970-01-31,female,01067,never,170,68.5,2026-03-02,09:10:00,09:18:30,complete,end-tidal,22.4,L-1,K-1,S-7,",
		"V-002,op-1,W-02,1981-12-24,male,98700,former,182,90,2026-03-03,10:05:00,10:14:00,complete,end-tidal,21,L-1,K-2,S-7,",
		"V-003,op-2,W-03,1955-06-05,other,10115,current,158.5,101.5,2026-03-04,09:00:00,09:11:00,stopped,end-tidal,20.5,L-1,K-3," +
			"S-8,\"coughed, stopped\"",
		"V-004,op-2,W-01,1970-01-31,female,01067,never,170,68.5,2026-03-13,23:55:00,2026-03-14T00:06:00+01:00,complete,whole," +
			"19,L-1,K-4,S-8,",
	},
	{
		"session_id,barcode,position,uncapped_at,capped_at,volume_ml,storage",
		"V-001,T-01,A,09:11:00,09:12:40,500,refrigerated",
		"V-001,T-02,B,09:14:00,09:15:40,499.5,refrigerated",
		"V-002,T-03,A,10:06:00,10:07:30,500,frozen",
		"V-003,T-04,A,09:01:00,09:02:30,1250,ambient",
		"V-004,T-05,A,23:56:00,2026-03-14T00:01:30+01:00,500,refrigerated",
	},
}

func joined(lines []string) string { return strings.Join(lines, "\n") + "\n" }

// grid parses one of the tables above.
func grid(t testing.TB, lines []string) [][]string {
	t.Helper()
	tables, err := sheet.Read("x.csv", []byte(joined(lines)))
	if err != nil || len(tables) != 1 {
		t.Fatal(err)
	}
	var out [][]string
	for _, row := range tables[0].Rows {
		var cells []string
		for _, c := range row.Cells {
			cells = append(cells, c.Text)
		}
		out = append(out, cells)
	}
	return out
}

// A guise is one way to write plainLog.
type guise struct {
	name   string
	tables func(t testing.TB, log [2][][]string) []sheet.Table
	asks   []string // options or kinds of the only doubts that it may raise
}

// texts encodes both tables as text.
func textTables(t testing.TB, log [2][][]string, sep string, encode func(string) []byte) []sheet.Table {
	t.Helper()
	var tables []sheet.Table
	for i, name := range []string{"sessions.csv", "tubes.csv"} {
		var b strings.Builder
		for _, row := range log[i] {
			for j, c := range row {
				if j > 0 {
					b.WriteString(sep)
				}
				if strings.ContainsAny(c, sep+"\"\n,;") {
					c = `"` + strings.ReplaceAll(c, `"`, `""`) + `"`
				}
				b.WriteString(c)
			}
			b.WriteString("\n")
		}
		read, err := sheet.Read(name, encode(b.String()))
		if err != nil {
			t.Fatal(err)
		}
		tables = append(tables, read...)
	}
	return tables
}

func utf8Bytes(s string) []byte { return []byte(s) }

func csvOf(change func(log [2][][]string) [2][][]string) func(testing.TB, [2][][]string) []sheet.Table {
	return func(t testing.TB, log [2][][]string) []sheet.Table {
		return textTables(t, change(log), ",", utf8Bytes)
	}
}

// each changes the values under a heading, or all headings.
func under(log [2][][]string, change func(heading, v string) string) [2][][]string {
	var out [2][][]string
	for i, rows := range log {
		for n, row := range rows {
			var cells []string
			for j, c := range row {
				if n > 0 {
					c = change(rows[0][j], c)
				}
				cells = append(cells, c)
			}
			out[i] = append(out[i], cells)
		}
	}
	return out
}

func headed(log [2][][]string, names map[string]string) [2][][]string {
	out := under(log, func(_, v string) string { return v })
	for i := range out {
		for j, h := range out[i][0] {
			if n := names[h]; n != "" {
				out[i][0][j] = n
			}
		}
	}
	return out
}

var (
	isDate = map[string]bool{"birth_date": true, "date": true}
	isTime = map[string]bool{"started_at": true, "ended_at": true, "uncapped_at": true, "capped_at": true}
	isSize = map[string]bool{"height_cm": true, "weight_kg": true, "room_c": true, "volume_ml": true}
)

// dated writes days, alone and before times, in a layout.
func dated(layout string) func([2][][]string) [2][][]string {
	return func(log [2][][]string) [2][][]string {
		return under(log, func(h, v string) string {
			d, err := time.Parse(time.DateOnly, v)
			if !isDate[h] || err != nil {
				return v
			}
			return d.Format(layout)
		})
	}
}

// timed writes times of day in a layout.
func timed(layout string) func([2][][]string) [2][][]string {
	return func(log [2][][]string) [2][][]string {
		return under(log, func(h, v string) string {
			c, err := time.Parse(time.TimeOnly, v)
			if !isTime[h] || err != nil {
				return v
			}
			return c.Format(layout)
		})
	}
}

func sized(change func(string) string) func([2][][]string) [2][][]string {
	return func(log [2][][]string) [2][][]string {
		return under(log, func(h, v string) string {
			if !isSize[h] {
				return v
			}
			return change(v)
		})
	}
}

var german = map[string]string{"session_id": "Sitzungs-Nr.", "operator": "Durchgeführt von",
	"subject_id": "Probanden-ID", "birth_date": "Geb.-Datum", "sex": "Geschlecht", "postal_code": "PLZ",
	"smoking_status": "Raucherstatus", "height_cm": "Körpergröße (cm)", "weight_kg": "Gewicht [kg]", "date": "Datum",
	"started_at": "Beginn", "ended_at": "Ende", "outcome": "Ergebnis", "fraction": "Fraktion",
	"room_c": "Raumtemperatur in °C", "kit lot": "Charge", "kit unit": "Kit-Nr.", "sampler serial": "Gerät",
	"notes": "Bemerkungen", "barcode": "Röhrchen-Nr.", "position": "Platz", "uncapped_at": "geöffnet um",
	"capped_at": "verschlossen um", "volume_ml": "Volumen, ml", "storage": "Lagerung"}

var french = map[string]string{"session_id": "N° visite", "operator": "Opérateur", "subject_id": "Code sujet",
	"birth_date": "Date de naissance", "sex": "Sexe", "postal_code": "Code postal", "smoking_status": "Tabagisme",
	"height_cm": "Taille (cm)", "weight_kg": "Poids (kg)", "date": "Date de visite", "started_at": "Heure de début",
	"ended_at": "Heure de fin", "outcome": "Résultat", "room_c": "Température (°C)", "kit lot": "Lot du kit",
	"kit unit": "Numéro de kit", "sampler serial": "N° de série", "notes": "Remarques", "barcode": "Code-barres",
	"position": "Emplacement", "uncapped_at": "Ouvert à", "capped_at": "Fermé à", "volume_ml": "Volume prélevé (ml)",
	"storage": "Conservation"}

var spanish = map[string]string{"session_id": "Número de visita", "operator": "Operador", "subject_id": "ID sujeto",
	"birth_date": "Fecha de nacimiento", "sex": "Sexo", "postal_code": "Código postal", "smoking_status": "Fumador",
	"height_cm": "Talla (cm)", "weight_kg": "Peso (kg)", "date": "Fecha", "started_at": "Hora de inicio",
	"ended_at": "Hora de fin", "outcome": "Resultado", "fraction": "Fracción", "room_c": "Temperatura (°C)",
	"kit lot": "Lote", "kit unit": "Número de kit", "sampler serial": "Número de serie", "notes": "Observaciones",
	"barcode": "Código de barras", "position": "Posición", "uncapped_at": "Apertura", "capped_at": "Cierre",
	"volume_ml": "Volumen (ml)", "storage": "Conservación"}

// worded writes listed values in other words.
func worded(words map[string]string) func([2][][]string) [2][][]string {
	return func(log [2][][]string) [2][][]string {
		return under(log, func(_, v string) string {
			if w := words[v]; w != "" {
				return w
			}
			return v
		})
	}
}

func then(changes ...func([2][][]string) [2][][]string) func([2][][]string) [2][][]string {
	return func(log [2][][]string) [2][][]string {
		for _, c := range changes {
			log = c(log)
		}
		return log
	}
}

func renamed(names map[string]string) func([2][][]string) [2][][]string {
	return func(log [2][][]string) [2][][]string { return headed(log, names) }
}

func commas(v string) string { return strings.ReplaceAll(v, ".", ",") }

// oneTable writes the log as one table: how says how tubes lie in the session's rows.
func oneTable(rows [][]string) []sheet.Table {
	t := sheet.Table{File: "log.csv", Text: true}
	for i, row := range rows {
		r := sheet.Row{Number: i + 1}
		for _, c := range row {
			cell := sheet.Cell{Kind: sheet.Text, Text: c}
			if c == "" {
				cell = sheet.Cell{}
			}
			r.Cells = append(r.Cells, cell)
		}
		t.Rows = append(t.Rows, r)
	}
	return []sheet.Table{t}
}

func beside(_ testing.TB, log [2][][]string) []sheet.Table {
	var rows [][]string
	for n, s := range log[0] {
		row := append([]string{}, s...)
		for _, mark := range []string{"A", "B"} {
			if n == 0 {
				for _, h := range log[1][0][1:] {
					if h != "position" {
						row = append(row, strings.ReplaceAll(h, "_ml", "")+" "+mark)
					}
				}
				continue
			}
			cells := make([]string, len(log[1][0])-2)
			for _, tube := range log[1][1:] {
				if tube[0] == s[0] && tube[2] == mark {
					cells = append([]string{tube[1]}, tube[3:]...)
				}
			}
			row = append(row, cells...)
		}
		rows = append(rows, row)
	}
	return oneTable(rows)
}

func aRowATube(_ testing.TB, log [2][][]string) []sheet.Table {
	rows := [][]string{append(append([]string{}, log[0][0]...), log[1][0][1:]...)}
	for _, tube := range log[1][1:] {
		for _, s := range log[0][1:] {
			if s[0] == tube[0] {
				rows = append(rows, append(append([]string{}, s...), tube[1:]...))
			}
		}
	}
	return oneTable(rows)
}

// typedBook writes the log as a workbook in which the program has made numbers, dates and
// times of what was typed.
func typedBook(t testing.TB, log [2][][]string) []sheet.Table {
	t.Helper()
	var b sheet.Book
	for i, name := range []string{"Visits", "Tubes"} {
		s := sheet.Sheet{Name: name}
		for j, h := range log[i][0] {
			c := sheet.Column{Heading: h}
			if isSize[h] || isDate[h] || isTime[h] {
				c.Format = sheet.AsNumber
			}
			s.Columns = append(s.Columns, c)
			for n, row := range log[i][1:] {
				if j == 0 {
					s.Rows = append(s.Rows, make([]sheet.Cell, len(row)))
				}
				s.Rows[n][j] = typedCell(h, row[j])
			}
		}
		b.Sheets = append(b.Sheets, s)
	}
	return workbook(t, b)
}

func typedCell(heading, v string) sheet.Cell {
	switch {
	case v == "":
		return sheet.Cell{}
	case isSize[heading]:
		return sheet.Cell{Kind: sheet.Number, Text: v}
	case isDate[heading] || isTime[heading]:
		return sheet.Cell{Kind: sheet.Time, Text: strings.TrimSuffix(v, "+01:00")}
	}
	return sheet.Cell{Kind: sheet.Text, Text: v}
}

var guises = []guise{
	{name: "comma", tables: csvOf(then())},
	{name: "semicolons and decimal commas", tables: func(t testing.TB, log [2][][]string) []sheet.Table {
		return textTables(t, sized(commas)(log), ";", utf8Bytes)
	}},
	{name: "tabs, mark at the beginning, line ends of Windows", tables: func(t testing.TB,
		log [2][][]string) []sheet.Table {
		return textTables(t, log, "\t", func(s string) []byte {
			return []byte("\ufeff" + strings.ReplaceAll(s, "\n", "\r\n"))
		})
	}},
	{name: "UTF-16", tables: func(t testing.TB, log [2][][]string) []sheet.Table {
		return textTables(t, log, "\t", func(s string) []byte {
			out := []byte{0xff, 0xfe}
			for _, u := range utf16.Encode([]rune(s)) {
				out = append(out, byte(u), byte(u>>8))
			}
			return out
		})
	}},
	{name: "German, Windows-1252", tables: func(t testing.TB, log [2][][]string) []sheet.Table {
		change := then(worded(map[string]string{"female": "weiblich", "male": "m", "other": "divers",
			"complete": "vollständig",
			"stopped":  "abgebrochen", "refrigerated": "Kühlschrank", "frozen": "gefroren",
			"ambient":   "Raumtemperatur",
			"end-tidal": "endexspiratorisch", "whole": "gesamt"}), dated("02.01.2006"), timed("15.04.05"),
			sized(commas),
			renamed(german))
		return textTables(t, change(log), ";", func(s string) []byte {
			var out []byte
			for _, r := range s {
				out = append(out, byte(r)) // Latin letters are the same in Windows-1252
			}
			return out
		})
	}},
	{name: "French", tables: csvOf(then(worded(map[string]string{"female": "Femme", "male": "H", "other": "autre",
		"complete": "terminé", "stopped": "arrêté", "refrigerated": "frigo", "frozen": "congelé",
		"ambient": "température ambiante"}), dated("02/01/2006"), timed("15.04.05"), sized(commas),
		renamed(french)))},
	{name: "Spanish", tables: csvOf(then(worded(map[string]string{"female": "M", "male": "H", "other": "otro",
		"complete": "completa", "stopped": "interrumpida", "refrigerated": "nevera", "frozen": "congelado",
		"ambient": "ambiente"}), dated("2/1/2006"), renamed(spanish))), asks: []string{"word"}},
	{name: "month first", tables: csvOf(dated("01/02/2006"))},
	{name: "day first with short years", tables: csvOf(dated("2.1.06"))},
	{name: "named months", tables: csvOf(dated("2 January 2006"))},
	{name: "named months of a spreadsheet", tables: csvOf(dated("02-Jan-2006"))},
	{name: "dates without a sign", tables: csvOf(dated("20060102"))},
	{name: "weekdays", tables: csvOf(dated("Mon 02/01/2006"))},
	{name: "times of twelve hours", tables: csvOf(timed("3:04:05 PM"))},
	{name: "times without a sign", tables: csvOf(timed("150405"))},
	{name: "times with points", tables: csvOf(timed("15.04.05"))},
	{name: "units in the cells", tables: csvOf(func(log [2][][]string) [2][][]string {
		units := map[string]string{"height_cm": " cm", "weight_kg": "kg", "room_c": " °C", "volume_ml": " ml"}
		return under(log, func(h, v string) string { return v + units[h] })
	})},
	{name: "other units in the headings", tables: csvOf(then(func(log [2][][]string) [2][][]string {
		return under(log, func(h, v string) string {
			switch h {
			case "volume_ml":
				return convert(v, mustUnit("mL"), mustUnit("L"))
			case "height_cm":
				return convert(v, mustUnit("cm"), mustUnit("m"))
			}
			return v
		})
	}, renamed(map[string]string{"volume_ml": "Volume (L)", "height_cm": "Height [m]"})))},
	{name: "thousands parted", tables: csvOf(sized(func(v string) string {
		return strings.ReplaceAll(commas(v), "1250", "1.250")
	}))},
	{name: "blanks, full-width digits, word processor's marks", tables: csvOf(func(log [2][][]string) [2][][]string {
		return under(log, func(h, v string) string {
			switch {
			case h == "session_id":
				return strings.NewReplacer("-", "\u2011", "0", "０").Replace(v) + "\u00a0"
			case h == "notes" || v == "":
				return v
			case isTime[h]:
				return " " + v
			}
			return "\u200b" + v + " "
		})
	})},
	{name: "nothing in words", tables: csvOf(func(log [2][][]string) [2][][]string {
		log = under(log, func(_, v string) string { return v })
		log[0][0] = append(log[0][0], "room_kpa", "sampler firmware")
		for i := range log[0][1:] {
			log[0][i+1] = append(log[0][i+1], []string{"n/a", "-", "k.A.", "?"}[i], "-")
		}
		return log
	})},
	{name: "title, other order, empty columns", tables: csvOf(func(log [2][][]string) [2][][]string {
		for i := range log {
			rows := [][]string{{"Log of LARK-2, week 10", ""}}
			for _, row := range log[i] {
				back := []string{}
				for j := range row {
					back = append(back, row[len(row)-1-j], "")
				}
				rows = append(rows, back)
			}
			log[i] = rows
		}
		return log
	})},
	{name: "date and time in one cell", tables: csvOf(func(log [2][][]string) [2][][]string {
		days := map[string]string{}
		for _, row := range log[0][1:] {
			days[row[0]] = row[9]
		}
		out := under(log, func(_, v string) string { return v })
		for i := range out {
			for n, row := range out[i] {
				for j, h := range out[i][0] {
					if n > 0 && isTime[h] && len(row[j]) == 8 {
						row[j] = days[row[0]] + " " + row[j]
					}
				}
			}
		}
		return out
	})},
	{name: "over midnight without a date", tables: csvOf(func(log [2][][]string) [2][][]string {
		return under(log, func(h, v string) string {
			return strings.TrimSuffix(strings.TrimPrefix(v, "2026-03-14T"), "+01:00")
		})
	})},
	{name: "tubes beside the session", tables: beside},
	{name: "a row a tube", tables: aRowATube},
	{name: "a workbook's numbers, dates and times", tables: typedBook},
	// What cannot be told from the log is asked.
	{name: "short years of births", tables: csvOf(func(log [2][][]string) [2][][]string {
		return under(log, func(h, v string) string {
			if h == "birth_date" {
				return "01.02." + map[string]string{"1970-01-31": "10", "1981-12-24": "12", "1955-06-05": "14"}[v]
			}
			return v
		})
	}), asks: []string{"century", "dates"}},
	{name: "counts of days", tables: csvOf(func(log [2][][]string) [2][][]string {
		return under(log, func(h, v string) string {
			d, err := time.Parse(time.DateOnly, v)
			if h != "date" || err != nil {
				return v
			}
			return strconv.Itoa(int(d.Sub(time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)).Hours() / 24))
		})
	}), asks: []string{"days"}},
}

func mustUnit(s string) unit {
	u, ok := unitOf(s)
	if !ok {
		panic(s)
	}
	return u
}

// TestGuises: a log of everyday spellings gives the records of the plain log, byte for
// byte, or a named doubt; never other values, and nothing to correct.
func TestGuises(t *testing.T) {
	log := [2][][]string{grid(t, plainLog[0]), grid(t, plainLog[1])}
	in := inputs(t)
	plain := Read(textTables(t, log, ",", utf8Bytes), in, nil)
	quiet(t, plain)
	want := bytesOf(in.Plan, plain)
	if len(plain.Records) != 4 || strings.Count(want, "barcode") != 5 {
		t.Fatalf("the plain log is not read\n%s", want)
	}
	same := 0
	for _, g := range guises {
		t.Run(g.name, func(t *testing.T) {
			r := Read(g.tables(t, [2][][]string{grid(t, plainLog[0]), grid(t, plainLog[1])}), in, nil)
			for _, d := range r.Doubts {
				if !slices.ContainsFunc(g.asks, func(k string) bool { return strings.HasPrefix(d.ID, k) }) {
					t.Errorf("asks: %s", told(r))
					break
				}
			}
			if len(g.asks) > 0 {
				if len(r.Doubts) == 0 {
					t.Errorf("nothing is asked\n%s", understood(r))
				}
				return
			}
			if len(r.Problems) > 0 {
				t.Errorf("%s\n%s", told(r), understood(r))
			}
			if got := bytesOf(in.Plan, r); got != want {
				t.Errorf("other records: %s", cmp.Diff(want, got))
			} else {
				same++
			}
		})
	}
	if same < 20 {
		t.Errorf("only %d guises give the same records", same)
	}
}
