package store_test

import (
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

func TestTwoVisitsOfOneUnitKeepTheClearingBetweenThemAndNoMore(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	chair := s.chairs[0]
	_, err := s.bookOnly(chair, at(10, 0), at(11, 0), 10)
	require.NoError(t, err)
	for _, x := range []struct {
		name  string
		from  time.Time
		to    time.Time
		clear int
		want  error
	}{
		{"one minute into the clearing", at(11, 9), at(11, 30), 0, store.ErrTaken},
		{"own clearing one minute into the visit", at(9, 0), at(9, 56), 5, store.ErrTaken},
		{"inside", at(10, 20), at(10, 30), 0, store.ErrTaken},
		{"around", at(9, 0), at(12, 0), 0, store.ErrTaken},
		{"the same", at(10, 0), at(11, 0), 10, store.ErrTaken},
		{"the last minute", at(10, 59), at(11, 30), 0, store.ErrTaken},
		{"right after the clearing", at(11, 10), at(11, 30), 240, nil},
		{"own clearing right before", at(9, 0), at(9, 55), 5, nil},
	} {
		_, err := s.bookOnly(chair, x.from, x.to, x.clear)
		require.ErrorIs(t, err, x.want, x.name)
	}
	_, err = s.bookOnly(s.chairs[1], at(10, 0), at(11, 0), 10)
	require.NoError(t, err, "another chair")
	other := s.second()
	_, err = other.bookOnly(other.chairs[0], at(10, 0), at(11, 0), 10)
	require.NoError(t, err, "another salon")
}

func TestUnitsOfTheSameIDInTwoSalonsDoNotMeet(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	other := s.second()
	_, err := s.db.Exec(t.Context(), `
		INSERT INTO unit SELECT $2, unit_id, kind, name FROM unit WHERE salon_id = $1 AND unit_id = $3`,
		s.row.ID, other.row.ID, s.chairs[0])
	require.NoError(t, err)
	_, err = s.bookOnly(s.chairs[0], at(10, 0), at(11, 0), 10)
	require.NoError(t, err)
	_, err = other.bookOnly(s.chairs[0], at(10, 0), at(11, 0), 10)
	require.NoError(t, err)
	_, err = other.bookOnly(s.chairs[0], at(10, 0), at(11, 0), 10)
	require.ErrorIs(t, err, store.ErrTaken)
}

func TestAVisitMayTouchItselfOnAUnit(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v, blocks := s.only(s.client("Guest"), s.chairs[0], at(10, 0), at(10, 30), 10)
	blocks = append(blocks,
		store.Block{Unit: s.chairs[0], Start: at(10, 30), End: at(11, 0), Clear: 10},
		store.Block{Unit: s.chairs[0], Start: at(10, 20), End: at(10, 40), Clear: 10})
	s.tx(func(tx *store.Tx) error { return tx.InsertVisit(t.Context(), v, blocks) })
	require.Equal(t, 3, value[int](s, `SELECT count(*) FROM block`))
}

func TestTheDatabaseRefusesBlocksThatHoldNoTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(10, 0), s.seat())
	const insert = `INSERT INTO block (salon_id, visit_id, unit_id, starts_at, ends_at, span) VALUES ($1, $2, $3, $4, $5, `
	day, next := at(12, 0), at(13, 0)
	for _, x := range []struct {
		name     string
		from, to time.Time
		span     string
		code     string // SQLSTATE
	}{
		{"empty span", day, next, `'empty')`, "23514"},
		{"no span", day, next, `NULL)`, "23502"},
		{"open span", day, next, `tstzrange($4, NULL))`, "23514"},
		{"span without begin", day, next, `tstzrange(NULL, $5))`, "23514"},
		{"end included", day, next, `tstzrange($4, $5, '[]'))`, "23514"},
		{"begin left out", day, next, `tstzrange($4, $5, '()'))`, "23514"},
		{"span that begins later", day, next, `tstzrange($4::timestamptz + interval '1 minute', $5))`, "23514"},
		{"span that ends earlier", day, next, `tstzrange($4, $5::timestamptz - interval '1 minute'))`, "23514"},
		{"span that never ends", day, next, `tstzrange($4, 'infinity'))`, "23514"},
		{"more clearing than four hours", day, next, `tstzrange($4, $5::timestamptz + interval '241 minutes'))`, "23514"},
		{"end at the begin", day, day, `tstzrange($4, $5::timestamptz + interval '1 minute'))`, "23514"},
		{"seconds in the begin", day.Add(time.Second), next, `tstzrange($4, $5))`, "23514"},
		{"seconds in the end", day, next.Add(time.Second), `tstzrange($4, $5))`, "23514"},
	} {
		_, err := s.db.Exec(t.Context(), insert+x.span, s.row.ID, v.ID, s.chairs[1], x.from, x.to)
		var refused *pgconn.PgError
		require.ErrorAs(t, err, &refused, x.name)
		require.Equal(t, x.code, refused.Code, x.name)
	}
	_, err := s.db.Exec(t.Context(), insert+`tstzrange($4, $5))`, s.row.ID, v.ID, s.chairs[1], day, next)
	require.NoError(t, err, "and takes one that does")
}

func TestABlockWithoutTimeOrWithSecondsIsRefusedByTheStore(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	before := s.contents()
	client := s.client("Guest")
	for _, table := range []string{"client", "audit"} {
		before[table] = s.contents()[table]
	}
	for name, b := range map[string]store.Block{
		"empty":        {Unit: s.ada, Start: at(10, 0), End: at(10, 0), Clear: 3},
		"backwards":    {Unit: s.ada, Start: at(10, 0), End: at(9, 0)},
		"seconds":      {Unit: s.ada, Start: at(10, 0), End: at(11, 0).Add(time.Second)},
		"unknown unit": {Unit: "nobody", Start: at(10, 0), End: at(11, 0)},
	} {
		v, blocks := s.visit(client, at(10, 0), s.seat())
		err := s.try(func(tx *store.Tx) error { return tx.InsertVisit(t.Context(), v, append(blocks, b)) })
		require.Error(t, err, name)
		require.NotErrorIs(t, err, store.ErrTaken, name)
		require.Equal(t, before, s.contents(), name)
	}
}

// station gives chair 1 another clearing time.
func (s *salon) station(clear int) error {
	return s.try(func(t *store.Tx) error {
		u, err := t.StationByID(s.t.Context(), s.chairs[0])
		if err != nil {
			return err
		}
		u.Changeover = clear
		_, err = t.UpdateStation(s.t.Context(), u)
		return err
	})
}

// gaps are the clearing minutes of the unit's blocks, by time.
func (s *salon) gaps(unit string) []int {
	return rows[int](s, `SELECT (extract(epoch FROM upper(span) - ends_at) / 60)::int FROM block
		WHERE unit_id = $1 ORDER BY starts_at`, unit)
}

func TestANewClearingTimeReachesTheVisitsToComeThatHadTheOldOne(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	chair := s.chairs[0]
	past := time.Now().UTC().Truncate(time.Hour).Add(-48 * time.Hour)
	asked := 3
	for _, b := range []store.Block{
		{Start: past, End: past.Add(time.Hour), Clear: 3},
		{Start: at(9, 0), End: at(10, 0), Clear: 3},
		{Start: at(10, 10), End: at(11, 0), Clear: 3, Asked: &asked}, // the services ask for just this
		{Start: at(12, 0), End: at(13, 0), Clear: 4, Least: 4},       // a service asks for at least this
	} {
		v, blocks := s.only(s.client("Guest"), chair, b.Start, b.End, b.Clear)
		blocks[0].Asked, blocks[0].Least = b.Asked, b.Least
		require.NoError(t, s.try(func(t *store.Tx) error { return t.InsertVisit(s.t.Context(), v, blocks) }))
	}
	before := rows[string](s, `SELECT visit_id || unit_id || starts_at || ends_at FROM block ORDER BY 1`)
	require.NoError(t, s.station(10))
	require.Equal(t, []int{3, 10, 3, 10}, s.gaps(chair))
	require.Equal(t, before, rows[string](s, `SELECT visit_id || unit_id || starts_at || ends_at FROM block ORDER BY 1`))
	require.NoError(t, s.station(0))
	require.Equal(t, []int{3, 0, 3, 4}, s.gaps(chair))
	require.NoError(t, s.station(3), "now the visit that asked has the same minutes as the chair")
	require.NoError(t, s.station(5))
	require.Equal(t, []int{3, 5, 3, 5}, s.gaps(chair))
}

func TestAClearingTimeThatDoesNotFitChangesNothingAndNamesTheVisits(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	var ids []string
	for _, hour := range []int{9, 10, 12} {
		v, err := s.bookOnly(s.chairs[0], at(hour, 0), at(hour, 50), 3)
		require.NoError(t, err)
		ids = append(ids, v.ID)
	}
	before := s.contents()
	err := s.station(11)
	var tight *store.ClearingError
	require.ErrorAs(t, err, &tight)
	require.Equal(t, ids[:1], tight.Visits)
	require.Equal(t, before, s.contents())
	require.NoError(t, s.station(10), "one minute less fits")
	require.Equal(t, []int{10, 10, 10}, s.gaps(s.chairs[0]))
}

func TestAPersonsClearingTimeIsRewrittenLikeAChairs(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.booked(s.client("Guest"), at(9, 0), s.seat())
	s.booked(s.client("Guest"), at(10, 20), s.seat())
	give := func(clear int) error {
		return s.try(func(tx *store.Tx) error {
			p, err := tx.StaffByID(t.Context(), s.ada)
			if err != nil {
				return err
			}
			p.Changeover = clear
			_, err = tx.UpdateStaff(t.Context(), p)
			return err
		})
	}
	require.NoError(t, give(10))
	require.Equal(t, []int{10, 10, 10, 10}, s.gaps(s.ada))
	var tight *store.ClearingError
	require.ErrorAs(t, give(11), &tight)
	require.Equal(t, []int{10, 10, 10, 10}, s.gaps(s.ada))
}

func TestBlocksBetweenCountsTheClearing(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v, err := s.bookOnly(s.chairs[0], at(10, 0), at(11, 0), 10)
	require.NoError(t, err)
	for _, x := range []struct {
		from, to time.Time
		want     int
	}{
		{at(8, 0), at(10, 0), 0}, {at(8, 0), at(10, 1), 1}, {at(11, 9), at(12, 0), 1}, {at(11, 10), at(12, 0), 0},
	} {
		var got map[string][]store.DayBlock
		s.tx(func(tx *store.Tx) (err error) { got, err = tx.BlocksBetween(t.Context(), x.from, x.to); return err })
		require.Len(t, got, x.want)
		if x.want > 0 {
			b := got[s.chairs[0]][0]
			require.Equal(t, v.ID, b.Visit)
			require.WithinDuration(t, at(11, 10), b.Cleared, 0)
		}
	}
}

func TestABackwardsHorizonLoadsAnEmptyShop(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	loc := time.UTC
	day := scheduling.CivilDate(soon, loc)
	h := openings.NewHorizon(loc, openings.DateRange{First: day, Last: day.Add(-1)})
	s.tx(func(tx *store.Tx) error {
		shop, err := tx.LoadShop(t.Context(), h, time.Now())
		require.Zero(t, shop.Minutes)
		require.Len(t, shop.Units, 6)
		return err
	})
}
