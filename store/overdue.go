package store

import (
	"context"
	"time"

	"github.com/riverqueue/river"
)

// Overdue looks for visits of a salon that lack something although it is overdue,
// and cancels those that the salon's rules let lapse.
type Overdue func(ctx context.Context, salon string) error

// LapseWith says who looks for visits that lapse. Call it before StartJobs;
// without it none does.
func (s *Store) LapseWith(f Overdue) { s.overdue = f }

// overdueEvery is how often it is looked (judgement: nothing that is needed is
// due to the minute).
const overdueEvery = 15 * time.Minute

type overdueAllArgs struct{}

// Kind names the job.
func (overdueAllArgs) Kind() string { return "overdue_all" }

type overdueArgs struct {
	Salon string `json:"salon"`
}

// Kind names the job.
func (overdueArgs) Kind() string { return "overdue" }

// InsertOpts keeps a salon from being looked at twice at once.
func (overdueArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: 3, UniqueOpts: river.UniqueOpts{ByArgs: true, ByPeriod: overdueEvery}}
}

func overdueRegularly() *river.PeriodicJob {
	return river.NewPeriodicJob(river.PeriodicInterval(overdueEvery), func() (river.JobArgs, *river.InsertOpts) { return overdueAllArgs{}, nil }, nil)
}

type overdueAllWorker struct {
	river.WorkerDefaults[overdueAllArgs]
	store *Store
}

// Work enqueues a job for every salon that has visits to come.
func (w *overdueAllWorker) Work(ctx context.Context, _ *river.Job[overdueAllArgs]) error {
	if w.store.overdue == nil {
		return nil
	}
	rows, err := w.store.pool.Query(ctx, `SELECT DISTINCT salon_id FROM visit WHERE state = 'booked' AND starts_at > now() - interval '1 day'`)
	if err != nil {
		return domain("overdue", err, false)
	}
	var jobs []river.InsertManyParams
	for rows.Next() {
		var a overdueArgs
		if err := rows.Scan(&a.Salon); err != nil {
			return domain("overdue", err, false)
		}
		jobs = append(jobs, river.InsertManyParams{Args: a})
	}
	if err := rows.Err(); err != nil || len(jobs) == 0 {
		return domain("overdue", err, false)
	}
	_, err = w.store.jobs.InsertMany(ctx, jobs)
	return domain("overdue", err, false)
}

type overdueWorker struct {
	river.WorkerDefaults[overdueArgs]
	store *Store
}

// Work looks at one salon.
func (w *overdueWorker) Work(ctx context.Context, job *river.Job[overdueArgs]) error {
	if w.store.overdue == nil {
		return nil
	}
	return w.store.overdue(ctx, job.Args.Salon)
}
