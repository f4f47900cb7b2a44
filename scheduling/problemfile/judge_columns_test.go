package problemfile_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"

	"github.com/stretchr/testify/require"
)

// maxColumns is how many schedules the requests of a problem may have in all,
// else it is passed over.
const maxColumns = 6000

// columns lists every schedule of a request in an empty room: each start, wait
// and unit, tried minute by minute.
type columns struct {
	shop openings.Shop
	q    packing.Request
	free [][]bool // by unit and minute
	all  []openings.Schedule
}

func schedules(shop openings.Shop, q packing.Request) []openings.Schedule {
	c := &columns{shop: shop, q: q}
	for _, u := range shop.Units {
		free := make([]bool, shop.Minutes+100)
		for m := range shop.Minutes {
			inside := func(s openings.Span) bool { return s.From <= m && m < s.To }
			free[m] = slices.ContainsFunc(u.Open, inside) && !slices.ContainsFunc(u.Breaks, inside) &&
				!slices.ContainsFunc(u.Bookings, func(b openings.Booking) bool {
					return b.From-u.Changeover <= m && m < b.To+u.Changeover
				})
		}
		c.free = append(c.free, free)
	}
	c.role(map[string]int{}, 0)
	return c.all
}

func (c *columns) who(n openings.Need, only []string, taken []int, f func(u int)) {
	for i, u := range c.shop.Units {
		lacks := slices.ContainsFunc(n.Skills, func(s string) bool { return !slices.Contains(u.Skills, s) })
		if !lacks && slices.Contains(n.Kinds, u.Kind) && (len(only) == 0 || slices.Contains(only, u.ID)) && !slices.Contains(taken, i) {
			f(i)
		}
	}
}

// role binds the k-th role and those after it.
func (c *columns) role(bound map[string]int, k int) {
	if k == len(c.q.Visit.Roles) {
		for m := c.q.Query.From; m <= min(c.q.Query.To, c.shop.Minutes); m++ {
			if m%c.q.Query.Grid == 0 {
				c.phase(bound, nil, m)
			}
		}
		return
	}
	var only []string
	if k == 0 {
		only = c.q.LeadOnly
	}
	var taken []int
	for _, u := range bound {
		taken = append(taken, u)
	}
	r := c.q.Visit.Roles[k]
	c.who(r.Need, only, taken, func(u int) {
		bound[r.Name] = u
		c.role(bound, k+1)
		delete(bound, r.Name)
	})
}

// phase places the next phase at m and those after it.
func (c *columns) phase(bound map[string]int, done []openings.Placed, m openings.Minute) {
	ph := c.q.Visit.Phases[len(done)]
	end := m + ph.Minutes
	if end > c.shop.Minutes {
		return
	}
	var atWork []int
	for _, r := range ph.Roles {
		atWork = append(atWork, bound[r])
	}
	c.pool(bound, done, openings.Placed{Phase: ph.Name, Start: m, End: end}, atWork)
}

// pool chooses the next extra unit of a phase, and goes on when it has them all.
func (c *columns) pool(bound map[string]int, done []openings.Placed, p openings.Placed, atWork []int) {
	ph := c.q.Visit.Phases[len(done)]
	if k := len(p.Pool); k < len(ph.Pool) {
		c.who(ph.Pool[k], nil, atWork, func(u int) {
			next := p
			next.Pool = append(slices.Clone(p.Pool), c.shop.Units[u].ID)
			c.pool(bound, done, next, append(slices.Clone(atWork), u))
		})
		return
	}
	for _, u := range atWork {
		if slices.Contains(c.free[u][p.Start:p.End], false) {
			return
		}
	}
	done = append(slices.Clone(done), p)
	if len(done) == len(c.q.Visit.Phases) {
		c.finish(bound, done)
		return
	}
	g := c.q.Visit.Gaps[len(done)-1]
	for wait := g.Min; wait <= g.Max; wait++ {
		held := !slices.ContainsFunc(g.Hold, func(r string) bool {
			return slices.Contains(c.free[bound[r]][p.End:p.End+wait], false)
		})
		if held {
			c.phase(bound, done, p.End+wait)
		}
	}
}

func (c *columns) finish(bound map[string]int, done []openings.Placed) {
	first, last := done[0].Start, done[len(done)-1].End
	inside := slices.ContainsFunc(joined(c.shop.Premises, c.shop.Minutes), func(w openings.Span) bool { return w.From <= first && last <= w.To })
	if !inside || c.q.Query.EndBy != nil && last > *c.q.Query.EndBy {
		return
	}
	s := openings.Schedule{Roles: map[string]string{}, Phases: done}
	for r, u := range bound {
		s.Roles[r] = c.shop.Units[u].ID
	}
	c.all = append(c.all, s)
}

// setPacking writes p, which has no links, as a linear program in which every
// column is a schedule of a request; ok is false when there are too many.
func setPacking(p packing.Problem) (model string, ok bool) {
	var worth []string
	rows := map[string][]string{} // columns by minute of a unit
	var chosen strings.Builder
	n := 0
	for i, q := range p.Requests {
		var mine []string
		for _, s := range schedules(p.Shop, q) {
			if n++; n > maxColumns {
				return "", false
			}
			x := fmt.Sprintf("x%d", n)
			mine = append(mine, x)
			worth = append(worth, fmt.Sprintf("%+d %s", q.Value-costOf(q, s), x))
			for u := range p.Shop.Units {
				seen := map[string]bool{}
				for _, b := range used(&p.Shop.Units[u], q.Visit, s) {
					for m := b.From; m < b.To+b.Clear; m++ {
						row := fmt.Sprintf("u%d_%d", u, m)
						if !seen[row] {
							rows[row] = append(rows[row], x)
						}
						seen[row] = true
					}
				}
			}
		}
		sign := "<="
		if q.Must {
			sign = "="
		}
		fmt.Fprintf(&chosen, " r%d: %s %s 1\n", i, terms(append(mine, "none"), " + "), sign)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "Maximize\n obj: %s\nSubject To\n none: none <= 0\n%s", terms(worth, " "), &chosen)
	for row, xs := range rows {
		if len(xs) > 1 {
			fmt.Fprintf(&b, " %s: %s <= 1\n", row, terms(xs, " + "))
		}
	}
	b.WriteString("Binary\n none\n")
	for k := range n {
		fmt.Fprintf(&b, " x%d\n", k+1)
	}
	b.WriteString("End\n")
	return b.String(), n > 0
}

// terms joins terms in lines that every reader takes.
func terms(all []string, sep string) string {
	var b strings.Builder
	for i, t := range all {
		switch {
		case i == 0:
		case i%10 == 0:
			b.WriteString("\n" + sep)
		default:
			b.WriteString(sep)
		}
		b.WriteString(t)
	}
	return b.String()
}

// costOf is what a schedule costs for not being where its request stands.
func costOf(q packing.Request, s openings.Schedule) int {
	if q.Stay == nil {
		return 0
	}
	same := len(s.Phases) == len(q.Stay.Phases)
	for r, u := range s.Roles {
		same = same && q.Stay.Roles[r] == u
	}
	for i, ph := range s.Phases {
		same = same && ph.Start == q.Stay.Phases[i].Start && slices.Equal(ph.Pool, q.Stay.Phases[i].Pool)
	}
	if same {
		return 0
	}
	by := s.Phases[0].Start - q.Stay.Phases[0].Start
	return q.Move + q.PerMinute*int(max(by, -by))
}

// cbc solves a linear program to the end; found is false when it has no solution.
func cbc(t *testing.T, model string) (value int, found bool) {
	t.Helper()
	out := ask(t, judge(t, "cbc", "coinor-cbc"), "model.lp", model, "FILE", "-solve", "-solution", "FILE.out", "-quit")
	if strings.Contains(out, "infeasible") {
		return 0, false
	}
	require.Contains(t, out, "Optimal solution found", model)
	_, rest, ok := strings.Cut(out, "Objective value:")
	require.True(t, ok, out)
	v, err := strconv.ParseFloat(strings.Fields(rest)[0], 64)
	require.NoError(t, err)
	return int(math.Round(v)), true
}

func TestCBCProvesTheSameGreatestValues(t *testing.T) {
	t.Parallel()
	asked, moved, feasible := 0, 0, 0
	for seed := uint64(0); asked < *judged; seed++ {
		require.Less(t, seed, uint64(500), "too many problems are too large")
		p := randomPacking(t, rand.New(rand.NewPCG(seed, 5)), packing.MaxValue)
		p.Links = nil
		model, small := setPacking(p)
		if !small {
			continue
		}
		asked++
		got := bestPacking(t, p)
		requireSound(t, p, got)
		require.True(t, got.Proven, "seed %d: %+v", seed, p)
		want, found := cbc(t, model)
		require.Equal(t, found, got.Complete, "seed %d: %+v\n%+v", seed, p, got)
		if found {
			require.Equal(t, want, got.Value, "seed %d: %+v\n%+v", seed, p, got)
			feasible++
			moved += len(got.Moved)
		}
	}
	require.Positive(t, moved)
	require.Greater(t, feasible, asked/2)
}
