package api

import (
	"context"
	"fmt"

	"github.com/rickb777/date"

	"chairblock/scheduling/openings"
	"chairblock/store"
)

// keptUsesMost is of how many salons and lengths the past is kept. Judgement: a year
// of nine units takes 400 kB, all of them 40 MB.
const keptUsesMost = 100

// pastUse is what visits of past days come to.
type pastUse struct {
	days   openings.DateRange // asked for
	zone   string
	first  date.Date // not before the month of the first visit
	months []store.MonthOfVisits
	ahead  store.LeadTime
	booked []store.UnitUse
}

// horizon are the days that the salon was there.
func (p pastUse) horizon(n salonDay) openings.Horizon {
	return openings.NewHorizon(n.loc, openings.DateRange{First: p.first, Last: p.days.Last})
}

type keptUse struct {
	pastUse
	moment store.Moment
}

type useWish struct {
	salon  string
	months int
}

// keptUses are the reports that were asked for last. What is kept holds as long as
// no visit has changed that began, or begins, on one of its days or before: the
// database is asked for that in the moment in which the rest is read.
type keptUses = lastAsked[useWish, keptUse]

// pastUse is what visits of days come to, which are the last so many months.
func (s *Server) pastUse(ctx context.Context, t *store.Tx, n salonDay, months int, days openings.DateRange) (pastUse, error) {
	w := useWish{t.Salon(), months}
	var since store.Moment
	k := s.uses.find(w)
	if k != nil && k.days == days && k.zone == n.row.Zone {
		since = k.moment
	}
	news, err := t.VisitNews(ctx, since)
	if err != nil {
		return pastUse{}, err
	}
	h := openings.NewHorizon(n.loc, days)
	var out pastUse
	if !news.Unknown && (news.First == nil || !news.First.Before(h.Time(h.Length))) {
		out = k.pastUse
	} else if out, err = readPastUse(ctx, t, n, days); err != nil {
		return out, err
	}
	if news.Now != (store.Moment{}) {
		s.uses.keep(w, keptUse{pastUse: out, moment: news.Now}, 0, keptUsesMost, 0)
	}
	return out, nil
}

func readPastUse(ctx context.Context, t *store.Tx, n salonDay, days openings.DateRange) (pastUse, error) {
	out := pastUse{days: days, zone: n.row.Zone, first: days.First}
	h := openings.NewHorizon(n.loc, days)
	var err error
	if out.months, err = t.MonthsOfVisits(ctx, n.row.Zone, h.Origin, h.Time(h.Length)); err != nil {
		return out, err
	}
	// A salon that has just begun was not idle before.
	if len(out.months) > 0 {
		began, err := date.ParseISO(out.months[0].Month + "-01")
		if err != nil {
			return out, fmt.Errorf("api: report: month: %w", err)
		}
		out.first = laterDay(days.First, began)
		h = out.horizon(n)
	}
	if out.ahead, err = t.LeadTimes(ctx, n.row.Zone, h.Origin, h.Time(h.Length)); err != nil {
		return out, err
	}
	out.booked, err = t.UseOfUnits(ctx, n.row.Zone, h.Origin, h.Time(h.Length))
	return out, err
}
