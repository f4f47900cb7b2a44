package store

import (
	"context"
	"slices"
	"time"
)

// Moment is a state of the database of which somebody keeps something. The zero
// value is nobody's.
type Moment struct{ at moment }

// VisitNews is what has changed of visits since a moment: of their times, steps,
// services and states, of what was noted of them, of their money and cards.
type VisitNews struct {
	// Now is the moment that the transaction sees, the zero value where it has none
	// of its own: then nothing may be kept.
	Now    Moment
	Visits []string // each once, also those that are gone
	// First is the earliest start that any of them had or has, nil without visits.
	First *time.Time
	// Unknown is true where nobody can tell what has changed.
	Unknown bool
}

// mostVisitNews is how many rows are looked at. Where more has happened, reading
// everything anew is less work (judgement).
const mostVisitNews = 1000

// VisitNews asks what t sees of visits that since does not hold, by the log that
// triggers write in the transaction of each change and by PostgreSQL's own snapshot,
// not by any clock. Only Read has one moment for all that it reads.
func (t *Tx) VisitNews(ctx context.Context, since Moment) (VisitNews, error) {
	n := VisitNews{Unknown: true}
	if t.kept == nil {
		return n, nil
	}
	seen, most := "1:1:", 0
	if since.at.seen != "" {
		seen, most = since.at.seen, mostVisitNews
	}
	var now moment
	var replica bool
	var changes int
	err := t.tx.QueryRow(ctx, `
		SELECT s.seen, now(), pg_postmaster_start_time(), 'salon_event'::regclass::oid, pg_is_in_recovery(), x.changes, x.visits, x.first
		FROM (SELECT pg_current_snapshot()::text AS seen) s CROSS JOIN LATERAL (
			SELECT count(*) AS changes, coalesce(array_agg(DISTINCT visit_id), '{}') AS visits, min(from_at) AS first
			FROM (SELECT visit_id, from_at FROM salon_event
				WHERE salon_id = $1 AND kind = 'visit' AND changed_in >= pg_snapshot_xmin($2::text::pg_snapshot)
				  AND changed_in < pg_snapshot_xmax(s.seen::pg_snapshot)
				  AND NOT pg_visible_in_snapshot(changed_in, $2::text::pg_snapshot) LIMIT $3) e) x`,
		t.salon, seen, most).Scan(&now.seen, &now.at, &now.server.started, &now.server.log, &replica, &changes, &n.Visits, &n.First)
	if err != nil {
		return n, domain("changes of visits", err, false)
	}
	if replica { // it does not list the transactions that are under way
		return n, nil
	}
	n.Now = Moment{now}
	n.Unknown = since.at.seen == "" || since.at.server != now.server || now.at.Sub(since.at.at).Abs() > liveKept ||
		changes == mostVisitNews || slices.Contains(n.Visits, "")
	return n, nil
}
