package store

import (
	"context"
	"time"
)

// VisitLine is a visit in short, as lists of one client's visits show it.
type VisitLine struct {
	ID         string     `db:"visit_id"`
	State      VisitState `db:"state"`
	Start      time.Time  `db:"starts_at"`
	End        time.Time  `db:"ends_at"`
	PriceCents int64      `db:"price_cents"`
	FromCents  int64      `db:"from_cents"` // with ToCents: between which it lies, as PriceCents once it is firm
	ToCents    int64      `db:"to_cents"`
	Services   []string   `db:"services"` // names, in order
	Lead       string     `db:"lead_id"`  // of the first service
}

// VisitLines lists the latest visits of a client, the latest first, at most limit.
func (t *Tx) VisitLines(ctx context.Context, client string, limit int) ([]VisitLine, error) {
	return collect[VisitLine](ctx, t, "visits in short", `
		SELECT v.visit_id, v.state, v.starts_at, v.ends_at, v.price_cents,
			v.price_cents + coalesce(x.less, 0) AS from_cents, v.price_cents + coalesce(x.more, 0) AS to_cents, coalesce(x.services, '{}') AS services, coalesce(x.lead_id, '') AS lead_id
		FROM (SELECT * FROM visit WHERE salon_id = $1 AND client_id = $2 ORDER BY starts_at DESC, visit_id LIMIT $3) v
		LEFT JOIN LATERAL (
			SELECT array_agg(k.name ORDER BY s.ordinal) AS services, (array_agg(s.lead_id ORDER BY s.ordinal))[1] AS lead_id,
				(sum(s.price_from_cents - s.price_cents) FILTER (WHERE s.price_open))::bigint AS less,
				(sum(s.price_to_cents - s.price_cents) FILTER (WHERE s.price_open))::bigint AS more
			FROM visit_service s JOIN service_version k USING (salon_id, service_id, service_version)
			WHERE s.salon_id = v.salon_id AND s.visit_id = v.visit_id
		) x ON true ORDER BY v.starts_at DESC, v.visit_id`, t.salon, client, limit)
}
