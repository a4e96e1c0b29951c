package intake

import (
	"context"
	"strings"
	"time"

	"outbreath/pack/register"
)

// A Register is an open intake register, in which verdicts are entered in the name of
// one station. Its zero value cannot be used.
type Register struct {
	*register.Register
	Station string // 1 to 100 bytes, no ASCII control character

	// Reuse is after how many days a barcode of another shipment counts as that of a
	// tube which was used again; 0: it never does.
	Reuse int
}

// OpenRegister opens the register at an address, as [register.Open] does, for a station.
// The error is an *[Error] with Fault BadStation, or that of register.Open.
func OpenRegister(ctx context.Context, address, station string, waiting func(holder string)) (*Register, error) {
	const longest = 100                                          // bytes
	control := func(r rune) bool { return r < ' ' || r == 0x7f } // of ASCII
	if station == "" || len(station) > longest || strings.ContainsFunc(station, control) {
		return nil, &Error{Fault: BadStation}
	}
	r, err := register.Open(ctx, address, waiting)
	if err != nil {
		return nil, err
	}
	return &Register{Register: r, Station: station}, nil
}

// Settle notes that a shipment is settled with its site, why, and by which station; see
// [register.Register.Settle]. study may be "".
func (r *Register) Settle(
	ctx context.Context, study, shipment, why string, now time.Time,
) (register.Settlement, error) {
	s := register.Settlement{Study: study, Shipment: shipment, Why: why, Station: r.Station, When: now}
	return r.Register.Settle(ctx, s)
}
