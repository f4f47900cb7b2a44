package store_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/store/storetest"
)

// startsInSQL finds all starts with multiranges: for every run of a chair that is
// long enough for the whole visit, and every lead, backwards from the last step.
// The table of free time and the runs are given. A set of starts of the next step
// becomes one of this step when each of its ranges is moved to the left by the
// step's length and the wait; then it is met with the starts at which everybody
// is free for long enough.
const startsInSQL = `
WITH RECURSIVE alone AS MATERIALIZED ( -- starts at which one unit is free for a step
	SELECT i, unit, kind, range_agg(int4range(lower(r), upper(r) - minutes + 1)) AS starts
	FROM step, free, unnest(spans) r
	WHERE upper(r) - lower(r) >= minutes
	  AND (kind = 'stylist' AND (lead OR hands) OR kind = 'assistant' AND hands OR kind = 'basin' AND basin)
	GROUP BY i, unit, kind
), either AS MATERIALIZED ( -- starts at which a step has a basin, or a pair of hands
	SELECT i, kind = 'basin' AS basin, range_agg(x) AS starts
	FROM alone JOIN step USING (i), unnest(starts) x WHERE NOT lead GROUP BY 1, 2
), enough AS MATERIALIZED ( -- starts by step and lead, whose unit is null where the lead is not needed
	SELECT i, unit, starts FROM alone JOIN step USING (i) WHERE lead
	UNION ALL
	SELECT a.i, NULL, a.starts * coalesce(b.starts, int4multirange(int4range(0, NULL)))
	FROM either a LEFT JOIN either b ON b.i = a.i AND b.basin <> a.basin WHERE a.basin OR b.i IS NULL
), inside AS MATERIALIZED ( -- the same inside a run of a chair
	SELECT run.id, step.i, enough.unit, coalesce(starts, int4multirange(int4range(0, NULL))) *
		int4multirange(int4range(lower(span), upper(span) - minutes + 1)) AS starts
	FROM step LEFT JOIN enough USING (i), run
), back AS (
	SELECT id, unit, i, starts FROM inside WHERE i = (SELECT max(i) FROM step)
	UNION ALL
	SELECT back.id, back.unit, step.i, inside.starts *
		(SELECT range_agg(int4range(lower(x) - minutes - most, upper(x) - minutes - least)) FROM unnest(back.starts) x)
	FROM back JOIN step ON step.i = back.i - 1
	JOIN inside ON inside.id = back.id AND inside.i = back.i - 1 AND (inside.unit = back.unit OR inside.unit IS NULL)
	WHERE NOT isempty(back.starts)
)
SELECT lower(r), upper(r) - 1
FROM (SELECT range_agg(s) AS all_starts FROM back, unnest(back.starts) s WHERE back.i = 0) x, unnest(all_starts) r
ORDER BY 1`

// freeTables is a connection whose temporary tables hold the free time of the
// question.
func freeTables(t testing.TB, q question) *pgx.Conn {
	t.Helper()
	ctx := t.Context()
	conn, err := pgx.Connect(ctx, storetest.URL(t))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, conn.Close(context.WithoutCancel(ctx))) })
	exec := func(sql string, args ...any) {
		_, err := conn.Exec(ctx, sql, args...)
		require.NoError(t, err)
	}
	exec(`CREATE TEMP TABLE free (unit text, kind text, spans int4multirange);
		CREATE TEMP TABLE run (id int GENERATED ALWAYS AS IDENTITY, span int4range);
		CREATE TEMP TABLE step (i int, minutes int, lead bool, basin bool, hands bool, least int, most int)`)
	shortest := openings.Minute(0)
	for i, ph := range q.Visit.Phases {
		wait := openings.Gap{}
		if i < len(q.Visit.Gaps) {
			wait = q.Visit.Gaps[i]
		}
		shortest += ph.Minutes + wait.Min
		uses := q.uses(i)
		exec(`INSERT INTO step VALUES ($1, $2, $3, $4, $5, $6, $7)`, i, ph.Minutes, uses.lead, uses.basin, uses.hands, wait.Min, wait.Max)
	}
	for u, unit := range q.Shop.Units {
		var spans []string
		for _, s := range q.free[u] {
			spans = append(spans, fmt.Sprintf("[%d,%d)", s.From, s.To))
			if unit.Kind == openings.Chair && s.To-s.From >= shortest {
				exec(`INSERT INTO run (span) VALUES (int4range($1, $2))`, s.From, s.To)
			}
		}
		exec(`INSERT INTO free VALUES ($1, $2, $3::text::int4multirange)`, unit.ID, string(unit.Kind), "{"+strings.Join(spans, ",")+"}")
	}
	exec(`CREATE INDEX ON step (i); ANALYZE free; ANALYZE run; ANALYZE step`)
	return conn
}

// startsBySQL returns the ranges of starts.
func startsBySQL(t testing.TB, conn *pgx.Conn) []openings.StartRange {
	rows, err := conn.Query(t.Context(), startsInSQL)
	require.NoError(t, err)
	out, err := pgx.CollectRows(rows, pgx.RowToStructByPos[openings.StartRange])
	require.NoError(t, err)
	return out
}
