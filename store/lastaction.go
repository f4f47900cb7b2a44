package store

import (
	"context"
	"encoding/json"
	"time"

	"github.com/jackc/pgx/v5"
)

// LastAction is what somebody did last, with what it takes to undo it.
type LastAction struct {
	Doer    string          `db:"doer"` // principal
	Kind    string          `db:"kind"`
	Subject string          `db:"subject_id"` // visit or waiting-list request
	Version int64           `db:"version"`    // of the subject, as it was left
	Was     json.RawMessage `db:"was"`        // what the subject was before; nothing about a client
	At      time.Time       `db:"done_at"`
}

// SetLastAction notes what somebody did, in place of what was noted before, when the
// transaction ends.
func (t *Tx) SetLastAction(ctx context.Context, a LastAction) error {
	if t.atEnd == nil {
		return errReading
	}
	if old := t.atEnd.action; old != nil && old.Doer != a.Doer {
		if err := t.writeLastAction(ctx); err != nil {
			return err
		}
	}
	t.atEnd.action = &a
	return nil
}

func queueLastAction(b *pgx.Batch, salon string, a LastAction) {
	if a.Was == nil {
		a.Was = json.RawMessage(`{}`)
	}
	b.Queue(`
		INSERT INTO last_action (salon_id, doer, kind, subject_id, version, was, done_at) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (salon_id, doer) DO UPDATE SET kind = $3, subject_id = $4, version = $5, was = $6, done_at = $7`,
		salon, a.Doer, a.Kind, a.Subject, a.Version, a.Was, a.At)
}

// writeLastAction writes it before the end.
func (t *Tx) writeLastAction(ctx context.Context) error {
	if t.atEnd == nil || t.atEnd.action == nil {
		return nil
	}
	var b pgx.Batch
	queueLastAction(&b, t.salon, *t.atEnd.action)
	t.atEnd.action = nil
	return domain("last action", t.tx.SendBatch(ctx, &b).Close(), false)
}

// LastAction returns what somebody did last, or scheduling.ErrNotFound.
func (t *Tx) LastAction(ctx context.Context, doer string) (LastAction, error) {
	return t.lastAction(ctx, doer, "")
}

// LockLastAction is LastAction for whoever undoes it: nobody else can at once.
func (t *Tx) LockLastAction(ctx context.Context, doer string) (LastAction, error) {
	return t.lastAction(ctx, doer, " FOR UPDATE")
}

func (t *Tx) lastAction(ctx context.Context, doer, lock string) (LastAction, error) {
	if err := t.writeLastAction(ctx); err != nil {
		return LastAction{}, err
	}
	list, err := collect[LastAction](ctx, t, "last action", `
		SELECT doer, kind, subject_id, version, was, done_at FROM last_action WHERE salon_id = $1 AND doer = $2`+lock, t.salon, doer)
	if err == nil {
		err = one("last action", int64(len(list)), nil)
	}
	if err != nil {
		return LastAction{}, err
	}
	return list[0], nil
}

// ForgetLastAction forgets what somebody did last.
func (t *Tx) ForgetLastAction(ctx context.Context, doer string) error {
	if err := t.writeLastAction(ctx); err != nil {
		return err
	}
	_, err := t.tx.Exec(ctx, `DELETE FROM last_action WHERE salon_id = $1 AND doer = $2`, t.salon, doer)
	return domain("forget last action", err, false)
}
