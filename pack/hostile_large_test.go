package pack

import (
	"archive/tar"
	"fmt"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"

	"outbreath/pack/bag"
)

// largeCases are archives that would fill a computer's memory, and names and
// entries that another reader of tar or another system takes for something else.
func largeCases() []hostileCase {
	const sessions, recordings = "data/sessions/", "data/recordings/"
	link := func(flag byte) func(*testing.T, *forged) {
		return func(t *testing.T, f *forged) {
			h := tarHeader("07-0012/data/recordings/a.csv", 0)
			h[156] = flag
			f.add(forgedEntry{header: resum(h)})
		}
	}
	named := func(name string) func(*testing.T, *forged) {
		return func(t *testing.T, f *forged) { f.add(forgedEntry{name: name, data: "x"}) }
	}
	full := func(name, begin, unit, end string) func(*testing.T, *forged) {
		return func(t *testing.T, f *forged) {
			f.at(t, name).data = begin + strings.Repeat(unit, (maxRecord-len(begin)-len(end))/len(unit)) + end
		}
	}
	return []hostileCase{
		{"sparse file", "contents", link('S')},
		{"long name of GNU", "contents", link('L')},
		{"extended header for all", "contents", link('g')},
		{"old extended header", "contents", link('x')},
		{"contiguous file", "contents", link('7')},
		{"old plain file", "contents", link(0)},
		{"pipe", "contents", link(tar.TypeFifo)},
		{"block device", "contents", link(tar.TypeBlock)},
		{"volume label", "contents", link('V')},
		{"size in base 256", "contents", func(t *testing.T, f *forged) {
			h := tarHeader("07-0012/data/recordings/a.csv", 0)
			copy(h[124:136], "\x80\x00\x00\x00\xff\xff\xff\xff\xff\xff\xff\xff")
			f.add(forgedEntry{header: resum(h)})
		}},
		{"size below zero", "contents", func(t *testing.T, f *forged) {
			h := tarHeader("07-0012/data/recordings/a.csv", 0)
			copy(h[124:136], "-0000000001\x00")
			f.add(forgedEntry{header: resum(h)})
		}},
		{"name in the prefix field", "contents", func(t *testing.T, f *forged) {
			h := tarHeader("07-0012/data/recordings/a.csv", 0)
			copy(h[345:], "../..")
			f.add(forgedEntry{header: resum(h)})
		}},
		{"another size for other readers", "contents", func(t *testing.T, f *forged) {
			f.add(tarEntry(t, tar.Header{Typeflag: tar.TypeReg, Name: "07-0012/data/tubes.csv", Format: tar.FormatPAX,
				PAXRecords: map[string]string{"OUTBREATH.x": "y", "path": "../../x"}}, "x"))
		}},
		{"checksum of the header wrong", "contents", func(t *testing.T, f *forged) {
			h := tarHeader("07-0012/data/recordings/a.csv", 0)
			h[150] ^= 1
			f.add(forgedEntry{header: h[:]})
		}},
		{"record named as a device", "contents", named(sessions + "CON.json")},
		{"recording named as a port", "contents", named(recordings + "com1.csv")},
		{"recording named as a device, two endings", "contents", named(recordings + "Aux.x.csv")},
		{"name of full-width letters", "contents", named(recordings + "Ａ.csv")},
		{"name that reads from right to left", "contents", named(recordings + "a\u202egpj.csv")},
		{"name of an escape sequence", "contents", named(recordings + "\x1b]0;x\x07.csv")},
		{"name not UTF-8", "contents", named(recordings + "\xff\xfe.csv")},

		{"bomb: 500,000 files", "records", func(t *testing.T, f *forged) {
			f.zst = func([]byte) []byte { return manyFiles(500_000) }
		}},
		{"records full of values", "records", func(t *testing.T, f *forged) {
			for i := range 8 {
				f.add(forgedEntry{name: fmt.Sprintf("%sX%d.json", sessions, i), data: `{"tubes":[` +
					strings.Repeat("{},", (maxRecord-20)/3) + "{}]}"})
			}
			f.label.Sessions += 8
		}},
		{"records of brackets", "records", func(t *testing.T, f *forged) {
			for i := range 8 {
				f.add(forgedEntry{name: fmt.Sprintf("%sX%d.json", sessions, i), data: strings.Repeat("[", maxRecord)})
			}
			f.label.Sessions += 8
		}},
		{"records of long notes", "records", func(t *testing.T, f *forged) {
			for i := range 8 {
				f.add(forgedEntry{name: fmt.Sprintf("%sX%d.json", sessions, i), data: `{"notes":"` +
					strings.Repeat(`\u001b`, (maxRecord-20)/6) + `"}`})
			}
			f.label.Sessions += 8
		}},
		{"list of tubes of short rows", "records", full("data/tubes.csv", strings.Join(tubesHeader, ",")+"\n",
			"a,,,,,\n", "")},
		{"list of tubes of one row", "records", full("data/tubes.csv", strings.Join(tubesHeader, ",")+"\n", "a,",
			"\n")},
		{"handling list of short rows", "records", full("data/handling.csv", "", "a\n", "")},
		{"handling list of commas", "records", full("data/handling.csv", "barcode,analyse\n", ",", "\n")},
		{"handling list of one quoted text", "records", full("data/handling.csv", "barcode,analyse\n\"", "\n", "")},
		{"treatment full of values", "records", full("data/treatment.json", "[", "0,", "0]")},
		{"treatment full of escapes", "records", full("data/treatment.json", `"`, `\u001b`, `\"`)},
		{"summary full of values", "records", full("data/recordings/summary.json", `{"recordings":[`, "{},", "{}]}")},
		{"schema full of rules", "records", full("data/session.schema.json", `{"type":"object","allOf":[`, "{},",
			"{}]}")},
		{"schema of a hard pattern", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/session.schema.json").data = `{"type":"object","patternProperties":{"((((a{1,99}){1,99}){1,99}){1,99})*b":{}}}`
		}},
		{"schema that refers to itself", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/session.schema.json").data = `{"$ref":"#"}`
		}},
		{"schema that refers to a file", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/session.schema.json").data = `{"$ref":"file:///etc/passwd"}`
		}},
		{"manifest of 33 MB", "contents", tagOf(bag.Manifest, strings.Repeat("x", 1<<20), 33)},
		{"manifest of line ends", "checksums", tagOf(bag.Manifest, strings.Repeat("\n", 1<<20), 32)},
		{"bag-info of short continuations", "contents", tagOf(bag.Info, "A: b\n"+strings.Repeat(" \n", 1<<19), 1)},
		{"bagit.txt of 16 MB", "contents", tagOf(bag.Bagit, strings.Repeat("\r", 1<<20), 16)},
	}
}

func tagOf(name, piece string, n int) func(*testing.T, *forged) {
	return func(_ *testing.T, f *forged) {
		f.entries = append(f.entries, forgedEntry{name: name, data: strings.Repeat(piece, n)})
	}
}

// resum returns h with its checksum made anew.
func resum(h [tarBlock]byte) []byte {
	copy(h[148:], "        ")
	sum := 0
	for _, b := range h {
		sum += int(b)
	}
	copy(h[148:], fmt.Sprintf("%06o\x00 ", sum))
	return h[:]
}

// manyFiles returns a compressed tar stream of n empty recordings.
func manyFiles(n int) []byte {
	enc, err := zstd.NewWriter(nil)
	if err != nil {
		panic(err)
	}
	var plain, packed []byte
	for i := range n {
		h := tarHeader(fmt.Sprintf("07-0012/data/recordings/%07d.csv", i), 0)
		if plain = append(plain, h[:]...); len(plain) == pieceSize || i == n-1 {
			packed, plain = enc.EncodeAll(plain, packed), plain[:0]
		}
	}
	return packed
}
