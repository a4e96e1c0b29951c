package reach

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"outbreath/schema"
)

var (
	bands = []int{1, 2, 3, 4, 5, 10, 15, 20, 25, 30, 40, 45, 50} // years
	// A number that was rounded to a width keeps its classes together only when it is rounded to
	// an odd multiple of it: the ends of the classes lie at halves of the width.
	odd   = []int{1, 3, 5, 7, 9, 11, 15, 21, 25, 35, 45}
	round = []int{1, 2, 5, 10, 20, 50, 100} // widths for a number that leaves as it is
)

const (
	tighter = 3      // classes by which each end of a rounded number may move
	many    = 20_000 // with more subjects, ends do not move: there are enough at either end
)

// coarser returns the treatments that tell less of f than its present one, its removal last. now
// holds the values as they leave.
func coarser(f schema.Field, now []string) []schema.Treatment {
	var list []schema.Treatment
	t := f.Treatment
	only := func(types ...string) bool {
		return len(f.Types) > 0 && !slices.ContainsFunc(f.Types,
			func(x string) bool { return !slices.Contains(types, x) })
	}
	birth := f.Path == "/subject/birth_date" && f.Format == "date"
	switch {
	case t.Kind == schema.AgeBand:
		list = ages(t.Width)
	case t.Kind == schema.Keep && birth:
		list = append([]schema.Treatment{{Kind: schema.Year}}, ages(1)...)
	case t.Kind == schema.Keep && only("string") && f.Format == "date":
		list = []schema.Treatment{{Kind: schema.Year}}
	case t.Kind == schema.Shift && t.Clock == "":
		// not without a clock: the seconds since the session's start tell more than the hour
		list = []schema.Treatment{{Kind: schema.Shift, Clock: schema.ClockHour}}
	case t.Kind == schema.Region:
		for _, w := range []int{2, 1} {
			if t.Width == 0 || w < t.Width {
				list = append(list, schema.Treatment{Kind: schema.Region, Width: w})
			}
		}
	case t.Kind == schema.Keep && strings.HasSuffix(f.Path, "/postal_code") && only("string"):
		for _, w := range []int{0, 2, 1} {
			list = append(list, schema.Treatment{Kind: schema.Region, Width: w})
		}
	case t.Kind == schema.Round:
		for _, m := range odd {
			list = append(list, rounded(t, m*t.Width, now)...)
		}
	case t.Kind == schema.Keep && only("number", "integer"):
		for _, w := range round {
			list = append(list, rounded(t, w, now)...)
		}
	}
	list = append(list, schema.Treatment{Kind: schema.Drop})
	return slices.DeleteFunc(list, func(c schema.Treatment) bool { return c == t || !schema.Allows(f.Path, c) })
}

// ages returns the bands whose width is a multiple of width.
func ages(width int) []schema.Treatment {
	var list []schema.Treatment
	for _, w := range bands {
		if w%width == 0 {
			list = append(list, schema.Treatment{Kind: schema.AgeBand, Width: w})
		}
	}
	return list
}

// rounded returns the ways to round to width what t rounds more finely, or keeps: with ends as
// they are, and with ends moved inwards so that fewer values are conspicuous.
func rounded(t schema.Treatment, width int, now []string) []schema.Treatment {
	if width > 100 {
		return nil
	}
	r := schema.Treatment{Kind: schema.Round, Width: width}
	if t.Coded { // the lowest class must hold the lowest class of t, and so the highest
		half := (width - t.Width) / 2
		r.From, r.To = ceil(t.From-half, width), floor(t.To+half, width)
		if r.Coded = r.From < r.To; !r.Coded {
			return nil
		}
	}
	list := []schema.Treatment{r}
	least, greatest, ok := span(now, r)
	if !ok || len(now) > many {
		return list
	}
	for low := range tighter + 1 {
		for high := range tighter + 1 {
			c := r
			c.Coded = true
			if low > 0 || !r.Coded {
				c.From = least + low*width
			}
			if high > 0 || !r.Coded {
				c.To = greatest - high*width
			}
			if low+high > 0 && c.From < c.To {
				list = append(list, c)
			}
		}
	}
	return list
}

// span returns the least and the greatest number of values rounded by r. It is false if there is
// none.
func span(values []string, r schema.Treatment) (least, greatest int, ok bool) {
	for _, v := range values {
		for part := range strings.SplitSeq(v, Separator) {
			x, err := strconv.ParseFloat(part, 64)
			if err != nil || math.Abs(x) > 1e9 {
				continue
			}
			n := int(math.Round(x/float64(r.Width))) * r.Width
			if r.Coded {
				n = min(max(n, r.From), r.To)
			}
			if !ok {
				least, greatest, ok = n, n, true
			}
			least, greatest = min(least, n), max(greatest, n)
		}
	}
	return least, greatest, ok
}

// hourLength is the length of "2026-03-02T09".
const hourLength = 13

// Separator separates the values of a subject whose sessions differ.
const Separator = " / "

// Joined returns the value of a subject whose sessions have the given values.
func Joined(values []string) string {
	slices.Sort(values)
	return strings.Join(slices.Compact(values), Separator)
}

// Retreated returns what a value that leaves under the treatment now becomes under the coarser
// treatment t. It is false where the value as it leaves does not tell.
func Retreated(joined string, now, t schema.Treatment) (string, bool) {
	parts := strings.Split(joined, Separator)
	for i, s := range parts {
		if s == "" {
			continue
		}
		switch {
		case now.Kind != t.Kind || now.Kind == schema.Keep:
			return "", false
		case t.Kind == schema.AgeBand:
			parts[i] = band(s, t.Width)
		case t.Kind == schema.Shift:
			if len(s) < hourLength || s[10] != 'T' {
				return "", false
			}
			parts[i] = s[:hourLength]
		case t.Kind == schema.Region:
			runes := []rune(s)
			parts[i] = string(runes[:min(t.Width, len(runes))])
		case t.Kind == schema.Round:
			x, err := strconv.ParseFloat(s, 64)
			if err != nil || math.Abs(x) > 1e15 {
				return "", false
			}
			w := float64(t.Width)
			x = math.Round(x/w) * w
			if t.Coded {
				x = min(max(x, float64(t.From)), float64(t.To))
			}
			parts[i] = strconv.FormatFloat(x+0, 'f', -1, 64) // + 0: no -0
		default:
			return "", false
		}
	}
	return Joined(parts), true
}

// band returns the band of width years that holds the start of b, "45-49". "90+" stays, and no
// band goes beyond 89.
func band(b string, width int) string {
	low, _, ok := strings.Cut(b, "-")
	n, err := strconv.Atoi(low)
	if !ok || err != nil {
		return b
	}
	n -= n % width
	return strconv.Itoa(n) + "-" + strconv.Itoa(min(n+width-1, 89))
}

func floor(n, width int) int { return int(math.Floor(float64(n)/float64(width))) * width }
func ceil(n, width int) int  { return int(math.Ceil(float64(n)/float64(width))) * width }
