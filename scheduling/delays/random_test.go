package delays_test

import (
	"context"
	"fmt"
	"testing"

	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"

	"github.com/stretchr/testify/require"
)

// faultsOf looks minute by minute at what of p is to come and returns every
// rule that it breaks, in words: a unit used by two clients, or where it cannot
// be, a step of another length, a wait that is too long, a start in the past or
// before the client is there. It knows nothing of how p was found. Clearing is
// left to openings.Check.
func faultsOf(d *delays.Day, p delays.DayProjection, changed map[string]delays.Change) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	used := map[string]map[openings.Minute]string{}
	shared := map[string]bool{} // by two visits that have both begun, as noted
	for _, b := range p.Broken {
		shared[b.Unit] = shared[b.Unit] || b.Past && b.Kind == delays.BrokenDouble
	}
	units := map[string]*openings.Unit{}
	for i := range d.Shop.Units {
		units[d.Shop.Units[i].ID] = &d.Shop.Units[i]
		used[d.Shop.Units[i].ID] = map[openings.Minute]string{}
	}
	inside := func(l []openings.Span, m openings.Minute) bool {
		for _, s := range l {
			if s.From <= m && m < s.To {
				return true
			}
		}
		return false
	}
	for k, vp := range p.Visits {
		v := &d.Visits[k]
		spec := v.Spec
		if c, ok := changed[v.ID]; ok {
			spec = c.Spec
		}
		if changed[v.ID].Rebook {
			continue
		}
		takes := func(id string, from, to openings.Minute, begun bool) {
			for m := max(from, d.Now); m < to; m++ {
				if other, taken := used[id][m]; taken && other != v.ID && !shared[id] {
					say("%s is used by %s and %s at %d", id, other, v.ID, m)
				}
				used[id][m] = v.ID
				if !begun && (!inside(units[id].Open, m) || inside(units[id].Breaks, m) || !inside(d.Shop.Premises, m)) {
					say("%s is not there for %s at %d", id, v.ID, m)
				}
			}
		}
		for i, ph := range vp.Phases {
			if ph.State == delays.PhaseNever {
				continue
			}
			begun := ph.State != delays.PhaseToCome
			if !begun {
				if ph.Start < d.Now || i == 0 && v.NotBefore == nil && ph.Start < v.Booked.Phases[0].Start {
					say("%s of %s begins at %d", ph.Phase, v.ID, ph.Start)
				}
				if ph.End-ph.Start != spec.Phases[i].Minutes {
					say("%s of %s takes %d minutes", ph.Phase, v.ID, ph.End-ph.Start)
				}
				if i > 0 && vp.Phases[i-1].State != delays.PhaseNever {
					if w := ph.Start - vp.Phases[i-1].End; w < v.Spec.Gaps[i-1].Min || w > v.Spec.Gaps[i-1].Max {
						say("%s of %s waits %d minutes", ph.Phase, v.ID, w)
					}
					for _, r := range v.Spec.Gaps[i-1].Hold {
						takes(vp.Schedule.Roles[r], vp.Phases[i-1].End, ph.Start, false)
					}
				}
			}
			for _, r := range v.Spec.Phases[i].Roles {
				takes(vp.Schedule.Roles[r], ph.Start, ph.End, begun)
			}
			for _, id := range vp.Schedule.Phases[i].Pool {
				takes(id, ph.Start, ph.End, begun)
			}
		}
		if vp.Phases[0].State != delays.PhaseToCome {
			continue
		}
		own := openings.Shop{Minutes: d.Shop.Minutes, Premises: d.Shop.Premises, Units: d.Shop.Units}
		for _, x := range openings.Check(vp.Schedule, spec, own) {
			say("%s: %s", v.ID, x)
		}
	}
	return out
}

func coming(l []delays.Broken) (out []delays.Broken) {
	for _, b := range l {
		if !b.Past {
			out = append(out, b)
		}
	}
	return out
}

const randomDays = 300

func TestWhatAProjectionDoesNotNameIsKept(t *testing.T) {
	broken := 0
	for seed := range uint64(randomDays) {
		d := randomDay(t, seed, 40)
		p, err := d.Project()
		require.NoError(t, err, "seed %d", seed)
		faults := faultsOf(&d, p, nil)
		if len(coming(p.Broken)) == 0 {
			require.Empty(t, faults, "seed %d", seed)
		} else {
			broken++
		}
		strict, places, err := d.Problem()
		require.NoError(t, err)
		if len(strict.Pieces) == 0 {
			continue
		}
		x, err := delays.Project(strict)
		require.NoError(t, err, "seed %d", seed)
		if !x.Feasible {
			require.NotEmpty(t, p.Broken, "seed %d: %s", seed, x.Conflict)
			continue
		}
		for id, at := range x.Starts {
			pl := places[id]
			require.GreaterOrEqual(t, p.Visits[pl.Visit].Phases[pl.Phase].Start, at, "seed %d: %s is the least", seed, id)
		}
	}
	require.Greater(t, broken, randomDays/20, "days on which rules break were among them")
}

func TestEveryRemedyKeepsItsPromise(t *testing.T) {
	kinds := map[delays.RemedyKind]int{}
	for seed := range uint64(randomDays) {
		d := randomDay(t, seed, 40)
		base, err := d.Project()
		require.NoError(t, err)
		remedies, err := d.Remedies(context.Background(), delays.Options{Rounds: 20, Seed: seed, PairFactor: 1.7})
		require.NoError(t, err, "seed %d", seed)
		if len(coming(base.Broken)) > 0 {
			require.NotEmpty(t, remedies, "seed %d", seed)
		}
		for _, r := range remedies {
			kinds[r.Kind]++
			name := fmt.Sprintf("seed %d: %s", seed, r.Words)
			changed := map[string]delays.Change{}
			for _, c := range r.Changes {
				changed[c.Visit] = c
			}
			for _, c := range r.Changes {
				if len(r.Left) == 0 && !c.Rebook && len(coming(base.Broken)) == len(base.Broken) {
					require.Empty(t, openings.Check(c.Schedule, c.Spec, always(d.Shop)), name)
				}
			}
			if len(r.Left) == 0 {
				require.Empty(t, faultsOf(&d, r.After, changed), name)
			}
			require.ElementsMatch(t, r.Left, coming(r.After.Broken), name)
			keepsChemistry(t, &d, &base, r, changed, name)
		}
	}
	for _, k := range []delays.RemedyKind{delays.RemedyHelper, delays.RemedyStation, delays.RemedyRearrange, delays.RemedyLater,
		delays.RemedyRebook, delays.RemedyLastResort} {
		require.Positive(t, kinds[k], "%s: %v", k, kinds)
	}
	t.Log(kinds)
}

// keepsChemistry checks that no phase that must keep its length has another one
// than without the remedy, and that no wait with product on is longer than
// allowed unless it is without the remedy, too.
func keepsChemistry(t *testing.T, d *delays.Day, base *delays.DayProjection, r delays.Remedy, changed map[string]delays.Change, name string) {
	for k, vp := range r.After.Visits {
		v := &d.Visits[k]
		for i, ph := range vp.Phases {
			was := base.Visits[k].Phases[i]
			length := was.End - was.Start
			if ph.State == delays.PhaseToCome {
				length = v.Spec.Phases[i].Minutes
			}
			if v.Care[i].Keep || v.Care[i].Product && was.State != delays.PhaseToCome {
				require.Equal(t, length, ph.End-ph.Start, "%s: %s", name, ph.Phase)
			}
			if ph.End-ph.Start != length {
				require.Equal(t, delays.RemedyHelper, r.Kind, name)
				require.NotNil(t, v.Care[i].Share, name)
				require.GreaterOrEqual(t, float64(ph.End-ph.Start)*1.7, float64(length), name)
			}
			if i+1 == len(vp.Phases) || !v.Care[i].Product || changed[v.ID].Rebook {
				continue
			}
			wait := vp.Phases[i+1].Start - ph.End
			if next := vp.Phases[i+1]; next.State == delays.PhaseToCome && wait > v.Spec.Gaps[i].Max {
				require.LessOrEqual(t, wait, base.Visits[k].Phases[i+1].Start-was.End, "%s: %s", name, ph.Phase)
			}
		}
	}
}

// always is shop without hours, breaks and bookings.
func always(shop openings.Shop) openings.Shop {
	shop.Premises = []openings.Span{{From: 0, To: shop.Minutes}}
	shop.Units = append([]openings.Unit(nil), shop.Units...)
	for i := range shop.Units {
		shop.Units[i].Open, shop.Units[i].Breaks, shop.Units[i].Bookings = shop.Premises, nil, nil
	}
	return shop
}
