package sshsig

import (
	"bytes"
	"encoding/base64"
	"errors"
)

const (
	header = "-----BEGIN SSH SIGNATURE-----\n"
	footer = "-----END SSH SIGNATURE-----\n"
)

// armor writes blob as base64 in lines of width characters, with a line feed
// after the last.
func armor(blob []byte, width int) []byte {
	text := base64.StdEncoding.EncodeToString(blob)
	out := make([]byte, 0, len(header)+len(text)+len(text)/width+1+len(footer))
	out = append(out, header...)
	for len(text) > 0 {
		n := min(width, len(text))
		out = append(out, text[:n]...)
		out = append(out, '\n')
		text = text[n:]
	}
	return append(out, footer...)
}

// dearmor is the inverse of armor for any width. It refuses a text that armor would not write
// from the same blob: otherwise somebody could change the file and leave the signature
// valid.
func dearmor(armored []byte) ([]byte, error) {
	if len(armored) > MaxArmored {
		return nil, errors.New("too long for an SSH signature")
	}
	body, ok := bytes.CutPrefix(armored, []byte(header))
	if !ok {
		return nil, errors.New("not an SSH signature: the first line is not -----BEGIN SSH SIGNATURE-----")
	}
	body, ok = bytes.CutSuffix(body, []byte(footer))
	if !ok {
		return nil, errors.New("the SSH signature does not end with its last line and a line feed: " +
			"it was cut short or something was added")
	}
	width := bytes.IndexByte(body, '\n')
	if width < 1 {
		return nil, errors.New("the SSH signature is empty")
	}
	blob := make([]byte, base64.StdEncoding.DecodedLen(len(body)))
	n, err := base64.StdEncoding.Strict().Decode(blob, body)
	if err != nil || !bytes.Equal(armor(blob[:n], width), armored) {
		return nil, errors.New("the SSH signature's base64 text was changed")
	}
	return blob[:n], nil
}
