package store

import (
	"context"
	"maps"
	"time"

	"github.com/rickb777/date"

	"chairblock/scheduling"
)

// Minor says that a client is below the age of consent, until when, and who
// answers for her.
type Minor struct {
	Client    string    `db:"client_id"`
	Until     date.Date `db:"until_date"` // the day on which she is Age
	Age       int       `db:"consent_age"`
	Guardian  string    `db:"guardian_name"` // "" as long as nobody knows
	Phone     string    `db:"phone"`
	Mail      string    `db:"mail"`
	ContactBy string    `db:"contact_by"` // mail, call, text, none, or NotAsked
	Stays     string    `db:"stays"`      // present or reachable during the visit
	Version   int64     `db:"version"`
}

const minorColumns = `client_id, until_date::text AS until_date, consent_age::int AS consent_age, guardian_name, phone, mail, ` + contactColumn + `, stays, version`

// MinorOf says who answers for a client, or returns scheduling.ErrNotFound when
// nobody noted that she is a minor.
func (t *Tx) MinorOf(ctx context.Context, client string) (Minor, error) {
	list, err := collect[Minor](ctx, t, "minor", `SELECT `+minorColumns+` FROM minor WHERE salon_id = $1 AND client_id = $2`, t.salon, client)
	if err == nil {
		err = one("minor", int64(len(list)), nil)
	}
	if err != nil {
		return Minor{}, err
	}
	return list[0], nil
}

// MinorsOf says who answers for those clients who were noted as minors, by client.
func (t *Tx) MinorsOf(ctx context.Context, clients ...string) (map[string]Minor, error) {
	out := map[string]Minor{}
	if len(clients) == 0 {
		return out, nil
	}
	if r, known := t.clientNeeds(clients); known {
		return maps.Clone(r.Minors), nil
	}
	list, err := collect[Minor](ctx, t, "minors", `SELECT `+minorColumns+` FROM minor WHERE salon_id = $1 AND client_id = ANY($2)`, t.salon, clients)
	for _, m := range list {
		out[m.Client] = m
	}
	return out, err
}

// MinorChange says who noted, changed or took back that a client is a minor, and
// why. None is ever changed itself.
type MinorChange struct {
	Was        *date.Date `db:"old_until"`   // nil: she was not noted as a minor before
	Until      *date.Date `db:"new_until"`   // nil: it was taken back
	ApprovedBy string     `db:"approved_by"` // the licensed person, "" when nobody had to agree
	Reason     string     `db:"reason"`      // up to 300 characters
	NotedBy    string     `db:"noted_by"`
	Made       time.Time  `db:"made_at"`
}

// MinorChanges lists every change of until when a client is a minor, oldest first.
func (t *Tx) MinorChanges(ctx context.Context, client string) ([]MinorChange, error) {
	return collect[MinorChange](ctx, t, "minor changes", `SELECT old_until::text AS old_until, new_until::text AS new_until, approved_by, reason, noted_by, made_at
		FROM minor_change WHERE salon_id = $1 AND client_id = $2 ORDER BY change_id`, t.salon, client)
}

// addMinorChange keeps a change before it is made; until is "" when it takes back
// what was noted.
func (t *Tx) addMinorChange(ctx context.Context, client, until string, c MinorChange) error {
	_, err := t.tx.Exec(ctx, `
		INSERT INTO minor_change (salon_id, change_id, client_id, old_until, new_until, approved_by, reason, noted_by, made_at)
		VALUES ($1, $2, $3, (SELECT until_date FROM minor WHERE salon_id = $1 AND client_id = $3), nullif($4, '')::date, $5, $6, $7, $8)`,
		t.salon, NewID(), client, until, c.ApprovedBy, c.Reason, c.NotedBy, c.Made)
	return domain("note change of minor", err, false)
}

// SetMinor notes that a client is a minor, or changes what was noted, and keeps
// who did and why. The client has to be locked.
func (t *Tx) SetMinor(ctx context.Context, m Minor, c MinorChange) (Minor, error) {
	if err := t.addMinorChange(ctx, m.Client, m.Until.String(), c); err != nil {
		return m, err
	}
	by, asked := contactOf(m.ContactBy)
	_, err := t.tx.Exec(ctx, `
		INSERT INTO minor (salon_id, client_id, until_date, consent_age, guardian_name, phone, mail, contact_by, stays, contact_asked)
		VALUES ($1, $2, $3::text::date, $4, $5, $6, $7, $8, $9, $10)
		ON CONFLICT (salon_id, client_id) DO UPDATE SET until_date = excluded.until_date, consent_age = excluded.consent_age,
			guardian_name = excluded.guardian_name, phone = excluded.phone, mail = excluded.mail, contact_by = excluded.contact_by,
			stays = excluded.stays, contact_asked = excluded.contact_asked, version = minor.version + 1`,
		t.salon, m.Client, m.Until.String(), m.Age, m.Guardian, m.Phone, m.Mail, by, m.Stays, asked)
	if err != nil {
		return m, domain("set minor", err, false)
	}
	return t.MinorOf(ctx, m.Client)
}

// DeleteMinor takes back that a client is a minor and keeps who did and why, or
// returns scheduling.ErrNotFound. The client has to be locked.
func (t *Tx) DeleteMinor(ctx context.Context, client string, c MinorChange) error {
	if _, err := t.MinorOf(ctx, client); err != nil {
		return err
	}
	if err := t.addMinorChange(ctx, client, "", c); err != nil {
		return err
	}
	tag, err := t.tx.Exec(ctx, `DELETE FROM minor WHERE salon_id = $1 AND client_id = $2`, t.salon, client)
	return one("delete minor", tag.RowsAffected(), err)
}

// Consent is a client's agreement to a wording, or a guardian's yes to a visit.
type Consent struct {
	ID          string     `db:"consent_id"`
	Client      string     `db:"client_id"`
	Visit       string     `db:"visit_id"`        // of a guardian's yes, else ""
	Wording     int        `db:"wording_version"` // of a client's consent, else 0
	GivenBy     string     `db:"given_by"`
	How         string     `db:"how"` // present, phone or written
	Given       time.Time  `db:"given_at"`
	TakenBy     string     `db:"taken_by"`
	ApprovedBy  string     `db:"approved_by"` // the licensed person who agreed, too
	Withdrawn   *time.Time `db:"withdrawn_at"`
	WithdrawnBy string     `db:"withdrawn_by"`
}

const consentColumns = `consent_id, client_id, coalesce(visit_id, '') AS visit_id, coalesce(wording_version, 0)::int AS wording_version, given_by, how,
	given_at, taken_by, approved_by, withdrawn_at, withdrawn_by`

// AddConsent notes a consent; its id is chosen.
func (t *Tx) AddConsent(ctx context.Context, c Consent) (Consent, error) {
	c.ID = NewID()
	_, err := t.tx.Exec(ctx, `
		INSERT INTO consent (salon_id, consent_id, client_id, visit_id, wording_version, given_by, how, given_at, taken_by, approved_by)
		VALUES ($1, $2, $3, nullif($4, ''), nullif($5, 0), $6, $7, $8, $9, $10)`,
		t.salon, c.ID, c.Client, c.Visit, c.Wording, c.GivenBy, c.How, c.Given, c.TakenBy, c.ApprovedBy)
	return c, domain("add consent", err, false)
}

// Consents lists what clients and their guardians agreed to, withdrawn or not,
// in the order in which it was noted.
func (t *Tx) Consents(ctx context.Context, clients ...string) ([]Consent, error) {
	return collect[Consent](ctx, t, "consents", `SELECT `+consentColumns+` FROM consent
		WHERE salon_id = $1 AND client_id = ANY($2) ORDER BY consent_id`, t.salon, clients)
}

// WithdrawConsent notes that a consent was taken back, and with it every other one
// of the client to the same wording or visit. It returns scheduling.ErrNotFound
// when there is none or it was taken back before.
func (t *Tx) WithdrawConsent(ctx context.Context, id, by string, now time.Time) (Consent, error) {
	_, err := t.tx.Exec(ctx, `SELECT 1 FROM client WHERE salon_id = $1
		AND client_id = (SELECT client_id FROM consent WHERE salon_id = $1 AND consent_id = $2) FOR NO KEY UPDATE`, t.salon, id)
	if err != nil {
		return Consent{}, domain("client of consent", err, false)
	}
	list, err := collect[Consent](ctx, t, "withdraw consent", `UPDATE consent SET withdrawn_at = $3, withdrawn_by = $4
		WHERE salon_id = $1 AND withdrawn_at IS NULL AND (client_id, coalesce(visit_id, ''), coalesce(wording_version, 0)) IN (
			SELECT client_id, coalesce(visit_id, ''), coalesce(wording_version, 0) FROM consent
			WHERE salon_id = $1 AND consent_id = $2 AND withdrawn_at IS NULL)
		RETURNING `+consentColumns, t.salon, id, now, by)
	if err != nil {
		return Consent{}, err
	}
	for _, c := range list {
		if c.ID == id {
			return c, nil
		}
	}
	return Consent{}, scheduling.ErrNotFound
}

// ConsentWording is a text that clients agree to. Version 1 is the program's own
// and no row.
type ConsentWording struct {
	Version int       `db:"wording_version"`
	Text    string    `db:"wording"`
	Made    time.Time `db:"made_at"`
}

// ConsentWordings lists the salon's own wordings, oldest first.
func (t *Tx) ConsentWordings(ctx context.Context) ([]ConsentWording, error) {
	return collect[ConsentWording](ctx, t, "wordings", `SELECT wording_version, wording, made_at FROM consent_wording
		WHERE salon_id = $1 ORDER BY wording_version`, t.salon)
}

// AddConsentWording keeps a new wording, which counts from now on, under the next
// version.
func (t *Tx) AddConsentWording(ctx context.Context, text string, now time.Time) (ConsentWording, error) {
	if _, err := t.tx.Exec(ctx, `SELECT 1 FROM salon WHERE salon_id = $1 FOR NO KEY UPDATE`, t.salon); err != nil {
		return ConsentWording{}, domain("wording", err, false)
	}
	list, err := collect[ConsentWording](ctx, t, "add wording", `
		INSERT INTO consent_wording (salon_id, wording_version, wording, made_at)
		SELECT $1, coalesce(max(wording_version), 1) + 1, $2, $3 FROM consent_wording WHERE salon_id = $1
		RETURNING wording_version, wording, made_at`, t.salon, text, now)
	if err == nil {
		err = one("add wording", int64(len(list)), nil)
	}
	if err != nil {
		return ConsentWording{}, err
	}
	return list[0], nil
}

// NameClient writes which client a locked visit is for that was for nobody on
// file, with who said yes to that. It returns ErrClientBusy when the client has
// another visit at that time, and scheduling.ErrNotFound for a visit that has a
// client.
func (t *Tx) NameClient(ctx context.Context, v *Visit) error {
	tag, err := t.tx.Exec(ctx, `
		UPDATE visit SET client_id = $3, title = '', approved_by = $4, version = version + 1, changed_at = now()
		WHERE salon_id = $1 AND visit_id = $2 AND client_id IS NULL`, t.salon, v.ID, v.Client, v.ApprovedBy)
	if err := one("name client", tag.RowsAffected(), err); err != nil {
		return err
	}
	v.Version++
	return nil
}
