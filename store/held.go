package store

import (
	"context"
	"time"
)

// LapseHeld ends every pencilled visit whose time was over at now and frees its
// blocks. Whoever writes blocks calls it first, so that nobody waits for a job.
// A visit that somebody else is changing at this moment is left to them.
func (t *Tx) LapseHeld(ctx context.Context, now time.Time) error {
	tag, err := t.tx.Exec(ctx, `
		WITH over AS (
			SELECT visit_id FROM visit WHERE salon_id = $1 AND state = 'held' AND held_until <= $2
			ORDER BY visit_id FOR UPDATE SKIP LOCKED
		), lapsed AS (
			UPDATE visit v SET state = 'lapsed', version = version + 1, changed_at = now()
			FROM over WHERE v.salon_id = $1 AND v.visit_id = over.visit_id
		)
		DELETE FROM block WHERE salon_id = $1 AND visit_id IN (SELECT visit_id FROM over)`, t.salon, now)
	*t.altered = *t.altered || tag.RowsAffected() > 0
	return domain("lapse pencilled visits", err, false)
}
