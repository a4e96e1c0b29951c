package sessionlog

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// A clock is a time of day. 24:00 is the end of the day.
type clock struct {
	hour, minute, second int
	fraction             string // digits behind the second's point, without zeros at the end; "" for none
	offset               string // "Z" or "+01:00" as written; "" where none is
}

func (c clock) String() string {
	s := fmt.Sprintf("%02d:%02d:%02d", c.hour, c.minute, c.second)
	if c.fraction != "" {
		s += "." + c.fraction
	}
	return s
}

// sinceMidnight is exact to the nanosecond.
func (c clock) sinceMidnight() time.Duration {
	d := time.Duration(c.hour)*time.Hour + time.Duration(c.minute)*time.Minute + time.Duration(c.second)*time.Second
	if c.fraction != "" {
		n, _ := strconv.Atoi((c.fraction + "000000000")[:9])
		d += time.Duration(n)
	}
	return d
}

var (
	// 9:10, 09:10:30, 9.10, 9h10, 9 h 10 min, 09:10:30.5, 9:10 am, 9:10 Uhr, 09:10:00+01:00
	clockForm = regexp.MustCompile(`(?i)^([0-9]{1,2}) ?(?:[:.]|h|uhr|H) ?([0-9]{2})(?: ?(?:[:.]|min|m|') ?([0-9]{2})` +
		`(?:[.,]([0-9]{1,9}))?)? ?(?:s|sec|min|m|h|uhr|hrs?|o'clock)?\.? ?` + tail)
	solidClock = regexp.MustCompile(`(?i)^([0-9]{2})([0-9]{2})([0-9]{2})?()(?: ?(?:h|uhr|hrs?))? ?` + tail)
	loneClock  = regexp.MustCompile(`^[0-9]{1,2}[.,][0-9]$`)
	hourClock  = regexp.MustCompile(`(?i)^([0-9]{1,2})()()() ?(?:h|uhr|o'clock)?\.? ?` + tail)
)

// tail is what may follow the digits: half of the day, and the offset from UTC.
const tail = `([ap]\.? ?m\.?)? ?(Z|UTC|GMT|(?:UTC|GMT)?[+-][0-9]{1,2}(?::?[0-9]{2})?)?$`

// readClock reads a time of day. ok is false if s is none. lone says that s is one
// number whose places are not certain: "9.1" may be ten past nine or one minute past.
func readClock(s string) (c clock, lone, ok bool) {
	s = clean(s)
	if loneClock.MatchString(s) {
		return c, true, true
	}
	m := clockForm.FindStringSubmatch(s)
	if m == nil {
		m = solidClock.FindStringSubmatch(s)
	}
	if m == nil {
		// an hour alone is a time only where a word says so
		if m = hourClock.FindStringSubmatch(s); m == nil || allDigits.MatchString(s) {
			return c, false, false
		}
	}
	number := func(s string) int { n, _ := strconv.Atoi(s); return n }
	c = clock{number(m[1]), number(m[2]), number(m[3]), strings.TrimRight(m[4], "0"), ""}
	switch half := strings.ToLower(strings.NewReplacer(".", "", " ", "").Replace(m[5])); {
	case half == "":
	case c.hour < 1 || c.hour > 12:
		return c, false, false
	case half == "am":
		c.hour %= 12
	default:
		c.hour = c.hour%12 + 12
	}
	if c.offset, ok = readOffset(m[6]); !ok {
		return c, false, false
	}
	return c, false, c.valid()
}

func (c clock) valid() bool {
	return c.hour < 24 && c.minute < 60 && c.second < 60 || c.hour == 24 && c.minute+c.second == 0 && c.fraction == ""
}

// readOffset puts a distance from UTC into the form of RFC 3339.
func readOffset(s string) (string, bool) {
	s = strings.ToUpper(s)
	if s == "" || s == "Z" {
		return s, true
	}
	s = strings.TrimPrefix(strings.TrimPrefix(s, "UTC"), "GMT")
	if s == "" {
		return "Z", true
	}
	hours, minutes, _ := strings.Cut(s[1:], ":")
	if minutes == "" && len(hours) > 2 {
		hours, minutes = hours[:len(hours)-2], hours[len(hours)-2:]
	}
	h, _ := strconv.Atoi(hours)
	m, _ := strconv.Atoi(minutes)
	if h > 14 || m > 59 {
		return "", false
	}
	return fmt.Sprintf("%c%02d:%02d", s[0], h, m), true
}

// serialClock reads a time that a spreadsheet keeps as a part of a day, to the second.
func serialClock(decimal string) (clock, bool) {
	f, err := strconv.ParseFloat(decimal, 64)
	if err != nil || f <= 0 || f >= 1 {
		return clock{}, false
	}
	s := int(f*86400 + 0.5)
	if s >= 86400 {
		return clock{}, false
	}
	return clock{hour: s / 3600, minute: s / 60 % 60, second: s % 60}, true
}

// stamp puts day, time and offset together as RFC 3339 asks.
func stamp(d day, c clock, offset string) string {
	if c.hour == 24 {
		d, c.hour = d.add(1), 0
	}
	return d.String() + "T" + c.String() + offset
}

// offsets returns the offsets that a local time has in a zone: one, two in the hour
// that comes twice, none in the hour that is left out.
func offsets(d day, c clock, zone *time.Location) []string {
	if c.hour == 24 {
		d, c.hour = d.add(1), 0
	}
	want := d.String() + " " + fmt.Sprintf("%02d:%02d:%02d", c.hour, c.minute, c.second)
	var found []string
	// An offset that is right is that of the zone a day before, at, or after the time.
	at := d.time().Add(c.sinceMidnight())
	for _, near := range []time.Duration{-24 * time.Hour, 0, 24 * time.Hour} {
		_, seconds := at.Add(near).In(zone).Zone()
		t := at.Add(-time.Duration(seconds) * time.Second).In(zone)
		if t.Format("2006-01-02 15:04:05") != want {
			continue
		}
		if o := t.Format("Z07:00"); len(found) == 0 || found[len(found)-1] != o {
			if len(found) < 2 && (len(found) == 0 || found[0] != o) {
				found = append(found, o)
			}
		}
	}
	return found
}
