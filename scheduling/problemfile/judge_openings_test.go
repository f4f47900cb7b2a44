package problemfile_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/problemfile"

	"github.com/stretchr/testify/require"
)

// randomShop is a small shop with somebody and something of every kind, windows,
// breaks and bookings.
func randomShop(r *rand.Rand, minutes openings.Minute, bookings int) openings.Shop {
	s := openings.Shop{Minutes: minutes, Premises: []openings.Span{{From: 0, To: minutes/2 + 5}, {From: minutes/2 + 5 + openings.Minute(r.IntN(2)), To: minutes}}}
	for _, kind := range []openings.UnitKind{openings.Stylist, openings.Stylist, openings.Assistant, openings.Chair, openings.Chair, openings.Basin} {
		if r.IntN(4) == 0 && slices.ContainsFunc(s.Units, func(u openings.Unit) bool { return u.Kind == kind }) {
			continue
		}
		u := openings.Unit{ID: fmt.Sprintf("%s%d", kind, len(s.Units)), Kind: kind, Changeover: openings.Minute(r.IntN(4)),
			Open: []openings.Span{{From: openings.Minute(r.IntN(8)), To: minutes - openings.Minute(r.IntN(8))}}}
		if kind == openings.Stylist && r.IntN(3) > 0 {
			u.Skills = []string{"colour"}
			from := 15 + openings.Minute(r.IntN(30))
			u.Breaks = []openings.Span{{From: from, To: from + 5}}
		}
		for at := openings.Minute(0); len(u.Bookings) < bookings; {
			from := at + openings.Minute(r.IntN(int(minutes)/(bookings+1)))
			to := from + 1 + openings.Minute(r.IntN(9))
			if to > minutes {
				break
			}
			u.Bookings = append(u.Bookings, openings.Booking{From: from, To: to, Clear: u.Changeover})
			at = to
		}
		s.Units = append(s.Units, u)
	}
	return s
}

// randomVisit is a visit of one to four phases: lead and chair, basins and
// helpers, waits with and without the chair kept.
func randomVisit(r *rand.Rand) openings.VisitSpec {
	lead := openings.Role{Name: "lead", Need: openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}}
	if r.IntN(3) == 0 {
		lead.Skills = []string{"colour"}
	}
	v := openings.VisitSpec{Roles: []openings.Role{lead, {Name: "chair", Need: openings.Need{Kinds: []openings.UnitKind{openings.Chair}}}}}
	either := openings.Need{Kinds: []openings.UnitKind{openings.Assistant, openings.Stylist}}
	n := 1 + r.IntN(4)
	for i := range n {
		ph := openings.Phase{Name: fmt.Sprint(i), Minutes: openings.Minute(2 + r.IntN(7))}
		switch r.IntN(4) {
		case 0:
			ph.Roles = []string{"chair"} // the hair works alone
		case 1:
			ph.Pool = []openings.Need{{Kinds: []openings.UnitKind{openings.Basin}}, either}
			if r.IntN(2) == 0 {
				ph.Roles = []string{"chair"}
			}
		default:
			ph.Roles = []string{"lead", "chair"}
			if r.IntN(4) == 0 {
				ph.Pool = []openings.Need{either}
			}
		}
		v.Phases = append(v.Phases, ph)
		if i+1 == n {
			break
		}
		g := openings.Gap{Min: openings.Minute(r.IntN(2)), Max: openings.Minute(1 + r.IntN(6))}
		if r.IntN(3) > 0 {
			g.Hold = []string{"chair"}
		}
		v.Gaps = append(v.Gaps, g)
	}
	return v
}

func TestGecodeFindsTheSameFirstStart(t *testing.T) {
	t.Parallel()
	feasible := 0
	searches := *judged
	for seed := range uint64(searches) {
		r := rand.New(rand.NewPCG(seed, 1))
		p := &problemfile.OpeningsProblem{Shop: randomShop(r, 90, 3), Visit: randomVisit(r)}
		p.Query = openings.Query{From: openings.Minute(r.IntN(10)), To: 80, Grid: openings.Minute(1 + r.IntN(3))}
		m := newVisitModel(p.Shop)
		m.add(p.Visit, p.Query, nil)
		m.finish()
		fmt.Fprintf(m, "constraint on_0;\nsolve minimize s_0_0;\n")
		best := gecode(t, m.String())
		first, found := search(t, p).First()
		require.Equal(t, best != nil, found, "seed %d: %+v\n%s", seed, p, m)
		if found {
			feasible++
			require.EqualValues(t, best["s_0_0"], first, "seed %d: %+v\n%s", seed, p, m)
		}
	}
	require.Greater(t, feasible, searches/3)
	require.Less(t, feasible, searches)
}
