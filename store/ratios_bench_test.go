package store_test

import (
	"bytes"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/problemfile"
)

// question is bench-60-days.json: a visit of 15 phases, 60 days, 21 units and
// 10,125 bookings.
type question struct {
	*problemfile.OpeningsProblem
	snap *openings.Snapshot
	plan *openings.Plan
	free [][]openings.Span // by unit, whole opening windows only
}

func sixtyDays(t testing.TB) question {
	t.Helper()
	data, err := os.ReadFile("../testdata/problems/bench-60-days.json")
	require.NoError(t, err)
	p, err := problemfile.ReadOpenings(bytes.NewReader(data))
	require.NoError(t, err)
	q := question{OpeningsProblem: p}
	q.snap, err = openings.NewSnapshot(p.Shop)
	require.NoError(t, err)
	q.plan, err = openings.Compile(p.Visit, q.snap)
	require.NoError(t, err)
	for _, u := range p.Shop.Units {
		q.free = append(q.free, freeSpans(p.Shop, u))
	}
	return q
}

// freeSpans is the free time of a unit, found minute by minute.
func freeSpans(shop openings.Shop, u openings.Unit) []openings.Span {
	free := make([]bool, shop.Minutes+1)
	fill := func(spans []openings.Span, to bool) {
		for _, s := range spans {
			for m := max(s.From, 0); m < min(s.To, shop.Minutes); m++ {
				free[m] = to
			}
		}
	}
	fill(u.Open, true)
	fill(u.Breaks, false)
	for _, b := range u.Bookings {
		fill([]openings.Span{{From: b.From - u.Changeover, To: b.To + u.Changeover}}, false)
	}
	var out []openings.Span
	for m := range shop.Minutes {
		switch {
		case !free[m]:
		case m > 0 && free[m-1]:
			out[len(out)-1].To++
		default:
			out = append(out, openings.Span{From: m, To: m + 1})
		}
	}
	return out
}

// used says what a step needs beside the chair.
type used struct{ lead, basin, hands bool }

func (q question) uses(i int) used {
	ph := q.Visit.Phases[i]
	u := used{lead: slices.Contains(ph.Roles, "lead")}
	for _, n := range ph.Pool {
		basin := slices.Contains(n.Kinds, openings.Basin)
		u.basin, u.hands = u.basin || basin, u.hands || !basin
	}
	return u
}

// startsByTrying finds all starts by trying every minute with every lead and
// chair, every wait of every phase, and looking at each minute of each unit. It
// remembers for a lead and a chair which phases cannot begin when.
func (q question) startsByTrying() []openings.StartRange {
	free := make([][]bool, len(q.free))
	for u, spans := range q.free {
		free[u] = make([]bool, q.Shop.Minutes+openings.MaxClearing)
		for _, s := range spans {
			for m := s.From; m < s.To; m++ {
				free[u][m] = true
			}
		}
	}
	found := make([]bool, q.Shop.Minutes+1)
	tr := trying{question: q, free: free, failed: make([]int32, len(q.Visit.Phases)*int(q.Shop.Minutes+openings.MaxClearing))}
	for lead, l := range q.Shop.Units {
		for chair, c := range q.Shop.Units {
			if l.Kind != openings.Stylist || c.Kind != openings.Chair {
				continue
			}
			tr.lead, tr.chair, tr.binding = lead, chair, tr.binding+1
			for m := range q.Shop.Minutes {
				found[m] = found[m] || tr.fits(0, m)
			}
		}
	}
	var out []openings.StartRange
	for m := range q.Shop.Minutes {
		switch {
		case !found[m]:
		case m > 0 && found[m-1]:
			out[len(out)-1].To++
		default:
			out = append(out, openings.StartRange{From: m, To: m})
		}
	}
	return out
}

type trying struct {
	question
	free        [][]bool // by unit and minute
	lead, chair int
	binding     int32
	failed      []int32 // by phase and minute: the last binding that failed there
}

// fits reports whether the phases from the i-th on fit when it begins at m.
func (tr *trying) fits(i int, m openings.Minute) bool {
	memo := &tr.failed[i*int(tr.Shop.Minutes+openings.MaxClearing)+int(m)]
	if *memo == tr.binding {
		return false
	}
	if tr.fitsHere(i, m) {
		end := m + tr.Visit.Phases[i].Minutes
		if i == len(tr.Visit.Phases)-1 {
			return true
		}
		for wait := openings.Minute(0); wait <= tr.Visit.Gaps[i].Max; wait++ {
			if wait >= tr.Visit.Gaps[i].Min && tr.fits(i+1, end+wait) {
				return true
			}
			if !tr.free[tr.chair][end+wait] { // it is kept while the client waits
				break
			}
		}
	}
	*memo = tr.binding
	return false
}

func (tr *trying) fitsHere(i int, m openings.Minute) bool {
	n, uses := tr.Visit.Phases[i].Minutes, tr.uses(i)
	whole := func(u int) bool { return !slices.Contains(tr.free[u][m:m+n], false) }
	some := func(kinds ...openings.UnitKind) bool {
		for u := range tr.Shop.Units {
			if slices.Contains(kinds, tr.Shop.Units[u].Kind) && whole(u) {
				return true
			}
		}
		return false
	}
	return whole(tr.chair) && (!uses.lead || whole(tr.lead)) && (!uses.basin || some(openings.Basin)) &&
		(!uses.hands || some(openings.Assistant, openings.Stylist))
}

func TestOtherWaysFindTheSame1966Starts(t *testing.T) {
	t.Parallel()
	q := sixtyDays(t)
	x, err := q.plan.Search(q.snap, q.Query)
	require.NoError(t, err)
	require.Equal(t, 1966, x.Count())
	require.Equal(t, x.Ranges(), q.startsByTrying())
	require.Equal(t, x.Ranges(), startsBySQL(t, freeTables(t, q)))
}

// BenchmarkRatios measures, in one run on one machine, our searches and other
// ways to the same answers, and how many times as long as ours those take. The
// ways that need nothing from outside are beside each other in scheduling/openings. Where they can
// be given something worked out beforehand, they are: free time, runs that are
// long enough, sets of starts.
func BenchmarkRatios(b *testing.B) {
	q := sixtyDays(b)
	var ours float64
	measure := func(name string, question func(b *testing.B)) {
		b.Run(name, func(b *testing.B) {
			question(b)
			each := float64(b.Elapsed()) / float64(b.N)
			if ours == 0 {
				ours = each
			}
			b.ReportMetric(each/ours, "times")
		})
	}
	measure("AllStarts", func(b *testing.B) {
		var x openings.StartSet
		for b.Loop() {
			if err := q.plan.SearchInto(&x, q.snap, q.Query); err != nil || x.Count() != 1966 {
				b.Fatal(x.Count(), err)
			}
		}
	})
	measure("AllStartsByMultiranges", func(b *testing.B) {
		conn := freeTables(b, q)
		for b.Loop() {
			startsBySQL(b, conn)
		}
	})
	measure("AllStartsByTrying", func(b *testing.B) {
		for b.Loop() {
			q.startsByTrying()
		}
	})
	ours = 0
	measure("FirstStart", func(b *testing.B) {
		for b.Loop() {
			if _, ok, err := q.plan.Soonest(q.snap, q.Query); !ok || err != nil {
				b.Fatal(ok, err)
			}
		}
	})
	measure("FirstStartByGecode", func(b *testing.B) {
		path, file := solver(b), modelFile(b, q)
		var solving time.Duration
		for b.Loop() {
			_, d := firstByGecode(b, path, file)
			solving += d
		}
		b.ReportMetric(float64(solving)/float64(b.N), "ns-solving/op")
		b.ReportMetric(float64(solving)/float64(b.N)/ours, "times-solving")
	})
}
