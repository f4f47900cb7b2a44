package problemfile_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"

	"github.com/stretchr/testify/require"
)

// randomDelay is a day of a few pieces, begun and not, with closed windows and
// links of every kind.
func randomDelay(r *rand.Rand) delays.Problem {
	p := delays.Problem{Minutes: openings.Minute(50 + r.IntN(60))}
	for i := range 3 + r.IntN(4) {
		pc := delays.Piece{ID: fmt.Sprintf("p%d", i), Minutes: openings.Minute(1 + r.IntN(12))}
		if r.IntN(4) == 0 {
			at := openings.Minute(r.IntN(20))
			pc.Fixed = &at
		} else {
			pc.NotBefore = openings.Minute(r.IntN(15))
			for range r.IntN(3) {
				from := openings.Minute(r.IntN(45))
				pc.Closed = append(pc.Closed, openings.Span{From: from, To: from + 1 + openings.Minute(r.IntN(5))})
			}
		}
		p.Pieces = append(p.Pieces, pc)
	}
	for i := range p.Pieces {
		for j := range p.Pieces {
			if i == j || r.IntN(5) > 1 || i > j && r.IntN(4) > 0 {
				continue
			}
			l := delays.Link{Before: p.Pieces[i].ID, After: p.Pieces[j].ID, Min: openings.Minute(r.IntN(12) - 4)}
			if i > j {
				l.Min -= openings.Minute(20 + r.IntN(60))
			}
			if r.IntN(2) == 0 {
				most := l.Min + openings.Minute(r.IntN(30))
				l.Max = &most
			}
			p.Links = append(p.Links, l)
		}
	}
	return p
}

// delayModel asks for the least sum of the starts.
func delayModel(p delays.Problem) string {
	var b strings.Builder
	number := map[string]int{}
	var all []string
	for i, pc := range p.Pieces {
		number[pc.ID] = i
		all = append(all, fmt.Sprintf("s%d", i))
		if pc.Fixed != nil {
			fmt.Fprintf(&b, "var %d..%d: s%d;\n", *pc.Fixed, *pc.Fixed, i)
			continue
		}
		fmt.Fprintf(&b, "var %d..%d: s%d;\n", pc.NotBefore, p.Minutes-pc.Minutes, i)
		for _, w := range pc.Closed {
			fmt.Fprintf(&b, "constraint s%d + %d <= %d \\/ s%d >= %d;\n", i, pc.Minutes, w.From, i, w.To)
		}
	}
	for _, l := range p.Links {
		wait := fmt.Sprintf("s%d - s%d - %d", number[l.After], number[l.Before], p.Pieces[number[l.Before]].Minutes)
		fmt.Fprintf(&b, "constraint %s >= %d;\n", wait, l.Min)
		if l.Max != nil {
			fmt.Fprintf(&b, "constraint %s <= %d;\n", wait, *l.Max)
		}
	}
	fmt.Fprintf(&b, "solve minimize %s;\n", strings.Join(all, "+"))
	return b.String()
}

func TestGecodeFindsTheSameLeastStartsOfALateDay(t *testing.T) {
	t.Parallel()
	feasible := 0
	days := *judged
	for seed := range uint64(days) {
		p := randomDelay(rand.New(rand.NewPCG(seed, 4)))
		got, err := delays.Project(p)
		require.NoError(t, err, "seed %d", seed)
		want := gecode(t, delayModel(p))
		require.Equal(t, want != nil, got.Feasible, "seed %d: %+v\n%s", seed, p, delayModel(p))
		if want == nil {
			continue
		}
		feasible++
		last := openings.Minute(0)
		for i, pc := range p.Pieces {
			require.EqualValues(t, want[fmt.Sprintf("s%d", i)], got.Starts[pc.ID], "seed %d, piece %s: %+v", seed, pc.ID, p)
			last = max(last, got.Starts[pc.ID]+pc.Minutes)
		}
		require.Equal(t, last, got.LastEnd)
	}
	require.Greater(t, feasible, days/4)
	require.Less(t, feasible, days*3/4)
}
