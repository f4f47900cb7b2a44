package store_test

import (
	"cmp"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// zone is that of the salons of these tests.
func zone(t testing.TB) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	return loc
}

// around are the days before and after that of a time.
func around(t time.Time, before, after int) openings.DateRange {
	d := date.NewAt(t)
	return openings.DateRange{First: d.Add(date.PeriodOfDays(-before)), Last: d.Add(date.PeriodOfDays(after))}
}

// free asks a process for the salon's free time.
func (s *salon) free(st *store.Store, days openings.DateRange, now time.Time, except ...string) (f store.FreeTime) {
	s.t.Helper()
	require.NoError(s.t, st.Read(s.t.Context(), s.row.ID, func(t *store.Tx) (err error) {
		f, err = t.FreeTime(s.t.Context(), zone(s.t), days, now, except...)
		return err
	}))
	return f
}

// requireSameShop holds the shop that a booker is given by st, which may know the hours
// already, against the tables.
func (s *salon) requireSameShop(st *store.Store, days openings.DateRange, now time.Time, except ...string) {
	s.t.Helper()
	h := openings.NewHorizon(zone(s.t), days)
	var got, want openings.Shop
	require.NoError(s.t, st.InTx(s.t.Context(), s.row.ID, func(tx *store.Tx) (err error) {
		if got, err = tx.LoadShop(s.t.Context(), h, now, except...); err != nil {
			return err
		}
		want, err = store.LoadShopAnew(s.t.Context(), tx, h, now, except...)
		return err
	}))
	require.Equal(s.t, inOrder(want), inOrder(got))
}

// requireFresh holds free time against what the tables hold now: everything in
// the shop, the names, and the starts of a visit over all of it.
func (s *salon) requireFresh(f store.FreeTime, now time.Time, except ...string) {
	s.t.Helper()
	var want openings.Shop
	names := map[string]string{}
	s.tx(func(t *store.Tx) (err error) {
		if want, err = store.LoadShopAnew(s.t.Context(), t, f.Horizon, now, except...); err != nil {
			return err
		}
		stations, err := t.Stations(s.t.Context())
		require.NoError(s.t, err)
		staff, err := t.StaffList(s.t.Context())
		require.NoError(s.t, err)
		for _, p := range staff {
			stations = append(stations, p.Unit)
		}
		for _, u := range stations {
			if u.Active {
				names[u.ID] = u.Name
			}
		}
		return nil
	})
	got := f.Snapshot.Shop()
	require.Equal(s.t, names, f.Names)
	require.Equal(s.t, inOrder(want), inOrder(got))
	fresh, err := openings.NewSnapshot(want)
	require.NoError(s.t, err)
	require.Equal(s.t, s.starts(fresh), s.starts(f.Snapshot))
}

// inOrder sorts what has no order of its own.
func inOrder(shop openings.Shop) openings.Shop {
	shop.Units = slices.Clone(shop.Units)
	for i := range shop.Units {
		u := &shop.Units[i]
		u.Breaks, u.Bookings = slices.Clone(u.Breaks), slices.Clone(u.Bookings)
		slices.SortFunc(u.Breaks, func(a, b openings.Span) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To)) })
		slices.SortFunc(u.Bookings, func(a, b openings.Booking) int { return cmp.Compare(a.From, b.From) })
		if len(u.Breaks) == 0 {
			u.Breaks = nil
		}
		if len(u.Bookings) == 0 {
			u.Bookings = nil
		}
	}
	return shop
}

// starts are those of a visit like those of the salon.
func (s *salon) starts(snap *openings.Snapshot) []openings.StartRange {
	s.t.Helper()
	plan, err := openings.Compile(openings.VisitSpec{
		Roles: []openings.Role{{Name: "lead", Need: openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}},
			{Name: "chair", Need: openings.Need{Kinds: []openings.UnitKind{openings.Chair}}}},
		Phases: []openings.Phase{{Name: "talk", Minutes: 20, Roles: []string{"lead", "chair"}},
			{Name: "wash", Minutes: 10, Roles: []string{"chair"}, Pool: []openings.Need{{Kinds: []openings.UnitKind{openings.Basin}}}},
			{Name: "cut", Minutes: 20, Roles: []string{"lead", "chair"}}},
		Gaps: []openings.Gap{{Max: 5, Hold: []string{"chair"}}, {Max: 25, Hold: []string{"chair"}}},
	}, snap)
	require.NoError(s.t, err)
	set, err := plan.Search(snap, openings.Query{From: 0, To: snap.Shop().Minutes, Grid: 1})
	require.NoError(s.t, err)
	return set.Ranges()
}

// errUndone rolls a transaction back.
var errUndone = errors.New("undone")

// writer changes a salon at random through one process.
type writer struct {
	*salon
	r        *rand.Rand
	now      time.Time
	visits   []string
	pencils  []string
	absences []string
	closures []string
	stations int
}

// when is a time within a few days of soon, on the minute.
func (w *writer) when() time.Time { return at(w.r.IntN(72)-12, w.r.IntN(60)) }

func (w *writer) units() []string {
	return []string{w.ada, w.ben, w.mina, w.chairs[0], w.chairs[1], w.basin}
}

// change does one thing and says what.
func (w *writer) change() string {
	w.t.Helper()
	changes := []struct {
		name string
		do   func(t *store.Tx) error
	}{
		{"book", w.book}, {"book", w.book}, {"book", w.book}, {"pencil", w.pencil}, {"pencil", w.pencil},
		{"move", w.move}, {"move", w.move}, {"cut", w.cut}, {"cut", w.cut},
		{"cancel", w.cancel}, {"confirm or move the end of a pencilled one", w.confirm}, {"lapse", w.lapse},
		{"absence", w.absence}, {"no absence", w.noAbsence}, {"closure", w.closure}, {"no closure", w.noClosure},
		{"hours", w.hours}, {"weeks by date", w.weeks}, {"a single day", w.day}, {"station", w.station}, {"change a station", w.changeStation},
		{"book in a savepoint that is undone", w.undoneSavepoint},
	}
	x := changes[w.r.IntN(len(changes))]
	undone := w.r.IntN(8) == 0
	before := *w
	err := w.try(func(t *store.Tx) error {
		err := x.do(t)
		if undone && err == nil {
			err = errUndone
		}
		return err
	})
	if err != nil {
		before.r, before.now = w.r, w.now
		*w = before
		require.True(w.t, lost(err) || errors.Is(err, errUndone), "%s: %v", x.name, err)
	}
	return fmt.Sprint(x.name, " ", err)
}

func (w *writer) insert(t *store.Tx, until *time.Time) error {
	v, blocks := w.visit("", w.when(), seat{w.units()[w.r.IntN(2)], w.chairs[w.r.IntN(2)], w.basin})
	if w.r.IntN(3) == 0 {
		from := w.when()
		v, blocks = w.only("", w.units()[w.r.IntN(6)], from, from.Add(minutes(1+w.r.IntN(200))), w.r.IntN(20))
	}
	v.HeldUntil = until
	err := t.InsertVisit(w.t.Context(), v, blocks)
	w.add(&w.visits, v)
	return err
}

func (w *writer) add(list *[]string, v *store.Visit) {
	*list = append(slices.Clone(*list), v.ID)
}

func (w *writer) book(t *store.Tx) error {
	return w.insert(t, nil)
}

func (w *writer) pencil(t *store.Tx) error {
	until := w.now.Add(time.Duration(w.r.IntN(3600)) * time.Second).Truncate(time.Microsecond)
	err := w.insert(t, &until)
	if err == nil {
		w.pencils = append(slices.Clone(w.pencils), w.visits[len(w.visits)-1])
	}
	return err
}

func (w *writer) undoneSavepoint(t *store.Tx) error {
	kept := w.visits
	err := t.Savepoint(w.t.Context(), func(t *store.Tx) error {
		return errors.Join(w.book(t), errUndone)
	})
	if w.visits = kept; !errors.Is(err, errUndone) || lost(err) {
		return err
	}
	return t.Savepoint(w.t.Context(), w.book)
}

func pick(r *rand.Rand, list []string) string {
	if len(list) == 0 {
		return ""
	}
	return list[r.IntN(len(list))]
}

func (w *writer) move(t *store.Tx) error {
	id := pick(w.r, w.visits)
	if id == "" {
		return nil
	}
	v, err := t.VisitByID(w.t.Context(), id)
	if err != nil || v.State != store.Booked {
		return err
	}
	next, blocks := w.visit("", w.when(), seat{w.units()[w.r.IntN(2)], w.chairs[w.r.IntN(2)], w.basin})
	next.ID, next.Version = v.ID, v.Version
	return t.ReplacePlan(w.t.Context(), next, blocks)
}

func (w *writer) cut(t *store.Tx) error {
	_, err := t.CutBlocks(w.t.Context(), pick(w.r, w.visits), w.when())
	return err
}

func (w *writer) cancel(t *store.Tx) error {
	id := pick(w.r, w.visits)
	if id == "" {
		return nil
	}
	v, err := t.VisitByID(w.t.Context(), id)
	if err != nil {
		return err
	}
	v.State = store.Cancelled
	return t.SetVisitState(w.t.Context(), &v)
}

// confirm changes a pencilled visit whose blocks stay as they are.
func (w *writer) confirm(t *store.Tx) error {
	id := pick(w.r, w.pencils)
	switch w.r.IntN(3) {
	case 0:
		return t.Exec(w.t.Context(), `UPDATE visit SET state = 'booked' WHERE visit_id = $1 AND state = 'held'`, id)
	case 1:
		return t.Exec(w.t.Context(), `UPDATE visit SET state = 'held' WHERE visit_id = $1 AND state = 'booked'`, id)
	}
	return t.Exec(w.t.Context(), `UPDATE visit SET held_until = $2 WHERE visit_id = $1`, id, w.now.Add(time.Duration(w.r.IntN(7200)-3600)*time.Second))
}

func (w *writer) lapse(t *store.Tx) error { return t.LapseHeld(w.t.Context(), w.now) }

func (w *writer) absence(t *store.Tx) error {
	from := w.when()
	a, err := t.AddAbsence(w.t.Context(), store.Absence{Unit: w.units()[w.r.IntN(6)], From: from, To: from.Add(minutes(1 + w.r.IntN(2000)))})
	w.absences = append(slices.Clone(w.absences), a.ID)
	return err
}

func (w *writer) noAbsence(t *store.Tx) error {
	if len(w.absences) == 0 {
		return nil
	}
	id := w.absences[0]
	w.absences = w.absences[1:]
	return t.DeleteAbsence(w.t.Context(), id)
}

func (w *writer) closure(t *store.Tx) error {
	d := date.NewAt(w.when())
	c, err := t.AddClosure(w.t.Context(), store.Closure{First: d, Last: d})
	w.closures = append(slices.Clone(w.closures), c.ID)
	return err
}

func (w *writer) noClosure(t *store.Tx) error {
	if len(w.closures) == 0 {
		return nil
	}
	id := w.closures[0]
	w.closures = w.closures[1:]
	return t.DeleteClosure(w.t.Context(), id)
}

func (w *writer) hours(t *store.Tx) error {
	var open, work []store.Window
	for d := 1; d <= 7; d++ {
		from := 60 * w.r.IntN(12)
		open = append(open, store.Window{Weekday: d, From: from, To: from + 60*(8+w.r.IntN(8))})
		work = append(work, store.Window{Weekday: d, Kind: "work", From: from, To: from + 600}, store.Window{Weekday: d, Kind: "break", From: from + 200, To: from + 230})
	}
	return errors.Join(t.SetOpeningHours(w.t.Context(), open), t.SetStaffHours(w.t.Context(), w.units()[w.r.IntN(3)], work))
}

// weeks notes, changes or takes back weeks by date of somebody.
func (w *writer) weeks(t *store.Tx) error {
	ctx, staff := w.t.Context(), w.units()[w.r.IntN(3)]
	list, err := t.StaffRotas(ctx, staff, date.New(2000, 1, 1))
	if err != nil {
		return err
	}
	from := 60 * w.r.IntN(12)
	r := store.StaffRota{Staff: staff, First: date.NewAt(w.when()), Weeks: [][]store.Window{everyDay("work", from, from+600), everyDay("break", from, from+30)}}
	switch {
	case len(list) == 0:
		_, err = t.AddStaffRota(ctx, r)
	case w.r.IntN(2) == 0:
		r.ID, r.Version = list[0].ID, list[0].Version
		_, err = t.SetStaffRota(ctx, r)
	default:
		err = t.DeleteStaffRota(ctx, staff, list[0].ID)
	}
	return err
}

// opening notes, changes or takes back opening hours of one date.
func (w *writer) opening(t *store.Tx) error {
	ctx := w.t.Context()
	d := store.OpeningDay{Date: date.NewAt(w.when())}
	if w.r.IntN(3) > 0 {
		d.Windows = []store.Window{{Kind: "open", From: 60 * w.r.IntN(12), To: 720 + 60*w.r.IntN(12)}}
	}
	old, err := t.OpeningDayOn(ctx, d.Date)
	switch {
	case errors.Is(err, scheduling.ErrNotFound):
		_, err = t.AddOpeningDay(ctx, d)
	case err == nil && w.r.IntN(2) == 0:
		d.Version = old.Version
		_, err = t.SetOpeningDay(ctx, d)
	case err == nil:
		err = t.DeleteOpeningDay(ctx, d.Date)
	}
	return err
}

// day notes, changes or takes back a single day of somebody, or of the salon.
func (w *writer) day(t *store.Tx) error {
	ctx := w.t.Context()
	if w.r.IntN(3) == 0 {
		return w.opening(t)
	}
	d := store.StaffDay{Staff: w.units()[w.r.IntN(3)], Date: date.NewAt(w.when())}
	if w.r.IntN(2) == 0 {
		d.Windows = []store.Window{{Kind: "work", From: 60 * w.r.IntN(12), To: 720 + 60*w.r.IntN(12)}}
	}
	old, err := t.StaffDayOn(ctx, d.Staff, d.Date)
	switch {
	case errors.Is(err, scheduling.ErrNotFound):
		_, err = t.AddStaffDay(ctx, d)
	case err == nil && w.r.IntN(2) == 0:
		d.Version = old.Version
		_, err = t.SetStaffDay(ctx, d)
	case err == nil:
		err = t.DeleteStaffDay(ctx, d.Staff, d.Date)
	}
	return err
}

func (w *writer) station(t *store.Tx) error {
	w.stations++
	_, err := t.AddStation(w.t.Context(), store.Unit{Kind: "chair", Name: fmt.Sprint("more ", w.stations), Changeover: 3})
	return err
}

func (w *writer) changeStation(t *store.Tx) error {
	list, err := t.Stations(w.t.Context())
	if err != nil {
		return err
	}
	u := list[w.r.IntN(len(list))]
	u.Name, u.Active = u.Name+"'", !u.Active || w.r.IntN(3) > 0
	if len(u.Name) > 60 {
		u.Name = "short"
	}
	_, err = t.UpdateStation(w.t.Context(), u)
	return err
}

// TestWhatOneProcessCommitsIsInTheNextAnswerOfAnother changes a salon at random
// through one process, lets pencilled visits lapse by the clock alone, and asks
// another after each change.
func TestWhatOneProcessCommitsIsInTheNextAnswerOfAnother(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	defer func() {
		if t.Failed() {
			t.Logf("seed %d", seed)
		}
	}()
	s := newSalon(t, 4).opened()
	other := open(t, s.url, 4)
	w := &writer{salon: s, r: rand.New(rand.NewPCG(seed, 0)), now: time.Now().UTC()}
	reads, shared := 0, 0
	for n := range 250 {
		what := ""
		if n%2 == 0 {
			for range 1 + w.r.IntN(3) { // what lies days apart comes together, too
				what += w.change() + "; "
			}
		} else {
			w.now = w.now.Add(time.Duration(w.r.IntN(1200)-200) * time.Second)
		}
		days, except := around(soon, w.r.IntN(3), w.r.IntN(4)), ""
		switch w.r.IntN(10) {
		case 0:
			days = around(soon.AddDate(0, 0, 190), 0, 2) // the clocks of the zone are not those of today
		case 1:
			days = around(soon.AddDate(1, 0, 0), 0, 2) // not kept
		case 2, 3:
			except = pick(w.r, w.visits)
		}
		before, _ := other.Kept(s.row.ID)
		f := s.free(other, days, w.now, except, "")
		require.False(t, f.Days.First.After(days.First) || f.Days.Last.Before(days.Last))
		s.requireFresh(f, w.now, except)
		s.requireSameShop(other, days, w.now, except)
		s.requireIndexed(n, what)
		reads++
		if f.Snapshot == before.Snapshot {
			shared++
		}
	}
	require.Greater(t, shared, reads/8, "some comes from memory; about a quarter to a third by chance")
}

// TestAWriterThatIsUnderWayIsSeenOnceItHasCommitted reads free time while
// transactions that began earlier are still open, so that later ones commit
// before them.
func TestAWriterThatIsUnderWayIsSeenOnceItHasCommitted(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8).opened()
	other, days, now := open(t, s.url, 4), around(soon, 1, 1), time.Now()
	bookings := func() (n int) {
		f := s.free(other, days, now)
		s.requireFresh(f, now)
		for _, u := range f.Snapshot.Shop().Units {
			n += len(u.Bookings)
		}
		return n
	}
	for hour, keep := range map[int]bool{9: true, 17: false} {
		before := bookings()
		inside, end := make(chan struct{}), make(chan struct{})
		done := make(chan error, 1)
		go func() {
			done <- s.try(func(tx *store.Tx) error {
				if err := tx.Exec(t.Context(), `SELECT pg_current_xact_id()`); err != nil { // takes its number
					return err
				}
				v, blocks := s.visit("", at(hour, 0), s.seat())
				err := tx.Savepoint(t.Context(), func(tx *store.Tx) error { return tx.InsertVisit(t.Context(), v, blocks) })
				close(inside)
				<-end
				if err == nil && !keep {
					err = errUndone
				}
				return err
			})
		}()
		<-inside
		require.Equal(t, before, bookings())
		later, err := s.book("", at(14, 0), s.seat()) // a higher number that ends first
		require.NoError(t, err)
		require.Equal(t, before+4, bookings())
		later.State = store.Cancelled
		s.tx(func(tx *store.Tx) error { return tx.SetVisitState(t.Context(), later) })
		require.Equal(t, before, bookings())
		close(end)
		if err = <-done; keep {
			require.NoError(t, err)
			require.Equal(t, before+4, bookings())
			continue
		}
		require.ErrorIs(t, err, errUndone)
		require.Equal(t, before, bookings())
	}
}

// TestEverybodyReadsTheirOwnWritesThroughAnotherProcess lets many book and
// cancel at once, each asking the other process after each commit.
func TestEverybodyReadsTheirOwnWritesThroughAnotherProcess(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8).opened()
	other := open(t, s.url, 8)
	warming := other.KeepWarm(time.Now)
	defer warming.Stop()
	loc, days := zone(t), around(soon, 1, 1)
	booked := func(unit string, start time.Time) (yes bool, err error) {
		err = other.Read(t.Context(), s.row.ID, func(tx *store.Tx) error {
			f, err := tx.FreeTime(t.Context(), loc, days, time.Now())
			if err != nil {
				return err
			}
			for _, u := range f.Snapshot.Shop().Units {
				yes = yes || u.ID == unit && slices.ContainsFunc(u.Bookings, func(b openings.Booking) bool { return b.From == f.Minute(start) })
			}
			return nil
		})
		return yes, err
	}
	one := func(n, round int) error {
		unit, start := []string{s.ada, s.ben, s.mina, s.chairs[0], s.chairs[1], s.basin}[n%6], at(8+n/6, round)
		v, blocks := s.only("", unit, start, start.Add(time.Minute), 0)
		if err := s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error { return tx.InsertVisit(t.Context(), v, blocks) }); err != nil {
			return err
		}
		if yes, err := booked(unit, start); err != nil || !yes {
			return fmt.Errorf("booked but not seen: %w", errors.Join(err, errUndone))
		}
		v.State = store.Cancelled
		if err := s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error { return tx.SetVisitState(t.Context(), v) }); err != nil {
			return err
		}
		if yes, err := booked(unit, start); err != nil || yes {
			return fmt.Errorf("cancelled but seen: %w", errors.Join(err, errUndone))
		}
		return nil
	}
	errs := make([]error, 12)
	var all sync.WaitGroup
	for n := range errs {
		all.Go(func() {
			for round := 0; round < 25 && errs[n] == nil; round++ {
				errs[n] = one(n, round)
			}
		})
	}
	all.Wait()
	require.NoError(t, errors.Join(errs...))
}
