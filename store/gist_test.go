package store_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// requireIndexed holds what is found by the indexes of time against the tables.
func (s *salon) requireIndexed(of ...any) {
	s.t.Helper()
	const ever = ` && '[2000-01-01, 2100-01-01)'::tstzrange`
	for index, q := range map[string][2]string{
		"visit_by_time":    {`FROM visit v WHERE v.salon_id || '' = $1 AND tstzrange(v.starts_at, v.ends_at)` + ever, `FROM visit WHERE salon_id = $1`},
		"block_by_time":    {`FROM block WHERE salon_id || '' = $1 AND span` + ever, `FROM block WHERE salon_id = $1`},
		"block_no_overlap": {`FROM unit u, LATERAL (SELECT FROM block b WHERE ` + store.BlocksOf("u.salon_id", "u.unit_id") + ` AND span` + ever + ` OFFSET 0) b WHERE u.salon_id = $1`, `FROM block WHERE salon_id = $1`},
	} {
		tx, err := s.db.Begin(s.t.Context())
		require.NoError(s.t, err)
		ask := func(settings, q string) (n int) {
			_, err := tx.Exec(s.t.Context(), settings)
			require.NoError(s.t, err)
			require.NoError(s.t, tx.QueryRow(s.t.Context(), `SELECT count(*) `+q, s.row.ID).Scan(&n))
			return n
		}
		found := ask(`SET LOCAL enable_seqscan = off; SET LOCAL enable_bitmapscan = off`, q[0])
		there := ask(`SET LOCAL enable_seqscan = on; SET LOCAL enable_indexscan = off; SET LOCAL enable_indexonlyscan = off`, q[1])
		require.NoError(s.t, tx.Rollback(s.t.Context()))
		require.Equal(s.t, there, found, "%s: %v", index, of)
	}
}

// A GiST index with a column that other questions name is taken for them, too, and then
// PostgreSQL may lose rows in it, see migrations/00064_gist_apart.sql.
func TestNoGistIndexAnswersWhatIsNotAboutTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 2)
	const gist = `FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid JOIN pg_am m ON m.oid = c.relam AND m.amname = 'gist'`
	require.Equal(t, 5, value[int](s, `SELECT count(*) `+gist+``))
	require.Zero(t, value[int](s, `SELECT count(*) `+gist+`, unnest(i.indkey) k JOIN pg_attribute a ON a.attnum = k JOIN pg_type y ON y.oid = a.atttypid
		WHERE a.attrelid = i.indrelid AND y.typtype <> 'r'`), "columns that are no ranges")
}
