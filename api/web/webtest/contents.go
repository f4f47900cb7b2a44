package webtest

import (
	"chairblock/store/storetest"
	"database/sql"

	"github.com/stretchr/testify/require"
)

// Contents tells what every table but some holds, see storetest.Contents.
func (s *Salon) Contents(but ...string) map[string]string {
	s.t.Helper()
	db, err := sql.Open("pgx", s.database) // the driver comes along with package store
	require.NoError(s.t, err)
	defer db.Close()
	return storetest.Contents(s.t, db, but...)()
}
