package openings_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// colourAt is a root colour of forty minutes booked at ten with ada; the
// colour's clearing of the chair is ten minutes.
func colourAt(t *testing.T) (openings.Shop, openings.VisitSpec, map[string]string) {
	t.Helper()
	p, err := openings.ComposeVisit([]openings.VisitService{fixed(t, "Root colour")})
	require.NoError(t, err)
	shop := room()
	shop.Premises = []openings.Span{{From: 540, To: 1080}}
	shop.Units[0].Skills = []string{"colour"}
	return shop, p.Spec, map[string]string{"lead": "ada", "chair": "chair"}
}

func unit(shop *openings.Shop, id string) *openings.Unit {
	return &shop.Units[slices.IndexFunc(shop.Units, func(u openings.Unit) bool { return u.ID == id })]
}

// Four steps of ten minutes, of which the first and the last need the lead and
// waits may add 13 minutes: begun at 600 it ends at 640, and at its latest 653.
func TestStartUntilNamesWhatComesNext(t *testing.T) {
	book := func(id string, from, to, clear openings.Minute) func(*openings.Shop) {
		return func(s *openings.Shop) {
			u := unit(s, id)
			u.Bookings = append(u.Bookings, openings.Booking{From: from, To: to, Clear: clear})
		}
	}
	for _, tt := range []struct {
		name   string
		change func(s *openings.Shop)
		until  openings.Minute
		limit  openings.Limit
	}{
		{"nothing but closing", func(*openings.Shop) {}, 1040, openings.Limit{Kind: openings.Closing, At: 1080}},
		{"next client of the stylist", book("ada", 820, 860, 0), 780,
			openings.Limit{Kind: openings.NextClient, Unit: "ada", At: 820}},
		{"next client of the chair, after clearing it", book("chair", 820, 860, 0), 770,
			openings.Limit{Kind: openings.NextClient, Unit: "chair", At: 820}},
		{"a break", func(s *openings.Shop) { unit(s, "ada").Breaks = []openings.Span{{From: 720, To: 750}} }, 680,
			openings.Limit{Kind: openings.BreakTime, Unit: "ada", At: 720}},
		{"the stylist goes home", func(s *openings.Shop) { unit(s, "ada").Open = []openings.Span{{From: 540, To: 900}} }, 860,
			openings.Limit{Kind: openings.HoursEnd, Unit: "ada", At: 900}},
		{"another stylist is no help", func(s *openings.Shop) { unit(s, "ben").Open = nil; book("ada", 820, 860, 0)(s) }, 780,
			openings.Limit{Kind: openings.NextClient, Unit: "ada", At: 820}},
		{"the only basin", book("basin", 700, 900, 0), 670,
			openings.Limit{Kind: openings.NextClient, Unit: "basin", At: 700}},
		{"the assistant can be replaced", book("mina", 700, 900, 0), 1040, openings.Limit{Kind: openings.Closing, At: 1080}},
		{"two things at once: the earlier one", func(s *openings.Shop) { book("ada", 820, 860, 0)(s); book("chair", 830, 860, 0)(s) }, 780,
			openings.Limit{Kind: openings.NextClient, Unit: "ada", At: 820}},
	} {
		shop, spec, roles := colourAt(t)
		tt.change(&shop)
		snap, err := openings.NewSnapshot(shop)
		require.NoError(t, err)
		got, ok, err := openings.StartUntil(snap, spec, roles, 600)
		require.NoError(t, err)
		require.True(t, ok, tt.name)
		require.Equal(t, openings.Until{Start: tt.until, Limit: tt.limit}, got, tt.name)
	}
}

// Either of two bookings could give way: the stylist's is blamed before that of
// a basin, and of two of hers the earlier one.
func TestStartUntilBlamesWhatItKeepsFirst(t *testing.T) {
	all := []openings.Span{{From: 0, To: 900}}
	spec := openings.VisitSpec{
		Roles: []openings.Role{{Name: "lead", Need: openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}}},
		Phases: []openings.Phase{
			{Name: "apply", Minutes: 10, Roles: []string{"lead"}},
			{Name: "rinse", Minutes: 10, Pool: []openings.Need{{Kinds: []openings.UnitKind{openings.Basin}}}},
			{Name: "dry", Minutes: 10, Roles: []string{"lead"}},
		},
		Gaps: []openings.Gap{{Max: 20}, {}},
	}
	until := func(ada, basin []openings.Booking) openings.Until {
		snap, err := openings.NewSnapshot(openings.Shop{Minutes: 900, Premises: all, Units: []openings.Unit{
			{ID: "basin", Kind: openings.Basin, Open: all, Bookings: basin},
			{ID: "ada", Kind: openings.Stylist, Open: all, Bookings: ada}}})
		require.NoError(t, err)
		got, ok, err := openings.StartUntil(snap, spec, map[string]string{"lead": "ada"}, 60)
		require.NoError(t, err)
		require.True(t, ok)
		return got
	}
	// From 81 on the rinse has to wait for the basin until 105, and the drying
	// until 115.
	require.Equal(t, openings.Until{Start: 80, Limit: openings.Limit{Kind: openings.NextClient, Unit: "ada", At: 120}},
		until([]openings.Booking{{From: 120, To: 400}}, []openings.Booking{{From: 100, To: 105}}))
	// From 81 on the drying has to wait until 115, and would end at 125.
	require.Equal(t, openings.Until{Start: 80, Limit: openings.Limit{Kind: openings.NextClient, Unit: "ada", At: 110}},
		until([]openings.Booking{{From: 110, To: 115}, {From: 120, To: 400}}, nil))
}

func TestStartUntilRefusesWhatItCannotAnswer(t *testing.T) {
	shop, spec, roles := colourAt(t)
	snap, err := openings.NewSnapshot(shop)
	require.NoError(t, err)
	for _, m := range []openings.Minute{-5, 500, 1041, 3000} {
		_, ok, err := openings.StartUntil(snap, spec, roles, m)
		require.NoError(t, err)
		require.False(t, ok, "%d", m)
	}
	_, ok, err := openings.StartUntil(snap, spec, map[string]string{"lead": "nobody we know"}, 600)
	require.NoError(t, err)
	require.False(t, ok)
	var faults scheduling.Faults
	_, _, err = openings.StartUntil(snap, spec, map[string]string{"led": "ada"}, 600)
	require.ErrorAs(t, err, &faults)
	_, _, err = openings.StartUntil(snap, openings.VisitSpec{}, nil, 600)
	require.ErrorAs(t, err, &faults)
}

// On random instances: minute by minute, and a start one minute later fits as
// soon as nothing from the limit on stands in the way.
func TestStartUntilAgreesWithEveryMinute(t *testing.T) {
	r := seeded(t)
	kinds := map[openings.LimitKind]int{}
	for range 1500 {
		in := randomInstance(r)
		in.q = openings.Query{To: in.shop.Minutes, Grid: 1}
		all := search(t, in)
		if all.Empty() {
			continue
		}
		list := starts(all)
		booked := list[r.IntN(len(list))]
		sch, ok := all.Assign(booked, "")
		require.True(t, ok)
		snap, err := openings.NewSnapshot(in.shop)
		require.NoError(t, err)
		got, ok, err := openings.StartUntil(snap, in.spec, sch.Roles, booked)
		require.NoError(t, err)
		require.True(t, ok)
		want := booked
		for in.bound(sch.Roles).fitsAt(want + 1) {
			want++
		}
		require.Equal(t, want, got.Start)
		kinds[got.Limit.Kind]++
		require.NotZero(t, got.Limit)
		require.True(t, in.bound(sch.Roles).freeFrom(got.Limit.At).fitsAt(want+1), "%+v", got)
		require.True(t, in.has(got.Limit), "%+v", got)

		var has []string
		for _, u := range in.shop.Units {
			if r.IntN(3) == 0 {
				has = append(has, u.ID)
			}
		}
		got, ok, err = openings.StartUntil(snap, in.spec, sch.Roles, booked, has...)
		require.NoError(t, err)
		require.True(t, ok)
		slow, err := openings.SlowLimit(snap, in.spec, sch.Roles, want+1, has...)
		require.NoError(t, err)
		require.Equal(t, slow, got.Limit, "the same as putting back one after the other, with %v", has)
	}
	for _, k := range []openings.LimitKind{openings.NextClient, openings.BreakTime, openings.HoursEnd, openings.Closing} {
		require.Greater(t, kinds[k], 10, "%s in %v", k, kinds)
	}
}

// bound fixes the units of roles.
func (in instance) bound(roles map[string]string) instance {
	in.spec.Roles = slices.Clone(in.spec.Roles)
	for i := range in.spec.Roles {
		in.spec.Roles[i].Only = []string{roles[in.spec.Roles[i].Name]}
	}
	return in
}

// fitsAt asks the slow oracle.
func (in instance) fitsAt(m openings.Minute) bool {
	return len(newOracle(in.shop, in.spec, openings.Query{From: m, To: m, Grid: 1}).solve()) > 0
}

// freeFrom takes away everything in the way that begins at or after m.
func (in instance) freeFrom(m openings.Minute) instance {
	in = in.clone()
	end := in.shop.Minutes + 200
	open := func(spans []openings.Span) []openings.Span {
		out := slices.Clone(spans)
		for at, is := range marks(end, spans) {
			from := openings.Minute(at)
			if gap := !is && (at == 0 || inside(spans, from-1)); gap && from >= m {
				return append(out, openings.Span{From: from, To: end})
			}
		}
		return out
	}
	in.shop.Minutes = end
	in.shop.Premises = open(in.shop.Premises)
	for i := range in.shop.Units {
		u := &in.shop.Units[i]
		u.Open = open(u.Open)
		u.Breaks = slices.DeleteFunc(slices.Clone(u.Breaks), func(b openings.Span) bool { return b.From >= m })
		u.Bookings = slices.DeleteFunc(slices.Clone(u.Bookings), func(b openings.Booking) bool { return b.From >= m })
	}
	return in
}

func inside(spans []openings.Span, m openings.Minute) bool {
	return slices.ContainsFunc(spans, func(s openings.Span) bool { return s.From <= m && m < s.To })
}

// has reports whether the limit is there: a booking or a break that begins, or
// a window that ends.
func (in instance) has(l openings.Limit) bool {
	ends := func(spans []openings.Span) bool { return !inside(spans, l.At) && (l.At == 0 || inside(spans, l.At-1)) }
	if l.Kind == openings.Closing {
		return ends(in.shop.Premises)
	}
	u := unit(&in.shop, l.Unit)
	switch l.Kind {
	case openings.NextClient:
		return slices.ContainsFunc(u.Bookings, func(b openings.Booking) bool { return b.From == l.At })
	case openings.BreakTime:
		return slices.ContainsFunc(u.Breaks, func(b openings.Span) bool { return b.From == l.At })
	default:
		return ends(u.Open)
	}
}

// BenchmarkStartUntil asks it for a visit of 15 phases beside 10,125 bookings.
func BenchmarkStartUntil(b *testing.B) {
	p, snap, plan := sixtyDays(b)
	x, err := plan.Search(snap, p.Query)
	require.NoError(b, err)
	first, _ := x.First()
	sch, _ := x.Assign(first, "")
	b.ReportAllocs()
	for b.Loop() {
		if _, ok, err := openings.StartUntil(snap, p.Visit, sch.Roles, first); !ok || err != nil {
			b.Fatal(ok, err)
		}
	}
}

// Two chairs, of which the visit is booked in one: a later start runs into the next
// client of either, and the visit's own chair is named.
func TestStartUntilBlamesTheChairThatTheVisitHas(t *testing.T) {
	all := []openings.Span{{From: 0, To: 900}}
	spec := openings.VisitSpec{
		Roles:  []openings.Role{{Name: "chair", Need: openings.Need{Kinds: []openings.UnitKind{openings.Chair}}}},
		Phases: []openings.Phase{{Name: "cut", Minutes: 60, Roles: []string{"chair"}}},
	}
	snap, err := openings.NewSnapshot(openings.Shop{Minutes: 900, Premises: all, Units: []openings.Unit{
		{ID: "chair 2", Kind: openings.Chair, Open: all, Changeover: 10, Bookings: []openings.Booking{{From: 140, To: 300}}},
		{ID: "chair 3", Kind: openings.Chair, Open: all, Bookings: []openings.Booking{{From: 75, To: 300}}}}})
	require.NoError(t, err)
	got, ok, err := openings.StartUntil(snap, spec, nil, 60, "chair 2")
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, openings.Until{Start: 70, Limit: openings.Limit{Kind: openings.NextClient, Unit: "chair 2", At: 140}}, got)
}
