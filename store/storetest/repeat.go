package storetest

import (
	"context"
	"fmt"
	"testing"

	"github.com/jackc/pgx/v5"
)

// repeated are the tables that hold a visit, with what differs in a copy n days
// later beside the moments. Those that are worked off, such as messages, are left
// out: a salon with a long past has sent them.
var repeated = []struct{ table, differs string }{
	{"visit", `, 'state', CASE WHEN n < 0 THEN 'finished' ELSE x.state END,
		'finished_at', CASE WHEN n < 0 THEN x.ends_at + make_interval(days => n) END`},
	{"visit_service", ""},
	{"visit_step", `, 'real_start', CASE WHEN n < 0 THEN x.starts_at + make_interval(days => n) END,
		'real_end', CASE WHEN n < 0 THEN x.ends_at + make_interval(days => n) END`},
	{"visit_step_unit", ""},
	{"block", `, 'span', tstzrange(lower(x.span) + make_interval(days => n), upper(x.span) + make_interval(days => n))`},
	{"visit_part", `, 'uid', x.uid || '.' || n`},
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
	err = pgx.BeginFunc(ctx, c, func(tx pgx.Tx) error {
		// What is copied is set aside first: the tables grow meanwhile.
		for _, r := range repeated {
			_, err := tx.Exec(ctx, `CREATE TEMP TABLE old_`+r.table+` ON COMMIT DROP AS SELECT x.* FROM `+r.table+` x JOIN visit o USING (salon_id, visit_id)
				WHERE o.salon_id = $1 AND o.starts_at >= $2::date AND o.starts_at < $2::date + 1 AND o.client_id IS NOT NULL`, salon, day)
			if err != nil {
				return fmt.Errorf("%s: %w", r.table, err)
			}
		}
		for _, r := range repeated {
			if err := copyRows(ctx, tx, r.table, r.differs, later); err != nil {
				return fmt.Errorf("%s: %w", r.table, err)
			}
		}
		return nil
	})
	if err == nil {
		_, err = c.Exec(ctx, "ANALYZE")
	}
	if err != nil {
		t.Fatalf("storetest: repeat: %v", err)
	}
}

// copyRows copies the rows of one table that were set aside.
func copyRows(ctx context.Context, tx pgx.Tx, table, differs string, later []int) error {
	rows, err := tx.Query(ctx, `SELECT column_name::text FROM information_schema.columns WHERE table_schema = 'public'
		AND table_name = $1 AND column_name IN ('starts_at', 'ends_at', 'arrived_at', 'created_at', 'changed_at')`, table)
	if err != nil {
		return err
	}
	moments, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return err
	}
	for _, m := range moments {
		differs += fmt.Sprintf(", '%s', x.%s + make_interval(days => n)", m, m)
	}
	_, err = tx.Exec(ctx, `INSERT INTO `+table+` SELECT (jsonb_populate_record(NULL::`+table+`, to_jsonb(x) || jsonb_build_object('visit_id', x.visit_id || '-' || n`+
		differs+`))).* FROM old_`+table+` x, unnest($1::int[]) n`, later)
	return err
}
