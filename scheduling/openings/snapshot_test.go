package openings_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
)

func TestAKeptSnapshotAnswersLikeAFreshOne(t *testing.T) {
	r := seeded(t)
	differs := 0
	for range 300 {
		in := randomInstance(r)
		snap, err := openings.NewSnapshot(in.shop)
		require.NoError(t, err)
		in.shop.Units = slices.Clone(in.shop.Units)
		for range 12 {
			before := starts(search(t, in))
			// A change of one unit, or a visit with other clearings.
			if i := r.IntN(len(in.shop.Units)); r.IntN(2) == 0 {
				u := &in.shop.Units[i]
				u.Bookings = nil
				for _, s := range randomSpans(r, in.shop.Minutes, r.IntN(6), 8) {
					u.Bookings = append(u.Bookings, openings.Booking{From: s.From, To: s.To})
				}
				u.Changeover = openings.Minute(r.IntN(4))
				snap, err = snap.With(*u)
				require.NoError(t, err)
			} else {
				in.spec.Clear = map[openings.UnitKind]openings.Minute{in.shop.Units[i].Kind: openings.Minute(r.IntN(15))}
			}
			plan, err := openings.Compile(in.spec, snap)
			require.NoError(t, err)
			x, err := plan.Search(snap, in.q)
			require.NoError(t, err)
			want := starts(search(t, in))
			require.Equal(t, want, starts(x), "%+v", in)
			if !slices.Equal(before, want) {
				differs++
			}
		}
	}
	require.Greater(t, differs, 40, "the changes hardly mattered")
}
