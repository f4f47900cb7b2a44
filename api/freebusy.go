package api

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/ics"
	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// freeBusy sends when a person is busy. Only people have it.
func (s *Server) freeBusy(c echo.Context, f store.FeedState) error {
	if f.Kind != store.FeedStaff {
		return scheduling.ErrNotFound
	}
	ctx := c.Request().Context()
	c.Response().Header().Del("Cache-Control")
	// Hours and absences have no version: what has been made tells.
	return ics.Serve(c.Response(), c.Request(), ics.FreeBusyType, ics.Version{}, func() ([]byte, ics.Version, error) {
		b, err := s.busyTime(ctx, f)
		if err != nil {
			return nil, ics.Version{}, err
		}
		out, err := b.Encode()
		if err != nil {
			return nil, ics.Version{}, fmt.Errorf("api: free/busy: %w", err)
		}
		return out, ics.Version{Tag: ics.ContentTag(out)}, nil
	})
}

// busyTime is when a person is busy: at work on a client or watching, or kept for
// something else. Where she is away, has a break or does not work, she is not
// available unless she works all the same. Pencilled visits do not count.
func (s *Server) busyTime(ctx context.Context, f store.FeedState) (ics.FreeBusy, error) {
	loc, err := ics.LoadZone(f.Zone)
	if err != nil {
		return ics.FreeBusy{}, err
	}
	today := scheduling.CivilDate(s.now(), loc)
	h := openings.NewHorizon(loc, openings.DateRange{First: today, Last: today.Add(ics.FreeBusyDays - 1)})
	b := ics.FreeBusy{UID: f.Subject + "-free-busy", Stamp: ics.LastModified(f.Changed, loc, today), Start: h.Origin, End: h.Time(h.Length)}
	err = s.store.Read(ctx, f.Salon, func(t *store.Tx) error {
		names, err := t.UnitNames(ctx, f.Subject)
		if err != nil {
			return err
		}
		b.Name = cmp.Or(names[f.Subject], "Free and busy time")
		p, err := presenceOf(ctx, t, f.Subject, h.Days)
		if err != nil {
			return err
		}
		parts, err := t.PartsOf(ctx, f.Subject, b.Start, b.End)
		if err != nil {
			return err
		}
		parts = slices.DeleteFunc(parts, func(p store.Part) bool { return p.Kind == string(ics.Away) })
		b.Busy = p.periods(h, parts)
		return nil
	})
	return b, err
}

// presence is when a person can work at all.
type presence struct {
	open   openings.WorkRota
	own    openings.WorkRota
	closed []openings.DateRange
	away   []store.Absence
}

func presenceOf(ctx context.Context, t *store.Tx, staff string, days openings.DateRange) (presence, error) {
	var p presence
	var err error
	if p.open, err = t.OpeningRota(ctx, days.First); err != nil {
		return p, err
	}
	if p.own, err = t.WorkRota(ctx, staff, days); err != nil {
		return p, err
	}
	closures, err := t.Closures(ctx, days.First.Add(-1)) // whose hours may pass midnight
	if err != nil {
		return p, err
	}
	for _, c := range closures {
		p.closed = append(p.closed, openings.DateRange{First: c.First, Last: c.Last})
	}
	p.away, err = t.Absences(ctx, days.First.UTC().Add(-24*time.Hour))
	p.away = slices.DeleteFunc(p.away, func(a store.Absence) bool { return a.Unit != staff })
	return p, err
}

// What a minute is to a person; the greatest that applies counts.
type minuteState byte

const (
	isFree minuteState = iota
	isUnavailable
	isBusy
)

// periods are the stretches of h in which the person is not free.
func (p presence) periods(h openings.Horizon, busy []store.Part) []ics.Period {
	minutes := make([]minuteState, h.Length)
	fill := func(list []openings.Span, as minuteState) {
		for _, s := range list {
			for m := max(s.From, 0); m < min(s.To, h.Length); m++ {
				minutes[m] = as
			}
		}
	}
	fill([]openings.Span{{From: 0, To: h.Length}}, isUnavailable)
	work, breaks := h.Working(p.own, p.closed)
	open, _ := h.Working(p.open, p.closed)
	fill(common(open, work), isFree)
	fill(breaks, isUnavailable)
	var away, taken []openings.Span
	for _, a := range p.away {
		if s, ok := h.Span(a.From, a.To); ok {
			away = append(away, s)
		}
	}
	for _, x := range busy {
		taken = append(taken, openings.Span{From: h.Minute(x.Start), To: h.Minute(x.End)})
	}
	fill(away, isUnavailable)
	fill(taken, isBusy)
	var out []ics.Period
	for from := openings.Minute(0); from < h.Length; {
		to := from + 1
		for to < h.Length && minutes[to] == minutes[from] {
			to++
		}
		if minutes[from] != isFree {
			out = append(out, ics.Period{Start: h.Time(from), End: h.Time(to), Unavailable: minutes[from] == isUnavailable})
		}
		from = to
	}
	return out
}

// common are the stretches that lie in one of a and in one of b.
func common(a, b []openings.Span) []openings.Span {
	var out []openings.Span
	for _, x := range a {
		for _, y := range b {
			if s := (openings.Span{From: max(x.From, y.From), To: min(x.To, y.To)}); s.From < s.To {
				out = append(out, s)
			}
		}
	}
	return out
}
