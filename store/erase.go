package store

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
)

// eraseArgs is the job that erases what is on record about health and too old.
type eraseArgs struct{}

// Kind names the job.
func (eraseArgs) Kind() string { return "erase_health" }

type eraseWorker struct {
	river.WorkerDefaults[eraseArgs]
	store *Store
}

// eraseEvery is how often it runs, beside once at every start.
const eraseEvery = 24 * time.Hour

func eraseDaily() *river.PeriodicJob {
	return river.NewPeriodicJob(river.PeriodicInterval(eraseEvery),
		func() (river.JobArgs, *river.InsertOpts) { return eraseArgs{}, nil }, &river.PeriodicJobOpts{RunOnStart: true})
}

// Work erases in every salon what is older than the salon keeps. It needs no key.
func (w *eraseWorker) Work(ctx context.Context, _ *river.Job[eraseArgs]) error {
	rows, err := w.store.pool.Query(ctx, `SELECT salon_id FROM salon`)
	if err != nil {
		return domain("old screenings", err, false)
	}
	salons, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return domain("old screenings", err, false)
	}
	var all error
	for _, id := range salons {
		all = errors.Join(all, w.store.InTx(ctx, id, func(t *Tx) error { _, err := t.EraseOld(ctx, time.Now()); return err }))
	}
	return all
}
