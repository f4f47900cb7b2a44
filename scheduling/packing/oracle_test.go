package packing_test

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
)

// wholeSearch is the slow, obvious way to the best packing: it writes down every
// schedule that each request could have on its own and tries all combinations.
type wholeSearch struct {
	p     packing.Problem
	all   [][]option // by request
	best  int
	found bool
}

// option is one schedule of a request.
type option struct {
	s     openings.Schedule
	uses  []unitUse
	start openings.Minute
	end   openings.Minute
	cost  int
	lead  string
}

type unitUse struct {
	unit            string
	from, to, clear openings.Minute
}

// mostOptions bounds the problems that wholeSearch takes.
const mostOptions = 400

// newWholeSearch returns nil when there would be too much to try.
func newWholeSearch(p packing.Problem) *wholeSearch {
	w := &wholeSearch{p: p}
	ways := 1
	for i := range p.Requests {
		list := options(p, &p.Requests[i])
		if len(list) > mostOptions {
			return nil
		}
		if ways *= len(list) + 1; ways > 3_000_000 {
			return nil
		}
		w.all = append(w.all, list)
	}
	return w
}

// options lists every schedule of r that keeps the rules, were r alone.
func options(p packing.Problem, r *packing.Request) []option {
	var out []option
	v := &r.Visit
	var ids []string
	for _, u := range p.Shop.Units {
		ids = append(ids, u.ID)
	}
	s := openings.Schedule{Roles: map[string]string{}, Phases: make([]openings.Placed, len(v.Phases))}
	var times func(i int, at openings.Minute)
	var pool func(i, e int)
	done := func() {
		if len(openings.Check(s, *v, p.Shop)) > 0 {
			return
		}
		c := openings.Schedule{Roles: map[string]string{}, Phases: slices.Clone(s.Phases)}
		for k, id := range s.Roles {
			c.Roles[k] = id
		}
		for i := range c.Phases {
			c.Phases[i].Pool = slices.Clone(c.Phases[i].Pool)
		}
		if o, ok := newOption(r, c, p.Shop); ok {
			out = append(out, o)
		}
	}
	pool = func(i, e int) {
		if i == len(v.Phases) {
			done()
			return
		}
		if e == len(v.Phases[i].Pool) {
			pool(i+1, 0)
			return
		}
		for _, id := range ids {
			s.Phases[i].Pool[e] = id
			pool(i, e+1)
		}
	}
	times = func(i int, at openings.Minute) {
		if i == len(v.Phases) {
			pool(0, 0)
			return
		}
		s.Phases[i] = openings.Placed{Phase: v.Phases[i].Name, Start: at, End: at + v.Phases[i].Minutes,
			Pool: make([]string, len(v.Phases[i].Pool))}
		if i == len(v.Phases)-1 {
			times(i+1, 0)
			return
		}
		for wait := v.Gaps[i].Min; wait <= v.Gaps[i].Max; wait++ {
			times(i+1, s.Phases[i].End+wait)
		}
	}
	var roles func(k int)
	roles = func(k int) {
		if k == len(v.Roles) {
			for at := range p.Shop.Minutes {
				times(0, at)
			}
			return
		}
		for _, id := range ids {
			s.Roles[v.Roles[k].Name] = id
			roles(k + 1)
		}
	}
	roles(0)
	return out
}

// newOption reports false when s is outside the limits of the request.
func newOption(r *packing.Request, s openings.Schedule, shop openings.Shop) (option, bool) {
	o := option{s: s, start: s.Phases[0].Start, end: s.Phases[len(s.Phases)-1].End}
	stays := false
	if r.Stay != nil {
		stays = true
		for i, ph := range s.Phases {
			stays = stays && ph.Start == r.Stay.Phases[i].Start && slices.Equal(ph.Pool, r.Stay.Phases[i].Pool)
		}
		for k, id := range s.Roles {
			stays = stays && r.Stay.Roles[k] == id
		}
		if !stays {
			by := int(o.start - r.Stay.Phases[0].Start)
			o.cost = r.Move + r.PerMinute*max(by, -by)
		}
	}
	if o.start < r.Query.From || o.start > r.Query.To || o.start%r.Query.Grid != 0 && !stays {
		return o, false
	}
	if r.Query.EndBy != nil && o.end > *r.Query.EndBy {
		return o, false
	}
	if len(r.Visit.Roles) > 0 {
		o.lead = s.Roles[r.Visit.Roles[0].Name]
		if len(r.LeadOnly) > 0 && !slices.Contains(r.LeadOnly, o.lead) {
			return o, false
		}
	}
	empty := shop
	empty.Units = slices.Clone(shop.Units)
	for i := range empty.Units {
		empty.Units[i].Bookings = nil
	}
	book(&empty, r.Visit, s)
	for _, u := range empty.Units {
		for _, b := range u.Bookings {
			o.uses = append(o.uses, unitUse{u.ID, b.From, b.To, b.Clear})
		}
	}
	return o, true
}

func (o *option) clash(b *option) bool {
	for _, x := range o.uses {
		for _, y := range b.uses {
			if x.unit == y.unit && x.from < y.to+y.clear && y.from < x.to+x.clear {
				return true
			}
		}
	}
	return false
}

// run returns the best value or makespan, and false when no packing serves all
// that have to be.
func (w *wholeSearch) run() (int, bool) {
	w.try(0, make([]*option, len(w.all)), 0)
	return w.best, w.found
}

func (w *wholeSearch) try(i int, taken []*option, value int) {
	if i == len(w.all) {
		if !w.linked(taken) {
			return
		}
		if w.p.Objective == packing.MinMakespan {
			value = 0
			for _, o := range taken {
				value = max(value, int(o.end))
			}
			if !w.found || value < w.best {
				w.best = value
			}
		} else if !w.found || value > w.best {
			w.best = value
		}
		w.found = true
		return
	}
	for k := range w.all[i] {
		o := &w.all[i][k]
		if !slices.ContainsFunc(taken[:i], func(t *option) bool { return t != nil && t.clash(o) }) {
			taken[i] = o
			w.try(i+1, taken, value+w.p.Requests[i].Value-o.cost)
		}
	}
	taken[i] = nil
	if !w.p.Requests[i].Must && w.p.Objective == packing.MaxValue {
		w.try(i+1, taken, value)
	}
}

func (w *wholeSearch) linked(taken []*option) bool {
	index := map[string]int{}
	for i, r := range w.p.Requests {
		index[r.ID] = i
	}
	for _, l := range w.p.Links {
		a, b := taken[index[l.A]], taken[index[l.B]]
		if a == nil && b == nil {
			continue
		}
		if a == nil || b == nil {
			return false
		}
		from := a.start
		if l.From == "end" {
			from = a.end
		}
		if d := b.start - from; d < l.Min || d > l.Max || l.OtherLead && a.lead == b.lead {
			return false
		}
	}
	return true
}

// hollow reports whether some role is held in a wait that may take no time
// while neither neighbouring phase uses it.
func hollow(p packing.Problem) bool {
	for _, r := range p.Requests {
		for i, g := range r.Visit.Gaps {
			for _, role := range g.Hold {
				if g.Min == 0 && !slices.Contains(r.Visit.Phases[i].Roles, role) && !slices.Contains(r.Visit.Phases[i+1].Roles, role) {
					return true
				}
			}
		}
	}
	return false
}

// requireBest fails unless r is proven to be as good as want, or no packing when
// there is none.
func requireBest(t require.TestingT, p packing.Problem, r *packing.Result, want int, ok bool) {
	require.Equal(t, ok, r.Complete)
	require.True(t, r.Proven)
	if !ok {
		return
	}
	got := r.Value
	if p.Objective == packing.MinMakespan {
		got = int(r.Makespan)
	}
	require.Equal(t, want, got)
	require.Equal(t, want, r.Bound)
}

func TestPackFindsWhatTryingEverythingFinds(t *testing.T) {
	tried, complete := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		w := newWholeSearch(p)
		if w == nil {
			t.Skip("too much to try")
		}
		want, ok := w.run()
		r, err := packing.Pack(context.Background(), p, packing.Options{Seed: rapid.Uint64().Draw(t, "seed"), Rounds: 3000})
		require.NoError(t, err)
		tried++
		checkResult(t, p, r)
		if hollow(p) { // then a packing is found by trying only
			if r.Complete && p.Objective == packing.MaxValue {
				require.LessOrEqual(t, r.Value, want)
			}
			return
		}
		requireBest(t, p, r, want, ok)
		r, err = packing.PackExactly(p)
		require.NoError(t, err)
		checkResult(t, p, r)
		requireBest(t, p, r, want, ok)
		if ok {
			complete++
		}
	})
	t.Logf("%d problems, %d of them with a packing", tried, complete)
}
