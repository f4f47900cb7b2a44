package store_test

import (
	"errors"
	"fmt"
	"maps"
	"sync"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// onRecord fills the tables from which needs follow.
func (x *filled) onRecord(t *store.Tx) {
	x.t.Helper()
	ctx := x.t.Context()
	n, err := t.AddTestNote(ctx, patch(x.client, "product of "+x.row.ID))
	require.NoError(x.t, err)
	x.test = n.ID
	_, err = t.SetMinor(ctx, minor(x.client), changed)
	require.NoError(x.t, err)
	c, err := t.AddConsent(ctx, consent(x.client))
	require.NoError(x.t, err)
	x.consent = c.ID
	_, err = t.AddNeedOverride(ctx, override(x.visit))
	require.NoError(x.t, err)
	_, err = t.AddConsentWording(ctx, "wording of "+x.row.ID, at(1, 0))
	require.NoError(x.t, err)
}

func patch(client, product string) store.TestNote {
	return store.TestNote{Client: client, Noted: at(1, 0), TestFacts: store.TestFacts{What: store.PatchPutOn, At: at(1, 0), By: "Ada", Product: product, Strength: "N", Place: "inner_elbow"}}
}

func minor(client string) store.Minor {
	return store.Minor{Client: client, Until: date.New(2028, time.May, 1), Age: 16, Guardian: "Rosa Quist", ContactBy: "none", Stays: "present"}
}

var changed = store.MinorChange{NotedBy: "desk", Made: at(1, 0)}

func consent(client string) store.Consent {
	return store.Consent{Client: client, Wording: 1, GivenBy: "herself", How: "present", Given: at(1, 0), TakenBy: "Ada"}
}

func override(visit string) store.NeedOverride {
	return store.NeedOverride{Visit: visit, Kind: "strand_test", SaidBy: "Ada", NotedBy: "desk", Made: at(1, 0), Reason: "cut short"}
}

func init() {
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"LockClient": func(t *store.Tx, x *filled) (any, error) { return nil, t.LockClient(x.t.Context(), x.client) },
		"AddTestNote": func(t *store.Tx, x *filled) (any, error) {
			n := patch(x.client, "")
			_, err := t.AddTestNote(x.t.Context(), n)
			return nil, err
		},
		"TestNotes":    func(t *store.Tx, x *filled) (any, error) { return t.TestNotes(x.t.Context(), x.client) },
		"TestNoteByID": func(t *store.Tx, x *filled) (any, error) { return t.TestNoteByID(x.t.Context(), x.test) },
		"AddNeedOverride": func(t *store.Tx, x *filled) (any, error) {
			_, err := t.AddNeedOverride(x.t.Context(), override(x.visit))
			return nil, err
		},
		"NeedOverrides": func(t *store.Tx, x *filled) (any, error) { return t.NeedOverrides(x.t.Context(), x.visit) },
		"WithdrawNeedOverride": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.WithdrawNeedOverride(x.t.Context(), x.visit, "strand_test", "Ada", at(1, 0))
		},
		"MinorOf": func(t *store.Tx, x *filled) (any, error) { return t.MinorOf(x.t.Context(), x.client) },
		"SetMinor": func(t *store.Tx, x *filled) (any, error) {
			_, err := t.SetMinor(x.t.Context(), minor(x.client), changed)
			return nil, err
		},
		"DeleteMinor":  func(t *store.Tx, x *filled) (any, error) { return nil, t.DeleteMinor(x.t.Context(), x.client, changed) },
		"MinorChanges": func(t *store.Tx, x *filled) (any, error) { return t.MinorChanges(x.t.Context(), x.client) },
		"AddConsent": func(t *store.Tx, x *filled) (any, error) {
			_, err := t.AddConsent(x.t.Context(), consent(x.client))
			return nil, err
		},
		"Consents": func(t *store.Tx, x *filled) (any, error) { return t.Consents(x.t.Context(), x.client) },
		"WithdrawConsent": func(t *store.Tx, x *filled) (any, error) {
			return t.WithdrawConsent(x.t.Context(), x.consent, "Ada", at(1, 0))
		},
		"ConsentWordings": func(t *store.Tx, x *filled) (any, error) { return t.ConsentWordings(x.t.Context()) },
		"NameClient": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.NameClient(x.t.Context(), &store.Visit{ID: x.held, Client: x.client})
		},
		"FirstTreated": func(t *store.Tx, x *filled) (any, error) { return t.FirstTreated(x.t.Context(), []string{x.client}) },
		"NeedRecords": func(t *store.Tx, x *filled) (any, error) {
			r, err := t.NeedRecords(x.t.Context(), []store.Visit{{ID: x.visit, Client: x.client}})
			return r, err
		},
	})
}

func TestACopyOfTheDatabaseDoesNotTellWhatCameOutOfATest(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	client := s.client("Guest")
	visit := s.booked(client, at(9, 0), s.seat()).ID
	secrets := []string{"patch_test", "reading", "reaction", "positive", "snapped", "Soft Wave", "inner_elbow", "blisters on the lip", "red behind the ear", "is allergic to nothing"}
	s.tx(func(tx *store.Tx) error {
		for _, f := range []store.TestFacts{
			{What: store.PatchPutOn, Product: "Soft Wave", Place: "inner_elbow"},
			{What: store.PatchRead, Result: "positive", Words: "red behind the ear"},
			{What: store.StrandMade, Product: "Soft Wave", Result: "snapped"},
			{What: store.Reaction, Words: "blisters on the lip"},
		} {
			n, err := tx.AddTestNote(t.Context(), store.TestNote{Client: client, Noted: at(1, 0), TestFacts: f})
			require.NoError(t, err)
			got, err := tx.TestNoteByID(t.Context(), n.ID)
			require.NoError(t, err)
			require.Equal(t, f, got.TestFacts)
		}
		o := override(visit)
		o.Reason = "she is allergic to nothing else"
		_, err := tx.AddNeedOverride(t.Context(), o)
		return err
	})
	for _, word := range secrets {
		require.False(t, s.dumpHolds([]byte(word)), word)
	}
	sizes := rows[int](s, `SELECT DISTINCT length(sealed) FROM test_record`)
	require.Len(t, sizes, 1, "not even the length tells")
	s.tx(func(tx *store.Tx) error {
		list, err := tx.NeedOverrides(t.Context(), visit)
		require.NoError(t, err)
		require.Equal(t, "she is allergic to nothing else", list[0].Reason)
		return nil
	})
}

func TestANoteThatWasMovedToSomebodyElseOrLacksItsKeySaysSo(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	a, b := s.client("Guest"), s.client("Other")
	s.tx(func(tx *store.Tx) error {
		_, err := tx.AddTestNote(t.Context(), patch(a, "Soft Wave"))
		require.NoError(t, err)
		err = tx.Exec(t.Context(), `UPDATE test_record SET client_id = $1`, b)
		require.NoError(t, err)
		list, err := tx.TestNotes(t.Context(), a, b)
		require.NoError(t, err)
		require.Len(t, list, 1)
		require.ErrorIs(t, list[0].Unreadable, store.ErrSealBroken)
		require.Empty(t, list[0].What)
		_, err = tx.TestNoteByID(t.Context(), list[0].ID)
		require.ErrorIs(t, err, store.ErrSealBroken)
		return nil
	})
	bare, err := store.Open(t.Context(), s.url, 2)
	require.NoError(t, err)
	t.Cleanup(bare.Close)
	require.NoError(t, bare.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
		_, err := tx.AddTestNote(t.Context(), patch(a, ""))
		require.ErrorIs(t, err, store.ErrNoHealthKey)
		list, err := tx.TestNotes(t.Context(), b)
		require.NoError(t, err)
		require.ErrorIs(t, list[0].Unreadable, store.ErrNoHealthKey)
		return nil
	}))
}

func TestOneOverrideCountsAtATime(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	visit := s.booked(s.client("Guest"), at(9, 0), s.seat()).ID
	var wait sync.WaitGroup
	var mu sync.Mutex
	var won int
	for range 6 {
		wait.Go(func() {
			err := s.try(func(tx *store.Tx) error { _, err := tx.AddNeedOverride(t.Context(), override(visit)); return err })
			mu.Lock()
			defer mu.Unlock()
			if err == nil {
				won++
				return
			}
			_, clash := errors.AsType[*scheduling.ConflictError](err)
			require.True(t, clash, "%v", err)
		})
	}
	wait.Wait()
	require.Equal(t, 1, won)
	s.tx(func(tx *store.Tx) error {
		require.NoError(t, tx.WithdrawNeedOverride(t.Context(), visit, "strand_test", "Ben", at(2, 0)))
		require.ErrorIs(t, tx.WithdrawNeedOverride(t.Context(), visit, "strand_test", "Ben", at(2, 0)), scheduling.ErrNotFound)
		_, err := tx.AddNeedOverride(t.Context(), override(visit))
		require.NoError(t, err)
		list, err := tx.NeedOverrides(t.Context(), visit)
		require.NoError(t, err)
		require.Len(t, list, 2)
		require.Equal(t, "Ben", list[0].WithdrawnBy)
		r, err := tx.NeedRecords(t.Context(), []store.Visit{{ID: visit}})
		require.NoError(t, err)
		require.Len(t, r.Overrides[visit], 1)
		return nil
	})
}

func TestWordingsGetTheNextVersionWhoeverIsFaster(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	var wait sync.WaitGroup
	for i := range 5 {
		wait.Go(func() {
			require.NoError(t, s.try(func(tx *store.Tx) error {
				_, err := tx.AddConsentWording(t.Context(), fmt.Sprint("wording ", i), at(1, 0))
				return err
			}))
		})
	}
	wait.Wait()
	s.tx(func(tx *store.Tx) error {
		list, err := tx.ConsentWordings(t.Context())
		require.NoError(t, err)
		for i, w := range list {
			require.Equal(t, i+2, w.Version)
		}
		require.Len(t, list, 5)
		return nil
	})
}

func TestTheRecordsOfSeveralVisitsAreReadAtOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	guest, other := s.client("Guest"), s.client("Other")
	v := s.booked(guest, at(9, 0), s.seat())
	later := s.booked(other, at(14, 0), s.seat())
	s.tx(func(tx *store.Tx) error {
		r, err := tx.NeedRecords(ctx, nil)
		require.NoError(t, err)
		require.Equal(t, 1, r.Wording)

		_, err = tx.AddTestNote(ctx, patch(guest, "Soft Wave"))
		require.NoError(t, err)
		_, err = tx.SetMinor(ctx, minor(other), changed)
		require.NoError(t, err)
		c, err := tx.AddConsent(ctx, consent(guest))
		require.NoError(t, err)
		by := at(3, 0)
		_, err = tx.AddMoney(ctx, store.MoneyEntry{Visit: v.ID, Kind: store.DepositAsked, Amount: 5000, By: &by}, at(1, 0))
		require.NoError(t, err)
		_, err = tx.AddMoney(ctx, store.MoneyEntry{Visit: later.ID, Kind: store.DepositAsked, Amount: 5000, By: &by}, at(1, 0))
		require.NoError(t, err)
		_, err = tx.AddMoney(ctx, store.MoneyEntry{Visit: later.ID, Kind: store.Received, Amount: 5000}, at(1, 0))
		require.NoError(t, err)
		to := v.ID
		carried, err := tx.AddMoney(ctx, store.MoneyEntry{Visit: later.ID, Kind: store.CarriedOver, Amount: 5000, ToVisit: &to}, at(1, 0))
		require.NoError(t, err)

		r, err = tx.NeedRecords(ctx, []store.Visit{*v, *later})
		require.NoError(t, err)
		require.Len(t, r.Tests[guest], 1)
		require.Equal(t, "Soft Wave", r.Tests[guest][0].Product)
		require.Equal(t, "Rosa Quist", r.Minors[other].Guardian)
		require.Equal(t, c.ID, r.Consents[guest][0].ID)
		require.Equal(t, []store.NeedService{{Chemical: true, Aftercare: true, Families: []string{"straightening"}}}, r.Services[v.ID])
		for _, id := range []string{v.ID, later.ID} { // one by one says the same
			d, err := tx.DepositOf(ctx, id)
			require.NoError(t, err)
			require.Equal(t, d.Settled, r.Deposits[id].Settled, id)
			require.Equal(t, d.AskedCents, r.Deposits[id].AskedCents, id)
		}
		require.True(t, r.Deposits[v.ID].Settled)
		_, err = tx.AddMoney(ctx, store.MoneyEntry{Visit: later.ID, Kind: store.TakenBack, Reverses: &carried.ID}, at(1, 0))
		require.NoError(t, err)
		r, err = tx.NeedRecords(ctx, []store.Visit{*v})
		require.NoError(t, err)
		require.False(t, r.Deposits[v.ID].Settled, "what was carried over was taken back")

		end := at(9, 30)
		v.State, v.FinishedAt = store.Finished, &end
		require.NoError(t, tx.SetVisitState(ctx, v))
		first, err := tx.FirstTreated(ctx, []string{guest, other})
		require.NoError(t, err)
		require.Len(t, first, 1)
		require.True(t, end.Equal(first[guest]))
		return nil
	})
}
