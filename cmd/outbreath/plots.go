package main

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"outbreath/deid/audit"
)

// Plots are inline SVG. They use only classes of the style sheet, and the aria-label of each
// gives its values in words.

// A bar of a chart.
type bar struct {
	label string
	value int
}

// chartWidth is the width in pixels for which labels are thinned out: that of a small
// phone. A chart is drawn in shares of its width, so that its letters keep their size.
const chartWidth = 320

// bars draws a bar chart with the values above the bars, where there is room for them. It is
// "" for an empty list.
func bars(title, unit string, list []bar) template.HTML {
	if len(list) == 0 {
		return ""
	}
	most, longest, digits := 1, 1, 1
	var words []string
	for _, b := range list {
		most, longest = max(most, b.value), max(longest, len(b.label))
		digits = max(digits, len(fmt.Sprint(b.value)))
		words = append(words, fmt.Sprintf("%s: %d", b.label, b.value))
	}
	const head, foot = 10, 88 // percent of the height
	each := 100 / float64(len(list))
	thin := func(letters int) int { return (letters*7 + 4) * len(list) / chartWidth } // labels do not touch
	var s strings.Builder
	fmt.Fprintf(&s, `<svg class="plot" role="img" aria-label="%s">`,
		template.HTMLEscapeString(title+", "+unit+". "+strings.Join(words, "; ")))
	fmt.Fprintf(&s, `<line class="axis" x1="0" x2="100%%" y1="%d%%" y2="%d%%"/>`, foot, foot)
	for i, b := range list {
		h := float64(b.value) * (foot - head) / float64(most)
		if b.value > 0 {
			h = max(h, 1)
		}
		x := float64(i) * each
		fmt.Fprintf(&s, `<rect class="bar" x="%.2f%%" y="%.1f%%" width="%.2f%%" height="%.1f%%"/>`, x+each/12, foot-h,
			each*10/12, h)
		if b.value > 0 && thin(digits) == 0 {
			fmt.Fprintf(&s, `<text class="value" x="%.2f%%" y="%.1f%%">%d</text>`, x+each/2, foot-h-2, b.value)
		}
		if i%(thin(longest)+1) == 0 {
			fmt.Fprintf(&s, `<text class="tick" x="%.2f%%" y="97%%">%s</text>`, x+each/2,
				template.HTMLEscapeString(b.label))
		}
	}
	s.WriteString("</svg>")
	return template.HTML(s.String())
}

// SizesPlot shows how many subjects are in cells of each size; the largest are summed up.
func (d *auditResult) SizesPlot() template.HTML {
	var list []bar
	for _, s := range d.Risk.Sizes {
		list = append(list, bar{fmt.Sprint(s.Size), s.Subjects})
	}
	if len(list) > 24 { // the small ones are the ones to look at
		rest := 0
		for _, b := range list[23:] {
			rest += b.value
		}
		list = append(list[:23:23], bar{"more", rest})
	}
	return bars("Subjects by size of the cell they share", "subjects", list)
}

// AgesBefore shows ages before the treatment, with those of 90 and over pooled.
func (d *auditResult) AgesBefore() template.HTML {
	if len(d.Ages) == 0 {
		return ""
	}
	low, high := 90, 0
	for age := range d.Ages {
		low, high = min(low, age), max(high, age)
	}
	var list []bar
	for age := low; age <= high; age++ {
		label := fmt.Sprint(age)
		if age == 90 {
			label = "90+"
		}
		list = append(list, bar{label, d.Ages[age]})
	}
	return bars("Ages before the treatment", "subjects", list)
}

// AgesAfter shows the age bands as they leave, "" if the plan has none.
func (d *auditResult) AgesAfter() template.HTML {
	at := slices.IndexFunc(d.Table.Quasi, func(f audit.Field) bool {
		return strings.HasPrefix(f.Treatment,
			"age-band")
	})
	if at < 0 {
		return ""
	}
	counts := map[string]int{}
	for _, row := range d.Table.Rows {
		counts[row.Quasi[at]]++
	}
	var list []bar
	for _, band := range sortedKeys(counts) {
		list = append(list, bar{band, counts[band]})
	}
	slices.SortStableFunc(list, func(a, b bar) int {
		return len(a.label[:strings.IndexAny(a.label+"-", "-+")]) - len(b.label[:strings.IndexAny(b.label+"-", "-+")])
	})
	return bars("Ages as they leave", "subjects", list)
}

// ShiftPlot shows how many subjects have a shift in each band of 28 days.
func (d *auditResult) ShiftPlot() template.HTML {
	var list []bar
	for i, n := range d.ShiftBands {
		list = append(list, bar{fmt.Sprintf("%d-%d", 28*i+1, 28*i+28), n})
	}
	return bars("Shifts in bands of 28 days", "subjects", list)
}

// TimelinePlot shows sessions by month, or by year if there are more than 36 months.
func (d *auditResult) TimelinePlot() template.HTML {
	var list []bar
	for _, month := range sortedKeys(d.Months) {
		list = append(list, bar{month, d.Months[month]})
	}
	if len(list) > 36 {
		byYear := map[string]int{}
		for m, n := range d.Months {
			byYear[m[:4]] += n
		}
		list = nil
		for _, y := range sortedKeys(byYear) {
			list = append(list, bar{y, byYear[y]})
		}
	}
	return bars("Sessions by month of their date as it leaves", "sessions", list)
}

// StripPlot draws a recording's curves at small size, one below the other.
func (d *auditResult) StripPlot(t *audit.Trace) template.HTML {
	if len(t.Strips) == 0 {
		return ""
	}
	const width, each = 270, 44
	var s strings.Builder
	var words []string
	var body strings.Builder
	for i, strip := range t.Strips {
		low, high := math.Inf(1), math.Inf(-1)
		for k := range strip.Low {
			if !math.IsNaN(strip.Low[k]) {
				low, high = min(low, strip.Low[k]), max(high, strip.High[k])
			}
		}
		if low > high {
			continue
		}
		words = append(words, fmt.Sprintf("%s from %.3g to %.3g", strip.Name, low, high))
		span := max(high-low, 1e-9)
		y := func(v float64) float64 { return float64(i*each) + 3 + (high-v)/span*(each-8) }
		fmt.Fprintf(&body, `<path class="curve%d" d="`, i+1)
		for k := range strip.Low {
			if math.IsNaN(strip.Low[k]) {
				continue
			}
			fmt.Fprintf(&body, "M%d %.0fV%.1f", 1+k*3, y(strip.High[k]), y(strip.Low[k])+0.8)
		}
		body.WriteString(`"/>`)
	}
	h := len(t.Strips) * each
	fmt.Fprintf(&s, `<svg class="strip" role="img" viewBox="0 0 %d %d" preserveAspectRatio="none" aria-label="%s">`,
		width, h, template.HTMLEscapeString(strings.Join(words, "; ")))
	s.WriteString(body.String())
	s.WriteString("</svg>")
	return template.HTML(s.String())
}
