package store

import (
	"context"
	"time"
)

// ContactChange is one change of where messages to a client go.
type ContactChange struct {
	ID       string         `db:"change_id"`
	Client   string         `db:"client_id"`
	Way      string         `db:"way"`         // mail or text
	Guardian bool           `db:"guardian"`    // messages go to who answers for a minor
	Was      string         `db:"was"`         // the address before, "" for none or once it was taken out
	Reminder string         `db:"reminder_id"` // the message that tells the old address, "" when nothing could
	Changed  time.Time      `db:"changed_at"`
	By       string         `db:"changed_by"` // a name, or what somebody may do where nobody knows one
	Told     *ReminderState `db:"told"`       // what became of that message
}

// KindAddressChanged is the kind of the message that tells an old address. It stays
// in line whatever becomes of the visit beside which it stands.
const KindAddressChanged = "address_changed"

const contactChanges = `SELECT change_id, x.client_id, x.way, x.guardian, x.was, COALESCE(x.reminder_id, '') AS reminder_id, x.changed_at, x.changed_by, r.state AS told
	FROM contact_change x LEFT JOIN reminder r USING (salon_id, reminder_id) WHERE x.salon_id = $1 AND `

// AddContactChange notes a change; its id is chosen.
func (t *Tx) AddContactChange(ctx context.Context, c ContactChange) (ContactChange, error) {
	c.ID = NewID()
	_, err := t.tx.Exec(ctx, `INSERT INTO contact_change (salon_id, change_id, client_id, way, guardian, was, changed_at, changed_by)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`, t.salon, c.ID, c.Client, c.Way, c.Guardian, c.Was, c.Changed, c.By)
	return c, domain("add contact change", err, false)
}

// SetTelling notes which message tells the old address of a change, or returns
// scheduling.ErrNotFound.
func (t *Tx) SetTelling(ctx context.Context, change, reminder string) error {
	tag, err := t.tx.Exec(ctx, `UPDATE contact_change SET reminder_id = $3 WHERE salon_id = $1 AND change_id = $2`, t.salon, change, reminder)
	return one("contact change", tag.RowsAffected(), err)
}

// ContactChanges lists the changes of a client, the latest first.
func (t *Tx) ContactChanges(ctx context.Context, client string) ([]ContactChange, error) {
	return collect[ContactChange](ctx, t, "contact changes", contactChanges+`x.client_id = $2 ORDER BY x.changed_at DESC, x.change_id DESC`, t.salon, client)
}

// ContactChangeTold returns the change of which a message tells, or
// scheduling.ErrNotFound.
func (t *Tx) ContactChangeTold(ctx context.Context, reminder string) (ContactChange, error) {
	list, err := collect[ContactChange](ctx, t, "contact change", contactChanges+`x.reminder_id = $2`, t.salon, reminder)
	if err == nil {
		err = one("contact change", int64(len(list)), nil)
	}
	if err != nil {
		return ContactChange{}, err
	}
	return list[0], nil
}

// oldAddressDays is how long an address is kept that messages go to no more
// (judgement: a message that failed is put in line again within days).
const oldAddressDays = 30

// oldAddresses finds changes of salon $1, before $2, with an address that messages go to no more.
const oldAddresses = `SELECT FROM contact_change WHERE salon_id = $1 AND was <> '' AND changed_at < $2`

func oldAddressesBefore(now time.Time) time.Time { return now.AddDate(0, 0, -oldAddressDays) }

// eraseOldAddresses takes out addresses that messages go to no more.
func (t *Tx) eraseOldAddresses(ctx context.Context, now time.Time) error {
	_, err := t.tx.Exec(ctx, `UPDATE contact_change SET was = '' WHERE salon_id = $1 AND was <> '' AND changed_at < $2`, t.salon, oldAddressesBefore(now))
	return domain("old addresses", err, false)
}
