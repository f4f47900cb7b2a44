package store

import (
	"context"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"
)

// FetchPrivate fetches a private calendar of a salon that is due, or works it
// out anew. An error means that nothing became known.
type FetchPrivate func(ctx context.Context, salon, calendar string) error

// FetchWith says who fetches private calendars. Call it before StartJobs;
// without it nobody does.
func (s *Store) FetchWith(f FetchPrivate) { s.fetch = f }

// privateQueue keeps slow servers of private calendars from holding up messages.
const privateQueue = "private_calendars"

// privateAtOnce is how many are fetched at once (judgement): each may be 5 MB, and takes
// more memory while it is read.
const privateAtOnce = 2

// privateLookEvery is how often it is looked which calendars are due (judgement: well
// within the quarter of an hour after which one is).
const privateLookEvery = 2 * time.Minute

// How many calendars stand in line at most after a look, all and of one salon
// (judgement); the others wait for a later one. Ten that answer in the last moment, of
// the ten seconds that an exchange has, take 100 of the 240 seconds that two have between
// two looks, so that the calendars of one salon hold up nobody else's for long; a salon
// may have 75 that are fetched every quarter of an hour (derived).
const (
	privateMost    = 500
	privateOfSalon = 10
)

type privateDueArgs struct{}

// Kind names the job.
func (privateDueArgs) Kind() string { return "private_calendars_due" }

type privateArgs struct {
	Salon    string `json:"salon"`
	Calendar string `json:"calendar"`
}

// Kind names the job.
func (privateArgs) Kind() string { return "private_calendar" }

// InsertOpts keeps a calendar from standing in line twice. What fails is due
// again by itself.
func (privateArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{Queue: privateQueue, MaxAttempts: 1, UniqueOpts: river.UniqueOpts{ByArgs: true, ByState: []rivertype.JobState{
		rivertype.JobStateAvailable, rivertype.JobStatePending, rivertype.JobStateRunning, rivertype.JobStateScheduled, rivertype.JobStateRetryable}}}
}

func privateRegularly() *river.PeriodicJob {
	return river.NewPeriodicJob(river.PeriodicInterval(privateLookEvery), func() (river.JobArgs, *river.InsertOpts) { return privateDueArgs{}, nil },
		&river.PeriodicJobOpts{RunOnStart: true})
}

// addPrivateWorkers adds what looks after private calendars.
func addPrivateWorkers(workers *river.Workers, s *Store) {
	river.AddWorker(workers, &privateDueWorker{store: s})
	river.AddWorker(workers, &privateWorker{store: s})
}

type privateDueWorker struct {
	river.WorkerDefaults[privateDueArgs]
	store *Store
}

// Work puts the calendars in line that are due, those that have waited longest
// first.
func (w *privateDueWorker) Work(ctx context.Context, _ *river.Job[privateDueArgs]) error {
	if w.store.fetch == nil {
		return nil
	}
	jobs, err := w.store.duePrivate(ctx)
	if err != nil || len(jobs) == 0 {
		return err
	}
	_, err = w.store.jobs.InsertMany(ctx, jobs)
	return domain("private calendars", err, false)
}

// duePrivate lists the calendars that are due, of people who still work here, of
// every salon in turn. What stands in line already is still due and among them.
func (s *Store) duePrivate(ctx context.Context) ([]river.InsertManyParams, error) {
	rows, err := s.pool.Query(ctx, `
		SELECT salon_id, private_calendar_id FROM (
			SELECT c.salon_id, c.private_calendar_id, c.due_at, row_number() OVER (PARTITION BY c.salon_id ORDER BY c.due_at, c.private_calendar_id) AS turn
			FROM private_calendar c JOIN unit u ON u.salon_id = c.salon_id AND u.unit_id = c.staff_id
			WHERE c.active AND u.active AND c.due_at <= now() AND (c.fetching_until IS NULL OR c.fetching_until < now())) due
		WHERE turn <= $2 ORDER BY turn, due_at LIMIT $1`, privateMost, privateOfSalon)
	if err != nil {
		return nil, domain("private calendars", err, false)
	}
	defer rows.Close()
	var jobs []river.InsertManyParams
	for rows.Next() {
		var a privateArgs
		if err := rows.Scan(&a.Salon, &a.Calendar); err != nil {
			return nil, domain("private calendars", err, false)
		}
		jobs = append(jobs, river.InsertManyParams{Args: a})
	}
	return jobs, domain("private calendars", rows.Err(), false)
}

type privateWorker struct {
	river.WorkerDefaults[privateArgs]
	store *Store
}

// Work fetches one calendar.
func (w *privateWorker) Work(ctx context.Context, job *river.Job[privateArgs]) error {
	if w.store.fetch == nil {
		return nil
	}
	return w.store.fetch(ctx, job.Args.Salon, job.Args.Calendar)
}
