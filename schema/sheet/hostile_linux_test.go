package sheet

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

const (
	beginSheet = `<worksheet ` + nsMain + `><sheetData>`
	endSheet   = `</sheetData></worksheet>`
	mostMemory = 200 << 20 // bytes
	mostTime   = 2 * time.Second
)

// sheetOf is a workbook whose sheet has s n times within its data.
func sheetOf(s string, n int) rawBook { return raw(repeat(beginSheet, s, n, endSheet)) }

// A trap is a file made to take memory or time.
type trap struct {
	what string
	read bool // although, because it is within the bounds
	data any  // rawBook or []byte
}

var spaces = strings.Repeat(" ", 1<<20)

// large is the number of MiB of spaces that are a bomb.
const large = 128

// archiveTraps have too many parts, or too large ones.
func archiveTraps() []trap {
	parts := raw(`<sheetData/>`)
	for i := range 100_000 {
		parts[fmt.Sprintf("xl/media/%d", i)] = ""
	}
	one := raw(`<sheetData><row><c><v>1</v></c></row></sheetData>`)
	entities := `<?xml version="1.0"?><!DOCTYPE a [<!ENTITY a "aaaaaaaaaa">`
	for c := 'b'; c < 'm'; c++ {
		entities += fmt.Sprintf(`<!ENTITY %c "%s">`, c, strings.Repeat(fmt.Sprintf("&%c;", c-1), 10))
	}
	return []trap{
		{"a sheet of 128 MiB of spaces", false, sheetOf(spaces, large)},
		{"128 MiB beside the sheets", true, one.with("xl/media/a.png", repeat("", spaces, large, ""))},
		{"a comment of 128 MiB", false, raw(repeat(`<worksheet><!--`, spaces, large, `--></worksheet>`))},
		{"100,000 parts", false, parts},
		{"entities within entities", false,
			raw(`<sheetData/>`).with("xl/sharedStrings.xml", entities+`]><sst><si><t>&l;</t></si></sst>`)},
		{"500,000 attributes", false, raw(repeat(`<worksheet `, `a%d="" `, 500_000, `/>`))},
		{"a million elements deep", false, raw(repeat("", `<a>`, 1_000_000, ""))},
		{"three million short elements", false, sheetOf(`<a/>`, 3_000_000)},
		{"200,000 sheets", false, raw(`<sheetData/>`).with("xl/workbook.xml",
			repeat(`<workbook `+nsMain+` xmlns:r="`+relType+`"><sheets>`, `<sheet name="s%d" r:id="s1"/>`,
				200_000, `</sheets></workbook>`))},
	}
}

// cellTraps have too many cells, or cells with too much in them.
func cellTraps() []trap {
	inRow := func(s string, n int) rawBook {
		return raw(repeat(beginSheet+`<row r="1">`, s, n, `</row>`+endSheet))
	}
	row := func(n int, cell string) string { return `<row>` + strings.Repeat(cell, n) + `</row>` }
	beside := func(begin, s string, end string) rawBook {
		return raw(repeat(beginSheet+strings.Repeat(row(2, `<c><v>1</v></c>`), 20_000)+`</sheetData>`+begin,
			s, 200_000, end+`</worksheet>`))
	}
	numbers := raw(func(w io.Writer) {
		io.WriteString(w, beginSheet)
		for i := range 9_999 {
			fmt.Fprint(w, `<row>`)
			for j := range 25 {
				fmt.Fprintf(w, `<c s="3"><v>%d.%d</v></c>`, 20_000+i, j)
			}
			fmt.Fprint(w, `</row>`)
		}
		io.WriteString(w, endSheet)
	})
	wide := `<row>` + strings.Repeat(`<c/>`, MaxColumns-1) + `<c><v>1</v></c></row>`
	return []trap{
		{"a million columns", false, inRow(`<c><v>1</v></c>`, 1_000_000)},
		{"a million empty columns", false, inRow(`<c/>`, 1_000_000)},
		{"a cell in column XFD", false, raw(`<sheetData><row r="1"><c r="XFD1"><v>1</v></c></row></sheetData>`)},
		{"200,000 rows", false, sheetOf(`<row><c><v>1</v></c></row>`, 200_000)},
		{"a million empty rows", false, sheetOf(`<row/>`, 1_000_000)},
		{"rows that reach to column 500", false, sheetOf(wide, 20_000)},
		{"rows of 12 columns", true, sheetOf(row(12, `<c><v>1</v></c>`), 20_000)},
		{"250,000 dates, all equal", true, sheetOf(row(25, `<c s="3"><v>45000.5</v></c>`), 9_999)},
		{"250,000 dates, all different", true, numbers},
		{"ranges merged over each other", false,
			beside(`<mergeCells>`, `<mergeCell ref="A1:XFD1048576"/>`, `</mergeCells>`)},
		{"200,000 merged ranges", false, beside(`<mergeCells>`, `<mergeCell ref="A1:B2"/>`, `</mergeCells>`)},
		{"200,000 columns' widths", false, beside(`<cols>`, `<col min="1" max="9" hidden="1"/>`, `</cols>`)},
	}
}

// sharedTraps have too much in what cells share: strings and formats.
func sharedTraps() []trap {
	one := `<sheetData><row><c t="s" s="1"><v>0</v></c></row></sheetData>`
	sst := func(before, s string, n int, after string) rawBook {
		return raw(one).with("xl/sharedStrings.xml", repeat(`<sst>`+before, s, n, after+`</sst>`))
	}
	styles := func(before, s string, n int, after string) rawBook {
		return raw(one).with("xl/styles.xml", repeat(`<styleSheet>`+before, s, n, after+`</styleSheet>`))
	}
	often := sheetOf(`<row>`+strings.Repeat(`<c t="s"><v>0</v></c>`, 100)+`</row>`, 1_000)
	return []trap{
		{"one long shared string", false, sst(`<si><t>`, spaces, large, `</t></si>`)},
		{"300,000 shared strings", false, sst("", `<si><t>%d</t></si>`, 300_000, "")},
		{"a shared string of many runs", false, sst(`<si>`, `<r><t>abcdefghij</t></r>`, 300_000, `</si>`)},
		{"shared strings of 30,000 characters", false, sst("", `<si><t>`+spaces[:30_000]+`</t></si>`, 2_000, "")},
		{"one long string, often", false,
			often.with("xl/sharedStrings.xml", `<sst><si><t>`+spaces[:30_000]+`</t></si></sst>`)},
		{"200,000 formats", false,
			styles(`<numFmts>`, `<numFmt numFmtId="%d" formatCode="0"/>`, 200_000, `</numFmts>`)},
		{"200,000 styles", false, styles(`<cellXfs>`, `<xf numFmtId="14"/>`, 200_000, `</cellXfs>`)},
		{"a long format", true, styles(`<numFmts><numFmt numFmtId="200" formatCode="`, strings.Repeat(`[h]`, 1000), 300,
			`"/></numFmts><cellXfs><xf/><xf numFmtId="200"/></cellXfs>`)},
	}
}

func textTraps() []trap {
	many := func(s string, bytesInAll int) []byte { return bytes.Repeat([]byte(s), bytesInAll/len(s)) }
	return []trap{
		{"a text of commas", false, many(",", MaxText)},
		{"a text of line breaks", false, many("\n", MaxText)},
		{"a text of quotation marks", false, many(`"`, MaxText)},
		{"a text of one letter", false, many("x", MaxText)},
		{"a text of 64 MiB", false, many("x,", MaxFile)},
		{"250,000 short values", true, bytes.Repeat([]byte(strings.Repeat("1,", 24)+"1\n"), 9_999)},
		{"lines that are quoted oddly", false, many("x\"y,\n", MaxText)},
		{"Windows-1252 of 16 MiB", false, many("\xE4", MaxText)},
		{"UTF-16 of 16 MiB", false, many("\xFF\xFE", MaxText)},
	}
}

// understate writes into the archive that each part has ten bytes.
func understate(data []byte) []byte {
	for i := 0; i+46 <= len(data); i++ { // APPNOTE 4.3.12, the uncompressed size at offset 24
		if bytes.HasPrefix(data[i:], []byte("PK\x01\x02")) {
			copy(data[i+24:], []byte{10, 0, 0, 0})
		}
	}
	return data
}

// peak returns the most memory that this process has had, in bytes. The rusage
// of a child counts what its parent had when it was forked as well.
func peak(t *testing.T) int {
	status, err := os.ReadFile("/proc/self/status") // proc(5): VmHWM, in KiB
	if err != nil {
		t.Fatal(err)
	}
	_, after, _ := strings.Cut(string(status), "VmHWM:")
	var n int
	if _, err := fmt.Sscan(after, &n); err != nil {
		t.Fatal(err)
	}
	return n << 10
}

// TestHostile reads each file in a process of its own, and measures its memory
// and processor time. The deadline is generous, because machines differ;
// OUTBREATH_FULL holds it to two seconds.
func TestHostile(t *testing.T) {
	if name := os.Getenv("SHEET_HOSTILE"); name != "" {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		tables, err := Read("log.xlsx", data)
		fmt.Printf("memory %d\nread %v %v\n", peak(t), err == nil && len(tables) > 0, err)
		return
	}
	if testing.Short() {
		t.Skip("not in short tests: files of a gigabyte are made")
	}
	deadline := 10 * time.Second
	if os.Getenv("OUTBREATH_FULL") != "" {
		deadline = mostTime
	}
	traps := slices.Concat(archiveTraps(), cellTraps(), sharedTraps(), textTraps())
	lie := understate(sheetOf(spaces, large).bytes(t))
	for i, f := range append(traps, trap{"the same, claimed to be small", false, lie}) {
		if i%3 != 0 && os.Getenv("CI") != "true" && os.Getenv("OUTBREATH_FULL") == "" {
			continue // each takes a second to make and to read
		}
		data, ok := f.data.([]byte)
		if !ok {
			data = f.data.(rawBook).bytes(t)
		}
		memory, took, said := readApart(t, data)
		t.Logf("%-36s %4d MB %5d ms  %s", f.what, memory/1e6, took.Milliseconds(), said)
		if read := strings.HasPrefix(said, "read true"); read != f.read {
			t.Errorf("%s: %s", f.what, said)
		}
		if memory > mostMemory {
			t.Errorf("%s: took %d MB of memory", f.what, memory/1e6)
		}
		if took > deadline {
			t.Errorf("%s: took %s", f.what, took)
		}
	}
}

// readApart reads data in another process and returns the most memory it had in
// bytes, the processor time it took, and "read true <nil>" or "read false" with
// the error.
func readApart(t *testing.T, data []byte) (memory int, took time.Duration, said string) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "log")
	if err := os.WriteFile(name, data, 0o600); err != nil {
		t.Fatal(err)
	}
	defer os.Remove(name)
	cmd := exec.Command(os.Args[0], "-test.run", "^TestHostile$")
	cmd.Env = append(os.Environ(), "SHEET_HOSTILE="+name)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	first, rest, _ := strings.Cut(string(out), "\n")
	if _, err := fmt.Sscanf(first, "memory %d", &memory); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	said, _, _ = strings.Cut(rest, "\n")
	return memory, cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime(), said
}
