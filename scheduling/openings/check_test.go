package openings_test

import (
	"slices"
	"testing"

	"chairblock/scheduling/openings"

	"github.com/stretchr/testify/require"
)

// checkedVisit is a small salon, a visit and a schedule that keeps every rule,
// with no minute to spare on any side.
func checkedVisit() (openings.Schedule, openings.VisitSpec, openings.Shop) {
	day := []openings.Span{{From: 60, To: 200}, {From: 200, To: 400}}
	shop := openings.Shop{Minutes: 500, Premises: slices.Clone(day), Units: []openings.Unit{
		{ID: "Sa", Kind: openings.Stylist, Skills: []string{"straightening"}, Open: []openings.Span{{From: 100, To: 300}},
			Breaks: []openings.Span{{From: 130, To: 150}}},
		{ID: "Sb", Kind: openings.Stylist, Open: day},
		{ID: "As", Kind: openings.Assistant, Open: day},
		{ID: "C1", Kind: openings.Chair, Open: day, Changeover: 10,
			Bookings: []openings.Booking{{From: 60, To: 97, Clear: 3}, {From: 215, To: 260, Clear: 10}}},
		{ID: "C2", Kind: openings.Chair, Open: day},
		{ID: "B1", Kind: openings.Basin, Open: day},
	}}
	spec := openings.VisitSpec{
		Roles: []openings.Role{
			{Name: "lead", Need: openings.Need{Kinds: []openings.UnitKind{openings.Stylist}, Skills: []string{"straightening"}}},
			{Name: "chair", Need: openings.Need{Kinds: []openings.UnitKind{openings.Chair}, Only: []string{"C1"}}},
		},
		Phases: []openings.Phase{
			{Name: "apply", Minutes: 30, Roles: []string{"lead", "chair"}},
			{Name: "rinse", Minutes: 20, Roles: []string{"chair"}, Pool: []openings.Need{
				{Kinds: []openings.UnitKind{openings.Basin}}, {Kinds: []openings.UnitKind{openings.Assistant, openings.Stylist}}}},
			{Name: "finish", Minutes: 48, Roles: []string{"lead", "chair"}},
		},
		Gaps:  []openings.Gap{{Min: 0, Max: 5, Hold: []string{"chair"}}, {Min: 2, Max: 5, Hold: []string{"lead", "chair"}}},
		Clear: map[openings.UnitKind]openings.Minute{openings.Chair: 12},
	}
	sch := openings.Schedule{Roles: map[string]string{"lead": "Sa", "chair": "C1"}, Phases: []openings.Placed{
		{Phase: "apply", Start: 100, End: 130},
		{Phase: "rinse", Start: 133, End: 153, Pool: []string{"B1", "As"}},
		{Phase: "finish", Start: 155, End: 203},
	}}
	return sch, spec, shop
}

func TestCheckAcceptsAScheduleThatKeepsEveryRule(t *testing.T) {
	sch, spec, shop := checkedVisit()
	require.Empty(t, openings.Check(sch, spec, shop))

	sch.Phases[1].Pool[1] = "Sb"
	require.Empty(t, openings.Check(sch, spec, shop), "the second kind will do too")
}

func TestCheckFindsEachBrokenRule(t *testing.T) {
	type parts struct {
		sch  *openings.Schedule
		spec *openings.VisitSpec
		shop *openings.Shop
	}
	for _, tt := range []struct {
		name   string
		change func(p parts)
		want   string
	}{
		{"role unbound", func(p parts) { delete(p.sch.Roles, "lead") }, "apply: nobody is bound to the role lead"},
		{"role of nobody", func(p parts) { p.sch.Roles["lead"] = "Zz" }, "Zz: is no unit of the shop"},
		{"role without the skill", func(p parts) { p.sch.Roles["lead"] = "Sb" }, "Sb: has not the skill straightening"},
		{"role of another kind", func(p parts) { p.sch.Roles["lead"] = "As" }, "As: is of kind assistant, needed is one of [stylist]"},
		{"role not among those asked for", func(p parts) { p.sch.Roles["chair"] = "C2" }, "C2: is not one of [C1]"},
		{"one unit in two roles", func(p parts) { p.sch.Roles["chair"] = "Sa" }, "Sa: has both roles lead and chair"},
		{"a role too many", func(p parts) { p.sch.Roles["helper"] = "Sb" }, "has 3 roles and the visit 2"},
		{"a phase too few", func(p parts) { p.sch.Phases = p.sch.Phases[:2] }, "has 2 phases and the visit 3 with 2 gaps"},
		{"a gap too few", func(p parts) { p.spec.Gaps = p.spec.Gaps[:1] }, "has 3 phases and the visit 3 with 1 gaps"},
		{"another phase", func(p parts) { p.sch.Phases[0].Phase = "wash" }, "apply: is called wash"},
		{"a phase cut short", func(p parts) { p.sch.Phases[0].End-- }, "apply: lasts from 100 to 129 instead of 30 minutes"},
		{"pool not filled", func(p parts) { p.sch.Phases[1].Pool = []string{"B1"} }, "rinse: has 1 units in the pool instead of 2"},
		{"pool overfull", func(p parts) { p.sch.Phases[0].Pool = []string{"As"} }, "apply: has 1 units in the pool instead of 0"},
		{"pool in the wrong order", func(p parts) { slices.Reverse(p.sch.Phases[1].Pool) }, "rinse: As: is of kind assistant, needed is one of [basin]"},
		{"one unit twice in a pool", func(p parts) {
			p.spec.Phases[1].Pool[0].Kinds = []openings.UnitKind{openings.Assistant}
			p.sch.Phases[1].Pool[0] = "As"
		}, "rinse: As: is needed twice at the same time"},
		{"role in its own pool", func(p parts) {
			p.spec.Phases[2].Pool = []openings.Need{{Kinds: []openings.UnitKind{openings.Stylist}}}
			p.sch.Phases[2].Pool = []string{"Sa"}
		}, "finish: Sa: is needed twice at the same time"},
		{"wait too short", func(p parts) { p.spec.Gaps[1].Min = 3 }, "rinse: is followed by a wait of 2 minutes instead of 3 to 5"},
		{"wait too long", func(p parts) { p.spec.Gaps[0].Max = 2 }, "apply: is followed by a wait of 3 minutes instead of 0 to 2"},
		{"at work in a break", func(p parts) { p.shop.Units[0].Breaks[0].From-- }, "apply: Sa: has a break from 129 to 150"},
		{"held in a break", func(p parts) { p.shop.Units[0].Breaks[0].To = 154 }, "rinse: Sa: has a break from 130 to 154"},
		{"before the shift", func(p parts) { p.shop.Units[0].Open[0].From++ }, "apply: Sa: is not there at minute 100"},
		{"after the shift", func(p parts) { p.shop.Units[0].Open[0].To = 202 }, "finish: Sa: is not there at minute 202"},
		{"booked", func(p parts) {
			p.shop.Units[5].Bookings = []openings.Booking{{From: 152, To: 160}}
		}, "rinse: B1: is booked from 152 to 160, with clearing of 0 before and 0 after"},
		{"clearing of the client before", func(p parts) { p.shop.Units[3].Bookings[0].Clear++ },
			"apply: C1: is booked from 60 to 97, with clearing of 12 before and 4 after"},
		{"clearing before the next client", func(p parts) { p.spec.Clear[openings.Chair]++ },
			"finish: C1: is booked from 215 to 260, with clearing of 13 before and 10 after"},
		{"clearing is the unit's own when the visit says nothing", func(p parts) {
			p.spec.Clear, p.shop.Units[3].Changeover = nil, 13
		}, "finish: C1: is booked from 215 to 260, with clearing of 13 before and 10 after"},
		{"between two windows of the premises", func(p parts) { p.shop.Premises = []openings.Span{{From: 60, To: 200}, {From: 201, To: 400}} },
			"the premises are closed at minute 200"},
		{"after closing", func(p parts) { p.shop.Premises = []openings.Span{{From: 60, To: 202}} }, "the premises are closed at minute 202"},
		{"beyond the horizon", func(p parts) { p.shop.Minutes = 202 }, "lies outside the horizon of 202 minutes"},
		{"an unknown role in a phase", func(p parts) { p.spec.Phases[0].Roles = []string{"guest"} }, "apply: nobody is bound to the role guest"},
		{"an unknown role in a gap", func(p parts) { p.spec.Gaps[0].Hold = []string{"guest"} }, "apply: nobody is bound to the role guest"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			sch, spec, shop := checkedVisit()
			tt.change(parts{&sch, &spec, &shop})
			var got []string
			for _, v := range openings.Check(sch, spec, shop) {
				got = append(got, v.String())
			}
			require.Contains(t, got, tt.want)
		})
	}
}

func TestCheckRefusesWhatTheOracleRefuses(t *testing.T) {
	r := seeded(t)
	refused, accepted := 0, 0
	for refused < 2000 || accepted < 200 {
		in := randomInstance(r)
		in.q.EndBy = nil
		o := newOracle(in.shop, in.spec, in.q)
		for start, f := range o.solve() {
			for _, bound := range f.bound {
				sch := o.schedule(start, bound)
				require.Empty(t, openings.Check(sch, in.spec, in.shop))
				// Moving one phase by one minute keeps the rules or not.
				i, by := r.IntN(len(sch.Phases)), openings.Minute(2*r.IntN(2)-1)
				sch.Phases[i].Start += by
				sch.Phases[i].End += by
				if o.keeps(sch, bound) {
					accepted++
					require.Empty(t, openings.Check(sch, in.spec, in.shop), "%+v in %+v", sch, in)
				} else {
					refused++
					require.NotEmpty(t, openings.Check(sch, in.spec, in.shop), "%+v in %+v", sch, in)
				}
			}
			break
		}
	}
}

// keeps reports whether a schedule with the right units keeps all rules of time.
func (o *oracle) keeps(sch openings.Schedule, bound []int) bool {
	o.bound = bound
	defer func() { o.bound = nil }()
	for i, p := range sch.Phases {
		if p.Start < 0 || !o.all(o.open, p.Start, p.End) {
			return false
		}
		for _, r := range o.spec.Phases[i].Roles {
			if !o.all(o.free[o.role(r)], p.Start, p.End) {
				return false
			}
		}
		for _, id := range p.Pool {
			u := slices.IndexFunc(o.shop.Units, func(u openings.Unit) bool { return u.ID == id })
			if !o.all(o.free[u], p.Start, p.End) {
				return false
			}
		}
		if i == len(o.spec.Gaps) {
			continue
		}
		g, wait := o.spec.Gaps[i], sch.Phases[i+1].Start-p.End
		if wait < g.Min || wait > g.Max || !o.waits(i, p.End, p.End+wait) {
			return false
		}
	}
	return true
}
