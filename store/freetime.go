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

// withStretches returns k with the absences of some units, and their blocks in the minutes
// that are stale, as t sees them, and the rest as it was.
func (k *keptFreeTime) withStretches(ctx context.Context, t *Tx, stale map[string][]openings.Span, now time.Time) (*keptFreeTime, error) {
	l := newShopLoad(k.Horizon)
	var c stretchColumns
	for _, u := range k.Snapshot.Shop().Units {
		if spans := stale[u.ID]; len(spans) > 0 {
			u.Breaks = slices.Clone(u.Breaks[:k.weekly[u.ID]])
			u.Bookings = slices.DeleteFunc(slices.Clone(u.Bookings), func(b openings.Booking) bool { return meetsAny(b, spans) })
			l.units[u.ID] = &u
			c.add(k.Horizon, u.ID, spans)
		}
	}
	if err := l.readStretches(ctx, t, c, now); err != nil {
		return nil, err
	}
	var units []openings.Unit
	for _, u := range l.units {
		units = append(units, *u)
	}
	next := *k
	var err error
	if next.Snapshot, err = next.Snapshot.With(units...); err != nil {
		return nil, fmt.Errorf("store: free time: %w", err)
	}
	next.pencils = slices.Concat(l.pencils, slices.DeleteFunc(slices.Clone(k.pencils), func(p pencil) bool { return l.units[p.unit] != nil }))
	next.weight = weightOf(next.Snapshot)
	return &next, nil
}

// meetsAny says that a block, with the clearing after it, has a minute in one of spans.
func meetsAny(b openings.Booking, spans []openings.Span) bool {
	return slices.ContainsFunc(spans, func(s openings.Span) bool { return b.From < s.To && s.From < b.To+b.Clear })
}

// stretchColumns are stretches, column by column.
type stretchColumns struct {
	units    []string
	from, to []time.Time
}

func (c *stretchColumns) add(h openings.Horizon, unit string, spans []openings.Span) {
	for _, s := range spans {
		c.units, c.from, c.to = append(c.units, unit), append(c.from, h.Time(s.From)), append(c.to, h.Time(s.To))
	}
}

// readStretches adds the absences of the units in c and their blocks in its stretches.
// A block that meets two of them is read once.
func (l *shopLoad) readStretches(ctx context.Context, t *Tx, c stretchColumns, now time.Time) error {
	var b pgx.Batch
	b.Queue(`SELECT unit_id, starts_at, ends_at FROM absence
		WHERE salon_id = $1 AND unit_id = ANY($4) AND ends_at > $2 AND starts_at < $3`, t.salon, l.from, l.to, c.units).Query(l.absences)
	// stretch by stretch: the index on unit and time takes one unit at a time
	b.Queue(`SELECT b.unit_id, b.visit_id, b.starts_at, b.ends_at, b.cleared, coalesce(b.unit_id = ANY(c.leads), false), coalesce(c.estimated, false)
		FROM (SELECT DISTINCT k.* FROM unnest($4::text[], $5::timestamptz[], $6::timestamptz[]) u(id, a, z)
			CROSS JOIN LATERAL (SELECT unit_id, visit_id, starts_at, ends_at, upper(span) AS cleared FROM block b
				WHERE `+blocksOf("$1::text", "u.id")+` AND span && tstzrange(u.a, u.z)) k) b
		LEFT JOIN LATERAL (SELECT array_agg(x.lead_id) AS leads, bool_or(x.estimate_id IS NOT NULL) AS estimated
			FROM visit v JOIN visit_service x USING (salon_id, visit_id)
			WHERE v.salon_id = $1 AND v.visit_id = b.visit_id AND v.ends_at > $2 AND v.starts_at < $3) c ON true
		WHERE NOT b.visit_id = ANY(array(SELECT visit_id FROM visit WHERE salon_id = $1 AND state = 'held' AND held_until <= $7))`,
		t.salon, l.from, l.to, c.units, c.from, c.to, now).Query(l.chargedBlocks)
	b.Queue(pencilQuery, t.salon, c.units).Query(l.pencilled(now))
	return domain("free time", t.tx.SendBatch(ctx, &b).Close(), false)
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
