package store

import "context"

// Exec runs any statement inside the transaction, for tests that need an error
// that the methods do not give.
func (t *Tx) Exec(ctx context.Context, q string, args ...any) error {
	_, err := t.tx.Exec(ctx, q, args...)
	return domain("exec", err, false)
}

// Purge is what the hourly job does.
func (s *Store) Purge(ctx context.Context) error { return (&purgeWorker{store: s}).Work(ctx, nil) }

// Send is one try of the job that sends a reminder.
func (s *Store) Send(ctx context.Context, salon, reminder string, last bool, deliver Deliver) error {
	w := reminderWorker{store: s, deliver: deliver}
	return w.send(ctx, reminderArgs{salon, reminder}, last)
}

// SettleTime is what a delivery must leave of a job's time.
const SettleTime = settleTime
