package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// ErasedName stands in the visits of clients who were erased.
const ErasedName = "a client who was erased"

// Erasure says what erasing a client hits.
type Erasure struct {
	Coming     int `db:"coming"`     // visits that are pencilled, booked or going on: none may be
	Visits     int `db:"visits"`     // that stay, without her
	Messages   int `db:"messages"`   // to her or about her visits
	Cards      int `db:"cards"`      // visits with a record card
	Screenings int `db:"screenings"` // consultations
	Links      int `db:"links"`      // to her pages
	Feeds      int `db:"feeds"`      // calendars
	Wishes     int `db:"wishes"`     // on the waiting list
}

// ErasureOf says what erasing a client would hit, or returns scheduling.ErrNotFound.
func (t *Tx) ErasureOf(ctx context.Context, client string) (Erasure, error) {
	list, err := collect[Erasure](ctx, t, "erasure", `SELECT
		(SELECT count(*) FROM visit v WHERE v.salon_id = c.salon_id AND v.client_id = c.client_id AND v.state IN ('held', 'booked', 'arrived', 'under_way')) AS coming,
		(SELECT count(*) FROM visit v WHERE v.salon_id = c.salon_id AND v.client_id = c.client_id AND v.state NOT IN ('held', 'booked', 'arrived', 'under_way')) AS visits,
		(SELECT count(*) FROM reminder r JOIN visit v USING (salon_id, visit_id) WHERE v.salon_id = c.salon_id AND v.client_id = c.client_id) AS messages,
		(SELECT count(DISTINCT visit_id) FROM card_fact f JOIN visit v USING (salon_id, visit_id) WHERE v.salon_id = c.salon_id AND v.client_id = c.client_id) AS cards,
		(SELECT count(*) FROM screening s WHERE s.salon_id = c.salon_id AND s.client_id = c.client_id) AS screenings,
		(SELECT count(*) FROM own_link l WHERE l.salon_id = c.salon_id AND l.client_id = c.client_id) AS links,
		(SELECT count(*) FROM feed f WHERE f.salon_id = c.salon_id AND f.kind = 'client' AND f.subject_id = c.client_id) AS feeds,
		(SELECT count(*) FROM wish w WHERE w.salon_id = c.salon_id AND w.client_id = c.client_id) AS wishes
		FROM client c WHERE c.salon_id = $1 AND c.client_id = $2`, t.salon, client)
	if err != nil {
		return Erasure{}, err
	}
	if len(list) == 0 {
		return Erasure{}, fmt.Errorf("client: %w", scheduling.ErrNotFound)
	}
	return list[0], nil
}

// eraseFromVisits take the person out of visits $2 of salon $1, in this order. What
// stays of a visit is its time, its services, its price and who worked: accounts, the
// use of the chairs and how quickly people work do not change.
var eraseFromVisits = []string{
	`DELETE FROM river_job j USING reminder r
		WHERE j.id = r.job_id AND r.salon_id = $1 AND r.visit_id = ANY($2) AND j.state IN ('scheduled', 'available', 'retryable')`,
	`DELETE FROM reminder WHERE salon_id = $1 AND visit_id = ANY($2)`,
	`DELETE FROM invitation WHERE salon_id = $1 AND visit_id = ANY($2)`,
	`DELETE FROM card_fact WHERE salon_id = $1 AND visit_id = ANY($2)`,
	`DELETE FROM visit_stop WHERE salon_id = $1 AND visit_id = ANY($2)`,
	`DELETE FROM need_override WHERE salon_id = $1 AND visit_id = ANY($2)`,
	// What names both the client and the visit would tell whose it was.
	`DELETE FROM consent WHERE salon_id = $1 AND visit_id = ANY($2)`,
	`DELETE FROM client_request WHERE salon_id = $1 AND visit_id = ANY($2)`,
	`UPDATE wish SET visit_id = NULL WHERE salon_id = $1 AND visit_id = ANY($2)`,
	`DELETE FROM visit_part p USING visit v WHERE p.salon_id = $1 AND p.visit_id = ANY($2) AND v.salon_id = $1 AND v.visit_id = p.visit_id
		AND p.kind IN ('client', 'aftercare', 'retouch')`,
	`UPDATE money_entry SET note = '' WHERE salon_id = $1 AND visit_id = ANY($2) AND note <> ''`,
	// How long the work took on which hair is known of nobody from here on.
	`UPDATE estimate e SET client_id = NULL, head_id = NULL WHERE e.salon_id = $1 AND e.client_id IS NOT NULL
		AND e.estimate_id IN (SELECT x.estimate_id FROM visit_service x WHERE x.salon_id = $1 AND x.visit_id = ANY($2))`,
	`UPDATE visit SET client_id = NULL, title = CASE WHEN client_id IS NULL AND chair_id IS NULL THEN '' ELSE '` + ErasedName + `' END, note = '', quote_id = NULL,
		version = version + 1, changed_at = now() WHERE salon_id = $1 AND visit_id = ANY($2)`,
}

// eraseSteps take away what is left of client $2 of salon $1 once her visits are
// nobody's, but for her row.
var eraseSteps = []string{
	`DELETE FROM visit_part WHERE salon_id = $1 AND subject = $2`,
	`DELETE FROM feed WHERE salon_id = $1 AND kind = 'client' AND subject_id = $2`,
	`DELETE FROM feed_version WHERE salon_id = $1 AND subject_id = $2`,
	`UPDATE estimate e SET client_id = NULL, head_id = NULL WHERE e.salon_id = $1 AND e.client_id = $2
		AND EXISTS (SELECT FROM visit_service x WHERE x.salon_id = e.salon_id AND x.estimate_id = e.estimate_id)`,
	`UPDATE visit v SET quote_id = NULL FROM quote q WHERE q.salon_id = $1 AND q.client_id = $2 AND v.salon_id = $1 AND v.quote_id = q.quote_id`,
	// Answers to requests that may be repeated hold what was answered about her.
	`DELETE FROM idempotency WHERE salon_id = $1 AND (position($2 IN route) > 0 OR position(convert_to($2, 'UTF8') IN body) > 0)`,
	`DELETE FROM day_plan WHERE salon_id = $1 AND position($2 IN proposal::text) > 0`,
	`DELETE FROM last_action WHERE salon_id = $1 AND (subject_id = $2 OR position($2 IN was::text) > 0)`,
}

// eraseFrom queues what takes the person out of visits.
func (t *Tx) eraseFrom(b *pgx.Batch, visits []string) {
	for _, q := range eraseFromVisits {
		b.Queue(q, t.salon, visits)
	}
}

// EraseClient takes everything about a client away, for good: her row with all that
// hangs on it, what was sent and written about her visits, their record cards, links
// and calendars. Her visits stay without her. now and by are noted beside her id
// alone, and beside those of files that went into hers.
//
// It returns scheduling.ErrNotFound, and a *scheduling.ConflictError while a visit of
// hers is pencilled, booked or going on.
func (t *Tx) EraseClient(ctx context.Context, client, by string, now time.Time) (Erasure, error) {
	// Whoever books for her at this moment comes before or finds her gone.
	tag, err := t.tx.Exec(ctx, `SELECT FROM client WHERE salon_id = $1 AND client_id = $2 FOR UPDATE`, t.salon, client)
	if err := one("client", tag.RowsAffected(), err); err != nil {
		return Erasure{}, err
	}
	hit, err := t.ErasureOf(ctx, client)
	if err != nil {
		return hit, err
	}
	if hit.Coming > 0 {
		return hit, &scheduling.ConflictError{Reason: fmt.Sprintf("%d visits of hers are still to come or going on: cancel or finish them first", hit.Coming)}
	}
	return hit, t.takeAway(ctx, client, by, now)
}

// takeAway erases a locked client, whatever the state of her visits.
func (t *Tx) takeAway(ctx context.Context, client, by string, now time.Time) error {
	visits, err := t.ids(ctx, "visits to erase", `SELECT visit_id FROM visit WHERE salon_id = $1 AND client_id = $2`, t.salon, client)
	if err != nil {
		return err
	}
	var b pgx.Batch
	delete(t.atEnd.feeds, client)
	t.eraseFrom(&b, visits)
	for _, q := range eraseSteps {
		b.Queue(q, t.salon, client)
	}
	// A database from before may still have the files that hers was put together from.
	b.Queue(`INSERT INTO erased_client (salon_id, client_id, erased_at, erased_by) SELECT salon_id, client_id, $3, $4 FROM merged_client
		WHERE salon_id = $1 AND into_id = $2 ON CONFLICT DO NOTHING`, t.salon, client, now, by)
	b.Queue(`DELETE FROM client WHERE salon_id = $1 AND client_id = $2`, t.salon, client)
	b.Queue(`INSERT INTO erased_client (salon_id, client_id, erased_at, erased_by) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`, t.salon, client, now, by)
	return domain("erase client", t.tx.SendBatch(ctx, &b).Close(), false)
}

// CancelComing cancels what is pencilled, booked or going on for a client, and says
// nothing to anybody: for a client who was erased already, in a database that was
// read back from before.
func (t *Tx) CancelComing(ctx context.Context, client string) error {
	list, err := t.VisitsOfClient(ctx, client)
	if err != nil {
		return err
	}
	for _, v := range list {
		switch v.State {
		case Held, Booked, Arrived, UnderWay:
			if v, err = t.LockVisit(ctx, v.ID, 0); err != nil {
				return err
			}
			v.State = Cancelled
			if err := t.SetVisitState(ctx, &v); err != nil {
				return err
			}
		case Lapsed, Finished, StoppedEarly, Cancelled, Missed:
		}
	}
	return nil
}

// Erased is a client who was erased.
type Erased struct {
	Salon  string    `db:"salon_id" json:"salon"`
	Client string    `db:"client_id" json:"client"`
	At     time.Time `db:"erased_at" json:"at"`
	By     string    `db:"erased_by" json:"-"`
}

// ErasedClients lists who was erased in all salons since a moment, the oldest first.
func (s *Store) ErasedClients(ctx context.Context, since time.Time) ([]Erased, error) {
	rows, err := s.pool.Query(ctx, `SELECT salon_id, client_id, erased_at, erased_by FROM erased_client WHERE erased_at >= $1 ORDER BY erased_at, salon_id, client_id`, since)
	if err != nil {
		return nil, domain("erased clients", err, false)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByName[Erased])
	return list, domain("erased clients", err, false)
}
