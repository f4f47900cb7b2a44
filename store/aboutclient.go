package store

import (
	"context"
	"time"
)

// EstimatesOf lists every estimate that was made for a client, the latest first.
func (t *Tx) EstimatesOf(ctx context.Context, client string) ([]Estimate, error) {
	return collect[Estimate](ctx, t, "estimates", `SELECT estimate_id, service_id, service_version, client_id, head_id, hair, result, created_at
		FROM estimate WHERE salon_id = $1 AND client_id = $2 ORDER BY created_at DESC, estimate_id DESC`, t.salon, client)
}

// Invited is an invitation that was sent about a visit, with its last answer.
type Invited struct {
	Visit    string     `db:"visit_id"`
	Attendee string     `db:"attendee"` // mail address
	Sent     time.Time  `db:"sent_at"`  // the last time
	Answer   string     `db:"answer"`   // accepted, declined, tentative, or "" for none
	Answered *time.Time `db:"received_at"`
}

// InvitationsOfClient lists what was sent to calendars about the visits of a client,
// the latest first.
func (t *Tx) InvitationsOfClient(ctx context.Context, client string) ([]Invited, error) {
	return collect[Invited](ctx, t, "invitations", `SELECT i.visit_id, i.attendee, i.sent_at, coalesce(r.answer, '') AS answer, r.received_at
		FROM visit v JOIN invitation i USING (salon_id, visit_id)
		LEFT JOIN LATERAL (SELECT answer, received_at FROM invitation_reply r WHERE r.salon_id = i.salon_id AND r.visit_id = i.visit_id AND r.attendee = i.attendee
			ORDER BY received_at DESC, reply_id DESC LIMIT 1) r ON true
		WHERE v.salon_id = $1 AND v.client_id = $2 ORDER BY i.sent_at DESC, i.visit_id, i.attendee`, t.salon, client)
}

// HealthReadsOf lists who did what with what is on record of a client's health, the
// latest first.
func (t *Tx) HealthReadsOf(ctx context.Context, client string) ([]HealthRead, error) {
	return collect[HealthRead](ctx, t, "readings", `SELECT r.read_id, r.about, r.screening_id, $2::text AS client_id, r.read_at, r.what, r.role, r.staff_id, r.token_id
		FROM health_read r WHERE r.salon_id = $1 AND (r.client_id = $2
			OR r.screening_id IN (SELECT screening_id FROM screening s WHERE s.salon_id = $1 AND s.client_id = $2))
		ORDER BY r.read_id DESC`, t.salon, client)
}
