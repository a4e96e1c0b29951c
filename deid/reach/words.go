package reach

import (
	"fmt"
	"strings"

	"outbreath/schema"
)

// Name returns the name of a field in words: "postal code" for "/subject/postal_code".
func Name(path string) string {
	return strings.ReplaceAll(path[strings.LastIndexByte(path, '/')+1:], "_", " ")
}

// Say returns in words how the field at path is treated by t.
func Say(path string, t schema.Treatment) string {
	name := Name(path)
	switch t.Kind {
	case schema.AgeBand:
		return fmt.Sprintf("age in bands of %d years", t.Width)
	case schema.Region:
		switch t.Width {
		case 0:
			return "region of " + name
		case 1:
			return "region of 1 character"
		}
		return fmt.Sprintf("region of %d characters", t.Width)
	case schema.Round:
		s := fmt.Sprintf("%s to the nearest %d", name, t.Width)
		if t.Coded {
			s += fmt.Sprintf(", ends at %d and %d", t.From, t.To)
		}
		return s
	case schema.Shift:
		if t.Clock == schema.ClockHour {
			return name + ", shifted, to the hour"
		}
		return name + ", shifted"
	case schema.Year:
		return "year of " + name
	case schema.Drop:
		return "without " + name
	case schema.Keep:
		return name + " as it is"
	}
	return name + ": " + t.String()
}

// Line returns the member of a field's schema that gives it the treatment t:
// `"deid": {"age-band": 10}`.
func Line(t schema.Treatment) string {
	s := strings.Join(strings.Fields(string(t.Annotation().Encode())), " ")
	return `"deid": ` + strings.NewReplacer("{ ", "{", " }", "}").Replace(s)
}

// Lost says what field a loses at level l.
func (a *Axis) Lost(l int) string {
	now, then := a.Levels[0], a.Levels[l]
	return fmt.Sprintf("%s -> %s: %s become %d, %.2f of %.2f bits are lost", Say(a.Field.Path, now.Treatment),
		Say(a.Field.Path, then.Treatment), count(now.Values), then.Values, then.loss, now.Bits)
}

func count(values int) string {
	if values == 1 {
		return "1 value"
	}
	return fmt.Sprintf("%d values", values)
}
