package storetest_test

import (
	"database/sql"
	"testing"

	_ "github.com/jackc/pgx/v5/stdlib"
	"github.com/stretchr/testify/require"

	"chairblock/store/storetest"
)

func TestContentsTellOfWhatWasWrittenAndOfNothingElse(t *testing.T) {
	t.Parallel()
	db, err := sql.Open("pgx", storetest.URL(t))
	require.NoError(t, err)
	defer db.Close()
	_, err = db.Exec(`CREATE TABLE towel (towel_id int PRIMARY KEY, last_used_at timestamptz, colour text); INSERT INTO towel VALUES (1, NULL, 'white')`)
	require.NoError(t, err)
	contents := storetest.Contents(t, db)
	first := contents()
	require.Equal(t, first, contents())

	tx, err := db.Begin()
	require.NoError(t, err)
	_, err = tx.Exec(`UPDATE towel SET colour = 'grey'`)
	require.NoError(t, err)
	require.Equal(t, first, contents(), "not committed yet")
	require.NoError(t, tx.Rollback())
	require.Equal(t, first, contents(), "rolled back")

	for _, x := range []struct {
		statement string
		same      bool
	}{{`UPDATE towel SET last_used_at = now()`, true}, {`UPDATE towel SET colour = 'grey'`, false}, {`DELETE FROM towel`, false}} {
		before := contents()
		_, err = db.Exec(x.statement)
		require.NoError(t, err)
		if after := contents(); x.same {
			require.Equal(t, before, after, x.statement)
		} else {
			require.NotEqual(t, before["towel"], after["towel"], x.statement)
		}
	}
}
