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

// bars draws a bar chart with the values above the bars. It is "" for an empty list.
func bars(title, unit string, list []bar) template.HTML {
	if len(list) == 0 {
		return ""
	}
	most := 1
	var words []string
	for _, b := range list {
		most = max(most, b.value)
		words = append(words, fmt.Sprintf("%s: %d", b.label, b.value))
	}
	const height, foot, head = 130, 26, 18
	width := max(12, min(56, 900/len(list)))
	longest := 0
	for _, b := range list {
		longest = max(longest, len(b.label))
	}
	every := (longest*7 + 6 + width - 1) / width // labels do not touch
	var s strings.Builder
	fmt.Fprintf(&s, `<svg class="plot" role="img" viewBox="0 0 %d %d" width="%d" height="%d" aria-label="%s">`,
		len(list)*width+8, height+foot+head, len(list)*width+8, height+foot+head, template.HTMLEscapeString(title+", "+
			unit+". "+strings.Join(words, "; ")))
	fmt.Fprintf(&s, `<line class="axis" x1="0" x2="%d" y1="%d" y2="%d"/>`, len(list)*width+8, height+head, height+head)
	for i, b := range list {
		h := b.value * height / most
		if b.value > 0 {
			h = max(h, 2)
		}
		x := 4 + i*width
		fmt.Fprintf(&s, `<rect class="bar" x="%d" y="%d" width="%d" height="%d"/>`, x+width/12+1, head+height-h,
			width-width/6-2, h)
		if b.value > 0 {
			fmt.Fprintf(&s, `<text class="value" x="%d" y="%d">%d</text>`, x+width/2, head+height-h-4, b.value)
		}
		if i%every == 0 {
			fmt.Fprintf(&s, `<text class="tick" x="%d" y="%d">%s</text>`, x+width/2, head+height+16,
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

// FindingsPlot shows the number of findings of each class.
func (d *auditResult) FindingsPlot() template.HTML {
	counts := map[string]int{}
	for _, f := range d.Leaks {
		counts[string(f.Class)]++
	}
	var list []bar
	for _, c := range sortedKeys(counts) {
		list = append(list, bar{c, counts[c]})
	}
	return bars("Findings by class", "findings", list)
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
	fmt.Fprintf(&s, `<svg class="strip" role="img" viewBox="0 0 %d %d" width="%d" height="%d" aria-label="%s">`, width,
		h, width, h,
		template.HTMLEscapeString(strings.Join(words, "; ")))
	s.WriteString(body.String())
	s.WriteString("</svg>")
	return template.HTML(s.String())
}
