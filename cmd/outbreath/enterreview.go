package main

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"outbreath/schema/entry"
)

// A reviewRow is one numbered place of the review: a field, with its value for each entry
// of its list.
type reviewRow struct {
	items []entry.Item
	list  string // instead of items: the list to add to
}

// The parts of the review, in the order of the screen. A row stays in its part whatever
// is filled in, so that its number stays.
const (
	ofSession = iota
	ofTubes
	optional
	lists
	ofLists
)

func (r reviewRow) part() int {
	switch {
	case r.list != "":
		return lists
	case r.items[0].List != "" && r.items[0].List != "/tubes":
		return ofLists
	case !r.items[0].Always:
		return optional
	case r.items[0].List != "":
		return ofTubes
	}
	return ofSession
}

// reviewRows are in the order of the screen.
func (e *entering) reviewRows() []reviewRow {
	var all []reviewRow
	for _, i := range e.Items() {
		at := slices.IndexFunc(all, func(r reviewRow) bool { return r.items[0].Field == i.Field })
		if at < 0 {
			all = append(all, reviewRow{})
			at = len(all) - 1
		}
		all[at].items = append(all[at].items, i)
	}
	for _, list := range e.Lists() {
		all = append(all, reviewRow{list: list})
	}
	slices.SortStableFunc(all, func(a, b reviewRow) int { return a.part() - b.part() })
	return all
}

// Columns of the review, in characters of a line of helpWidth.
const (
	halfWidth  = 39
	thirdWidth = 26
)

// printReview shows the session on one screen.
func (e *entering) printReview(rows []reviewRow) {
	title := "The session"
	if e.Amends() != "" {
		title = "Changes to " + e.Amends()
	}
	e.u.tell("%s", title)
	var cells [ofLists + 1][]string
	for n, r := range rows {
		part, number := r.part(), fmt.Sprintf("%3d ", n+1)
		switch part {
		case lists:
			number += fmt.Sprintf("%s: %d", entry.ListName(r.list, -1), e.Count(r.list))
		case ofTubes, ofLists:
			number += e.rowText(r, helpWidth-4)
		case ofSession:
			number += e.rowText(r, halfWidth-4)
		default:
			number += e.rowText(r, thirdWidth-4)
		}
		cells[part] = append(cells[part], number)
	}
	for part, heading := range [...]string{optional: "Optional", lists: "Lists", ofLists: ""} {
		if heading != "" && cells[part] != nil {
			e.u.tell("%s", heading)
		}
		e.inColumns(cells[part], [...]int{halfWidth, helpWidth, thirdWidth, helpWidth / 4, helpWidth}[part])
	}
}

// inColumns prints cells side by side.
func (e *entering) inColumns(cells []string, width int) {
	var line strings.Builder
	for i, c := range cells {
		line.WriteString(c)
		if (i+1)%(helpWidth/width) == 0 || i == len(cells)-1 {
			e.u.tell("%s", strings.TrimRight(line.String(), " "))
			line.Reset()
			continue
		}
		line.WriteString(strings.Repeat(" ", max(1, width-utf8.RuneCountInString(c))))
	}
}

// rowText is a field with its values, in at most width characters.
func (e *entering) rowText(r reviewRow, width int) string {
	var values []string
	some := false
	for _, i := range r.items {
		v := "-"
		if i.Value != nil {
			v, some = e.short(i), true
		}
		values = append(values, v)
	}
	label := r.items[0].Label
	if r.items[0].List != "" {
		label = strings.TrimSuffix(entry.ListName(r.items[0].List, -1), "s") + " " + label
	}
	if !some {
		return cut(label, width)
	}
	text := strings.Join(values, " | ")
	if room := width - utf8.RuneCountInString(text) - 2; room < 8 {
		text = cut(text, max(width-18, 8))
		return cut(label, 16) + ": " + text
	}
	return cut(label, width-utf8.RuneCountInString(text)-2) + ": " + text
}

// short writes a time without its distance from UTC, and one of the session's own day
// without the day.
func (e *entering) short(i entry.Item) string {
	text := valueText(i.Value)
	if _, err := time.Parse(time.RFC3339, text); err != nil || i.Leaf.Format != "date-time" {
		return text
	}
	start, ok := e.At("/started_at")
	if ok && start.Value != nil && i.Pointer != start.Pointer && strings.HasPrefix(start.Value.Text, text[:11]) {
		return text[11:19]
	}
	return text[:10] + " " + text[11:19]
}

func cut(text string, width int) string {
	if utf8.RuneCountInString(text) <= width {
		return text
	}
	return string([]rune(text)[:max(width-1, 0)]) + "…"
}

// review shows the session and carries out what is typed, until the record is written.
// The error is errMore when something that is needed is missing.
func (e *entering) review() error {
	e.clear()
	for {
		rows := e.reviewRows()
		e.printReview(rows)
		problems := e.Problems()
		for _, p := range problems {
			e.u.tell("%s", strings.TrimRight(filled(strings.TrimPrefix(p.Pointer, "/")+": "+p.Message, "error: "),
				"\n"))
		}
		for _, r := range e.Disorder() {
			e.u.tell("look again: %s", r)
		}
		question := "number: correct or fill in    w: write    q: stop  "
		if offers := e.LastOffers(); len(offers) > 0 && e.Amends() == "" {
			question = "=: take over from the last session: " + offered(offers) + "\n" + question
		}
		answer, err := e.line(question, false)
		if err != nil {
			return err
		}
		done, err := e.act(rows, strings.ToLower(answer), len(problems) == 0)
		if err != nil || done {
			return err
		}
		if e.Next().Kind != entry.Review {
			return errMore
		}
	}
}

func offered(offers []entry.Question) string {
	var parts []string
	for _, q := range offers[:min(len(offers), shownFields)] {
		parts = append(parts, q.Name()+" "+valueText(q.Offer))
	}
	if more := len(offers) - len(parts); more > 0 {
		parts = append(parts, fmt.Sprintf("%d more", more))
	}
	return cut(strings.Join(parts, ", "), helpWidth-40)
}

// act carries out one command of the review.
func (e *entering) act(rows []reviewRow, command string, valid bool) (done bool, err error) {
	n, notNumber := strconv.Atoi(command)
	switch {
	case command == "q":
		return false, usagef("run the same command again", "stopped before the record was written")
	case command == "w" && !valid:
		e.clear()
		e.refuse(errors.New("the record cannot be written yet: correct what is listed as error"))
		return false, nil
	case command == "w":
		return e.write()
	case command == "=" && e.Amends() == "":
		for _, q := range e.LastOffers() {
			if _, err := e.Answer(q, ""); e.words(err) != nil {
				return false, err
			}
		}
	case notNumber == nil && 1 <= n && n <= len(rows) && rows[n-1].list != "":
		err = e.changeList(rows[n-1].list)
	case notNumber == nil && 1 <= n && n <= len(rows):
		for _, i := range rows[n-1].items {
			q, ok := e.At(i.Pointer)
			if !ok {
				continue
			}
			if err := e.ask(q, true); err != nil {
				return false, err
			}
		}
	default:
		e.clear()
		e.refuse(fmt.Errorf("type one of the numbers from 1 to %d, w or q", len(rows)))
		return false, nil
	}
	e.clear()
	return false, err
}

// changeList adds an entry to a list, or takes one out.
func (e *entering) changeList(list string) error {
	name := entry.ListName(list, -1)
	question := fmt.Sprintf("%s: Enter adds one, - goes back: ", name)
	if n := e.Count(list); n > 0 {
		question = fmt.Sprintf("%s: Enter adds one, x1 to x%d takes that one out, - goes back: ", name, n)
	}
	answer, err := e.line(question, false)
	if err != nil || answer == "-" {
		return err
	}
	if number, ok := strings.CutPrefix(strings.ToLower(answer), "x"); ok {
		if n, err := strconv.Atoi(number); err == nil {
			return e.words(e.Remove(list, n-1))
		}
	}
	if answer != "" {
		return e.words(errors.New("that is neither"))
	}
	if q, ok := e.Add(list); ok {
		return e.ask(q, true)
	}
	return e.words(errors.New("nothing can be added here"))
}

// write writes the record, for an amendment with its reason.
func (e *entering) write() (done bool, err error) {
	if e.Amends() != "" {
		return e.writeAmended()
	}
	file, err := e.Write()
	if err != nil {
		return false, e.words(err)
	}
	e.u.tell("%s is written", quoted(file))
	return true, nil
}

func (e *entering) writeAmended() (done bool, err error) {
	changes := e.Changes()
	if len(changes) == 0 {
		e.u.tell("nothing was changed")
		return true, e.Discard()
	}
	e.clear()
	none := func(s string) string {
		if s == "" {
			return "none"
		}
		return s
	}
	for _, c := range changes {
		e.u.tell("%s: %s, before %s", c.Name, none(c.New), none(c.Old))
	}
	for {
		why, err := e.line("why (one line, nothing about a person; it is kept for good): ", false)
		if err != nil {
			return false, err
		}
		if err := e.typed.Why(why); err != nil {
			e.refuse(fmt.Errorf("the reason %w", err))
			continue
		}
		if err := e.WriteAmended(e.by, why); err != nil {
			return false, err
		}
		e.u.tell("%s is written; %s in %s. If it was sealed before, seal it again with --amended",
			quoted(e.Amends()), count(len(changes), "change"), entry.AmendmentsFile)
		return true, nil
	}
}
