package pack

import (
	"bytes"
	"encoding/json"
)

// NoticeNamespace is the SSHSIG namespace of notices.
const NoticeNamespace = "notice@outbreath"

const noticeFormat = "outbreath-withdrawal-1"

// A Notice informs the laboratory that a subject's consent was withdrawn: what to
// find and take out, and nothing about who or why.
type Notice struct {
	Format     string   `json:"format"`
	Study      string   `json:"study"`
	Site       string   `json:"site"`
	Pseudonyms []string `json:"pseudonyms"` // one of each key generation
	Shipments  []string `json:"shipments"`
	Tubes      []string `json:"tubes"` // barcodes
}

// NewNotice makes a notice; lists that are nil become empty.
func NewNotice(study, site string, pseudonyms, shipments, tubes []string) *Notice {
	return &Notice{noticeFormat, study, site, append([]string{}, pseudonyms...), append([]string{}, shipments...),
		append([]string{}, tubes...)}
}

// Encode returns the file that is signed: JSON, indented, with a line feed.
func (n *Notice) Encode() []byte {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(n); err != nil {
		panic(err) // strings only
	}
	return b.Bytes()
}
