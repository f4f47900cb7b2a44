package notify

import (
	"strconv"
	"strings"

	"github.com/rickb777/date"
	"golang.org/x/text/feature/plural"
)

// formName names a short text that dates, times and lists are made with.
type formName string

// The forms of a language file.
const (
	formDay          formName = "day"
	formDayYear      formName = "day_and_year"
	formDayTime      formName = "day_and_time"
	formSpan         formName = "from_to"
	formClock24      formName = "clock_24"
	formClock12      formName = "clock_12"
	formAM           formName = "am"
	formPM           formName = "pm"
	formNoon         formName = "noon"
	formMidnight     formName = "midnight"
	formZone         formName = "with_zone"
	formOffset       formName = "with_offset"
	formForward      formName = "clocks_forward"
	formBack         formName = "clocks_back"
	formHoursMinutes formName = "hours_and_minutes"
	formPair         formName = "list_of_two"
	formList         formName = "list"
	formListEnd      formName = "list_end"
)

// formNames is what each form may speak of. What every form has to show is
// the same, but for the two hours of clock_24.
var formNames = map[formName]names{
	formDay:          {"weekday": textName, "day": textName, "month": textName},
	formDayYear:      {"weekday": textName, "day": textName, "month": textName, "year": textName},
	formDayTime:      {"day": textName, "time": textName},
	formSpan:         {"day": textName, "from": textName, "to": textName},
	formClock24:      {"hour": textName, "hour2": textName, "minute": textName},
	formClock12:      {"hour": textName, "minute": textName, "half": textName},
	formAM:           {},
	formPM:           {},
	formNoon:         {},
	formMidnight:     {},
	formZone:         {"time": textName, "zone": textName},
	formOffset:       {"time": textName, "zone": textName},
	formForward:      {},
	formBack:         {},
	formHoursMinutes: {"hours": textName, "minutes": textName},
	formPair:         {"a": textName, "b": textName},
	formList:         {"a": textName, "b": textName},
	formListEnd:      {"a": textName, "b": textName},
}

// unit is what is counted.
type unit string

// The units of a language file.
const (
	hourUnit   unit = "hours"
	minuteUnit unit = "minutes"
	cmUnit     unit = "centimetres"
	inchUnit   unit = "inches"
)

var units = []unit{hourUnit, minuteUnit, cmUnit, inchUnit}

// pluralForms are the names under which a language file keeps the words for
// one, two, few and many things, those of Unicode's plural rules.
var pluralForms = map[string]plural.Form{
	"zero": plural.Zero, "one": plural.One, "two": plural.Two, "few": plural.Few, "many": plural.Many, "other": plural.Other,
}

// form fills in a form.
func (w *Words) form(n formName, v values) string {
	s, _ := oneLine(v, w.forms[n]) // a form is bounded by its file
	return s
}

// need names what is missing before a visit.
func (w *Words) need(n Needed) string {
	text := w.needs[n.Kind]
	if text == nil {
		text = english.needs[n.Kind]
	}
	if text == nil {
		return n.What
	}
	s, _ := oneLine(nil, text)
	return s
}

// number writes n with at least that many digits, in the digits of the
// language.
func (w *Words) number(n, atLeast int) string {
	s := strconv.Itoa(n)
	for len(s) < atLeast {
		s = "0" + s
	}
	if len(w.digits) == 0 {
		return s
	}
	return strings.Map(func(r rune) rune {
		if r < '0' || r > '9' {
			return r
		}
		return w.digits[r-'0']
	}, s)
}

// counted writes n of a unit.
func (w *Words) counted(u unit, n int) string {
	texts := w.counts[u]
	text, ok := texts[w.pluralOf(n)]
	if !ok {
		text = texts[plural.Other]
	}
	s, _ := oneLine(values{"n": {text: w.number(n, 1)}}, text)
	return s
}

func (w *Words) pluralOf(n int) plural.Form {
	return plural.Cardinal.MatchPlural(w.language, n, 0, 0, 0, 0)
}

// date writes a day of the calendar.
func (w *Words) date(d date.Date, year bool) string {
	v := values{
		"weekday": {text: w.weekdays[(int(d.Weekday())+6)%7]},
		"day":     {text: w.number(d.Day(), 1)},
		"month":   {text: w.months[int(d.Month())-1]},
	}
	if !year {
		return w.form(formDay, v)
	}
	v["year"] = value{text: w.number(d.Year(), 1)}
	return w.form(formDayYear, v)
}

// list joins names as in "a, b and c".
func (w *Words) list(all []string) string {
	switch len(all) {
	case 0:
		return ""
	case 1:
		return all[0]
	case 2:
		return w.form(formPair, values{"a": {text: all[0]}, "b": {text: all[1]}})
	}
	s := all[0]
	for _, next := range all[1 : len(all)-1] {
		s = w.form(formList, values{"a": {text: s}, "b": {text: next}})
	}
	return w.form(formListEnd, values{"a": {text: s}, "b": {text: all[len(all)-1]}})
}
