package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"outbreath/schema/sessionlog"
)

// errStopped ends a run at a question.
var errStopped = usagef("run fill again; the answers so far are kept", "stopped; no record was written")

// askAll shows what was understood and asks every question, until none is left.
func (f *filling) askAll() error {
	for {
		if err := f.screen.print(f.u.err, f.understood()); err != nil {
			return err
		}
		doubts := f.doubts()
		if len(doubts) == 0 {
			return nil
		}
		for i, d := range doubts {
			if err := f.ask(d, i+1, len(doubts)); err != nil {
				return err
			}
			// kept at once, so that stopping loses no answer
			if err := f.settings.Write(f.col.Root); err != nil {
				return err
			}
		}
		if err := f.read(); err != nil {
			return err
		}
	}
}

// ask asks one question, and again until the answer can be used.
func (f *filling) ask(d sessionlog.Doubt, n, of int) error {
	d, taken := f.taken(d)
	number := "question: "
	if of > 1 {
		number = fmt.Sprintf("question %d of %d: ", n, of)
	}
	text := "\n" + hung(number+d.Where+": "+d.Question, 2) + choices(d, taken)
	if err := f.screen.block(f.u.err, text); err != nil {
		return err
	}
	question := "Answer, or q to stop: "
	if len(d.Choices) > 0 {
		question = fmt.Sprintf("1 to %d, or q to stop: ", len(d.Choices)-taken)
	}
	for {
		answer, err := f.screen.ask(question)
		if err != nil {
			return err
		}
		if value, ok := chosen(d, taken, answer); ok {
			f.settings.Answer(d, value)
			return nil
		}
		switch {
		case len(d.Choices) > 0:
			f.u.tell("  type one of the numbers, or the words beside it")
		case d.Option == "gas-kpa":
			f.u.tell("  type what a barometer in the room shows, in kPa: 40 to 115")
		case d.Number:
			f.u.tell("  type a number")
		case d.Option == "zone":
			f.u.tell("  no such zone is known; type continent/city in English")
		default:
			f.u.tell("  this cannot be used; type it as the question says")
		}
	}
}

// taken puts the fields that other columns have behind the others, and returns how many
// they are: they are hardly ever the answer.
func (f *filling) taken(d sessionlog.Doubt) (sessionlog.Doubt, int) {
	if d.Option != "column" || len(d.Choices) <= fewChoices {
		return d, 0
	}
	fields := map[string]bool{}
	for _, x := range f.reading.Understood {
		fields[x.Field] = x.Heading != ""
	}
	var free, last []sessionlog.Choice
	for _, c := range d.Choices {
		if fields[c.Value] {
			last = append(last, c)
		} else {
			free = append(free, c)
		}
	}
	d.Choices = append(free, last...)
	return d, len(last)
}

// chosen returns what is stored for an answer that was typed.
func chosen(d sessionlog.Doubt, taken int, answer string) (string, bool) {
	if len(d.Choices) > 0 {
		n, err := strconv.Atoi(answer)
		if err == nil && n >= 1 && n <= len(d.Choices)-taken {
			return d.Choices[n-1].Value, true
		}
		i := slices.IndexFunc(d.Choices, func(c sessionlog.Choice) bool { return strings.EqualFold(c.Words, answer) })
		if i < 0 {
			return "", false
		}
		return d.Choices[i].Value, true
	}
	if d.Number {
		n, err := strconv.ParseFloat(strings.ReplaceAll(answer, ",", "."), 64)
		return answer, err == nil && n > 0 && (d.Option != "gas-kpa" || isRoomKPa(n))
	}
	if d.Option == "zone" {
		return answer, sessionlog.IsZone(answer)
	}
	return answer, answer != ""
}

// fewChoices is how many choices get a line each.
const fewChoices = 8

// choices numbers the choices of a question, many of them side by side. The last ones,
// so many as are taken by other columns, are not listed: their names can be typed.
func choices(d sessionlog.Doubt, taken int) string {
	var b strings.Builder
	if len(d.Choices) <= fewChoices {
		for i, c := range d.Choices {
			b.WriteString(hung(fmt.Sprintf("  %2d  %s", i+1, c.Words), 6))
		}
		return b.String()
	}
	free := len(d.Choices) - taken
	cells := make([]string, free)
	for i, c := range d.Choices[:free] {
		cells[i] = fmt.Sprintf("%2d  %s", i+1, c.Words)
	}
	b.WriteString(beside(cells))
	if taken > 0 {
		b.WriteString(hung("  or type the name of a field that another column has, as shown above", 4))
	}
	return b.String()
}

// printDoubts lists the open questions for somebody who answers with options.
func (f *filling) printDoubts(doubts []sessionlog.Doubt) {
	var b strings.Builder
	b.WriteString(f.understood())
	for _, d := range doubts {
		b.WriteString(hung("question  "+d.Where+": "+d.Question, 10))
		if len(d.Choices) == 0 {
			b.WriteString(hung("  "+optionFor(d, "..."), 4))
		}
		if d.Option == "column" && len(d.Choices) > fewChoices {
			b.WriteString(hung("  "+optionFor(d, "-")+"  if it is no field of the records", 4))
			b.WriteString(hung("  "+optionFor(d, "FIELD")+"  with FIELD as outbreath plan lists it", 4))
			continue
		}
		for _, c := range d.Choices {
			b.WriteString(hung("  "+optionFor(d, c.Value)+"  "+c.Words, 4))
		}
	}
	b.WriteString("to do: answer each question, at a terminal or with the option named; nothing was written\n")
	fmt.Fprint(f.u.out, printable(b.String()))
}

// optionFor is how a question is answered on the command line.
func optionFor(d sessionlog.Doubt, value string) string {
	switch d.Option {
	case "column":
		return fmt.Sprintf("--column %s", quoted(d.Heading+"="+value))
	case "dates", "decimals", "zone", "gas-kpa":
		return "--" + d.Option + " " + value
	}
	if file, ok := strings.CutPrefix(d.ID, sessionlog.RecordingDoubt("")); ok {
		return fmt.Sprintf("--recording %s", quoted(file+"="+value))
	}
	return fmt.Sprintf("--answer %s", quoted(d.ID+"="+value))
}
