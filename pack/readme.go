package pack

import (
	"bytes"
	"strings"
	"text/template"
	"unicode"
)

// readmeWidth is the longest line of READ-ME-FIRST.txt, in characters.
const readmeWidth = 78

// readme returns READ-ME-FIRST.txt: what the folder is, whom a finder should
// call, and how to check and open it with this tool or with stock tools alone.
// The indented lines are commands that a test runs as they are.
func readme(l *label, contact string) []byte {
	var b bytes.Buffer
	err := readmeText.Execute(&b, map[string]any{"L": l, "Contact": wrap(contact, "    "),
		"Archive": partName(l.Shipment, 0, 1), "Many": len(l.Parts) > 1})
	if err != nil {
		panic(err) // a fixed text and a label that was checked
	}
	return b.Bytes()
}

// usualReadme reports whether data are what readme writes for l, whoever the contact is.
func usualReadme(l *label, data []byte) bool {
	before, after, _ := bytes.Cut(readme(l, "contact"), []byte("    contact\n"))
	rest, ok := bytes.CutPrefix(data, before)
	if !ok {
		return false
	}
	contact, ok := bytes.CutSuffix(rest, after)
	for line := range bytes.Lines(contact) {
		ok = ok && bytes.HasPrefix(line, []byte("    ")) && line[len(line)-1] == '\n'
	}
	return ok && len(contact) > 0
}

var readmeText = template.Must(template.New("").Parse(`SHIPMENT {{.L.Shipment}} OF STUDY {{.L.Study}}, SITE {{.L.Site}}

WHAT THIS IS

This folder holds sealed data of a medical research study. It is encrypted:
only the laboratory to which it is addressed can open it. It belongs to a box
of sample tubes.

IF YOU FOUND IT

Please do not open, copy, change or throw away anything. Please tell:

{{.Contact}}

and say the number {{.L.Shipment}}. Thank you.

AT THE LABORATORY, WITH OUTBREATH

Copy nothing by hand. With the medium plugged in, check the shipment, then
open it into a folder that does not exist yet, on the laboratory's own
encrypted disk and never on this medium. Work in a folder there; SHIPMENT is
the path of the folder in which this file is:

    outbreath verify "$SHIPMENT"
    outbreath open "$SHIPMENT" --into opened

More about both, the box and the receipt: outbreath help intake

AT THE LABORATORY, WITH STOCK TOOLS ALONE

You need age (1.3 or newer; an older one opens only what was sealed for a
classic key), zstd, tar, sha256sum, and ssh-keygen of OpenSSH 8.1 or newer;
your identity.txt, and allowed_signers with the key of site {{.L.Site}}.

Use bash, in a new folder on an encrypted disk that nobody else can read. Put
your allowed_signers and identity.txt there, or write their paths instead. If
your key folder has identity.age in place of identity.txt, write that: age
asks for its passphrase.
SHIPMENT is the path of the folder in which this file is. Stop at the first
command that reports anything but success: what was written until then must
not be used.

1. Is the shipment the one that the site signed, and undamaged?

    ssh-keygen -Y verify -f allowed_signers -I {{.L.Site}} -n shipment@outbreath {{"" -}}
      -s "$SHIPMENT/SHA256SUMS.sig" < "$SHIPMENT/SHA256SUMS"
    (cd "$SHIPMENT" && sha256sum --strict -c SHA256SUMS)

   The folder must hold the files listed there, SHA256SUMS, SHA256SUMS.sig,
   and nothing else.{{with .L.Repair}} {{.Name}} is not needed here: from it
   outbreath can mend an archive that was damaged on the way.{{end}}

2. Open it.{{if .Many}} The archive is in {{len .L.Parts}} parts, joined here in order.{{end}}

    set -o pipefail
    cat "$SHIPMENT/{{.Archive}}"{{if .Many}}.[0-9]*{{end}} | age -d -i identity.txt | zstd -d | tar -x
    cd {{.L.Shipment}}

3. Is the content whole, and is it what the site packed?

    ssh-keygen -Y verify -f ../allowed_signers -I {{.L.Site}} -n bag@outbreath {{"" -}}
      -s tagmanifest-sha256.txt.sig < tagmanifest-sha256.txt
    sha256sum --strict -c tagmanifest-sha256.txt
    sha256sum --strict -c manifest-sha256.txt
    diff <(find data -type f | LC_ALL=C sort) <(cut -c 67- manifest-sha256.txt)

   The last one must print nothing: a difference is a file that was added.

CAUTIONS

The records inside are pseudonymised. They are still data about people: treat
them as your agreement with the site says, and do not try to find out whose
they are. A good signature says who packed the data, not that they are free of
every trace of a person. If anything does not hold, keep this medium as it is
and tell the site.
`))

// wrap breaks text into lines of at most readmeWidth characters, each after
// indent. Line breaks of the text are kept, other control characters dropped.
func wrap(text, indent string) string {
	var lines []string
	for para := range strings.SplitSeq(text, "\n") {
		line := ""
		words := strings.FieldsFunc(para, func(r rune) bool { return unicode.IsSpace(r) || !unicode.IsPrint(r) })
		for _, word := range keepNumbers(words) {
			switch {
			case line == "":
				line = indent + word
			case len([]rune(line))+1+len([]rune(word)) <= readmeWidth:
				line += " " + word
			default:
				lines = append(lines, line)
				line = indent + word
			}
		}
		if line != "" {
			lines = append(lines, line)
		}
	}
	if len(lines) == 0 {
		lines = []string{indent + "the study's contact (none is given)"}
	}
	return strings.Join(lines, "\n")
}

// keepNumbers joins what is one telephone number, so that it stays on one line.
func keepNumbers(words []string) []string {
	digit := func(b byte) bool { return b >= '0' && b <= '9' }
	var out []string
	for _, w := range words {
		if n := len(out) - 1; n >= 0 && digit(w[0]) && digit(out[n][len(out[n])-1]) && len(out[n]) < 30 {
			out[n] += " " + w
			continue
		}
		out = append(out, w)
	}
	return out
}
