package openings_test

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// heldOracle places the steps of one service minute by minute, from what the
// steps say and not from the plan that is made of them.
type heldOracle struct {
	shop        openings.Shop
	steps       []scheduling.TimedStep
	lead, basin string // chosen for the whole visit; basin "" when none is held
}

func (o *heldOracle) free(unit string, from, to openings.Minute) bool {
	for _, u := range o.shop.Units {
		if u.ID != unit {
			continue
		}
		if from < 0 || to > o.shop.Minutes {
			return false
		}
		return from == to || !slices.ContainsFunc(u.Bookings, func(b openings.Booking) bool { return b.From < to && from < b.To })
	}
	return false
}

func (o *heldOracle) of(kinds ...openings.UnitKind) []string {
	var out []string
	for _, u := range o.shop.Units {
		if slices.Contains(kinds, u.Kind) {
			out = append(out, u.ID)
		}
	}
	return out
}

// stays reports whether the client sits in the chair in some step from i on.
func (o *heldOracle) stays(i int) bool {
	return slices.ContainsFunc(o.steps[i:], func(st scheduling.TimedStep) bool { return st.Where != scheduling.AtDesk })
}

func (o *heldOracle) holds(i int, h scheduling.Held) bool { return slices.Contains(o.steps[i].Held, h) }

// kept reports whether step i is at the basin that is held.
func (o *heldOracle) kept(i int) bool {
	if o.steps[i].Where != scheduling.AtBasin {
		return false
	}
	return o.holds(i, scheduling.HeldBasin) || i > 0 && o.holds(i-1, scheduling.HeldBasin)
}

// fits reports whether steps i and following can be done from minute at on.
func (o *heldOracle) fits(i int, at openings.Minute) bool {
	st := o.steps[i]
	end := at + openings.Minute(st.Length)
	if end > o.shop.Minutes || o.stays(i) && !o.free("chair", at, end) || st.Who == scheduling.ByLead && !o.free(o.lead, at, end) {
		return false
	}
	if st.Where == scheduling.AtBasin {
		basins := o.of(openings.Basin)
		if o.kept(i) {
			basins = []string{o.basin}
		}
		if !slices.ContainsFunc(basins, func(b string) bool { return o.free(b, at, end) }) {
			return false
		}
	}
	if st.Who == scheduling.ByAssistant &&
		!slices.ContainsFunc(o.of(openings.Assistant, openings.Stylist), func(u string) bool { return o.free(u, at, end) }) {
		return false
	}
	if i+1 == len(o.steps) {
		return true
	}
	for wait := st.WaitMin; wait <= st.WaitMax; wait++ {
		next := end + openings.Minute(wait)
		if (o.stays(i+1) || o.stays(i) && o.holds(i, scheduling.HeldChair)) && !o.free("chair", end, next) ||
			o.holds(i, scheduling.HeldBasin) && !o.free(o.basin, end, next) ||
			o.holds(i, scheduling.HeldLead) && !o.free(o.lead, end, next) {
			return false // a longer wait holds the same and more
		}
		if o.fits(i+1, next) {
			return true
		}
	}
	return false
}

func (o *heldOracle) starts() []openings.Minute {
	var out []openings.Minute
	basins := []string{""}
	if slices.ContainsFunc(o.steps, func(st scheduling.TimedStep) bool { return slices.Contains(st.Held, scheduling.HeldBasin) }) {
		basins = o.of(openings.Basin)
	}
	for m := range o.shop.Minutes {
		found := false
		for _, o.lead = range o.of(openings.Stylist) {
			for _, o.basin = range basins {
				found = found || o.fits(0, m)
			}
		}
		if found {
			out = append(out, m)
		}
	}
	return out
}

// heldCase draws a small salon with bookings and a service whose waits hold
// what may be held.
func heldCase(r *rand.Rand) (openings.Shop, openings.VisitService) {
	day := []openings.Span{{From: 0, To: 40}}
	shop := openings.Shop{Minutes: 40, Premises: day, Units: []openings.Unit{{ID: "chair", Kind: openings.Chair}, {ID: "ada", Kind: openings.Stylist}}}
	for _, u := range []openings.Unit{{ID: "ben", Kind: openings.Stylist}, {ID: "mina", Kind: openings.Assistant}, {ID: "basin 1", Kind: openings.Basin}, {ID: "basin 2", Kind: openings.Basin}} {
		if u.ID == "basin 1" || r.IntN(2) == 0 {
			shop.Units = append(shop.Units, u)
		}
	}
	for i := range shop.Units {
		u := &shop.Units[i]
		u.Open = day
		for range r.IntN(4) {
			from := openings.Minute(r.IntN(40))
			u.Bookings = append(u.Bookings, openings.Booking{From: from, To: from + 1 + openings.Minute(r.IntN(4))})
		}
	}
	x := openings.VisitService{Hands: 1}
	n := 2 + r.IntN(4)
	for i := range n {
		st := scheduling.TimedStep{Length: 1 + r.IntN(3)}
		st.Kind, st.HandsOn = "step", true
		st.Who = []scheduling.Who{scheduling.ByLead, scheduling.ByAssistant, scheduling.ByNobody}[r.IntN(3)]
		st.Where = []scheduling.Where{scheduling.AtChair, scheduling.AtBasin, scheduling.AtBasin, scheduling.AtDesk}[r.IntN(4)]
		if i == 0 {
			st.Where = scheduling.AtChair
		}
		st.WaitMax = r.IntN(4)
		st.WaitMin = r.IntN(st.WaitMax + 1)
		if r.IntN(2) == 0 {
			st.Held = append(st.Held, scheduling.HeldLead)
		}
		if st.Where == scheduling.AtBasin && r.IntN(2) == 0 {
			st.Held = append(st.Held, scheduling.HeldBasin)
		}
		if len(st.Held) > 0 && r.IntN(2) == 0 {
			st.Held = append(st.Held, scheduling.HeldChair)
		}
		x.Steps = append(x.Steps, st)
	}
	return shop, x
}

func TestWhatIsHeldInAWaitIsKeptByTheSearch(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	waited := 0
	for range 3000 {
		shop, x := heldCase(r)
		plan, err := openings.ComposeVisit([]openings.VisitService{x})
		require.NoError(t, err)
		snap, err := openings.NewSnapshot(shop)
		require.NoError(t, err, "seed %d", seed)
		compiled, err := openings.Compile(plan.Spec, snap)
		require.NoError(t, err, "seed %d", seed)
		set, err := compiled.Search(snap, openings.Query{From: 0, To: 39, Grid: 1})
		require.NoError(t, err)
		o := heldOracle{shop: shop, steps: x.Steps}
		require.Equal(t, o.starts(), slices.Collect(set.All()), "seed %d: %+v in %+v", seed, x.Steps, shop.Units)
		for m := range set.All() {
			sch, ok := set.Assign(m, "")
			require.True(t, ok)
			require.Empty(t, openings.Check(sch, plan.Spec, shop), "seed %d", seed)
			waited += reserved(t, seed, plan, sch, x.Steps)
		}
	}
	require.Greater(t, waited, 1000)
}

// reserved checks that whoever and whatever is held in a wait of sch is reserved
// and, of people, busy, and returns how many were.
func reserved(t *testing.T, seed uint64, plan *openings.VisitPlan, sch openings.Schedule, steps []scheduling.TimedStep) int {
	n := 0
	covers := func(unit string, wait openings.Span, what string) {
		n++
		require.True(t, slices.ContainsFunc(plan.Reservations(sch), func(x openings.Reservation) bool {
			return x.Unit == unit && x.From <= wait.From && wait.To <= x.To
		}), "seed %d: %s in %v of %+v", seed, what, wait, sch)
	}
	for i, st := range steps[:len(steps)-1] {
		wait := openings.Span{From: sch.Phases[i].End, To: sch.Phases[i+1].Start}
		if wait.From == wait.To {
			continue
		}
		if slices.Contains(st.Held, scheduling.HeldLead) {
			lead := plan.LeadOf(sch, 0)
			covers(lead, wait, "lead")
			require.True(t, slices.ContainsFunc(plan.Parts(sch), func(p openings.Part) bool {
				return p.Unit == lead && p.Kind != openings.PartAway && p.From <= wait.From && wait.To <= p.To
			}), "seed %d: busy in %v of %+v", seed, wait, plan.Parts(sch))
		}
		if slices.Contains(st.Held, scheduling.HeldBasin) {
			for _, u := range plan.Uses(sch, i) {
				if u.Role == openings.RoleBasin {
					covers(u.Unit, wait, "basin")
				}
			}
		}
	}
	return n
}

func TestABookingInAWaitIsAClashOnlyForWhatIsHeld(t *testing.T) {
	steps := func(held ...scheduling.Held) []scheduling.TimedStep {
		rinse := scheduling.Step{Kind: "rinse", Who: scheduling.ByLead, Where: scheduling.AtBasin, HandsOn: true, WaitMin: 10, WaitMax: 10, Held: held}
		cut := scheduling.Step{Kind: "cut", Who: scheduling.ByLead, Where: scheduling.AtChair, HandsOn: true}
		return []scheduling.TimedStep{{Step: rinse, Length: 10}, {Step: cut, Length: 10}}
	}
	for _, unit := range []string{"chair", "basin", "ada"} {
		for _, held := range [][]scheduling.Held{nil, {scheduling.HeldBasin}, {scheduling.HeldLead}, {scheduling.HeldLead, scheduling.HeldBasin}} {
			plan, err := openings.ComposeVisit([]openings.VisitService{{Steps: steps(held...), LeadID: "ada", Hands: 1}})
			require.NoError(t, err)
			plan.Spec.Clear = map[openings.UnitKind]openings.Minute{openings.Chair: 0}
			shop := room()
			for i := range shop.Units {
				if shop.Units[i].ID == unit {
					shop.Units[i].Bookings = []openings.Booking{{From: 612, To: 618}}
				}
			}
			snap, err := openings.NewSnapshot(shop)
			require.NoError(t, err)
			compiled, err := openings.Compile(plan.Spec, snap)
			require.NoError(t, err)
			set, err := compiled.Search(snap, openings.Query{From: 600, To: 600, Grid: 1})
			require.NoError(t, err)
			clash := unit == "chair" || unit == "basin" && slices.Contains(held, scheduling.HeldBasin) || unit == "ada" && slices.Contains(held, scheduling.HeldLead)
			require.Equal(t, clash, set.Empty(), "%s is taken, %v is held", unit, held)
		}
	}
}
