package store

import (
	"context"
	"encoding/json"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/rickb777/date"
)

// Client is a person who is looked after. Nothing about health is kept here.
type Client struct {
	ID         string `db:"client_id"`
	GivenName  string `db:"given_name"`
	FamilyName string `db:"family_name"`
	Phone      string `db:"phone"` // E.164
	Mail       string `db:"mail"`
	ContactBy  string `db:"contact_by"` // mail, call, text, none, or NotAsked
	Note       string `db:"note"`
	Growth     string `db:"growth"` // how quickly hair grows as seen: slow, usual or quick; "" when nobody looked
	Version    int64  `db:"version"`
}

// Initials is what feeds and the board show instead of the name: the first
// letters of its first and its last word, as in "A. K.", or "" when it has no
// letters.
func (c Client) Initials() string {
	words := strings.FieldsFunc(c.GivenName+" "+c.FamilyName, func(r rune) bool { return unicode.IsSpace(r) || unicode.IsDigit(r) })
	var letters []string
	for _, w := range words {
		if i := strings.IndexFunc(w, unicode.IsLetter); i >= 0 {
			first, _ := utf8.DecodeRuneInString(w[i:])
			letters = append(letters, string(unicode.ToUpper(first))+".")
		}
	}
	if len(letters) < 2 {
		return strings.Join(letters, "")
	}
	return letters[0] + " " + letters[len(letters)-1]
}

// NotAsked is how somebody is reached who was not asked yet how: what she has to know
// is said on the telephone, and nothing else goes out.
const NotAsked = "not_asked"

// contactColumn is NotAsked where nobody answered. The column beside it tells an
// answer from what nobody chose.
const contactColumn = `CASE WHEN contact_by = 'none' AND NOT contact_asked THEN 'not_asked' ELSE contact_by END AS contact_by`

// contactOf is what is kept of how somebody is reached, and whether she said so.
func contactOf(by string) (kept string, asked bool) {
	if by == NotAsked {
		return "none", false
	}
	return by, true
}

const clientColumns = `client_id, given_name, family_name, phone, mail, ` + contactColumn + `, note, growth, version`

// Clients lists clients by id after the given one, at most limit, whose name
// begins with prefix (empty for all).
func (t *Tx) Clients(ctx context.Context, prefix, after string, limit int) ([]Client, error) {
	const q = `SELECT ` + clientColumns + ` FROM client
		WHERE salon_id = $1 AND client_id > $2
		  AND ($3 = '' OR starts_with(lower(given_name), lower($3)) OR starts_with(lower(family_name), lower($3)))
		ORDER BY client_id LIMIT $4`
	return collect[Client](ctx, t, "clients", q, t.salon, after, prefix, limit)
}

// ClientByID returns one client, or scheduling.ErrNotFound.
func (t *Tx) ClientByID(ctx context.Context, id string) (Client, error) {
	list, err := collectOwn[Client](ctx, t, ofClients, "client", `SELECT `+clientColumns+` FROM client WHERE salon_id = $1 AND client_id = $2`, id)
	if err == nil {
		err = one("client", int64(len(list)), nil)
	}
	if err != nil {
		return Client{}, err
	}
	return list[0], nil
}

// ClientsAlike lists other clients with the same telephone number, address or name
// as one, at most limit.
func (t *Tx) ClientsAlike(ctx context.Context, id string, limit int) ([]Client, error) {
	const q = `SELECT ` + clientColumns + ` FROM client o WHERE salon_id = $1 AND client_id <> $2 AND EXISTS (
			SELECT 1 FROM client c WHERE c.salon_id = $1 AND c.client_id = $2 AND (c.phone <> '' AND c.phone = o.phone OR c.mail <> '' AND c.mail = o.mail
				OR c.family_name <> '' AND lower(c.given_name) = lower(o.given_name) AND lower(c.family_name) = lower(o.family_name)))
		ORDER BY client_id LIMIT $3`
	return collect[Client](ctx, t, "clients alike", q, t.salon, id, limit)
}

// ClientsByID returns clients by id; ids that there are none of are left out.
func (t *Tx) ClientsByID(ctx context.Context, ids ...string) (map[string]Client, error) {
	out := make(map[string]Client, len(ids))
	if len(ids) == 0 {
		return out, nil
	}
	list, err := collect[Client](ctx, t, "clients", `SELECT `+clientColumns+` FROM client WHERE salon_id = $1 AND client_id = ANY($2)`, t.salon, ids)
	for _, c := range list {
		out[c.ID] = c
	}
	return out, err
}

// AddClient adds a client.
func (t *Tx) AddClient(ctx context.Context, c Client) (Client, error) {
	c.ID = NewID()
	by, asked := contactOf(c.ContactBy)
	_, err := t.tx.Exec(ctx, `INSERT INTO client (salon_id, client_id, given_name, family_name, phone, mail, contact_by, contact_asked, note, growth)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		t.salon, c.ID, c.GivenName, c.FamilyName, c.Phone, c.Mail, by, asked, c.Note, c.Growth)
	if err != nil {
		return c, domain("add client", err, false)
	}
	return t.ClientByID(ctx, c.ID)
}

// UpdateClient changes a client whose version is still c.Version, else
// scheduling.ErrStale.
func (t *Tx) UpdateClient(ctx context.Context, c Client) (Client, error) {
	by, asked := contactOf(c.ContactBy)
	tag, err := t.tx.Exec(ctx, `
		UPDATE client SET given_name = $4, family_name = $5, phone = $6, mail = $7, contact_by = $8, note = $9,
		       growth = $10, contact_asked = $11, version = version + 1
		WHERE salon_id = $1 AND client_id = $2 AND version = $3`,
		t.salon, c.ID, c.Version, c.GivenName, c.FamilyName, c.Phone, c.Mail, by, c.Note, c.Growth, asked)
	if err != nil {
		return c, domain("update client", err, false)
	}
	if tag.RowsAffected() == 0 {
		return c, t.staleOrMissing(ctx, `SELECT 1 FROM client WHERE salon_id = $1 AND client_id = $2`, c.ID)
	}
	// Initials may have changed in the feeds of whoever works for the client.
	if err := t.touchFeedsOfClient(ctx, c.ID); err != nil {
		return c, err
	}
	return t.ClientByID(ctx, c.ID)
}

// DeleteClient removes a client who has no visit. With visits it returns a
// *scheduling.InvalidError, since their blocks and accounts still need them, and
// scheduling.ErrStale when version is not the client's any more.
func (t *Tx) DeleteClient(ctx context.Context, id string, version int64) error {
	tag, err := t.tx.Exec(ctx, `DELETE FROM client WHERE salon_id = $1 AND client_id = $2 AND version = $3`, t.salon, id, version)
	if err != nil {
		return domain("delete client", err, false)
	}
	if tag.RowsAffected() == 0 {
		return t.staleOrMissing(ctx, `SELECT 1 FROM client WHERE salon_id = $1 AND client_id = $2`, id)
	}
	return nil
}

// Head is a dated measurement of a client's hair, as JSON of the door that
// took it; a new measurement is a new row.
type Head struct {
	ID         string          `db:"head_id"`
	Client     string          `db:"client_id"`
	MeasuredOn date.Date       `db:"measured_on"`
	Hair       json.RawMessage `db:"hair"`
}

// Heads lists a client's measurements, newest first.
func (t *Tx) Heads(ctx context.Context, client string) ([]Head, error) {
	const q = `
		SELECT head_id, client_id, measured_on::text AS measured_on, hair FROM head
		WHERE salon_id = $1 AND client_id = $2 ORDER BY measured_on DESC, head_id DESC`
	return collect[Head](ctx, t, "heads", q, t.salon, client)
}

// AddHead notes a measurement.
func (t *Tx) AddHead(ctx context.Context, h Head) (Head, error) {
	h.ID = NewID()
	_, err := t.tx.Exec(ctx, `INSERT INTO head (salon_id, head_id, client_id, measured_on, hair) VALUES ($1, $2, $3, $4::text::date, $5)`,
		t.salon, h.ID, h.Client, h.MeasuredOn.String(), h.Hair)
	return h, domain("add head", err, false)
}

// Estimate is a worked-out service for a head, kept as it was answered.
type Estimate struct {
	ID             string          `db:"estimate_id"`
	Service        string          `db:"service_id"`
	ServiceVersion int             `db:"service_version"`
	Client         *string         `db:"client_id"`
	Head           *string         `db:"head_id"`
	Hair           json.RawMessage `db:"hair"`
	Result         json.RawMessage `db:"result"`
	Created        time.Time       `db:"created_at"`
}

// AddEstimate keeps an estimate.
func (t *Tx) AddEstimate(ctx context.Context, e Estimate) (Estimate, error) {
	e.ID = NewID()
	const q = `
		INSERT INTO estimate (salon_id, estimate_id, service_id, service_version, client_id, head_id, hair, result)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8) RETURNING created_at`
	err := t.tx.QueryRow(ctx, q, t.salon, e.ID, e.Service, e.ServiceVersion, e.Client, e.Head, e.Hair, e.Result).Scan(&e.Created)
	return e, domain("add estimate", err, false)
}

// EstimateByID returns an estimate, or scheduling.ErrNotFound.
func (t *Tx) EstimateByID(ctx context.Context, id string) (Estimate, error) {
	const q = `
		SELECT estimate_id, service_id, service_version, client_id, head_id, hair, result, created_at
		FROM estimate WHERE salon_id = $1 AND estimate_id = $2`
	list, err := remembered(t, ofEstimates, memoKey(q, id), func() ([]Estimate, error) {
		return collect[Estimate](ctx, t, "estimate", q, t.salon, id)
	})
	if err == nil {
		err = one("estimate", int64(len(list)), nil)
	}
	if err != nil {
		return Estimate{}, err
	}
	return list[0], nil
}
