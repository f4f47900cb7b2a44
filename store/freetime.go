package store

import (
	"context"
	"fmt"
	"slices"
	"time"

	"chairblock/scheduling/openings"

	"github.com/jackc/pgx/v5"
)

// FreeTime is what a search needs of a salon: its free time over a horizon of
// whole days, and the names of its active units by id. It is shared between
// requests: nothing of it may be changed.
type FreeTime struct {
	openings.Horizon
	Snapshot *openings.Snapshot
	Names    map[string]string
}

// FreeTime returns the salon's free time on days of zone, as LoadShop would
// give it at now; the horizon may be longer than days. The blocks of the visits
// in except are looked through.
//
// Inside Read it comes from memory where possible, and is at least what t sees:
// whatever was committed before t began is in it, through whichever process it
// was written, and what was committed since may be. Inside InTx, which may see rows that are not committed
// yet, everything is read from the database.
func (t *Tx) FreeTime(ctx context.Context, zone *time.Location, days openings.DateRange, now time.Time, except ...string) (FreeTime, error) {
	except = slices.DeleteFunc(slices.Clone(except), func(id string) bool { return id == "" })
	if t.kept != nil {
		k, err := t.kept.current(ctx, t, freeTimeWish{zone: zone, days: days, now: now})
		if err != nil {
			return FreeTime{}, err
		}
		if k != nil {
			if f, ok, err := t.without(ctx, k.FreeTime, except); ok || err != nil {
				return f, err
			}
		}
	}
	k, err := t.readFreeTime(ctx, openings.NewHorizon(zone, days), now, except)
	return k.FreeTime, err
}

// keptFreeTime is free time with what it takes to see whether it still holds.
type keptFreeTime struct {
	FreeTime
	moment
	rota    *knownRota
	weekly  map[string]int // how many of a unit's Breaks come from its rota; they stand first
	pencils []pencil
	weight  int // bookings and other spans, which is what memory goes into
}

// pencil is a block of a pencilled visit: it counts until the visit lapses, of
// which no row tells.
type pencil struct {
	unit  string
	until time.Time
	over  bool // when it was read
}

// readFreeTime reads the free time over h from the database.
func (t *Tx) readFreeTime(ctx context.Context, h openings.Horizon, now time.Time, except []string) (keptFreeTime, error) {
	l := newShopLoad(h)
	l.rota.Last = h.Days.Last.Add(rotaDays)
	var b pgx.Batch
	l.queueRota(&b, t.salon)
	l.queuePromised(&b, t.salon, now, except)
	b.Queue(pencilQuery, t.salon, nil).Query(l.pencilled(now))
	if err := t.tx.SendBatch(ctx, &b).Close(); err != nil {
		return keptFreeTime{}, domain("free time", err, false)
	}
	snap, err := openings.NewSnapshot(l.shop())
	if err != nil {
		return keptFreeTime{}, fmt.Errorf("store: free time: %w", err)
	}
	k := keptFreeTime{FreeTime: FreeTime{h, snap, l.names}, rota: l.known(), weekly: l.weekly, pencils: l.pencils}
	k.weight = weightOf(snap)
	return k, nil
}

const pencilQuery = `
	SELECT b.unit_id, v.held_until FROM visit v JOIN block b USING (salon_id, visit_id)
	WHERE v.salon_id = $1 AND v.state = 'held' AND ($2::text[] IS NULL OR b.unit_id = ANY($2))`

func (l *shopLoad) pencilled(now time.Time) func(pgx.Rows) error {
	return func(rows pgx.Rows) error {
		var p pencil
		_, err := pgx.ForEachRow(rows, []any{&p.unit, &p.until}, func() error {
			p.over = !p.until.After(now)
			if !slices.Contains(l.pencils, p) {
				l.pencils = append(l.pencils, p)
			}
			return nil
		})
		return err
	}
}

// withUnits returns k with the absences and blocks of units as t sees them, and
// the rest as it was.
func (k *keptFreeTime) withUnits(ctx context.Context, t *Tx, units []string, now time.Time) (*keptFreeTime, error) {
	l := newShopLoad(k.Horizon)
	for _, u := range k.Snapshot.Shop().Units {
		if slices.Contains(units, u.ID) {
			u.Breaks, u.Bookings = slices.Clone(u.Breaks[:k.weekly[u.ID]]), make([]openings.Booking, 0, len(u.Bookings)+16)
			l.units[u.ID] = &u
		}
	}
	var b pgx.Batch
	b.Queue(`SELECT unit_id, starts_at, ends_at FROM absence
		WHERE salon_id = $1 AND unit_id = ANY($4) AND ends_at > $2 AND starts_at < $3`, t.salon, l.from, l.to, units).Query(l.absences)
	// unit by unit: the index on unit and time takes one unit at a time
	b.Queue(chargeQuery+` AND v.visit_id = ANY(array(SELECT b.visit_id FROM unnest($4::text[]) u(id) CROSS JOIN LATERAL (
			SELECT visit_id FROM block WHERE salon_id = $1 AND unit_id = u.id AND span && tstzrange($2, $3)) b))`, t.salon, l.from, l.to, units).Query(l.inCharge)
	b.Queue(`SELECT b.unit_id, b.visit_id, b.starts_at, b.ends_at, upper(b.span) FROM unnest($4::text[]) u(id) CROSS JOIN LATERAL (
			SELECT unit_id, visit_id, starts_at, ends_at, span FROM block
			WHERE salon_id = $1 AND unit_id = u.id AND span && tstzrange($2, $3)) b
		WHERE NOT b.visit_id = ANY(array(SELECT visit_id FROM visit WHERE salon_id = $1 AND state = 'held' AND held_until <= $5))`,
		t.salon, l.from, l.to, units, now).Query(l.blocks)
	b.Queue(pencilQuery, t.salon, units).Query(l.pencilled(now))
	if err := t.tx.SendBatch(ctx, &b).Close(); err != nil {
		return nil, domain("free time", err, false)
	}
	next := *k
	var err error
	for _, u := range l.units {
		if next.Snapshot, err = next.Snapshot.With(*u); err != nil {
			return nil, fmt.Errorf("store: free time: %w", err)
		}
	}
	next.pencils = slices.Concat(l.pencils, slices.DeleteFunc(slices.Clone(k.pencils), func(p pencil) bool { return slices.Contains(units, p.unit) }))
	next.weight = weightOf(next.Snapshot)
	return &next, nil
}

// without cuts the blocks of some visits out of f. It reports false when their
// blocks in the database are not those in f.
func (t *Tx) without(ctx context.Context, f FreeTime, except []string) (FreeTime, bool, error) {
	if len(except) == 0 {
		return f, true, nil
	}
	rows, err := t.tx.Query(ctx, `
		SELECT unit_id, starts_at, ends_at, upper(span) FROM block
		WHERE salon_id = $1 AND visit_id = ANY($2) AND span && tstzrange($3, $4)`, t.salon, except, f.Origin, f.Time(f.Length))
	if err != nil {
		return f, false, domain("blocks", err, false)
	}
	cut := map[string][]openings.Booking{}
	var id string
	var from, to, cleared time.Time
	_, err = pgx.ForEachRow(rows, []any{&id, &from, &to, &cleared}, func() error {
		cut[id] = append(cut[id], booking(f.Horizon, from, to, cleared))
		return nil
	})
	if err != nil {
		return f, false, domain("blocks", err, false)
	}
	for _, u := range f.Snapshot.Shop().Units {
		gone, all := cut[u.ID], len(u.Bookings)
		if len(gone) == 0 {
			continue
		}
		// No two visits share a minute of a unit, so that the time names the block.
		u.Bookings = slices.DeleteFunc(slices.Clone(u.Bookings), func(b openings.Booking) bool {
			return slices.ContainsFunc(gone, func(g openings.Booking) bool { return g.From == b.From && g.To == b.To && g.Clear == b.Clear })
		})
		u.Bays = openings.Bays(u.Bookings)
		if len(u.Bookings) != all-len(gone) {
			return f, false, nil
		}
		if f.Snapshot, err = f.Snapshot.With(u); err != nil {
			return f, false, fmt.Errorf("store: free time: %w", err)
		}
	}
	return f, true, nil
}

// ClientTime is time at which a client has a visit.
type ClientTime struct {
	Visit string    `db:"visit_id"`
	Start time.Time `db:"starts_at"`
	End   time.Time `db:"ends_at"`
}

// ClientTimes lists the open visits of a client that touch from..to, by start,
// without the visit except.
func (t *Tx) ClientTimes(ctx context.Context, client string, from, to time.Time, except string) ([]ClientTime, error) {
	return collect[ClientTime](ctx, t, "times of client", `
		SELECT visit_id, starts_at, ends_at FROM visit
		WHERE salon_id = $1 AND client_id = $2 AND state IN ('booked', 'arrived', 'under_way')
		  AND starts_at < $4 AND ends_at > $3 AND visit_id <> $5 ORDER BY starts_at, visit_id`, t.salon, client, from, to, except)
}

func weightOf(s *openings.Snapshot) int {
	n := 0
	for _, u := range s.Shop().Units {
		n += len(u.Bookings) + len(u.Open) + len(u.Breaks)
	}
	return n
}
