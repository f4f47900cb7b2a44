package store

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/rickb777/date"

	"chairblock/scheduling"
)

// DataKind is a kind of data about people that is erased by age. DEVELOPERS.md lists
// which tables belong to which, and what is kept for other reasons.
type DataKind string

// Kinds of data with a term, in the order in which they are erased: clients first,
// since much goes with them.
const (
	KeptHealth      DataKind = "health"       // what is on record of health; its term is HealthMonths
	KeptClients     DataKind = "clients"      // clients who came once and come no more, whole
	KeptNever       DataKind = "never_came"   // clients who never came, whole, and pencilled visits of callers
	KeptVisits      DataKind = "visits"       // the person in visits that are over, but for each client's last
	KeptMessages    DataKind = "messages"     // what was written to whom, with every try
	KeptRequests    DataKind = "requests"     // on the waiting list and from clients' pages, once they are over
	KeptInvitations DataKind = "invitations"  // addresses that hold a visit in their calendar, and their answers
	KeptAbsences    DataKind = "absences"     // why somebody of the staff was away; that she was stays
	KeptReads       DataKind = "health_reads" // who read what is about health
)

// TermLimits are what a term may be, in months.
type TermLimits struct {
	Kind               DataKind
	Usual, Least, Most int
	ForEver            bool // may be left out
}

// TermsAllowed are the terms that an owner sets, in the order of the kinds. All usual
// terms are judgement: local law or an accountant may demand longer. The least:
//   - clients: a retouch may be due 24 months after the last visit, see CareRules;
//   - visits: one year more, so that no visit goes from which a retouch follows;
//   - messages: links in messages hold for 400 days, and what was said once is not
//     said again as long as it is known;
//   - health_reads: an access nobody asks about for a year (judgement).
//
// A term that may not be without end is one for which nobody has a reason to keep it. The
// other least are a month, the most thirty or ten years (judgement). All are in months.
var TermsAllowed = []TermLimits{
	{KeptClients, 36, 24, 360, true},
	{KeptNever, 12, 1, 120, false},
	{KeptVisits, 120, 36, 360, true},
	{KeptMessages, 14, 14, 360, true},
	{KeptRequests, 12, 1, 120, true},
	{KeptInvitations, 3, 1, 120, false},
	{KeptAbsences, 12, 1, 120, true},
	{KeptReads, 36, 12, 120, false},
}

// HealthAllowed are the limits of HealthMonths (judgement; local rules decide).
var HealthAllowed = TermLimits{KeptHealth, 12, 1, 120, false}

// Retention is after how many months each kind is erased by age, 0 for never.
type Retention struct {
	Months  map[DataKind]int
	From    date.Date // nothing is erased by these terms before; zero: no waiting
	Version int64
	// Unread is whether nobody of the salon has seen to the terms since the program gave
	// them, or since it holds everything back.
	Unread bool
}

// column is where the term of a kind stands.
func (k DataKind) column() string { return string(k) + "_months" }

// Retention returns what the salon has set, or the usual terms.
func (t *Tx) Retention(ctx context.Context) (Retention, error) {
	r := Retention{Months: map[DataKind]int{}, Version: 1}
	var read date.Date
	q := `SELECT version, from_date::text, read_at::text`
	months := make([]*int, len(TermsAllowed))
	into := []any{&r.Version, &r.From, &read}
	for i, l := range TermsAllowed {
		r.Months[l.Kind] = l.Usual
		q += ", " + l.Kind.column()
		into = append(into, &months[i])
	}
	held, _, err := t.erasingStands(ctx)
	if err != nil {
		return r, err
	}
	err = t.tx.QueryRow(ctx, q+` FROM retention_rule WHERE salon_id = $1`, t.salon).Scan(into...)
	r.Unread = err == nil && read.IsZero()
	if held.After(r.From) {
		r.From, r.Unread = held, read.Before(held.Add(-graceDays))
	}
	if errors.Is(err, pgx.ErrNoRows) {
		return r, nil
	}
	for i, l := range TermsAllowed {
		r.Months[l.Kind] = 0
		if months[i] != nil {
			r.Months[l.Kind] = *months[i]
		}
	}
	return r, domain("retention", err, false)
}

// graceDays is how many days pass before changed terms erase anything, so that a slip
// can be mended: a whole day at the least (judgement).
const graceDays = 2

// lockTerms keeps all terms of the salon as they are (SHARE) or for whoever writes them
// (NO KEY UPDATE), the one about health, too, until the transaction is over. There may be
// no row of the others.
func (t *Tx) lockTerms(ctx context.Context, how string) error {
	_, err := t.tx.Exec(ctx, `SELECT FROM salon WHERE salon_id = $1 FOR `+how, t.salon)
	return domain("retention", err, false)
}

// SetRetention writes terms within TermsAllowed when their version is still
// r.Version, and returns them as they are then; otherwise scheduling.ErrStale. What
// is to be erased by other terms than before goes on the second day from today at the
// soonest, today being by the salon's calendar. Who writes them as they were has seen to them.
func (t *Tx) SetRetention(ctx context.Context, r Retention, today date.Date) (Retention, error) {
	if err := t.lockTerms(ctx, "NO KEY UPDATE"); err != nil {
		return r, err
	}
	was, err := t.Retention(ctx)
	if err != nil {
		return r, err
	}
	r.From = was.StartsOn(r.Months, today)
	r.Unread = false
	args := []any{t.salon, r.Version, r.From.String(), today.String()}
	columns, values, set := "", "", ""
	for i, l := range TermsAllowed {
		columns += ", " + l.Kind.column()
		values += fmt.Sprintf(", $%d::smallint", i+5)
		set += fmt.Sprintf(", %s = $%d", l.Kind.column(), i+5)
		var months *int
		if n := r.Months[l.Kind]; n > 0 {
			months = &n
		}
		args = append(args, months)
	}
	err = t.tx.QueryRow(ctx, `
		INSERT INTO retention_rule AS a (salon_id, from_date, version, read_at`+columns+`)
		SELECT $1, $3::text::date, 2, $4::text::date`+values+` WHERE $2 = 1 OR EXISTS (SELECT 1 FROM retention_rule WHERE salon_id = $1)
		ON CONFLICT (salon_id) DO UPDATE SET from_date = $3::text::date, version = a.version + 1, read_at = $4::text::date`+set+` WHERE a.version = $2
		RETURNING version`, args...).Scan(&r.Version)
	if errors.Is(err, pgx.ErrNoRows) {
		return r, scheduling.ErrStale
	}
	return r, domain("retention", err, false)
}

// StartsOn is before which day nothing would be erased if the terms became others
// today; the zero date is no limit.
func (r Retention) StartsOn(months map[DataKind]int, today date.Date) date.Date {
	return StartsOn(r.From, !maps.Equal(months, r.Months), today)
}

// StartsOn is the day before which nothing goes by a term that holds from a day already,
// the zero date for none, if it were changed today, which is by the salon's calendar: at
// least graceDays from today. The term for what is about health has a day of its own.
func StartsOn(from date.Date, changed bool, today date.Date) date.Date {
	if soonest := today.Add(graceDays); changed && soonest.After(from) {
		return soonest
	}
	return from
}

// RetentionRun is the last time that a kind was looked at and done with.
type RetentionRun struct {
	Kind   DataKind   `db:"kind"`
	Day    date.Date  `db:"day"`      // of the salon's calendar
	Erased int        `db:"erased"`   // on that day
	Ended  *time.Time `db:"ended_at"` // nil while it is not done; the next day's run ends one that was cut short
}

// RetentionRuns lists the last runs.
func (t *Tx) RetentionRuns(ctx context.Context) ([]RetentionRun, error) {
	return collect[RetentionRun](ctx, t, "retention runs", `SELECT kind, day::text AS day, erased, ended_at FROM retention_run WHERE salon_id = $1 ORDER BY kind`, t.salon)
}

// term is what is too old: what ended before a moment, which is the start of the day
// after a date of the salon's calendar.
type term struct {
	before time.Time
	day    date.Date
}

// termOf is the term of so many months as it stands on a day: what happened on a date
// is too old on that date so many months later, and on the first of the next month
// where that month has no such date.
func termOf(loc *time.Location, on date.Date, months int) term {
	first := date.New(on.Year(), on.Month(), 1).AddDate(0, -months, 0)
	last := first.AddDate(0, 1, -1)
	day := last
	if on.Day() < last.Day() {
		day = first.Add(date.PeriodOfDays(on.Day() - 1))
	}
	before, _ := scheduling.DayBounds(loc, day.Add(1))
	return term{before, day}
}
