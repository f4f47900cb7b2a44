package store_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// fact is something written on a card.
func fact(kind string, when time.Time) store.CardFact {
	return store.CardFact{Kind: kind, At: when, Value: json.RawMessage(`{"text": "a"}`), Noted: when.Add(time.Minute), By: "guard"}
}

// stop is a visit stopped early with lead in charge.
func stop(visit, lead string) store.Stop {
	return store.Stop{Visit: visit, At: at(9, 30), StopWords: store.StopWords{Reason: "skin", Detail: "zqblister", Outcome: "sent_to_doctor", Told: []string{"client"}}, LicensedID: lead, LicensedName: "Ada",
		Noted: at(9, 31), By: "guard"}
}

// card reads the card of a visit.
func (s *salon) card(visit string) (c store.Card) {
	s.t.Helper()
	s.tx(func(t *store.Tx) (err error) { c, err = t.CardOf(s.t.Context(), visit); return err })
	return c
}

func TestACardKeepsWhatWasCorrectedAndSaysWhatStands(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	c := s.card(v.ID)
	require.Equal(t, store.Card{Visit: v.ID}, c)

	step := 2
	first, second := fact("iron", at(10, 0)), fact("note", at(10, 5))
	first.Step = &step
	var ids [4]string
	s.tx(func(tx *store.Tx) error {
		for i, f := range []*store.CardFact{&first, &second} {
			got, err := tx.AddCardFact(ctx, &c, *f)
			require.NoError(t, err)
			ids[i] = got.ID
		}
		better := fact("iron", at(10, 1))
		better.Step, better.Value, better.Replaces = &step, json.RawMessage(`{"text": "b"}`), &ids[0]
		got, err := tx.AddCardFact(ctx, &c, better)
		require.NoError(t, err)
		ids[2] = got.ID
		gone := fact("note", at(10, 5))
		gone.Value, gone.Replaces = nil, &ids[1]
		got, err = tx.AddCardFact(ctx, &c, gone)
		ids[3] = got.ID
		return err
	})
	c = s.card(v.ID)
	require.Len(t, c.Facts, 4)
	require.JSONEq(t, `{"text": "a"}`, string(c.Facts[0].Value), "the old value stays")
	require.Equal(t, at(10, 0).Unix(), c.Facts[0].At.Unix())
	require.Equal(t, 2, *c.Facts[0].Step)
	now := c.Current()
	require.Len(t, now, 1)
	require.Equal(t, ids[2], now[0].ID)
	require.True(t, c.Facts[3].TakenBack())
	require.Equal(t, ids[2], c.Replacement(ids[0]).ID)
	require.Nil(t, c.Replacement(ids[2]))
	require.Equal(t, ids[1], c.Fact(ids[1]).ID)
	require.Nil(t, c.Fact("x"))
	list, err := func() (l []store.Card, err error) {
		err = s.try(func(tx *store.Tx) (err error) { l, err = tx.Cards(ctx, []string{v.ID, "x"}); return err })
		return l, err
	}()
	require.NoError(t, err)
	require.Equal(t, []store.Card{c}, list)
	require.ErrorIs(t, s.try(func(tx *store.Tx) error { _, err := tx.CardOf(ctx, "x"); return err }), scheduling.ErrNotFound)
}

func TestAFactIsCorrectedOnceAndOnItsOwnCardOnly(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	guest := s.client("Guest")
	a, b := s.booked(guest, at(9, 0), s.seat()), s.booked(guest, at(15, 0), s.seat())
	on := store.Card{Visit: a.ID}
	var id string
	s.tx(func(tx *store.Tx) error {
		f, err := tx.AddCardFact(ctx, &on, fact("note", at(9, 0)))
		id = f.ID
		return err
	})
	replace := func(visit string) error {
		return s.try(func(tx *store.Tx) error {
			f := fact("note", at(9, 0))
			f.Replaces = &id
			_, err := tx.AddCardFact(ctx, &store.Card{Visit: visit}, f)
			return err
		})
	}
	var bad *scheduling.InvalidError
	require.ErrorAs(t, replace(b.ID), &bad, "a fact of another card")
	require.NoError(t, replace(a.ID))
	require.Error(t, replace(a.ID), "it was replaced already")
	require.Len(t, s.card(a.ID).Facts, 2)
}

func TestAStopIsNotedOnceAndClearedOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	clear := func() error {
		return s.try(func(tx *store.Tx) error { return tx.ClearStop(ctx, v.ID, at(12, 0), s.ada, "Ada", "looked at it") })
	}
	require.ErrorIs(t, clear(), scheduling.ErrNotFound)
	s.tx(func(tx *store.Tx) error { return tx.AddStop(ctx, stop(v.ID, s.ada)) })
	require.Error(t, s.try(func(tx *store.Tx) error { return tx.AddStop(ctx, stop(v.ID, s.ada)) }))
	got := s.card(v.ID).Stop
	require.Equal(t, []string{"skin", "sent_to_doctor", "Ada"}, []string{got.Reason, got.Outcome, got.LicensedName})
	require.Equal(t, []string{"client"}, got.Told)
	require.Nil(t, got.Cleared)
	require.NoError(t, clear())
	got = s.card(v.ID).Stop
	require.Equal(t, at(12, 0).Unix(), got.Cleared.Unix())
	require.Equal(t, []string{s.ada, "Ada", "looked at it"}, []string{got.ClearedID, got.ClearedName, got.ClearedWhy})
	require.ErrorIs(t, clear(), scheduling.ErrNotFound)
	for _, word := range []string{"zqblister", "sent_to_doctor", "looked at it"} {
		require.False(t, s.dumpHolds([]byte(word)), word)
	}

	s.store.SealWith(healthKeys(t, 2))
	got = s.card(v.ID).Stop
	require.Empty(t, got.Reason+got.ClearedWhy)
	require.Error(t, got.Unreadable)
	s.store.SealWith(nil) // a visit is stopped even so, but why is not kept
	late := s.booked(s.client("Late"), at(13, 0), s.seat())
	s.tx(func(tx *store.Tx) error { return tx.AddStop(ctx, stop(late.ID, s.ada)) })
	got = s.card(late.ID).Stop
	require.Equal(t, []string{"", "Ada"}, []string{got.Reason, got.LicensedName})
	require.NoError(t, got.Unreadable)
	require.False(t, s.dumpHolds([]byte("zqblister")))
}

func TestTheLimitsOfACardAreReplacedAsAWhole(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	for _, doc := range []string{`{"a": 1}`, `{"b": 2}`} {
		s.tx(func(tx *store.Tx) error { return tx.SetCardLimits(t.Context(), v.ID, json.RawMessage(doc)) })
		require.JSONEq(t, doc, string(s.card(v.ID).Limits))
	}
}
