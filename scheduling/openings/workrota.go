package openings

import (
	"slices"

	"github.com/rickb777/date"
)

// Week is a week of a person by the wall clock: when she works, and when no visit
// may use her although she does.
type Week struct{ Work, Breaks []ClockWindow }

// Turns are weeks that take turns between two dates: the first one holds in the
// week, Monday to Sunday, in which First lies, the second in the week after it, and
// after the last one the first comes again.
type Turns struct {
	First date.Date
	Last  *date.Date // included; nil: until further notice
	Weeks []Week     // at least one
}

// Holds reports whether the weeks hold on d.
func (t Turns) Holds(d date.Date) bool {
	return !d.Before(t.First) && (t.Last == nil || !d.After(*t.Last))
}

// Turn counts which of the weeks it is on d, from 0. d is not before the week of
// First.
func (t Turns) Turn(d date.Date) int {
	return int(d.Sub(monday(t.First))) / 7 % len(t.Weeks)
}

// WorkRota is when a person works, by the salon's calendar. A single day comes
// before weeks that hold on its date, and these before the standing week. What
// comes first holds alone: it adds nothing to what stands behind it.
type WorkRota struct {
	Standing Week
	Turns    []Turns            // no two of them hold on one date
	Single   map[date.Date]Week // of whose windows the weekday does not count
}

// Source says what of a rota holds on a date.
type Source string

// The parts of a rota.
const (
	FromStanding Source = "standing_week"
	FromTurns    Source = "weeks_in_turn"
	FromSingle   Source = "single_day"
)

// On returns the windows that begin on d and where they come from. A window that
// passes midnight belongs to the date on which it begins, and so does a break.
func (r WorkRota) On(d date.Date) (Week, Source) {
	w, by := r.holding(d)
	day := isoWeekday(d)
	of := func(list []ClockWindow) (out []ClockWindow) {
		for _, x := range list {
			if by == FromSingle || x.Weekday == day {
				out = append(out, ClockWindow{day, x.From, x.To})
			}
		}
		return out
	}
	return Week{of(w.Work), of(w.Breaks)}, by
}

// holding is the week that counts on d, with the windows of its other days.
func (r WorkRota) holding(d date.Date) (Week, Source) {
	if w, ok := r.Single[d]; ok {
		return w, FromSingle
	}
	for _, t := range r.Turns {
		if t.Holds(d) {
			return t.Weeks[t.Turn(d)], FromTurns
		}
	}
	return r.Standing, FromStanding
}

// Working lays a person's rota over the horizon, leaving out the days in closed,
// and returns when she works and when she has a break, each as sorted disjoint spans.
// A window that passes midnight belongs to the day on which it begins. Wall-clock
// times that a clock change skips or repeats follow the rule of Instant.
func (h Horizon) Working(r WorkRota, closed []DateRange) (work, breaks []Span) {
	for d := h.Days.First.Add(-1); !d.After(h.Days.Last); d = d.Add(1) {
		if slices.ContainsFunc(closed, func(c DateRange) bool { return c.Contains(d) }) {
			continue
		}
		w, by := r.holding(d)
		day := isoWeekday(d)
		if by == FromSingle {
			day = 0
		}
		work, breaks = h.lay(work, w.Work, d, day), h.lay(breaks, w.Breaks, d, day)
	}
	return joinSpans(work), joinSpans(breaks)
}

// lay appends the windows that begin on d: those of a weekday, or all for 0.
func (h Horizon) lay(out []Span, windows []ClockWindow, d date.Date, day int) []Span {
	for _, w := range windows {
		if day != 0 && w.Weekday != day {
			continue
		}
		if s, ok := h.Span(h.wall(d, w.From), h.wall(d, w.To)); ok {
			out = append(out, s)
		}
	}
	return out
}

// monday is the first day of the week of d.
func monday(d date.Date) date.Date { return d.Add(date.PeriodOfDays(1 - isoWeekday(d))) }
