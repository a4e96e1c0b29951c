package main

import (
	"strings"
	"time"

	"outbreath/schema/sheet"
)

func init() {
	mistakeTables = append(mistakeTables, mistakesInDates, mistakesInTimes, mistakesInNumbers)
}

// poundInKg is that of NIST SP 811, B.8: 1 lb = 0.453 592 37 kg.
const poundInKg = 0.45359237

var mistakesInDates = []mistake{
	{name: "last year", class: "dates", did: "typed last year in one row", whose: true, expect: caught,
		place: `cell J5|WEIR-V0004|0004\.json`, what: `days|year`,
		edit: func(s *spoiltWeek) {
			s.set("sessions", 3, "date", s.w.began(3).AddDate(-1, 0,
				0).Format("02.01.2006"))
		}},
	{name: "last year, no clock", class: "dates", did: "typed last year, in a row whose recording has no clock",
		whose: true, expect: caught, place: `cell J2|WEIR-V0001|0001\.json`, what: `days|year`,
		edit: func(s *spoiltWeek) {
			s.set("sessions", 0, "date", s.w.began(0).AddDate(-1, 0,
				0).Format("02.01.2006"))
		}},
	{name: "future", class: "dates", did: "typed a later month", whose: true, expect: caught,
		place: `cell J2|WEIR-V0001|0001\.json`, what: `future|after`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "date", s.w.began(0).AddDate(0, 2, 0).Format("02.01.2006")) }},
	{name: "month first in one row", class: "dates", did: "typed month and day the other way round in one row",
		expect: handled,
		edit:   func(s *spoiltWeek) { s.set("sessions", 0, "date", s.w.began(0).Format("01.02.2006")) }},
	{name: "all month first", class: "dates", did: "the spreadsheet is American", expect: handled,
		edit: func(s *spoiltWeek) {
			s.each("sessions", "date", func(r int, _ string) string { return s.w.began(r).Format("1/2/2006") })
		}},
	{name: "month in words", class: "dates", did: "the spreadsheet shows 23-Nov-2026", expect: handled,
		edit: func(s *spoiltWeek) {
			s.each("sessions", "date", func(r int, _ string) string { return s.w.began(r).Format("2-Jan-2006") })
		}},
	{name: "one ISO date", class: "dates", did: "typed one date as 2026-11-23", expect: handled,
		edit: func(s *spoiltWeek) { s.set("sessions", 1, "date", s.w.began(1).Format(time.DateOnly)) }},
	{name: "true dates", class: "dates", did: "some dates became dates of the spreadsheet", expect: handled,
		edit: func(s *spoiltWeek) {
			for r := range 3 {
				*s.at("sessions", r, "date") = sheet.Cell{Kind: sheet.Time, Text: s.w.began(r).Format(time.DateOnly)}
			}
		}},
	{name: "date with time", class: "dates", did: "the date cell has the time as well", expect: safe,
		place: `cell J2`, what: `date|time`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "date", s.w.began(0).Format("02.01.2006 15:04")) }},
	{name: "no such day", class: "dates", did: "typed a 31st of February", expect: caught, place: `cell J2`,
		what: `date`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "date", "31.02.2026") }},
	{name: "ditto", class: "dates", did: "wrote a ditto mark under the date", whose: true, expect: caught,
		place: `cell J3`, what: `date`, edit: func(s *spoiltWeek) { s.set("sessions", 1, "date", `"`) }},
	{name: "no date", class: "dates", did: "left the date of one row empty", whose: true, expect: caught,
		place: `cell [JK]3`, what: `date|day`, edit: func(s *spoiltWeek) { s.set("sessions", 1, "date", "") }},
	{name: "no year", class: "dates", did: "typed day and month only", whose: true, expect: caught,
		place: `cell J3`, what: `date|year`,
		edit: func(s *spoiltWeek) { s.set("sessions", 1, "date", s.w.began(1).Format("02.01.")) }},
	{name: "fill handle on dates", class: "dates", did: "dragged the first date down: each row is a day later",
		whose: true, expect: caught, place: `WEIR-V000\d|cell J\d`, what: `clock|future|days`,
		edit: func(s *spoiltWeek) {
			s.each("sessions", "date", func(r int, _ string) string {
				return s.w.began(0).AddDate(0, 0, r).Format("02.01.2006")
			})
		}},
	{name: "first date everywhere", class: "dates", did: "copied the first date down to all rows",
		whose: true, expect: caught, place: `WEIR-V\d+|sheet sessions|cell J`, what: `equal|same|clock|overlap`,
		edit: func(s *spoiltWeek) {
			s.each("sessions", "date", func(int, string) string { return s.day(0) })
		}},
	{name: "a day early", class: "dates", did: "entered the log the day after, with all dates a day off", whose: true,
		expect: caught, place: `WEIR-V000[234]`, what: `clock`,
		edit: func(s *spoiltWeek) {
			s.each("sessions", "date", func(r int, _ string) string {
				return s.w.began(r).AddDate(0, 0, -1).Format("02.01.2006")
			})
		}},
	{name: "two-digit birth year", class: "dates", did: "typed 28.06.79", whose: true, expect: safe, place: `cell D2`,
		what: `year|date|century`, edit: func(s *spoiltWeek) {
			s.set("sessions", 0, "subject birth date",
				"28.06.79")
		}},
	{name: "birth year in two digits, old", class: "dates", did: "typed 14.05.35 for a person of 91", whose: true,
		expect: safe, place: `cell D3`, what: `year|date|century`,
		edit: func(s *spoiltWeek) { s.set("sessions", 1, "subject birth date", "14.05.35") }},
	{name: "birth date of 1797", class: "dates", did: "two digits of the birth year swapped", whose: true,
		expect: caught,
		place:  `cell D2|0001\.json|WEIR-V0001`, what: `birth`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject birth date", "28.06.1797") }},
	{name: "birth date is the session's", class: "dates", did: "typed the session's date as birth date", whose: true,
		expect: caught, place: `cell D2|0001\.json|WEIR-V0001`, what: `birth`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject birth date", s.day(0)) }},
	{name: "birth date a day off", class: "dates", did: "typed 29 for 28 in the birth date", whose: true,
		expect: caught,
		place:  `cell D2|0001\.json|WEIR-V0001`, what: `birth`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject birth date", "29.06.1979") }},
	{name: "dates swapped", class: "dates", did: "birth date and session date are in each other's cells", whose: true,
		expect: caught, place: `cell [DJ]2|0001\.json|WEIR-V0001`, what: `birth|date`,
		edit: func(s *spoiltWeek) { s.swap("sessions", 0, "subject birth date", 0, "date") }},
	{name: "date columns swapped", class: "dates", did: "pasted the dates under birth date, and the other way round",
		whose: true, expect: caught, place: `cell [DJ]\d|\.json|WEIR-V0`, what: `birth|date|days`,
		edit: func(s *spoiltWeek) {
			for r := range 8 {
				s.swap("sessions", r, "subject birth date", r, "date")
			}
		}},
}

var mistakesInTimes = []mistake{
	{name: "points for colons", class: "times", did: "typed 8.24.56", expect: handled, edit: func(s *spoiltWeek) {
		s.each("sessions", "started at", func(_ int, text string) string { return strings.ReplaceAll(text, ":", ".") })
	}},
	{name: "hour only", class: "times", did: "typed 8 for the start", whose: true, expect: caught, place: `cell K2`,
		what: `time`, edit: func(s *spoiltWeek) { s.set("sessions", 0, "started at", "8") }},
	{name: "pm", class: "times", did: "wrote pm for a morning session", whose: true, expect: caught,
		place: `cell [KL]2|0001\.json|WEIR-V0001`, what: `start|end|before|after`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "started at", "8:24:56 pm") }},
	{name: "start and end swapped", class: "times", did: "typed start and end in each other's cells", whose: true,
		expect: caught, place: `cell [KL]2|0001\.json|WEIR-V0001`, what: `start|end|before|after`,
		edit: func(s *spoiltWeek) { s.swap("sessions", 0, "started at", 0, "ended at") }},
	{name: "no end", class: "times", did: "forgot the end", expect: caught,
		place: `cell L2|0001\.json|WEIR-V0001|row 2`,
		what:  `end`, edit: func(s *spoiltWeek) { s.set("sessions", 0, "ended at", "") }},
	{name: "capped and uncapped swapped", class: "times", did: "typed a tube's times in each other's cells",
		whose:  true,
		expect: caught, place: `cell [DE]2|LK07-0001-A|0001\.json`, what: `capped|before|after`,
		edit: func(s *spoiltWeek) { s.swap("tubes", 0, "uncapped at", 0, "capped at") }},
	{name: "capped columns swapped", class: "times", did: "pasted both columns of tube times the other way round",
		whose: true, expect: caught, place: `cell [DE]\d|0001\.json`, what: `capped|before|after`,
		edit: func(s *spoiltWeek) {
			for r := range 16 {
				s.swap("tubes", r, "uncapped at", r, "capped at")
			}
		}},
	{name: "times of the next session", class: "times", did: "typed a tube's times into the row of another session",
		whose: true, expect: caught, place: `cell [DE][24]|000[12]\.json`, what: `session|before|after`,
		edit: func(s *spoiltWeek) {
			s.swap("tubes", 0, "uncapped at", 2, "uncapped at")
			s.swap("tubes", 0, "capped at", 2, "capped at")
		}},
	{name: "start dragged down", class: "times", did: "dragged the first start down to all rows", whose: true,
		expect: caught, place: `cell [KL]\d|\.json|WEIR-V`, what: `before|after|minutes|overlap|equal|session`,
		edit: func(s *spoiltWeek) { s.each("sessions", "started at", func(int, string) string { return "08:24:56" }) }},
	{name: "an hour off", class: "times", did: "typed 11 for 10 in start, end and tubes of one session", whose: true,
		expect: caught, place: `WEIR-V0002`, what: `clock`,
		edit: func(s *spoiltWeek) {
			for _, h := range []string{"started at", "ended at"} {
				s.set("sessions", 1, h, strings.Replace(s.at("sessions", 1, h).Text, "10:", "11:", 1))
			}
			for r := 2; r < 4; r++ {
				for _, h := range []string{"uncapped at", "capped at"} {
					s.set("tubes", r, h, strings.Replace(s.at("tubes", r, h).Text, "10:", "11:", 1))
				}
			}
		}},
	{name: "with Uhr", class: "times", did: "typed 08:24:56 Uhr", expect: safe, place: `cell K2`, what: `time`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "started at", "08:24:56 Uhr") }},
	{name: "hour 24", class: "times", did: "typed 24:31 for the end", whose: true, expect: caught, place: `cell L2`,
		what: `time`, edit: func(s *spoiltWeek) { s.set("sessions", 0, "ended at", "24:31:08") }},
	{name: "minute 76", class: "times", did: "typed a 7 for a 1 in the minutes", expect: caught, place: `cell K3`,
		what: `time`, edit: func(s *spoiltWeek) { s.set("sessions", 1, "started at", "10:72:28") }},
	{name: "over midnight", class: "times", did: "a session ends after midnight, and the log has one date",
		expect: handled,
		edit: func(s *spoiltWeek) {
			s.set("sessions", 0, "started at", "23:56:00")
			s.set("sessions", 0, "ended at", "00:04:00")
			for r, times := range [][2]string{{"23:57:00", "23:59:00"}, {"23:59:30", "00:01:00"}} {
				s.set("tubes", r, "uncapped at", times[0])
				s.set("tubes", r, "capped at", times[1])
			}
		},
		want: func(all []map[string]any) {
			day := all[0]["started_at"].(string)[:10]
			at, _ := time.Parse(time.DateOnly, day)
			next := at.AddDate(0, 0, 1).Format(time.DateOnly)
			inRecord(all[0], "started_at", day+"T23:56:00-05:00")
			inRecord(all[0], "ended_at", next+"T00:04:00-05:00")
			inRecord(all[0], "tubes/0/uncapped_at", day+"T23:57:00-05:00")
			inRecord(all[0], "tubes/0/capped_at", day+"T23:59:00-05:00")
			inRecord(all[0], "tubes/1/uncapped_at", day+"T23:59:30-05:00")
			inRecord(all[0], "tubes/1/capped_at", next+"T00:01:00-05:00")
		}},
	{name: "the repeated hour", class: "times", did: "a session in the hour that the clock change repeats", whose: true,
		expect: caught, place: `cell [KL]2`, what: `twice|repeat|clock|zone`,
		edit: func(s *spoiltWeek) {
			s.study = strings.Replace(s.study, panama, "Europe/Berlin", 1)
			s.set("sessions", 0, "date", "26.10.2025")
			s.set("sessions", 0, "started at", "02:24:56")
			s.set("sessions", 0, "ended at", "02:31:08")
		}},
	{name: "text for time", class: "times", did: "wrote 'see sheet' for the start", expect: caught, place: `cell K2`,
		what: `time`, edit: func(s *spoiltWeek) { s.set("sessions", 0, "started at", "see sheet") }},
	{name: "a session of a day", class: "times", did: "typed the end with the next day's date", whose: true,
		expect: caught, place: `cell L2|0001\.json|WEIR-V0001`, what: `hour|minutes|long|session`,
		edit: func(s *spoiltWeek) {
			s.set("sessions", 0, "ended at", s.w.began(0).AddDate(0, 0, 1).Format("02.01.2006 15:04"))
		}},
}

var mistakesInNumbers = []mistake{
	{name: "litres", class: "numbers", did: "typed 0,5 in a column of mL", expect: caught, place: `cell F2|0001\.json`,
		what: `volume`, edit: func(s *spoiltWeek) { s.set("tubes", 0, "volume (mL)", "0,5") }},
	{name: "unit in the cell", class: "numbers", did: "typed 500 ml", expect: handled,
		edit: func(s *spoiltWeek) { s.set("tubes", 0, "volume (mL)", "500 ml") }},
	{name: "a zero too many", class: "numbers", did: "typed 5000 mL", expect: caught, place: `cell F2|0001\.json`,
		what: `volume`, edit: func(s *spoiltWeek) { s.number("tubes", 0, "volume (mL)", "5000") }},
	{name: "letter O", class: "numbers", did: "typed the letter O for zero", expect: caught, place: `cell F2`,
		what: `number`, edit: func(s *spoiltWeek) { s.set("tubes", 0, "volume (mL)", "5OO") }},
	{name: "height in metres", class: "numbers", did: "typed 1.68", expect: caught,
		place: `cell H2|0001\.json|WEIR-V0001`, what: `height`,
		edit: func(s *spoiltWeek) { s.number("sessions", 0, "subject height (cm)", "1.68") }},
	{name: "1.68 m", class: "numbers", did: "typed the height with its unit, 1.68 m", expect: handled,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject height (cm)", "1.68 m") }},
	{name: "decimal comma", class: "numbers", did: "typed 74,6", expect: handled,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject weight (kg)", "74,6") }},
	{name: "height and weight swapped", class: "numbers", did: "typed height and weight in each other's cells",
		expect: caught, place: `cell [HI]2|0001\.json|WEIR-V0001`, what: `height|weight`,
		edit: func(s *spoiltWeek) { s.swap("sessions", 0, "subject height (cm)", 0, "subject weight (kg)") }},
	{name: "decimal lost", class: "numbers", did: "typed 746 kg", expect: caught,
		place: `cell I2|0001\.json|WEIR-V0001`,
		what:  `weight`, edit: func(s *spoiltWeek) { s.number("sessions", 0, "subject weight (kg)", "746") }},
	{name: "no volume", class: "numbers", did: "left a volume empty", expect: caught,
		place: `cell F2|0001\.json|WEIR-V0001|row 2`, what: `volume`,
		edit: func(s *spoiltWeek) { s.set("tubes", 0, "volume (mL)", "") }},
	{name: "negative", class: "numbers", did: "typed -500", expect: caught, place: `cell F2|0001\.json`, what: `volume`,
		edit: func(s *spoiltWeek) { s.number("tubes", 0, "volume (mL)", "-500") }},
	{name: "about", class: "numbers", did: "typed ca. 500", expect: caught, place: `cell F2`, what: `number`,
		edit: func(s *spoiltWeek) { s.set("tubes", 0, "volume (mL)", "ca. 500") }},
	{name: "pounds", class: "numbers", did: "typed 165 lb", expect: safe, place: `cell I2`, what: `unit|number`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject weight (kg)", "165 lb") },
		want: func(all []map[string]any) { inRecord(all[0], "subject/weight_kg", 165*poundInKg) }},
	{name: "a number made a date", class: "numbers", did: "the spreadsheet made 4.3 a date", expect: caught,
		place: `cell F2`, what: `number|date`, edit: func(s *spoiltWeek) {
			*s.at("tubes", 0, "volume (mL)") = sheet.Cell{Kind: sheet.Time, Text: "2026-03-04"}
		}},
	{name: "volumes dragged", short: "volumes that rise by one a row are taken in silence", class: "numbers",
		did: "dragged the volumes down: 500, 501, 502, ...", expect: caught,
		place: `sheet tubes|cell F`, what: `volume`, edit: func(s *spoiltWeek) {
			for r := range 16 {
				s.number("tubes", r, "volume (mL)", []string{"500", "501", "502", "503", "504"}[r%5])
			}
		}},
	{name: "thousands sign", class: "numbers", did: "typed 0.500 for 500 with the other decimal sign", expect: caught,
		place: `cell F2|0001\.json`, what: `volume|decimal`,
		edit: func(s *spoiltWeek) { s.set("tubes", 0, "volume (mL)", "0.500") }},
}
