package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// UnitUse is for how long visits had one person or station in a week, on one
// weekday.
type UnitUse struct {
	Unit    string  `db:"unit_id"`
	Monday  string  `db:"monday"`  // of the week, 2006-01-02
	Weekday int     `db:"weekday"` // 1 Monday to 7 Sunday
	Minutes float64 `db:"minutes"`
}

// UseOfUnits adds up what was reserved from..to by the days of zone, an IANA
// name, each block on the day on which it begins. Pencilled visits do not count.
func (t *Tx) UseOfUnits(ctx context.Context, zone string, from, to time.Time) ([]UnitUse, error) {
	return collect[UnitUse](ctx, t, "use of units", `
		SELECT unit_id, to_char(day - (isodow - 1) * interval '1 day', 'YYYY-MM-DD') AS monday, isodow AS weekday, sum(minutes)::float8 AS minutes
		FROM (SELECT b.unit_id, date_trunc('day', b.starts_at AT TIME ZONE $2) AS day,
				extract(isodow FROM b.starts_at AT TIME ZONE $2)::int AS isodow, extract(epoch FROM b.ends_at - b.starts_at) / 60 AS minutes
			FROM block b JOIN visit v USING (salon_id, visit_id)
			WHERE b.salon_id || '' = $1 AND b.span && tstzrange($3, $4) AND b.starts_at >= $3 AND b.starts_at < $4 AND v.state <> 'held') x
		GROUP BY unit_id, day, isodow`, t.salon, zone, from, to)
}

// MonthOfVisits counts the visits that began in a month by what became of them.
type MonthOfVisits struct {
	Month     string `db:"month"` // 2006-01
	Came      int    `db:"came"`  // finished or stopped early
	Stopped   int    `db:"stopped"`
	Missed    int    `db:"missed"`
	Cancelled int    `db:"cancelled"`
}

// MonthsOfVisits counts visits that began from..to by the months of zone, oldest
// first. Kept time does not count.
func (t *Tx) MonthsOfVisits(ctx context.Context, zone string, from, to time.Time) ([]MonthOfVisits, error) {
	return collect[MonthOfVisits](ctx, t, "months of visits", `
		SELECT to_char(v.starts_at AT TIME ZONE $2, 'YYYY-MM') AS month,
			count(*) FILTER (WHERE v.state IN ('finished', 'stopped_early'))::int AS came,
			count(*) FILTER (WHERE v.state = 'stopped_early')::int AS stopped,
			count(*) FILTER (WHERE v.state = 'missed')::int AS missed,
			count(*) FILTER (WHERE v.state = 'cancelled')::int AS cancelled
		FROM visit v WHERE v.salon_id = $1 AND v.starts_at >= $3 AND v.starts_at < $4
			AND EXISTS (SELECT 1 FROM visit_service x WHERE x.salon_id = v.salon_id AND x.visit_id = v.visit_id)
		GROUP BY 1 ORDER BY 1`, t.salon, zone, from, to)
}

// LeadTime is how long before their start visits were written down.
type LeadTime struct {
	Visits int
	// Hours are the times within which 1, 2.5, 5, 7.5 and 9 of 10 visits were
	// written down, empty without visits.
	Hours []float64
	// Bins counts them by whole days of the calendar: 0 days, up to 2, 6, 13, 27, 55
	// and 90 days, and more.
	Bins [8]int
}

// LeadTimes looks at the visits of clients that began from..to and were written
// down before they began; walk-ins and kept time are left out.
func (t *Tx) LeadTimes(ctx context.Context, zone string, from, to time.Time) (LeadTime, error) {
	const of = ` FROM visit WHERE salon_id = $1 AND starts_at >= $2 AND starts_at < $3 AND starts_at > created_at AND client_id IS NOT NULL
		AND state NOT IN ('held', 'lapsed')`
	var l LeadTime
	err := t.tx.QueryRow(ctx, `SELECT count(*)::int, coalesce(percentile_cont(ARRAY[0.1, 0.25, 0.5, 0.75, 0.9])
		WITHIN GROUP (ORDER BY extract(epoch FROM starts_at - created_at)::float8 / 3600), '{}')`+of, t.salon, from, to).Scan(&l.Visits, &l.Hours)
	if err != nil {
		return l, domain("lead times", err, false)
	}
	rows, err := t.tx.Query(ctx, `SELECT width_bucket((starts_at AT TIME ZONE $4)::date - (created_at AT TIME ZONE $4)::date,
		ARRAY[1, 3, 7, 14, 28, 56, 91]) AS bin, count(*)::int`+of+` GROUP BY 1`, t.salon, from, to, zone)
	if err != nil {
		return l, domain("lead times", err, false)
	}
	var bin, n int
	_, err = pgx.ForEachRow(rows, []any{&bin, &n}, func() error {
		l.Bins[bin] = n
		return nil
	})
	return l, domain("lead times", err, false)
}

// VisitsTaking lists the visits that are booked or under way and take a product.
func (t *Tx) VisitsTaking(ctx context.Context, product string) ([]string, error) {
	rows, err := t.tx.Query(ctx, `
		SELECT DISTINCT v.visit_id FROM visit_product x JOIN visit v USING (salon_id, visit_id)
		WHERE x.salon_id = $1 AND x.product_id = $2 AND v.state IN ('held', 'booked', 'arrived', 'under_way') ORDER BY v.visit_id`, t.salon, product)
	if err != nil {
		return nil, domain("visits taking", err, false)
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[string])
	return ids, domain("visits taking", err, false)
}

// BookedWith counts the visits to come that were booked with a version of a
// service.
func (t *Tx) BookedWith(ctx context.Context, service string, from time.Time) (int, error) {
	var n int
	err := t.tx.QueryRow(ctx, `
		SELECT count(DISTINCT v.visit_id)::int FROM visit_service x JOIN visit v USING (salon_id, visit_id)
		WHERE x.salon_id = $1 AND x.service_id = $2 AND v.starts_at > $3 AND v.state IN ('held', 'booked')`, t.salon, service, from).Scan(&n)
	return n, domain("booked with", err, false)
}
