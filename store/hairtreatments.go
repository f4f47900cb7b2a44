package store

import (
	"context"

	"github.com/rickb777/date"
)

// HairTreatment is chemical work done elsewhere, as the client told it: what
// kind and when, and nothing else. Only the owner and stylists in charge see
// it.
type HairTreatment struct {
	ID     string    `db:"treatment_id"`
	Client string    `db:"client_id"`
	Kind   string    `db:"kind"` // as the CHECK of the table lists them
	DoneOn date.Date `db:"done_on"`
}

// HairTreatments lists what was done to a client's hair elsewhere, oldest first.
func (t *Tx) HairTreatments(ctx context.Context, client string) ([]HairTreatment, error) {
	const q = `
		SELECT treatment_id, client_id, kind, done_on::text AS done_on FROM hair_treatment
		WHERE salon_id = $1 AND client_id = $2 ORDER BY done_on, treatment_id`
	return collect[HairTreatment](ctx, t, "hair treatments", q, t.salon, client)
}

// AddHairTreatment notes work done elsewhere.
func (t *Tx) AddHairTreatment(ctx context.Context, h HairTreatment) (HairTreatment, error) {
	h.ID = NewID()
	_, err := t.tx.Exec(ctx, `INSERT INTO hair_treatment (salon_id, client_id, treatment_id, kind, done_on)
		VALUES ($1, $2, $3, $4, $5::text::date)`, t.salon, h.Client, h.ID, h.Kind, h.DoneOn.String())
	return h, domain("add hair treatment", err, false)
}

// DeleteHairTreatment removes what was noted by mistake of a client, or returns
// scheduling.ErrNotFound.
func (t *Tx) DeleteHairTreatment(ctx context.Context, client, id string) error {
	tag, err := t.tx.Exec(ctx, `DELETE FROM hair_treatment WHERE salon_id = $1 AND client_id = $2 AND treatment_id = $3`, t.salon, client, id)
	return one("delete hair treatment", tag.RowsAffected(), err)
}
