package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"outbreath/deid"
	"outbreath/pack"
	"outbreath/pack/symbol"
)

// inventSlip is a slip with these barcodes; every fourth tube is to be analysed
// first.
func inventSlip(t *testing.T, barcodes []string) (*slip, pack.SlipCode) {
	t.Helper()
	code := pack.SlipCode{Shipment: "WEIR-0012", SHA256: strings.Repeat("0f1e2d3c4b5a6978", 4)}
	square, err := symbol.QR(code.Format())
	if err != nil {
		t.Fatal(err)
	}
	groups := code.Groups()
	p := &slip{
		Shipment: "WEIR-0012", Study: "LARK-2", Site: "WEIR", Sealed: "2026-11-25", Sessions: len(barcodes)/2 + 1,
		Recordings: len(barcodes) / 2, Tubes: len(barcodes),
		Contact: "Example Institute, breath study office, telephone +00 000 0000, room 3 on the ground floor; or any " +
			"member of the staff",
		Code: draw(square, qrMM, qrMM), Groups: []string{strings.Join(groups[:8], " "), strings.Join(groups[8:], " ")},
	}
	var tubes []deid.ClearedTube
	for i, b := range barcodes {
		t := deid.ClearedTube{Barcode: b, Session: fmt.Sprintf("K8XS-JF9F-FD6R-%04d-C", i/2),
			Position: strconv.Itoa(i%2 + 1),
			Fraction: "end-tidal", VolumeML: "500", Storage: "refrigerated", First: i%4 == 0}
		if t.First {
			t.Storage = "ambient"
		}
		tubes = append(tubes, t)
	}
	p.fill(tubes, nil)
	return p, code
}

func plainBarcodes(n int) (all []string) {
	for i := range n {
		all = append(all, fmt.Sprintf("LK07-%04d-%c", i/2+1, 'A'+i%2))
	}
	return all
}

// oddBarcodes are hard to draw: long ones, all characters of Code 128 that a
// keyboard has, and two that cannot be drawn at all.
var oddBarcodes = []string{
	"1", "01234567890123456789012345678901234567890123456789", "Tube <b>&amp;'\"` ~!", "O0Il1-oO0il1",
	strings.Repeat("W", 28), strings.Repeat("LONG-7/", 7),
	strings.Repeat("x", 200), "Röhrchen-7",
}

// needsPrinter skips a test where a program is missing that prints and reads slips.
func needsPrinter(t *testing.T) {
	t.Helper()
	for _, prog := range []struct{ name, pkg string }{{"chromium", "chromium"}, {"zbarimg", "zbar-tools"},
		{"pdftoppm", "poppler-utils"}} {
		if _, err := exec.LookPath(prog.name); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatalf("%s is missing (Debian package %s)", prog.name, prog.pkg)
			}
			t.Skipf("%s is missing (Debian package %s)", prog.name, prog.pkg)
		}
	}
}

// TestSlipOnPaper prints slips with Chromium, on both papers and in grey, and reads every code
// back with zbar: someone else's browser and someone else's reader.
func TestSlipOnPaper(t *testing.T) {
	t.Parallel()
	needsPrinter(t)
	for _, c := range []struct {
		name     string
		barcodes []string
		sheets   int
		paper    string
	}{
		{"1", plainBarcodes(1), 1, "A4"},
		{"16", plainBarcodes(16), 1, "Letter"}, // the lower one
		{"17", plainBarcodes(17), 2, "A4"},     // the narrower one, with a full sheet
		{"60", plainBarcodes(60), 4, "Letter"},
		{"odd", oddBarcodes, 1, "Letter"},
	} {
		t.Run(c.name+" on "+c.paper, func(t *testing.T) { testPrint(t, c.barcodes, c.paper, c.sheets) })
	}
}

// TestSlipWithAnyFont: the page is the same whatever fonts the computer has: each of
// the families alone, wide ones among them, and none at all.
//
// Source: fonts.conf(5).
func TestSlipWithAnyFont(t *testing.T) {
	needsPrinter(t)
	for _, want := range []struct {
		name     string
		fonts    string // of Debian: a pattern of files
		least    int    // of them, where .ci/run has installed what it needs
		uncut    bool   // no wider than usual: nothing at all is cut off
		barcodes []string
	}{
		{"none", "no-such-folder/*", 0, false, plainBarcodes(16)},
		{"DejaVu", "truetype/dejavu/*", 1, true, plainBarcodes(16)},
		{"DejaVu Sans Bold", "truetype/dejavu/DejaVuSans-Bold.ttf", 1, false, oddBarcodes},
		{"DejaVu Sans Mono Bold", "truetype/dejavu/DejaVuSansMono-Bold.ttf", 1, false, plainBarcodes(16)},
		{"DejaVu Serif", "truetype/dejavu/DejaVuSerif.ttf", 1, true, plainBarcodes(16)},
		{"Liberation", "truetype/liberation/*", 0, true, plainBarcodes(16)},
		{"Noto Sans", "truetype/noto/NotoSans-*", 0, true, plainBarcodes(16)},
	} {
		t.Run(want.name, func(t *testing.T) {
			files, _ := filepath.Glob(filepath.Join("/usr/share/fonts", want.fonts))
			switch {
			case len(files) < want.least && os.Getenv("CI") == "true":
				t.Fatal("these fonts are missing")
			case len(files) == 0 && want.name != "none":
				t.Skip("these fonts are not installed")
			}
			if wide := want.name == "DejaVu Sans Mono Bold"; !full() && want.name != "none" && !wide {
				t.Skip("OUTBREATH_FULL=1 tries every family; the widest and none at all are tried by themselves")
			}
			onlyFonts(t, files)
			testPrint(t, want.barcodes, "Letter", 1)
			if cut := cutOff(t, want.barcodes); want.uncut && len(cut) > 0 {
				t.Errorf("cut off: %q", cut)
			}
		})
	}
}

// onlyFonts lets programs of this test find no fonts but these files.
func onlyFonts(t *testing.T, files []string) {
	t.Helper()
	dir := t.TempDir()
	for _, f := range files {
		if err := os.Symlink(f, filepath.Join(dir, filepath.Base(f))); err != nil {
			t.Fatal(err)
		}
	}
	conf := filepath.Join(dir, "fonts.conf")
	text := "<?xml version=\"1.0\"?>\n<fontconfig><dir>" + dir + "</dir><cachedir>" + filepath.Join(dir, "cache") +
		"</cachedir></fontconfig>\n"
	if err := os.WriteFile(conf, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	t.Setenv("FONTCONFIG_FILE", conf)
	t.Setenv("FONTCONFIG_PATH", dir)
}

// cutOff returns the texts of which a part does not fit into the room they have, as
// the browser measures them.
func cutOff(t *testing.T, barcodes []string) []string {
	t.Helper()
	p, _ := inventSlip(t, barcodes)
	var page bytes.Buffer
	if err := slipPage.Execute(&page, p); err != nil {
		t.Fatal(err)
	}
	const measure = `<script>
for (const e of document.querySelectorAll("*"))
	if (getComputedStyle(e).overflow == "hidden" && (e.scrollHeight > e.clientHeight + 1 || e.scrollWidth > e.clientWidth + 1))
		e.setAttribute("data-cut", (e.innerText || e.className).slice(0, 60));
document.documentElement.setAttribute("data-measured", document.querySelectorAll(".sheet").length);
</script></body>`
	html := regexp.MustCompile(`<meta http-equiv="Content-Security-Policy"[^>]*>`).ReplaceAllString(page.String(), "")
	html = strings.Replace(html, "</body>", measure, 1)
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "measure.html"), []byte(html), 0o644); err != nil {
		t.Fatal(err)
	}
	dom := tool(t, dir, "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--user-data-dir="+t.TempDir(),
		"--dump-dom", "measure.html")
	if !strings.Contains(dom, `data-measured="1"`) {
		t.Fatalf("the page was not measured:\n%.400s", dom)
	}
	var cut []string
	for _, m := range regexp.MustCompile(`data-cut="([^"]*)"`).FindAllStringSubmatch(dom, -1) {
		cut = append(cut, m[1])
	}
	return cut
}

func testPrint(t *testing.T, barcodes []string, paper string, sheets int) {
	p, code := inventSlip(t, barcodes)
	var page bytes.Buffer
	if err := slipPage.Execute(&page, p); err != nil {
		t.Fatal(err)
	}
	// The page leaves the paper to the printer; here the test chooses it.
	html := strings.Replace(page.String(), "@page { margin: 10mm; }", "@page { margin: 10mm; size: "+paper+"; }", 1)
	dir := t.TempDir()
	if keep := os.Getenv("OUTBREATH_SLIPS"); keep != "" { // to look at
		dir = filepath.Join(keep, strings.ReplaceAll(t.Name(), "/", "_"))
		os.RemoveAll(dir) // of an earlier run
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "slip.html"), []byte(html), 0o644); err != nil {
		t.Fatal(err)
	}
	tool(t, dir, "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
		"--user-data-dir="+t.TempDir(), "--print-to-pdf=slip.pdf", "slip.html")
	tool(t, dir, "pdftoppm", "-r", "300", "-gray", "slip.pdf", "sheet")
	pictures, _ := filepath.Glob(filepath.Join(dir, "sheet-*.pgm"))
	if len(pictures) != sheets {
		t.Fatalf("%d sheets of paper, want %d", len(pictures), sheets)
	}
	var got []string
	for i, picture := range pictures {
		read := tool(t, dir, "zbarimg", "-q", "--raw", "-Sdisable", "-Scode128.enable", "-Sqrcode.enable",
			filepath.Base(picture))
		lines := strings.Split(strings.TrimSuffix(read, "\n"), "\n")
		if !slices.Contains(lines, code.Format()) {
			t.Errorf("sheet %d: the code of the shipment cannot be read", i+1)
		}
		for _, l := range lines {
			if l != code.Format() {
				got = append(got, l)
			}
		}
	}
	want := slices.DeleteFunc(slices.Clone(barcodes), func(b string) bool {
		_,
			err := symbol.Code128(b)
		return err != nil
	})
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("read %q\nwant %q", got, want)
	}
	if strings.HasSuffix(t.Name(), "/none") {
		return // no letters at all
	}
	text := tool(t, dir, "pdftotext", "-layout", "slip.pdf", "-")
	if n := strings.Count(text, "WEIR-0012"); n != sheets {
		t.Errorf("the head is on the paper %d times, want %d", n, sheets)
	}
	for _, box := range []string{"Packed", "Carried", "Received at the laboratory", "Found, or in doubt?"} {
		if strings.Count(text, box) != 1 {
			t.Errorf("%q is on the paper %d times, want once", box, strings.Count(text, box))
		}
	}
}

// tool runs a program in dir and returns what it prints.
func tool(t *testing.T, dir, name string, args ...string) string {
	t.Helper()
	c := exec.Command(name, args...)
	c.Dir = dir
	var errs bytes.Buffer
	c.Stderr = &errs
	out, err := c.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, errs.String())
	}
	return string(out)
}

// TestSlipPage: no script, nothing from outside, and texts stay texts.
func TestSlipPage(t *testing.T) {
	p, _ := inventSlip(t, oddBarcodes)
	p.Contact = `<script>alert(1)</script> <img src="http://host/x">`
	var page bytes.Buffer
	if err := slipPage.Execute(&page, p); err != nil {
		t.Fatal(err)
	}
	if m := regexp.MustCompile(`(?i)<(script|img|link|iframe|object|embed)|https?:|url\(|@import|\son[a-z]+=`).FindString(strings.ReplaceAll(page.String(), "http://host/x", "")); m != "" {
		t.Errorf("the page holds %q", m)
	}
	if !strings.Contains(page.String(), "default-src 'none'") || !strings.Contains(page.String(), "&lt;script&gt;") {
		t.Error("no policy, or a text that was not escaped")
	}
}

// TestSheets: every row is dealt out once, in order; the last sheet alone has the
// boxes to sign.
func TestSheets(t *testing.T) {
	t.Parallel()
	for n := range 130 {
		p, _ := inventSlip(t, plainBarcodes(n))
		next := 1
		for i, s := range p.Pages {
			most := rowsFull
			if s.Last {
				most = rowsLast
			}
			if s.Last != (i == len(p.Pages)-1) || len(s.Rows) > most || len(s.Rows) == 0 && n > 0 || s.Number != i+1 ||
				s.Of != len(p.Pages) {
				t.Fatalf("%d tubes, sheet %d: %d rows, last %v", n, i+1, len(s.Rows), s.Last)
			}
			for _, r := range s.Rows {
				if r.Number != next {
					t.Fatalf("%d tubes: row %d follows row %d", n, r.Number, next-1)
				}
				next++
			}
		}
		if next != n+1 || (n <= 16) != (len(p.Pages) == 1) {
			t.Fatalf("%d tubes: %d rows on %d sheets", n, next-1, len(p.Pages))
		}
	}
}
