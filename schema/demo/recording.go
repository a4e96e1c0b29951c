package demo

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"sync"
)

// writeRecordings writes the recordings of all sessions, a few at a time.
func writeRecordings(dir string, o Options, t *Truth) error {
	numbers := make(chan int)
	failed := make([]error, runtime.GOMAXPROCS(0))
	var wg sync.WaitGroup
	for w := range failed {
		wg.Go(func() {
			for i := range numbers {
				for k := range t.Sessions[i].Recordings {
					if failed[w] == nil {
						failed[w] = writeRecording(dir, o, t, i, k)
					}
				}
			}
		})
	}
	for i := range t.Sessions {
		numbers <- i
	}
	close(numbers)
	wg.Wait()
	return errors.Join(failed...)
}

// writeRecording writes recording k of session i and completes the truth of it.
func writeRecording(dir string, o Options, t *Truth, i, k int) error {
	s := &t.Sessions[i]
	r := &s.Recordings[k]
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
	path := filepath.Join(dir, filepath.FromSlash(r.File))
	if r.Format == "edf" {
		return writeEDF(path, c, r, s, t.Roster[s.Row])
	}
	return writeCSV(path, c, r)
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
	var text [16]byte
	u, i := uint32(v), len(text)
	for ; digits >= 0 || u > 0; digits-- {
		if digits == 0 {
			i--
			text[i] = '.'
		}
		i--
		text[i] = byte('0' + u%10)
		u /= 10
	}
	return append(b, text[i:]...)
}
