package schema

import (
	"regexp"
	"time"
)

// formats are the formats that a schema may use. They are always checked.
//
// They are those of RFC 3339, section 5.6, restricted so that every value can be computed with:
// "T" and "Z" in upper case, at most nine digits after the point, no leap second.
var formats = map[string]func(string) bool{
	"date":      isDate,
	"date-time": isDateTime,
	"time":      isTime,
}

func isDate(s string) bool {
	_, err := time.Parse(time.DateOnly, s)
	return err == nil && len(s) == len(time.DateOnly)
}

const clock = `([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](\.[0-9]{1,9})?(Z|[+-]([01][0-9]|2[0-3]):[0-5][0-9])$`

var (
	dateTimeForm = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}T` + clock)
	timeForm     = regexp.MustCompile("^" + clock)
)

func isDateTime(s string) bool {
	_, ok := parseTime(s)
	return ok
}

func isTime(s string) bool { return timeForm.MatchString(s) }

// parseTime reads a date-time; ok is false for any text that isDateTime refuses.
func parseTime(s string) (time.Time, bool) {
	if !dateTimeForm.MatchString(s) {
		return time.Time{}, false
	}
	t, err := time.Parse(time.RFC3339Nano, s)
	return t, err == nil
}
