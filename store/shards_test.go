package store_test

import (
	"maps"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// gistBySalon is said of exclusion constraints.
const gistBySalon = "begins with an expression of the salon, which does for several databases; an engine that lays rows by a column asks for the column"

// notBySalon are tables and keys that do not begin with the salon, and why a host that
// spreads salons over several databases can live with it.
var notBySalon = map[string]string{
	"sessions":                  "of the session library, which knows no salons: browser_session says whose they are",
	"sessions_pkey":             "as the table",
	"browser_key":               "one row that vouches for browsers of all salons: every database has a copy",
	"browser_key_pkey":          "as the table",
	"block_no_overlap":          gistBySalon,
	"visit_client_once":         gistBySalon,
	"staff_rota_apart":          gistBySalon,
	"salon_key_key":             "the way from a secret to its salon; it belongs into the directory of salons",
	"browser_session_token_key": "a hash of a random token, which is unique without it; the directory would have to know it",
	"goose_db_version":          "which migrations have run: every database has its own",
	"goose_db_version_pkey":     "as the table",
	"river_job":                 "jobs lie in the database of their salon, whose id is among their arguments",
	"river_job_pkey":            "a number drawn in one database, of meaning there alone",
	"river_job_unique_idx":      "hashes of arguments, which name the salon",
	"river_leader":              "of the job library: one leader for each database",
	"river_leader_pkey":         "as the table",
	"river_migration":           "of the job library",
	"river_migration_pkey1":     "as the table",
	"river_notification":        "of the job library",
	"river_notification_pkey":   "as the table",
	"river_queue":               "of the job library",
	"river_queue_pkey":          "as the table",
}

// TestTheSalonLeadsEveryKey holds the schema ready for an engine that lays rows by one
// column: it wants that column in every primary, unique, exclusion and foreign key.
func TestTheSalonLeadsEveryKey(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 2)
	wrong := rows[string](s, `
		SELECT c.relname::text FROM pg_class c WHERE c.relkind = 'r' AND c.relnamespace = current_schema()::regnamespace
			AND NOT EXISTS (SELECT FROM pg_attribute a WHERE a.attrelid = c.oid AND a.attnum = 1 AND a.attname = 'salon_id')
		UNION ALL
		SELECT i.relname::text FROM pg_index x JOIN pg_class i ON i.oid = x.indexrelid JOIN pg_class c ON c.oid = x.indrelid
		LEFT JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = x.indkey[0]
		WHERE c.relnamespace = current_schema()::regnamespace AND (x.indisunique OR x.indisexclusion) AND a.attname IS DISTINCT FROM 'salon_id'
		UNION ALL
		SELECT f.conname::text FROM pg_constraint f JOIN pg_class c ON c.oid = f.conrelid
		LEFT JOIN pg_attribute a ON a.attrelid = f.conrelid AND a.attnum = f.conkey[1]
		LEFT JOIN pg_attribute r ON r.attrelid = f.confrelid AND r.attnum = f.confkey[1]
		WHERE c.relnamespace = current_schema()::regnamespace AND f.contype = 'f' AND (a.attname <> 'salon_id' OR r.attname <> 'salon_id')`)
	require.ElementsMatch(t, slices.Collect(maps.Keys(notBySalon)), wrong,
		"say why it is harmless that the first column is another than salon_id, or begin with the salon")
}
