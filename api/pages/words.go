package pages

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// clock says times of day in one location.
type clock struct {
	loc    *time.Location
	hour12 bool
}

// at returns the wall-clock time of t, with the offset when the clock shows
// this time twice because it was put back.
func (c clock) at(t time.Time) string {
	t = t.In(c.loc)
	layout := "15:04"
	if c.hour12 {
		layout = "3:04 pm"
	}
	s := t.Format(layout)
	if shownTwice(t) {
		s += " " + offsetWords(t)
	}
	return s
}

// day returns the civil day of t in words, "Thu 11 June".
func (c clock) day(t time.Time) string { return t.In(c.loc).Format("Mon 2 January") }

// span returns "09:40 to 10:10".
func (c clock) span(from, to time.Time) string { return c.at(from) + " to " + c.at(to) }

// dash returns "09:40–10:10", for places where room is short.
func (c clock) dash(from, to time.Time) string { return c.at(from) + "–" + c.at(to) }

// Clocks are put back by two hours at most (Troll station, tz database), so that a change
// which repeats t lies within this distance of it.
const changeReach = 3 * time.Hour

// shownTwice tells whether another instant nearby has the same wall-clock time.
func shownTwice(t time.Time) bool {
	_, off := t.Zone()
	for _, d := range [2]time.Duration{-changeReach, changeReach} {
		_, near := t.Add(d).Zone()
		if near == off {
			continue
		}
		twin := t.Add(time.Duration(off-near) * time.Second)
		if _, o := twin.Zone(); o == near {
			return true
		}
	}
	return false
}

// offsetWords returns "UTC+2" or "UTC+5:45".
func offsetWords(t time.Time) string {
	_, off := t.Zone()
	sign := "+"
	if off < 0 {
		sign, off = "−", -off
	}
	s := "UTC" + sign + strconv.Itoa(off/3600)
	if m := off % 3600 / 60; m != 0 {
		s += fmt.Sprintf(":%02d", m)
	}
	return s
}

// changeWords says that the clocks change between from and to, "" when they
// do not.
func (c clock) changeWords(from, to time.Time) string {
	_, a := from.In(c.loc).Zone()
	_, b := to.In(c.loc).Zone()
	switch m := (b - a) / 60; {
	case m > 0:
		return "Clocks go forward: " + minutesWords(m) + " of the wall clock are missing today."
	case m < 0:
		return "Clocks go back: " + minutesWords(-m) + " of the wall clock come twice today."
	}
	return ""
}

// minutesWords returns "1 minute", "45 minutes" and so on.
func minutesWords(n int) string {
	if n == 1 {
		return "1 minute"
	}
	return strconv.Itoa(n) + " minutes"
}

// wholeMinutes returns how many minutes there are from one instant to another.
func wholeMinutes(from, to time.Time) int { return int(to.Sub(from).Round(time.Minute) / time.Minute) }

// kindWords says what a kind of part asks for.
func kindWords(k PartKind) string {
	switch k {
	case HandsOn:
		return "hands on"
	case Watched:
		return "hands off, watched"
	case Unwatched:
		return "hands off, free for another client"
	case Basin:
		return "at the basin"
	case ChairUse:
		return "in use"
	case Clearing:
		return "clearing and cleaning"
	case Pencilled:
		return "not booked yet"
	case Kept:
		return "kept, no client"
	case partHold:
		return "held while you decide, not booked"
	case partWaiting:
		return "on the waiting list, not booked"
	case partOffer:
		return "offered, not booked"
	case partLate:
		return "late"
	}
	return ""
}

// name says everything about p in one sentence: the accessible name of its
// link and the text that appears when a pointer rests on it.
func (c clock) name(p Part) string {
	words := []string{c.span(p.From, p.To), minutesWords(wholeMinutes(p.From, p.To))}
	for _, s := range []string{p.Code, p.Label, kindWords(p.Kind), p.Chair} {
		if s = clean(s); s != "" {
			words = append(words, s)
		}
	}
	if s := c.looks(p); s != "" {
		words = append(words, s)
	}
	if s := c.check(p); s != "" {
		words = append(words, s)
	}
	for _, s := range []string{p.Next, p.Title, p.State} {
		if s = clean(s); s != "" {
			words = append(words, s)
		}
	}
	return strings.Join(words, ", ")
}

// looks returns "looks at 10:14 and 10:19", "" when there are none.
func (c clock) looks(p Part) string {
	if len(p.Checks) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString("look at ")
	if len(p.Checks) > 1 {
		b.Reset()
		b.WriteString("looks at ")
	}
	for i, t := range p.Checks {
		switch {
		case i > 0 && i == len(p.Checks)-1:
			b.WriteString(" and ")
		case i > 0:
			b.WriteString(", ")
		}
		b.WriteString(c.at(t))
	}
	return b.String()
}

// check returns "check at 10:24, no later than 10:29", "" when there is none.
func (c clock) check(p Part) string {
	if p.BackBy == nil {
		return ""
	}
	s := "check at " + c.at(*p.BackBy)
	if p.Latest != nil {
		s += ", no later than " + c.at(*p.Latest)
	}
	return s
}
