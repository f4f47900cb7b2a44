package store

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/rickb777/date"
)

// Form is a version of a salon's consultation form.
type Form struct {
	Version  int             `db:"form_version"`
	Standard int             `db:"standard"` // version of the questions that the program brings along
	Own      json.RawMessage `db:"own"`      // the salon's own questions, as JSON of the door that took them
}

// FormByVersion returns a version of the salon's form, or scheduling.ErrNotFound.
func (t *Tx) FormByVersion(ctx context.Context, version int) (Form, error) {
	return t.form(ctx, `AND form_version = $2`, version)
}

// NewestForm returns the newest version of the salon's form that was kept, or
// scheduling.ErrNotFound.
func (t *Tx) NewestForm(ctx context.Context) (Form, error) {
	return t.form(ctx, `ORDER BY form_version DESC LIMIT 1`)
}

func (t *Tx) form(ctx context.Context, which string, args ...any) (Form, error) {
	rows, err := t.tx.Query(ctx, `SELECT form_version, standard, own FROM consultation_form WHERE salon_id = $1 `+which,
		append([]any{t.salon}, args...)...)
	if err != nil {
		return Form{}, domain("consultation form", err, false)
	}
	f, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[Form])
	return f, domain("consultation form", err, false)
}

// KeepForm keeps a version of the form, and reports whether it was the first to
// do so. A version that is kept never changes.
func (t *Tx) KeepForm(ctx context.Context, f Form) (bool, error) {
	tag, err := t.tx.Exec(ctx, `INSERT INTO consultation_form (salon_id, form_version, standard, own) VALUES ($1, $2, $3, $4)
		ON CONFLICT DO NOTHING`, t.salon, f.Version, f.Standard, f.Own)
	return tag.RowsAffected() == 1, domain("keep consultation form", err, false)
}

// HealthMonths is how many months after a client's last visit answers about
// health stay, and the version of the salon's row.
func (t *Tx) HealthMonths(ctx context.Context) (months int, version int64, err error) {
	err = t.tx.QueryRow(ctx, `SELECT health_months, version FROM salon WHERE salon_id = $1`, t.salon).Scan(&months, &version)
	return months, version, domain("privacy", err, false)
}

// HealthFrom is the day before which nothing goes by HealthMonths, since it was
// changed or since nothing at all goes, see HoldErasing; the zero date is no limit.
func (t *Tx) HealthFrom(ctx context.Context) (from date.Date, err error) {
	err = t.tx.QueryRow(ctx, `SELECT greatest(health_from, erase_from)::text FROM salon WHERE salon_id = $1 AND (health_from IS NOT NULL OR erase_from IS NOT NULL)`, t.salon).Scan(&from)
	if errors.Is(err, pgx.ErrNoRows) {
		return from, nil
	}
	return from, domain("privacy", err, false)
}

// SetHealthMonths changes HealthMonths, 1 to 120, when the salon's version is still the
// given one, and returns the new version; otherwise scheduling.ErrStale. What another
// term than before would erase goes on the second day from today at the soonest, today
// being by the salon's calendar.
func (t *Tx) SetHealthMonths(ctx context.Context, version int64, months int, today date.Date) (int64, error) {
	tag, err := t.tx.Exec(ctx, `UPDATE salon SET health_months = $3, version = version + 1,
			health_from = CASE WHEN health_months = $3 THEN health_from ELSE greatest(health_from, $4::text::date) END
		WHERE salon_id = $1 AND version = $2`, t.salon, version, months, today.Add(graceDays).String())
	if err != nil {
		return 0, domain("privacy", err, false)
	}
	if tag.RowsAffected() == 0 {
		return 0, t.staleOrMissing(ctx, `SELECT 1 FROM salon WHERE salon_id = $1 AND $2 <> ''`, t.salon)
	}
	return version + 1, nil
}

// HealthRead says who did what with the answers of a screening, or with what else
// is on record of a client's health. It outlives them.
type HealthRead struct {
	ID        string    `db:"read_id"`
	About     string    `db:"about"`        // consultation ("" when noted), skin_tests, strand_tests, reactions, overrides, needs, stops; tests: all of the first three
	Screening string    `db:"screening_id"` // "" unless about a consultation
	Client    string    `db:"client_id"`    // "" when the client is gone
	At        time.Time `db:"read_at"`
	What      string    `db:"what"` // read, made, decided or erased
	Role      string    `db:"role"`
	Staff     string    `db:"staff_id"` // "" for a token that is nobody's
	Token     string    `db:"token_id"`
}

// NoteHealthRead notes it. Rows are never changed.
func (t *Tx) NoteHealthRead(ctx context.Context, r HealthRead) error {
	_, err := t.tx.Exec(ctx, `INSERT INTO health_read (salon_id, read_id, screening_id, read_at, what, role, staff_id, token_id, about, client_id)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, coalesce(nullif($9, ''), 'consultation'), $10)`,
		t.salon, NewID(), r.Screening, r.At, r.What, r.Role, r.Staff, r.Token, r.About, r.Client)
	return domain("note a reading", err, false)
}

// readAgain is for how long looking at the same thing again is the same reading
// (judgement: a page that is refreshed all day would bury the log).
const readAgain = time.Hour

// NoteHealthReadOnce notes it unless the same token did the same lately.
func (t *Tx) NoteHealthReadOnce(ctx context.Context, r HealthRead) error {
	var noted bool
	err := t.tx.QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM health_read WHERE salon_id = $1 AND token_id = $2 AND about = $3 AND client_id = $4
		AND what = $5 AND read_at > $6 AND read_at <= $7)`, t.salon, r.Token, r.About, r.Client, r.What, r.At.Add(-readAgain), r.At).Scan(&noted)
	if err != nil || noted {
		return domain("note a reading", err, false)
	}
	return t.NoteHealthRead(ctx, r)
}

// HealthReads lists who did what with answers, the newest first, before the one
// with the id before ("" for the newest), at most limit.
func (t *Tx) HealthReads(ctx context.Context, before string, limit int) ([]HealthRead, error) {
	const q = `
		SELECT r.read_id, r.about, r.screening_id, coalesce(x.client_id, y.client_id, '') AS client_id, r.read_at, r.what, r.role, r.staff_id, r.token_id
		FROM health_read r LEFT JOIN screening x USING (salon_id, screening_id)
			LEFT JOIN client y ON y.salon_id = r.salon_id AND y.client_id = r.client_id
		WHERE r.salon_id = $1 AND ($2 = '' OR r.read_id < $2) ORDER BY r.read_id DESC LIMIT $3`
	return collect[HealthRead](ctx, t, "readings", q, t.salon, before, limit)
}
