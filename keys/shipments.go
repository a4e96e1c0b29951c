package keys

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"regexp"
	"strings"
)

// shipmentsFile lists the shipments that were sealed with this folder (site), so
// that a site which begins a new collection each week does not give one number to
// two shipments. It says nothing that a label does not say.
const shipmentsFile = "shipments.txt"

const shipmentsIntro = `# Shipments sealed with these keys: study, number, day, SHA-256 of the bag. A number must never stand for two contents.
# Written by outbreath seal.
`

// A Given is one line: "LARK-2 WEIR-0001 2026-11-25 bd6b...".
type Given struct {
	Study, Shipment string // "WEIR-0001"
	Day             string // YYYY-MM-DD
	Bag             string // SHA-256, 64 hexadecimal digits
}

var givenWord = regexp.MustCompile(`^[0-9A-Za-z-]+$`).MatchString

// Given reads which shipments were sealed with this folder, in their order. A
// missing file is an empty list.
func (f *Folder) Given() ([]Given, error) {
	data, _, err := f.read(shipmentsFile, false, maxList)
	if err != nil {
		return nil, err
	}
	var list []Given
	for n, line := range textLines(data) {
		w := strings.Fields(line)
		if len(w) != 4 || !givenWord(w[0]) || !givenWord(w[1]) || !validDay(w[2]) || !isSum(w[3]) {
			return nil, fault(f.path(shipmentsFile), "line %d is not written as STUDY NUMBER DAY SHA-256; %s", n, mendLine)
		}
		list = append(list, Given{w[0], w[1], w[2], w[3]})
	}
	return list, nil
}

func isSum(s string) bool {
	b, err := hex.DecodeString(s)
	return err == nil && len(b) == 32
}

// Give notes one more shipment, unless it stands there already.
func (f *Folder) Give(g Given) error {
	unlock, err := f.lock()
	if err != nil {
		return err
	}
	defer unlock()
	list, err := f.Given()
	if err != nil {
		return err
	}
	b := bytes.NewBufferString(shipmentsIntro)
	for _, old := range list {
		if old.Study == g.Study && old.Shipment == g.Shipment && old.Bag == g.Bag {
			return nil
		}
		old.write(b)
	}
	g.write(b)
	if b.Len() > maxList {
		return fault(f.path(shipmentsFile), "has no room for more shipments (%d bytes at most); take out the oldest lines", maxList)
	}
	return f.replace(shipmentsFile, b.Bytes())
}

func (g Given) write(b *bytes.Buffer) {
	fmt.Fprintln(b, g.Study, g.Shipment, g.Day, g.Bag)
}
