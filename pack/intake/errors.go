package intake

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"outbreath/pack/durable"
)

// A Fault is the kind of an [Error]. Its values are stable, for callers that choose
// their advice by them.
type Fault string

const (
	NoFolder         Fault = "no-folder"          // Path is no folder
	NotShipment      Fault = "not-a-shipment"     // Path is no shipment itself, but Inside are
	SiteKeys         Fault = "site-keys"          // the key folder at Path is a site's
	Nameless         Fault = "nameless"           // the key folder at Path lacks the name of the laboratory
	BadText          Fault = "bad-text"           // a remark, or who verified, is not for a receipt; Err says why
	NoReceiptFolder  Fault = "no-receipt-folder"  // the folder of the receipt at Path is not there
	NotReceiptFolder Fault = "not-receipt-folder" // Path is no folder, and there are Count shipments
	Occupied         Fault = "occupied"           // Path already exists
	BadStation       Fault = "bad-station"        // the station's name is empty, too long or has control characters
)

// An Error states why intake cannot begin, or cannot take a path for a shipment. What to
// do about it follows from Fault.
type Error struct {
	Fault  Fault
	Path   string   // as it was named; "" where Fault has none
	Inside []string // paths of the shipments in Path, with NotShipment; at least one
	Count  int      // of the shipments, with NotReceiptFolder
	Err    error    // with BadText: words that follow "it"
}

func (e *Error) Error() string {
	path := durable.Quote(e.Path)
	switch e.Fault {
	case NoFolder:
		return "there is no folder at " + path
	case NotShipment:
		return fmt.Sprintf("%s is not a shipment, but holds some: %s", path, e.inside())
	case SiteKeys:
		return path + " is a site's key folder, which cannot open shipments"
	case Nameless:
		return "the key folder does not say the laboratory's name"
	case BadText:
		return fmt.Sprintf("a text for the receipt cannot be used: it %s", e.Err)
	case NoReceiptFolder:
		return "there is no folder for the receipt " + path
	case NotReceiptFolder:
		return fmt.Sprintf("%s is not a folder for receipts, and there are %d shipments", path, e.Count)
	case Occupied:
		return path + " already exists; it was not touched"
	case BadStation:
		return "this station has no name that the register can take"
	}
	return string(e.Fault)
}

func (e *Error) Unwrap() error { return e.Err }

// mostNamed is how many of several names a message gives.
const mostNamed = 5

// inside names the first shipments in e.Path.
func (e *Error) inside() string {
	var names []string
	for _, at := range e.Inside {
		name, err := filepath.Rel(e.Path, at)
		if err != nil {
			name = at
		}
		names = append(names, durable.Quote(name))
	}
	return someOf(names)
}

// someOf lists the first of names, and how many more there are.
func someOf(names []string) string {
	if n := len(names) - mostNamed; n > 0 {
		names = append(names[:mostNamed:mostNamed], fmt.Sprintf("and %d more", n))
	}
	return strings.Join(names, ", ")
}

// ErrNotAsked is the reason of the check "register" of a shipment that was unpacked
// without asking a register.
var ErrNotAsked = errors.New("no register was asked")

// A ReceiptError is a receipt that was not written. The shipments were verified and
// entered all the same.
type ReceiptError struct {
	Shipment string // its number
	Err      error
}

func (e *ReceiptError) Error() string {
	return fmt.Sprintf("the receipt of %s was not written: %s", durable.Quote(e.Shipment), e.Err)
}

func (e *ReceiptError) Unwrap() error { return e.Err }
