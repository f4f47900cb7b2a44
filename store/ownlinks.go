package store

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"regexp"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// KindOwn begins the secret link to a client's own pages.
const KindOwn = "c"

// kindOpened begins what a browser keeps while a client's own pages are open in it.
const kindOpened = "p"

// OwnLink is a secret link to a client's own pages, without its secret.
type OwnLink struct {
	ID       string     `db:"link_id"`
	Client   string     `db:"client_id"`
	Label    string     `db:"label"`    // what it is for, such as whose phone
	Guardian bool       `db:"guardian"` // made for who answers for a minor
	Days     int        `db:"days"`     // 1 to 1095: it ends so long after its last use
	Created  time.Time  `db:"created_at"`
	Rotated  *time.Time `db:"rotated_at"` // when it was changed last
	Revoked  *time.Time `db:"revoked_at"`
	LastUsed *time.Time `db:"last_used_at"` // of the present link
	MadeBy   string     `db:"made_by"`      // who made the present secret, and so may have seen it
}

// Expires is when l ends unless it is used again.
func (l OwnLink) Expires() time.Time {
	from := l.Created
	for _, t := range []*time.Time{l.Rotated, l.LastUsed} {
		if t != nil && t.After(from) {
			from = *t
		}
	}
	return from.AddDate(0, 0, l.Days)
}

const ownColumns = `link_id, client_id, label, guardian, days::int AS days, created_at, rotated_at, revoked_at, last_used_at, made_by`

// ownLives holds for links of x that lead somewhere at $2.
const ownLives = `x.revoked_at IS NULL AND greatest(x.created_at, x.rotated_at, x.last_used_at) + make_interval(days => x.days) > $2`

// AddOwnLink makes a link for l.Client and returns its secret, which is shown once.
// The id and the time are chosen. scheduling.ErrNotFound when there is no such
// client.
func (t *Tx) AddOwnLink(ctx context.Context, l OwnLink, now time.Time) (OwnLink, string, error) {
	if _, err := t.ClientByID(ctx, l.Client); err != nil {
		return l, "", err
	}
	n, err := t.SalonRow(ctx)
	if err != nil {
		return l, "", err
	}
	secret, sum := newSecret(KindOwn, n.Key)
	l.ID, l.Created = NewID(), now
	_, err = t.tx.Exec(ctx, `INSERT INTO own_link (salon_id, link_id, client_id, sha256, label, guardian, days, created_at, made_by)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`, t.salon, l.ID, l.Client, sum, l.Label, l.Guardian, l.Days, now, l.MadeBy)
	return l, secret, domain("add own link", err, false)
}

// OwnLinks lists the links of a client, newest first.
func (t *Tx) OwnLinks(ctx context.Context, client string) ([]OwnLink, error) {
	return collect[OwnLink](ctx, t, "own links", `SELECT `+ownColumns+` FROM own_link
		WHERE salon_id = $1 AND client_id = $2 ORDER BY link_id DESC`, t.salon, client)
}

// OwnLinkByID returns one link, or scheduling.ErrNotFound.
func (t *Tx) OwnLinkByID(ctx context.Context, id string) (OwnLink, error) {
	list, err := collect[OwnLink](ctx, t, "own link", `SELECT `+ownColumns+` FROM own_link WHERE salon_id = $1 AND link_id = $2`, t.salon, id)
	if err == nil {
		err = one("own link", int64(len(list)), nil)
	}
	if err != nil {
		return OwnLink{}, err
	}
	return list[0], nil
}

// RotateOwnLink gives a link another secret, for the guardian or not, made by
// somebody, and returns it: the old one and the pages that it has opened end at once.
// scheduling.ErrNotFound when there is no such link or it was revoked.
func (t *Tx) RotateOwnLink(ctx context.Context, id string, guardian bool, by string, now time.Time) (OwnLink, string, error) {
	n, err := t.SalonRow(ctx)
	if err != nil {
		return OwnLink{}, "", err
	}
	secret, sum := newSecret(KindOwn, n.Key)
	tag, err := t.tx.Exec(ctx, `UPDATE own_link SET sha256 = $3, guardian = $4, rotated_at = $5, last_used_at = NULL, made_by = $6
		WHERE salon_id = $1 AND link_id = $2 AND revoked_at IS NULL`, t.salon, id, sum, guardian, now, by)
	if err := one("own link", tag.RowsAffected(), err); err != nil {
		return OwnLink{}, "", err
	}
	l, err := t.OwnLinkByID(ctx, id)
	return l, secret, err
}

// RevokeOwnLink ends a link and the pages that it has opened at once, or returns
// scheduling.ErrNotFound.
func (t *Tx) RevokeOwnLink(ctx context.Context, id string, now time.Time) error {
	tag, err := t.tx.Exec(ctx, `UPDATE own_link SET revoked_at = coalesce(revoked_at, $3) WHERE salon_id = $1 AND link_id = $2`, t.salon, id, now)
	return one("own link", tag.RowsAffected(), err)
}

// CloseOwnPages closes the pages of a client that are open anywhere. With messages,
// those that went out so far lead to no page any more.
func (t *Tx) CloseOwnPages(ctx context.Context, client string, messages bool, now time.Time) error {
	if _, err := t.ClientByID(ctx, client); err != nil {
		return err
	}
	now = now.Truncate(time.Second) // as opened pages keep it
	var until *time.Time
	if messages {
		until = &now
	}
	_, err := t.tx.Exec(ctx, `INSERT INTO own_closed (salon_id, client_id, pages_at, messages_at) VALUES ($1, $2, $3, $4)
		ON CONFLICT (salon_id, client_id) DO UPDATE SET pages_at = $3, messages_at = coalesce($4, own_closed.messages_at)`, t.salon, client, now, until)
	return domain("close own pages", err, false)
}

// MessagesClosed is until when messages to a client do not lead to her pages, the
// zero time for never.
func (t *Tx) MessagesClosed(ctx context.Context, client string) (time.Time, error) {
	var at *time.Time
	err := t.tx.QueryRow(ctx, `SELECT max(messages_at) FROM own_closed WHERE salon_id = $1 AND client_id = $2`, t.salon, client).Scan(&at)
	if err != nil || at == nil {
		return time.Time{}, domain("own pages", err, false)
	}
	return *at, nil
}

// usedLinkWithin is how exactly the last use of a link is kept.
const usedLinkWithin = 5 * time.Minute

// TouchOwnLink notes that a link is used, to within five minutes.
func (t *Tx) TouchOwnLink(ctx context.Context, id string, now time.Time) error {
	_, err := t.tx.Exec(ctx, `UPDATE own_link SET last_used_at = $3::timestamptz
		WHERE salon_id = $1 AND link_id = $2 AND (last_used_at IS NULL OR last_used_at < $3::timestamptz - $4::interval)`, t.salon, id, now, usedLinkWithin)
	return domain("own link", err, false)
}

// OwnPages is a client's own pages as they stand open in a browser.
type OwnPages struct {
	Salon, Client string
	// Link is the id of the link that opened them, "" when a message did; then
	// Message is its id and Sent when it went out.
	Link, Message string
	Sent          time.Time
	Guardian      bool      // opened by who answers for a minor
	Begun         time.Time // when they were opened
	Expires       time.Time // when they close unless they are used again
	// Unnoted says that the last use of the link was noted too long ago.
	Unnoted bool
	// sum is of the secret of the link as it was when the pages were looked for.
	sum []byte
}

// OwnLinkBySecret finds the pages that a link leads to at now, or returns
// scheduling.ErrNotFound when it is unknown, expired or revoked. Nothing is
// changed: programs that scan mails open every link.
func (s *Store) OwnLinkBySecret(ctx context.Context, secret string, now time.Time) (OwnPages, error) {
	key, ok := splitSecret(KindOwn, secret)
	if !ok {
		return OwnPages{}, scheduling.ErrNotFound
	}
	p := OwnPages{Begun: now}
	p.sum = hash(secret)
	err := s.pool.QueryRow(ctx, `SELECT x.salon_id, x.client_id, x.link_id, x.guardian FROM own_link x JOIN salon n USING (salon_id)
		WHERE n.key = $1 AND x.sha256 = $3 AND `+ownLives, key, now, p.sum).Scan(&p.Salon, &p.Client, &p.Link, &p.Guardian)
	return p, domain("own link", err, false)
}

// openedForm is what OpenOwnPages makes.
var openedForm = regexp.MustCompile(`^` + kindOpened + `_([a-z0-9]{6,16})_([A-Za-z0-9_-]{50,200})$`)

// What is signed, in octets (derived): kinds of opener, ids of client and opener, three times.
const openedSize = 2 + 2*16 + 3*8

// OpenOwnPages signs p, as it was found, for the browser in which they are open. It
// vouches for the link with which they were found, not for one that came after it: that
// one has another secret. scheduling.ErrNotFound for what was not found.
func (s *Store) OpenOwnPages(ctx context.Context, p OwnPages) (string, error) {
	opener := p.Link
	if opener == "" {
		opener = p.Message
	}
	client, err := uuid.Parse(p.Client)
	if err != nil {
		return "", fmt.Errorf("store: open own pages: %w", scheduling.ErrNotFound)
	}
	door, err := uuid.Parse(opener)
	if err != nil {
		return "", fmt.Errorf("store: open own pages: %w", scheduling.ErrNotFound)
	}
	if (p.Link != "") != (len(p.sum) > 0) {
		return "", fmt.Errorf("store: open own pages: %w", scheduling.ErrNotFound)
	}
	key, err := s.messageKey(ctx, p.Salon)
	if err != nil {
		return "", err
	}
	b := []byte{'m', 0}
	if p.Link != "" {
		b[0] = 'l'
	}
	if p.Guardian {
		b[1] = 1
	}
	b = append(append(b, client[:]...), door[:]...)
	for _, t := range []time.Time{p.Sent, p.Begun, p.Expires} {
		b = binary.BigEndian.AppendUint64(b, uint64(t.Unix())) //nolint:gosec // turned back in the same way
	}
	var salonKey string
	if err := s.pool.QueryRow(ctx, `SELECT key FROM salon WHERE salon_id = $1`, p.Salon).Scan(&salonKey); err != nil {
		return "", domain("own pages", err, false)
	}
	return kindOpened + "_" + salonKey + "_" + base64.RawURLEncoding.EncodeToString(append(b, openedCode(key, p.Salon, p.sum, b)...)), nil
}

// openedCode vouches for opened pages. A link that is changed closes what it opened.
func openedCode(key []byte, salon string, link, b []byte) []byte {
	h := hmac.New(sha256.New, key)
	h.Write([]byte("own pages of a client of salon " + salon + "\x00"))
	h.Write(append([]byte{byte(len(link))}, link...))
	h.Write(b)
	return h.Sum(nil)
}

// OpenedOwnPages reads what OpenOwnPages made, or returns scheduling.ErrNotFound
// for what nobody has opened, what has expired at now and what was closed.
func (s *Store) OpenedOwnPages(ctx context.Context, opened string, now time.Time) (OwnPages, error) {
	m := openedForm.FindStringSubmatch(opened)
	if m == nil {
		return OwnPages{}, scheduling.ErrNotFound
	}
	b, err := base64.RawURLEncoding.Strict().DecodeString(m[2])
	if err != nil || len(b) != openedSize+sha256.Size {
		return OwnPages{}, scheduling.ErrNotFound
	}
	b, code := b[:openedSize], b[openedSize:]
	at := func(i int) time.Time {
		return time.Unix(int64(binary.BigEndian.Uint64(b[34+8*i:])), 0) //nolint:gosec // as it was written
	}
	p := OwnPages{Client: uuid.UUID(b[2:18]).String(), Guardian: b[1] == 1, Sent: at(0), Begun: at(1), Expires: at(2)}
	door := uuid.UUID(b[18:34]).String()
	if p.Message = door; b[0] == 'l' {
		p.Link, p.Message = door, ""
	}
	var key, link []byte
	var pages, messages, used *time.Time
	err = s.pool.QueryRow(ctx, `SELECT n.salon_id, k.secret, coalesce(x.sha256, ''), x.last_used_at, o.pages_at, o.messages_at
		FROM salon n JOIN message_key k USING (salon_id) JOIN client c ON c.salon_id = n.salon_id AND c.client_id = $3
		LEFT JOIN own_link x ON x.salon_id = n.salon_id AND x.client_id = $3 AND x.link_id = $4 AND `+ownLives+`
		LEFT JOIN own_closed o ON o.salon_id = n.salon_id AND o.client_id = $3
		WHERE n.key = $1`, m[1], now, p.Client, p.Link).Scan(&p.Salon, &key, &link, &used, &pages, &messages)
	if err != nil && err != pgx.ErrNoRows { //nolint:errorlint // straight from the driver
		return OwnPages{}, domain("own pages", err, false)
	}
	good := len(key) > 0 && hmac.Equal(openedCode(key, p.Salon, link, b), code)
	if p.Link != "" {
		good = good && len(link) > 0
		p.sum, p.Unnoted = link, used == nil || used.Before(now.Add(-usedLinkWithin))
	} else {
		good = good && !(messages != nil && !p.Sent.After(*messages))
	}
	if !good || !now.Before(p.Expires) || pages != nil && !p.Begun.After(*pages) {
		return OwnPages{}, scheduling.ErrNotFound
	}
	return p, nil
}
