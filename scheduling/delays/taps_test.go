package delays_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"

	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"

	"github.com/stretchr/testify/require"
)

// tap notes steps of v as hurried people do: some never, some in the same minute
// as the one before, some with an end, some with a look that lets them last.
func tap(d *delays.Day, v *delays.Visit, r *rand.Rand) {
	v.Happened = make([]delays.Happened, len(v.Booked.Phases))
	if r.IntN(4) == 0 {
		return
	}
	at := max(0, d.Now-openings.Minute(r.IntN(200)))
	v.Arrived = &at
	skip := 1 + r.IntN(4)
	for i := range v.Booked.Phases {
		if r.IntN(skip) > 0 {
			continue
		}
		at += openings.Minute(r.IntN(3) * r.IntN(15))
		if at > d.Now || r.IntN(9) == 0 {
			break
		}
		start := at
		v.Happened[i].Start = &start
		if r.IntN(2) == 0 {
			end := min(d.Now, at+openings.Minute(r.IntN(20)))
			v.Happened[i].End, at = &end, end
		}
		if r.IntN(5) == 0 {
			until := min(d.Shop.Minutes, d.Now+openings.Minute(r.IntN(20)))
			v.Happened[i].Until = &until
		}
	}
	v.Ended = r.IntN(6) == 0
}

// tapped is a day in which everybody notes what she likes.
func tapped(t testing.TB, seed uint64) delays.Day {
	d := randomDay(t, seed, 40)
	r := rand.New(rand.NewPCG(seed, 2))
	for i := range d.Visits {
		tap(&d, &d.Visits[i], r)
	}
	return d
}

func TestWhateverWasNotedADayGoesOn(t *testing.T) {
	middle := 0
	for seed := range uint64(4 * randomDays) {
		d := tapped(t, seed)
		require.NotPanics(t, func() {
			p, err := d.Project()
			require.NoError(t, err, "seed %d", seed)
			for k, vp := range p.Visits {
				middle += inTheMiddle(&d.Visits[k])
				stepsInOrder(t, vp, fmt.Sprintf("seed %d: %s", seed, vp.ID))
			}
			strict, _, err := d.Problem()
			require.NoError(t, err, "seed %d", seed)
			if len(strict.Pieces) > 0 {
				_, err = delays.Project(strict)
				require.NoError(t, err, "seed %d", seed)
			}
			if seed < randomDays {
				_, err = d.Remedies(context.Background(), delays.Options{Rounds: 5, Seed: seed, PairFactor: 1.7})
				require.NoError(t, err, "seed %d", seed)
			}
		}, "seed %d", seed)
	}
	require.Greater(t, middle, randomDays, "steps between two others were passed over")
}

// inTheMiddle counts the steps without times between two that have them.
func inTheMiddle(v *delays.Visit) (n int) {
	since := -1
	for i, h := range v.Happened {
		if h.Start == nil {
			continue
		}
		if since >= 0 {
			n += i - since - 1
		}
		since = i
	}
	return n
}

// stepsInOrder looks at the times of the steps that happen.
func stepsInOrder(t *testing.T, vp delays.VisitProjection, name string) {
	last, came := openings.Minute(0), false
	for _, ph := range vp.Phases {
		if ph.State == delays.PhaseNever {
			require.False(t, came, "%s: %s comes before steps that begin later and never happens", name, ph.Phase)
			continue
		}
		require.LessOrEqual(t, ph.Start, ph.End, "%s: %s", name, ph.Phase)
		if ph.State == delays.PhaseToCome {
			came = true
			require.GreaterOrEqual(t, ph.Start, last, "%s: %s begins before the step before it is over", name, ph.Phase)
		}
		last = ph.End
	}
}

// TestAChairIsHeldOverAStepThatWasPassedOver has a client in a chair whose step
// in the middle has no times, and another who waits for that chair.
func TestAChairIsHeldOverAStepThatWasPassedOver(t *testing.T) {
	plan := planOf(t, "Care treatment", "stylist-1")
	d := book(t, salon(1, 1, 0), []*openings.VisitPlan{plan, planOf(t, "Care treatment", "stylist-2")}, []openings.Minute{540, 540})
	require.Len(t, d.Visits, 2)
	require.Equal(t, d.Visits[0].Booked.Phases[0].Phase, d.Visits[1].Booked.Phases[0].Phase)
	for passed := 1; passed+1 < len(plan.Steps); passed++ {
		d.Now = 552
		begun := make([]delays.Happened, len(d.Visits[0].Booked.Phases))
		at := func(m openings.Minute) *openings.Minute { return &m }
		for i := range passed {
			begun[i] = delays.Happened{Start: at(540 + openings.Minute(i)), End: at(541 + openings.Minute(i))}
		}
		begun[passed+1].Start = at(551)
		d.Visits[0].Happened = begun
		require.NotPanics(t, func() {
			p, err := d.Project()
			require.NoError(t, err)
			require.Equal(t, delays.PhaseNever, p.Visits[0].Phases[passed].State)
			require.Empty(t, coming(p.Broken))
			require.GreaterOrEqual(t, p.Visits[1].Start, p.Visits[0].End, "the chair is not free before")
		}, "step %d passed over", passed)
	}
}
