package store

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// Kinds of feeds: whose calendar it is.
const (
	FeedStaff   = "staff"
	FeedStation = "station"
	FeedClient  = "client"
	FeedSalon   = "salon"
)

// Feed is a secret calendar address of a person, a station or the salon.
type Feed struct {
	ID       string     `db:"feed_id"`
	Kind     string     `db:"kind"`       // one of the kinds above
	Subject  string     `db:"subject_id"` // the salon's own id for the salon
	Label    string     `db:"label"`      // what the address is for, such as whose phone
	Created  time.Time  `db:"created_at"`
	Rotated  *time.Time `db:"rotated_at"` // when the address was changed last
	Revoked  *time.Time `db:"revoked_at"`
	LastUsed *time.Time `db:"last_used_at"` // of the present address
}

// FeedState is what a feed's validators are made of.
type FeedState struct {
	Salon   string    `db:"salon_id"`
	Feed    string    `db:"feed_id"`
	Kind    string    `db:"kind"`
	Subject string    `db:"subject_id"`
	Zone    string    `db:"zone"` // the salon's
	Version int64     `db:"version"`
	Changed time.Time `db:"changed_at"`
}

const feedColumns = `feed_id, kind, subject_id, label, created_at, rotated_at, revoked_at, last_used_at`

// AddFeed makes a feed of a kind and returns its secret, which is shown once.
// The salon's feed needs no subject. scheduling.ErrNotFound when there is no
// such person or station in use.
func (t *Tx) AddFeed(ctx context.Context, kind, subject, label string) (Feed, string, error) {
	if kind == FeedSalon {
		subject = t.salon
	}
	if err := t.hasSubject(ctx, kind, subject); err != nil {
		return Feed{}, "", err
	}
	n, err := t.SalonRow(ctx)
	if err != nil {
		return Feed{}, "", err
	}
	secret, sum := newSecret(KindFeed, n.Key)
	f := Feed{ID: NewID(), Kind: kind, Subject: subject, Label: label}
	err = t.tx.QueryRow(ctx, `INSERT INTO feed (salon_id, feed_id, kind, subject_id, label, sha256) VALUES ($1, $2, $3, $4, $5, $6) RETURNING created_at`,
		t.salon, f.ID, kind, subject, label, sum).Scan(&f.Created)
	if err != nil {
		return f, "", domain("add feed", err, false)
	}
	_, err = t.tx.Exec(ctx, `INSERT INTO feed_version (salon_id, subject_id, changed_at) VALUES ($1, $2, clock_timestamp()) ON CONFLICT DO NOTHING`, t.salon, subject)
	return f, secret, domain("add feed", err, false)
}

// hasSubject returns scheduling.ErrNotFound when nobody and nothing of a kind
// has this id.
func (t *Tx) hasSubject(ctx context.Context, kind, subject string) error {
	var active bool
	var err error
	switch kind {
	case FeedStaff:
		var p Staff
		p, err = t.StaffByID(ctx, subject)
		active = p.Active
	case FeedStation:
		var u Unit
		u, err = t.StationByID(ctx, subject)
		active = u.Active
	case FeedClient:
		_, err = t.ClientByID(ctx, subject)
		active = true
	case FeedSalon:
		active = true
	}
	if err == nil && !active {
		return domain("feed", pgx.ErrNoRows, false)
	}
	return err
}

// Feeds lists feeds, newest first; of one subject only unless it is empty.
func (t *Tx) Feeds(ctx context.Context, subject string) ([]Feed, error) {
	if subject == "" {
		return collect[Feed](ctx, t, "feeds", `SELECT `+feedColumns+` FROM feed WHERE salon_id = $1 ORDER BY feed_id DESC`, t.salon)
	}
	return collect[Feed](ctx, t, "feeds", `SELECT `+feedColumns+` FROM feed
		WHERE salon_id = $1 AND subject_id = $2 ORDER BY feed_id DESC`, t.salon, subject)
}

// FeedByID returns one feed, or scheduling.ErrNotFound.
func (t *Tx) FeedByID(ctx context.Context, id string) (Feed, error) {
	list, err := collect[Feed](ctx, t, "feed", `SELECT `+feedColumns+` FROM feed WHERE salon_id = $1 AND feed_id = $2`, t.salon, id)
	if err == nil {
		err = one("feed", int64(len(list)), nil)
	}
	if err != nil {
		return Feed{}, err
	}
	return list[0], nil
}

// RotateFeed gives a feed another secret and returns it: the old one ends at
// once. scheduling.ErrNotFound when there is no such feed or it was revoked.
func (t *Tx) RotateFeed(ctx context.Context, id string) (Feed, string, error) {
	n, err := t.SalonRow(ctx)
	if err != nil {
		return Feed{}, "", err
	}
	secret, sum := newSecret(KindFeed, n.Key)
	tag, err := t.tx.Exec(ctx, `UPDATE feed SET sha256 = $3, rotated_at = now(), last_used_at = NULL, readings = 0
		WHERE salon_id = $1 AND feed_id = $2 AND revoked_at IS NULL`, t.salon, id, sum)
	if err := one("feed", tag.RowsAffected(), err); err != nil {
		return Feed{}, "", err
	}
	f, err := t.FeedByID(ctx, id)
	return f, secret, err
}

// RevokeFeed ends a feed at once, or returns scheduling.ErrNotFound.
func (t *Tx) RevokeFeed(ctx context.Context, id string) error {
	tag, err := t.tx.Exec(ctx, `UPDATE feed SET revoked_at = coalesce(revoked_at, now()) WHERE salon_id = $1 AND feed_id = $2`, t.salon, id)
	return one("feed", tag.RowsAffected(), err)
}

// HasFeed reports whether a client follows her calendar: there is an address of
// it that has not ended, was read more than once, since one reading may be that of
// a program that looks at links, and last within 14 days, while calendars come
// every 8 to 24 hours (judgement).
func (t *Tx) HasFeed(ctx context.Context, client string) (bool, error) {
	var yes bool
	err := t.tx.QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM feed WHERE salon_id = $1 AND subject_id = $2 AND kind = 'client'
		AND revoked_at IS NULL AND readings > 1 AND last_used_at > now() - interval '14 days')`, t.salon, client).Scan(&yes)
	return yes, domain("feed of client", err, false)
}

// stateOfFeed ends a query over hit. The salon's calendar has no version of its
// own that every booking would have to wait for: it is the sum of those of its
// people and stations, one of which rises with every visit. OFFSET 0 has each of them
// looked up by its key: the planner would rather read those of all clients and choose.
const stateOfFeed = `
	SELECT hit.salon_id, hit.feed_id, hit.kind, hit.subject_id, n.zone, v.version, v.changed_at
	FROM hit JOIN salon n USING (salon_id), LATERAL (
		SELECT coalesce(sum(x.version), 0)::bigint AS version, coalesce(max(x.changed_at), hit.created_at) AS changed_at
		FROM (SELECT hit.subject_id UNION ALL SELECT unit_id FROM unit u WHERE hit.kind = 'salon' AND u.salon_id = hit.salon_id) s,
			LATERAL (SELECT version, changed_at FROM feed_version y WHERE y.salon_id = hit.salon_id AND y.subject_id = s.subject_id OFFSET 0) x
	) v`

// FeedBySecret finds a feed that is not revoked and whose subject is still
// there, or scheduling.ErrNotFound. It notes that the calendar is read when the feed
// is of one of the kinds read.
func (s *Store) FeedBySecret(ctx context.Context, secret string, read ...string) (FeedState, error) {
	key, ok := splitSecret(KindFeed, secret)
	if !ok {
		return FeedState{}, scheduling.ErrNotFound
	}
	// A list of joins alone: this is asked at each poll of each calendar.
	const q = `
		SELECT f.salon_id, f.feed_id, f.kind, f.subject_id, n.zone, coalesce(y.version, 0), coalesce(y.changed_at, f.created_at),
			coalesce(f.kind = ANY($3), false) AND ` + feedUnnoted + `
		FROM salon n JOIN feed f USING (salon_id) LEFT JOIN feed_version y ON y.salon_id = f.salon_id AND y.subject_id = f.subject_id
		WHERE n.key = $1 AND f.sha256 = $2 AND f.revoked_at IS NULL AND (f.kind = 'salon'
			OR f.kind = 'client' AND EXISTS (SELECT 1 FROM client c WHERE c.salon_id = f.salon_id AND c.client_id = f.subject_id)
			OR EXISTS (SELECT 1 FROM unit u WHERE u.salon_id = f.salon_id AND u.unit_id = f.subject_id AND u.active))`
	type found struct {
		FeedState
		unnoted bool
	}
	x, err := ask(ctx, s.trips, func(r pgx.Row) (x found, err error) {
		return x, r.Scan(&x.Salon, &x.Feed, &x.Kind, &x.Subject, &x.Zone, &x.Version, &x.Changed, &x.unnoted)
	}, q, key, hash(secret), read)
	f, unnoted := x.FeedState, x.unnoted
	if err == nil && f.Kind == FeedSalon { // the sum of many
		rows, _ := s.pool.Query(ctx, feedByID, f.Salon, f.Feed) // CollectExactlyOneRow tells
		f, err = pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[FeedState])
	}
	if err == nil && unnoted {
		err = s.note(ctx, `UPDATE feed f SET last_used_at = now(), readings = f.readings + 1 WHERE f.salon_id = $1 AND f.feed_id = $2 AND `+feedUnnoted, f.Salon, f.Feed)
	}
	return f, domain("feed", err, false)
}

// feedUnnoted holds for feeds f whose reading is to be noted.
const feedUnnoted = `(f.last_used_at IS NULL OR f.last_used_at < now() - interval '5 minutes')`

// feedByID reads the state of feed $2 in salon $1.
const feedByID = `WITH hit AS (SELECT salon_id, feed_id, kind, subject_id, created_at FROM feed WHERE salon_id = $1 AND feed_id = $2)` + stateOfFeed

// FeedState is what a feed's validators are made of as this transaction sees it,
// or scheduling.ErrNotFound.
func (t *Tx) FeedState(ctx context.Context, id string) (FeedState, error) {
	rows, err := t.tx.Query(ctx, feedByID, t.salon, id)
	if err != nil {
		return FeedState{}, domain("feed", err, false)
	}
	f, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[FeedState])
	return f, domain("feed", err, false)
}

// lockFeeds keeps the order in which calendars change: whoever changes some of
// them takes parts before feeds and each in the order of their keys, together
// with others; whoever changes all of them is alone. So none waits in a circle. It goes with the next statement.
func (t *Tx) lockFeeds(alone bool) {
	lock := `pg_advisory_xact_lock_shared`
	if alone {
		lock = `pg_advisory_xact_lock`
	}
	t.tx.later(`SELECT `+lock+`(hashtextextended('feeds/' || $1, 0))`, t.salon)
}

// laterSecond is the time of a change to a feed: never in the second of the last one,
// although a transaction that began in that second may commit later. HTTP dates have
// no fractions.
const laterSecond = `greatest(clock_timestamp(), date_trunc('second', feed_version.changed_at) + interval '1 second')`

const touchFeedsQuery = `
	INSERT INTO feed_version (salon_id, subject_id, changed_at)
	SELECT $1, s, clock_timestamp() FROM unnest($2::text[]) WITH ORDINALITY x(s, n) ORDER BY n
	ON CONFLICT (salon_id, subject_id) DO UPDATE SET version = feed_version.version + 1,
		changed_at = ` + laterSecond

// touchFeeds raises the version of the feeds of the given people when the transaction
// ends, for who has called lockFeeds.
func (t *Tx) touchFeeds(subjects []string) {
	if t.atEnd.feeds == nil {
		t.atEnd.feeds = map[string]bool{}
	}
	for _, s := range subjects {
		t.atEnd.feeds[s] = true
	}
}

// touchAllFeeds raises every feed of the salon and the time of change of all
// parts that feeds still show: a name that stands in many of them has changed.
func (t *Tx) touchAllFeeds(ctx context.Context) error {
	t.lockFeeds(true)
	for _, q := range []string{
		`UPDATE visit_part SET changed_at = ` + later + ` WHERE salon_id = $1 AND ends_at > now() - interval '40 days'`,
		`UPDATE feed_version SET version = version + 1, changed_at = ` + laterSecond + ` WHERE salon_id = $1`,
	} {
		if _, err := t.tx.Exec(ctx, q, t.salon); err != nil {
			return domain("feeds", err, false)
		}
	}
	return nil
}

// touchFeedsOfClient raises the feeds of a client and of everybody and everything
// that has a part in one of the client's visits; what they say of the parts changes, and
// so does the parts' time of change.
func (t *Tx) touchFeedsOfClient(ctx context.Context, client string) error {
	t.lockFeeds(false)
	rows, err := t.tx.Query(ctx, `
		WITH shown AS (
			SELECT p.visit_id, p.subject, p.ordinal FROM visit_part p JOIN visit v USING (salon_id, visit_id)
			WHERE p.salon_id = $1 AND v.client_id = $2 AND p.kind NOT IN ('client', 'aftercare', 'retouch')`+partsInOrder+`
		), touched AS (
			UPDATE visit_part p SET changed_at = `+later+` FROM shown
			WHERE p.salon_id = $1 AND p.visit_id = shown.visit_id AND p.subject = shown.subject AND p.ordinal = shown.ordinal
			RETURNING p.subject
		)
		SELECT DISTINCT subject FROM touched`, t.salon, client)
	if err != nil {
		return domain("feeds", err, false)
	}
	subjects, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return domain("feeds", err, false)
	}
	subjects = slices.DeleteFunc(subjects, func(s string) bool { return s == PartSalon })
	t.touchFeeds(append(subjects, client))
	return nil
}
