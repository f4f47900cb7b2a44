package store

import "context"

// DueNow reads again, at the moment of sending, what a message is about. Until the
// transaction ends nobody changes its visit, nor what is on record of its client.
// It returns scheduling.ErrNotFound when the message is gone.
func (t *Tx) DueNow(ctx context.Context, d Due) (Due, error) {
	if _, err := t.LockVisit(ctx, d.Reminder.Visit, 0); err != nil {
		return Due{}, err
	}
	r, err := t.ReminderByID(ctx, d.Reminder.ID)
	if err != nil {
		return Due{}, err
	}
	now, err := t.due(ctx, r)
	now.Attempt, now.Lost = d.Attempt, d.Lost
	return now, err
}
