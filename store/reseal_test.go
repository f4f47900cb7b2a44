package store_test

import (
	"errors"
	"maps"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

func init() {
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"Led": func(t *store.Tx, x *filled) (any, error) { return t.Led(x.t.Context(), x.ada, []string{x.client}) },
		"NoteHealthReadOnce": func(t *store.Tx, x *filled) (any, error) {
			return nil, errors.Join(t.NoteHealthReadOnce(x.t.Context(), store.HealthRead{About: "needs", Client: x.client, At: soon, What: "read", Role: "owner"}), errUndo)
		},
	})
}

// healthOfAGuest puts one of everything that is sealed on record, for a visit that
// begins at start.
func healthOfAGuest(s *salon, start time.Time) (client string, c store.Screening, v *store.Visit) {
	client = s.client("Guest")
	v = s.booked(client, start, s.seat())
	c = s.screened(client, start, nil)
	now := start.Add(time.Hour)
	c.Decision, c.DecidedBy, c.DecidedName, c.DecidedAt = "yes", s.ada, "Ada", &now
	ctx := s.t.Context()
	s.tx(func(tx *store.Tx) error {
		n, o := patch(client, "Soft Wave"), override(v.ID)
		n.Noted, o.Made = start, start
		_, noted := tx.AddTestNote(ctx, n)
		_, said := tx.AddNeedOverride(ctx, o)
		x := stop(v.ID, s.ada)
		x.Noted = start
		return errors.Join(noted, said, tx.Decide(ctx, c, []byte("why")), tx.AddStop(ctx, x), tx.ClearStop(ctx, v.ID, now, s.ada, "Ada", "calm"))
	})
	return client, c, v
}

func TestKeysAreComparedWithWhatIsSealed(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.store.SealWith(nil)
	require.NoError(t, s.store.CheckKeys(t.Context()), "nothing is sealed yet")
	s.store.SealWith(healthKeys(t, 1))
	healthOfAGuest(s, at(9, 0))
	require.NoError(t, s.store.CheckKeys(t.Context()))
	s.store.SealWith(healthKeys(t, 2, 1))
	require.NoError(t, s.store.CheckKeys(t.Context()))
	for _, wrong := range []*store.Sealer{nil, healthKeys(t, 2)} {
		s.store.SealWith(wrong)
		var missing *store.MissingKeysError
		require.ErrorAs(t, s.store.CheckKeys(t.Context()), &missing)
		require.Equal(t, map[string]int{healthKeys(t, 1).KeyID(): 6}, missing.Rows)
		require.Contains(t, missing.Error(), healthKeys(t, 1).KeyID()+" (6)")
	}
}

func TestAfterResealingTheOldKeyIsNeededNoMore(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	client, c, v := healthOfAGuest(s, at(9, 0))
	for range 120 { // more than one round
		s.tx(func(tx *store.Tx) error { _, err := tx.AddTestNote(ctx, patch(client, "Soft Wave")); return err })
	}
	_, err := s.db.Exec(ctx, `UPDATE test_record SET sealed = set_byte(sealed, 99, get_byte(sealed, 99) # 4)
		WHERE record_id = (SELECT max(record_id) FROM test_record)`)
	require.NoError(t, err)

	s.store.SealWith(healthKeys(t, 2))
	_, err = s.store.Reseal(ctx)
	var missing *store.MissingKeysError
	require.ErrorAs(t, err, &missing)
	s.store.SealWith(healthKeys(t, 2, 1))
	done, err := s.store.Reseal(ctx)
	require.NoError(t, err)
	require.Equal(t, store.Resealed{Rows: 125, Broken: 1}, done)
	done, err = s.store.Reseal(ctx)
	require.NoError(t, err)
	require.Equal(t, store.Resealed{Broken: 1}, done, "there is nothing left to do")

	s.store.SealWith(healthKeys(t, 2))
	s.tx(func(tx *store.Tx) error {
		answers, why, err := tx.Answers(ctx, c)
		require.NoError(t, err)
		require.Equal(t, []string{secretWords, "why"}, []string{string(answers), string(why)})
		notes, err := tx.TestNotes(ctx, client)
		require.NoError(t, err)
		for _, n := range notes[:len(notes)-1] {
			require.NoError(t, n.Unreadable)
		}
		said, err := tx.NeedOverrides(ctx, v.ID)
		require.Equal(t, "cut short", said[0].Reason)
		return err
	})
	got := s.card(v.ID).Stop
	require.NoError(t, got.Unreadable)
	require.Equal(t, []string{"skin", "calm"}, []string{got.Reason, got.ClearedWhy})
}

func TestARepeatedRequestIsKnownAfterTheKeysWereChanged(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	request := []byte(`{"pregnancy": "no"}`)
	begin := func(request []byte) (known bool, err error) {
		prints, err := s.store.SealedPrints(request)
		require.NoError(t, err)
		err = s.try(func(tx *store.Tx) (err error) {
			c := store.Call{Principal: "p", Method: "POST", Route: "/r", Key: "k", Fingerprint: prints[0], Older: prints[1:]}
			if _, known, err = tx.Begin(t.Context(), c); err == nil && !known {
				err = tx.End(c, store.Answer{Status: 201, Body: []byte(`{}`)})
			}
			return err
		})
		return known, err
	}
	known, err := begin(request)
	require.NoError(t, err)
	require.False(t, known)
	s.store.SealWith(healthKeys(t, 2, 1))
	known, err = begin(request)
	require.NoError(t, err)
	require.True(t, known)
	_, err = begin([]byte(`{}`))
	require.ErrorIs(t, err, store.ErrKeyReused)
}

func TestTestsReasonsAndStopsAreErasedWithAge(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	client, _, v := healthOfAGuest(s, at(9, 0))
	kept := func() []int {
		return []int{value[int](s, `SELECT count(*) FROM test_record`), value[int](s, `SELECT count(*) FROM need_override WHERE sealed <> ''`),
			value[int](s, `SELECT count(*) FROM visit_stop WHERE sealed IS NOT NULL AND cleared_sealed IS NOT NULL`)}
	}
	s.store.SealWith(nil) // erasing needs no key
	require.Zero(t, s.eraseHealth(at(8, 0).AddDate(0, 12, -1)))
	require.Equal(t, []int{1, 1, 1}, kept())
	require.Equal(t, 4, s.eraseHealth(at(0, 0).AddDate(0, 13, 0)))
	require.Equal(t, []int{0, 0, 0}, kept())
	require.Zero(t, s.eraseHealth(at(0, 0).AddDate(0, 14, 0)), "once")
	require.Equal(t, 4, value[int](s, `SELECT count(*) FROM health_read WHERE what = 'erased' AND role = 'retention'`))
	require.Equal(t, 3, value[int](s, `SELECT count(*) FROM health_read WHERE client_id = '`+client+`'`))
	s.tx(func(tx *store.Tx) error {
		said, err := tx.NeedOverrides(ctx, v.ID)
		require.Equal(t, []string{"strand_test", "Ada", ""}, []string{said[0].Kind, said[0].SaidBy, said[0].Reason}, "that it was said stays")
		return err
	})
	require.NoError(t, s.store.CheckKeys(ctx))
}
