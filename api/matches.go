package api

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// MatchRequest asks who of the waiting list fits.
type MatchRequest struct {
	FirstDate string `json:"first_date,omitempty" format:"date" doc:"With last_date: who fits on these days"`
	LastDate  string `json:"last_date,omitempty" format:"date" doc:"At most 13 days after first_date"`
	VisitID   string `json:"visit_id,omitempty" maxLength:"64" doc:"Instead of days: who fits on the day of this visit, which is cancelled or about to be: its time counts as free"`
	PackBudget
}

// MatchBody is one request with an opening for it.
type MatchBody struct {
	WaitingID  string      `json:"waiting_list_id"`
	ClientID   string      `json:"client_id"`
	ValueCents int64       `json:"value_cents"`
	InBest     bool        `json:"in_best_set"`
	Opening    OpeningBody `json:"opening"`
	// What has to be known before it is booked, beside what the opening says itself.
	Cautions []CautionBody `json:"cautions,omitempty" doc:"Of her hair and of what is on record; needs_yes: it is booked only with approved_by. Said of fits only"`
	Words    string        `json:"words"`
}

// MatchAnswer says who fits.
type MatchAnswer struct {
	Waiting int         `json:"waiting" doc:"How many waiting requests were looked at, the most valuable first"`
	Best    BestBody    `json:"best" doc:"Which requests fit together and are worth the most"`
	Fits    []MatchBody `json:"fits" nullable:"false" doc:"Every request that fits by itself, the most valuable first, each with its best opening: beside a visit the one that uses most of its time, then the soonest"`
}

// BestBody is a set of requests that fit together.
type BestBody struct {
	ValueCents int64       `json:"value_cents"`
	More       int64       `json:"most_more_cents" doc:"No set of the requests looked at is worth more than this beyond it"`
	Requests   []MatchBody `json:"requests" nullable:"false" doc:"By start"`
	Words      string      `json:"words"`
}

type matchInput struct{ Body MatchRequest }
type matchOutput struct{ Body MatchAnswer }

// mostMatchDays is how many days are matched at once (judgement: a fortnight).
const mostMatchDays = 14

func (s *Server) matchWishes(ctx context.Context, in *matchInput) (*matchOutput, error) {
	var p *packer
	out := &matchOutput{MatchAnswer{Fits: []MatchBody{}, Best: BestBody{Requests: []MatchBody{}}}}
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		days, freed, err := s.matchDays(ctx, t, n, in.Body)
		if err != nil {
			return err
		}
		if p, err = s.matcher(ctx, t, n, days, freed, in.Body.grid(), mostWaiting); err != nil {
			return err
		}
		out.Body.Waiting = len(p.jobs)
		if out.Body.Fits, err = p.singles(ctx, t, freed); err != nil {
			return err
		}
		return p.cautionFits(ctx, t, out.Body.Fits)
	})
	if err != nil {
		return nil, err
	}
	// Together are packed those that fit by themselves.
	p.jobs = slices.DeleteFunc(p.jobs, func(j *packJob) bool {
		return !slices.ContainsFunc(out.Body.Fits, func(m MatchBody) bool { return m.WaitingID == j.id })
	})
	p.jobs = p.jobs[:min(len(p.jobs), mostPacked)]
	found, err := p.solve(ctx, in.Body.budget())
	if err != nil {
		return nil, err
	}
	err = s.read(ctx, func(t *store.Tx) error { return p.best(ctx, t, found, &out.Body) })
	return out, err
}

// matchDays reads which days are meant, and the visit that frees time.
func (s *Server) matchDays(ctx context.Context, t *store.Tx, n salonDay, b MatchRequest) (openings.DateRange, *store.Visit, error) {
	var f scheduling.Faults
	today := scheduling.CivilDate(s.now(), n.loc)
	if b.VisitID != "" {
		if b.FirstDate != "" || b.LastDate != "" {
			f.Add("visit_id", "is given beside days", "one of the two")
		}
		v, err := t.VisitByID(ctx, b.VisitID)
		switch {
		case is(err, scheduling.ErrNotFound):
			f.Add("visit_id", "is not a visit of this salon", "the id of a visit that is cancelled or about to be")
		case err != nil:
			return openings.DateRange{}, nil, err
		case !v.End.After(s.now()):
			f.Add("visit_id", "is a visit whose time is over", "the id of a visit that frees time to come")
		}
		d := scheduling.CivilDate(v.Start, n.loc)
		return openings.DateRange{First: d, Last: d}, &v, f.Err()
	}
	r := openings.DateRange{First: day(&f, "first_date", b.FirstDate), Last: day(&f, "last_date", b.LastDate)}
	switch {
	case len(f) > 0:
	case r.Last.Before(r.First) || r.Last.Sub(r.First) >= mostMatchDays:
		f.Add("last_date", "does not lie within 13 days from first_date", "first_date or a later day")
	case r.Last.Before(today):
		f.Add("last_date", "lies in the past", "a day that is still to come")
	}
	return r, nil, f.Err()
}

// matcher reads some days, without the visit that frees time, and at most so
// many requests that wait for them.
func (s *Server) matcher(ctx context.Context, t *store.Tx, n salonDay, days openings.DateRange, freed *store.Visit, grid, most int) (*packer, error) {
	p, err := s.newPacker(ctx, t, n, days, grid)
	if err != nil {
		return nil, err
	}
	var except []string
	if freed != nil {
		except = []string{freed.ID}
		p.visits = slices.DeleteFunc(p.visits, func(v store.Visit) bool { return v.ID == freed.ID })
	}
	if err := p.read(ctx, t, except...); err != nil {
		return nil, err
	}
	list, err := t.WaitingWishes(ctx, days.First, days.Last, most)
	if err != nil {
		return nil, err
	}
	for _, w := range list {
		if err := p.addWish(ctx, t, w); err != nil {
			return nil, err
		}
	}
	return p, nil
}

// singles finds the best opening of every request by itself.
func (p *packer) singles(ctx context.Context, t *store.Tx, freed *store.Visit) ([]MatchBody, error) {
	out := []MatchBody{}
	snap, err := openings.NewSnapshot(p.shop)
	if err != nil {
		return nil, fmt.Errorf("api: waiting list: %w", err)
	}
	for _, j := range p.jobs {
		if j.out != "" {
			continue
		}
		o, ok, err := p.single(ctx, t, snap, j, freed)
		if err != nil {
			return nil, err
		}
		if ok {
			out = append(out, p.match(j, o))
		}
	}
	return out, nil
}

func (p *packer) match(j *packJob, o OpeningBody) MatchBody {
	return MatchBody{WaitingID: j.id, ClientID: j.client, ValueCents: int64(j.value()), Opening: o,
		Words: fmt.Sprintf("%s: %s, worth %s", j.who, o.Words, p.money(int64(j.value())))}
}

// cautionFits says of every fit what booking it will ask for, and what else has to be
// said of the hair.
func (p *packer) cautionFits(ctx context.Context, t *store.Tx, fits []MatchBody) error {
	for _, j := range p.jobs {
		i := slices.IndexFunc(fits, func(m MatchBody) bool { return m.WaitingID == j.id })
		if i < 0 {
			continue
		}
		list, err := p.asks(ctx, t, j, fits[i].Opening.Start)
		if err != nil {
			return err
		}
		for _, w := range j.c.estimates {
			if w == nil {
				continue
			}
			for _, x := range w.cautions {
				if x.Level == string(chairtime.LevelWarn) && !slices.ContainsFunc(list, func(c CautionBody) bool { return c.Code == x.Code }) {
					list = append(list, x)
				}
			}
		}
		if j.c.testsSkin(p.n) && !slices.ContainsFunc(list, func(c CautionBody) bool { return c.Code == chairtime.CautionPatchTest }) {
			list = append(list, p.n.sayMadeBefore())
		}
		fits[i].Cautions = list
	}
	return nil
}

// mostSingleTries is how many starts are tried for one request whose first ones
// fall to the rules of sharing or spacing (judgement).
const mostSingleTries = 60

// single finds the best opening of one request.
func (p *packer) single(ctx context.Context, t *store.Tx, snap *openings.Snapshot, j *packJob, freed *store.Visit) (OpeningBody, bool, error) {
	plan, err := openings.Compile(ledBy(j.c.plan.Spec, j.leads), snap)
	if err != nil {
		return OpeningBody{}, false, fmt.Errorf("api: waiting list: %w", err)
	}
	d := describer{n: p.n, h: p.h, c: j.c, names: p.names, now: p.now, share: p.n.newSharing(t, p.h, j.c, p.shop), shop: p.shop}
	except := ""
	if freed != nil {
		except = freed.ID
	}
	if err := d.load(ctx, t, j.client, except); err != nil {
		return OpeningBody{}, false, err
	}
	tries := 0
	for _, x := range j.windows {
		q, ok := x.query(j.c, p.grid)
		if q.From, q.To = max(q.From, j.from), min(q.To, j.to); !ok || q.From > q.To {
			continue
		}
		set, err := plan.Search(snap, q)
		if err != nil {
			return OpeningBody{}, false, fmt.Errorf("api: waiting list: %w", err)
		}
		for _, m := range p.bestStarts(set, j, freed) {
			if tries++; tries > mostSingleTries {
				return OpeningBody{}, false, nil
			}
			o, ok, err := d.offer(ctx, set, m, period{endBy: -1, grid: int(p.grid)}, true)
			if err != nil {
				return o, false, err
			}
			late := p.h.Minute(o.End) > x.To
			if ok && !late && !d.busy(o.Start, o.End) && !slices.ContainsFunc(o.Cautions, func(c CautionBody) bool { return c.Level == string(scheduling.SpacingNeedsYes) }) {
				return o, true, nil
			}
		}
	}
	return OpeningBody{}, false, nil
}

// bestStarts lists some starts of set, the best first.
func (p *packer) bestStarts(set *openings.StartSet, j *packJob, freed *store.Visit) []openings.Minute {
	var out []openings.Minute
	for m := range set.All() {
		out = append(out, m)
	}
	if freed == nil {
		return out
	}
	from, to, long := p.h.Minute(freed.Start), p.h.Minute(freed.End), openings.Minute(j.c.minutes())
	used := func(m openings.Minute) openings.Minute { return max(0, min(m+long, to)-max(m, from)) }
	slices.SortStableFunc(out, func(a, b openings.Minute) int { return cmp.Compare(used(b), used(a)) })
	return out
}

// best writes the best set down.
func (p *packer) best(ctx context.Context, t *store.Tx, found packed, out *MatchAnswer) error {
	b := &out.Best
	var who []string
	slices.SortStableFunc(p.jobs, func(a, o *packJob) int {
		if a.sch == nil || o.sch == nil {
			return 0
		}
		return cmp.Compare(a.sch.Phases[0].Start, o.sch.Phases[0].Start)
	})
	for _, j := range p.jobs {
		if j.sch == nil {
			continue
		}
		o, err := p.opening(ctx, t, j)
		if err != nil {
			return err
		}
		b.Requests = append(b.Requests, p.match(j, o))
		b.ValueCents += int64(j.value())
		who = append(who, j.who)
	}
	slices.SortStableFunc(b.Requests, func(a, o MatchBody) int { return a.Opening.Start.Compare(o.Opening.Start) })
	for i := range out.Fits {
		out.Fits[i].InBest = slices.ContainsFunc(b.Requests, func(m MatchBody) bool { return m.WaitingID == out.Fits[i].WaitingID })
	}
	for i := range b.Requests {
		b.Requests[i].InBest = true
	}
	b.More = max(0, int64(found.bound-found.value))
	switch {
	case len(who) == 0:
		b.Words = "nobody of the waiting list fits"
	case b.More == 0:
		b.Words = fmt.Sprintf("%s together, worth %s; nothing better is possible", strings.Join(who, ", "), p.money(b.ValueCents))
	default:
		b.Words = fmt.Sprintf("%s together, worth %s; at most %s more is possible", strings.Join(who, ", "), p.money(b.ValueCents), p.money(b.More))
	}
	return nil
}

// opening describes the place that was found for a request.
func (p *packer) opening(ctx context.Context, t *store.Tx, j *packJob) (OpeningBody, error) {
	shop := p.beside(j)
	d := describer{n: p.n, h: p.h, c: j.c, names: p.names, now: p.now, share: p.n.newSharing(t, p.h, j.c, shop), shop: shop, spaced: j.spaced}
	o := d.opening(*j.sch)
	_, err := d.shares(ctx, *j.sch, shop, &o)
	return o, err
}

// mostCounted is how many requests are looked at before a cancellation is
// answered (judgement: it takes a fraction of a millisecond for each).
const mostCounted = 20

// withFits adds to the answer about a visit that is off how many waiting-list
// requests fit on its day. The answer stands without when that cannot be said.
func (s *Server) withFits(ctx context.Context, out *found[VisitBody], err error) (*found[VisitBody], error) {
	if err != nil || !out.Body.End.After(s.now()) {
		return out, err
	}
	var fits *int
	broken := s.read(ctx, func(t *store.Tx) error {
		d := scheduling.CivilDate(out.Body.Start, out.Body.Start.Location())
		waiting, err := t.WaitingWishes(ctx, d, d, 1)
		if err != nil || len(waiting) == 0 {
			return err
		}
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		p, err := s.matcher(ctx, t, n, openings.DateRange{First: d, Last: d}, nil, PackBudget{}.grid(), mostCounted)
		if err != nil {
			return err
		}
		list, err := p.singles(ctx, t, nil)
		fits = new(len(list))
		return err
	})
	if broken == nil {
		out.Body.WaitingFits = fits
	}
	return out, nil
}
