package store_test

import (
	"database/sql"
	"testing"
	"time"

	"github.com/pressly/goose/v3"
	"github.com/stretchr/testify/require"

	"chairblock/migrations"
	"chairblock/scheduling"
	"chairblock/store"
)

// addressOf makes a feed and returns it with its secret.
func (s *salon) addressOf(kind, subject string) (store.Feed, string) {
	s.t.Helper()
	var f store.Feed
	var secret string
	s.tx(func(tx *store.Tx) (err error) {
		f, secret, err = tx.AddFeed(s.t.Context(), kind, subject, "phone")
		return err
	})
	return f, secret
}

func (s *salon) state(secret string) store.FeedState {
	s.t.Helper()
	f, err := s.store.FeedBySecret(s.t.Context(), secret)
	require.NoError(s.t, err)
	return f
}

// The salon's calendar must change with every visit, and no two visits may have to
// wait for each other because of it.
func TestTheSalonsCalendarHasNoRowThatVisitsWaitFor(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	ctx := t.Context()
	_, secret := s.addressOf(store.FeedSalon, "")
	first := s.state(secret)
	require.Equal(t, s.row.ID, first.Subject)
	require.Equal(t, "Europe/Berlin", first.Zone)
	a, b := s.booked(s.client("Guest"), at(9, 0), s.seat()), s.booked(s.client("Other"), at(12, 0), seat{s.ben, s.chairs[1], s.basin})
	sync := func(tx *store.Tx, v *store.Visit, lead, chair string) error {
		return tx.SyncParts(ctx, v.ID, v.Client, []store.Part{part(lead, 0, "hands_on", v.Start, v.End),
			part(chair, 0, store.PartInUse, v.Start, v.End), part(store.PartSalon, 0, store.PartSalon, v.Start, v.End)})
	}
	var meanwhile store.FeedState
	s.tx(func(tx *store.Tx) error {
		require.NoError(t, sync(tx, a, s.ada, s.chairs[0]))
		done := make(chan error, 1)
		go func() {
			done <- s.try(func(tx *store.Tx) error {
				if err := tx.Exec(ctx, `SET LOCAL lock_timeout = '2s'`); err != nil {
					return err
				}
				return sync(tx, b, s.ben, s.chairs[1])
			})
		}()
		require.NoError(t, <-done, "it did not wait")
		meanwhile = s.state(secret)
		return nil
	})
	last := s.state(secret)
	require.Greater(t, meanwhile.Version, first.Version)
	require.Greater(t, last.Version, meanwhile.Version, "the visit that began first and was written last is seen, too")
	require.False(t, last.Changed.Before(meanwhile.Changed))
	_, station := s.addressOf(store.FeedStation, s.chairs[0])
	chair := s.state(station)
	s.tx(func(tx *store.Tx) error { return tx.SyncParts(ctx, b.ID, b.Client, nil) })
	require.Equal(t, chair, s.state(station), "another chair's visit")
	require.Greater(t, s.state(secret).Version, last.Version)
	s.tx(func(tx *store.Tx) error {
		n, err := tx.SalonRow(ctx)
		require.NoError(t, err)
		n.Name = "Quay"
		_, err = tx.UpdateSalon(ctx, n)
		return err
	})
	require.Greater(t, s.state(station).Version, chair.Version)
}

func TestAnAddressThatIsChangedEndsAtOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	f, old := s.addressOf(store.FeedStation, s.basin)
	require.Equal(t, "phone", f.Label)
	before, err := s.store.FeedBySecret(ctx, old, store.FeedStation)
	require.NoError(t, err)
	var secret string
	s.tx(func(tx *store.Tx) (err error) {
		f, secret, err = tx.RotateFeed(ctx, f.ID)
		return err
	})
	require.NotEqual(t, old, secret)
	require.NotNil(t, f.Rotated)
	require.Nil(t, f.LastUsed, "the new one was not read yet")
	require.Equal(t, "phone", f.Label)
	_, err = s.store.FeedBySecret(ctx, old, store.FeedStation)
	require.ErrorIs(t, err, scheduling.ErrNotFound)
	require.Equal(t, before, s.state(secret), "the same calendar")
	s.tx(func(tx *store.Tx) error { return tx.RevokeFeed(ctx, f.ID) })
	err = s.try(func(tx *store.Tx) error { _, _, err := tx.RotateFeed(ctx, f.ID); return err })
	require.ErrorIs(t, err, scheduling.ErrNotFound, "what has ended does not come back")
}

func TestAClientSubscribesWhileHerCalendarComesBack(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	client, other := s.client("Guest"), s.client("Other")
	has := func(who string) (yes bool) {
		s.tx(func(tx *store.Tx) (err error) { yes, err = tx.HasFeed(ctx, who); return err })
		return yes
	}
	f, secret := s.addressOf(store.FeedClient, client)
	later := func(d time.Duration) {
		_, err := s.db.Exec(ctx, `UPDATE feed SET last_used_at = last_used_at - make_interval(secs => $1)`, d.Seconds())
		require.NoError(t, err)
	}
	read := func(times int) {
		for range times {
			later(6 * time.Minute)
			_, err := s.store.FeedBySecret(ctx, secret, store.FeedStaff, store.FeedClient)
			require.NoError(t, err)
		}
	}
	require.False(t, has(client), "an address alone is no calendar")
	s.state(secret)
	require.False(t, has(client), "nor is its page")
	_, err := s.store.FeedBySecret(ctx, secret, store.FeedStaff)
	require.NoError(t, err)
	require.Zero(t, value[int](s, `SELECT count(*) FROM feed WHERE last_used_at IS NOT NULL`), "what is read is no calendar of hers")
	read(1)
	require.False(t, has(client), "one reading may be that of a program that looks at links")
	_, err = s.store.FeedBySecret(ctx, secret, store.FeedClient)
	require.NoError(t, err)
	require.False(t, has(client), "which looks twice at once")
	read(1)
	require.True(t, has(client))
	require.False(t, has(other))
	later(14*24*time.Hour - time.Minute)
	require.True(t, has(client))
	later(time.Minute)
	require.False(t, has(client), "her calendar does not come any more")
	read(1)
	require.True(t, has(client))
	s.tx(func(tx *store.Tx) (err error) { _, secret, err = tx.RotateFeed(ctx, f.ID); return err })
	require.False(t, has(client), "nobody has read the new address")
	read(2)
	require.True(t, has(client))
	s.tx(func(tx *store.Tx) error { return tx.RevokeFeed(ctx, f.ID) })
	require.False(t, has(client))
}

func TestWhatIsNotThereHasNoCalendar(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	client := s.client("Guest")
	_, clients := s.addressOf(store.FeedClient, client)
	_, chairs := s.addressOf(store.FeedStation, s.chairs[1])
	s.tx(func(tx *store.Tx) error { return tx.DeleteClient(ctx, client, 1) })
	setChair := func(active bool) {
		s.tx(func(tx *store.Tx) error {
			u, err := tx.StationByID(ctx, s.chairs[1])
			require.NoError(t, err)
			u.Active = active
			_, err = tx.UpdateStation(ctx, u)
			return err
		})
	}
	setChair(false)
	for _, secret := range []string{clients, chairs} {
		_, err := s.store.FeedBySecret(ctx, secret, store.FeedClient)
		require.ErrorIs(t, err, scheduling.ErrNotFound)
	}
	for kind, subject := range map[string]string{store.FeedStation: s.chairs[1], store.FeedClient: client, store.FeedStaff: s.basin} {
		err := s.try(func(tx *store.Tx) error { _, _, err := tx.AddFeed(ctx, kind, subject, ""); return err })
		require.ErrorIs(t, err, scheduling.ErrNotFound, kind)
	}
	setChair(true)
	s.state(chairs)
}

func TestVisitsThatAreThereComeIntoTheNewCalendars(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	s.hold(at(19, 0), s.seat(), at(8, 30))
	db, err := sql.Open("pgx", s.url)
	require.NoError(t, err)
	defer db.Close()
	p, err := goose.NewProvider(goose.DialectPostgres, db, migrations.FS)
	require.NoError(t, err)
	_, err = p.DownTo(t.Context(), 12)
	require.NoError(t, err)
	_, err = p.UpTo(t.Context(), 13)
	require.NoError(t, err)
	parts := s.parts(v.ID)
	require.Len(t, parts, 3, "chair, basin and salon")
	for subject, want := range map[string][2]time.Time{s.chairs[0]: {v.Start, v.End}, s.basin: {at(9, 20), at(9, 30)}, store.PartSalon: {v.Start, v.End}} {
		require.Len(t, parts[subject], 1)
		got := parts[subject][0]
		require.True(t, got.Start.Equal(want[0]) && got.End.Equal(want[1]), "%v", got)
		require.Equal(t, map[bool]string{true: store.PartSalon, false: store.PartInUse}[subject == store.PartSalon], got.Kind)
		require.True(t, got.Live)
	}
	require.Equal(t, 3, value[int](s, `SELECT count(*) FROM visit_part`), "what is only pencilled stands in no calendar")
	require.Equal(t, 3, value[int](s, `SELECT count(DISTINCT uid) FROM visit_part`))
	_, err = p.Up(t.Context())
	require.NoError(t, err)
}
