package store

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
)

// liveRow is a row of salon_event.
type liveRow struct {
	salon  string
	in     uint64 // the transaction
	change Change
}

// changesSince reads what the moment of since does not hold of salons, mostMissed
// rows for each at most, and tells the moment up to which it has looked. Of a nil
// since it only tells the moment.
//
// Rows are found by the transaction that wrote them, never by a number or time of
// their own: the transaction that took the earlier one may be the last to commit. A
// row of a transaction that has not begun here yet came with a dump of another
// server, whose transactions had other numbers: it is as old as the dump.
func (s *Store) changesSince(ctx context.Context, salons []string, since *cursor) (cursor, []liveRow, error) {
	seen, most := "1:1:", 0
	if since != nil {
		seen, most = since.snapshot(), mostMissed*max(1, len(salons))
	}
	return s.readChanges(ctx, liveQuery+` LEFT JOIN LATERAL (SELECT * FROM salon_event
			WHERE salon_id = ANY($1) AND kind <> 'quiet' AND changed_in >= pg_snapshot_xmin($2::text::pg_snapshot)
			  AND changed_in < pg_snapshot_xmax(n.seen::pg_snapshot)
			  AND NOT pg_visible_in_snapshot(changed_in, $2::text::pg_snapshot) LIMIT $3) e ON true`, salons, seen, most)
}

const liveQuery = `
	SELECT n.seen, n.at, n.log, e.salon_id, e.changed_in::text::bigint, e.kind, e.visit_id, e.from_at, e.to_at
	FROM (SELECT pg_current_snapshot()::text AS seen, now() AS at, 'salon_event'::regclass::oid AS log) n`

// missed is what a watcher of a salon who had seen since lacks of what the moment
// upTo holds.
func (s *Store) missed(ctx context.Context, salon string, since, upTo cursor) ([]Change, error) {
	if since.log != upTo.log || upTo.at.Sub(since.at) > liveKept || since.xmax > upTo.xmax || since.at.After(upTo.at.Add(time.Minute)) {
		return []Change{{Kind: ChangeEverything, After: upTo.String()}}, nil
	}
	_, rows, err := s.readChanges(ctx, liveQuery+` LEFT JOIN LATERAL (SELECT * FROM salon_event
			WHERE salon_id = $1 AND kind <> 'quiet' AND changed_in >= pg_snapshot_xmin($2::text::pg_snapshot)
			  AND NOT pg_visible_in_snapshot(changed_in, $2::text::pg_snapshot)
			  AND pg_visible_in_snapshot(changed_in, $3::text::pg_snapshot) LIMIT $4) e ON true`,
		salon, since.snapshot(), upTo.snapshot(), mostMissed)
	if err != nil {
		return nil, err
	}
	return inOrder(rows, upTo)[salon], nil
}

// readChanges runs a query of liveQuery.
func (s *Store) readChanges(ctx context.Context, q string, args ...any) (cursor, []liveRow, error) {
	rows, err := s.pool.Query(ctx, q, args...)
	if err != nil {
		return cursor{}, nil, domain("changes", err, false)
	}
	var at cursor
	var out []liveRow
	var seen string
	var now time.Time
	var log uint32
	var salon, kind, visit *string
	var in *int64
	var from, to *time.Time
	_, err = pgx.ForEachRow(rows, []any{&seen, &now, &log, &salon, &in, &kind, &visit, &from, &to}, func() error {
		if salon != nil {
			out = append(out, liveRow{*salon, uint64(*in), Change{Kind: ChangeKind(*kind), Visit: *visit, From: from, To: to}})
		}
		return nil
	})
	if err != nil {
		return at, nil, domain("changes", err, false)
	}
	if at, err = readSnapshot(seen); err != nil {
		return at, nil, err
	}
	at.at, at.log = now, log
	return at, out, nil
}

// inOrder sorts changes by salon and transaction and says of each where to go on
// after it: at the moment upTo, but for the transactions that are still to come. A
// transaction is seen with the last of its changes.
func inOrder(rows []liveRow, upTo cursor) map[string][]Change {
	slices.SortFunc(rows, func(a, b liveRow) int {
		return cmp.Or(cmp.Compare(a.salon, b.salon), cmp.Compare(a.in, b.in), cmp.Compare(a.change.Kind, b.change.Kind),
			cmp.Compare(a.change.Visit, b.change.Visit), compareTimes(a.change.From, b.change.From), compareTimes(a.change.To, b.change.To))
	})
	out := map[string][]Change{}
	for len(rows) > 0 {
		n := 1
		for n < len(rows) && rows[n].salon == rows[0].salon {
			n++
		}
		out[rows[0].salon] = inOrderOf(rows[:n], upTo)
		rows = rows[n:]
	}
	return out
}

// inOrderOf is inOrder for the sorted rows of one salon. What is too much to wait
// for one watcher is not told one by one.
func inOrderOf(rows []liveRow, upTo cursor) []Change {
	if len(rows) > mostWaiting/2 {
		return []Change{{Kind: ChangeEverything, After: upTo.String()}}
	}
	list := make([]Change, len(rows))
	var pending []uint64
	for i := len(rows) - 1; i >= 0; i-- {
		list[i] = rows[i].change
		list[i].After = upTo.without(pending).String()
		pending = append(pending, rows[i].in)
	}
	return list
}

func compareTimes(a, b *time.Time) int {
	switch {
	case a == nil || b == nil:
		return cmp.Compare(b2i(a != nil), b2i(b != nil))
	default:
		return a.Compare(*b)
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}
