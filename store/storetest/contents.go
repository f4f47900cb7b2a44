package storetest

import (
	"crypto/rand"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
)

// Contents returns a function that tells what every table of a database holds, but
// those named, as one hash each. When a secret was last used does not count: reading is
// meant to note it. Of the log of changes only the number of lines counts: none of
// them ever changes, and there are many.
//
// A server on which no transaction has written since the last call is not read again.
func Contents(t testing.TB, db *sql.DB, but ...string) func() map[string]string {
	t.Helper()
	var parts []string
	for _, x := range pairs(t, db, `SELECT table_name, '' FROM information_schema.tables WHERE table_schema = 'public' AND table_type = 'BASE TABLE'`) {
		switch name := x[0]; {
		case slices.Contains(but, name):
		case name == "audit":
			parts = append(parts, `SELECT 'audit', count(*)::text FROM audit`)
		default:
			parts = append(parts, fmt.Sprintf(`SELECT '%s', count(*) || ' ' || md5(coalesce(string_agg(h, '' ORDER BY h), ''))
				FROM (SELECT md5((to_jsonb(t) - 'last_used_at' - 'readings')::text) AS h FROM %q t) x`, name, name))
		}
	}
	query := strings.Join(parts, " UNION ALL ")
	var held map[string]string
	var at string
	return func() map[string]string {
		t.Helper()
		now := written(t, db)
		if held != nil && now == at {
			return maps.Clone(held)
		}
		held, at = map[string]string{}, now
		for _, x := range pairs(t, db, query) {
			held[x[0]] = x[1]
		}
		return maps.Clone(held)
	}
}

// written is the same text twice when nothing was written in between: whoever writes
// takes the next number of a transaction. While somebody is writing it is never the
// same.
func written(t testing.TB, db *sql.DB) string {
	t.Helper()
	x := pairs(t, db, `SELECT pg_snapshot_xmin(s)::text, pg_snapshot_xmax(s)::text FROM pg_current_snapshot() AS s`)[0]
	if x[0] != x[1] {
		return rand.Text()
	}
	return x[1]
}

// pairs are the rows of a query with two columns of text.
func pairs(t testing.TB, db *sql.DB, query string) (out [][2]string) {
	t.Helper()
	rows, err := db.QueryContext(t.Context(), query)
	if err != nil {
		t.Fatalf("storetest: contents: %v", err)
	}
	defer rows.Close()
	for rows.Next() {
		var x [2]string
		if err := rows.Scan(&x[0], &x[1]); err != nil {
			t.Fatalf("storetest: contents: %v", err)
		}
		out = append(out, x)
	}
	if err := rows.Err(); err != nil {
		t.Fatalf("storetest: contents: %v", err)
	}
	return out
}
