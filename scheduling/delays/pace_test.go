package delays_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"

	"github.com/stretchr/testify/require"
)

func TestNoRemedyAsksForAnIronFasterThanHerOwnRecord(t *testing.T) {
	shares := func(least openings.Minute) bool {
		d := ironing(t)
		d.Visits[0].Care[7].Least = map[string]openings.Minute{"stylist-1": least}
		remedies, err := d.Remedies(t.Context(), delays.Options{PairFactor: 1.6})
		require.NoError(t, err)
		require.NotEmpty(t, remedies)
		return slices.ContainsFunc(remedies, func(r delays.Remedy) bool { return r.Changes[0].Help != nil && r.Changes[0].Help.Phase == 7 })
	}
	// Twelve of 92 minutes are over, and shared the other 80 take 50.
	require.True(t, shares(92))
	require.True(t, shares(60), "quicker by her record than booked")
	require.False(t, shares(93), "81 minutes would take 51")
}

// handedOver is a day on which Ada's stylist is ill, so that another one may
// take her visit over.
func handedOver(t testing.TB, least openings.Minute) []delays.Remedy {
	d := book(t, salon(3, 2, 1), []*openings.VisitPlan{planOf(t, "Straightening", "")}, []openings.Minute{560})
	v := &d.Visits[0]
	lead := v.Booked.Roles[openings.RoleLead]
	other := map[string]string{"stylist-1": "stylist-2", "stylist-2": "stylist-1"}[lead]
	for i := range d.Shop.Units {
		if d.Shop.Units[i].ID == lead {
			d.Shop.Units[i].Open = nil
		}
	}
	for i, ph := range v.Spec.Phases {
		if ph.Name == string(scheduling.Iron) && least > 0 {
			v.Care[i].Least = map[string]openings.Minute{other: least}
		}
	}
	remedies, err := d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	return slices.DeleteFunc(remedies, func(r delays.Remedy) bool {
		return len(r.Changes) == 0 || r.Changes[0].Schedule.Roles[openings.RoleLead] != other
	})
}

func TestAVisitIsNotHandedToSomebodyWhoTakesLonger(t *testing.T) {
	require.NotEmpty(t, handedOver(t, 0), "nothing is known of her")
	require.NotEmpty(t, handedOver(t, 92))
	require.Empty(t, handedOver(t, 93))
}

// Whatever people's records are: nobody new in a step, and nobody whose step is
// shortened, has less time for it than her record says.
func TestRemediesOfRandomDaysKeepToRecords(t *testing.T) {
	seen := 0
	for seed := range uint64(250) {
		d := randomDay(t, seed, 20)
		r := rand.New(rand.NewPCG(seed, 2))
		for v := range d.Visits {
			for i, ph := range d.Visits[v].Spec.Phases {
				least := map[string]openings.Minute{}
				for _, u := range []string{"stylist-1", "stylist-2", "stylist-3"} {
					least[u] = ph.Minutes - 3 + openings.Minute(r.IntN(8))
				}
				if i < len(d.Visits[v].Care) {
					d.Visits[v].Care[i].Least = least
				}
			}
		}
		remedies, err := d.Remedies(t.Context(), delays.Options{Each: 20, PairFactor: 1.7})
		require.NoError(t, err)
		for _, remedy := range remedies {
			for _, c := range remedy.Changes {
				v := &d.Visits[slices.IndexFunc(d.Visits, func(v delays.Visit) bool { return v.ID == c.Visit })]
				for i, ph := range c.Schedule.Phases {
					if c.Rebook || i < len(v.Happened) && v.Happened[i].Start != nil || i >= len(v.Care) {
						continue
					}
					helped := c.Help != nil && c.Help.Phase == i
					for u, n := range v.Care[i].Least {
						takes := n
						if helped {
							takes = openings.Minute(math.Ceil(float64(n)/1.7 - 1e-9))
						}
						if who(c.Spec, c.Schedule, i, u) && (!who(v.Spec, v.Booked, i, u) || helped && c.Help.Unit != u) {
							seen++
							require.GreaterOrEqual(t, ph.End-ph.Start, takes, "seed %d: %s: %s", seed, remedy.Words, u)
						}
					}
				}
			}
		}
	}
	require.Greater(t, seen, 40)
}

// who reports whether unit u works in phase i.
func who(spec openings.VisitSpec, sch openings.Schedule, i int, u string) bool {
	return slices.Contains(sch.Phases[i].Pool, u) || slices.ContainsFunc(spec.Phases[i].Roles, func(r string) bool { return sch.Roles[r] == u })
}
