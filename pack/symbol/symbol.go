// Package symbol draws text as a bar code (Code 128) or as a QR code, as the path of an
// SVG picture.
package symbol

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"strings"

	"github.com/boombuler/barcode/code128"
	"github.com/boombuler/barcode/qr"
)

// A Symbol is a picture in whole modules, the quiet zone around it included.
// Path is SVG path data, filled black on white; its unit is the module.
type Symbol struct {
	Width, Height int // modules; of a bar code, Height is 1: stretch it
	Path          string
}

// Quiet zones in modules.
const (
	quietCode128 = 10 // on the left and on the right; ISO/IEC 15417, from memory
	quietQR      = 4  // on all sides; ISO/IEC 18004, from memory
)

var errText = errors.New("holds characters that this bar code has not: printable ASCII only")

// Code128 draws text as a Code 128 bar code. The error is a text that is empty, longer
// than 80 characters, or not all printable ASCII.
//
// Source: ISO/IEC 15417. 80 characters are the library's limit.
func Code128(text string) (*Symbol, error) {
	if len(text) == 0 || len(text) > 80 {
		return nil, errors.New("a bar code has 1 to 80 characters")
	}
	if strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r > '~' }) {
		return nil, errText
	}
	code, err := code128.Encode(text)
	if err != nil {
		return nil, errText
	}
	w := code.Bounds().Dx()
	return &Symbol{w + 2*quietCode128, 1, path(code, w, 1, quietCode128, 0)}, nil
}

// QR draws text as a QR code that can be read with 15 % of it spoilt (level M).
//
// Source: ISO/IEC 18004.
func QR(text string) (*Symbol, error) {
	code, err := qr.Encode(text, qr.M, qr.Auto)
	if err != nil {
		return nil, errors.New("the text is too long for a QR code")
	}
	n := code.Bounds().Dx()
	return &Symbol{n + 2*quietQR, n + 2*quietQR, path(code, n, n, quietQR, quietQR)}, nil
}

// path draws each run of dark modules of a row as one rectangle.
func path(code image.Image, w, h, left, top int) string {
	var b strings.Builder
	for y := range h {
		for x := 0; x < w; {
			run := x
			for run < w && dark(code.At(run, y)) {
				run++
			}
			if run > x {
				fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", left+x, top+y, run-x, run-x)
			}
			x = run + 1
		}
	}
	return b.String()
}

func dark(c color.Color) bool {
	r, _, _, _ := c.RGBA()
	return r < 0x8000
}
