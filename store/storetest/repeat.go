package storetest

import (
	"fmt"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
)

// repeated are the tables that hold a visit, with what differs in a copy beside
// the moments. Those that are worked off, such as messages, are left out: a salon
// with a long past has sent them.
var repeated = []struct{ table, differs string }{
	{"visit", `, 'state', CASE WHEN $3::int < 0 THEN 'finished' ELSE x.state END,
		'finished_at', CASE WHEN $3::int < 0 THEN x.ends_at + make_interval(days => $3) END`},
	{"visit_service", ""},
	{"visit_step", `, 'real_start', CASE WHEN $3::int < 0 THEN x.starts_at + make_interval(days => $3) END,
		'real_end', CASE WHEN $3::int < 0 THEN x.ends_at + make_interval(days => $3) END`},
	{"visit_step_unit", ""},
	{"block", `, 'span', tstzrange(lower(x.span) + make_interval(days => $3), upper(x.span) + make_interval(days => $3))`},
	{"visit_part", `, 'uid', x.uid || '.' || $3`},
}

// Repeat copies every visit of the salon that starts on day (such as
// "2026-06-09", by UTC) to other days, each given by how many days later it is,
// less than 0 for earlier: those are finished as they were planned. It stands for
// years of work that nobody could book one by one in a test. day and later should
// be free of clock changes where minutes of the wall matter.
func Repeat(t testing.TB, url, salon, day string, later ...int) {
	t.Helper()
	ctx := t.Context()
	c, err := pgx.Connect(ctx, url)
	if err != nil {
		t.Fatalf("storetest: repeat: %v", err)
	}
	defer func() { _ = c.Close(ctx) }()
	columns := map[string][]string{}
	for _, r := range repeated {
		rows, err := c.Query(ctx, `SELECT column_name::text FROM information_schema.columns
			WHERE table_name = $1 AND column_name IN ('starts_at', 'ends_at', 'arrived_at', 'created_at', 'changed_at')`, r.table)
		if err == nil {
			columns[r.table], err = pgx.CollectRows(rows, pgx.RowTo[string])
		}
		if err != nil {
			t.Fatalf("storetest: repeat: %v", err)
		}
	}
	for _, n := range later {
		err := pgx.BeginFunc(ctx, c, func(tx pgx.Tx) error {
			for _, r := range repeated {
				if _, err := tx.Exec(ctx, copying(r.table, r.differs, columns[r.table]), salon, day, n); err != nil {
					return fmt.Errorf("%s: %w", r.table, err)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatalf("storetest: repeat %d days later: %v", n, err)
		}
	}
	if _, err := c.Exec(ctx, "ANALYZE"); err != nil {
		t.Fatalf("storetest: repeat: %v", err)
	}
}

// copying is the statement that copies the rows of one table.
func copying(table, differs string, moments []string) string {
	var moved strings.Builder
	for _, m := range moments {
		fmt.Fprintf(&moved, ", '%s', x.%s + make_interval(days => $3)", m, m)
	}
	return `INSERT INTO ` + table + ` SELECT (jsonb_populate_record(x, jsonb_build_object('visit_id', x.visit_id || '-' || $3::int` +
		moved.String() + differs + `))).* FROM ` + table + ` x JOIN visit o ON o.salon_id = x.salon_id AND o.visit_id = x.visit_id
		WHERE x.salon_id = $1 AND o.starts_at >= $2::date AND o.starts_at < $2::date + 1 AND o.client_id IS NOT NULL`
}
