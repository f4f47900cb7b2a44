package pages

import "time"

// Clock says times in one place, for pages that are made elsewhere.
type Clock struct{ c clock }

// NewClock is the clock of a salon in loc.
func NewClock(loc *time.Location) Clock { return Clock{clock{loc: loc}} }

// At is the time of day, with the offset where a time comes twice.
func (c Clock) At(t time.Time) string { return c.c.at(t) }

// Day is the civil day in words, "Thu 11 June".
func (c Clock) Day(t time.Time) string { return c.c.day(t) }

// When is day and time, "Thu 11 June, 09:40".
func (c Clock) When(t time.Time) string { return c.c.day(t) + ", " + c.c.at(t) }

// Span is from when to when, with the day where it is another one at the end.
func (c Clock) Span(from, to time.Time) string {
	if c.c.day(from) == c.c.day(to) {
		return c.c.span(from, to)
	}
	return c.c.at(from) + " to " + c.c.day(to) + " " + c.c.at(to)
}

// Clean is s without what draws nothing or changes how other text is drawn, on one
// line and of at most 300 characters.
func Clean(s string) string { return clean(s) }
