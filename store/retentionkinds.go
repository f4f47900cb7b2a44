package store

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
)

// keptKind is a kind of data with how it is found and erased.
type keptKind struct {
	kind  DataKind
	steps []keptStep
}

// keptStep erases rows of one table that are too old.
type keptStep struct {
	table, id string
	// where says of a row x whether it is too old by term.before and term.day.
	where string
	batch int // of rows that one transaction takes
	// erase takes rows away that are locked, and says how many it found.
	erase func(ctx context.Context, t *Tx, ids []string, now time.Time) (int, error)
}

// tooOld is a query for ids of the salon $1 by the term $2 and $3.
func (s keptStep) tooOld() string {
	return `SELECT DISTINCT x.` + s.id + ` AS id FROM ` + s.table + ` x, (SELECT $2::timestamptz AS before, $3::text::date AS day) term
		WHERE x.salon_id = $1 AND (` + s.where + `)`
}

// lastVisit is when the last visit of a client ends or ended that was not called off.
func lastVisit(client string) string {
	return `(SELECT max(v.ends_at) FROM visit v WHERE v.salon_id = $1 AND v.client_id = ` + client + `
		AND v.state IN ('booked', 'arrived', 'under_way', 'finished', 'stopped_early'))`
}

const (
	cameOnce = `(EXISTS (SELECT FROM visit v WHERE v.salon_id = $1 AND v.client_id = x.client_id AND v.state IN ('finished', 'stopped_early'))
		OR EXISTS (SELECT FROM money_entry e JOIN visit v USING (salon_id, visit_id) WHERE e.salon_id = $1 AND v.client_id = x.client_id))`
	// silent is whether nothing was heard of a client, nothing is to come and nothing
	// waits to be said or done. Calendars that fetch by themselves are no sign of her.
	silent = `x.created_at < term.before
		AND NOT EXISTS (SELECT FROM visit v WHERE v.salon_id = $1 AND v.client_id = x.client_id
			AND (v.ends_at >= term.before OR v.state IN ('held', 'booked', 'arrived', 'under_way')))
		AND NOT EXISTS (SELECT FROM reminder r JOIN visit v USING (salon_id, visit_id) WHERE r.salon_id = $1 AND v.client_id = x.client_id AND r.state IN ('waiting', 'sending'))
		AND NOT EXISTS (SELECT FROM wish w WHERE w.salon_id = $1 AND w.client_id = x.client_id AND (w.changed_at >= term.before OR w.last_date > term.day))
		AND NOT EXISTS (SELECT FROM client_request r WHERE r.salon_id = $1 AND r.client_id = x.client_id AND (r.made_at >= term.before OR coalesce(r.settled_at, 'infinity') >= term.before))
		AND NOT EXISTS (SELECT FROM own_link l WHERE l.salon_id = $1 AND l.client_id = x.client_id AND greatest(l.created_at, l.rotated_at, l.last_used_at) >= term.before)
		AND NOT EXISTS (SELECT FROM message_choice m WHERE m.salon_id = $1 AND m.client_id = x.client_id AND m.said_at >= term.before)
		AND NOT EXISTS (SELECT FROM head h WHERE h.salon_id = $1 AND h.client_id = x.client_id AND h.created_at >= term.before)
		AND NOT EXISTS (SELECT FROM quote q WHERE q.salon_id = $1 AND q.client_id = x.client_id AND q.created_at >= term.before)
		AND NOT EXISTS (SELECT FROM screening s WHERE s.salon_id = $1 AND s.client_id = x.client_id AND s.made_at >= term.before)
		AND NOT EXISTS (SELECT FROM test_record r WHERE r.salon_id = $1 AND r.client_id = x.client_id AND r.noted_at >= term.before)
		AND NOT EXISTS (SELECT FROM consent g WHERE g.salon_id = $1 AND g.client_id = x.client_id AND g.given_at >= term.before)`
	// aStranger is a visit whose title or note may name somebody who is no client.
	aStranger = `x.client_id IS NULL AND (x.title NOT IN ('', '` + ErasedName + `') OR x.note <> '')`
)

// keptKinds are in the order in which they are erased.
var keptKinds = []keptKind{
	{KeptHealth, []keptStep{
		{"screening", "screening_id", `x.erased_at IS NULL AND greatest(x.made_at, ` + lastVisit("x.client_id") + `) < term.before`, 100, eraseScreenings},
		{"test_record", "record_id", `greatest(x.noted_at, ` + lastVisit("x.client_id") + `) < term.before`, 200,
			eraseRecords("tests", `DELETE FROM test_record x WHERE x.salon_id = $1 AND x.record_id = ANY($2) RETURNING x.client_id`)},
		{"need_override", "override_id", `x.sealed <> '' AND (SELECT greatest(x.made_at, w.ends_at, ` + lastVisit("w.client_id") + `)
			FROM visit w WHERE w.salon_id = $1 AND w.visit_id = x.visit_id) < term.before`, 200,
			eraseRecords("overrides", `UPDATE need_override x SET sealed = '' FROM visit w WHERE x.salon_id = $1 AND x.override_id = ANY($2)
				AND w.salon_id = $1 AND w.visit_id = x.visit_id RETURNING coalesce(w.client_id, '')`)},
		{"visit_stop", "visit_id", `(x.sealed IS NOT NULL OR x.cleared_sealed IS NOT NULL) AND (SELECT greatest(x.noted_at, w.ends_at, ` + lastVisit("w.client_id") + `)
			FROM visit w WHERE w.salon_id = $1 AND w.visit_id = x.visit_id) < term.before`, 200,
			eraseRecords("stops", `UPDATE visit_stop x SET sealed = NULL, cleared_sealed = NULL FROM visit w WHERE x.salon_id = $1 AND x.visit_id = ANY($2)
				AND w.salon_id = $1 AND w.visit_id = x.visit_id RETURNING coalesce(w.client_id, '')`)},
	}},
	{KeptClients, []keptStep{{"client", "client_id", cameOnce + ` AND ` + silent, 20, eraseClients}}},
	{KeptNever, []keptStep{
		{"client", "client_id", `NOT ` + cameOnce + ` AND ` + silent, 20, eraseClients},
		{"visit", "visit_id", `x.ends_at < term.before AND x.state IN ('lapsed', 'cancelled', 'missed') AND ` + aStranger, 100, erasePeople},
	}},
	// A client's last visit tells when she came: it goes with her. A visit that another
	// one follows from waits for it, since that would tell whose it was.
	{KeptVisits, []keptStep{{"visit", "visit_id", `x.ends_at < term.before AND (` + aStranger + `
			OR EXISTS (SELECT FROM visit w WHERE w.salon_id = $1 AND w.client_id = x.client_id AND w.starts_at > x.starts_at AND w.state IN ('finished', 'stopped_early')))
		AND NOT EXISTS (SELECT FROM visit w WHERE w.salon_id = $1 AND w.parent_id = x.visit_id AND w.client_id IS NOT NULL)`, 100, erasePeople}}},
	{KeptMessages, []keptStep{{"reminder", "reminder_id", `x.done_at < term.before AND x.state NOT IN ('waiting', 'sending')`, 500,
		eraseRows(`DELETE FROM reminder WHERE salon_id = $1 AND reminder_id = ANY($2)`)}}},
	{KeptRequests, []keptStep{
		{"wish", "wish_id", `x.changed_at < term.before AND x.last_date <= term.day
			AND NOT EXISTS (SELECT FROM visit v WHERE v.salon_id = $1 AND v.visit_id = x.visit_id AND v.ends_at >= term.before)`, 500,
			eraseRows(`DELETE FROM wish WHERE salon_id = $1 AND wish_id = ANY($2)`)},
		{"client_request", "request_id", `x.settled_at < term.before`, 500, eraseRows(`DELETE FROM client_request WHERE salon_id = $1 AND request_id = ANY($2)`)},
	}},
	{KeptInvitations, []keptStep{{"invitation", "visit_id", `x.sent_at < term.before
			AND EXISTS (SELECT FROM visit v WHERE v.salon_id = $1 AND v.visit_id = x.visit_id AND v.ends_at < term.before)`, 500,
		eraseRows(`DELETE FROM invitation WHERE salon_id = $1 AND visit_id = ANY($2)`)}}},
	{KeptAbsences, []keptStep{{"absence", "absence_id", `x.ends_at < term.before AND x.reason <> ''
			AND EXISTS (SELECT FROM staff s WHERE s.salon_id = $1 AND s.staff_id = x.unit_id)`, 500,
		eraseRows(`UPDATE absence SET reason = '' WHERE salon_id = $1 AND absence_id = ANY($2)`)}}},
	{KeptReads, []keptStep{{"health_read", "read_id", `x.read_at < term.before`, 500, eraseRows(`DELETE FROM health_read WHERE salon_id = $1 AND read_id = ANY($2)`)}}},
}

// eraseRows erases by one statement.
func eraseRows(q string) func(context.Context, *Tx, []string, time.Time) (int, error) {
	return func(ctx context.Context, t *Tx, ids []string, _ time.Time) (int, error) {
		_, err := t.tx.Exec(ctx, q, t.salon, ids)
		return len(ids), domain("erase by age", err, false)
	}
}

func erasePeople(ctx context.Context, t *Tx, ids []string, _ time.Time) (int, error) {
	var b pgx.Batch
	t.eraseFrom(&b, ids)
	return len(ids), domain("erase by age", t.tx.SendBatch(ctx, &b).Close(), false)
}

// ByAge is who erased a client whom nobody erased.
const ByAge = "age"

func eraseClients(ctx context.Context, t *Tx, ids []string, now time.Time) (int, error) {
	for _, id := range ids {
		if _, err := t.EraseClient(ctx, id, ByAge, now); err != nil {
			return 0, err
		}
	}
	return len(ids), nil
}

func eraseScreenings(ctx context.Context, t *Tx, ids []string, now time.Time) (int, error) {
	for _, id := range ids {
		if err := t.EraseScreening(ctx, id, now, false); err != nil {
			return 0, err
		}
		if err := t.NoteHealthRead(ctx, HealthRead{Screening: id, At: now, What: "erased", Role: "retention"}); err != nil {
			return 0, err
		}
	}
	return len(ids), nil
}

// eraseRecords erases by a statement that returns the clients, and notes of whom.
func eraseRecords(about, q string) func(context.Context, *Tx, []string, time.Time) (int, error) {
	return func(ctx context.Context, t *Tx, ids []string, now time.Time) (int, error) {
		clients, err := t.ids(ctx, "old records", q, t.salon, ids)
		if err != nil {
			return 0, err
		}
		n := len(clients)
		slices.Sort(clients)
		for _, c := range slices.Compact(clients) {
			if err := t.NoteHealthRead(ctx, HealthRead{About: about, Client: c, At: now, What: "erased", Role: "retention"}); err != nil {
				return 0, err
			}
		}
		return n, nil
	}
}

// eraseBatch erases the next rows of a step whose ids come after one. It returns the
// last that it looked at, "" once there are no more, and how many were erased. Rows
// that somebody is changing stay for the next run.
func (t *Tx) eraseBatch(ctx context.Context, s keptStep, x term, after string, now time.Time) (last string, erased int, err error) {
	old := s.tooOld()
	found, err := t.ids(ctx, "too old", old+` AND x.`+s.id+` > $4 ORDER BY id LIMIT $5`, t.salon, x.before, x.day.String(), after, s.batch)
	if err != nil || len(found) == 0 {
		return "", 0, err
	}
	if len(found) == s.batch {
		last = found[len(found)-1]
	}
	locked, err := t.ids(ctx, "too old", `SELECT `+s.id+` FROM `+s.table+` WHERE salon_id = $1 AND `+s.id+` = ANY($2) ORDER BY `+s.id+` FOR UPDATE SKIP LOCKED`, t.salon, found)
	if err != nil {
		return "", 0, err
	}
	// Asked once more under the lock: something may have happened in between.
	still, err := t.ids(ctx, "too old", old+` AND x.`+s.id+` = ANY($4) ORDER BY id`, t.salon, x.before, x.day.String(), locked)
	if err != nil || len(still) == 0 {
		return last, 0, err
	}
	erased, err = s.erase(ctx, t, still, now)
	return last, erased, err
}
