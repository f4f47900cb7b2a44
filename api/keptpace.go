package api

import (
	"cmp"
	"context"
	"slices"
	"time"

	"chairblock/scheduling/pace"
	"chairblock/store"
)

// Limits of what is kept of visits that are over. Judgement: a step takes about
// 150 bytes, so that all of them take 45 MB at the most.
const (
	keptPaceSalons = 200
	keptPaceSteps  = 300_000
)

// seenVisit is what a visit that is over says of pace and promises, whenever it is
// asked.
type seenVisit struct {
	id      string
	at      time.Time
	steps   []pace.Observation
	promise *pace.Promise // nil where nothing was promised of the whole visit
}

func compareSeen(a, b seenVisit) int { return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.id, b.id)) }

// keptPace is what the visits of a salon say that began from a time on.
type keptPace struct {
	moment store.Moment
	from   time.Time
	means  string      // constants of chair time with which the sheet's minutes were read
	visits []seenVisit // by start and then by id; never changed, only replaced
}

// keptPaces are the salons that were asked for last. It is exact: whoever reads asks
// the database first of which visits anything has changed, in the moment in which it
// reads those anew.
type keptPaces = lastAsked[string, keptPace]

// visitsOver lists what visits say that are over and began from from to before to,
// by start and then by id. It reads those alone that have changed since it was asked
// last, and everything where nobody can tell.
func (s *Server) visitsOver(ctx context.Context, t *store.Tx, n salonDay, from, to time.Time) ([]seenVisit, error) {
	var since store.Moment
	k := s.paces.find(t.Salon())
	means := string(n.row.ChairTime)
	if k != nil && k.means == means && !k.from.After(from) {
		since = k.moment
	}
	news, err := t.VisitNews(ctx, since)
	if err != nil {
		return nil, err
	}
	now := keptPace{moment: news.Now, from: from, means: means}
	var records []store.PaceRecord
	switch {
	case news.Unknown:
		records, err = t.PaceRecords(ctx, from, endless(to), "")
	case len(news.Visits) > 0:
		now.from = k.from
		now.visits = slices.DeleteFunc(slices.Clone(k.visits), func(v seenVisit) bool { return slices.Contains(news.Visits, v.id) })
		records, err = t.PaceRecordsOf(ctx, k.from, endless(to), news.Visits)
	default:
		now.from, now.visits = k.from, k.visits
	}
	if err != nil {
		return nil, err
	}
	if len(records) > 0 {
		now.visits = slices.Grow(now.visits, len(records))
		for i := range records {
			now.visits = append(now.visits, n.seenVisit(&records[i]))
		}
		slices.SortFunc(now.visits, compareSeen)
	}
	if news.Now != (store.Moment{}) {
		steps := 0
		for _, v := range now.visits {
			steps += len(v.steps)
		}
		s.paces.keep(t.Salon(), now, steps, keptPaceSalons, keptPaceSteps)
	}
	return slices.DeleteFunc(slices.Clone(now.visits), func(v seenVisit) bool { return v.at.Before(from) || !v.at.Before(to) }), nil
}

// endless is a time so long after to that visits which are over began before it.
func endless(to time.Time) time.Time { return to.AddDate(100, 0, 0) }

func (n salonDay) seenVisit(r *store.PaceRecord) seenVisit {
	v := seenVisit{id: r.Visit.ID, at: r.Visit.Start, steps: pace.Observations(n.paceVisit(r), n.time.Correlation)}
	if p, ok := promiseOf(r); ok {
		v.promise = &p
	}
	return v
}
