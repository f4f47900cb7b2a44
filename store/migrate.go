package store

import (
	"context"
	"database/sql"
	"fmt"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"chairblock/migrations"
)

// Migrate brings the database at url to the newest schema. Several processes
// may call it at once: one does the work, the others wait for it.
func Migrate(ctx context.Context, url string) error {
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil {
		return fmt.Errorf("store: migrate: %w", errAddress)
	}
	cfg.MaxConns = 4 // one holds a lock while another works, whatever the address asks for
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return fmt.Errorf("store: migrate: %w", err)
	}
	defer pool.Close()
	db := stdlib.OpenDBFromPool(pool)
	defer db.Close()
	if err := migrateOwn(ctx, db); err != nil {
		return err
	}
	m, err := rivermigrate.New(riverpgxv5.New(pool), nil)
	if err != nil {
		return fmt.Errorf("store: migrate jobs: %w", err)
	}
	// The library has no lock of its own; ours is held for the session.
	conn, err := pool.Acquire(ctx)
	if err != nil {
		return fmt.Errorf("store: migrate jobs: %w", err)
	}
	defer conn.Release()
	const key = 6_203_515 // any number that nothing else locks
	if _, err := conn.Exec(ctx, `SELECT pg_advisory_lock($1)`, key); err != nil {
		return fmt.Errorf("store: migrate jobs: %w", err)
	}
	defer conn.Exec(context.WithoutCancel(ctx), `SELECT pg_advisory_unlock($1)`, key) //nolint:errcheck // the session ends anyway
	if _, err := m.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
		return fmt.Errorf("store: migrate jobs: %w", err)
	}
	if _, err := conn.Exec(ctx, migrations.AfterJobs); err != nil {
		return fmt.Errorf("store: migrate jobs: %w", err)
	}
	return nil
}

func migrateOwn(ctx context.Context, db *sql.DB) error {
	// One try a second for a minute (judgement): the five of the library make a second
	// start wait long.
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 60))
	if err != nil {
		return fmt.Errorf("store: migrate: %w", err)
	}
	p, err := goose.NewProvider(goose.DialectPostgres, db, migrations.FS, goose.WithSessionLocker(locker))
	if err != nil {
		return fmt.Errorf("store: migrate: %w", err)
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("store: migrate: %w", err)
	}
	return nil
}
