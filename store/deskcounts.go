package store

import "context"

// DeskCounts counts what waits for somebody at the desk.
type DeskCounts struct {
	Failed   int // messages that could not be delivered
	Calls    int // messages to be said by telephone
	Requests int // of clients, from their own pages
}

// All is how many things wait altogether.
func (c DeskCounts) All() int { return c.Failed + c.Calls + c.Requests }

// DeskCounts counts what waits for the desk now, from the indexes of what is open.
// A call whose reason is gone is counted until somebody looks at the list of calls.
func (t *Tx) DeskCounts(ctx context.Context) (c DeskCounts, err error) {
	err = t.tx.QueryRow(ctx, `SELECT
		(SELECT count(*) FROM reminder WHERE salon_id = $1 AND state = 'failed'),
		(SELECT count(*) FROM reminder r WHERE salon_id = $1 AND state = 'to_call' AND staff_id IS NULL
			AND NOT EXISTS (SELECT 1 FROM call_try c WHERE c.salon_id = r.salon_id AND c.reminder_id = r.reminder_id AND c.settles)),
		(SELECT count(*) FROM client_request WHERE salon_id = $1 AND settled_at IS NULL)`, t.salon).Scan(&c.Failed, &c.Calls, &c.Requests)
	return c, domain("what waits for the desk", err, false)
}
