package store_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
	"chairblock/store/storetest"
)

// soon is midnight of a day that is still to come, whole in any zone's minutes.
var soon = time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 0, 28)

// at is a time on that day.
func at(hour, minute int) time.Time {
	return soon.Add(time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute)
}

func minutes(n int) time.Duration { return time.Duration(n) * time.Minute }

// salon is a salon in a database of its own: two stylists, an assistant, two
// chairs and a basin.
type salon struct {
	t     testing.TB
	url   string
	store *store.Store
	db    *pgxpool.Pool // looks at tables behind the store's back
	row   store.Salon

	ada, ben, mina string // stylist, stylist, assistant
	chairs         []string
	basin          string
	service        store.ServiceRow
}

// newSalon makes a database with one salon; its store has conns connections.
func newSalon(t testing.TB, conns int32) *salon {
	t.Helper()
	return salonAt(t, storetest.URL(t), conns)
}

func salonAt(t testing.TB, url string, conns int32) *salon {
	t.Helper()
	s := &salon{t: t, url: url, store: open(t, url, conns)}
	s.connect()
	s.fill("Europe/Berlin")
	return s
}

// connect opens the look behind the store's back.
func (s *salon) connect() {
	s.t.Helper()
	var err error
	s.db, err = pgxpool.New(s.t.Context(), s.url)
	require.NoError(s.t, err)
	s.t.Cleanup(s.db.Close)
}

func open(t testing.TB, url string, conns int32) *store.Store {
	t.Helper()
	st, err := store.Open(t.Context(), url, conns)
	require.NoError(t, err)
	t.Cleanup(st.Close)
	st.SealWith(healthKeys(t, 1))
	return st
}

// second is another salon in the same database.
func (s *salon) second() *salon {
	s.t.Helper()
	other := &salon{t: s.t, url: s.url, store: s.store, db: s.db}
	other.fill("Europe/Berlin")
	return other
}

func (s *salon) fill(zone string) {
	s.t.Helper()
	var err error
	ctx := s.t.Context()
	s.row, err = s.store.AddSalon(ctx, store.Salon{Name: "Harbour Chairs", Zone: zone})
	require.NoError(s.t, err)
	s.tx(func(t *store.Tx) error {
		for _, p := range []struct {
			id   *string
			name string
			lead bool
		}{{&s.ada, "Ada", true}, {&s.ben, "Ben", true}, {&s.mina, "Mina", false}} {
			row, err := t.AddStaff(ctx, store.Staff{Unit: store.Unit{Name: p.name}, Initials: p.name[:1], MayLead: p.lead,
				Skills: []string{scheduling.SkillCut}})
			if err != nil {
				return err
			}
			*p.id = row.ID
		}
		for i, kind := range []string{"chair", "chair", "basin"} {
			row, err := t.AddStation(ctx, store.Unit{Kind: kind, Name: fmt.Sprint(kind, i), Changeover: 3})
			if err != nil {
				return err
			}
			if kind == "chair" {
				s.chairs = append(s.chairs, row.ID)
			} else {
				s.basin = row.ID
			}
		}
		var err error
		s.service, err = t.AddService(ctx, scheduling.StandardServices()[0])
		return err
	})
}

// try runs f in a transaction of the salon.
func (s *salon) try(f func(*store.Tx) error) error {
	return s.store.InTx(s.t.Context(), s.row.ID, f)
}

// tx is try for what must succeed.
func (s *salon) tx(f func(*store.Tx) error) {
	s.t.Helper()
	require.NoError(s.t, s.try(f))
}

// client adds a client and returns the id.
func (s *salon) client(name string) string {
	s.t.Helper()
	var c store.Client
	s.tx(func(t *store.Tx) (err error) {
		c, err = t.AddClient(s.t.Context(), store.Client{GivenName: name, ContactBy: "none"})
		return err
	})
	return c.ID
}

// seat is where a visit takes place.
type seat struct{ lead, chair, basin string }

func (s *salon) seat() seat { return seat{s.ada, s.chairs[0], s.basin} }

// visit is a visit of 70 minutes with the blocks it needs: the stylist at the
// beginning and at the end, the basin for ten minutes between, and the chair
// all the time.
func (s *salon) visit(client string, start time.Time, on seat) (*store.Visit, []store.Block) {
	span := func(from, to int) (time.Time, time.Time) { return start.Add(minutes(from)), start.Add(minutes(to)) }
	v := &store.Visit{Client: client, Chair: on.chair}
	v.Start, v.End = span(0, 70)
	v.Services = []store.VisitService{{Service: s.service.ID, Version: s.service.Version, Lead: on.lead, PriceCents: 100}}
	for i, x := range []struct {
		kind, unit, role string
		from, to         int
	}{
		{"talk", on.lead, "lead", 0, 20},
		{"wash", on.basin, "basin", 20, 30},
		{"working", "", "", 30, 50},
		{"iron", on.lead, "lead", 50, 70},
	} {
		step := store.VisitStep{Ordinal: i, Kind: x.kind, Label: x.kind, HandsOn: x.unit != ""}
		step.Start, step.End = span(x.from, x.to)
		if x.unit != "" {
			step.Units = append(step.Units, store.StepUnit{Ordinal: i, Unit: x.unit, Role: x.role})
		}
		step.Units = append(step.Units, store.StepUnit{Ordinal: i, Unit: on.chair, Role: "chair"})
		v.Steps = append(v.Steps, step)
	}
	block := func(unit string, from, to, clear int) store.Block {
		b := store.Block{Unit: unit, Clear: clear}
		b.Start, b.End = span(from, to)
		return b
	}
	return v, []store.Block{
		block(on.lead, 0, 20, 0), block(on.lead, 50, 70, 0), block(on.basin, 20, 30, 3), block(on.chair, 0, 70, 3),
	}
}

// book books such a visit.
func (s *salon) book(client string, start time.Time, on seat) (*store.Visit, error) {
	v, blocks := s.visit(client, start, on)
	return v, s.try(func(t *store.Tx) error { return t.InsertVisit(s.t.Context(), v, blocks) })
}

// booked is book for what must succeed.
func (s *salon) booked(client string, start time.Time, on seat) *store.Visit {
	s.t.Helper()
	v, err := s.book(client, start, on)
	require.NoError(s.t, err)
	return v
}

// only is a visit that needs one unit from..to.
func (s *salon) only(client, unit string, from, to time.Time, clear int) (*store.Visit, []store.Block) {
	v, _ := s.visit(client, from, s.seat())
	v.Start, v.End, v.Steps = from, to, v.Steps[:1]
	v.Steps[0].End = to
	return v, []store.Block{{Unit: unit, Start: from, End: to, Clear: clear}}
}

// bookOnly books one unit, and no more, for a client of its own.
func (s *salon) bookOnly(unit string, from, to time.Time, clear int) (*store.Visit, error) {
	v, blocks := s.only(s.client("Guest"), unit, from, to, clear)
	return v, s.try(func(t *store.Tx) error { return t.InsertVisit(s.t.Context(), v, blocks) })
}

// rows collects what a query gives, one value a row.
func rows[T any](s *salon, q string, args ...any) []T {
	s.t.Helper()
	r, err := s.db.Query(context.Background(), q, args...)
	require.NoError(s.t, err)
	out, err := pgx.CollectRows(r, pgx.RowTo[T])
	require.NoError(s.t, err)
	return out
}

// value is rows for a query of one row.
func value[T any](s *salon, q string, args ...any) T {
	s.t.Helper()
	list := rows[T](s, q, args...)
	require.Len(s.t, list, 1, q)
	return list[0]
}

// contents is every row of the salon's tables as text, to see whether anything
// changed.
func (s *salon) contents() map[string][]string {
	s.t.Helper()
	out := map[string][]string{}
	tables := rows[string](s, `
		SELECT table_name::text FROM information_schema.columns
		WHERE table_schema = 'public' AND column_name = 'salon_id' ORDER BY 1`)
	for _, table := range tables {
		out[table] = rows[string](s, `SELECT x::text FROM `+pgx.Identifier{table}.Sanitize()+` x WHERE salon_id = $1 ORDER BY 1`, s.row.ID)
	}
	return out
}
