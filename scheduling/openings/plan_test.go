package openings_test

import (
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

func TestCompileNamesEveryFault(t *testing.T) {
	_, _, shop := checkedVisit()
	snap, err := openings.NewSnapshot(shop)
	require.NoError(t, err)
	for _, tt := range []struct {
		name   string
		change func(v *openings.VisitSpec)
		fields []string
	}{
		{"nothing wrong", func(*openings.VisitSpec) {}, nil},
		{"no phases", func(v *openings.VisitSpec) { v.Phases, v.Gaps = nil, nil }, []string{"phases"}},
		{"no gaps", func(v *openings.VisitSpec) { v.Gaps = nil }, []string{"gaps"}},
		{"phase of no length, and of too much", func(v *openings.VisitSpec) {
			v.Phases[0].Minutes, v.Phases[2].Minutes = 0, 1<<30
		}, []string{"phases[0].minutes", "phases[2].minutes"}},
		{"negative wait", func(v *openings.VisitSpec) { v.Gaps[0].Min = -1 }, []string{"gaps[0]"}},
		{"wait turned round", func(v *openings.VisitSpec) { v.Gaps[1].Max = 1 }, []string{"gaps[1]"}},
		{"endless wait", func(v *openings.VisitSpec) { v.Gaps[1].Max = 1 << 30 }, []string{"gaps[1]"}},
		{"unknown roles", func(v *openings.VisitSpec) {
			v.Phases[1].Roles, v.Gaps[0].Hold = []string{"chair", "guest"}, []string{"guest"}
		}, []string{"phases[1].roles[1]", "gaps[0].hold[0]"}},
		{"role twice in a phase", func(v *openings.VisitSpec) { v.Phases[1].Roles = []string{"chair", "chair"} },
			[]string{"phases[1].roles[1]"}},
		{"two roles of one name", func(v *openings.VisitSpec) { v.Roles[1].Name = "lead"; v.Phases, v.Gaps = v.Phases[:0], nil },
			[]string{"roles[1].role", "phases"}},
		{"role without a name", func(v *openings.VisitSpec) { v.Roles = append(v.Roles, openings.Role{Need: v.Roles[0].Need}) },
			[]string{"roles[2].role"}},
		{"needs without kinds", func(v *openings.VisitSpec) { v.Roles[0].Kinds, v.Phases[1].Pool[0].Kinds = nil, nil },
			[]string{"roles[0].kinds", "phases[1].pool[0].kinds"}},
		{"clearing out of range", func(v *openings.VisitSpec) { v.Clear[openings.Chair] = -1 }, []string{"clear[chair]"}},
		{"too many roles", func(v *openings.VisitSpec) {
			for _, n := range []string{"a", "b", "c", "d", "e", "f", "g"} {
				v.Roles = append(v.Roles, openings.Role{Name: n, Need: v.Roles[0].Need})
			}
		}, []string{"roles"}},
		{"too large a pool", func(v *openings.VisitSpec) { v.Phases[0].Pool = make([]openings.Need, 7) },
			[]string{"phases[0].pool", "phases[0].pool[0].kinds"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, spec, _ := checkedVisit()
			tt.change(&spec)
			_, err := openings.Compile(spec, snap)
			requireFields(t, err, tt.fields)
		})
	}
}

// requireFields asserts that err has faults in exactly these fields, or in more
// of the kind of the last one.
func requireFields(t *testing.T, err error, fields []string) {
	t.Helper()
	if len(fields) == 0 {
		require.NoError(t, err)
		return
	}
	var f scheduling.Faults
	require.ErrorAs(t, err, &f)
	for i, field := range fields {
		require.Equal(t, field, f[i].Field, "%v", err)
		require.NotEmpty(t, f[i].Want)
	}
}

func TestNewSnapshotNamesEveryFault(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(s *openings.Shop)
		fields []string
	}{
		{"nothing wrong", func(*openings.Shop) {}, nil},
		{"spans beyond the horizon are cut", func(s *openings.Shop) {
			s.Premises[1].To, s.Units[0].Bookings = 900, []openings.Booking{{From: -50, To: 20}}
		}, nil},
		{"no horizon", func(s *openings.Shop) { s.Minutes = 0 }, []string{"minutes"}},
		{"endless horizon", func(s *openings.Shop) { s.Minutes = 1 << 30 }, []string{"minutes"}},
		{"spans turned round", func(s *openings.Shop) {
			s.Premises[1] = openings.Span{From: 9, To: 9}
			s.Units[0].Open = []openings.Span{{From: 700, To: 300}}
			s.Units[0].Breaks[0].From = 700
			s.Units[3].Bookings[1].To = 0
		}, []string{"premises[1]", "units[0].open[0]", "units[0].breaks[0]", "units[3].bookings[1]"}},
		{"clearing out of range", func(s *openings.Shop) {
			s.Units[1].Changeover, s.Units[3].Bookings[0].Clear = 1441, -1
		}, []string{"units[1].changeover", "units[3].bookings[0].clear"}},
		{"no id, no kind", func(s *openings.Shop) { s.Units[2].ID, s.Units[2].Kind = "", "" }, []string{"units[2].id", "units[2].kind"}},
		{"two units of one id", func(s *openings.Shop) { s.Units[4].ID = "C1" }, []string{"units[4].id"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, _, shop := checkedVisit()
			tt.change(&shop)
			_, err := openings.NewSnapshot(shop)
			requireFields(t, err, tt.fields)
		})
	}
}

func TestSearchNamesFaultsOfTheQuery(t *testing.T) {
	_, spec, shop := checkedVisit()
	snap, err := openings.NewSnapshot(shop)
	require.NoError(t, err)
	plan, err := openings.Compile(spec, snap)
	require.NoError(t, err)
	late := openings.Minute(1 << 30)
	_, err = plan.Search(snap, openings.Query{From: 2, To: 1, Grid: 0, EndBy: &late})
	requireFields(t, err, []string{"from", "grid", "end_by"})
	_, _, err = plan.Soonest(snap, openings.Query{To: 1, Grid: 1441})
	requireFields(t, err, []string{"grid"})
}

func TestMissingSaysWhatTheShopLacks(t *testing.T) {
	kinds := func(k ...openings.UnitKind) openings.Need { return openings.Need{Kinds: k} }
	for _, tt := range []struct {
		name   string
		change func(v *openings.VisitSpec)
		want   []string
	}{
		{"nothing", func(*openings.VisitSpec) {}, nil},
		{"a kind", func(v *openings.VisitSpec) { v.Phases[1].Pool[0] = kinds("couch") }, []string{"no couch"}},
		{"two kinds", func(v *openings.VisitSpec) { v.Roles[1].Need = kinds("couch", "stool") }, []string{"no couch or stool"}},
		{"a skill nobody has", func(v *openings.VisitSpec) { v.Roles[0].Skills = []string{"perm"} }, []string{"nobody has the skill perm"}},
		{"a skill only others have", func(v *openings.VisitSpec) {
			v.Phases[1].Pool[1] = openings.Need{Kinds: []openings.UnitKind{openings.Assistant}, Skills: []string{"straightening"}}
		}, []string{"no assistant has the skill straightening"}},
		{"somebody among those asked for", func(v *openings.VisitSpec) { v.Roles[0].Only = []string{"Sb", "gone"} },
			[]string{"the one asked for lacks straightening"}},
		{"a second basin", func(v *openings.VisitSpec) {
			v.Phases[1].Pool = []openings.Need{kinds(openings.Basin), kinds(openings.Basin)}
		}, []string{"not enough different units for rinse, which needs 3 at once"}},
		{"a second lead", func(v *openings.VisitSpec) {
			v.Roles = append(v.Roles, openings.Role{Name: "second", Need: v.Roles[0].Need})
		}, []string{"not enough different units for the roles of the visit"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, spec, shop := checkedVisit()
			tt.change(&spec)
			snap, err := openings.NewSnapshot(shop)
			require.NoError(t, err)
			plan, err := openings.Compile(spec, snap)
			require.NoError(t, err)
			require.Equal(t, tt.want, plan.Missing())
			q := openings.Query{To: 499, Grid: 1}
			x, err := plan.Search(snap, q)
			require.NoError(t, err)
			require.Equal(t, len(tt.want) > 0, x.Empty())
			_, ok, err := plan.Soonest(snap, q)
			require.NoError(t, err)
			require.Equal(t, !x.Empty(), ok)
		})
	}
}

func TestCompileRefusesRolesThatCanBeBoundInFarTooManyWays(t *testing.T) {
	shop := openings.Shop{Minutes: 600, Premises: []openings.Span{{From: 0, To: 600}}}
	for i := range 30 {
		shop.Units = append(shop.Units, openings.Unit{ID: string(rune('A' + i)), Kind: openings.Stylist, Open: shop.Premises})
	}
	snap, err := openings.NewSnapshot(shop)
	require.NoError(t, err)
	spec := openings.VisitSpec{Phases: []openings.Phase{{Name: "cut", Minutes: 30}}}
	for _, n := range []string{"a", "b", "c", "d"} {
		spec.Roles = append(spec.Roles, openings.Role{Name: n, Need: openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}})
		spec.Phases[0].Roles = append(spec.Phases[0].Roles, n)
		_, err := openings.Compile(spec, snap)
		if n == "d" {
			requireFields(t, err, []string{"roles[3]"})
		} else {
			require.NoError(t, err)
		}
	}
}

func TestAPlanHoldsForLaterSnapshotsOfTheSameUnits(t *testing.T) {
	_, spec, shop := checkedVisit()
	snap, err := openings.NewSnapshot(shop)
	require.NoError(t, err)
	plan, err := openings.Compile(spec, snap)
	require.NoError(t, err)
	q := openings.Query{To: 499, Grid: 1}
	before, err := plan.Search(snap, q)
	require.NoError(t, err)
	require.Equal(t, []openings.StartRange{{From: 100, To: 100}}, before.Ranges())

	chair := shop.Units[3]
	chair.Bookings = chair.Bookings[1:]
	later, err := snap.With(chair)
	require.NoError(t, err)
	after, err := plan.Search(later, q)
	require.NoError(t, err)
	fresh := later.Shop()
	require.Empty(t, fresh.Units[3].Bookings[1:])
	require.Equal(t, search(t, instance{fresh, spec, q}).Ranges(), after.Ranges())
	again, err := plan.Search(snap, q)
	require.NoError(t, err)
	require.Equal(t, before.Ranges(), again.Ranges(), "a snapshot does not change")

	chair.Kind = "stool"
	other, err := snap.With(chair)
	require.NoError(t, err)
	_, err = plan.Search(other, q)
	require.ErrorIs(t, err, openings.ErrOtherUnits)
	chair.ID = "C9"
	_, err = snap.With(chair)
	require.ErrorIs(t, err, scheduling.ErrNotFound)
	chair.Open = []openings.Span{{From: 3, To: 2}}
	_, err = snap.With(chair)
	requireFields(t, err, []string{"unit.open[0]"})
}

func TestOnePlanAndSnapshotServeManyAtOnce(t *testing.T) {
	r := seeded(t)
	var in instance
	var want *openings.StartSet
	for want == nil || want.Empty() {
		in = randomInstance(r)
		in.spec.Clear = map[openings.UnitKind]openings.Minute{openings.Stylist: 7, openings.Chair: 5}
		want = search(t, in)
	}
	snap, err := openings.NewSnapshot(in.shop)
	require.NoError(t, err)
	plan, err := openings.Compile(in.spec, snap)
	require.NoError(t, err)
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for range 50 {
				x, err := plan.Search(snap, in.q)
				first, _ := want.First()
				end, _ := want.MinEnd(first)
				got, _ := x.MinEnd(first)
				if err != nil || x.Count() != want.Count() || got != end {
					t.Errorf("%d starts, end %d, %v; want %d, %d", x.Count(), got, err, want.Count(), end)
				}
			}
		})
	}
	wg.Wait()
}
