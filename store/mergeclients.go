package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// MergeCounts is what stands on the file of a client, for who puts it together with
// another one.
type MergeCounts struct {
	Coming     int `db:"coming"`     // visits that are not over
	Past       int `db:"past"`       // the others
	Cards      int `db:"cards"`      // of them with something on their record card
	Waiting    int `db:"waiting"`    // requests on the waiting list
	Screenings int `db:"screenings"` // consultations
	Tests      int `db:"tests"`      // notes about tests and reactions
	Consents   int `db:"consents"`
	Hair       int `db:"hair"`     // measurements
	Choices    int `db:"choices"`  // words on messages
	Messages   int `db:"messages"` // that wait
	Links      int `db:"links"`    // to her own pages, not ended
	Feeds      int `db:"feeds"`    // addresses of her calendar, not ended
}

// CountOfClient counts what stands on the file of a client at now.
func (t *Tx) CountOfClient(ctx context.Context, client string, now time.Time) (MergeCounts, error) {
	const mine = ` WHERE salon_id = $1 AND client_id = $2`
	const q = `SELECT (SELECT count(*)::int FROM visit` + mine + ` AND ends_at > $3 AND state NOT IN ('cancelled', 'missed', 'lapsed', 'finished', 'stopped_early')) AS coming,
		(SELECT count(*)::int FROM visit` + mine + ` AND NOT (ends_at > $3 AND state NOT IN ('cancelled', 'missed', 'lapsed', 'finished', 'stopped_early'))) AS past,
		(SELECT count(DISTINCT f.visit_id)::int FROM card_fact f JOIN visit v USING (salon_id, visit_id) WHERE v.salon_id = $1 AND v.client_id = $2) AS cards,
		(SELECT count(*)::int FROM wish` + mine + ` AND state = 'waiting') AS waiting,
		(SELECT count(*)::int FROM screening` + mine + `) AS screenings, (SELECT count(*)::int FROM test_record` + mine + `) AS tests,
		(SELECT count(*)::int FROM consent` + mine + `) AS consents, (SELECT count(*)::int FROM head` + mine + `) AS hair,
		(SELECT count(*)::int FROM message_choice` + mine + `) AS choices,
		(SELECT count(*)::int FROM reminder r JOIN visit v USING (salon_id, visit_id) WHERE v.salon_id = $1 AND v.client_id = $2 AND r.staff_id IS NULL AND r.state = 'waiting') AS messages,
		(SELECT count(*)::int FROM own_link` + mine + ` AND revoked_at IS NULL) AS links,
		(SELECT count(*)::int FROM feed WHERE salon_id = $1 AND kind = 'client' AND subject_id = $2 AND revoked_at IS NULL) AS feeds`
	list, err := collect[MergeCounts](ctx, t, "file of a client", q, t.salon, client, now)
	if err != nil {
		return MergeCounts{}, err
	}
	return list[0], nil
}

// VisitsTwice lists pairs of visits of two clients that one person cannot both come
// to: the first of keep, the second of gone.
func (t *Tx) VisitsTwice(ctx context.Context, keep, gone string) ([][2]string, error) {
	rows, err := t.tx.Query(ctx, `SELECT ARRAY[a.visit_id, b.visit_id] FROM visit a JOIN visit b USING (salon_id)
		WHERE salon_id = $1 AND a.client_id = $2 AND b.client_id = $3 AND tstzrange(a.starts_at, a.ends_at) && tstzrange(b.starts_at, b.ends_at)
		  AND a.state IN ('held', 'booked', 'arrived', 'under_way') AND b.state IN ('held', 'booked', 'arrived', 'under_way') ORDER BY a.starts_at`, t.salon, keep, gone)
	if err != nil {
		return nil, domain("visits twice", err, false)
	}
	list, err := pgx.CollectRows(rows, pgx.RowTo[[]string])
	out := make([][2]string, len(list))
	for i, x := range list {
		out[i] = [2]string(x)
	}
	return out, domain("visits twice", err, false)
}

// LockClients keeps others from changing two clients, as LockClient does one, or
// returns scheduling.ErrNotFound. It comes before any visit is locked.
func (t *Tx) LockClients(ctx context.Context, a, b string) error {
	ids := []string{a, b}
	slices.Sort(ids)
	var found int
	err := t.tx.QueryRow(ctx, `SELECT count(*) FROM (SELECT 1 FROM client WHERE salon_id = $1 AND client_id = ANY($2) ORDER BY client_id FOR UPDATE) x`,
		t.salon, ids).Scan(&found)
	if err == nil && found != len(slices.Compact(ids)) {
		return fmt.Errorf("store: lock clients: %w", scheduling.ErrNotFound)
	}
	return domain("lock clients", err, false)
}

// movedWithClient are the tables whose rows go to the client who is kept as they are.
// What else belongs to a client ends with the file that is taken away: links to her
// own pages and what was closed of them.
var movedWithClient = []string{"head", "estimate", "hair_treatment", "quote", "wish", "consent", "minor_change", "message_choice", "client_request", "contact_change"}

// MergeClients puts two files of the same person together: everything of gone goes to
// keep, whose own row stays as it is, and gone is erased. Of what was said of messages
// a stop in either file holds, and of what is noted of a minor the later day. Links
// and calendar addresses of gone lead nowhere any more. Both have to be locked by
// LockClients. It returns ErrClientBusy when both have a visit at one time, and why
// something about health could not be sealed anew for keep.
func (t *Tx) MergeClients(ctx context.Context, keep, gone string, now time.Time) error {
	if err := t.lockFeedsAfterVisits(ctx, keep, gone); err != nil {
		return err
	}
	stops, err := t.stopsOf(ctx, keep, gone, now)
	if err != nil {
		return err
	}
	steps := []func(context.Context, string, string) error{t.mergeVisits, t.mergeHealth, t.mergeMinor, t.mergeRows, t.mergeWish, t.dropGone}
	for _, step := range steps {
		if err := step(ctx, keep, gone); err != nil {
			return err
		}
	}
	if len(stops) > 0 {
		if _, err := t.NoteMessageChoices(ctx, keep, stops); err != nil {
			return err
		}
	}
	return t.touchFeedsOfClient(ctx, keep)
}

func (t *Tx) lockFeedsAfterVisits(ctx context.Context, keep, gone string) error {
	_, err := t.tx.Exec(ctx, `SELECT 1 FROM visit WHERE salon_id = $1 AND client_id IN ($2, $3) ORDER BY visit_id FOR UPDATE`, t.salon, keep, gone)
	if err != nil {
		return domain("lock visits", err, false)
	}
	t.lockFeeds(false)
	return nil
}

// stopsOf are the words that stop messages in one of two files and are not the last
// ones once they are one: a stop is said once more.
func (t *Tx) stopsOf(ctx context.Context, keep, gone string, now time.Time) ([]MessageChoice, error) {
	var out []MessageChoice
	for _, id := range []string{keep, gone} {
		w, err := t.MessageWishOf(ctx, id)
		if err != nil {
			return nil, err
		}
		for _, c := range w.Choices {
			if c.Wanted != nil && !*c.Wanted {
				c.How, c.At = "desk", now
				out = append(out, c)
			}
		}
	}
	return out, nil
}

func (t *Tx) mergeVisits(ctx context.Context, keep, gone string) error {
	_, err := t.tx.Exec(ctx, `UPDATE visit SET client_id = $2, version = version + 1, changed_at = now() WHERE salon_id = $1 AND client_id = $3`, t.salon, keep, gone)
	return domain("visits of another file", err, false)
}

// mergeHealth seals what is sealed for gone for keep: the client is part of the place
// that a seal belongs to.
func (t *Tx) mergeHealth(ctx context.Context, keep, gone string) error {
	for _, x := range []struct{ what, read, write string }{
		{"test", `SELECT record_id AS id, '' AS part, sealed FROM test_record WHERE salon_id = $1 AND client_id = $2`,
			`UPDATE test_record SET sealed = $4 WHERE salon_id = $1 AND record_id = $2 AND $3 = ''`},
		{"screening", `SELECT screening_id AS id, what AS part, sealed FROM sealed_text JOIN screening USING (salon_id, screening_id) WHERE salon_id = $1 AND client_id = $2`,
			`UPDATE sealed_text SET sealed = $4 WHERE salon_id = $1 AND screening_id = $2 AND what = $3`},
	} {
		list, err := collect[struct {
			ID     string `db:"id"`
			Part   string `db:"part"`
			Sealed []byte `db:"sealed"`
		}](ctx, t, x.what, x.read, t.salon, gone)
		if err != nil {
			return err
		}
		for _, r := range list {
			place := func(client string) []string {
				if r.Part == "" {
					return []string{x.what, client, r.ID}
				}
				return []string{x.what, r.Part, client, r.ID}
			}
			words, err := t.opened(r.Sealed, place(gone)...)
			if err != nil {
				return err
			}
			sealed, err := t.sealed(words, place(keep)...)
			if err != nil {
				return err
			}
			if _, err := t.tx.Exec(ctx, x.write, t.salon, r.ID, r.Part, sealed); err != nil {
				return domain("seal anew", err, false)
			}
		}
	}
	for _, table := range []string{"test_record", "screening", "health_read"} {
		if _, err := t.tx.Exec(ctx, `UPDATE `+table+` SET client_id = $2 WHERE salon_id = $1 AND client_id = $3`, t.salon, keep, gone); err != nil {
			return domain("health of another file", err, false)
		}
	}
	return nil
}

// mergeMinor keeps the later day on which she is of age, and a guardian who is named.
func (t *Tx) mergeMinor(ctx context.Context, keep, gone string) error {
	other, err := t.MinorOf(ctx, gone)
	if errors.Is(err, scheduling.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	if _, err := t.MinorOf(ctx, keep); errors.Is(err, scheduling.ErrNotFound) {
		_, err := t.tx.Exec(ctx, `UPDATE minor SET client_id = $2 WHERE salon_id = $1 AND client_id = $3`, t.salon, keep, gone)
		return domain("minor of another file", err, false)
	}
	_, err = t.tx.Exec(ctx, `UPDATE minor SET until_date = greatest(until_date, $3::text::date), consent_age = greatest(consent_age, $4),
			stays = CASE WHEN 'present' IN (stays, $5) THEN 'present' ELSE stays END, version = version + 1 WHERE salon_id = $1 AND client_id = $2`,
		t.salon, keep, other.Until.String(), other.Age, other.Stays)
	if err != nil {
		return domain("minor of another file", err, false)
	}
	by, asked := contactOf(other.ContactBy)
	_, err = t.tx.Exec(ctx, `UPDATE minor SET guardian_name = $3, phone = $4, mail = $5, contact_by = $6, contact_asked = $7 WHERE salon_id = $1 AND client_id = $2 AND guardian_name = ''`,
		t.salon, keep, other.Guardian, other.Phone, other.Mail, by, asked)
	return domain("minor of another file", err, false)
}

func (t *Tx) mergeRows(ctx context.Context, keep, gone string) error {
	for _, table := range movedWithClient {
		if _, err := t.tx.Exec(ctx, `UPDATE `+table+` SET client_id = $2 WHERE salon_id = $1 AND client_id = $3`, t.salon, keep, gone); err != nil {
			return domain(table+" of another file", err, false)
		}
	}
	return nil
}

// mergeWish keeps the language of either file, and lets word be left on an answering
// machine only if both did that say something of it.
func (t *Tx) mergeWish(ctx context.Context, keep, gone string) error {
	a, err := t.MessageWishOf(ctx, keep)
	if err != nil {
		return err
	}
	b, err := t.MessageWishOf(ctx, gone)
	if err != nil {
		return err
	}
	switch {
	case b.Version == 1: // nothing was ever said
		return nil
	case a.Version == 1:
		a.Voice = b.Voice
	default:
		a.Voice = a.Voice && b.Voice
	}
	if a.Language == "" {
		a.Language = b.Language
	}
	_, err = t.writeWish(ctx, a, nil)
	return err
}

// dropGone erases the file, with its links and the addresses of its calendar, and notes
// into which one it went, for when that one is erased.
func (t *Tx) dropGone(ctx context.Context, keep, gone string) error {
	delete(t.atEnd.feeds, gone)
	for _, q := range []string{`DELETE FROM feed WHERE salon_id = $1 AND kind = 'client' AND subject_id = $2`,
		`DELETE FROM feed_version WHERE salon_id = $1 AND subject_id = $2`} {
		if _, err := t.tx.Exec(ctx, q, t.salon, gone); err != nil {
			return domain("calendars of another file", err, false)
		}
	}
	// Signs of her that go with it, like a link that was used, count as given today.
	if _, err := t.tx.Exec(ctx, `UPDATE client SET changed_at = now() WHERE salon_id = $1 AND client_id = $2`, t.salon, keep); err != nil {
		return domain("take a file away", err, false)
	}
	if _, err := t.tx.Exec(ctx, `UPDATE merged_client SET into_id = $2 WHERE salon_id = $1 AND into_id = $3`, t.salon, keep, gone); err != nil {
		return domain("take a file away", err, false)
	}
	tag, err := t.tx.Exec(ctx, `DELETE FROM client WHERE salon_id = $1 AND client_id = $2`, t.salon, gone)
	if err := one("take a file away", tag.RowsAffected(), err); err != nil {
		return err
	}
	_, err = t.tx.Exec(ctx, `INSERT INTO merged_client (salon_id, client_id, into_id) VALUES ($1, $2, $3)`, t.salon, gone, keep)
	return domain("take a file away", err, false)
}
