package webtest

import (
	"database/sql"
	"fmt"
	"slices"
	"strings"

	"github.com/stretchr/testify/require"
)

// Contents tells what every table but some holds, as one hash each. When something was
// used last does not count.
func (s *Salon) Contents(but ...string) map[string]string {
	s.t.Helper()
	db, err := sql.Open("pgx", s.database) // the driver comes along with package store
	require.NoError(s.t, err)
	defer db.Close()
	rows, err := db.Query(`SELECT table_name FROM information_schema.tables WHERE table_schema = 'public' AND table_type = 'BASE TABLE'`)
	require.NoError(s.t, err)
	defer rows.Close()
	var parts []string
	for rows.Next() {
		var name string
		require.NoError(s.t, rows.Scan(&name))
		if !slices.Contains(but, name) {
			parts = append(parts, fmt.Sprintf(`SELECT '%s', count(*) || ' ' || md5(coalesce(string_agg(h, '' ORDER BY h), ''))
				FROM (SELECT md5((to_jsonb(t) - 'last_used_at' - 'readings')::text) AS h FROM %q t) x`, name, name))
		}
	}
	require.NoError(s.t, rows.Err())
	found, err := db.Query(strings.Join(parts, " UNION ALL "))
	require.NoError(s.t, err)
	defer found.Close()
	out := map[string]string{}
	for found.Next() {
		var name, content string
		require.NoError(s.t, found.Scan(&name, &content))
		out[name] = content
	}
	require.NoError(s.t, found.Err())
	return out
}
