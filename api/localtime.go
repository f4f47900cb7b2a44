package api

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"

	"chairblock/scheduling"
)

// LocalTime is an instant that was typed as a day and a time of day.
type LocalTime struct {
	At    time.Time
	Twice bool // the clocks show it twice that day, and At is the first of the two
}

// TwiceWords tells whoever typed a time that comes twice which of the two is meant.
const TwiceWords = "That time comes twice on that day, because the clocks go back: the first of the two is meant."

// ErrNoTime means that a day or a time of day could not be read.
var ErrNoTime = errors.New("no day or no time of day")

// GapError is a time that no clock shows, because clocks go forward across it.
type GapError struct {
	Asked    string // such as "01:30"
	Day      string // in words
	From, To string // what the clocks show before and after
}

// Error says it to whoever typed the time.
func (e *GapError) Error() string {
	return fmt.Sprintf("There is no %s on %s: the clocks go from %s to %s. Right is a time before or after that.", e.Asked, e.Day, e.From, e.To)
}

// invalid is the fault of the field in which the time was typed.
func (e *GapError) invalid(field string) error {
	return &scheduling.InvalidError{Field: field, Problem: fmt.Sprintf("is shown by no clock that day: they go from %s to %s", e.From, e.To), Want: "a time before or after that"}
}

// ReadLocal reads a day such as "2026-06-09" and a time of day such as "14:30", with
// seconds or without, as the clocks of loc show them. It returns ErrNoTime for what
// cannot be read and a *GapError for a time that is skipped.
func ReadLocal(loc *time.Location, day, text string) (LocalTime, error) {
	d, err1 := date.Parse(time.DateOnly, strings.TrimSpace(day))
	text = strings.TrimSpace(text)
	if len(text) == len("15:04:05") {
		text = text[:len("15:04")]
	}
	c, err2 := time.Parse("15:04", text)
	if err1 != nil || err2 != nil || d.Year() < 1 || d.Year() > 9999 {
		return LocalTime{}, ErrNoTime
	}
	at := clock.NewAt(c)
	t := scheduling.Instant(loc, d, at)
	switch scheduling.Shown(loc, d, at) {
	case 0:
		return LocalTime{}, gapAt(loc, t, c.Format("15:04"), d)
	case 2:
		return LocalTime{t, true}, nil
	}
	return LocalTime{t, false}, nil
}

// gapAt describes the gap before t, which is what a time within it is read as: less
// than the length of the gap after the change of clocks.
func gapAt(loc *time.Location, t time.Time, asked string, d date.Date) error {
	offset := func(t time.Time) int { _, o := t.In(loc).Zone(); return o }
	from, to := t.Add(-24*time.Hour).Unix(), t.Unix()
	for after := offset(t); to-from > 1; {
		if mid := from + (to-from)/2; offset(time.Unix(mid, 0)) == after {
			to = mid
		} else {
			from = mid
		}
	}
	change := time.Unix(to, 0)
	before := time.FixedZone("", offset(time.Unix(from, 0)))
	return &GapError{Asked: asked, Day: d.Format("Mon 2 January 2006"), From: change.In(before).Format("15:04"), To: change.In(loc).Format("15:04")}
}
