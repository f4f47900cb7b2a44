package store

import (
	"cmp"
	"context"
	"errors"
	"os"
	"slices"
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
	Staff    Staff      // to whom of the staff, zero when it goes to the client
	Attempt  int        // of this message, from 1
	Lost     int        // how many earlier tries by mail, since it was put in line, may have been accepted
	Stylist  string     // name of the stylist in charge of the first service
	Retouch  *time.Time // start of the day of the retouch as calendars show it, nil when they show none
}

// Outcome is what became of a message.
type Outcome struct {
	State   ReminderState // Sent, Failed, ToCall, NotWanted or Withdrawn
	Channel string        // ByMail or ByWebhook when it was handed over, also beside an error
	Problem string        // in words, without addresses and without words of a server
	// Later, when set, puts the message off until then, whatever State says. It
	// does not count as a try.
	Later time.Time
}

// Deliver sends one message and says what became of it, until ctx ends. An error
// beside a Channel means that the message was handed over in vain and is worth
// another try later; best a *TryAgainError. An error without a Channel means that
// nothing was handed over, which does not count as a try; the desk reads why in
// words of the store's own.
type Deliver func(ctx context.Context, d Due) (Outcome, error)

// TryAgainError says why a message did not go out this time.
type TryAgainError struct {
	Problem string        // without addresses and without words of a server
	After   time.Duration // how long the server wants to be left alone, 0 when it did not say
	Unknown bool          // it may have gone out all the same: the answer was lost
}

// Error is the problem.
func (e *TryAgainError) Error() string { return e.Problem }

// Jobs is the running part of the job queue.
type Jobs struct{ client *river.Client[pgx.Tx] }

// JobSettings are how jobs are worked off. The zero value is what a salon wants.
type JobSettings struct {
	Workers int // messages sent at once, 0 for 4 (judgement)
	// Timeout is that of sending one message, 0 for two minutes: 15 s for dialling, 90
	// for a mail server that looks closely at what it is given, and some for the note
	// (judgement).
	Timeout time.Duration
	Other   time.Duration // most that a job which sends nothing may take, 0 for 20 s
	// Rescue is after how long a job of a process that died is taken over, 0 for three
	// minutes (judgement); not less than Timeout. Looking for them takes up to half a minute more.
	Rescue time.Duration
	// Mail and Texts are how long to wait after each try that was in vain, nil for
	// the usual; a message has one try more than they are long.
	Mail, Texts []time.Duration
}

// Usual waits. A server that puts unknown senders off for some minutes gets its
// second try after at least one; after about eleven and a half hours a mail is given up,
// since it would help nobody any more (judgement). Text messages go by the
// schedule that the Standard Webhooks specification 1.0.0 proposes.
var (
	mailWaits = []time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute, time.Hour, 2 * time.Hour, 3 * time.Hour, 5 * time.Hour}
	textWaits = []time.Duration{5 * time.Second, 5 * time.Minute, 30 * time.Minute, 2 * time.Hour, 5 * time.Hour, 10 * time.Hour,
		14 * time.Hour, 20 * time.Hour, 24 * time.Hour}
)

func (x JobSettings) orUsual() JobSettings {
	x.Workers, x.Timeout, x.Rescue = cmp.Or(x.Workers, 4), cmp.Or(x.Timeout, 2*time.Minute), cmp.Or(x.Rescue, 3*time.Minute)
	x.Other = cmp.Or(x.Other, otherJobs)
	if x.Mail == nil {
		x.Mail = mailWaits
	}
	if x.Texts == nil {
		x.Texts = textWaits
	}
	return x
}

// mostLost is how many tries by mail may have been accepted without
// anybody knowing: more would fill a mailbox behind a slow server (judgement).
const mostLost = 3

// otherJobs is how long a job that sends nothing may take (judgement: as long as a
// statement, see OpenTraced).
const otherJobs = 20 * time.Second

// messagePause is how long a worker of messages rests before it asks for more
// (judgement): with the 100 ms that the queue has by itself, four workers would send 40
// messages a second at most (derived).
const messagePause = 10 * time.Millisecond

// waits are those after tries of a channel.
func (x JobSettings) waits(channel string) []time.Duration {
	if channel == ByWebhook {
		return x.Texts
	}
	return x.Mail
}

// WorkWith sets how jobs are worked off. Call it before StartJobs.
func (s *Store) WorkWith(x JobSettings) { s.work = x }

// StartJobs works off due messages, ends pencilled visits and keeps the pace up to
// date until Stop, at most four messages and four other jobs at a time.
// Several processes may do so at once. A message is sent at least once: it is
// sent a second time, under the same Message-ID, only when the process or the
// database dies between sending and noting it, or the answer was lost.
func (s *Store) StartJobs(ctx context.Context, deliver Deliver, refit Refit) (*Jobs, error) {
	x := s.work.orUsual()
	workers := river.NewWorkers()
	river.AddWorker(workers, &reminderWorker{store: s, deliver: deliver, set: x})
	river.AddWorker(workers, &lapseWorker{store: s})
	river.AddWorker(workers, &purgeWorker{store: s})
	river.AddWorker(workers, &paceWorker{store: s, refit: refit})
	river.AddWorker(workers, &paceNightlyWorker{store: s})
	river.AddWorker(workers, &eraseWorker{store: s})
	river.AddWorker(workers, &sealWorker{store: s})
	river.AddWorker(workers, &overdueAllWorker{store: s})
	river.AddWorker(workers, &overdueWorker{store: s})
	river.AddWorker(workers, &lateAllWorker{store: s})
	river.AddWorker(workers, &lateWorker{store: s})
	river.AddWorker(workers, &noticeWorker{store: s})
	addPrivateWorkers(workers, s)
	indexes := slices.DeleteFunc(river.ReindexerIndexNamesDefault(), func(name string) bool {
		return slices.Contains([]string{"river_job_args_index", "river_job_metadata_index"}, name) // see migrations.AfterJobs
	})
	client, err := river.NewClient(riverpgxv5.New(s.pool), &river.Config{
		Queues:               map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: 4}, messages: {MaxWorkers: x.Workers, FetchCooldown: messagePause}, privateQueue: {MaxWorkers: privateAtOnce}},
		Workers:              workers,
		JobTimeout:           min(x.Timeout, x.Other),
		RescueStuckJobsAfter: x.Rescue,
		Logger:               jobLogger(os.Stderr, s.away),
		RetryPolicy:          &jobRetry{store: s},
		ReindexerIndexNames:  indexes,
		Test:                 river.TestConfig{Time: jobTime{s}}, // named for tests, and the only way
		PeriodicJobs:         []*river.PeriodicJob{hourly(purgeArgs{}), hourly(paceNightlyArgs{}), eraseDaily(), sealRegularly(), overdueRegularly(), lateRegularly(), privateRegularly()},
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

func (t *Tx) due(ctx context.Context, r Reminder) (Due, error) {
	d := Due{Reminder: r}
	var err error
	if d.Salon, err = t.SalonRow(ctx); err != nil {
		return d, err
	}
	if d.Visit, err = t.VisitByID(ctx, r.Visit); err != nil {
		return d, err
	}
	if d.Visit.Client != "" { // a time kept for somebody yet to be named
		if d.Client, err = t.ClientByID(ctx, d.Visit.Client); err != nil {
			return d, err
		}
	}
	if lead := d.Visit.Lead(); lead != "" {
		p, err := t.StaffByID(ctx, lead)
		if err != nil {
			return d, err
		}
		d.Stylist = p.Name
	}
	if r.Staff != "" {
		if d.Staff, err = t.StaffByID(ctx, r.Staff); err != nil {
			return d, err
		}
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

// Work forgets answers to repeated requests after 48 hours, browser sessions and
// links a day after they have expired, and which units' time has changed about
// two hours after that; what is told to those who watch a salon after two days, and
// what somebody did last after one. Proposals for days that have passed go a month later.
// Messages whose job has ended without noting what became of them are noted as
// failed, so that the desk hears of them, and jobs that sleep although their message
// is due are woken.
// Pencilled visits that their own job left alone, because somebody was changing
// them, lapse here.
func (w *purgeWorker) Work(ctx context.Context, _ *river.Job[purgeArgs]) error {
	var all error
	for _, q := range []string{
		`DELETE FROM idempotency WHERE created_at < now() - interval '48 hours'`,
		`DELETE FROM session WHERE expires_at < now() - interval '1 day'`,
		`DELETE FROM session_link WHERE expires_at < now() - interval '1 day'`,
		`DELETE FROM sessions WHERE expiry < now()`,
		`DELETE FROM access_token WHERE account_id IS NOT NULL AND expires_at < now() - interval '1 day'`,
		`DELETE FROM browser_session b WHERE (ends_at < now() - interval '1 day' OR NOT EXISTS (SELECT 1 FROM sessions s WHERE s.token = b.token))
			AND opened_at < now() - interval '1 hour'`,
		`UPDATE reminder SET state = 'failed', done_at = now(), sending_at = NULL, next_at = NULL,
			problem = CASE WHEN state = 'waiting' AND problem <> '' THEN left('given up: ' || problem, 300) ELSE '` + orphaned + `' END
		WHERE state IN ('waiting', 'sending') AND GREATEST(due_at, next_at, sending_at) < now() - interval '1 hour'
		  AND NOT EXISTS (SELECT 1 FROM river_job j WHERE j.id = job_id AND j.finalized_at IS NULL)`,
		// A job that was going to sleep just when its message was brought forward.
		`UPDATE river_job j SET scheduled_at = now() FROM (
			SELECT j.id FROM reminder r JOIN river_job j ON j.id = r.job_id
			WHERE r.state = 'waiting' AND GREATEST(r.due_at, r.next_at) < now() - interval '1 minute'
			  AND j.kind = 'reminder' AND j.state = 'scheduled' AND j.scheduled_at > now() FOR UPDATE OF j SKIP LOCKED
		) late WHERE j.id = late.id`,
		`UPDATE reminder_attempt SET ended_at = now(), outcome = 'unknown', problem = '` + cutShort + `'
		WHERE ended_at IS NULL AND started_at < now() - interval '1 hour'`,
		// Free time that is in memory has seen what was committed keptLongest ago.
		`DELETE FROM unit_change c USING unit_change_seen s
		WHERE c.salon_id = s.salon_id AND s.seen_at < now() - interval '1 hour'
		  AND c.changed_at < now() - interval '1 hour' AND pg_visible_in_snapshot(c.changed_in, s.seen)`,
		`DELETE FROM unit_change_seen WHERE seen_at < now() - interval '1 hour'`,
		`INSERT INTO unit_change_seen (salon_id) SELECT DISTINCT salon_id FROM unit_change`,
		`DELETE FROM day_plan WHERE day < current_date - 30`,
		`DELETE FROM salon_event WHERE noted_at < now() - interval '48 hours'`,
		`DELETE FROM last_action WHERE done_at < now() - interval '1 day'`,
	} {
		_, err := w.store.pool.Exec(ctx, q)
		all = errors.Join(all, domain("purge", err, false))
	}
	var lapsed int
	err := w.store.pool.QueryRow(ctx, lapse, nil, w.store.Now()).Scan(&lapsed)
	w.store.count(&counts{[]happening{{VisitLapsed, lapsed}}}, err)
	return errors.Join(all, domain("lapse pencilled visits", err, false))
}
