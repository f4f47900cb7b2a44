package store

import (
	"context"
	"encoding/json"
	"time"
)

// HairVisit is a service of a client's past visit with the hair it was worked
// out for.
type HairVisit struct {
	Visit     string          `db:"visit_id"`
	State     VisitState      `db:"state"` // Finished or StoppedEarly
	Start     time.Time       `db:"starts_at"`
	End       time.Time       `db:"ended_at"` // the real one
	Name      string          `db:"name"`
	Aftercare bool            `db:"aftercare"` // the service straightens
	Retouch   bool            `db:"retouch"`
	Hair      json.RawMessage `db:"hair"` // as JSON of the door that took it; nil for services of fixed length
}

// HairVisits lists the services of a client's visits that came to an end, oldest
// first.
func (t *Tx) HairVisits(ctx context.Context, client string) ([]HairVisit, error) {
	const q = `
		SELECT v.visit_id, v.state, v.starts_at, coalesce(v.finished_at, v.ends_at) AS ended_at, k.name, k.aftercare, k.retouch, e.hair
		FROM visit v
		JOIN visit_service x ON x.salon_id = v.salon_id AND x.visit_id = v.visit_id
		JOIN service_version k ON k.salon_id = x.salon_id AND k.service_id = x.service_id AND k.service_version = x.service_version
		LEFT JOIN estimate e ON e.salon_id = x.salon_id AND e.estimate_id = x.estimate_id
		WHERE v.salon_id = $1 AND v.client_id = $2 AND v.state IN ('finished', 'stopped_early')
		ORDER BY ended_at, v.visit_id, x.ordinal`
	return collect[HairVisit](ctx, t, "hair of visits", q, t.salon, client)
}
