package store

import (
	"context"
	"time"

	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/screening"
)

// Screening says that a client answered the consultation form and what follows
// for booking. What was answered is not in it.
type Screening struct {
	ID          string          `db:"screening_id"`
	Client      string          `db:"client_id"`
	FormVersion int             `db:"form_version"`
	Outcome     screening.Level `db:"outcome"`     // "" once the answers are erased
	StrandTest  bool            `db:"strand_test"` // a strand test is needed first
	// AfterStrandTest marks a do_not_book that the licensed person may lift once
	// a strand test was held.
	AfterStrandTest bool       `db:"after_strand_test"`
	Earliest        *date.Date `db:"earliest"` // first day for a service with chemicals
	Made            time.Time  `db:"made_at"`
	MadeBy          string     `db:"made_by"` // staff, "" for a token that is nobody's
	ConsentBy       string     `db:"consent_by"`
	ConsentAt       time.Time  `db:"consent_at"`
	ConsentWording  int        `db:"consent_wording"` // version of the words agreed to
	Withdrawn       *time.Time `db:"withdrawn_at"`
	Decision        string     `db:"decision"`     // yes, no, or "" while open
	DecidedBy       string     `db:"decided_by"`   // staff
	DecidedName     string     `db:"decided_name"` // as it was then
	DecidedAt       *time.Time `db:"decided_at"`
	Erased          *time.Time `db:"erased_at"`
}

// Standing is the outcome with the licensed person's word counted in: a yes
// makes it clear, a no do_not_book.
func (c Screening) Standing() screening.Level {
	switch c.Decision {
	case "yes":
		return screening.Clear
	case "no":
		return screening.DoNotBook
	}
	return c.Outcome
}

const screeningColumns = `screening_id, client_id, form_version, coalesce(outcome, '') AS outcome, strand_test, after_strand_test,
	earliest::text AS earliest, made_at, made_by, consent_by, consent_at, consent_wording, withdrawn_at,
	coalesce(decision, '') AS decision, decided_by, decided_name, decided_at, erased_at`

// Screenings lists a client's screenings, newest first, erased ones included.
func (t *Tx) Screenings(ctx context.Context, client string) ([]Screening, error) {
	const q = `SELECT ` + screeningColumns + ` FROM screening
		WHERE salon_id = $1 AND client_id = $2 ORDER BY made_at DESC, screening_id DESC`
	return collect[Screening](ctx, t, "screenings", q, t.salon, client)
}

// LatestScreening returns the client's newest screening. It returns
// scheduling.ErrNotFound when there is none, and when the answers of the newest
// are erased: an older one says nothing about today.
func (t *Tx) LatestScreening(ctx context.Context, client string) (Screening, error) {
	const q = `SELECT ` + screeningColumns + ` FROM screening
		WHERE salon_id = $1 AND client_id = $2 ORDER BY made_at DESC, screening_id DESC LIMIT 1`
	list, err := collect[Screening](ctx, t, "screening", q, t.salon, client)
	if err == nil {
		err = one("screening", int64(len(list)), nil)
	}
	if err == nil && list[0].Erased != nil {
		err = scheduling.ErrNotFound
	}
	if err != nil {
		return Screening{}, err
	}
	return list[0], nil
}
