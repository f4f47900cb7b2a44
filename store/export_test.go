package store

import "context"

// Exec runs any statement inside the transaction, for tests that need an error
// that the methods do not give.
func (t *Tx) Exec(ctx context.Context, q string, args ...any) error {
	_, err := t.tx.Exec(ctx, q, args...)
	return domain("exec", err, false)
}
