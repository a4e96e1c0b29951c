package demo

import (
	"errors"
	"os"
	"path/filepath"
	"strconv"
)

// writeRecording writes one recording of session i and completes r.
func writeRecording(dir string, o Options, t *Truth, i int, r *Recording, s Session) error {
	var events []event
	// A recording too short to hold the event whole is without it.
	if coughs(i) && r.Seconds > coughSecond+coughSeconds+10 {
		events = append(events, event{cough, coughSecond, coughSecond + coughSeconds})
	}
	if maskOff(i) && r.Seconds > maskSecond+maskSeconds+10 {
		events = append(events, event{maskOffAir, maskSecond, maskSecond + 8})
		r.MaskOff = true
	}
	c := newCurve(o.Seed, s.Row, i, o.SampleHz, events)
	return writeCSV(filepath.Join(dir, filepath.FromSlash(r.File)), c, r)
}

func writeCSV(path string, c *curve, r *Recording) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	const block = 256 << 10
	buf := make([]byte, 0, block+64)
	buf = append(buf, "t_s,co2_kpa,pressure_pa\n"...)
	unit, digits := int64(100), 2
	if 100%r.Hz != 0 {
		unit, digits = 1000, 3
	}
	rows := int64(r.Seconds) * int64(r.Hz)
	for k := range rows {
		co2, pressure := c.sample()
		buf = appendFixed(buf, k*unit/int64(r.Hz), digits)
		buf = append(buf, ',')
		buf = appendFixed(buf, co2, 2)
		buf = append(buf, ',')
		buf = appendFixed(buf, pressure, 1)
		buf = append(buf, '\n')
		if len(buf) >= block {
			if _, err := f.Write(buf); err != nil {
				return errors.Join(err, f.Close())
			}
			buf = buf[:0]
		}
	}
	c.finish(r)
	_, err = f.Write(buf)
	return errors.Join(err, f.Close())
}

// appendFixed appends v with its last digits (1 to 3) behind the point.
func appendFixed(b []byte, v int64, digits int) []byte {
	if v < 0 {
		b, v = append(b, '-'), -v
	}
	ten := [...]int64{1, 10, 100, 1000}[digits]
	b = strconv.AppendInt(b, v/ten, 10)
	b = append(b, '.')
	for rest := v % ten; digits > 0; digits-- {
		ten /= 10
		b = append(b, byte('0'+rest/ten))
		rest %= ten
	}
	return b
}
