package pack

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"io"
	"maps"
	"slices"
	"strings"

	"github.com/klauspost/compress/zstd"

	"outbreath/pack/bag"
	"outbreath/schema"
)

// Salvage says what of a damaged archive can still be read. It is a report:
// nothing of it was accepted or written.
type Salvage struct {
	Whole   []string `json:"whole"`   // pseudonyms of sessions whose record and recordings are all whole
	Ask     []string `json:"ask"`     // of sessions that are known and not whole
	Unnamed int      `json:"unnamed"` // further sessions, of which not even the pseudonym was left
	Proven  bool     `json:"proven"`  // Whole agrees with the signed list of digests inside; false: that is damaged too
}

// salvageWork bounds how many bytes are looked at again in search of a frame.
const salvageWork = 1 << 30

// A salvager reads on behind damage. The stream is a row of chunks with holes;
// what follows a hole is thrown away up to the next compression frame, and of
// that what comes before the next tar header.
type salvager struct {
	number  string
	dec     *zstd.Decoder
	window  []byte // decrypted, not yet decompressed
	work    int64
	holed   bool // a hole came before window
	head    []byte
	name    string // of the file being read; "": none
	left    int64
	padding int64
	keep    *bytes.Buffer // of a small file
	sum     interface {
		io.Writer
		Sum([]byte) []byte
		Reset()
	}
	found   map[string][sha256.Size]byte // whole files
	records map[string][]string          // recordings that a whole record names, by pseudonym
	small   map[string][]byte            // tag files
}

// salvage reads c, and calls bad for each chunk that is damaged.
func (v *verifying) salvage(ctx context.Context, c *chunkReader, bad func(from, to int64)) (*Salvage, error) {
	dec, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
		zstd.WithDecoderMaxMemory(maxFrame), zstd.WithDecoderMaxWindow(maxFrame), zstd.WithDecodeAllCapLimit(true))
	if err != nil {
		return nil, err
	}
	defer dec.Close()
	s := &salvager{number: v.label.Shipment, dec: dec, sum: sha256.New(), work: salvageWork,
		found: make(map[string][sha256.Size]byte), records: make(map[string][]string), small: make(map[string][]byte)}
	for i := range c.chunks() {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		plain := c.open(i)
		if plain == nil {
			bad(c.place(i))
			s.hole()
			continue
		}
		s.window = append(s.window, plain...)
		s.frames()
	}
	return v.sorted(s), nil
}

// hole forgets what is not whole.
func (s *salvager) hole() {
	s.window, s.holed = s.window[:0], true
	s.lose()
}

func (s *salvager) lose() { s.head, s.name, s.left, s.padding, s.keep = s.head[:0], "", 0, 0, nil }

var frameMagic = []byte{0x28, 0xB5, 0x2F, 0xFD}

// frames takes whole frames off the window.
func (s *salvager) frames() {
	for {
		if s.holed {
			i := bytes.Index(s.window, frameMagic)
			if i < 0 {
				s.window = s.window[max(0, len(s.window)-3):]
				return
			}
			s.window = s.window[i:]
		}
		if s.work -= int64(len(s.window)); s.work < 0 {
			s.window = nil
			return
		}
		frame, size, err := readFrame(bufio.NewReader(bytes.NewReader(s.window)), nil)
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			return // more is to come
		}
		q := &piece{packed: frame, size: size, err: err}
		if err == nil {
			q.store = make([]byte, size)
			q.unpack(s.dec)
		}
		if q.err != nil {
			s.holed = true
			s.lose()
			s.window = s.window[1:]
			continue
		}
		s.window, s.holed = slices.Clone(s.window[len(frame):]), false
		s.take(q.plain)
	}
}

// take reads on in the tar stream. Frames begin at a multiple of tarBlock.
func (s *salvager) take(b []byte) {
	for len(b) > 0 {
		var n int
		switch {
		case s.left > 0:
			n = int(min(s.left, int64(len(b))))
			s.sum.Write(b[:n])
			if s.keep != nil {
				s.keep.Write(b[:n])
			}
			if s.left -= int64(n); s.left == 0 {
				s.file()
			}
		case s.padding > 0:
			n = int(min(s.padding, int64(len(b))))
			s.padding -= int64(n)
		default:
			n = min(tarBlock-len(s.head), len(b))
			if s.head = append(s.head, b[:n]...); len(s.head) == tarBlock {
				s.header([tarBlock]byte(s.head))
				s.head = s.head[:0]
			}
		}
		b = b[n:]
	}
}

// header begins a file; a block that is no header is passed over.
func (s *salvager) header(h [tarBlock]byte) {
	name, size, err := parseTarHeader(&h)
	path, ok := strings.CutPrefix(name, s.number+"/")
	if err != nil || !ok || size > maxTotal || len(s.found) >= maxEntries {
		return
	}
	s.name, s.left, s.padding, s.keep = path, size, tarPadding(size), nil
	s.sum.Reset()
	payload, isPayload := strings.CutPrefix(path, "data/")
	switch {
	case isPayload && kindOf(payload) == sessionFile && size <= maxRecord,
		slices.Contains(tagNames[:], path) && size <= maxManifest:
		s.keep = new(bytes.Buffer)
	}
	if size == 0 {
		s.file()
	}
}

// file notes a whole file.
func (s *salvager) file() {
	s.found[s.name] = [sha256.Size]byte(s.sum.Sum(nil))
	if s.keep == nil {
		return
	}
	if id := sessionOf(s.name); id != "" {
		if n, err := schema.ParseJSON(s.keep.Bytes()); err == nil {
			s.records[id] = []string{}
			for _, rec := range items(n, "recordings") {
				s.records[id] = append(s.records[id], "data/"+text(rec, "file"))
			}
		}
	} else {
		s.small[s.name] = s.keep.Bytes()
	}
	s.keep = nil
}

// sessionOf returns the pseudonym in the name of a record or a recording, and
// "" for other files.
func sessionOf(path string) string {
	name, _ := strings.CutPrefix(path, "data/")
	switch kindOf(name) {
	case sessionFile:
		return strings.TrimSuffix(strings.TrimPrefix(name, "sessions/"), ".json")
	case recordingFile:
		base := strings.TrimPrefix(name, "recordings/")
		if i := strings.LastIndexByte(base, '-'); i > 0 {
			return base[:i]
		}
	}
	return ""
}

// sorted separates the sessions that are whole from the others.
func (v *verifying) sorted(s *salvager) *Salvage {
	out := &Salvage{Whole: []string{}, Ask: []string{}}
	signed := v.signedInside(s)
	out.Proven = signed != nil
	good := func(path string) bool {
		sum, ok := s.found[path]
		return ok && (signed == nil || signed[path] == sum)
	}
	known := make(map[string]bool)
	for path := range s.found {
		known[sessionOf(path)] = true
	}
	for path := range signed {
		known[sessionOf(path)] = true
	}
	delete(known, "")
	for _, id := range slices.Sorted(maps.Keys(known)) {
		recordings, read := s.records[id]
		whole := read && good("data/sessions/"+id+".json")
		for _, path := range recordings {
			whole = whole && good(path)
		}
		if whole {
			out.Whole = append(out.Whole, id)
		} else {
			out.Ask = append(out.Ask, id)
		}
	}
	out.Unnamed = max(0, v.label.Sessions-len(known))
	return out
}

// signedInside returns the digests of the payload if their list and the site's
// signature on it are whole; else nil.
func (v *verifying) signedInside(s *salvager) map[string][sha256.Size]byte {
	tags := s.small[bag.TagManifest]
	if tags == nil || v.o.Allowed.Verify(tags, s.small[tagSigName], v.label.Site, bagNamespace, v.o.Now) != nil {
		return nil
	}
	listed, err := bag.ParseManifest(tags, false)
	if err != nil || !slices.Contains(listed, bag.Entry{Path: bag.Manifest, SHA256: s.found[bag.Manifest]}) {
		return nil
	}
	payload, err := bag.ParseManifest(s.small[bag.Manifest], true)
	if err != nil {
		return nil
	}
	signed := make(map[string][sha256.Size]byte)
	for _, e := range payload {
		signed[e.Path] = e.SHA256
	}
	return signed
}
