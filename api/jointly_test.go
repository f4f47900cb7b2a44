package api

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// smallShop is two stylists, sometimes a third, an assistant, two chairs and a
// basin for an hour, with some of it taken.
func smallShop(r *rand.Rand) openings.Shop {
	shop := openings.Shop{Minutes: 60, Premises: []openings.Span{{From: 0, To: openings.Minute(30 + r.IntN(31))}}}
	kinds := []openings.UnitKind{openings.Stylist, openings.Stylist, openings.Assistant, openings.Chair, openings.Chair, openings.Basin}
	if r.IntN(2) == 0 {
		kinds = append(kinds, openings.Stylist)
	}
	for i, k := range kinds {
		u := openings.Unit{ID: fmt.Sprintf("%s%d", k, i), Kind: k, Open: []openings.Span{{From: 0, To: 60}}, Changeover: openings.Minute(r.IntN(3))}
		for range r.IntN(3) {
			from := openings.Minute(r.IntN(55))
			u.Bookings = append(u.Bookings, openings.Booking{From: from, To: from + 1 + openings.Minute(r.IntN(4)), Clear: openings.Minute(r.IntN(2))})
		}
		shop.Units = append(shop.Units, u)
	}
	return shop
}

// smallVisit has two or three steps with short waits.
func smallVisit(t *testing.T, r *rand.Rand) *openings.VisitPlan {
	var steps []scheduling.TimedStep
	for range 2 + r.IntN(2) {
		st := scheduling.Step{Kind: "step", Who: []scheduling.Who{scheduling.ByLead, scheduling.ByAssistant, scheduling.ByNobody}[r.IntN(3)],
			Where: []scheduling.Where{scheduling.AtChair, scheduling.AtBasin}[r.IntN(2)], WaitMax: r.IntN(4)}
		steps = append(steps, scheduling.TimedStep{Step: st, Length: 1 + r.IntN(4)})
	}
	steps[r.IntN(len(steps))].Who = scheduling.ByLead
	p, err := openings.ComposeVisit([]openings.VisitService{{Steps: steps, Hands: 1}})
	require.NoError(t, err)
	return p
}

// everySchedule lists every way to carry out a visit from start.
func everySchedule(p *openings.VisitPlan, shop openings.Shop, start openings.Minute) []openings.Schedule {
	var out []openings.Schedule
	unit := func(kinds []openings.UnitKind, use func(id string)) {
		for _, u := range shop.Units {
			if slices.Contains(kinds, u.Kind) {
				use(u.ID)
			}
		}
	}
	var sch openings.Schedule
	var phase func(i int, at openings.Minute)
	var pool func(i, k int, after func())
	pool = func(i, k int, after func()) {
		if k == len(p.Spec.Phases[i].Pool) {
			after()
			return
		}
		unit(p.Spec.Phases[i].Pool[k].Kinds, func(id string) {
			sch.Phases[i].Pool[k] = id
			pool(i, k+1, after)
		})
	}
	phase = func(i int, at openings.Minute) {
		ph := p.Spec.Phases[i]
		sch.Phases[i] = openings.Placed{Phase: ph.Name, Start: at, End: at + ph.Minutes, Pool: make([]string, len(ph.Pool))}
		pool(i, 0, func() {
			if i+1 == len(p.Spec.Phases) {
				if len(openings.Check(sch, p.Spec, shop)) == 0 {
					c := later(sch, 0)
					for k := range c.Phases {
						c.Phases[k].Pool = slices.Clone(c.Phases[k].Pool)
					}
					out = append(out, c)
				}
				return
			}
			for w := p.Spec.Gaps[i].Min; w <= p.Spec.Gaps[i].Max; w++ {
				phase(i+1, at+ph.Minutes+w)
			}
		})
	}
	unit([]openings.UnitKind{openings.Stylist}, func(lead string) {
		unit([]openings.UnitKind{openings.Chair}, func(chair string) {
			sch = openings.Schedule{Roles: map[string]string{openings.RoleLead: lead, openings.RoleChair: chair}, Phases: make([]openings.Placed, len(p.Spec.Phases))}
			phase(0, start)
		})
	})
	return out
}

// besides reports whether two schedules can both be carried out.
func besides(shop openings.Shop, p, q *openings.VisitPlan, a, b openings.Schedule, apart bool) bool {
	if apart && a.Roles[openings.RoleLead] == b.Roles[openings.RoleLead] {
		return false
	}
	return len(openings.Check(b, q.Spec, occupied(shop, p, a))) == 0
}

func TestTwoVisitsArePlacedTogetherExactlyWhenThatIsPossible(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 1))
	fits, alone := 0, 0
	for round := range 400 {
		shop := smallShop(r)
		p, q := smallVisit(t, r), smallVisit(t, r)
		at, other := openings.Minute(r.IntN(20)), openings.Minute(r.IntN(20))
		apart := r.IntN(3) == 0
		first, second := everySchedule(p, shop, at), everySchedule(q, shop, other)
		least := openings.Minute(-1)
		for _, a := range first {
			for _, b := range second {
				stay := a.Phases[len(a.Phases)-1].End + b.Phases[len(b.Phases)-1].End
				if (least < 0 || stay < least) && besides(shop, p, q, a, b, apart) {
					least = stay
				}
			}
		}
		snap, err := openings.NewSnapshot(shop)
		require.NoError(t, err)
		visits := []together{{plan: p, start: at}, {plan: q, start: other}}
		j := &jointly{snap: snap, apart: apart, tries: jointTries}
		found, which, err := j.place(visits)
		require.NoError(t, err)
		require.Positive(t, j.tries, "seed %d, round %d", seed, round)
		require.Equal(t, least >= 0, found != nil, "seed %d, round %d", seed, round)
		if found == nil {
			require.Equal(t, which < 0, len(first) > 0 && len(second) > 0, "seed %d, round %d", seed, round)
			if which < 0 {
				alone++
			}
			continue
		}
		fits++
		require.Equal(t, least, found[0].Phases[len(found[0].Phases)-1].End+found[1].Phases[len(found[1].Phases)-1].End, "seed %d, round %d", seed, round)
		for _, list := range [][]openings.Schedule{found, settled(shop, visits, found)} {
			require.Empty(t, openings.Check(list[0], p.Spec, shop))
			require.True(t, besides(shop, p, q, list[0], list[1], apart), "seed %d, round %d", seed, round)
		}
	}
	t.Logf("%d of 400 pairs fit together, %d only alone", fits, alone)
	require.Greater(t, fits, 40)
	require.Greater(t, alone, 10)
}
