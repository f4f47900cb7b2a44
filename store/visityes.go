package store

import (
	"context"
	"time"
)

// Yes is that a client said that she comes to a visit as it stands.
type Yes struct {
	At      time.Time
	How     string // page, call, text, mail, in_person or invitation
	NotedBy string // role or name of whoever noted it, "" when she did herself
}

// NoteYes notes that the client of a locked visit comes at its start. It reports
// false, and changes nothing, when she has said so of that start before.
func (t *Tx) NoteYes(ctx context.Context, v *Visit, y Yes) (bool, error) {
	tag, err := t.tx.Exec(ctx, `INSERT INTO visit_yes (salon_id, visit_id, starts_at, said_at, how, noted_by)
		VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO NOTHING`, t.salon, v.ID, v.Start, y.At, y.How, y.NotedBy)
	if err != nil || tag.RowsAffected() == 0 {
		return false, domain("note yes", err, false)
	}
	v.SaidYesAt = &y.At
	return true, t.TouchVisit(ctx, v)
}

// TakeBackYes forgets that the client of a locked visit comes at its start. It
// reports false when she has not said so.
func (t *Tx) TakeBackYes(ctx context.Context, v *Visit) (bool, error) {
	tag, err := t.tx.Exec(ctx, `DELETE FROM visit_yes WHERE salon_id = $1 AND visit_id = $2 AND starts_at = $3`, t.salon, v.ID, v.Start)
	if err != nil || tag.RowsAffected() == 0 {
		return false, domain("take back yes", err, false)
	}
	v.SaidYesAt = nil
	return true, t.TouchVisit(ctx, v)
}
