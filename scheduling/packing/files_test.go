package packing_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
	"chairblock/scheduling/problemfile"
)

// published reads a problem whose best packing was proven by two independent
// programs, and that best.
func published(t testing.TB, name string) (packing.Problem, int) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "problems", name+".json")
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	p, err := problemfile.ReadPacking(f)
	require.NoError(t, err)
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	var answer struct{ Expect struct{ Optimal int } }
	require.NoError(t, json.Unmarshal(data, &answer))
	return p.Problem, answer.Expect.Optimal
}

// checkResult fails unless every rule of p holds for r and the figures of r are
// those of its schedules.
func checkResult(t require.TestingT, p packing.Problem, r *packing.Result) {
	byID := map[string]*packing.Request{}
	for i := range p.Requests {
		byID[p.Requests[i].ID] = &p.Requests[i]
	}
	require.Len(t, byID, len(r.Placed)+len(r.Unplaced), "every request once")
	at := map[string]openings.Schedule{}
	value, makespan, moved := 0, openings.Minute(0), map[string]packing.Moved{}
	for _, m := range r.Moved {
		moved[m.Request] = m
	}
	for _, pl := range r.Placed {
		req := byID[pl.Request]
		at[pl.Request] = pl.Schedule
		require.Empty(t, openings.Check(pl.Schedule, req.Visit, shopBeside(p, r, pl.Request)), "visit %s", pl.Request)
		start, end := pl.Schedule.Phases[0].Start, pl.Schedule.Phases[len(pl.Schedule.Phases)-1].End
		q := req.Query
		require.True(t, q.From <= start && start <= q.To, "start of %s", pl.Request)
		require.True(t, q.EndBy == nil || end <= *q.EndBy, "end of %s", pl.Request)
		if req.Stay == nil || req.Stay.Phases[0].Start != start {
			require.Zero(t, start%q.Grid, "grid of %s", pl.Request)
		}
		if len(req.LeadOnly) > 0 {
			require.Contains(t, req.LeadOnly, pl.Schedule.Roles[req.Visit.Roles[0].Name])
		}
		value += req.Value - moved[pl.Request].Cost
		makespan = max(makespan, end)
		checkMove(t, req, pl, moved)
	}
	require.Equal(t, value, r.Value)
	require.Equal(t, makespan, r.Makespan)
	checkLinks(t, p, byID, at)
	missing := 0
	for _, u := range r.Unplaced {
		require.NotEmpty(t, u.Why)
		if byID[u.Request].Must || p.Objective == packing.MinMakespan {
			missing++
		}
	}
	if r.Complete {
		require.Zero(t, missing)
		if p.Objective == packing.MaxValue {
			require.LessOrEqual(t, r.Value, r.Bound)
		} else {
			require.GreaterOrEqual(t, int(r.Makespan), r.Bound)
		}
	}
}

func checkMove(t require.TestingT, req *packing.Request, pl packing.Placement, moved map[string]packing.Moved) {
	m, is := moved[pl.Request]
	if req.Stay == nil {
		require.False(t, is)
		return
	}
	same := len(m.Units) == 0
	for i, ph := range pl.Schedule.Phases {
		same = same && ph.Start == req.Stay.Phases[i].Start
	}
	require.Equal(t, same, !is, "a visit is moved exactly if it is not where it was")
	if is {
		by := int(m.To - m.From)
		require.Equal(t, req.Move+req.PerMinute*max(by, -by), m.Cost)
		require.Equal(t, req.Stay.Phases[0].Start, m.From)
		require.Equal(t, pl.Schedule.Phases[0].Start, m.To)
	}
}

func checkLinks(t require.TestingT, p packing.Problem, byID map[string]*packing.Request, at map[string]openings.Schedule) {
	for _, l := range p.Links {
		a, okA := at[l.A]
		b, okB := at[l.B]
		require.Equal(t, okA, okB, "linked visits are both served or neither")
		if !okA {
			continue
		}
		from := a.Phases[0].Start
		if l.From == "end" {
			from = a.Phases[len(a.Phases)-1].End
		}
		d := b.Phases[0].Start - from
		require.True(t, l.Min <= d && d <= l.Max, "link of %s and %s: %d", l.A, l.B, d)
		if l.OtherLead {
			require.NotEqual(t, a.Roles[byID[l.A].Visit.Roles[0].Name], b.Roles[byID[l.B].Visit.Roles[0].Name])
		}
	}
}

// shopBeside is the shop with every placed visit but one as bookings.
func shopBeside(p packing.Problem, r *packing.Result, but string) openings.Shop {
	shop := p.Shop
	shop.Units = append([]openings.Unit(nil), p.Shop.Units...)
	for _, pl := range r.Placed {
		if pl.Request == but {
			continue
		}
		for i := range p.Requests {
			if p.Requests[i].ID == pl.Request {
				book(&shop, p.Requests[i].Visit, pl.Schedule)
			}
		}
	}
	return shop
}

// book adds every minute that a schedule uses to the bookings of shop.
func book(shop *openings.Shop, spec openings.VisitSpec, s openings.Schedule) {
	add := func(id string, from, to openings.Minute) {
		for i := range shop.Units {
			u := &shop.Units[i]
			if u.ID == id && from < to {
				b := openings.Booking{From: from, To: to, Clear: spec.Clearing(u.Kind, u.Changeover)}
				u.Bookings = append(u.Bookings[:len(u.Bookings):len(u.Bookings)], b)
			}
		}
	}
	for i, ph := range spec.Phases {
		for _, r := range ph.Roles {
			add(s.Roles[r], s.Phases[i].Start, s.Phases[i].End)
		}
		for _, id := range s.Phases[i].Pool {
			add(id, s.Phases[i].Start, s.Phases[i].End)
		}
		if i < len(spec.Gaps) {
			for _, r := range spec.Gaps[i].Hold {
				add(s.Roles[r], s.Phases[i].End, s.Phases[i+1].Start)
			}
		}
	}
}
