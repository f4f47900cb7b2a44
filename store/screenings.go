package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
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

// ScreeningByID returns one screening, or scheduling.ErrNotFound.
func (t *Tx) ScreeningByID(ctx context.Context, id string) (Screening, error) {
	return t.screening(ctx, id, "")
}

// LockScreening is ScreeningByID for who is about to change it. Its client is
// locked, too.
func (t *Tx) LockScreening(ctx context.Context, id string) (Screening, error) {
	_, err := t.tx.Exec(ctx, `SELECT 1 FROM client WHERE salon_id = $1
		AND client_id = (SELECT client_id FROM screening WHERE salon_id = $1 AND screening_id = $2) FOR NO KEY UPDATE`, t.salon, id)
	if err != nil {
		return Screening{}, domain("client of screening", err, false)
	}
	return t.screening(ctx, id, " FOR UPDATE")
}

func (t *Tx) screening(ctx context.Context, id, lock string) (Screening, error) {
	list, err := collect[Screening](ctx, t, "screening",
		`SELECT `+screeningColumns+` FROM screening WHERE salon_id = $1 AND screening_id = $2`+lock, t.salon, id)
	if err == nil {
		err = one("screening", int64(len(list)), nil)
	}
	if err != nil {
		return Screening{}, err
	}
	return list[0], nil
}

// AddScreening keeps a screening with its answers, which are encrypted. It
// returns ErrNoHealthKey when the store has no key.
func (t *Tx) AddScreening(ctx context.Context, c Screening, answers []byte) (Screening, error) {
	c.ID = NewID()
	if t.seal == nil {
		return c, ErrNoHealthKey
	}
	const q = `
		INSERT INTO screening (salon_id, screening_id, client_id, form_version, outcome, strand_test, after_strand_test,
			earliest, made_at, made_by, consent_by, consent_at, consent_wording)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8::text::date, $9, $10, $11, $12, $13)`
	_, err := t.tx.Exec(ctx, q, t.salon, c.ID, c.Client, c.FormVersion, c.Outcome, c.StrandTest, c.AfterStrandTest,
		dayOrNull(c.Earliest), c.Made, c.MadeBy, c.ConsentBy, c.ConsentAt, c.ConsentWording)
	if err != nil {
		return c, domain("add screening", err, false)
	}
	return c, t.keepSealed(ctx, c, sealedAnswers, answers)
}

func dayOrNull(d *date.Date) *string {
	if d == nil {
		return nil
	}
	return new(d.String())
}

// What of a screening is sealed.
const (
	sealedAnswers = "answers"
	sealedWhy     = "why" // the licensed person's reasons
)

func (t *Tx) keepSealed(ctx context.Context, c Screening, what string, words []byte) error {
	sealed, err := t.sealed(words, "screening", what, c.Client, c.ID)
	if err != nil {
		return err
	}
	_, err = t.tx.Exec(ctx, `INSERT INTO sealed_text (salon_id, screening_id, what, sealed) VALUES ($1, $2, $3, $4)
		ON CONFLICT (salon_id, screening_id, what) DO UPDATE SET sealed = EXCLUDED.sealed`,
		t.salon, c.ID, what, sealed)
	return domain("keep sealed words", err, false)
}

// Answers decrypts what was answered in c and, after a decision, the reasons
// as Decide got them. It returns scheduling.ErrNotFound once they are erased, and
// ErrNoHealthKey, an *UnknownKeyError or ErrSealBroken when the seal does not open.
func (t *Tx) Answers(ctx context.Context, c Screening) (answers, reasons []byte, err error) {
	type row struct {
		What   string `db:"what"`
		Sealed []byte `db:"sealed"`
	}
	list, err := collect[row](ctx, t, "sealed words", `SELECT what, sealed FROM sealed_text WHERE salon_id = $1 AND screening_id = $2`,
		t.salon, c.ID)
	if err != nil {
		return nil, nil, err
	}
	found := false
	for _, r := range list {
		words, err := t.opened(r.Sealed, "screening", r.What, c.Client, c.ID)
		if err != nil {
			return nil, nil, err
		}
		if r.What == sealedAnswers {
			answers, found = words, true
		} else {
			reasons = words
		}
	}
	if !found {
		return nil, nil, scheduling.ErrNotFound
	}
	return answers, reasons, nil
}

// Decide notes what the licensed person says to a screening: c.Decision,
// DecidedBy, DecidedName and DecidedAt, which replace what was said before. The
// reasons, all that were given so far, are encrypted. It returns
// scheduling.ErrNotFound when there is no such screening or it is erased, and
// ErrNoHealthKey.
func (t *Tx) Decide(ctx context.Context, c Screening, reasons []byte) error {
	if t.seal == nil {
		return ErrNoHealthKey
	}
	tag, err := t.tx.Exec(ctx, `
		UPDATE screening SET decision = $3, decided_by = $4, decided_name = $5, decided_at = $6
		WHERE salon_id = $1 AND screening_id = $2 AND erased_at IS NULL`,
		t.salon, c.ID, c.Decision, c.DecidedBy, c.DecidedName, c.DecidedAt)
	if err := one("screening", tag.RowsAffected(), err); err != nil {
		return err
	}
	return t.keepSealed(ctx, c, sealedWhy, reasons)
}

// EraseScreening removes the answers of a screening with all that follows from
// them. That there was one stays, with the consent, withdrawn when withdrawn is
// true. One that is erased already stays as it is.
func (t *Tx) EraseScreening(ctx context.Context, id string, now time.Time, withdrawn bool) error {
	if _, err := t.tx.Exec(ctx, `DELETE FROM sealed_text WHERE salon_id = $1 AND screening_id = $2`, t.salon, id); err != nil {
		return domain("erase screening", err, false)
	}
	tag, err := t.tx.Exec(ctx, `
		UPDATE screening SET erased_at = coalesce(erased_at, $3), outcome = NULL, strand_test = false, after_strand_test = false,
		       earliest = NULL, decision = NULL, decided_by = '', decided_name = '', decided_at = NULL,
		       withdrawn_at = CASE WHEN $4 THEN coalesce(withdrawn_at, $3) ELSE withdrawn_at END
		WHERE salon_id = $1 AND screening_id = $2`, t.salon, id, now, withdrawn)
	return one("screening", tag.RowsAffected(), err)
}

// Led lists which of some clients a stylist leads or led a visit of that was not
// called off.
func (t *Tx) Led(ctx context.Context, staff string, clients []string) ([]string, error) {
	rows, err := t.tx.Query(ctx, `
		SELECT DISTINCT v.client_id FROM visit v JOIN visit_service s USING (salon_id, visit_id)
		WHERE v.salon_id = $1 AND v.client_id = ANY($3) AND s.lead_id = $2
			AND v.state IN ('booked', 'arrived', 'under_way', 'finished', 'stopped_early')`, t.salon, staff, clients)
	if err != nil {
		return nil, domain("stylist of clients", err, false)
	}
	list, err := pgx.CollectRows(rows, pgx.RowTo[string])
	return list, domain("stylist of clients", err, false)
}
