package needs_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/needs"
)

// TestWhetherTheClientWasTreatedMattersOnlyWhereItIsAsked lists needs twice, of
// somebody who was treated here before and of somebody who was not.
func TestWhetherTheClientWasTreatedMattersOnlyWhereItIsAsked(t *testing.T) {
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 5))
	services := []needs.Service{cut, colour, straight, retouch}
	scopes := []needs.Scope{needs.ForNothing, needs.ForStraightener, needs.ForChemical, needs.ForEverything}
	same, differs := 0, 0
	for range 20000 {
		v, c := visit(services[r.IntN(4)]), needs.Client{}
		if r.IntN(2) == 0 {
			v.Services = append(v.Services, services[r.IntN(4)])
		}
		if r.IntN(4) == 0 {
			v.Corrects = ago(9 * day)
		}
		for range r.IntN(8) {
			if r.IntN(4) == 0 {
				bad[r.IntN(len(bad))](&v, &c)
			} else {
				good[r.IntN(len(good))](&v, &c)
			}
		}
		rules := needs.DefaultRules()
		rules.ConsultationFor, rules.StrandTestFor = scopes[r.IntN(4)], scopes[r.IntN(4)]
		rules.StrandTestForNew = r.IntN(2) == 0
		c.Treated = false
		unknown := needs.List(v, c, rules, berlin)
		c.Treated = true
		known := needs.List(v, c, rules, berlin)
		if rules.AskTreated(v.Services) {
			if !equalNeeds(unknown, known) {
				differs++
			}
			continue
		}
		same++
		require.Equal(t, unknown, known, "seed %d: %+v", seed, rules)
	}
	require.Greater(t, same, 1000, "seed %d", seed)
	require.Greater(t, differs, 100, "seed %d", seed)
}

// equalNeeds reports whether two lists say the same at the same times.
func equalNeeds(a, b []needs.Need) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i].Kind != b[i].Kind || a[i].State != b[i].State || !a[i].Latest.Equal(b[i].Latest) {
			return false
		}
	}
	return true
}
