package openings_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

func span(from, to openings.Minute) openings.Span { return openings.Span{From: from, To: to} }

// standard is a standard service with its own minutes; those that follow the
// hair are booked as 10.
func standard(t *testing.T, name string) openings.VisitService {
	t.Helper()
	out := fixed(t, name)
	for i := range out.Steps {
		if n := out.Steps[i].Minutes; n > 0 {
			out.Steps[i].Length = n
		}
	}
	return out
}

// placements are schedules of p in shop that begin at start, one for each
// stylist who can be in charge.
func placements(t *testing.T, p *openings.VisitPlan, shop openings.Shop, start openings.Minute) []openings.Schedule {
	t.Helper()
	snap, err := openings.NewSnapshot(shop)
	require.NoError(t, err)
	plan, err := openings.Compile(p.Spec, snap)
	require.NoError(t, err)
	set, err := plan.Search(snap, openings.Query{From: start, To: start, Grid: 1})
	require.NoError(t, err)
	var out []openings.Schedule
	for _, u := range shop.Units {
		if sch, ok := set.Assign(start, u.ID); ok {
			require.Empty(t, openings.Check(sch, p.Spec, shop))
			out = append(out, sch)
		}
	}
	return out
}

// occupy books sch as a visit of that id.
func occupy(shop openings.Shop, p *openings.VisitPlan, sch openings.Schedule, id string) openings.Shop {
	shop.Units = slices.Clone(shop.Units)
	for i := range shop.Units {
		u := &shop.Units[i]
		u.Bookings = slices.Clone(u.Bookings)
		leads := slices.ContainsFunc(p.Steps, func(st openings.PlanStep) bool { return sch.Roles[st.Lead] == u.ID })
		for _, r := range p.Reservations(sch) {
			if r.Unit == u.ID {
				u.Bookings = append(u.Bookings, openings.Booking{From: r.From, To: r.To, Clear: p.Spec.Clearing(u.Kind, u.Changeover), Visit: id, Leads: leads})
			}
		}
		u.Bays = openings.Bays(u.Bookings)
	}
	return shop
}

func compose(t *testing.T, services ...openings.VisitService) *openings.VisitPlan {
	t.Helper()
	p, err := openings.ComposeVisit(services)
	require.NoError(t, err)
	return p
}

func TestANamedWatcherFreesTheStylistInCharge(t *testing.T) {
	s := fixed(t, "Straightening")
	s.WatcherID = "ben"
	p, sch := placeAt(t, s)
	require.Equal(t, "ada", p.LeadOf(sch, 0), "the watcher is not in charge")
	var ada, ben []openings.PartKind
	for _, part := range p.Parts(sch) {
		switch part.Unit {
		case "ada":
			ada = append(ada, part.Kind)
		case "ben":
			ben = append(ben, part.Kind)
		}
	}
	// Watching and the assistant's work are told apart: away, away.
	require.Equal(t, []openings.PartKind{openings.PartHandsOn, openings.PartAway, openings.PartHandsOn, openings.PartAway, openings.PartAway,
		openings.PartHandsOn, openings.PartAway, openings.PartAway, openings.PartHandsOn}, ada)
	require.Equal(t, []openings.PartKind{openings.PartWatched, openings.PartWatched}, ben)
	process := slices.IndexFunc(p.Steps, func(st openings.PlanStep) bool { return st.Kind == scheduling.Process })
	require.Equal(t, []openings.Use{{Unit: "chair", Role: "chair"}, {Unit: "ben", Role: "watcher"}}, p.Uses(sch, process))
	for _, r := range p.Reservations(sch) {
		if r.Unit == "ada" {
			require.False(t, r.From < sch.Phases[process].End && sch.Phases[process].Start < r.To, "she is free meanwhile")
		}
	}
	s.WatcherID = "ada"
	_, sch = placeAt(t, s)
	require.Equal(t, "ben", p.LeadOf(sch, 0))
	s.LeadID = "ada"
	p = compose(t, s)
	snap, err := openings.NewSnapshot(room())
	require.NoError(t, err)
	plan, err := openings.Compile(p.Spec, snap)
	require.NoError(t, err)
	require.Equal(t, []string{"no stylist besides the one who watches"}, plan.Missing())
}

// Worked out apart, with Python's math.erfc and by summing up the density.
func TestTheChanceOfAnOverrunIsTheTailOfALogNormal(t *testing.T) {
	for _, tt := range []struct {
		name string
		bay  openings.Span
		work openings.Work
		want float64
	}{
		{"half an hour in three quarters", span(0, 45), openings.Work{Span: span(0, 30), Hands: 30}, 0.0383747948},
		{"a minute later", span(100, 145), openings.Work{Span: span(101, 131), Hands: 30}, 0.0466155936},
		{"with changeover", span(0, 45), openings.Work{Span: span(5, 35), Hands: 30, Clear: 5}, 0.2268751150},
		{"by its estimate", span(0, 20), openings.Work{Span: span(0, 15), Hands: 15, Effort: openings.Effort{Mean: 12, SD: 3}}, 0.0139825305},
		{"ten minutes that need nobody", span(0, 20), openings.Work{Span: span(0, 18), Hands: 8}, 0.1516494065},
		{"nobody's hands at all", span(0, 20), openings.Work{Span: span(0, 18)}, 0},
		{"no time at all", span(0, 20), openings.Work{Span: span(10, 30), Hands: 10, Clear: 15}, 1},
	} {
		require.InDelta(t, tt.want, openings.SharedStretch{Bay: tt.bay, Works: []openings.Work{tt.work}}.Chance(), 1e-8, tt.name)
	}
	require.Equal(t, 1.0, openings.Effort{Mean: 10}.Exceeds(9.9))
	require.Equal(t, 0.0, openings.Effort{Mean: 10}.Exceeds(10))
}

// draw is one value of work whose mean and spread are known.
func draw(r *rand.Rand, mean, sd float64) float64 {
	variance := math.Log(1 + sd*sd/(mean*mean))
	return math.Exp(math.Log(mean) - variance/2 + math.Sqrt(variance)*r.NormFloat64())
}

// lateness lives through one bay of x: the host's work before it ends early or
// late, the bay is as long as planned from there on, and every client begins at
// the agreed distance or when the stylist is really free. It reports whether
// she comes back late.
func lateness(r *rand.Rand, x openings.SharedStretch) bool {
	begin := draw(r, 30, 8) - 30
	free := begin
	for _, w := range x.Works {
		at := max(free, begin+float64(w.From-x.Bay.From))
		mean, sd := float64(w.Hands), 0.25*float64(w.Hands)
		if w.Effort.Mean > 0 {
			mean, sd = w.Effort.Mean, w.SD
		}
		free = at + float64(w.To-w.From-w.Hands) + draw(r, mean, sd) + float64(w.Clear)
	}
	return free > begin+float64(x.Bay.To-x.Bay.From)
}

// simulated is the share of n lives of x that end late, with five standard
// errors of it.
func simulated(r *rand.Rand, x openings.SharedStretch, n int) (share, error float64) {
	late := 0
	for range n {
		if lateness(r, x) {
			late++
		}
	}
	share = float64(late) / float64(n)
	return share, 5 * math.Sqrt(max(share*(1-share), 1/float64(n))/float64(n))
}

func TestOverrunsAreAsFrequentAsSaid(t *testing.T) {
	r := seeded(t)
	for _, x := range []openings.SharedStretch{
		{Bay: span(0, 45), Works: []openings.Work{{Span: span(0, 30), Hands: 30}}},
		{Bay: span(0, 90), Works: []openings.Work{{Span: span(7, 60), Hands: 40, Clear: 5}}},
		{Bay: span(0, 60), Works: []openings.Work{{Visit: "a", Span: span(0, 20), Hands: 20}, {Span: span(20, 45), Hands: 25}}},
		{Bay: span(0, 60), Works: []openings.Work{{Visit: "a", Span: span(5, 25), Hands: 20, Clear: 2}, {Span: span(30, 50), Hands: 15, Effort: openings.Effort{Mean: 13, SD: 5}},
			{Visit: "b", Span: span(50, 55), Hands: 5, Clear: 1}}},
	} {
		share, err := simulated(r, x, 400_000)
		t.Logf("said %.4f, seen %.4f ± %.4f", x.Chance(), share, err)
		require.InDelta(t, x.Chance(), share, err+1e-3, "%+v", x)
	}
}

func TestWorkInsideOtherWorkIsNeverSaidToBeSaferThanItIs(t *testing.T) {
	r := seeded(t)
	// b works for a client in the bay of a, who is in the bay of the host.
	x := openings.SharedStretch{Bay: span(0, 100), Works: []openings.Work{{Visit: "a", Span: span(0, 80), Hands: 40}, {Visit: "b", Span: span(25, 45), Hands: 20}}}
	late := 0
	const n = 200_000
	for range n {
		first := draw(r, 20, 5)
		inner := max(first, 25) + draw(r, 20, 5)
		if max(first+40, inner)+draw(r, 20, 5) > 100 {
			late++
		}
	}
	share := float64(late) / n
	require.Greater(t, x.Chance(), share)
	require.Less(t, x.Chance(), 0.1)
	t.Logf("said at most %.4f, seen %.4f", x.Chance(), share)
}

// household is a shop in which one stylist often has two clients.
func household() openings.Shop {
	day := []openings.Span{{From: 0, To: 600}}
	shop := openings.Shop{Minutes: 600, Premises: day, Units: []openings.Unit{
		{ID: "ada", Kind: openings.Stylist, Skills: []string{"straightening", "cut", "colour"}, Open: day, Changeover: 1},
		{ID: "ben", Kind: openings.Stylist, Skills: []string{"straightening", "cut", "colour"}, Open: day},
		{ID: "mina", Kind: openings.Assistant, Open: day},
		{ID: "noor", Kind: openings.Assistant, Open: day},
	}}
	for _, id := range []string{"c1", "c2", "c3", "c4", "c5"} {
		shop.Units = append(shop.Units, openings.Unit{ID: id, Kind: openings.Chair, Open: day, Changeover: 3})
	}
	for _, id := range []string{"b1", "b2"} {
		shop.Units = append(shop.Units, openings.Unit{ID: id, Kind: openings.Basin, Open: day, Changeover: 2})
	}
	return shop
}

// randomRequest is a visit that somebody may ask for.
func randomRequest(t *testing.T, r *rand.Rand) *openings.VisitPlan {
	names := []string{"Root colour", "Dry cut", "Cut and dry", "Care treatment", "Patch test", "Straightening", "Wash and dry"}
	s := standard(t, names[r.IntN(len(names))])
	if s.Service.Name == "Straightening" && r.IntN(2) == 0 {
		s.WatcherID = []string{"ada", "ben"}[r.IntN(2)]
	}
	p := compose(t, s)
	if r.IntN(4) == 0 {
		p.LeadClears(openings.Minute(r.IntN(10)))
	}
	return p
}

// TestTheLimitIsKeptOnRandomDays fills days with visits that begin anywhere,
// takes only schedules whose chances are within the limit, and lives through
// every bay of the day that came of it.
func TestTheLimitIsKeptOnRandomDays(t *testing.T) {
	r := seeded(t)
	const limit = 0.05
	refused, bays, several := 0, 0, 0
	for day := range 50 {
		shop := household()
		var done []piece
		for k := range 60 {
			p := randomRequest(t, r)
			may := p.MayShare(shop)
			start := openings.Minute(r.IntN(590))
			for _, sch := range placements(t, p, shop, start) {
				shared := p.Shared(sch, shop)
				near := slices.ContainsFunc(may, func(s openings.Span) bool { return s.From <= start && start < s.To })
				require.True(t, near || len(shared) == 0, "day %d: a start at %d was not looked at: %+v", day, start, shared)
				fitWhole(t, p, sch, shop, shared)
				if slices.ContainsFunc(shared, func(x openings.SharedStretch) bool { return x.Chance() > limit }) {
					refused++
					continue
				}
				id := fmt.Sprint("v", k)
				done = append(done, piecesOf(p, sch, shop, id)...)
				shop = occupy(shop, p, sch, id)
				break
			}
		}
		for _, u := range shop.Units {
			for _, bay := range u.Bays {
				works, share, err := dayLate(r, u.ID, bay, done, 20_000)
				require.LessOrEqual(t, share, limit+err, "day %d: %s %+v %+v", day, u.ID, bay, done)
				if works > 0 {
					bays++
				}
				if works > 1 {
					several++
				}
			}
		}
	}
	t.Logf("%d schedules refused, %d bays with work in them, %d with several clients", refused, bays, several)
	require.Greater(t, refused, 30)
	require.Greater(t, bays, 30)
	require.Greater(t, several, 3)
}

// fitWhole checks that work inside a bay ends, cleared, before it does.
func fitWhole(t *testing.T, p *openings.VisitPlan, sch openings.Schedule, shop openings.Shop, shared []openings.SharedStretch) {
	t.Helper()
	for _, x := range shared {
		require.NotEmpty(t, x.Works)
		for _, w := range x.Works {
			require.GreaterOrEqual(t, w.From, x.Bay.From, "%+v", x)
			require.LessOrEqual(t, w.To+w.Clear, x.Bay.To, "%+v", x)
			require.LessOrEqual(t, w.Hands, w.To-w.From)
		}
		require.Empty(t, openings.Check(sch, p.Spec, shop))
	}
}

// piece is a stretch that a unit really works for a visit; hands says whether
// it takes as long as the hands need, or its planned time.
type piece struct {
	visit, unit string
	openings.Span
	hands bool
	clear openings.Minute
}

// piecesOf writes down what is really done in sch, step by step.
func piecesOf(p *openings.VisitPlan, sch openings.Schedule, shop openings.Shop, id string) []piece {
	var out []piece
	for i, ph := range sch.Phases {
		for _, use := range p.Uses(sch, i) {
			k := slices.IndexFunc(shop.Units, func(u openings.Unit) bool { return u.ID == use.Unit })
			out = append(out, piece{id, use.Unit, span(ph.Start, ph.End), i < len(p.Steps) && p.Steps[i].HandsOn,
				p.Spec.Clearing(shop.Units[k].Kind, shop.Units[k].Changeover)})
		}
	}
	return out
}

// dayLate lives through one bay of u n times, piece by piece: a piece begins
// when u is free, not before its time, and not before what lies between it and
// the piece before it of the same client is over. All work on one client is
// slow or quick together.
func dayLate(r *rand.Rand, u string, bay openings.Bay, day []piece, n int) (works int, share, error float64) {
	var inside []piece
	clients := map[string]bool{}
	for _, w := range day {
		if w.unit == u && w.visit != bay.Visit && w.From >= bay.From && w.To <= bay.To {
			inside = append(inside, w)
			clients[w.visit] = true
		}
	}
	slices.SortFunc(inside, func(a, b piece) int { return int(a.From - b.From) })
	late := 0
	for range n {
		pace, ended, planned := map[string]float64{}, map[string]float64{}, map[string]openings.Minute{}
		for v := range clients {
			pace[v] = draw(r, 1, 0.25)
		}
		begin := draw(r, 30, 8) - 30
		free, last := begin, ""
		for i, w := range inside {
			at := begin + float64(w.From-bay.From)
			if end, ok := ended[w.visit]; ok {
				at = end + float64(w.From-planned[w.visit])
			}
			if w.visit != last && i > 0 {
				free += float64(inside[i-1].clear)
			}
			length := float64(w.To - w.From)
			if w.hands {
				length *= pace[w.visit]
			}
			free, last = max(free, at)+length, w.visit
			ended[w.visit], planned[w.visit] = free, w.To
		}
		if len(inside) > 0 && free+float64(inside[len(inside)-1].clear) > begin+float64(bay.To-bay.From) {
			late++
		}
	}
	share = float64(late) / float64(n)
	return len(clients), share, 5 * math.Sqrt(max(share*(1-share), 1/float64(n))/float64(n))
}

func TestAnEstimateSaysWhatSharedWorkTakes(t *testing.T) {
	shop := household()
	colour := compose(t, standard(t, "Root colour"))
	host := placements(t, colour, shop, 0)[0]
	shop = occupy(shop, colour, host, "host")
	require.Equal(t, []openings.Bay{{Visit: "host", Span: span(30, 75)}}, shop.Units[0].Bays)
	s := standard(t, "Dry cut")
	s.Expect = []openings.Effort{{Mean: 24, SD: 4}}
	p := compose(t, s)
	x := p.Shared(placements(t, p, shop, 32)[0], shop)
	require.Equal(t, []openings.SharedStretch{{Unit: "ada", Host: "host", Bay: span(30, 75), Works: []openings.Work{
		{Span: span(32, 62), Hands: 30, Effort: openings.Effort{Mean: 24, SD: 4}, Clear: 1}}}}, x)
	own, ok := x[0].Own()
	require.True(t, ok)
	require.Equal(t, x[0].Chance(), own.Effort.Exceeds(75-1-32))
	// The other way round: the colour comes to a stylist who has a cut in its time.
	cut := compose(t, standard(t, "Dry cut"))
	shop = household()
	shop = occupy(shop, cut, placements(t, cut, shop, 132)[0], "cut")
	x = colour.Shared(placements(t, colour, shop, 100)[0], shop)
	require.Equal(t, []openings.SharedStretch{{Unit: "ada", Bay: span(130, 175), Works: []openings.Work{{Visit: "cut", Span: span(132, 162), Hands: 30, Clear: 1}}}}, x)
	_, ok = x[0].Own()
	require.False(t, ok)
}

func TestTheStylistClearsTheChairWhenTheClientIsGone(t *testing.T) {
	p := compose(t, standard(t, "Care treatment")) // an assistant dries last
	p.LeadClears(10)
	p.LeadClears(8)
	shop := room()
	lead := &shop.Units[0]
	shop.Units = slices.Delete(shop.Units, 1, 2) // ada alone
	end := openings.Minute(600 + 8 + 7 + 10 + 6 + 14)
	for _, tt := range []struct {
		booked, open bool
		from         openings.Minute
	}{{true, false, end + 7}, {true, true, end + 8}, {false, true, 0}} {
		lead.Bookings = nil
		if tt.booked {
			lead.Bookings = []openings.Booking{{From: tt.from, To: tt.from + 30}}
		}
		list := placements(t, p, shop, 600)
		require.Equal(t, tt.open, len(list) == 1, "%+v", tt)
		for _, sch := range list {
			require.Equal(t, end, p.End(sch), "she is not the client's any more")
			res := p.Reservations(sch)
			require.Equal(t, openings.Reservation{Unit: "ada", Span: span(end, end+8)}, res[1])
			i := slices.IndexFunc(res, func(r openings.Reservation) bool { return r.Unit == "chair" })
			require.Equal(t, span(600, end), res[i].Span)
			for _, part := range p.Parts(sch) {
				require.LessOrEqual(t, part.To, end, "calendars show the visit alone")
			}
			lead.Bookings = []openings.Booking{{From: end + 7, To: end + 30}}
			require.NotEmpty(t, openings.Check(sch, p.Spec, shop), "Check keeps her free, too")
		}
	}
	p.LeadClears(0)
	lead.Bookings = []openings.Booking{{From: end, To: end + 30}}
	require.Len(t, placements(t, p, shop, 600), 1)
	cut := compose(t, standard(t, "Dry cut"))
	cut.LeadClears(3)
	lead.Bookings = nil
	sch := placements(t, cut, shop, 600)[0]
	require.Equal(t, openings.Reservation{Unit: "ada", Span: span(600, 633)}, cut.Reservations(sch)[0])
}
