package openings

import (
	"slices"
	"time"

	"chairblock/scheduling"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"
)

// ClockWindow is a window of the week by the wall clock: From and To are
// minutes after midnight of Weekday, To past 1440 meaning the following day
// (From 0 to 1439, To up to 2880).
type ClockWindow struct {
	Weekday  int // 1 Monday to 7 Sunday
	From, To int
}

// DateRange is First to Last, both included.
type DateRange struct{ First, Last date.Date }

// Contains reports whether d lies in r.
func (r DateRange) Contains(d date.Date) bool { return !d.Before(r.First) && !d.After(r.Last) }

// Horizon ties the minutes of a Shop to the clock: whole local days of one
// zone, minute 0 being midnight of the first.
type Horizon struct {
	Zone   *time.Location
	Days   DateRange
	Origin time.Time
	Length Minute
}

// NewHorizon covers the days of r in zone. An empty range has length 0.
func NewHorizon(zone *time.Location, r DateRange) Horizon {
	from, _ := scheduling.DayBounds(zone, r.First)
	_, to := scheduling.DayBounds(zone, r.Last)
	return Horizon{Zone: zone, Days: r, Origin: from, Length: max(0, Minute(to.Sub(from)/time.Minute))}
}

// Time returns the instant of minute m in the horizon's zone.
func (h Horizon) Time(m Minute) time.Time {
	return h.Origin.Add(time.Duration(m) * time.Minute).In(h.Zone)
}

// Minute returns the minute in which t lies, rounded down; it may lie outside
// the horizon.
func (h Horizon) Minute(t time.Time) Minute { return minutesDown(t.Sub(h.Origin)) }

// Span returns the minutes that the interval from..to touches, cut to the
// horizon, and false when nothing is left.
func (h Horizon) Span(from, to time.Time) (Span, bool) {
	s := Span{max(0, h.Minute(from)), min(h.Length, -minutesDown(h.Origin.Sub(to)))}
	return s, s.From < s.To
}

func minutesDown(d time.Duration) Minute {
	m := d / time.Minute
	if d%time.Minute < 0 {
		m--
	}
	return Minute(m)
}

// wall is the instant of n minutes after midnight of d by the wall clock.
func (h Horizon) wall(d date.Date, n int) time.Time {
	for n >= 1440 {
		d, n = d.Add(1), n-1440
	}
	return scheduling.Instant(h.Zone, d, clock.New(n/60, n%60, 0, 0))
}

// isoWeekday counts 1 Monday to 7 Sunday.
func isoWeekday(d date.Date) int { return (int(d.Weekday())+6)%7 + 1 }

// joinSpans sorts spans and joins those that touch or overlap.
func joinSpans(in []Span) []Span {
	slices.SortFunc(in, func(a, b Span) int { return int(a.From - b.From) })
	var out []Span
	for _, s := range in {
		if n := len(out); n > 0 && s.From <= out[n-1].To {
			out[n-1].To = max(out[n-1].To, s.To)
			continue
		}
		out = append(out, s)
	}
	return out
}
