package store

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/rickb777/date"
)

// Window is a window of the week in minutes after midnight by the wall clock;
// To may pass 1440.
type Window struct {
	Weekday int    `db:"weekday"` // 1 Monday to 7 Sunday
	Kind    string `db:"kind"`    // work or break for a person, open for the salon
	From    int    `db:"starts"`
	To      int    `db:"ends"`
}

// OpeningHours lists the salon's week.
func (t *Tx) OpeningHours(ctx context.Context) ([]Window, error) {
	const q = `
		SELECT weekday, 'open' AS kind, opens AS starts, closes AS ends FROM opening_hours
		WHERE salon_id = $1 ORDER BY weekday, opens`
	return collect[Window](ctx, t, "opening hours", q, t.salon)
}

// SetOpeningHours replaces the salon's week.
func (t *Tx) SetOpeningHours(ctx context.Context, list []Window) error {
	if err := t.LockRota(ctx); err != nil {
		return err
	}
	if _, err := t.tx.Exec(ctx, `DELETE FROM opening_hours WHERE salon_id = $1`, t.salon); err != nil {
		return domain("opening hours", err, false)
	}
	for _, w := range list {
		_, err := t.tx.Exec(ctx, `INSERT INTO opening_hours (salon_id, weekday, opens, closes) VALUES ($1, $2, $3, $4)`, t.salon, w.Weekday, w.From, w.To)
		if err != nil {
			return domain("opening hours", err, false)
		}
	}
	return nil
}

// StaffHours lists the standing week and its breaks of one person: what holds on a
// date is what WorkRota says.
func (t *Tx) StaffHours(ctx context.Context, staff string) ([]Window, error) {
	const q = `
		SELECT weekday, kind, starts, ends FROM staff_hours
		WHERE salon_id = $1 AND staff_id = $2 ORDER BY weekday, kind DESC, starts`
	return collect[Window](ctx, t, "staff hours", q, t.salon, staff)
}

// SetStaffHours replaces the standing week and its breaks of one person.
func (t *Tx) SetStaffHours(ctx context.Context, staff string, list []Window) error {
	if err := t.LockRota(ctx); err != nil {
		return err
	}
	if _, err := t.tx.Exec(ctx, `DELETE FROM staff_hours WHERE salon_id = $1 AND staff_id = $2`, t.salon, staff); err != nil {
		return domain("staff hours", err, false)
	}
	for _, w := range list {
		_, err := t.tx.Exec(ctx, `INSERT INTO staff_hours (salon_id, staff_id, weekday, kind, starts, ends) VALUES ($1, $2, $3, $4, $5, $6)`,
			t.salon, staff, w.Weekday, w.Kind, w.From, w.To)
		if err != nil {
			return domain("staff hours", err, false)
		}
	}
	return nil
}

// Closure is a run of days on which the salon stays shut, both included.
type Closure struct {
	ID     string    `db:"closure_id"`
	First  date.Date `db:"from_date"`
	Last   date.Date `db:"to_date"`
	Reason string    `db:"reason"`
}

// Closures lists closures that end on or after from.
func (t *Tx) Closures(ctx context.Context, from date.Date) ([]Closure, error) {
	const q = `
		SELECT closure_id, from_date::text AS from_date, to_date::text AS to_date, reason FROM closure
		WHERE salon_id = $1 AND to_date >= $2::text::date ORDER BY from_date, closure_id`
	return collect[Closure](ctx, t, "closures", q, t.salon, from.String())
}

// AddClosure shuts the salon from First to Last.
func (t *Tx) AddClosure(ctx context.Context, c Closure) (Closure, error) {
	if err := t.LockRota(ctx); err != nil {
		return c, err
	}
	c.ID = NewID()
	_, err := t.tx.Exec(ctx, `INSERT INTO closure (salon_id, closure_id, from_date, to_date, reason) VALUES ($1, $2, $3::text::date, $4::text::date, $5)`,
		t.salon, c.ID, c.First.String(), c.Last.String(), c.Reason)
	return c, domain("add closure", err, false)
}

// DeleteClosure opens the salon again, or returns scheduling.ErrNotFound.
func (t *Tx) DeleteClosure(ctx context.Context, id string) error {
	*t.altered = true
	tag, err := t.tx.Exec(ctx, `DELETE FROM closure WHERE salon_id = $1 AND closure_id = $2`, t.salon, id)
	return one("closure", tag.RowsAffected(), err)
}

// Absence is time in which a person is away or a station is out of order.
type Absence struct {
	ID     string    `db:"absence_id"`
	Unit   string    `db:"unit_id"`
	From   time.Time `db:"starts_at"`
	To     time.Time `db:"ends_at"`
	Reason string    `db:"reason"`
	// Calendar is the private calendar that the absence comes from, nil for one that
	// was noted by hand.
	Calendar *string `db:"private_calendar_id"`
}

// Absences lists absences that end after from, by start.
func (t *Tx) Absences(ctx context.Context, from time.Time) ([]Absence, error) {
	const q = `
		SELECT absence_id, unit_id, starts_at, ends_at, reason, private_calendar_id FROM absence
		WHERE salon_id = $1 AND ends_at > $2 ORDER BY starts_at, absence_id`
	return collect[Absence](ctx, t, "absences", q, t.salon, from)
}

// AddAbsence notes an absence. It may lie over visits.
func (t *Tx) AddAbsence(ctx context.Context, a Absence) (Absence, error) {
	if err := t.lockDays(ctx, false, []string{a.Unit}, a.From, a.To); err != nil {
		return a, err
	}
	a.ID, *t.altered = NewID(), true
	_, err := t.tx.Exec(ctx, `INSERT INTO absence (salon_id, absence_id, unit_id, starts_at, ends_at, reason) VALUES ($1, $2, $3, $4, $5, $6)`, t.salon, a.ID, a.Unit, a.From, a.To, a.Reason)
	return a, domain("add absence", err, false)
}

// DeleteAbsence takes an absence back, or returns scheduling.ErrNotFound.
func (t *Tx) DeleteAbsence(ctx context.Context, id string) error {
	*t.altered = true
	tag, err := t.tx.Exec(ctx, `DELETE FROM absence WHERE salon_id = $1 AND absence_id = $2`, t.salon, id)
	return one("absence", tag.RowsAffected(), err)
}

// LockRota keeps bookers out while weekly hours, closures or units change.
func (t *Tx) LockRota(ctx context.Context) error {
	*t.altered = true // whoever takes this lock means to
	defer t.memo.forget(ofSalons)
	_, err := t.tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended('rota/' || $1, 0))`, t.salon)
	return domain("lock", err, false)
}

// LockForBooking takes the shared locks of a booker: the salon's rota, then
// every unit on every day that from..to touches, in sorted order. Whoever
// changes hours or absences takes the same locks for itself alone.
func (t *Tx) LockForBooking(ctx context.Context, units []string, from, to time.Time) error {
	var keys []string
	for _, u := range units {
		keys = append(keys, t.dayKeys(u, from, to)...)
	}
	return t.lockRotaAndDays(ctx, keys)
}

// LockForPlans is LockForBooking for visits that are written together, and LapseHeld after
// it. It says whether the shop is still the one that was seen: nothing has changed that a
// LoadShop reads but for who is in charge of visits.
func (t *Tx) LockForPlans(ctx context.Context, plans []Plan, now time.Time, seen ShopSeen) (same bool, err error) {
	var keys []string
	for _, p := range plans {
		for _, b := range p.Blocks {
			keys = append(keys, t.dayKeys(b.Unit, p.Visit.Start, p.Visit.End)...)
		}
	}
	var over, changed bool // asked one after the other, under the locks
	var b pgx.Batch
	t.queueRotaAndDays(&b, keys)
	b.Queue(anyLapsed, t.salon, now).QueryRow(func(row pgx.Row) error { return row.Scan(&over) })
	if seen != (ShopSeen{}) {
		b.Queue(`SELECT EXISTS (SELECT FROM unit_change WHERE salon_id = $1 AND changed_in >= pg_snapshot_xmin($2::text::pg_snapshot)
			AND NOT pg_visible_in_snapshot(changed_in, $2::text::pg_snapshot))`, t.salon, seen.snapshot).QueryRow(func(row pgx.Row) error { return row.Scan(&changed) })
	}
	if err := t.tx.SendBatch(ctx, &b).Close(); err != nil {
		return false, domain("lock", err, false)
	}
	t.lapsed = now
	if over {
		if err := t.lapse(ctx, lapse, t.salon, now); err != nil {
			return false, err
		}
	}
	return seen != (ShopSeen{}) && !over && !changed, nil
}

// lockRotaAndDays takes the locks of a booker in one round trip.
func (t *Tx) lockRotaAndDays(ctx context.Context, keys []string) error {
	var b pgx.Batch
	t.queueRotaAndDays(&b, keys)
	return domain("lock", t.tx.SendBatch(ctx, &b).Close(), false)
}

func (t *Tx) queueRotaAndDays(b *pgx.Batch, keys []string) {
	b.Queue(`SELECT pg_advisory_xact_lock_shared(hashtextextended('rota/' || $1, 0))`, t.salon)
	t.queueKeys(b, true, keys)
}

func (t *Tx) lockDays(ctx context.Context, shared bool, units []string, from, to time.Time) error {
	var keys []string
	for _, u := range units {
		keys = append(keys, t.dayKeys(u, from, to)...)
	}
	return t.lockKeys(ctx, shared, keys)
}

// dayKeys names a unit by UTC day: two overlapping intervals always share a day
// of any one calendar.
func (t *Tx) dayKeys(unit string, from, to time.Time) []string {
	var keys []string
	for d := from.UTC().Truncate(24 * time.Hour); d.Before(to); d = d.Add(24 * time.Hour) {
		keys = append(keys, t.salon+"/"+unit+"/"+d.Format(time.DateOnly))
	}
	return keys
}

func (t *Tx) lockKeys(ctx context.Context, shared bool, keys []string) error {
	var b pgx.Batch
	t.queueKeys(&b, shared, keys)
	return domain("lock", t.tx.SendBatch(ctx, &b).Close(), false)
}

func (t *Tx) queueKeys(b *pgx.Batch, shared bool, keys []string) {
	slices.Sort(keys)
	lock := `pg_advisory_xact_lock`
	if shared {
		lock = `pg_advisory_xact_lock_shared`
	}
	b.Queue(`SELECT `+lock+`(hashtextextended(k, 0)) FROM unnest($1::text[]) WITH ORDINALITY x(k, n) ORDER BY n`, slices.Compact(keys))
}
