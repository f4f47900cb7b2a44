package store

import (
	"context"
	"encoding/json"
	"time"

	"github.com/rickb777/date"
)

// DayPlanState says whether a proposal was carried out.
type DayPlanState string

// States of a day plan.
const (
	PlanProposed DayPlanState = "proposed"
	PlanApplied  DayPlanState = "applied"
)

// DayPlan is a proposal for a day. It acts on nothing by itself.
type DayPlan struct {
	ID       string          `db:"plan_id"`
	Day      date.Date       `db:"day"`
	State    DayPlanState    `db:"state"`
	Proposal json.RawMessage `db:"proposal"` // with what it was worked out from, as JSON of the door that made it
	Created  time.Time       `db:"created_at"`
	Applied  *time.Time      `db:"applied_at"`
}

const dayPlanQuery = `
	SELECT plan_id, day::text AS day, state, proposal, created_at, applied_at FROM day_plan WHERE salon_id = $1 AND plan_id = $2`

// AddDayPlan keeps a proposal that was made at p.Created, and forgets those of
// days before forget. Its id is chosen when empty.
func (t *Tx) AddDayPlan(ctx context.Context, p DayPlan, forget date.Date) (DayPlan, error) {
	if p.ID == "" {
		p.ID = NewID()
	}
	p.State = PlanProposed
	if _, err := t.tx.Exec(ctx, `DELETE FROM day_plan WHERE salon_id = $1 AND day < $2::text::date`, t.salon, forget.String()); err != nil {
		return p, domain("forget day plans", err, false)
	}
	_, err := t.tx.Exec(ctx, `INSERT INTO day_plan (salon_id, plan_id, day, proposal, created_at) VALUES ($1, $2, $3::text::date, $4, $5)`,
		t.salon, p.ID, p.Day.String(), p.Proposal, p.Created)
	return p, domain("add day plan", err, false)
}

// DayPlanByID returns a proposal, or scheduling.ErrNotFound.
func (t *Tx) DayPlanByID(ctx context.Context, id string) (DayPlan, error) {
	return t.dayPlan(ctx, id, "")
}

// LockDayPlan is DayPlanByID and keeps others who want to carry it out waiting
// until the transaction ends.
func (t *Tx) LockDayPlan(ctx context.Context, id string) (DayPlan, error) {
	return t.dayPlan(ctx, id, " FOR UPDATE")
}

func (t *Tx) dayPlan(ctx context.Context, id, lock string) (DayPlan, error) {
	list, err := collect[DayPlan](ctx, t, "day plan", dayPlanQuery+lock, t.salon, id)
	if err == nil {
		err = one("day plan", int64(len(list)), nil)
	}
	if err != nil {
		return DayPlan{}, err
	}
	return list[0], nil
}

// NoteApplied notes that a locked proposal was carried out at at, with
// p.Proposal as it reads now, or returns scheduling.ErrNotFound.
func (t *Tx) NoteApplied(ctx context.Context, p *DayPlan, at time.Time) error {
	tag, err := t.tx.Exec(ctx, `UPDATE day_plan SET state = 'applied', applied_at = $3, proposal = $4 WHERE salon_id = $1 AND plan_id = $2`,
		t.salon, p.ID, at, p.Proposal)
	if err := one("day plan", tag.RowsAffected(), err); err != nil {
		return err
	}
	p.State, p.Applied = PlanApplied, &at
	return nil
}
