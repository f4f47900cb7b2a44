package store

import (
	"context"
	"time"
)

// UnitWork is the time of a visit for which a person or station is reserved, from
// the first block to the end of the last one.
type UnitWork struct {
	Visit string    `db:"visit_id"`
	Start time.Time `db:"starts_at"`
	End   time.Time `db:"ends_at"`
}

// WorkOf lists the visits that are booked or going on and reserve a unit in
// from..to, by start. What is pencilled or kept is left out. The visits themselves
// are not read: this is for days of which only the outline is shown.
func (t *Tx) WorkOf(ctx context.Context, unit string, from, to time.Time) ([]UnitWork, error) {
	return collect[UnitWork](ctx, t, "work", `
		SELECT b.visit_id, min(b.starts_at) AS starts_at, max(b.ends_at) AS ends_at
		FROM block b JOIN visit v USING (salon_id, visit_id)
		WHERE `+blocksOf("$1::text", "$2::text")+` AND b.span && tstzrange($3, $4) AND b.starts_at >= $3
		  AND v.state IN ('booked', 'arrived', 'under_way')
		  AND EXISTS (SELECT FROM visit_service x WHERE x.salon_id = b.salon_id AND x.visit_id = b.visit_id)
		GROUP BY b.visit_id ORDER BY min(b.starts_at), b.visit_id`, t.salon, unit, from, to)
}
