package api

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// GroupOpeningsRequest asks when visits that belong together fit.
type GroupOpeningsRequest struct {
	How       string      `json:"how" enum:"arrive_together,side_by_side,one_after_other" doc:"Start within some minutes of each other; start together with a stylist in charge each; or each starts when the one before it ends, in the order of the list"`
	Visits    []GroupWish `json:"visits" nullable:"false" minItems:"2" maxItems:"4"`
	FirstDate string      `json:"first_date,omitempty" format:"date" doc:"First day to look at; left out: today"`
	LastDate  string      `json:"last_date,omitempty" format:"date" doc:"Last day, at most 62 days after the first; left out: 27 days after it"`
	NotBefore *time.Time  `json:"not_before,omitempty" doc:"Earliest start of the first visit in the list"`
	EndBy     string      `json:"end_by,omitempty" doc:"All must end by this time of each day" example:"17:30"`
	Grid      int         `json:"grid_minutes,omitempty" minimum:"1" maximum:"240" doc:"The first visit in the list starts on a multiple of this many minutes after midnight; left out: 15"`
	Limit     int         `json:"limit,omitempty" minimum:"1" maximum:"100" doc:"How many openings at most; left out: 20"`
}

// GroupWish is one visit of a group.
type GroupWish struct {
	ClientID string           `json:"client_id,omitempty" maxLength:"64" doc:"Leaves out times at which this client has another visit"`
	Services []ServiceRequest `json:"services" nullable:"false" minItems:"1" maxItems:"8"`
}

// GroupOpeningBody is starts at which all visits fit beside each other.
type GroupOpeningBody struct {
	Start  time.Time     `json:"start" doc:"Of the visit that starts first"`
	End    time.Time     `json:"end" doc:"Of the visit that ends last"`
	Visits []OpeningBody `json:"visits" nullable:"false" doc:"In the order of the request"`
	Words  string        `json:"words" doc:"The opening in a sentence"`
}

// GroupOpeningsAnswer lists openings in the order of the first visit's start.
type GroupOpeningsAnswer struct {
	Openings []GroupOpeningBody `json:"openings" nullable:"false"`
	Next     *time.Time         `json:"next_not_before,omitempty" doc:"Send it as not_before for the openings that follow"`
	Missing  []string           `json:"missing,omitempty" doc:"Why there can be none: who or what the salon lacks"`
	Cautions []CautionBody      `json:"cautions" nullable:"false"`
}

// groupTries is how many placements one answer may take (judgement: a second
// or two).
const groupTries = 30_000

type groupOpeningsInput struct{ Body GroupOpeningsRequest }
type groupOpeningsOutput struct{ Body GroupOpeningsAnswer }

func (s *Server) findGroupOpenings(ctx context.Context, in *groupOpeningsInput) (*groupOpeningsOutput, error) {
	var out groupOpeningsOutput
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		g := &groupSearch{n: n, b: in.Body, tries: groupTries}
		if err := g.read(ctx, t, s); err != nil {
			return err
		}
		out.Body = GroupOpeningsAnswer{Openings: []GroupOpeningBody{}, Cautions: []CautionBody{}}
		for _, v := range g.visits {
			out.Body.Cautions = append(out.Body.Cautions, v.d.c.cautions(n)...)
		}
		if err := g.load(ctx, t, s); err != nil {
			return err
		}
		if out.Body.Missing = g.missing; len(g.missing) > 0 {
			return nil
		}
		return g.list(ctx, &out.Body)
	})
	return &out, err
}

// groupSearch looks for starts at which several visits fit.
type groupSearch struct {
	n       salonDay
	b       GroupOpeningsRequest
	p       period
	q       openings.Query
	h       openings.Horizon
	snap    *openings.Snapshot
	visits  []groupVisit
	missing []string
	tries   int
}

// groupVisit is one of them.
type groupVisit struct {
	d   describer
	set *openings.StartSet // starts without the others
	// compiled is the plan for the snapshot of the search.
	compiled *openings.Plan
	// assign chooses a schedule at a start that shares nobody's time beyond the
	// salon's limit.
	assign func(openings.Minute) func(*openings.StartSet, openings.Shop) (openings.Schedule, bool, error)
}

// read works the request out.
func (g *groupSearch) read(ctx context.Context, t *store.Tx, s *Server) error {
	var f scheduling.Faults
	clients := map[string]bool{}
	for i, w := range g.b.Visits {
		at := index("visits", i)
		c, err := compose(ctx, t, g.n, w.Services)
		if err := f.Join(at, err); err != nil {
			return err
		}
		if w.ClientID != "" {
			var one scheduling.Faults
			if err := knownClient(ctx, t, &one, w.ClientID); err != nil {
				return err
			}
			_ = f.Join(at, one.Err()) // faults only
			if clients[w.ClientID] && g.b.How != oneAfterOther {
				f.Add(at+".client_id", "is there twice", "a client each, who cannot sit in two chairs at once")
			}
		}
		clients[w.ClientID] = w.ClientID != ""
		g.visits = append(g.visits, groupVisit{d: describer{n: g.n, c: c, names: map[string]string{}}})
	}
	var err error
	g.p, err = s.period(g.n, OpeningsRequest{FirstDate: g.b.FirstDate, LastDate: g.b.LastDate, EndBy: g.b.EndBy, Grid: g.b.Grid, Limit: g.b.Limit})
	if err := f.Join("", err); err != nil {
		return err
	}
	return f.Err()
}

// load reads the shop and searches for each of the visits alone.
func (g *groupSearch) load(ctx context.Context, t *store.Tx, s *Server) error {
	g.h = around(g.n.loc, g.p.first, g.p.last)
	shop, err := t.LoadShop(ctx, g.h, s.now())
	if err != nil {
		return err
	}
	if g.snap, err = openings.NewSnapshot(shop); err != nil {
		return fmt.Errorf("api: group openings: %w", err)
	}
	g.q = s.bounds(g.h, g.p.first, g.p.last, g.b.NotBefore)
	earliest := s.bounds(g.h, g.p.first, g.p.last, nil)
	for i := range g.visits {
		v := &g.visits[i]
		v.d.h = g.h
		if err := v.d.load(ctx, t, g.b.Visits[i].ClientID, ""); err != nil {
			return err
		}
		g.n.tidy(v.d.c.plan, shop)
		share := g.n.newSharing(t, g.h, v.d.c, shop)
		v.d.share = share
		v.assign = func(m openings.Minute) func(*openings.StartSet, openings.Shop) (openings.Schedule, bool, error) {
			return share.assignAt(ctx, m)
		}
		plan, err := openings.Compile(v.d.c.plan.Spec, g.snap)
		if err != nil {
			return fmt.Errorf("api: group openings: %w", err)
		}
		v.compiled = plan
		for _, m := range plan.Missing() {
			if !slices.Contains(g.missing, m) {
				g.missing = append(g.missing, m)
			}
		}
		if earliest.From > earliest.To {
			continue
		}
		if v.set, err = plan.Search(g.snap, earliest); err != nil {
			return fmt.Errorf("api: group openings: %w", err)
		}
	}
	return nil
}

// list describes the first openings from the earliest start on.
func (g *groupSearch) list(ctx context.Context, out *GroupOpeningsAnswer) error {
	if g.q.From > g.q.To || g.visits[0].set == nil {
		return nil
	}
	for m := range g.visits[0].set.All() {
		at := g.h.Time(m)
		if m < g.q.From || (at.Hour()*60+at.Minute())%g.p.grid != 0 {
			continue
		}
		if len(out.Openings) == g.p.limit || g.tries <= 0 {
			out.Next = &at
			return nil
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		found, err := g.from(m)
		if err != nil {
			return err
		}
		if found == nil {
			continue
		}
		o, ok, err := g.opening(ctx, found)
		if err != nil {
			return err
		}
		if ok {
			out.Openings = append(out.Openings, o)
		}
	}
	return nil
}

// from places all visits, the first one at m, or returns nil.
func (g *groupSearch) from(m openings.Minute) ([]openings.Schedule, error) {
	tries := min(g.tries, jointTries)
	left := tries
	visits := []together{g.at(0, m)}
	found, err := g.next(visits, &left)
	g.tries -= tries - left
	if found == nil || err != nil {
		return nil, err
	}
	return found, nil
}

// next places the visits that have a start beside each other and, if that is
// possible, chooses starts for the others.
func (g *groupSearch) next(visits []together, left *int) ([]openings.Schedule, error) {
	j := &jointly{snap: g.snap, apart: g.b.How == sideBySide, tries: *left}
	found, _, err := j.place(visits)
	*left = max(0, j.tries)
	if err != nil || found == nil || !g.suits(visits, found) {
		return nil, err
	}
	k := len(visits)
	if k == len(g.visits) {
		return settled(g.snap.Shop(), visits, found), nil
	}
	for _, m := range g.candidates(visits, found) {
		if !within(g.visits[k].set.Ranges(), m) || *left == 0 {
			continue
		}
		more := append(slices.Clone(visits), g.at(k, m))
		if g.b.How == oneAfterOther {
			more[k-1].endBy = earlier(more[k-1].endBy, m+more[k-1].plan.Clears())
		}
		all, err := g.next(more, left)
		if all != nil || err != nil {
			return all, err
		}
	}
	return nil, nil
}

// at is visit k with its start at m.
func (g *groupSearch) at(k int, m openings.Minute) together {
	v := together{plan: g.visits[k].d.c.plan, compiled: g.visits[k].compiled, start: m, assign: g.visits[k].assign(m)}
	if g.p.endBy >= 0 {
		end := g.h.Minute(wall(g.n.loc, scheduling.CivilDate(g.h.Time(m), g.n.loc), g.p.endBy)) + v.plan.Clears()
		v.endBy = &end
	}
	return v
}

func earlier(end *openings.Minute, m openings.Minute) *openings.Minute {
	if end != nil && *end < m {
		return end
	}
	return &m
}

// suits holds found schedules against the clients' other visits and, one after
// the other, against the pause between two.
func (g *groupSearch) suits(visits []together, found []openings.Schedule) bool {
	for i, sch := range found {
		end := visits[i].plan.End(sch)
		if g.visits[i].d.busy(g.h.Time(visits[i].start), g.h.Time(end)) {
			return false
		}
		if g.b.How == oneAfterOther && i+1 < len(visits) && visits[i+1].start-end > openings.Minute(mostBetween/time.Minute) {
			return false
		}
	}
	return true
}

// candidates are the starts that the next visit may have, the best first: one
// after the other as soon as possible, together as close as possible, and there
// by full five minutes first.
func (g *groupSearch) candidates(visits []together, found []openings.Schedule) []openings.Minute {
	first, last := visits[0].start, visits[0].start
	for _, v := range visits {
		first, last = min(first, v.start), max(last, v.start)
	}
	from, to := first, last
	switch g.b.How {
	case arriveTogether:
		apart := openings.Minute(g.n.rules.TogetherMinutes)
		from, to = last-apart, first+apart
	case oneAfterOther:
		sch := found[len(found)-1]
		from = visits[len(visits)-1].plan.End(sch)
		to = from + openings.Minute(mostBetween/time.Minute)
	}
	var out []openings.Minute
	for m := from; m <= to; m++ {
		out = append(out, m)
	}
	if g.b.How == arriveTogether {
		odd := func(m openings.Minute) int {
			if g.h.Time(m).Minute()%5 == 0 {
				return 0
			}
			return 1
		}
		away := func(m openings.Minute) openings.Minute { return max(m-visits[0].start, visits[0].start-m) }
		slices.SortStableFunc(out, func(a, b openings.Minute) int {
			return cmp.Or(cmp.Compare(odd(a), odd(b)), cmp.Compare(away(a), away(b)))
		})
	}
	return out
}

// within reports whether m lies in one of the ranges, which are sorted.
func within(ranges []openings.StartRange, m openings.Minute) bool {
	_, ok := slices.BinarySearchFunc(ranges, m, func(r openings.StartRange, m openings.Minute) int {
		switch {
		case r.To < m:
			return -1
		case r.From > m:
			return 1
		}
		return 0
	})
	return ok
}

// opening describes schedules that fit beside each other, and reports false when
// a stylist would then work for two clients at once beyond the salon's limit.
func (g *groupSearch) opening(ctx context.Context, found []openings.Schedule) (b GroupOpeningBody, ok bool, err error) {
	var said []string
	for i, sch := range found {
		d := g.visits[i].d
		o := d.opening(sch)
		shop := g.snap.Shop()
		for k, other := range found {
			if k != i {
				shop = occupied(shop, g.visits[k].d.c.plan, other)
			}
		}
		if ok, err := d.shares(ctx, sch, shop, &o); !ok || err != nil {
			return b, false, err
		}
		if i == 0 || o.Start.Before(b.Start) {
			b.Start = o.Start
		}
		if o.End.After(b.End) {
			b.End = o.End
		}
		b.Visits = append(b.Visits, o)
		said = append(said, o.Words)
	}
	b.Words = groupWords(g.b.How) + ": " + strings.Join(said, " and ")
	return b, true, nil
}
