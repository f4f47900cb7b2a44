package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// changed is what a visit becomes at another start and seat.
func (s *salon) changed(t *store.Tx, v *store.Visit, start time.Time, on seat) store.Plan {
	now, err := t.LockVisit(s.t.Context(), v.ID, 0)
	require.NoError(s.t, err)
	next, blocks := s.visit(v.Client, start, on)
	next.ID, next.Version = now.ID, now.Version
	return store.Plan{Visit: next, Blocks: blocks}
}

func TestVisitsThatMoveTogetherCanTakeEachOthersTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	mara, nora := s.client("Mara"), s.client("Nora")
	for _, second := range []string{nora, mara} { // another client's visit, and one of the same
		a := s.booked(mara, at(9, 0), s.seat())
		b := s.booked(second, at(14, 0), s.seat())
		s.tx(func(tx *store.Tx) error {
			return tx.WritePlans(t.Context(), nil, []store.Plan{s.changed(tx, a, at(14, 0), s.seat()), s.changed(tx, b, at(9, 0), s.seat())})
		})
		requireWhole(t, s)
		require.Zero(t, s.overlaps())
		s.tx(func(tx *store.Tx) error {
			for id, start := range map[string]time.Time{a.ID: at(14, 0), b.ID: at(9, 0)} {
				v, err := tx.VisitByID(t.Context(), id)
				require.NoError(t, err)
				require.True(t, start.Equal(v.Start))
				require.EqualValues(t, 2, v.Version)
				require.NotEmpty(t, v.Client)
				v.State = store.Cancelled
				require.NoError(t, tx.SetVisitState(t.Context(), &v))
			}
			return nil
		})
	}
}

func TestAClashOfOneOfThemLeavesAllAsTheyWere(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	a := s.booked(s.client("Mara"), at(9, 0), s.seat())
	b := s.booked(s.client("Nora"), at(14, 0), s.seat())
	third := s.booked(s.client("Ines"), at(17, 0), s.seat())
	before := s.contents()
	for name, write := range map[string]func(tx *store.Tx) error{
		"meets a third": func(tx *store.Tx) error {
			return tx.WritePlans(t.Context(), nil, []store.Plan{s.changed(tx, a, at(14, 0), s.seat()), s.changed(tx, b, at(16, 0), s.seat())})
		},
		"meet each other": func(tx *store.Tx) error {
			return tx.WritePlans(t.Context(), nil, []store.Plan{s.changed(tx, a, at(11, 0), s.seat()), s.changed(tx, b, at(12, 12), s.seat())})
		},
		"a new one meets one that moves": func(tx *store.Tx) error {
			next, blocks := s.visit(third.Client, at(11, 0), s.seat())
			return tx.WritePlans(t.Context(), []store.Plan{{Visit: next, Blocks: blocks}}, []store.Plan{s.changed(tx, b, at(12, 12), s.seat())})
		},
	} {
		require.ErrorIs(t, s.try(write), store.ErrTaken, name)
		require.Equal(t, before, s.contents(), name)
	}
	s.tx(func(tx *store.Tx) error { // with the minute that was missing
		next, blocks := s.visit(third.Client, at(11, 0), s.seat())
		return tx.WritePlans(t.Context(), []store.Plan{{Visit: next, Blocks: blocks}}, []store.Plan{s.changed(tx, b, at(12, 13), s.seat())})
	})
	requireWhole(t, s)
}

func TestRealTimesStayWithTheirStepWhenAVisitMoves(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Mara"), at(9, 0), s.seat())
	s.tx(func(tx *store.Tx) error {
		return tx.Exec(t.Context(), `UPDATE visit_step SET real_start = $2, real_end = $3 WHERE visit_id = $1 AND ordinal = 1`, v.ID, at(9, 21), at(9, 33))
	})
	s.tx(func(tx *store.Tx) error {
		p := s.changed(tx, v, at(9, 5), s.seat())
		p.Visit.Steps = p.Visit.Steps[:3]
		return tx.ReplacePlan(t.Context(), p.Visit, p.Blocks)
	})
	require.Equal(t, []int{0, 1, 2}, rows[int](s, `SELECT ordinal::int FROM visit_step WHERE visit_id = $1 ORDER BY 1`, v.ID))
	require.True(t, at(9, 33).Equal(value[time.Time](s, `SELECT real_end FROM visit_step WHERE visit_id = $1 AND real_start IS NOT NULL`, v.ID)))
	require.True(t, at(9, 25).Equal(value[time.Time](s, `SELECT starts_at FROM visit_step WHERE visit_id = $1 AND ordinal = 1`, v.ID)))
}

func TestVisitsBelongToAGroup(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	later := s.booked(s.client("Mara"), at(14, 0), s.seat())
	s.tx(func(tx *store.Tx) error {
		g, err := tx.AddGroup(ctx, store.Group{How: "side_by_side"})
		require.NoError(t, err)
		v, blocks := s.visit(s.client("Nora"), at(9, 0), s.seat())
		v.Group = &g.ID
		require.NoError(t, tx.InsertVisit(ctx, v, blocks))
		later.Group = &g.ID
		require.NoError(t, tx.SetVisitGroup(ctx, later))
		require.EqualValues(t, 2, later.Version)

		list, err := tx.VisitsOfGroup(ctx, g.ID)
		require.NoError(t, err)
		require.Equal(t, []string{v.ID, later.ID}, []string{list[0].ID, list[1].ID})
		got, err := tx.LockGroup(ctx, g.ID)
		require.NoError(t, err)
		require.Equal(t, g, got)

		later.Group = nil
		require.NoError(t, tx.SetVisitGroup(ctx, later))
		list, err = tx.VisitsOfGroup(ctx, g.ID)
		require.NoError(t, err)
		require.Len(t, list, 1)
		_, err = tx.GroupByID(ctx, "none")
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		return nil
	})
}
