package pack

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// ReceiptNamespace is what a receipt's signature is made for (SSHSIG).
const ReceiptNamespace = "receipt@outbreath"

const (
	receiptFormat = "outbreath-receipt-1"
	// MaxReceipt bounds a receipt, in bytes: 50,000 tubes need about 2 MB.
	MaxReceipt = 8 << 20
	maxRemark  = 2000 // bytes
	maxDetail  = 64 << 10
)

// A Receipt is the laboratory's statement about one shipment. What is signed is
// its [Receipt.Format]: JSON that a person can read, so that it and its
// signature can be checked by ssh-keygen alone. It holds name, date and meaning,
// as 21 CFR 11.50(a) wants of a signed record.
type Receipt struct {
	Kind       string        `json:"format"`
	Statement  string        `json:"statement"` // the meaning of the signature
	Shipment   string        `json:"shipment"`
	Study      string        `json:"study"`  // "" when the label could not be believed
	Site       string        `json:"site"`   // likewise
	Sealed     string        `json:"sealed"` // likewise; "2026-11-25"
	Decision   Decision      `json:"decision"`
	Archive    string        `json:"archive_sha256"` // [ArchiveDigest], as the site signed it; "" if not believed
	Parts      []Part        `json:"parts"`
	Objections []Check       `json:"objections"`       // checks that failed
	Damage     *Damage       `json:"damage,omitempty"` // of the archive as it arrived: what to ask the site for again
	Tubes      *ReceiptTubes `json:"tubes"`            // null: the box was not compared
	Remarks    []string      `json:"remarks"`          // on the condition of box, tubes and medium
	Laboratory string        `json:"laboratory"`       // who signs: the name that the site trusts
	By         string        `json:"by"`
	At         time.Time     `json:"at"` // UTC, whole seconds
}

// ReceiptTubes are the lists of a [TubeMatch].
type ReceiptTubes struct {
	Matched    []string `json:"matched"`
	Missing    []string `json:"missing"`
	Unexpected []string `json:"unexpected"`
}

// statements are what the laboratory's signature means.
var statements = map[Decision]string{
	Accepted: "The laboratory received this shipment, verified it, and accepts it.",
	Discrepancies: "The laboratory received this shipment, verified it, " +
		"and accepts it with the discrepancies named here.",
	Rejected: "The laboratory received this shipment, could not accept it for the reasons named here, " +
		"and uses nothing of it.",
}

// NewReceipt makes the receipt for a verdict. The error, which completes "the receipt", is
// of a shipment whose number is not known or of a text which [ReceiptText] refuses.
func NewReceipt(v *Verdict, laboratory, by string, remarks []string, at time.Time) (*Receipt, error) {
	r := &Receipt{
		Kind: receiptFormat, Statement: statements[v.Decision],
		Shipment: v.Shipment, Study: v.Study, Site: v.Site, Sealed: v.Sealed,
		Decision: v.Decision, Archive: v.Archive, Parts: append([]Part{}, v.Parts...),
		Damage:     v.Damage,
		Objections: []Check{}, Remarks: append([]string{}, remarks...),
		Laboratory: laboratory, By: by, At: at.UTC().Truncate(time.Second),
	}
	for _, c := range v.Checks {
		if !c.OK {
			r.Objections = append(r.Objections, c)
		}
	}
	if v.Tubes != nil {
		r.Tubes = &ReceiptTubes{v.Tubes.Matched, v.Tubes.Missing, v.Tubes.Unexpected}
	}
	if err := r.check(); err != nil {
		return nil, err
	}
	return r, nil
}

// Format returns the receipt as it is signed. Equal receipts give equal bytes.
func (r *Receipt) Format() []byte {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(r); err != nil {
		panic(err) // strings, integers and a time that was checked
	}
	return b.Bytes()
}

// ParseReceipt reads exactly what Format writes, of at most [MaxReceipt] bytes. It does not
// check a signature. The error completes "the receipt" and holds no content of data.
func ParseReceipt(data []byte) (*Receipt, error) {
	if len(data) > MaxReceipt {
		return nil, fmt.Errorf("is longer than %d bytes", MaxReceipt)
	}
	var named struct {
		Format string `json:"format"`
	}
	other := json.Unmarshal(data, &named) == nil && named.Format != receiptFormat
	if other && strings.HasPrefix(named.Format, "outbreath-receipt-") {
		return nil, ErrLaterReceipt
	}
	r := new(Receipt)
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(r); err != nil {
		return nil, errors.New("is not a receipt, or is damaged")
	}
	if err := r.check(); err != nil {
		return nil, err
	}
	if !bytes.Equal(r.Format(), data) {
		return nil, errors.New("is not in the form that outbreath writes: it was changed, or damaged on its way")
	}
	return r, nil
}

// ErrLaterReceipt is the error of a receipt in a later format than this program reads.
var ErrLaterReceipt = errors.New("was written by a later version of outbreath")

// check returns what is wrong with r, in words that follow "the receipt", or nil.
func (r *Receipt) check() error {
	for _, wrong := range []error{r.checkHead(), r.checkLists(), r.checkParts(), r.checkTexts()} {
		if wrong != nil {
			return wrong
		}
	}
	return nil
}

var errReceiptParts = errors.New("does not name the archive's digest and parts as they must be")

// checkHead looks at what is decided, about which shipment, by whom.
func (r *Receipt) checkHead() error {
	known := r.Site != ""
	switch {
	case r.Kind != receiptFormat:
		return errors.New("is not a receipt, or is damaged")
	case statements[r.Decision] == "" || r.Statement != statements[r.Decision]:
		return errors.New("states no decision that is known")
	case !shipmentNumber.MatchString(r.Shipment):
		return errors.New("cannot name the shipment: its number could not be read")
	case known && (checkNumber(r.Shipment, r.Site) != nil || !studyCode.MatchString(r.Study)),
		!known && (r.Decision != Rejected || r.Study != "" || r.Archive != ""):
		return errors.New("does not say which study and site the shipment is of")
	case r.Laboratory == "" || r.By == "" || r.At.IsZero() || r.At.Location() != time.UTC || r.At.Year() > 9999:
		return errors.New("does not say who made it, and when")
	}
	return nil
}

// checkLists looks at which lists there are, and whether they fit the decision.
func (r *Receipt) checkLists() error {
	misfit := errors.New("has lists that do not fit its decision")
	if r.Parts == nil || r.Objections == nil || r.Remarks == nil {
		return misfit
	}
	if (r.Decision == Accepted) != (len(r.Objections) == 0) {
		return misfit
	}
	if r.Tubes == nil {
		return nil
	}
	if r.Tubes.Matched == nil || r.Tubes.Missing == nil || r.Tubes.Unexpected == nil {
		return misfit
	}
	if r.Decision == Accepted && len(r.Tubes.Missing)+len(r.Tubes.Unexpected) > 0 {
		return errors.New("accepts a box that does not agree")
	}
	return nil
}

// checkParts looks at the archive's digest and parts. A rejected shipment may have none.
func (r *Receipt) checkParts() error {
	if r.Archive == "" {
		if r.Decision != Rejected || len(r.Parts) > 0 {
			return errReceiptParts
		}
	} else if len(r.Parts) == 0 || len(r.Parts) > maxParts || r.Archive != ArchiveDigest(r.Parts) {
		return errReceiptParts
	}
	for i, p := range r.Parts {
		raw, err := hex.DecodeString(p.SHA256)
		if err != nil || len(raw) != 32 || p.Name != partName(r.Shipment, i, len(r.Parts)) || p.Bytes <= 0 {
			return errReceiptParts
		}
	}
	if r.Damage != nil && !r.Damage.plain(r.Parts) {
		return errors.New("speaks of damage in a way that it must not")
	}
	return nil
}

// checkTexts looks at everything that a person reads.
func (r *Receipt) checkTexts() error {
	texts := append([]string{r.Laboratory, r.By, r.Sealed}, r.Remarks...)
	for _, c := range r.Objections {
		texts = append(texts, c.Name)
		d := c.Detail
		if len(d) > maxDetail || !utf8.ValidString(d) || strings.ContainsFunc(d, unicode.IsControl) {
			return errors.New("has an objection that is too long, or of more than one line")
		}
	}
	for _, s := range texts {
		if err := ReceiptText(s); err != nil {
			return fmt.Errorf("holds a text that %w", err)
		}
	}
	return nil
}

// ReceiptText returns why a remark or a name cannot be in a receipt, or nil if it can.
func ReceiptText(s string) error {
	if len(s) > maxRemark || !utf8.ValidString(s) || strings.ContainsFunc(s, unicode.IsControl) {
		return fmt.Errorf("has more than %d bytes, more than one line, or a control character", maxRemark)
	}
	return nil
}
