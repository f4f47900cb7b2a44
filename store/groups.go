package store

import (
	"context"
)

// Group is visits that belong together.
type Group struct {
	ID  string `db:"group_id"`
	How string `db:"how"` // arrive_together, side_by_side or one_after_other
}

// AddGroup adds a group to which no visit belongs yet; its id is chosen when
// empty.
func (t *Tx) AddGroup(ctx context.Context, g Group) (Group, error) {
	if g.ID == "" {
		g.ID = NewID()
	}
	_, err := t.tx.Exec(ctx, `INSERT INTO visit_group (salon_id, group_id, how) VALUES ($1, $2, $3)`, t.salon, g.ID, g.How)
	return g, domain("add group", err, false)
}

// GroupByID returns a group, or scheduling.ErrNotFound.
func (t *Tx) GroupByID(ctx context.Context, id string) (Group, error) {
	return t.group(ctx, id, "")
}

// GroupsByID lists the groups with the given ids, oldest first.
func (t *Tx) GroupsByID(ctx context.Context, ids []string) ([]Group, error) {
	return collect[Group](ctx, t, "groups", `SELECT group_id, how FROM visit_group WHERE salon_id = $1 AND group_id = ANY($2) ORDER BY group_id`, t.salon, ids)
}

// LockGroup is GroupByID and keeps others who do the same waiting until the
// transaction ends. Whoever changes the time of a visit in the group does so
// after the visit is locked, and before the other visits are looked at: else
// two who change one visit each would both find the group in order.
func (t *Tx) LockGroup(ctx context.Context, id string) (Group, error) {
	return t.group(ctx, id, " FOR NO KEY UPDATE")
}

func (t *Tx) group(ctx context.Context, id, lock string) (Group, error) {
	list, err := collect[Group](ctx, t, "group", `SELECT group_id, how FROM visit_group WHERE salon_id = $1 AND group_id = $2`+lock, t.salon, id)
	if err == nil {
		err = one("group", int64(len(list)), nil)
	}
	if err != nil {
		return Group{}, err
	}
	return list[0], nil
}

// VisitsOfGroup lists the visits of a group in any state, by start.
func (t *Tx) VisitsOfGroup(ctx context.Context, id string) ([]Visit, error) {
	return t.visits(ctx, `AND group_id = $2 ORDER BY starts_at, visit_id`, id)
}

// SetVisitGroup puts a locked visit into v.Group, or into none, and raises its
// version. It returns scheduling.ErrNotFound when there is no such visit, and an
// *scheduling.InvalidError when there is no such group.
func (t *Tx) SetVisitGroup(ctx context.Context, v *Visit) error {
	tag, err := t.tx.Exec(ctx, `UPDATE visit SET group_id = $3, version = version + 1, changed_at = now() WHERE salon_id = $1 AND visit_id = $2`,
		t.salon, v.ID, v.Group)
	if err := one("group of visit", tag.RowsAffected(), err); err != nil {
		return err
	}
	v.Version++
	return nil
}
