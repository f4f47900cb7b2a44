package store

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// Feed is a secret calendar address of one person.
type Feed struct {
	ID       string     `db:"feed_id"`
	Kind     string     `db:"kind"` // staff or client
	Subject  string     `db:"subject_id"`
	Created  time.Time  `db:"created_at"`
	Revoked  *time.Time `db:"revoked_at"`
	LastUsed *time.Time `db:"last_used_at"`
}

// FeedState is what a feed's validators are made of.
type FeedState struct {
	Salon   string
	Feed    string
	Kind    string
	Subject string
	Version int64
	Changed time.Time
}

// AddFeed makes a feed for a staff member or a client and returns its secret,
// which is shown once. scheduling.ErrNotFound when there is no such person.
func (t *Tx) AddFeed(ctx context.Context, kind, subject string) (Feed, string, error) {
	var err error
	if kind == "staff" {
		_, err = t.StaffByID(ctx, subject)
	} else {
		_, err = t.ClientByID(ctx, subject)
	}
	if err != nil {
		return Feed{}, "", err
	}
	n, err := t.SalonRow(ctx)
	if err != nil {
		return Feed{}, "", err
	}
	secret, sum := newSecret(KindFeed, n.Key)
	f := Feed{ID: NewID(), Kind: kind, Subject: subject}
	err = t.tx.QueryRow(ctx, `INSERT INTO feed (salon_id, feed_id, kind, subject_id, sha256) VALUES ($1, $2, $3, $4, $5) RETURNING created_at`,
		t.salon, f.ID, kind, subject, sum).Scan(&f.Created)
	if err != nil {
		return f, "", domain("add feed", err, false)
	}
	_, err = t.tx.Exec(ctx, `INSERT INTO feed_version (salon_id, subject_id, changed_at) VALUES ($1, $2, clock_timestamp()) ON CONFLICT DO NOTHING`, t.salon, subject)
	return f, secret, domain("add feed", err, false)
}

// Feeds lists feeds, newest first.
func (t *Tx) Feeds(ctx context.Context) ([]Feed, error) {
	return collect[Feed](ctx, t, "feeds", `
		SELECT feed_id, kind, subject_id, created_at, revoked_at, last_used_at FROM feed
		WHERE salon_id = $1 ORDER BY feed_id DESC`, t.salon)
}

// RevokeFeed ends a feed at once, or returns scheduling.ErrNotFound.
func (t *Tx) RevokeFeed(ctx context.Context, id string) error {
	tag, err := t.tx.Exec(ctx, `UPDATE feed SET revoked_at = coalesce(revoked_at, now()) WHERE salon_id = $1 AND feed_id = $2`, t.salon, id)
	return one("feed", tag.RowsAffected(), err)
}

// FeedBySecret finds a feed that is not revoked, or scheduling.ErrNotFound.
func (s *Store) FeedBySecret(ctx context.Context, secret string) (FeedState, error) {
	key, ok := splitSecret(KindFeed, secret)
	if !ok {
		return FeedState{}, scheduling.ErrNotFound
	}
	const q = `
		WITH hit AS (
			SELECT f.salon_id, f.feed_id, f.kind, f.subject_id, f.last_used_at
			FROM feed f JOIN salon n USING (salon_id)
			WHERE n.key = $1 AND f.sha256 = $2 AND f.revoked_at IS NULL
		), touch AS (
			UPDATE feed f SET last_used_at = now() FROM hit
			WHERE f.salon_id = hit.salon_id AND f.feed_id = hit.feed_id
			  AND (hit.last_used_at IS NULL OR hit.last_used_at < now() - interval '5 minutes')
		)
		SELECT hit.salon_id, hit.feed_id, hit.kind, hit.subject_id, v.version, v.changed_at
		FROM hit JOIN feed_version v ON v.salon_id = hit.salon_id AND v.subject_id = hit.subject_id`
	var f FeedState
	err := s.pool.QueryRow(ctx, q, key, hash(secret)).Scan(&f.Salon, &f.Feed, &f.Kind, &f.Subject, &f.Version, &f.Changed)
	return f, domain("feed", err, false)
}

// lockFeeds keeps the order in which calendars change: whoever changes some of
// them takes parts before feeds and each in the order of their keys, together
// with others; whoever changes all of them is alone. So none waits in a circle.
func (t *Tx) lockFeeds(ctx context.Context, alone bool) error {
	lock := `pg_advisory_xact_lock_shared`
	if alone {
		lock = `pg_advisory_xact_lock`
	}
	_, err := t.tx.Exec(ctx, `SELECT `+lock+`(hashtextextended('feeds/' || $1, 0))`, t.salon)
	return domain("lock", err, false)
}

// TouchFeeds raises the version of the feeds of the given people.
func (t *Tx) TouchFeeds(ctx context.Context, subjects ...string) error {
	if err := t.lockFeeds(ctx, false); err != nil {
		return err
	}
	return t.touchFeeds(ctx, subjects)
}

// touchFeeds is TouchFeeds for who holds the lock.
func (t *Tx) touchFeeds(ctx context.Context, subjects []string) error {
	slices.Sort(subjects)
	_, err := t.tx.Exec(ctx, `
		INSERT INTO feed_version (salon_id, subject_id, changed_at)
		SELECT $1, s, clock_timestamp() FROM unnest($2::text[]) WITH ORDINALITY x(s, n) ORDER BY n
		ON CONFLICT (salon_id, subject_id) DO UPDATE SET version = feed_version.version + 1,
			changed_at = greatest(clock_timestamp(), feed_version.changed_at + interval '1 millisecond')`,
		t.salon, slices.Compact(subjects))
	return domain("feed version", err, false)
}

// touchAllFeeds raises every feed of the salon and the time of change of all
// parts that feeds still show: a name that stands in many of them has changed.
func (t *Tx) touchAllFeeds(ctx context.Context) error {
	if err := t.lockFeeds(ctx, true); err != nil {
		return err
	}
	for _, q := range []string{
		`UPDATE visit_part SET changed_at = ` + later + ` WHERE salon_id = $1 AND ends_at > now() - interval '40 days'`,
		`UPDATE feed_version SET version = version + 1, changed_at = ` + later + ` WHERE salon_id = $1`,
	} {
		if _, err := t.tx.Exec(ctx, q, t.salon); err != nil {
			return domain("feeds", err, false)
		}
	}
	return nil
}

// touchFeedsOfClient raises the feeds of a client and of everybody who has a
// part in one of the client's visits; what they say of the parts changes, and
// so does the parts' time of change.
func (t *Tx) touchFeedsOfClient(ctx context.Context, client string) error {
	if err := t.lockFeeds(ctx, false); err != nil {
		return err
	}
	rows, err := t.tx.Query(ctx, `
		WITH shown AS (
			SELECT p.visit_id, p.subject, p.ordinal FROM visit_part p JOIN visit v USING (salon_id, visit_id)
			WHERE p.salon_id = $1 AND v.client_id = $2 AND p.kind IN ('hands_on', 'watched', 'away')`+partsInOrder+`
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
	return t.touchFeeds(ctx, append(subjects, client))
}
