package store

import (
	"context"
	"time"

	"github.com/riverqueue/river"
)

// TellLate tells clients of a salon whose visits of today will begin late.
type TellLate func(ctx context.Context, salon string) error

// TellLateWith says who tells clients of salons that want it by itself. Call it
// before StartJobs; without it nobody does.
func (s *Store) TellLateWith(f TellLate) { s.tellLate = f }

// lateEvery is how often the running day is looked at (judgement: a client who is
// on the way wants to know before she leaves).
const lateEvery = 3 * time.Minute

type lateAllArgs struct{}

// Kind names the job.
func (lateAllArgs) Kind() string { return "late_all" }

type lateArgs struct {
	Salon string `json:"salon"`
}

// Kind names the job.
func (lateArgs) Kind() string { return "late" }

// InsertOpts keeps a salon from being looked at twice at once. It is not tried
// again: the next look is near.
func (lateArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: 1, UniqueOpts: river.UniqueOpts{ByArgs: true, ByPeriod: lateEvery}}
}

func lateRegularly() *river.PeriodicJob {
	return river.NewPeriodicJob(river.PeriodicInterval(lateEvery), func() (river.JobArgs, *river.InsertOpts) { return lateAllArgs{}, nil }, nil)
}

type lateAllWorker struct {
	river.WorkerDefaults[lateAllArgs]
	store *Store
}

// Work enqueues a job for every salon that tells late clients by itself and has a
// visit within the next hours.
func (w *lateAllWorker) Work(ctx context.Context, _ *river.Job[lateAllArgs]) error {
	if w.store.tellLate == nil {
		return nil
	}
	rows, err := w.store.pool.Query(ctx, `SELECT salon_id FROM salon n WHERE messages->>'late_by_itself' = 'true' AND EXISTS (
		SELECT 1 FROM visit v WHERE v.salon_id = n.salon_id AND v.state = 'booked' AND v.starts_at BETWEEN now() AND now() + interval '24 hours')`)
	if err != nil {
		return domain("late visits", err, false)
	}
	var jobs []river.InsertManyParams
	for rows.Next() {
		var a lateArgs
		if err := rows.Scan(&a.Salon); err != nil {
			return domain("late visits", err, false)
		}
		jobs = append(jobs, river.InsertManyParams{Args: a})
	}
	if err := rows.Err(); err != nil || len(jobs) == 0 {
		return domain("late visits", err, false)
	}
	_, err = w.store.jobs.InsertMany(ctx, jobs)
	return domain("late visits", err, false)
}

type lateWorker struct {
	river.WorkerDefaults[lateArgs]
	store *Store
}

// Work looks at one salon.
func (w *lateWorker) Work(ctx context.Context, job *river.Job[lateArgs]) error {
	if w.store.tellLate == nil {
		return nil
	}
	return w.store.tellLate(ctx, job.Args.Salon)
}
