package store

import (
	"context"
	"slices"
	"time"
)

// moment is a state of the database: which transactions it holds.
type moment struct {
	seen   string    // pg_snapshot
	at     time.Time // about when, by the clock of the database
	server lineage
}

// lineage tells databases apart in which the same transaction number can mean
// different transactions: another start of the server (which may have begun from
// a copy, or as a replica that had not seen everything) or tables that were
// restored from a dump.
type lineage struct {
	started time.Time
	log     uint32 // oid of the table unit_change
}

// news is what has changed since a moment.
type news struct {
	moment
	stretches []stretch
	whole     bool // more than the time of units
	// replica says that transactions cannot be told apart here: a replica does
	// not list those that are under way.
	replica bool
}

// stretch is time of a unit in which something has changed; nil: at any time.
type stretch struct {
	unit     string
	from, to *time.Time
}

// mostNews is how many rows of the log are looked at. Judgement: where more has
// happened, nearly every unit has changed.
const mostNews = 1000

// news asks what t sees of the salon that k does not know of. It takes one round
// trip and looks at as many rows as there were changes since k was read. Of a
// nil k it only tells the moment that t sees.
//
// A transaction is in the log under the number of the whole, whichever of its
// savepoints wrote the row, and that is the number that snapshots list. Rows of
// what was rolled back are not seen by anybody.
func (t *Tx) news(ctx context.Context, k *keptFreeTime) (news, error) {
	n := news{whole: k == nil}
	seen, most := "1:1:", 0
	if k != nil {
		seen, most = k.seen, mostNews
	}
	var units []string
	var from, to []*time.Time
	err := t.tx.QueryRow(ctx, `
		SELECT pg_current_snapshot()::text, now(), pg_postmaster_start_time(), 'unit_change'::regclass::oid, pg_is_in_recovery(),
			array_agg(unit_id), array_agg(from_at), array_agg(to_at)
		FROM (SELECT unit_id, from_at, to_at FROM unit_change
			WHERE salon_id = $1 AND changed_in >= pg_snapshot_xmin($2::text::pg_snapshot)
			  AND NOT pg_visible_in_snapshot(changed_in, $2::text::pg_snapshot) LIMIT $3) x`,
		t.salon, seen, most).Scan(&n.seen, &n.at, &n.server.started, &n.server.log, &n.replica, &units, &from, &to)
	if err != nil {
		return n, domain("changes of free time", err, false)
	}
	for i, id := range units {
		n.stretches = append(n.stretches, stretch{id, from[i], to[i]})
	}
	n.whole = n.whole || len(units) == mostNews || slices.Contains(units, "")
	return n, nil
}
