package store

import (
	"context"
	"encoding/json"
)

// SetMessageRules writes the salon's rules of messages when its version is still
// the given one, and returns the new row; otherwise scheduling.ErrStale. Messages
// that wait are not touched: the rules are read when they are sent.
func (t *Tx) SetMessageRules(ctx context.Context, version int64, rules json.RawMessage) (Salon, error) {
	tag, err := t.tx.Exec(ctx, `UPDATE salon SET messages = $3, version = version + 1 WHERE salon_id = $1 AND version = $2`,
		t.salon, version, rules)
	if err != nil {
		return Salon{}, domain("message rules", err, false)
	}
	if tag.RowsAffected() == 0 {
		return Salon{}, t.staleOrMissing(ctx, `SELECT 1 FROM salon WHERE salon_id = $1 AND $2 <> ''`, t.salon)
	}
	return t.SalonRow(ctx)
}
