package store

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/rickb777/date"
	"github.com/riverqueue/river"
)

// eraseArgs is the job that erases by age. Its name is from when it was about health
// alone, so that a process of the release before works off what this one puts in line.
type eraseArgs struct{}

// Kind names the job.
func (eraseArgs) Kind() string { return "erase_health" }

type eraseWorker struct {
	river.WorkerDefaults[eraseArgs]
	store *Store
}

const (
	// eraseHour is the hour of the salon's clock from which its day's run may begin:
	// after the last guest anywhere, and clocks do not skip it (judgement).
	eraseHour = 3
	// eraseFor is how long one job goes on before it lets others have the worker
	// (judgement); well below how long a job may take, see otherJobs.
	eraseFor = 8 * time.Second
)

// eraseDaily looks every hour whose day has begun; each salon has one run a day. What
// failed is not tried again by itself: the next hour comes anyway.
func eraseDaily() *river.PeriodicJob {
	return river.NewPeriodicJob(river.PeriodicInterval(time.Hour),
		func() (river.JobArgs, *river.InsertOpts) { return eraseArgs{}, &river.InsertOpts{MaxAttempts: 1} }, &river.PeriodicJobOpts{RunOnStart: true})
}

// Work does nothing where nobody knows which day it is, and otherwise what is due today; it
// goes on soon where that is much.
func (w *eraseWorker) Work(ctx context.Context, _ *river.Job[eraseArgs]) error {
	if w.store.clocksDisagree() {
		return nil // nothing is gone for good because one of them is wrong
	}
	more, err := w.store.EraseByAge(ctx, w.store.Now())
	if err == nil && more {
		return river.JobSnooze(time.Second)
	}
	return err
}

// ErasedWith says who is told after each run that may have erased clients by age. Call it
// before StartJobs; without it nobody is.
func (s *Store) ErasedWith(f func(context.Context) error) { s.erasedByAge = f }

// EraseByAge erases in every salon what is older than its terms, once on each of the
// salon's days and not before three in the morning. It needs no key for health. Each
// transaction takes one kind and a bounded number of rows; whoever is cut short goes
// on where it was, and who comes twice finds nothing. more says that its time was over
// before it was done.
func (s *Store) EraseByAge(ctx context.Context, now time.Time) (more bool, err error) {
	return s.eraseByAge(ctx, now, eraseFor)
}

// eraseByAge begins with the salon at which the process ran out of time before: others
// would otherwise wait for ever behind those that come first.
func (s *Store) eraseByAge(ctx context.Context, now time.Time, atMost time.Duration) (more bool, err error) {
	salons, err := s.erasingSalons(ctx)
	if err != nil {
		return false, err
	}
	if next := s.eraseNext.Swap(nil); next != nil {
		i, _ := slices.BinarySearchFunc(salons, *next, func(n erasingSalon, id string) int { return strings.Compare(n.ID, id) })
		salons = slices.Concat(salons[i:], salons[:i])
	}
	until := time.Now().Add(atMost)
	var all error
	for i, n := range salons {
		if i > 0 && time.Now().After(until) {
			s.eraseNext.Store(&n.ID)
			more = true
			break
		}
		loc, err := Salon{Zone: n.Zone}.Location()
		if err == nil && now.In(loc).Hour() >= eraseHour {
			r := erasing{store: s, salon: n.ID, loc: loc, today: date.NewAt(now.In(loc)), now: now, until: until}
			err = r.run(ctx)
			more = more || r.more
		}
		all = errors.Join(all, err)
	}
	// Also when nobody was erased: an earlier run may have been cut short before this.
	if s.erasedByAge != nil {
		all = errors.Join(all, s.erasedByAge(ctx))
	}
	return more, all
}

type erasingSalon struct{ ID, Zone string }

// erasingSalons are all salons.
func (s *Store) erasingSalons(ctx context.Context) ([]erasingSalon, error) {
	rows, err := s.pool.Query(ctx, `SELECT salon_id, zone FROM salon ORDER BY salon_id COLLATE "C"`)
	if err != nil {
		return nil, domain("erase by age", err, false)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[erasingSalon])
	return list, domain("erase by age", err, false)
}

// erasing is the run of one salon's day.
type erasing struct {
	store      *Store
	salon      string
	loc        *time.Location
	today      date.Date
	now, until time.Time

	more bool // its time was over
}

func (r *erasing) run(ctx context.Context) error {
	if held, err := r.heldBack(ctx); err != nil || held {
		return err
	}
	var f found
	if err := r.store.Read(ctx, r.salon, func(t *Tx) (err error) { f, err = r.look(ctx, t); return err }); err != nil {
		f = found{addresses: true, todo: keptKinds} // what can be erased is, and the rest says why not
	}
	var all error
	if f.addresses {
		all = r.store.InTx(ctx, r.salon, func(t *Tx) error { return t.eraseOldAddresses(ctx, r.now) })
	}
	if len(f.idle)+len(f.cut) > 0 {
		all = errors.Join(all, r.store.InTx(ctx, r.salon, func(t *Tx) error {
			return errors.Join(t.endCut(ctx, r.today, r.now, f.cut), t.endIdle(ctx, f.idle, r.today, r.now))
		}))
	}
	for _, k := range f.todo {
		all = errors.Join(all, r.kind(ctx, k))
	}
	return all
}

// found is what a look at a salon has found that changes nothing.
type found struct {
	addresses bool           // there are some to take out
	cut       []RetentionRun // of days before, which nobody ended
	idle      []DataKind     // nothing of them is too old
	todo      []keptKind     // something is, or may be once others are gone
}

// look asks in one go what there is to erase, so that only those transactions are begun
// that find something: most salons have nothing on most days.
func (r *erasing) look(ctx context.Context, t *Tx) (f found, err error) {
	list, err := t.RetentionRuns(ctx)
	if err != nil {
		return f, err
	}
	runs := map[DataKind]RetentionRun{}
	for _, x := range list {
		if runs[x.Kind] = x; x.Ended == nil && x.Day.Before(r.today) {
			f.cut = append(f.cut, x)
		}
	}
	terms, err := t.allTerms(ctx)
	if err != nil {
		return f, err
	}
	var b pgx.Batch
	b.Queue(`SELECT EXISTS (`+oldAddresses+`)`, t.salon, oldAddressesBefore(r.now)).QueryRow(func(row pgx.Row) error { return row.Scan(&f.addresses) })
	some := make([]bool, len(keptKinds)) // of the kinds that are looked at
	var open []int
	for i, k := range keptKinds {
		x, due := terms.of(r, k.kind)
		switch run := runs[k.kind]; {
		case run.Day.After(r.today) || run.Day == r.today && run.Ended != nil:
			continue
		case !due:
			if some[i] = run.Day == r.today && run.Erased > 0; some[i] { // other terms have cut it short
				open = append(open, i)
			}
			continue
		}
		open = append(open, i)
		for _, s := range k.steps {
			b.Queue(`SELECT EXISTS (`+s.tooOld()+`)`, t.args(x, nothingGone())...).QueryRow(func(row pgx.Row) error {
				var is bool
				err := row.Scan(&is)
				some[i] = some[i] || is
				return err
			})
		}
	}
	if err := t.tx.SendBatch(ctx, &b).Close(); err != nil {
		return f, domain("erase by age", err, false)
	}
	for _, i := range open {
		if some[i] || len(f.todo) > 0 {
			f.todo = append(f.todo, keptKinds[i])
		} else {
			f.idle = append(f.idle, keptKinds[i].kind)
		}
	}
	return f, nil
}

// allTerms are the terms of a salon as they stand.
type allTerms struct {
	others     Retention
	health     int
	healthFrom date.Date
}

func (t *Tx) allTerms(ctx context.Context) (a allTerms, err error) {
	if a.others, err = t.Retention(ctx); err != nil {
		return a, err
	}
	if a.health, _, err = t.HealthMonths(ctx); err != nil {
		return a, err
	}
	a.healthFrom, err = t.HealthFrom(ctx)
	return a, err
}

// of is what is too old of a kind on the day of the run; due is false where nothing is
// to go.
func (a allTerms) of(r *erasing, k DataKind) (x term, due bool) {
	months, from := a.others.Months[k], a.others.From
	if k == KeptHealth {
		months, from = a.health, a.healthFrom
	}
	return termOf(r.loc, r.today, months), months > 0 && !r.today.Before(from)
}

// term is what is too old of a kind by what the owner has saved before this transaction.
// Whoever saves other terms waits until it is over: none goes by a term that was changed
// before.
func (r *erasing) term(ctx context.Context, t *Tx, k DataKind) (x term, due bool, err error) {
	if err := t.lockTerms(ctx, "SHARE"); err != nil {
		return x, false, err
	}
	terms, err := t.allTerms(ctx)
	if err != nil {
		return x, false, err
	}
	x, due = terms.of(r, k)
	return x, due, nil
}

// kind erases one kind, a batch in each transaction.
func (r *erasing) kind(ctx context.Context, k keptKind) error {
	after, passed := "", 0 // what this pass over a step has erased
	for i := 0; i < len(k.steps); {
		if time.Now().After(r.until) {
			r.more = true
			return nil
		}
		var ended bool
		var last string
		var erased int
		err := r.store.InTx(ctx, r.salon, func(t *Tx) error {
			x, due, err := r.term(ctx, t, k.kind)
			if err != nil {
				return err
			}
			if !due {
				ended = true
				return t.endRun(ctx, k.kind, r.today, r.now)
			}
			if ended, err = t.beginRun(ctx, k.kind, r.today); err != nil || ended {
				return err
			}
			var stuck []string
			if last, erased, stuck, err = t.eraseBatch(ctx, k.steps[i], x, after, r.now); err != nil {
				return err
			}
			over := last == "" && i == len(k.steps)-1 && !(k.steps[i].chain && passed+erased > 0)
			return t.noteRun(ctx, k.kind, erased, stuck, over, r.now)
		})
		if err != nil || ended {
			return err
		}
		passed += erased
		if after = last; last == "" {
			if !k.steps[i].chain || passed == 0 {
				i++
			}
			passed = 0
		}
	}
	return nil
}

// endRun ends a run of the day that other terms have cut short after it erased something.
func (t *Tx) endRun(ctx context.Context, k DataKind, today date.Date, now time.Time) error {
	var begun bool
	err := t.tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM retention_run WHERE salon_id = $1 AND kind = $2 AND day = $3::text::date AND ended_at IS NULL AND erased > 0)`,
		t.salon, string(k), today.String()).Scan(&begun)
	if err != nil || !begun {
		return domain("retention run", err, false)
	}
	return t.noteRun(ctx, k, 0, nil, true, now)
}

// beginRun takes the day's run of a kind for this transaction and reports whether it
// has ended already. Of a day before the last one it says so, too.
func (t *Tx) beginRun(ctx context.Context, k DataKind, today date.Date) (ended bool, err error) {
	var day date.Date
	err = t.tx.QueryRow(ctx, `
		INSERT INTO retention_run AS r (salon_id, kind, day) VALUES ($1, $2, $3::text::date)
		ON CONFLICT (salon_id, kind) DO UPDATE SET day = greatest(r.day, excluded.day),
			erased = CASE WHEN r.day >= excluded.day THEN r.erased ELSE 0 END, stuck = CASE WHEN r.day >= excluded.day THEN r.stuck ELSE '{}' END, ended_at = CASE WHEN r.day >= excluded.day THEN r.ended_at END
		RETURNING day::text, ended_at IS NOT NULL`, t.salon, string(k), today.String()).Scan(&day, &ended)
	return ended || day.After(today), domain("retention run", err, false)
}

// noteOver adds a line to the log of changes for each run in over that erased something, or
// could not.
func noteOver(more string) string {
	return `
		INSERT INTO audit (salon_id, at, actor, what, done, subject)
		SELECT $1, clock_timestamp(), '', 'retention_run', 'removed', kind || ': ' || erased
			|| CASE WHEN stuck <> '{}' THEN ', ' || cardinality(stuck) || ' could not be erased' ELSE '' END || '` + more + `'
		FROM over WHERE erased > 0 OR stuck <> '{}'`
}

// endIdle ends the day's runs of kinds of which nothing is too old, those included that
// were cut short and have nothing left.
func (t *Tx) endIdle(ctx context.Context, kinds []DataKind, today date.Date, now time.Time) error {
	if len(kinds) == 0 {
		return nil
	}
	_, err := t.tx.Exec(ctx, `
		WITH over AS (
			INSERT INTO retention_run AS r (salon_id, kind, day, ended_at) SELECT $1, kind, $3::text::date, $4 FROM unnest($2::text[]) kind
			ON CONFLICT (salon_id, kind) DO UPDATE SET day = excluded.day, ended_at = excluded.ended_at,
				erased = CASE WHEN r.day = excluded.day THEN r.erased ELSE 0 END, stuck = CASE WHEN r.day = excluded.day THEN r.stuck ELSE '{}' END
				WHERE r.day < excluded.day OR r.day = excluded.day AND r.ended_at IS NULL
			RETURNING kind, erased, stuck)`+noteOver(""), t.salon, kinds, today.String(), now)
	return domain("retention run", err, false)
}

// endCut ends runs of days before today that were cut short and that nobody went on with:
// what they erased is in the log of changes all the same. What is left goes today.
func (t *Tx) endCut(ctx context.Context, today date.Date, now time.Time, runs []RetentionRun) error {
	if len(runs) == 0 {
		return nil
	}
	_, err := t.tx.Exec(ctx, `
		WITH over AS (UPDATE retention_run SET ended_at = $3 WHERE salon_id = $1 AND day < $2::text::date AND ended_at IS NULL RETURNING kind, erased, stuck)`+
		noteOver(", cut short"), t.salon, today.String(), now)
	for _, x := range runs {
		slog.WarnContext(ctx, "erasing by age was cut short and is begun anew", "salon", t.salon, "kind", x.Kind, "day", x.Day.String(), "erased", x.Erased)
	}
	return domain("retention run", err, false)
}

// noteRun notes what was erased and what could not be. At the end of a run that erased something, or could not
// erase something, one line of the log of changes says how many of what.
func (t *Tx) noteRun(ctx context.Context, k DataKind, erased int, stuck []string, last bool, now time.Time) error {
	var ended *time.Time
	if last {
		ended = &now
	}
	var b pgx.Batch
	b.Queue(`UPDATE retention_run SET erased = erased + $3, ended_at = $4, stuck = ARRAY(SELECT unnest(stuck) UNION SELECT unnest($5::text[]) ORDER BY 1)
		WHERE salon_id = $1 AND kind = $2`, t.salon, string(k), erased, ended, stuck)
	if last {
		b.Queue(`WITH over AS (SELECT kind, erased, stuck FROM retention_run WHERE salon_id = $1 AND kind = $2)`+noteOver(""), t.salon, string(k))
	}
	return domain("retention run", t.tx.SendBatch(ctx, &b).Close(), false)
}

// NextErasing is the day on which the job erases next, what it could not erase last time
// included, at or after a moment of the
// salon's clock: today where the day's run has not been done, else tomorrow.
func NextErasing(now time.Time, runs []RetentionRun) date.Date {
	today := date.NewAt(now)
	if now.Hour() < eraseHour {
		return today
	}
	for _, r := range runs {
		if r.Ended != nil && !r.Day.Before(today) {
			return today.Add(1)
		}
	}
	return today
}
