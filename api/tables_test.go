package api_test

import (
	"database/sql"
	"fmt"
	"strings"
	"sync"

	"github.com/stretchr/testify/require"
)

// db opens the salon's database beside the server, through the driver that
// package store brings along.
func (s *salon) db() *sql.DB {
	s.t.Helper()
	s.beside.once.Do(func() {
		s.beside.db, s.beside.err = sql.Open("pgx", s.url)
		if s.beside.err != nil {
			return
		}
		s.beside.db.SetMaxIdleConns(1) // making a connection takes longer than most of what is asked; the cluster has few of them
	})
	require.NoError(s.t, s.beside.err)
	return s.beside.db
}

// beside is a salon's database beside its server, opened when it is first asked for.
type beside struct {
	once sync.Once
	db   *sql.DB
	err  error
}

func (b *beside) close() {
	if b.db != nil {
		_ = b.db.Close()
	}
}

// tables returns a function that tells what every table holds, as one hash
// each. When a secret was last used, and who read about health when, do not count:
// reading is meant to note them.
func (s *salon) tables() func() map[string]string {
	s.t.Helper()
	db := s.db()
	rows, err := db.Query(`SELECT table_name FROM information_schema.tables
		WHERE table_schema = 'public' AND table_type = 'BASE TABLE' AND table_name NOT IN ('river_leader', 'goose_db_version', 'health_read')`)
	require.NoError(s.t, err)
	defer rows.Close()
	var parts []string
	for rows.Next() {
		var name string
		require.NoError(s.t, rows.Scan(&name))
		if name == "audit" { // lines of it never change, and there are many
			parts = append(parts, `SELECT 'audit', count(*)::text FROM audit`)
			continue
		}
		parts = append(parts, fmt.Sprintf(`SELECT '%s', count(*) || ' ' || md5(coalesce(string_agg(h, '' ORDER BY h), ''))
			FROM (SELECT md5((to_jsonb(t) - 'last_used_at' - 'readings')::text) AS h FROM %q t) x`, name, name))
	}
	require.NoError(s.t, rows.Err())
	query := strings.Join(parts, " UNION ALL ")
	return func() map[string]string {
		s.t.Helper()
		rows, err := db.Query(query)
		require.NoError(s.t, err)
		defer rows.Close()
		out := map[string]string{}
		for rows.Next() {
			var name, sum string
			require.NoError(s.t, rows.Scan(&name, &sum))
			out[name] = sum
		}
		require.NoError(s.t, rows.Err())
		return out
	}
}
