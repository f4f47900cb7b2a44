package openings_test

import (
	"slices"
	"testing"
	"time"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/problemfile"

	"github.com/stretchr/testify/require"
)

// sixtyDays is the whole question of bench-60-days.json: 10 stylists, 2
// assistants, 6 chairs, 3 basins, 15 phases, 10,125 bookings.
func sixtyDays(b *testing.B) (*problemfile.OpeningsProblem, *openings.Snapshot, *openings.Plan) {
	b.Helper()
	p := readProblem(b, "bench-60-days.json")
	snap, err := openings.NewSnapshot(p.Shop)
	require.NoError(b, err)
	plan, err := openings.Compile(p.Visit, snap)
	require.NoError(b, err)
	return p, snap, plan
}

// releaseChair gives the chair up while the client is at the basin, so that no
// unit is kept from start to end.
func releaseChair(spec openings.VisitSpec) openings.VisitSpec {
	spec.Phases = slices.Clone(spec.Phases)
	for i := range spec.Phases {
		if len(spec.Phases[i].Pool) == 2 { // basin and somebody to wash
			spec.Phases[i].Roles = nil
		}
	}
	return spec
}

// way is one way to answer a question.
type way struct {
	name string
	ask  func() (int, error) // returns the number of starts
}

// sideBySide runs the ways as sub-benchmarks. It reports the quickest of all
// rounds, which other work on the machine disturbs least, and how many times as
// long as that of the first way it is.
func sideBySide(b *testing.B, starts int, ways []way) {
	b.Helper()
	var first time.Duration
	for _, w := range ways {
		b.Run(w.name, func(b *testing.B) {
			b.ReportAllocs()
			best := time.Hour
			for b.Loop() {
				at := time.Now()
				n, err := w.ask()
				best = min(best, time.Since(at))
				if err != nil || n != starts {
					b.Fatalf("%d starts, want %d; %v", n, starts, err)
				}
			}
			if first == 0 {
				first = best
			}
			b.ReportMetric(float64(best), "ns-best")
			b.ReportMetric(float64(best)/float64(first), "x-bits")
		})
	}
}

// inAllWays asks for all starts within q: by bits, by lists, by bit sets as long
// as the horizon for each choice of lead and chair, and by trying every fifth
// minute with every wait, remembering what is known of a choice.
func inAllWays(b *testing.B, spec openings.VisitSpec, q openings.Query) {
	b.Helper()
	p, snap, _ := sixtyDays(b)
	plan, err := openings.Compile(spec, snap)
	require.NoError(b, err)
	want, err := plan.Search(snap, q)
	require.NoError(b, err)
	var x, y openings.StartSet
	whole := newWholeBits(p.Shop, spec)
	sideBySide(b, want.Count(), []way{
		{"bits", func() (int, error) {
			err := plan.SearchInto(&x, snap, q)
			return x.Count(), err
		}},
		{"list", func() (int, error) {
			err := plan.SearchByListsInto(&y, snap, q)
			return y.Count(), err
		}},
		{"plain-bitset", func() (int, error) {
			union := make(set, whole.words)
			for _, s := range whole.search(q) {
				for i, w := range s {
					union[i] |= w
				}
			}
			return union.count(), nil
		}},
		{"naive-5-minutes", func() (int, error) {
			every := q
			every.Grid = 5
			x, err := plan.SearchByLists(snap, every)
			if n := len(newOracle(p.Shop, spec, every).solve()); err != nil || n != x.Count() {
				return n, err
			}
			return want.Count(), nil
		}},
	})
}

// BenchmarkOpenings60Days asks for all starts, with plan and free lists built
// beforehand.
func BenchmarkOpenings60Days(b *testing.B) {
	p, _, _ := sixtyDays(b)
	inAllWays(b, p.Visit, p.Query)
}

// BenchmarkOpeningsOneDay asks the same for one day; the last one must not cost
// more than the first.
func BenchmarkOpeningsOneDay(b *testing.B) {
	p, _, _ := sixtyDays(b)
	for _, day := range []struct {
		name string
		from openings.Minute
	}{{"first", 0}, {"last", 86400 - 2*1440}} {
		b.Run(day.name, func(b *testing.B) {
			q := p.Query
			q.From, q.To = day.from, day.from+1439
			inAllWays(b, p.Visit, q)
		})
	}
}

// BenchmarkOpeningsChairReleased asks for all starts when the chair is given up
// at the basin.
func BenchmarkOpeningsChairReleased(b *testing.B) {
	p, _, _ := sixtyDays(b)
	inAllWays(b, releaseChair(p.Visit), p.Query)
}

// BenchmarkOpeningsPaidAtTheDesk asks for all starts when the last phase needs
// no chair, so that any run of any chair will do for the rest.
func BenchmarkOpeningsPaidAtTheDesk(b *testing.B) {
	p, _, _ := sixtyDays(b)
	spec := p.Visit
	spec.Phases, spec.Gaps = slices.Clone(spec.Phases), slices.Clone(spec.Gaps)
	last := len(spec.Phases) - 1
	spec.Phases[last].Roles = []string{"lead"}
	spec.Gaps[last-1].Hold = nil
	inAllWays(b, spec, p.Query)
}

// BenchmarkOpeningsOfACut asks for all starts of a visit of one phase, where
// next to every free minute is one.
func BenchmarkOpeningsOfACut(b *testing.B) {
	p, _, _ := sixtyDays(b)
	spec := p.Visit
	spec.Phases = []openings.Phase{{Name: "cut", Minutes: 45, Roles: []string{"lead", "chair"}}}
	spec.Gaps = nil
	inAllWays(b, spec, p.Query)
}

// BenchmarkSoonest60Days asks for the first start only, which lies on the first
// day. The sets as long as the horizon know it when they know all.
func BenchmarkSoonest60Days(b *testing.B) {
	p, snap, plan := sixtyDays(b)
	whole := newWholeBits(p.Shop, p.Visit)
	sideBySide(b, 1, []way{
		{"bits", func() (int, error) {
			_, ok, err := plan.Soonest(snap, p.Query)
			return one(ok), err
		}},
		{"list", func() (int, error) {
			_, ok, err := plan.SoonestByLists(snap, p.Query)
			return one(ok), err
		}},
		{"plain-bitset", func() (int, error) { return one(len(whole.search(p.Query)) > 0), nil }},
	})
}

func one(ok bool) int {
	if ok {
		return 1
	}
	return 0
}

// BenchmarkWith replaces one stylist out of 21 units with 10,125 bookings.
func BenchmarkWith(b *testing.B) {
	p, snap, _ := sixtyDays(b)
	u := p.Shop.Units[0]
	u.Bookings = append(slices.Clone(u.Bookings), openings.Booking{From: 600, To: 630, Clear: u.Changeover})
	b.ReportAllocs()
	for b.Loop() {
		if _, err := snap.With(u); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSearchAfterWith asks for one day after each change, with clearings of
// its own, as a calendar that is kept for long does.
func BenchmarkSearchAfterWith(b *testing.B) {
	p, snap, _ := sixtyDays(b)
	spec := p.Visit
	spec.ClearLeast = map[openings.UnitKind]openings.Minute{openings.Stylist: 10, openings.Chair: 5}
	plan, err := openings.Compile(spec, snap)
	require.NoError(b, err)
	q := p.Query
	q.From, q.To = 1440, 2879
	var x openings.StartSet
	require.NoError(b, plan.SearchInto(&x, snap, q))
	b.ReportAllocs()
	for b.Loop() {
		if snap, err = snap.With(p.Shop.Units[0]); err != nil {
			b.Fatal(err)
		}
		if err := plan.SearchInto(&x, snap, q); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkMinEnd asks for the earliest end of one start.
func BenchmarkMinEnd(b *testing.B) {
	p, snap, plan := sixtyDays(b)
	x, err := plan.Search(snap, p.Query)
	require.NoError(b, err)
	first, _ := x.First()
	b.ReportAllocs()
	for b.Loop() {
		x.MinEnd(first)
	}
}

// BenchmarkAssign writes down the schedule of one start.
func BenchmarkAssign(b *testing.B) {
	p, snap, plan := sixtyDays(b)
	x, err := plan.Search(snap, p.Query)
	require.NoError(b, err)
	first, _ := x.First()
	b.ReportAllocs()
	for b.Loop() {
		x.Assign(first, "")
	}
}

// BenchmarkCompile makes the plan of 15 phases.
func BenchmarkCompile(b *testing.B) {
	p, snap, _ := sixtyDays(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := openings.Compile(p.Visit, snap); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkNewSnapshot works out the free lists of 21 units.
func BenchmarkNewSnapshot(b *testing.B) {
	p, _, _ := sixtyDays(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := openings.NewSnapshot(p.Shop); err != nil {
			b.Fatal(err)
		}
	}
}
