package store

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"

	"chairblock/scheduling"
	"chairblock/scheduling/pace"
)

// PaceFit is the newest fit of a salon's records, without its rows.
type PaceFit struct {
	Version int64           `db:"version"` // rises with every fit
	Fitted  time.Time       `db:"fitted_at"`
	Visits  int             `db:"visits"`
	Counted int             `db:"counted"`
	LeftOut json.RawMessage `db:"left_out"` // observations by reason
}

// SetPaceSettings writes what the salon has set for learning when its version is
// still the given one, and returns the new row; otherwise scheduling.ErrStale.
func (t *Tx) SetPaceSettings(ctx context.Context, version int64, settings json.RawMessage) (Salon, error) {
	tag, err := t.tx.Exec(ctx, `UPDATE salon SET pace = $3, version = version + 1 WHERE salon_id = $1 AND version = $2`,
		t.salon, version, settings)
	if err != nil {
		return Salon{}, domain("pace settings", err, false)
	}
	if tag.RowsAffected() == 0 {
		return Salon{}, t.staleOrMissing(ctx, `SELECT 1 FROM salon WHERE salon_id = $1 AND $2 <> ''`, t.salon)
	}
	return t.SalonRow(ctx)
}

// Paces lists the rows of the newest fit that belong to the salon as a whole and
// to staff, "" for nobody.
func (t *Tx) Paces(ctx context.Context, staff string) ([]pace.Row, error) {
	return t.paces(ctx, `AND (staff_id = '' OR staff_id = $2 AND with_id = '')`, staff)
}

// AllPaces lists the rows of the newest fit, as it has ordered them.
func (t *Tx) AllPaces(ctx context.Context) ([]pace.Row, error) {
	return t.paces(ctx, `AND $2 = ''`, "")
}

func (t *Tx) paces(ctx context.Context, where, staff string) ([]pace.Row, error) {
	rows, err := t.tx.Query(ctx, `
		SELECT staff_id, with_id, kind, pair, visits, weight, since, bias, cv, factor, low, high, spread
		FROM pace WHERE salon_id = $1 `+where+` ORDER BY kind, pair, staff_id, with_id`, t.salon, staff)
	if err != nil {
		return nil, domain("paces", err, false)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (r pace.Row, err error) {
		err = row.Scan(&r.Staff, &r.With, &r.Kind, &r.Pair, &r.Visits, &r.Weight, &r.Since, &r.Bias, &r.CV, &r.Factor, &r.Low, &r.High, &r.Spread)
		return r, err
	})
	pace.Sort(list)
	return list, domain("paces", err, false)
}

// LastPaceFit returns the newest fit, or scheduling.ErrNotFound before the
// first.
func (t *Tx) LastPaceFit(ctx context.Context) (PaceFit, error) {
	list, err := collect[PaceFit](ctx, t, "pace fit", `SELECT version, fitted_at, visits, counted, left_out FROM pace_fit WHERE salon_id = $1`, t.salon)
	if err == nil {
		err = one("pace fit", int64(len(list)), nil)
	}
	if err != nil {
		return PaceFit{}, err
	}
	return list[0], nil
}

// LockPaces keeps others from working the salon's pace out until the transaction
// ends, so that the newest fit has seen every visit that an older one has.
func (t *Tx) LockPaces(ctx context.Context) error {
	_, err := t.tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended('pace ' || $1, 0))`, t.salon)
	return domain("lock paces", err, false)
}

// ReplacePaces writes a fit in the place of the one before, as one that was begun
// when the transaction was.
func (t *Tx) ReplacePaces(ctx context.Context, f pace.Fit) error {
	leftOut, err := json.Marshal(f.LeftOut)
	if err != nil {
		return err
	}
	var version int64
	err = t.tx.QueryRow(ctx, `
		INSERT INTO pace_fit AS f (salon_id, fitted_at, visits, counted, left_out) VALUES ($1, now(), $2, $3, $4)
		ON CONFLICT (salon_id) DO UPDATE SET version = f.version + 1, fitted_at = now(), visits = $2, counted = $3, left_out = $4
		RETURNING version`, t.salon, f.Visits, f.Counted, leftOut).Scan(&version)
	if err != nil {
		return domain("pace fit", err, false)
	}
	if _, err := t.tx.Exec(ctx, `DELETE FROM pace WHERE salon_id = $1`, t.salon); err != nil {
		return domain("paces", err, false)
	}
	n := len(f.Rows)
	staff, with, kinds, pair := make([]string, n), make([]string, n), make([]string, n), make([]bool, n)
	visits, since := make([]int, n), make([]time.Time, n)
	weight, bias, cv, factor, low, high, spread := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n),
		make([]float64, n), make([]float64, n), make([]float64, n)
	for i, r := range f.Rows {
		staff[i], with[i], kinds[i], pair[i], visits[i], since[i] = r.Staff, r.With, string(r.Kind), r.Pair, r.Visits, r.Since
		weight[i], bias[i], cv[i], factor[i], low[i], high[i], spread[i] = r.Weight, r.Bias, r.CV, r.Factor, r.Low, r.High, r.Spread
	}
	_, err = t.tx.Exec(ctx, `
		INSERT INTO pace (salon_id, version, staff_id, with_id, kind, pair, visits, since, weight, bias, cv, factor, low, high, spread)
		SELECT $1, $2, * FROM unnest($3::text[], $4::text[], $5::text[], $6::boolean[], $7::integer[], $8::timestamptz[], $9::float8[],
			$10::float8[], $11::float8[], $12::float8[], $13::float8[], $14::float8[], $15::float8[])`,
		t.salon, version, staff, with, kinds, pair, visits, since, weight, bias, cv, factor, low, high, spread)
	return domain("paces", err, false)
}

// Refit works the pace of a salon out anew.
type Refit func(ctx context.Context, salon string) error

type paceArgs struct {
	Salon string `json:"salon"`
}

// Kind names the job.
func (paceArgs) Kind() string { return "pace" }

// refitAfter collects what changes within a short while into one fit; refitFresh
// is how long after a job was asked for a fit has to have begun to have seen
// everything that asked for it: a transaction is taken not to last that long. Both are
// judgement.
const (
	refitAfter = 20 * time.Second
	refitFresh = 15 * time.Second
)

// RefitPace has the pace worked out anew soon after this transaction.
func (t *Tx) RefitPace(ctx context.Context) error {
	_, err := t.jobs.InsertTx(ctx, t.tx, paceArgs{t.salon}, &river.InsertOpts{ScheduledAt: t.now().Add(refitAfter)})
	return domain("enqueue pace", err, false)
}

type paceWorker struct {
	river.WorkerDefaults[paceArgs]
	store *Store
	refit Refit
}

// Work works one salon out unless a fit has done so meanwhile. A salon that was
// deleted has nothing to learn from.
func (w *paceWorker) Work(ctx context.Context, job *river.Job[paceArgs]) error {
	var fresh bool
	err := w.store.pool.QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM pace_fit WHERE salon_id = $1 AND fitted_at >= $2)`,
		job.Args.Salon, job.CreatedAt.Add(refitFresh)).Scan(&fresh)
	if err != nil || fresh || w.refit == nil {
		return domain("pace fit", err, false)
	}
	if err = w.refit(ctx, job.Args.Salon); errors.Is(err, scheduling.ErrNotFound) {
		return nil
	}
	return err
}

type paceNightlyArgs struct{}

// Kind names the job.
func (paceNightlyArgs) Kind() string { return "pace_nightly" }

type paceNightlyWorker struct {
	river.WorkerDefaults[paceNightlyArgs]
	store *Store
}

// Work has every salon worked out whose last fit is a day old, because visits
// lose weight with age.
func (w *paceNightlyWorker) Work(ctx context.Context, _ *river.Job[paceNightlyArgs]) error {
	rows, err := w.store.pool.Query(ctx, `
		SELECT s.salon_id FROM salon s LEFT JOIN pace_fit f USING (salon_id)
		WHERE coalesce(f.fitted_at, '-infinity') < now() - interval '23 hours'
		  AND EXISTS (SELECT 1 FROM visit v WHERE v.salon_id = s.salon_id AND v.state = 'finished')`)
	if err != nil {
		return domain("pace of all salons", err, false)
	}
	salons, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return domain("pace of all salons", err, false)
	}
	for _, id := range salons {
		if _, err := w.store.jobs.Insert(ctx, paceArgs{id}, nil); err != nil {
			return domain("pace of all salons", err, false)
		}
	}
	return nil
}
