package api_test

import (
	"chairblock/store/storetest"
	"database/sql"
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

// tables returns a function that tells what every table holds, see
// storetest.Contents; who read about health when does not count.
func (s *salon) tables() func() map[string]string {
	s.t.Helper()
	return storetest.Contents(s.t, s.db(), "river_leader", "goose_db_version", "health_read")
}
