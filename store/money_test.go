package store_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// notes writes a money fact and returns its id.
func (s *salon) notes(e store.MoneyEntry) string {
	s.t.Helper()
	s.tx(func(t *store.Tx) (err error) { e, err = t.AddMoney(s.t.Context(), e, time.Now()); return err })
	return e.ID
}

func (s *salon) balance(visit string) store.Balance {
	s.t.Helper()
	var list []store.MoneyEntry
	s.tx(func(t *store.Tx) (err error) { list, err = t.MoneyOf(s.t.Context(), visit); return err })
	return store.NewBalance(visit, list)
}

func (s *salon) deposit(visit string) store.Deposit {
	s.t.Helper()
	var d store.Deposit
	s.tx(func(t *store.Tx) (err error) { d, err = t.DepositOf(s.t.Context(), visit); return err })
	return d
}

func TestADepositIsSettledWhenItIsThereOrWaived(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat()).ID
	require.Equal(t, store.Deposit{}, s.deposit(v))
	by := at(8, 0).AddDate(0, 0, -2)
	asked := s.notes(store.MoneyEntry{Visit: v, Kind: store.DepositAsked, Amount: 5000, By: &by})
	d := s.deposit(v)
	require.EqualValues(t, 5000, d.AskedCents)
	require.True(t, d.By.Equal(by))
	require.False(t, d.Settled)
	s.notes(store.MoneyEntry{Visit: v, Kind: store.Received, Amount: 4999, How: "cash"})
	require.False(t, s.deposit(v).Settled)
	cent := s.notes(store.MoneyEntry{Visit: v, Kind: store.Received, Amount: 1, How: "card"})
	require.True(t, s.deposit(v).Settled)
	s.notes(store.MoneyEntry{Visit: v, Kind: store.TakenBack, Reverses: &cent})
	require.False(t, s.deposit(v).Settled)
	waived := s.notes(store.MoneyEntry{Visit: v, Kind: store.Waived, Who: "Ada"})
	require.True(t, s.deposit(v).Settled)
	s.notes(store.MoneyEntry{Visit: v, Kind: store.TakenBack, Reverses: &waived})
	s.notes(store.MoneyEntry{Visit: v, Kind: store.TakenBack, Reverses: &asked})
	require.Equal(t, store.Deposit{}, s.deposit(v))
	var clash *scheduling.ConflictError
	require.ErrorAs(t, s.try(func(tx *store.Tx) error {
		_, err := tx.AddMoney(t.Context(), store.MoneyEntry{Visit: v, Kind: store.TakenBack, Reverses: &asked}, time.Now())
		return err
	}), &clash, "an entry is taken back once")
}

func TestMoneyCarriedOverIsMissingHereAndThereOnTheOtherVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	client := s.client("Guest")
	v, other := s.booked(client, at(9, 0), s.seat()).ID, s.booked(client, at(13, 0), s.seat()).ID
	s.notes(store.MoneyEntry{Visit: other, Kind: store.DepositAsked, Amount: 3000})
	s.notes(store.MoneyEntry{Visit: v, Kind: store.Received, Amount: 5000, How: "cash"})
	carried := s.notes(store.MoneyEntry{Visit: v, Kind: store.CarriedOver, Amount: 3000, ToVisit: &other})
	s.notes(store.MoneyEntry{Visit: v, Kind: store.Returned, Amount: 500})
	s.notes(store.MoneyEntry{Visit: v, Kind: store.Kept, Amount: 1000})
	require.Equal(t, []int64{5000, 3500, 1000, 500}, []int64{s.balance(v).In, s.balance(v).Out, s.balance(v).Forfeit, s.balance(v).Left()})
	require.EqualValues(t, 3000, s.balance(other).Left())
	require.True(t, s.deposit(other).Settled)
	s.notes(store.MoneyEntry{Visit: v, Kind: store.TakenBack, Reverses: &carried})
	require.EqualValues(t, 3500, s.balance(v).Left())
	require.Zero(t, s.balance(other).Left())
	require.False(t, s.deposit(other).Settled)
	s.notes(store.MoneyEntry{Visit: v, Kind: store.Goodwill, Minutes: 15, Note: "waited"})
	s.notes(store.MoneyEntry{Visit: v, Kind: store.Voucher, Amount: 2000, Note: "birthday"})
	require.EqualValues(t, 3500, s.balance(v).Left(), "neither goodwill nor a voucher is money that came in")
}

func TestAPriceThatChangedIsTheSumOfTheServices(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v, blocks := s.visit(s.client("Guest"), at(9, 0), s.seat())
	v.Services = append(v.Services, v.Services[0])
	v.PriceCents = 200
	s.tx(func(tx *store.Tx) error { return tx.InsertVisit(t.Context(), v, blocks) })
	s.tx(func(tx *store.Tx) error { return tx.SetPrices(t.Context(), v, []int64{150, 40}) })
	require.EqualValues(t, 190, v.PriceCents)
	s.tx(func(tx *store.Tx) error {
		got, err := tx.VisitByID(t.Context(), v.ID)
		require.Equal(t, []int64{190, 150, 40}, []int64{got.PriceCents, got.Services[0].PriceCents, got.Services[1].PriceCents})
		require.Equal(t, v.Version, got.Version)
		return err
	})
	// A move keeps it.
	s.tx(func(tx *store.Tx) error {
		got, err := tx.LockVisit(t.Context(), v.ID, 0)
		require.NoError(t, err)
		return tx.ReplacePlan(t.Context(), &got, blocks)
	})
	s.tx(func(tx *store.Tx) error {
		got, err := tx.VisitByID(t.Context(), v.ID)
		require.Equal(t, []int64{190, 150}, []int64{got.PriceCents, got.Services[0].PriceCents})
		return err
	})
}

func TestWhoDidNotComeLastIsRemembered(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	client := s.client("Guest")
	missed := func() (m bool) {
		s.tx(func(tx *store.Tx) (err error) { m, err = tx.MissedLast(t.Context(), client); return err })
		return m
	}
	require.False(t, missed())
	first := s.booked(client, at(9, 0), s.seat()).ID
	require.False(t, missed())
	s.becomes(first, store.Missed)
	require.True(t, missed())
	off := s.booked(client, at(11, 0), s.seat()).ID
	s.becomes(off, store.Cancelled)
	require.True(t, missed(), "a visit that was cancelled says nothing")
	second := s.booked(client, at(13, 0), s.seat()).ID
	s.becomes(second, store.Finished)
	require.False(t, missed())
}

func TestAQuoteIsKeptAsItWasGiven(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	client := s.client("Guest")
	want := store.Quote{Client: &client, Request: json.RawMessage(`{"a": 1}`), Answer: json.RawMessage(`{"b": 2}`), TotalCents: 31000, DepositCents: 15500,
		ValidUntil: at(0, 0).UTC(), Created: at(-24, 0).UTC()}
	var second store.Quote
	s.tx(func(tx *store.Tx) (err error) {
		if want, err = tx.AddQuote(ctx, want); err != nil {
			return err
		}
		second = want
		second.ID = ""
		second, err = tx.AddQuote(ctx, second)
		return err
	})
	v := s.booked(client, at(9, 0), s.seat()).ID
	s.tx(func(tx *store.Tx) error {
		got, err := tx.QuoteByID(ctx, want.ID)
		require.NoError(t, err)
		got.ValidUntil, got.Created = got.ValidUntil.UTC(), got.Created.UTC()
		require.Equal(t, want, got)
		list, err := tx.QuotesOf(ctx, client)
		require.NoError(t, err)
		require.Equal(t, []string{second.ID, want.ID}, []string{list[0].ID, list[1].ID})
		_, err = tx.QuoteOfVisit(ctx, v)
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		require.NoError(t, tx.SetVisitQuote(ctx, v, want.ID))
		of, err := tx.QuoteOfVisit(ctx, v)
		require.Equal(t, want.ID, of.ID)
		_, gone := tx.QuoteByID(ctx, "none")
		require.ErrorIs(t, gone, scheduling.ErrNotFound)
		return err
	})
	lone := s.client("Lone")
	s.tx(func(tx *store.Tx) error {
		q := want
		q.ID, q.Client = "", &lone
		_, err := tx.AddQuote(ctx, q)
		require.NoError(t, err)
		return tx.DeleteClient(ctx, lone, 1)
	})
	require.Equal(t, 2, value[int](s, `SELECT count(*)::int FROM quote WHERE salon_id = $1`, s.row.ID), "quotes go with the client")
}
