package store_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// product adds a product and returns its id.
func (s *salon) product(name, kind string) string {
	s.t.Helper()
	var p store.Product
	s.tx(func(t *store.Tx) (err error) {
		p, err = t.AddProduct(s.t.Context(), store.Product{Name: name, Kind: kind, Strength: "normal"})
		return err
	})
	return p.ID
}

// moves notes a movement of a product.
func (s *salon) moves(product string, kind store.MovementKind, ml int) {
	s.t.Helper()
	m := store.Movement{Product: product, Kind: kind, Change: ml}
	if kind == store.StockCounted {
		m.Change, m.Counted = 0, &ml
	}
	s.tx(func(t *store.Tx) error { _, err := t.AddMovement(s.t.Context(), m, time.Now()); return err })
}

// stock is what there is of a product.
func (s *salon) stock(product string) store.Stock {
	s.t.Helper()
	var list []store.Stock
	s.tx(func(t *store.Tx) (err error) { list, err = t.StockList(s.t.Context()); return err })
	i := slices.IndexFunc(list, func(x store.Stock) bool { return x.ID == product })
	require.GreaterOrEqual(s.t, i, 0)
	return list[i]
}

// taking books a visit that takes some of a product.
func (s *salon) taking(start time.Time, product string, ml int) string {
	s.t.Helper()
	v, blocks := s.only(s.client("Guest"), s.ada, start, start.Add(minutes(5)), 0)
	s.tx(func(t *store.Tx) error {
		if err := t.InsertVisit(s.t.Context(), v, blocks); err != nil {
			return err
		}
		return t.SetVisitProducts(s.t.Context(), v.ID, []store.VisitProduct{{Product: product, ML: ml}})
	})
	return v.ID
}

func (s *salon) becomes(visit string, state store.VisitState) {
	s.t.Helper()
	s.tx(func(t *store.Tx) error {
		v, err := t.LockVisit(s.t.Context(), visit, 0)
		if err != nil {
			return err
		}
		v.State = state
		return t.SetVisitState(s.t.Context(), &v)
	})
}

func TestStockIsWhatCameLessWhatWent(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	p := s.product("Solution", "solution")
	require.Zero(t, s.stock(p).OnHand)
	s.moves(p, store.StockReceived, 1000)
	s.moves(p, store.StockWasted, -50)
	s.moves(p, store.StockUsed, -108)
	require.Equal(t, 842, s.stock(p).OnHand)
	s.moves(p, store.StockCounted, 800)
	require.Equal(t, 800, s.stock(p).OnHand, "what was counted goes before the books")
	s.moves(p, store.StockReceived, 500)
	require.Equal(t, 1300, s.stock(p).OnHand)
	s.moves(p, store.StockUsed, -1400)
	require.Equal(t, -100, s.stock(p).OnHand, "a fact is written down although the books do not know where it came from")
	var list []store.Movement
	s.tx(func(tx *store.Tx) (err error) { list, err = tx.Movements(t.Context(), p, "", 3); return err })
	require.Equal(t, []int{-1400, 500, -42}, []int{list[0].Change, list[1].Change, list[2].Change}, "newest first")
	require.Equal(t, 800, *list[2].Counted)
	s.tx(func(tx *store.Tx) (err error) { list, err = tx.Movements(t.Context(), p, list[2].ID, 10); return err })
	require.Len(t, list, 3)
	require.Equal(t, s.stock(p).OnHand, value[int](s, `SELECT sum(change_ml)::int FROM stock_movement WHERE product_id = $1`, p))
	require.ErrorIs(t, s.try(func(tx *store.Tx) error {
		_, err := tx.AddMovement(t.Context(), store.Movement{Product: "none", Kind: store.StockUsed, Change: -1}, time.Now())
		return err
	}), scheduling.ErrNotFound)
}

func TestTheFirstVisitThatCannotBeCoveredIsFound(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	p, other := s.product("Solution", "solution"), s.product("Neutralizer", "neutralizer")
	s.moves(p, store.StockReceived, 250)
	first := s.taking(at(9, 0), p, 100)
	third := s.taking(at(11, 0), p, 100)
	require.Nil(t, s.stock(p).Short)
	second := s.taking(at(10, 0), p, 100)
	x := s.stock(p)
	require.Equal(t, 300, x.Reserved)
	require.Equal(t, third, *x.Short, "in order of start, whoever booked first")
	require.True(t, x.ShortAt.Equal(at(11, 0)))
	short := func(id string) []string {
		var out []string
		s.tx(func(tx *store.Tx) error {
			list, err := tx.ShortFor(t.Context(), id)
			for _, x := range list {
				out = append(out, x.ID)
			}
			return err
		})
		return out
	}
	require.Empty(t, short(second))
	require.Equal(t, []string{p}, short(third))
	// A move takes what is reserved along, by itself.
	s.tx(func(tx *store.Tx) error {
		v, err := tx.LockVisit(t.Context(), first, 0)
		require.NoError(t, err)
		v.Start, v.End = at(12, 0), at(12, 5)
		return tx.ReplacePlan(t.Context(), &v, nil)
	})
	require.Equal(t, first, *s.stock(p).Short)
	// A visit that is off, pencilled or over reserves nothing.
	s.becomes(second, store.Cancelled)
	require.Nil(t, s.stock(p).Short)
	require.Equal(t, 200, s.stock(p).Reserved)
	held := s.hold(at(19, 0), s.seat(), at(8, 30)).ID
	s.tx(func(tx *store.Tx) error {
		return tx.SetVisitProducts(t.Context(), held, []store.VisitProduct{{Product: p, ML: 100}})
	})
	require.Equal(t, 200, s.stock(p).Reserved)
	require.Zero(t, s.stock(other).Reserved)
}

func TestWhatAVisitUsedIsTakenFromTheStockOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	p, other := s.product("Solution", "solution"), s.product("Solution, mild", "solution")
	s.moves(p, store.StockReceived, 1000)
	s.moves(other, store.StockReceived, 1000)
	v := s.taking(at(9, 0), p, 100)
	used := func(list map[string]int) {
		s.tx(func(tx *store.Tx) error { return tx.SetUsed(t.Context(), v, list, time.Now(), "Ada") })
	}
	for range 3 {
		used(map[string]int{p: 100})
		require.Equal(t, 900, s.stock(p).OnHand)
		require.Zero(t, s.stock(p).Reserved, "what was used is not reserved any more, whatever the state says")
	}
	used(map[string]int{p: 130})
	require.Equal(t, 870, s.stock(p).OnHand)
	used(map[string]int{p: 90, other: 20})
	require.Equal(t, 910, s.stock(p).OnHand)
	require.Equal(t, 980, s.stock(other).OnHand)
	used(nil)
	require.Equal(t, []int{1000, 1000}, []int{s.stock(p).OnHand, s.stock(other).OnHand})
	require.Equal(t, 6, value[int](s, `SELECT count(*)::int FROM stock_movement WHERE visit_id = $1`, v), "each change is a row of its own")
}

// slowStock walks through the open visits day by day and minute by minute.
func slowStock(onHand int, visits map[string]struct {
	start time.Time
	ml    int
}) (reserved int, short string) {
	left := onHand
	for day := range 6 {
		for minute := range 1440 {
			now := at(0, 0).AddDate(0, 0, day).Add(minutes(minute))
			var due []string
			for id, v := range visits {
				if v.start.Equal(now) && v.ml > 0 {
					due = append(due, id)
				}
			}
			slices.Sort(due)
			for _, id := range due {
				reserved += visits[id].ml
				if left -= visits[id].ml; left < 0 && short == "" {
					short = id
				}
			}
		}
	}
	return reserved, short
}

func TestEnoughUntilAgreesWithAWalkThroughTheDays(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	s := newSalon(t, 4)
	products := []string{s.product("Solution", "solution"), s.product("Neutralizer", "neutralizer")}
	states := []store.VisitState{store.Booked, store.Booked, store.Arrived, store.UnderWay, store.Finished, store.Cancelled, store.Missed}
	client := s.client("Guest")
	for round := range 25 {
		for _, q := range []string{`DELETE FROM stock_movement`, `DELETE FROM visit_product`, `DELETE FROM visit`, `UPDATE product SET on_hand_ml = 0`} {
			_, err := s.db.Exec(t.Context(), q+` WHERE salon_id = $1`, s.row.ID)
			require.NoError(t, err)
		}
		want := map[string]map[string]struct {
			start time.Time
			ml    int
		}{products[0]: {}, products[1]: {}}
		onHand := map[string]int{}
		s.tx(func(tx *store.Tx) error {
			for _, p := range products {
				for range r.IntN(4) {
					ml := r.IntN(500)
					onHand[p] += ml
					_, err := tx.AddMovement(t.Context(), store.Movement{Product: p, Kind: store.StockReceived, Change: ml}, time.Now())
					require.NoError(t, err)
				}
			}
			for range r.IntN(14) {
				start := at(9, 0).AddDate(0, 0, r.IntN(5)).Add(minutes(10 * r.IntN(3)))
				state := states[r.IntN(len(states))]
				v := &store.Visit{ID: store.NewID(), Start: start, End: start.Add(minutes(10))}
				require.NoError(t, tx.Exec(t.Context(), `INSERT INTO visit (salon_id, visit_id, client_id, title, state, starts_at, ends_at, chair_id)
					VALUES ($1, $2, nullif($3, ''), 'x', $4, $5, $6, $7)`, s.row.ID, v.ID, map[bool]string{true: client}[state == store.Finished], state, v.Start, v.End, s.chairs[0]))
				var list []store.VisitProduct
				used := map[string]int{}
				for _, p := range products {
					ml := r.IntN(200)
					if ml == 0 {
						continue
					}
					list = append(list, store.VisitProduct{Product: p, ML: ml})
					left := ml
					if r.IntN(6) == 0 { // the card said so before it was over
						used[p] = r.IntN(250)
						onHand[p] -= used[p]
						left = max(0, ml-used[p])
					}
					if state == store.Booked || state == store.Arrived || state == store.UnderWay {
						want[p][v.ID] = struct {
							start time.Time
							ml    int
						}{start, left}
					}
				}
				require.NoError(t, tx.SetVisitProducts(t.Context(), v.ID, list))
				require.NoError(t, tx.SetUsed(t.Context(), v.ID, used, time.Now(), ""))
			}
			return nil
		})
		for _, p := range products {
			x := s.stock(p)
			reserved, short := slowStock(onHand[p], want[p])
			require.Equal(t, onHand[p], x.OnHand, "seed %d round %d", seed, round)
			require.Equal(t, reserved, x.Reserved, "seed %d round %d", seed, round)
			got := ""
			if x.Short != nil {
				got = *x.Short
			}
			require.Equal(t, short, got, "seed %d round %d", seed, round)
		}
	}
}

func TestOfManyWhoCountAtOnceNobodyCountsTwice(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	p := s.product("Solution", "solution")
	var all sync.WaitGroup
	errs := make([]error, 8)
	for i := range errs {
		all.Go(func() {
			counted := 500
			errs[i] = s.try(func(t *store.Tx) error {
				_, err := t.AddMovement(s.t.Context(), store.Movement{Product: p, Kind: store.StockCounted, Counted: &counted}, time.Now())
				return err
			})
		})
	}
	all.Wait()
	for _, err := range errs {
		require.NoError(t, err)
	}
	require.Equal(t, 500, s.stock(p).OnHand)
}

func TestAProductIsThereOnceInEachStrength(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	add := func(p store.Product) (store.Product, error) {
		err := s.try(func(tx *store.Tx) (err error) { p, err = tx.AddProduct(ctx, p); return err })
		return p, err
	}
	normal, err := add(store.Product{Name: "Solution", Kind: "solution", Strength: "normal", Facts: json.RawMessage(`{"ph": 9}`)})
	require.NoError(t, err)
	mild, err := add(store.Product{Name: "Solution", Kind: "solution", Strength: "mild"})
	require.NoError(t, err)
	var bad *scheduling.InvalidError
	_, err = add(store.Product{Name: "SOLUTION", Kind: "solution", Strength: "Normal"})
	require.ErrorAs(t, err, &bad)
	require.Equal(t, "name", bad.Field)

	update := func(p store.Product) (store.Product, error) {
		err := s.try(func(tx *store.Tx) (err error) { p, err = tx.UpdateProduct(ctx, p); return err })
		return p, err
	}
	mild.Name = "Lotion"
	mild, err = update(mild)
	require.NoError(t, err)
	require.EqualValues(t, 2, mild.Version)
	mild.Version = 1
	_, err = update(mild)
	require.ErrorIs(t, err, scheduling.ErrStale)
	twin, err := add(store.Product{Name: "Twin", Kind: "solution", Strength: "Normal"})
	require.NoError(t, err)
	twin.Name = "solution"
	_, err = update(twin)
	require.ErrorAs(t, err, &bad)

	retire := func(id string, version int64) error {
		return s.try(func(tx *store.Tx) error { return tx.RetireProduct(ctx, id, version) })
	}
	visit := s.taking(at(9, 0), normal.ID, 10)
	var clash *scheduling.ConflictError
	require.ErrorAs(t, retire(normal.ID, 1), &clash)
	require.Contains(t, clash.Reason, "booked or pencilled visit")
	s.becomes(visit, store.Cancelled)
	s.tx(func(tx *store.Tx) error {
		return tx.SetPricing(ctx, s.service.ID, 1, json.RawMessage(`{"by": "fixed"}`), []store.ServiceProduct{{Product: normal.ID}})
	})
	require.ErrorAs(t, retire(normal.ID, 1), &clash)
	require.Contains(t, clash.Reason, "service")
	s.tx(func(tx *store.Tx) error {
		row, err := tx.ServiceByID(ctx, s.service.ID)
		require.Equal(t, []store.ServiceProduct{{Product: normal.ID}}, row.Products)
		require.JSONEq(t, `{"by": "fixed"}`, string(row.PriceRule))
		require.NoError(t, err)
		_, err = tx.UpdateService(ctx, row.Service, row.Row)
		return err
	})
	require.ErrorIs(t, retire(normal.ID, 2), scheduling.ErrStale)
	require.ErrorIs(t, retire("none", 1), scheduling.ErrNotFound)
	require.NoError(t, retire(normal.ID, 1), "the new version of the service does not take it")
	_, err = add(store.Product{Name: "Solution", Kind: "solution", Strength: "normal"})
	require.NoError(t, err, "its place is free again")
	var names []string
	s.tx(func(tx *store.Tx) error {
		list, err := tx.Products(ctx)
		for _, p := range list {
			names = append(names, fmt.Sprint(p.Name, " ", p.Strength))
		}
		return err
	})
	require.Equal(t, "Lotion mild, Solution normal, Twin Normal", strings.Join(names, ", "))
}

func BenchmarkStock(b *testing.B) {
	s := newSalon(b, 4)
	p := s.product("Solution", "solution")
	s.tx(func(t *store.Tx) error { // two years of ten visits a day, and four weeks to come
		return t.Exec(b.Context(), `WITH v AS (
				INSERT INTO visit (salon_id, visit_id, title, state, starts_at, ends_at, chair_id)
				SELECT $1, 'v' || i, 'x', CASE WHEN i < 7000 THEN 'finished' ELSE 'booked' END, now() + (i - 7000) * interval '2 hours',
					now() + (i - 7000) * interval '2 hours' + interval '1 hour', $2 FROM generate_series(1, 7280) i RETURNING visit_id, state)
			, p AS (INSERT INTO visit_product (salon_id, visit_id, ordinal, service_ordinal, product_id, ml) SELECT $1, visit_id, 0, 0, $3, 100 FROM v)
			INSERT INTO stock_movement (salon_id, movement_id, product_id, kind, change_ml, visit_id)
			SELECT $1, 'm' || visit_id, $3, 'used', -100, visit_id FROM v WHERE state = 'finished'`, s.row.ID, s.chairs[0], p)
	})
	for b.Loop() {
		require.NoError(b, s.store.Read(b.Context(), s.row.ID, func(t *store.Tx) error { _, err := t.StockList(b.Context()); return err }))
	}
}
