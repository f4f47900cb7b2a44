package store

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
)

// PaceRecord is a visit that is over, as far as it says how quickly people work.
// Of Visit it has no client, money or words.
type PaceRecord struct {
	Visit Visit
	// Goodwill is true when minutes were given away, Interrupted when the card
	// says that work stood still.
	Goodwill, Interrupted bool
	// Expected are the services with an estimate, by their place in the visit.
	Expected map[int]Expected
}

// Expected is what an estimate said of one service.
type Expected struct {
	// Kinds, Means and Paces are its steps in order: the mean in minutes, and the
	// factor of somebody's pace that is in it, 0 for none.
	Kinds        []string
	Means, Paces []float64
	// Share of visits was to end within Promise minutes, 0 where the estimate did
	// not keep them; Block was booked for it. P50, P80 and P90 are as in the estimate.
	Share, Promise, Block, P50, P80, P90 float64
	// Formula is which kinds of the service's steps follow the estimate, Hands the
	// pairs of hands that it reckoned with.
	Formula []string
	Hands   int
}

// PromisedMinutes is the unrounded total that Share belongs to. Estimates from
// before it was kept have it for the shares that they list.
func (e Expected) PromisedMinutes() float64 {
	switch {
	case e.Promise > 0:
		return e.Promise
	case e.Share == 0.5:
		return e.P50
	case e.Share == 0.8:
		return e.P80
	case e.Share == 0.9:
		return e.P90
	}
	return 0
}

// paceVisits is what PaceRecords reads of. Visits without an estimate say nothing
// that could be compared.
const paceVisits = `
	WITH over AS (
		SELECT v.visit_id FROM visit v
		WHERE v.salon_id = $1 AND v.state IN ('finished', 'stopped_early') AND v.starts_at >= $2 AND v.starts_at < $3
		  AND EXISTS (SELECT 1 FROM visit_service x WHERE x.salon_id = $1 AND x.visit_id = v.visit_id AND x.estimate_id IS NOT NULL
			AND ($4 = '' OR x.lead_id = $4))`

// PaceRecords lists the visits that began from from to before to and are over,
// by start and then by id; of everybody, or those in whose charge staff was. Steps
// carry the person who did them and whoever helped; events are the presses of steps.
func (t *Tx) PaceRecords(ctx context.Context, from, to time.Time, staff string) ([]PaceRecord, error) {
	return t.paceRecords(ctx, paceVisits+`)`, t.salon, from, to, staff)
}

// PaceRecordsOf lists those among visits that PaceRecords lists of everybody.
func (t *Tx) PaceRecordsOf(ctx context.Context, from, to time.Time, visits []string) ([]PaceRecord, error) {
	return t.paceRecords(ctx, paceVisits+` AND v.visit_id = ANY($5))`, t.salon, from, to, "", visits)
}

// paceRecords reads the records of the visits that over names.
func (t *Tx) paceRecords(ctx context.Context, over string, args ...any) ([]PaceRecord, error) {
	var out []PaceRecord
	at := map[string]*PaceRecord{}
	var b pgx.Batch
	b.Queue(over+`
		SELECT v.visit_id, v.state, v.starts_at, v.ends_at, v.arrived_at, v.finished_at, v.parent_as,
			EXISTS (SELECT 1 FROM money_entry m WHERE m.salon_id = $1 AND m.visit_id = v.visit_id AND m.kind = 'goodwill' AND m.minutes IS NOT NULL
				AND NOT EXISTS (SELECT 1 FROM money_entry r WHERE r.salon_id = $1 AND r.reverses = m.entry_id)),
			EXISTS (SELECT 1 FROM card_fact c WHERE c.salon_id = $1 AND c.visit_id = v.visit_id AND c.kind = 'interruption' AND c.value <> 'null'
				AND NOT EXISTS (SELECT 1 FROM card_fact r WHERE r.salon_id = $1 AND r.visit_id = v.visit_id AND r.replaces = c.fact_id))
		FROM over JOIN visit v ON v.salon_id = $1 AND v.visit_id = over.visit_id ORDER BY v.starts_at, v.visit_id COLLATE "C"`, args...).
		Query(func(rows pgx.Rows) error {
			list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (r PaceRecord, err error) {
				v := &r.Visit
				err = row.Scan(&v.ID, &v.State, &v.Start, &v.End, &v.ArrivedAt, &v.FinishedAt, &v.ParentAs, &r.Goodwill, &r.Interrupted)
				r.Expected = map[int]Expected{}
				return r, err
			})
			out = list
			for i := range out {
				at[out[i].Visit.ID] = &out[i]
			}
			return err
		})
	queueServices(&b, over, at, args)
	queueSteps(&b, over, at, args)
	queuePresses(&b, over, at, args)
	if err := t.tx.SendBatch(ctx, &b).Close(); err != nil {
		return nil, domain("records of pace", err, false)
	}
	return out, nil
}

func queueServices(b *pgx.Batch, over string, at map[string]*PaceRecord, args []any) {
	var visit string
	var s VisitService
	var e Expected
	b.Queue(over+`
		SELECT x.visit_id, x.ordinal, x.lead_id, x.estimate_id, i.kinds, i.means, i.paces, coalesce(r.promised_share, 0),
			coalesce(r.promised_minutes, 0), coalesce(r.block_minutes, 0), coalesce((r.total->>'p50_minutes')::float8, 0),
			coalesce((r.total->>'p80_minutes')::float8, 0), coalesce((r.total->>'p90_minutes')::float8, 0), k.formula, coalesce((e.hair->>'hands')::int, 1)
		FROM over JOIN visit_service x ON x.salon_id = $1 AND x.visit_id = over.visit_id
		LEFT JOIN estimate e ON e.salon_id = $1 AND e.estimate_id = x.estimate_id
		LEFT JOIN LATERAL jsonb_to_record(e.result) -- unpacked once, which is most of the work
			AS r(promised_share float8, promised_minutes float8, block_minutes float8, total jsonb, steps jsonb) ON e.salon_id IS NOT NULL
		LEFT JOIN LATERAL (
			SELECT array_agg(s.kind) AS kinds, array_agg(s.mean_minutes) AS means, array_agg(coalesce(s.pace_factor, 0)) AS paces
			FROM jsonb_to_recordset(r.steps) AS s(kind text, mean_minutes float8, pace_factor float8)) i ON true
		LEFT JOIN (
			SELECT service_id, service_version, array(SELECT s.kind FROM jsonb_to_recordset(steps) AS s(kind text, formula text)
				WHERE s.formula = 'head') AS formula
			FROM service_version WHERE salon_id = $1) k ON k.service_id = x.service_id AND k.service_version = x.service_version
		ORDER BY x.visit_id, x.ordinal`, args...).Query(func(rows pgx.Rows) error {
		_, err := pgx.ForEachRow(rows, []any{&visit, &s.Ordinal, &s.Lead, &s.Estimate, &e.Kinds, &e.Means, &e.Paces,
			&e.Share, &e.Promise, &e.Block, &e.P50, &e.P80, &e.P90, &e.Formula, &e.Hands}, func() error {
			if r := at[visit]; r != nil { // else over only since the visits were read
				r.Visit.Services = append(r.Visit.Services, s)
				if s.Estimate != nil {
					r.Expected[s.Ordinal] = e
				}
			}
			s, e = VisitService{}, Expected{}
			return nil
		})
		return err
	})
}

func queueSteps(b *pgx.Batch, over string, at map[string]*PaceRecord, args []any) {
	var visit string
	var s VisitStep
	b.Queue(over+`
		SELECT x.visit_id, x.ordinal, x.service_ordinal, x.kind, x.starts_at, x.ends_at
		FROM over JOIN visit_step x ON x.salon_id = $1 AND x.visit_id = over.visit_id`, args...).Query(func(rows pgx.Rows) error {
		_, err := pgx.ForEachRow(rows, []any{&visit, &s.Ordinal, &s.Service, &s.Kind, &s.Start, &s.End}, func() error {
			if r := at[visit]; r != nil {
				r.Visit.Steps = append(r.Visit.Steps, s)
			}
			return nil
		})
		for _, r := range at { // here, because sorting by long names takes the database longer
			slices.SortFunc(r.Visit.Steps, func(a, b VisitStep) int { return a.Ordinal - b.Ordinal })
		}
		return err
	})
	var u StepUnit
	b.Queue(over+`
		SELECT u.visit_id, u.ordinal, u.unit_id, u.role
		FROM over JOIN visit_step_unit u ON u.salon_id = $1 AND u.visit_id = over.visit_id
		WHERE u.role IN ('lead', 'assistant', 'helper')`, args...).Query(func(rows pgx.Rows) error {
		_, err := pgx.ForEachRow(rows, []any{&visit, &u.Ordinal, &u.Unit, &u.Role}, func() error {
			r := at[visit]
			if r == nil {
				return nil
			}
			i, ok := slices.BinarySearchFunc(r.Visit.Steps, u.Ordinal, func(s VisitStep, n int) int { return s.Ordinal - n })
			if ok {
				r.Visit.Steps[i].Units = append(r.Visit.Steps[i].Units, u)
			}
			return nil
		})
		return err
	})
}

func queuePresses(b *pgx.Batch, over string, at map[string]*PaceRecord, args []any) {
	var visit string
	var e Event
	b.Queue(over+`
		SELECT e.visit_id, e.event_id, e.kind, e.ordinal, e.at FROM over JOIN visit_event e ON e.salon_id = $1 AND e.visit_id = over.visit_id
		WHERE e.kind IN ('arrive', 'arrive_inferred', 'start', 'finish', 'done', 'undo')`, args...).Query(func(rows pgx.Rows) error {
		_, err := pgx.ForEachRow(rows, []any{&visit, &e.ID, &e.Kind, &e.Ordinal, &e.At}, func() error {
			if r := at[visit]; r != nil {
				r.Visit.Events = append(r.Visit.Events, e)
			}
			e = Event{}
			return nil
		})
		for _, r := range at {
			slices.SortFunc(r.Visit.Events, func(a, b Event) int { return cmp.Compare(a.ID, b.ID) })
		}
		return err
	})
}
