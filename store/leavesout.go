package store

import (
	"context"

	"github.com/jackc/pgx/v5"
)

// LeavesOut says which kinds of steps people do not do, sorted, by person. Why
// is kept nowhere.
func (t *Tx) LeavesOut(ctx context.Context) (map[string][]string, error) {
	rows, err := t.tx.Query(ctx, `SELECT staff_id, step_kind FROM staff_leaves_out WHERE salon_id = $1 ORDER BY staff_id, step_kind`, t.salon)
	if err != nil {
		return nil, domain("left out steps", err, false)
	}
	out := map[string][]string{}
	var staff, kind string
	_, err = pgx.ForEachRow(rows, []any{&staff, &kind}, func() error {
		out[staff] = append(out[staff], kind)
		return nil
	})
	return out, domain("left out steps", err, false)
}

// SetLeavesOut replaces the kinds of steps that somebody does not do. Whoever
// calls it holds the lock of the rota.
func (t *Tx) SetLeavesOut(ctx context.Context, staff string, kinds []string) error {
	*t.altered = true
	if _, err := t.tx.Exec(ctx, `DELETE FROM staff_leaves_out WHERE salon_id = $1 AND staff_id = $2`, t.salon, staff); err != nil {
		return domain("left out steps", err, false)
	}
	_, err := t.tx.Exec(ctx, `INSERT INTO staff_leaves_out (salon_id, staff_id, step_kind) SELECT DISTINCT $1, $2, unnest($3::text[])`,
		t.salon, staff, kinds)
	return domain("left out steps", err, false)
}
