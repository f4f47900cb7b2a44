package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/migrations"
)

// Checkup is how the database is, for whoever runs the service. There is nothing
// about anybody in it. What follows Schema is looked at only when Schema is Newest.
type Checkup struct {
	Version        string    // of the server, as "15.18"
	Now            time.Time // by its clock
	Here           time.Time // by this machine's at the same moment
	Size           int64     // of the database in bytes
	Connections    int       // in use on the server
	MaxConnections int
	ReadOnly       bool
	Oldest         time.Duration // of the oldest open transaction
	Newest         int64         // schema that this program knows
	Schema         int64         // 0 for a database without one
	Salons         int
	Damaged        []string      // indexes and constraints that do not hold: names
	Guarded        bool          // the constraint that forbids double bookings is there
	JobsWaiting    int           // due and not begun
	JobsLate       time.Duration // since when the oldest of them is due
	JobsFailed     int           // given up in the last seven days
	MessagesFailed int           // refused or given up, and nobody has laid them aside
	Zones          []string      // of the salons
}

const checkupQuery = `SELECT split_part(current_setting('server_version'), ' ', 1), clock_timestamp(), pg_database_size(current_database()),
	(SELECT count(*) FROM pg_stat_activity WHERE backend_type = 'client backend'), current_setting('max_connections')::int,
	pg_is_in_recovery() OR current_setting('default_transaction_read_only') = 'on',
	coalesce((SELECT extract(epoch FROM now() - min(xact_start)) FROM pg_stat_activity WHERE datname = current_database() AND backend_type = 'client backend'), 0)::float8,
	to_regclass('public.goose_db_version') IS NOT NULL`

// Examine looks at the database at url as it is, without migrating it. Its errors
// hold no address.
func Examine(ctx context.Context, url string) (Checkup, error) {
	var c Checkup
	cfg, err := pgx.ParseConfig(url)
	if err != nil {
		return c, fmt.Errorf("store: examine: %w", errAddress)
	}
	conn, err := pgx.ConnectConfig(ctx, cfg)
	if err != nil {
		return c, fmt.Errorf("store: examine: %w", ErrUnavailable)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	var oldest float64
	var migrated bool
	before := time.Now()
	if err := conn.QueryRow(ctx, checkupQuery).Scan(&c.Version, &c.Now, &c.Size, &c.Connections, &c.MaxConnections, &c.ReadOnly, &oldest, &migrated); err != nil {
		return c, domain("examine", err, false)
	}
	c.Here = before.Add(time.Since(before) / 2)
	c.Oldest, c.Newest = time.Duration(oldest*float64(time.Second)), migrations.Newest()
	if !migrated {
		return c, nil
	}
	if err := conn.QueryRow(ctx, `SELECT coalesce(max(version_id), 0) FROM goose_db_version WHERE is_applied`).Scan(&c.Schema); err != nil {
		return c, domain("examine", err, false)
	}
	if c.Schema != c.Newest {
		return c, nil
	}
	return c, c.content(ctx, conn)
}

func (c *Checkup) content(ctx context.Context, conn *pgx.Conn) error {
	var late float64
	err := conn.QueryRow(ctx, `SELECT
		(SELECT count(*) FROM salon),
		(SELECT coalesce(array_agg(DISTINCT zone ORDER BY zone), '{}') FROM salon),
		ARRAY(SELECT i.indexrelid::regclass::text FROM pg_index i JOIN pg_class k ON k.oid = i.indexrelid WHERE k.relnamespace = 'public'::regnamespace AND NOT (i.indisvalid AND i.indisready)
			UNION ALL SELECT conname::text FROM pg_constraint WHERE connamespace = 'public'::regnamespace AND NOT convalidated),
		EXISTS (SELECT FROM pg_constraint WHERE conrelid = 'public.block'::regclass AND conname = 'block_no_overlap' AND contype = 'x' AND convalidated),
		(SELECT count(*) FROM river_job WHERE state = 'available' AND scheduled_at <= now()),
		coalesce((SELECT extract(epoch FROM now() - min(scheduled_at)) FROM river_job WHERE state = 'available' AND scheduled_at <= now()), 0)::float8,
		(SELECT count(*) FROM river_job WHERE state = 'discarded' AND finalized_at > now() - interval '7 days'),
		(SELECT count(*) FROM reminder WHERE state = 'failed')`).
		Scan(&c.Salons, &c.Zones, &c.Damaged, &c.Guarded, &c.JobsWaiting, &late, &c.JobsFailed, &c.MessagesFailed)
	c.JobsLate = time.Duration(late * float64(time.Second))
	return domain("examine", err, false)
}

// ZoneOffsets is how far the clocks of a zone are ahead of UTC at noon of each of
// the days from a date on, by the zone data of the database server, in seconds.
func ZoneOffsets(ctx context.Context, url, zone string, from time.Time, days int) ([]int, error) {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return nil, fmt.Errorf("store: zone: %w", ErrUnavailable)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	rows, err := conn.Query(ctx, `SELECT extract(epoch FROM (t AT TIME ZONE $1) - (t AT TIME ZONE 'UTC'))::int
		FROM generate_series($2::timestamptz, $2::timestamptz + make_interval(hours => 24 * ($3 - 1)), interval '24 hours') t`, zone, from, days)
	if err != nil {
		return nil, domain("zone", err, false)
	}
	list, err := pgx.CollectRows(rows, pgx.RowTo[int])
	return list, domain("zone", err, false)
}
