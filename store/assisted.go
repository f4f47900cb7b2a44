package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// AssistedStep is a step of a visit to come that is booked with somebody who may
// only assist.
type AssistedStep struct {
	Visit string
	Start time.Time // of the visit
	Kind  scheduling.StepKind
	Label string
	Staff string
}

// AssistedSteps lists the steps of visits that are booked or pencilled and begin
// after now which somebody who may only assist is to do, apart from those of the
// kinds may, by time.
func (t *Tx) AssistedSteps(ctx context.Context, now time.Time, may []scheduling.StepKind) ([]AssistedStep, error) {
	kinds := make([]string, len(may))
	for i, k := range may {
		kinds[i] = string(k)
	}
	rows, err := t.tx.Query(ctx, `
		SELECT v.visit_id, v.starts_at, x.kind, x.label, u.unit_id
		FROM visit v JOIN visit_step x USING (salon_id, visit_id) JOIN visit_step_unit u USING (salon_id, visit_id, ordinal)
			JOIN staff p ON p.salon_id = u.salon_id AND p.staff_id = u.unit_id
		WHERE v.salon_id = $1 AND v.starts_at > $2 AND (v.state IN ('booked', 'arrived') OR v.state = 'held' AND v.held_until > $2)
		  AND u.role IN ('assistant', 'helper') AND NOT p.may_lead AND x.kind <> ALL($3)
		ORDER BY v.starts_at, v.visit_id, x.ordinal, u.unit_id`, t.salon, now, kinds)
	if err != nil {
		return nil, domain("assisted steps", err, false)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[AssistedStep])
	return list, domain("assisted steps", err, false)
}
