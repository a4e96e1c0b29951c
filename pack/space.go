package pack

import (
	"errors"
	"fmt"
	"io"
	"syscall"

	"github.com/klauspost/compress/zstd"

	"outbreath/deid"
)

const (
	// smallFiles is what a shipment of nothing needs: its five files, rounded
	// up to the blocks of a small medium.
	smallFiles = 5 * 4096
	// probeFiles and probeBytes bound what is packed to judge the rest by.
	probeFiles = 8
	probeBytes = 256 << 10
)

// checkSpace refuses a medium on which the shipment cannot fit, before anything is
// written: less is free than half of what the beginnings of some recordings,
// packed, suggest. In between, the writing itself finds out.
func (s *sealing) checkSpace() error {
	known := false
	for _, t := range s.targets {
		known = known || t.free >= 0
	}
	if !known {
		return nil
	}
	likely, err := s.p.likely()
	if err != nil {
		return err
	}
	for _, t := range s.targets {
		if t.free >= 0 && t.free < smallFiles+likely/2 {
			return fullError(t, smallFiles+likely, syscall.ENOSPC)
		}
	}
	return nil
}

// fullError states with figures that t is full.
func fullError(t *target, need int64, err error) error {
	return &MediaError{Path: t.media, Fault: TooSmall, Err: err,
		what: fmt.Sprintf("the medium is full: %d bytes were free, the shipment needs about %d", t.free, need)}
}

// likely estimates the bytes of the archive from the beginnings of a few files
// of known size. The error is a reader's.
func (p *payload) likely() (int64, error) {
	var probed []deid.File
	for _, f := range p.files {
		if f.Size > 0 {
			probed = append(probed, f)
		}
	}
	if len(probed) == 0 {
		return 0, nil
	}
	step := max(1, len(probed)/probeFiles)
	var plain, packed int64
	enc, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1))
	if err != nil {
		return 0, err
	}
	defer enc.Close()
	buf := make([]byte, probeBytes)
	for i := 0; i < len(probed); i += step {
		n, err := beginning(probed[i], buf)
		if err != nil {
			return 0, err
		}
		plain += int64(n)
		packed += int64(len(enc.EncodeAll(buf[:n], nil)))
	}
	if plain == 0 {
		return 0, nil
	}
	return int64(float64(packed) / float64(plain) * float64(p.total())), nil
}

// beginning reads the first bytes of f.
func beginning(f deid.File, buf []byte) (n int, err error) {
	r, err := f.Open()
	if err != nil {
		return 0, err
	}
	defer func() {
		if e := r.Close(); err == nil {
			err = e
		}
	}()
	for n < len(buf) {
		k, err := readSome(r, buf[n:])
		n += k
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return n, err
		}
	}
	return n, nil
}
