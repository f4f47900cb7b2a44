package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// Stretch is what something that was read of a salon is about.
type Stretch struct {
	From, To time.Time // any change that touches it counts
	Visits   []string  // and any of these visits, wherever they lie
}

// Moment is the moment that t sees, for Unchanged: the zero value where it has none of
// its own or nobody can tell what came after it. lapse is when the next pencilled visit
// lapses by itself after now, nil for never.
func (t *Tx) Moment(ctx context.Context, now time.Time) (m Moment, lapse *time.Time, err error) {
	if t.kept == nil { // only Read has one moment for all that it reads
		return m, nil, nil
	}
	var replica bool
	err = t.tx.QueryRow(ctx, `
		SELECT pg_current_snapshot()::text, now(), pg_postmaster_start_time(), 'salon_event'::regclass::oid, pg_is_in_recovery(),
			(SELECT min(held_until) FROM visit WHERE salon_id = $1 AND state = 'held' AND held_until > $2)`, t.salon, now).
		Scan(&m.at.seen, &m.at.at, &m.at.server.started, &m.at.server.log, &replica, &lapse)
	if err != nil || replica { // a replica does not list the transactions that are under way
		return Moment{}, nil, domain("moment", err, false)
	}
	return m, lapse, nil
}

// Unchanged reports whether a transaction that begins now would read of a stretch of
// the salon what one read at since, as far as changes of kinds and of blocks, hours and
// units go, by the logs that triggers write in the transaction of each change. It does
// not know what goes by the clock. Where nobody can tell it reports false. It takes one
// statement, which looks at as many rows as there were changes since; now is the moment up
// to which that was found, from which the next one may ask.
func (s *Store) Unchanged(ctx context.Context, salon string, since Moment, w Stretch, kinds ...ChangeKind) (now Moment, same bool, err error) {
	return unchanged(since, func() (dayNews, error) {
		return ask(ctx, s.trips, scanDayNews, unchangedQuery, salon, since.at.seen, w.From, w.To, w.Visits, kinds)
	})
}

// Unchanged is the same of what t reads.
func (t *Tx) Unchanged(ctx context.Context, since Moment, w Stretch, kinds ...ChangeKind) (now Moment, same bool, err error) {
	return unchanged(since, func() (dayNews, error) {
		return scanDayNews(t.tx.QueryRow(ctx, unchangedQuery, t.salon, since.at.seen, w.From, w.To, w.Visits, kinds))
	})
}

// dayNews is what came after a moment.
type dayNews struct {
	moment           // the present one
	replica, changed bool
}

func scanDayNews(r pgx.Row) (n dayNews, err error) {
	return n, r.Scan(&n.seen, &n.at, &n.server.started, &n.server.log, &n.replica, &n.changed)
}

func unchanged(since Moment, asked func() (dayNews, error)) (now Moment, same bool, err error) {
	if since.at.seen == "" {
		return now, false, nil
	}
	n, err := asked()
	if err != nil {
		return now, false, domain("changes of a day", err, false)
	}
	same = !n.changed && !n.replica && n.server == since.at.server && n.at.Sub(since.at.at).Abs() < keptLongest
	return Moment{n.moment}, same, nil
}

// A row of a transaction that has not begun here yet came with a dump of another server.
const unchangedQuery = `
	SELECT pg_current_snapshot()::text, now(), pg_postmaster_start_time(), 'salon_event'::regclass::oid, pg_is_in_recovery(),
		EXISTS (SELECT 1 FROM salon_event WHERE salon_id = $1` + sinceSnapshot + ` AND kind = ANY($6)
			AND (from_at IS NULL OR from_at <= $4 AND to_at >= $3 OR visit_id = ANY($5)))
		OR EXISTS (SELECT 1 FROM unit_change WHERE salon_id = $1` + sinceSnapshot + `
			AND (from_at IS NULL OR from_at <= $4 AND to_at >= $3))`

// sinceSnapshot is true of what was committed since snapshot $2.
const sinceSnapshot = ` AND changed_in >= pg_snapshot_xmin($2::text::pg_snapshot) AND changed_in < pg_snapshot_xmax(pg_current_snapshot())
			AND NOT pg_visible_in_snapshot(changed_in, $2::text::pg_snapshot)`
