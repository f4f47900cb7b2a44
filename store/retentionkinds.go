package store

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
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
	batch int // of rows that one transaction takes (judgement: fewer where more hangs on a row)
	// lock keeps what the rows $2 are judged by from changing, too; "" for nothing.
	lock string
	// erase takes rows away that are locked, and says how many it found.
	erase func(ctx context.Context, t *Tx, ids []string, now time.Time) (int, error)
	// chain says that what goes may let another row of the step go.
	chain bool
}

// tooOld is a query for ids of the salon $1 by the term $2 and $3, and by what goes
// before: clients $4, visits $5 and what is about health until $6, see gone.
func (s keptStep) tooOld() string {
	return `SELECT DISTINCT x.` + s.id + ` AS id FROM ` + s.table + ` x, ` + termRow + `
		WHERE x.salon_id = $1 AND (` + s.where + `)`
}

// termRow is the term and what goes before as one row.
const termRow = `(SELECT $2::timestamptz AS before, $3::text::date AS day, $4::text[] AS clients, $5::text[] AS visits, $6::text::timestamptz AS health) term`

// gone is what goes before something, for who counts beforehand.
type gone struct {
	clients, visits []string // without their person
	health          string   // records whose time was over before are gone; an instant
}

// nothingGone is for who erases: what goes before is gone.
func nothingGone() gone { return gone{[]string{}, []string{}, "-infinity"} }

// args are the arguments of termRow, the salon before them.
func (t *Tx) args(x term, g gone, more ...any) []any {
	return append([]any{t.salon, x.before, x.day.String(), g.clients, g.visits, g.health}, more...)
}

// notGone is whether what a row refers to is not among what goes before.
func notGone(column, list string) string {
	return `coalesce(` + column + ` <> ALL (term.` + list + `), true)`
}

// lastVisit is when the last visit of a client ends or ended that was not called off.
func lastVisit(client string) string {
	return `(SELECT max(v.ends_at) FROM visit v WHERE v.salon_id = $1 AND v.client_id = ` + client + `
		AND v.state IN ('booked', 'arrived', 'under_way', 'finished', 'stopped_early'))`
}

// of is whether there is a row y of a table about a client x for which something holds.
func of(table, holds string) string {
	return `EXISTS (SELECT FROM ` + table + ` y WHERE y.salon_id = $1 AND y.client_id = x.client_id AND (` + holds + `))`
}

// ofVisit is of for a table about visits of hers, v.
func ofVisit(table, holds string) string {
	return `EXISTS (SELECT FROM ` + table + ` y JOIN visit v USING (salon_id, visit_id) WHERE y.salon_id = $1 AND v.client_id = x.client_id AND (` + holds + `))`
}

// notTakenBack is whether a money entry counts.
func notTakenBack(entry string) string {
	return `NOT EXISTS (SELECT FROM money_entry b WHERE b.salon_id = $1 AND b.reverses = ` + entry + `.entry_id)`
}

// cameOnce is whether a client came, or paid: what was asked of her is not paid yet.
var cameOnce = `(` + of("visit", `y.state IN ('finished', 'stopped_early')`) + `
		OR ` + ofVisit("money_entry", `y.kind IN ('received', 'kept') AND `+notTakenBack("y")) + `
		OR ` + of("visit", `EXISTS (SELECT FROM money_entry e WHERE e.salon_id = $1 AND e.to_visit_id = y.visit_id AND e.kind = 'carried_over' AND `+notTakenBack("e")+`)`) + `)`

// moneyOpen is whether money is still to be settled, as Balance adds it up: something she
// paid for a visit that was not finished, or a deposit for one that was not called off.
// It is asked of one client after the other, and not of all visits of the salon.
var moneyOpen = `coalesce((SELECT bool_or(` + moneyThere + ` OR ` + moneyOwed + `) FROM ` + moneySums + `
		WHERE y.salon_id = $1 AND y.client_id = x.client_id), false)`

const (
	moneyThere = `(y.state NOT IN ('finished', 'stopped_early') AND m.there > m.kept)`
	moneyOwed  = `(y.state NOT IN ('cancelled', 'missed', 'lapsed') AND m.asked > m.there AND NOT m.waived)`
)

// moneySums are visits y with their sums m.
var moneySums = `visit y CROSS JOIN LATERAL (SELECT
			sum(CASE WHEN e.kind = 'received' OR e.kind = 'carried_over' AND e.visit_id <> y.visit_id THEN e.amount_cents
				WHEN e.kind IN ('returned', 'carried_over') THEN -e.amount_cents ELSE 0 END) AS there,
			coalesce(sum(e.amount_cents) FILTER (WHERE e.kind = 'kept'), 0) AS kept, bool_or(e.kind = 'waived') AS waived,
			(array_agg(e.amount_cents ORDER BY e.entry_id DESC) FILTER (WHERE e.kind = 'deposit_asked'))[1] AS asked
			FROM money_entry e WHERE e.salon_id = $1 AND (e.visit_id = y.visit_id OR e.to_visit_id = y.visit_id) AND ` + notTakenBack("e") + `) m`

// signs are what holds a client x, but for moneyOpen. A visit that nobody closed counts until it was planned
// to end; what holds by a state counts as long as it has it.
var signs = []string{
	`(greatest(x.created_at, x.changed_at) >= term.before)`,
	of("visit", `y.ends_at >= term.before`),
	ofVisit("visit_yes", `y.said_at >= term.before`),
	ofVisit("money_entry", `y.noted_at >= term.before`),
	// Links in messages hold, and what was said may be answered late.
	ofVisit("reminder", `y.state IN ('waiting', 'sending') OR y.state IN ('sent', 'to_call', 'failed') AND greatest(y.due_at, y.done_at) >= term.before`),
	`EXISTS (SELECT FROM call_try c JOIN reminder r USING (salon_id, reminder_id) JOIN visit v USING (salon_id, visit_id)
		WHERE c.salon_id = $1 AND v.client_id = x.client_id AND (c.outcome = 'reached' AND c.tried_at >= term.before OR c.again_at >= term.before))`,
	of("wish", `y.changed_at >= term.before OR y.state = 'waiting' AND y.last_date > term.day`),
	of("client_request", `y.made_at >= term.before OR coalesce(y.settled_at, 'infinity') >= term.before`),
	of("own_link", `greatest(y.created_at, y.rotated_at, y.last_used_at) >= term.before`),
	of("message_choice", `y.said_at >= term.before`),
	of("message_wish", `y.changed_at >= term.before`),
	of("contact_change", `y.changed_at >= term.before`),
	of("minor_change", `y.made_at >= term.before`),
	of("head", `y.created_at >= term.before`),
	of("hair_treatment", `y.noted_at >= term.before`),
	of("quote", `greatest(y.created_at, y.valid_until) >= term.before`),
	of("screening", `y.made_at >= term.before`),
	of("test_record", `y.noted_at >= term.before AND greatest(y.noted_at, `+lastVisit("y.client_id")+`) >= term.health`),
	of("consent", `greatest(y.given_at, y.withdrawn_at) >= term.before`),
}

// quiet is whether nothing was heard of a client, nothing is to come and nothing
// waits to be said or done. Calendars that fetch by themselves are no sign of her.
var quiet = `NOT ` + strings.Join(signs, `
		AND NOT `)

// silent is whether a client is quiet and no money is to be settled.
var silent = quiet + ` AND NOT ` + moneyOpen

// aStranger is a visit whose title or note may name somebody who is no client.
const aStranger = `x.client_id IS NULL AND (x.title NOT IN ('', '` + ErasedName + `') OR x.note <> '')`

// keptKinds are in the order in which they are erased.
var keptKinds = []keptKind{
	{KeptHealth, []keptStep{
		{"screening", "screening_id", `x.erased_at IS NULL AND greatest(x.made_at, ` + lastVisit("x.client_id") + `) < term.before AND ` + notGone("x.client_id", "clients"), 100, "", eraseScreenings, false},
		{"test_record", "record_id", `greatest(x.noted_at, ` + lastVisit("x.client_id") + `) < term.before AND ` + notGone("x.client_id", "clients"), 200, "",
			eraseRecords("tests", `DELETE FROM test_record x WHERE x.salon_id = $1 AND x.record_id = ANY($2) RETURNING x.client_id`), false},
		{"need_override", "override_id", `x.sealed <> '' AND (SELECT greatest(x.made_at, w.ends_at, ` + lastVisit("w.client_id") + `)
			FROM visit w WHERE w.salon_id = $1 AND w.visit_id = x.visit_id) < term.before AND ` + notGone("x.visit_id", "visits"), 200, "",
			eraseRecords("overrides", `UPDATE need_override x SET sealed = '' FROM visit w WHERE x.salon_id = $1 AND x.override_id = ANY($2)
				AND w.salon_id = $1 AND w.visit_id = x.visit_id RETURNING coalesce(w.client_id, '')`), false},
		{"visit_stop", "visit_id", `(x.sealed IS NOT NULL OR x.cleared_sealed IS NOT NULL) AND (SELECT greatest(x.noted_at, w.ends_at, ` + lastVisit("w.client_id") + `)
			FROM visit w WHERE w.salon_id = $1 AND w.visit_id = x.visit_id) < term.before AND ` + notGone("x.visit_id", "visits"), 200, "",
			eraseRecords("stops", `UPDATE visit_stop x SET sealed = NULL, cleared_sealed = NULL FROM visit w WHERE x.salon_id = $1 AND x.visit_id = ANY($2)
				AND w.salon_id = $1 AND w.visit_id = x.visit_id RETURNING coalesce(w.client_id, '')`), false},
	}},
	{KeptClients, []keptStep{{"client", "client_id", cameOnce + ` AND ` + silent, 20, visitsOfClients, eraseClients, false}}},
	{KeptNever, []keptStep{
		{"client", "client_id", `NOT ` + cameOnce + ` AND ` + silent, 20, visitsOfClients, eraseClients, false},
		{"visit", "visit_id", `x.ends_at < term.before AND x.state IN ('lapsed', 'cancelled', 'missed') AND ` + aStranger, 100, "", erasePeople, false},
	}},
	// A client's last visit tells when she came: it goes with her. A visit that another
	// one follows from waits for it, since that would tell whose it was.
	{KeptVisits, []keptStep{{"visit", "visit_id", `x.ends_at < term.before AND (` + aStranger + `
			OR EXISTS (SELECT FROM visit w WHERE w.salon_id = $1 AND w.client_id = x.client_id AND w.starts_at > x.starts_at AND w.state IN ('finished', 'stopped_early')))
		AND NOT EXISTS (SELECT FROM visit w WHERE w.salon_id = $1 AND w.parent_id = x.visit_id AND w.client_id IS NOT NULL AND ` + notGone("w.visit_id", "visits") + `)
		AND ` + notGone("x.visit_id", "visits"), 100, "", erasePeople, true}}},
	{KeptMessages, []keptStep{{"reminder", "reminder_id", `x.done_at < term.before AND x.state NOT IN ('waiting', 'sending') AND ` + notGone("x.visit_id", "visits"), 500, "",
		eraseRows(`DELETE FROM reminder WHERE salon_id = $1 AND reminder_id = ANY($2)`), false}}},
	{KeptRequests, []keptStep{
		// Over is what was withdrawn or booked, then (nobody changes it afterwards), and else
		// what waited in vain, after its last day.
		{"wish", "wish_id", `x.changed_at < term.before AND (x.state <> 'waiting' OR x.last_date <= term.day)
			AND NOT EXISTS (SELECT FROM visit v WHERE v.salon_id = $1 AND v.visit_id = x.visit_id AND v.ends_at >= term.before AND ` + notGone("v.visit_id", "visits") + `)
			AND ` + notGone("x.client_id", "clients"), 500, "",
			eraseRows(`DELETE FROM wish WHERE salon_id = $1 AND wish_id = ANY($2)`), false},
		{"client_request", "request_id", `x.settled_at < term.before AND ` + notGone("x.client_id", "clients") + ` AND ` + notGone("x.visit_id", "visits"), 500, "",
			eraseRows(`DELETE FROM client_request WHERE salon_id = $1 AND request_id = ANY($2)`), false},
	}},
	{KeptInvitations, []keptStep{{"invitation", "visit_id", `x.sent_at < term.before
			AND EXISTS (SELECT FROM visit v WHERE v.salon_id = $1 AND v.visit_id = x.visit_id AND v.ends_at < term.before) AND ` + notGone("x.visit_id", "visits"), 500, "",
		eraseRows(`DELETE FROM invitation WHERE salon_id = $1 AND visit_id = ANY($2)`), false}}},
	{KeptAbsences, []keptStep{{"absence", "absence_id", `x.ends_at < term.before AND x.reason <> ''
			AND EXISTS (SELECT FROM staff s WHERE s.salon_id = $1 AND s.staff_id = x.unit_id)`, 500, "",
		eraseRows(`UPDATE absence SET reason = '' WHERE salon_id = $1 AND absence_id = ANY($2)`), false}}},
	{KeptReads, []keptStep{{"health_read", "read_id", `x.read_at < term.before`, 500, "", eraseRows(`DELETE FROM health_read WHERE salon_id = $1 AND read_id = ANY($2)`), false}}},
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

// visitsOfClients keeps visits of clients from being moved ahead while they are erased.
const visitsOfClients = `SELECT FROM visit WHERE salon_id = $1 AND client_id = ANY($2) ORDER BY visit_id FOR UPDATE`

// ByAge is who erased a client whom nobody erased.
const ByAge = "age"

func eraseClients(ctx context.Context, t *Tx, ids []string, now time.Time) (int, error) {
	for _, id := range ids {
		if err := t.takeAway(ctx, id, ByAge, now); err != nil {
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
// last that it looked at, "" once there are no more, how many were erased and which
// could not be. Rows that somebody is changing stay for the next run.
func (t *Tx) eraseBatch(ctx context.Context, s keptStep, x term, after string, now time.Time) (last string, erased int, stuck []string, err error) {
	old := s.tooOld()
	found, err := t.ids(ctx, "too old", old+` AND x.`+s.id+` > $7 ORDER BY id LIMIT $8`, t.args(x, nothingGone(), after, s.batch)...)
	if err != nil || len(found) == 0 {
		return "", 0, nil, err
	}
	if len(found) == s.batch {
		last = found[len(found)-1]
	}
	locked, err := t.ids(ctx, "too old", `SELECT `+s.id+` FROM `+s.table+` WHERE salon_id = $1 AND `+s.id+` = ANY($2) ORDER BY `+s.id+` FOR UPDATE SKIP LOCKED`, t.salon, found)
	if err != nil {
		return "", 0, nil, err
	}
	if s.lock != "" {
		if _, err := t.tx.Exec(ctx, s.lock, t.salon, locked); err != nil {
			return "", 0, nil, domain("too old", err, false)
		}
	}
	// Asked once more under the lock: something may have happened in between.
	still, err := t.ids(ctx, "too old", old+` AND x.`+s.id+` = ANY($7) ORDER BY id`, t.args(x, nothingGone(), locked)...)
	if err != nil || len(still) == 0 {
		return last, 0, nil, err
	}
	erased, stuck, err = t.eraseWhatGoes(ctx, s, still, now)
	return last, erased, stuck, err
}

// eraseWhatGoes erases rows of a step at once, and one by one where that fails: one that
// cannot be erased must not hold up the rest for ever. It says in the log which those are.
func (t *Tx) eraseWhatGoes(ctx context.Context, s keptStep, ids []string, now time.Time) (erased int, stuck []string, err error) {
	try := func(ids []string) (n int, err error) {
		err = t.Savepoint(ctx, func(t *Tx) error { n, err = s.erase(ctx, t, ids, now); return err })
		if err != nil {
			return 0, err
		}
		return n, nil
	}
	passing := func(err error) bool { return again(err) || errors.Is(err, ErrUnavailable) || ctx.Err() != nil }
	if erased, err = try(ids); err == nil || passing(err) {
		return erased, nil, err
	}
	var why error
	for _, id := range ids {
		n, err := try([]string{id})
		switch {
		case err == nil:
			erased += n
		case passing(err):
			return 0, nil, err
		default:
			stuck, why = append(stuck, id), err
		}
	}
	if len(stuck) > 0 {
		slog.ErrorContext(ctx, "could not be erased for its age, and stays", "salon", t.salon, "table", s.table, "ids", stuck, "code", codeOf(why))
	}
	return erased, stuck, nil
}

// codeOf is the database's code of an error, or its type: what it says may hold words
// about people.
func codeOf(err error) string {
	if pg, ok := errors.AsType[*pgconn.PgError](err); ok {
		return pg.Code
	}
	return fmt.Sprintf("%T", err)
}
