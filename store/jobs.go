package store

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
)

// Due is a message to be delivered, with everything it is about.
type Due struct {
	Reminder Reminder
	Salon    Salon
	Client   Client
	Visit    Visit
	Stylist  string     // name of the stylist in charge of the first service
	Retouch  *time.Time // start of the day of the retouch as calendars show it, nil when they show none
}

// Deliver sends one message and says what became of it. An error means: try
// again later.
type Deliver func(ctx context.Context, d Due) (state ReminderState, problem string, err error)

// Jobs is the running part of the job queue.
type Jobs struct{ client *river.Client[pgx.Tx] }

// StartJobs works off due messages, ends pencilled visits and keeps the pace up to
// date until Stop, at most four at a time.
// Several processes may do so at once. A message is sent at least once: it is
// sent a second time, under the same Message-ID, only when the process or the
// database dies between sending and noting it.
func (s *Store) StartJobs(ctx context.Context, deliver Deliver, refit Refit) (*Jobs, error) {
	workers := river.NewWorkers()
	river.AddWorker(workers, &reminderWorker{store: s, deliver: deliver})
	river.AddWorker(workers, &lapseWorker{store: s})
	river.AddWorker(workers, &purgeWorker{store: s})
	river.AddWorker(workers, &paceWorker{store: s, refit: refit})
	river.AddWorker(workers, &paceNightlyWorker{store: s})
	river.AddWorker(workers, &eraseWorker{store: s})
	river.AddWorker(workers, &overdueAllWorker{store: s})
	river.AddWorker(workers, &overdueWorker{store: s})
	client, err := river.NewClient(riverpgxv5.New(s.pool), &river.Config{
		Queues:               map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: 4}},
		Workers:              workers,
		JobTimeout:           20 * time.Second,
		RescueStuckJobsAfter: time.Minute,
		Logger:               slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn})),
		PeriodicJobs:         []*river.PeriodicJob{hourly(purgeArgs{}), hourly(paceNightlyArgs{}), eraseDaily(), overdueRegularly()},
	})
	if err != nil {
		return nil, domain("jobs", err, false)
	}
	if err := client.Start(ctx); err != nil {
		return nil, domain("jobs", err, false)
	}
	return &Jobs{client}, nil
}

func hourly(args river.JobArgs) *river.PeriodicJob {
	return river.NewPeriodicJob(river.PeriodicInterval(time.Hour), func() (river.JobArgs, *river.InsertOpts) { return args, nil }, nil)
}

// Stop lets running deliveries end and starts no more.
func (j *Jobs) Stop(ctx context.Context) error { return j.client.Stop(ctx) }

type reminderWorker struct {
	river.WorkerDefaults[reminderArgs]
	store   *Store
	deliver Deliver
}

// Work sends one reminder unless the visit has made it pointless meanwhile.
func (w *reminderWorker) Work(ctx context.Context, job *river.Job[reminderArgs]) error {
	return w.send(ctx, job.Args, job.Attempt >= job.MaxAttempts)
}

// settleTime is what a delivery must leave of a job's time, so that what became
// of it can still be noted.
const settleTime = 5 * time.Second

// send reads what is due, lets go of the database while the mail server takes
// its time, and then notes what became of the message: who cancels the visit
// meanwhile does not have to wait.
func (w *reminderWorker) send(ctx context.Context, args reminderArgs, last bool) error {
	var d Due
	var waiting bool
	err := w.store.InTx(ctx, args.Salon, func(t *Tx) error {
		r, ok, err := t.waitingReminder(ctx, args.Reminder)
		if waiting = ok; err != nil || !ok {
			return err
		}
		d, err = t.due(ctx, r)
		return err
	})
	if err != nil || !waiting {
		return err
	}
	sending, cancel := ctx, context.CancelFunc(func() {})
	if end, ok := ctx.Deadline(); ok {
		sending, cancel = context.WithDeadline(ctx, end.Add(-settleTime))
	}
	defer cancel()
	state, problem, err := w.deliver(sending, d)
	if err != nil && !last {
		return err
	}
	if err != nil {
		state, problem = Failed, givenUp
	}
	// What has been sent is noted although the job may have been called off.
	ctx, stop := context.WithTimeout(context.WithoutCancel(ctx), settleTime)
	defer stop()
	return w.store.InTx(ctx, args.Salon, func(t *Tx) error { return t.settleReminder(ctx, d.Reminder.ID, state, problem) })
}

func (t *Tx) due(ctx context.Context, r Reminder) (Due, error) {
	d := Due{Reminder: r}
	var err error
	if d.Salon, err = t.SalonRow(ctx); err != nil {
		return d, err
	}
	if d.Visit, err = t.VisitByID(ctx, r.Visit); err != nil {
		return d, err
	}
	if d.Client, err = t.ClientByID(ctx, d.Visit.Client); err != nil {
		return d, err
	}
	if lead := d.Visit.Lead(); lead != "" {
		p, err := t.StaffByID(ctx, lead)
		if err != nil {
			return d, err
		}
		d.Stylist = p.Name
	}
	d.Retouch, err = t.retouchOf(ctx, r.Visit)
	return d, err
}

type purgeArgs struct{}

// Kind names the job.
func (purgeArgs) Kind() string { return "purge" }

type purgeWorker struct {
	river.WorkerDefaults[purgeArgs]
	store *Store
}

// givenUp is the problem of a message that could not be sent for about eleven
// hours, which is how long twelve tries take.
const givenUp = "given up after many tries"

// Work forgets answers to repeated requests after 48 hours, browser sessions and
// links a day after they have expired, and which units' time has changed about
// two hours after that. Messages whose job has
// ended without noting what became of them, say because the process died
// during the last try, are noted as failed, so that the desk hears of them.
// Pencilled visits that their own job left alone, because somebody was changing
// them, lapse here.
func (w *purgeWorker) Work(ctx context.Context, _ *river.Job[purgeArgs]) error {
	var all error
	for _, q := range []string{
		`DELETE FROM idempotency WHERE created_at < now() - interval '48 hours'`,
		`DELETE FROM session WHERE expires_at < now() - interval '1 day'`,
		`DELETE FROM session_link WHERE expires_at < now() - interval '1 day'`,
		`UPDATE reminder SET state = 'failed', problem = '` + givenUp + `', done_at = now()
		WHERE state = 'waiting' AND due_at < now() - interval '1 hour'
		  AND NOT EXISTS (SELECT 1 FROM river_job j WHERE j.id = job_id AND j.finalized_at IS NULL)`,
		// Free time that is in memory has seen what was committed keptLongest ago.
		`DELETE FROM unit_change c USING unit_change_seen s
		WHERE c.salon_id = s.salon_id AND s.seen_at < now() - interval '1 hour'
		  AND c.changed_at < now() - interval '1 hour' AND pg_visible_in_snapshot(c.changed_in, s.seen)`,
		`DELETE FROM unit_change_seen WHERE seen_at < now() - interval '1 hour'`,
		`INSERT INTO unit_change_seen (salon_id) SELECT DISTINCT salon_id FROM unit_change`,
	} {
		_, err := w.store.pool.Exec(ctx, q)
		all = errors.Join(all, domain("purge", err, false))
	}
	_, err := w.store.pool.Exec(ctx, lapse, nil, time.Now())
	return errors.Join(all, domain("lapse pencilled visits", err, false))
}
