package store

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/rickb777/date"
)

// Sources of a private calendar.
const (
	PrivateURL  = "url"  // fetched from an address again and again
	PrivateFile = "file" // handed in by somebody
)

// PrivateCalendar is a person's private calendar as far as it may be shown: of
// its address the host, of its content the busy times.
type PrivateCalendar struct {
	ID         string           `db:"private_calendar_id"`
	Staff      string           `db:"staff_id"`
	Label      string           `db:"label"`
	Source     string           `db:"source"` // one of the sources above
	Host       string           `db:"host"`
	AllDayBusy bool             `db:"all_day_busy"` // whether events of whole days count
	Active     bool             `db:"active"`
	Fetched    *time.Time       `db:"fetched_at"` // tried last, nil: never
	OK         *time.Time       `db:"ok_at"`      // read last, or known to be the same as then
	Due        time.Time        `db:"due_at"`     // of the next try
	Failures   int              `db:"failures"`   // since it was read last
	Gone       int              `db:"gone"`       // of these, how often in a row it was not there
	Failure    string           `db:"failure"`    // why the last try failed, "" when it did not
	Problems   []PrivateProblem `db:"problems"`   // what of the last good file could not be read
	Zone       string           `db:"zone"`       // in which the busy times were worked out, "" when none were
	From       string           `db:"from_date"`  // for which days they were, as 2026-06-11
	To         string           `db:"to_date"`    // not included
	Intervals  int              `db:"intervals"`  // how many busy times there are
	HasFile    bool             `db:"has_file"`   // a good file was read once
	Version    int64            `db:"version"`    // of what people set
	Created    time.Time        `db:"created_at"`
}

// PrivateProblem is something in a calendar that could not be read. It holds no
// words of the event, nor its UID, in which some programs put them.
type PrivateProblem struct {
	Line  int    `json:"line,omitempty"`  // of the file, 0 when it is about all of it
	Where string `json:"where,omitempty"` // such as DTSTART
	What  string `json:"what"`
}

// BusySpan is a time at which somebody is busy, in whole minutes.
type BusySpan struct {
	From time.Time `db:"starts_at"`
	To   time.Time `db:"ends_at"`
}

// PrivateBusy is what a calendar says about some days, To not included, worked
// out in a zone.
type PrivateBusy struct {
	Zone     string
	From, To date.Date
	Spans    []BusySpan // by start, not touching each other
}

// BusyChange is what an import did to the absences of a person.
type BusyChange struct {
	Added []Absence
	Gone  []string // ids
}

// PrivateReading is a good file as it is kept.
type PrivateReading struct {
	File         []byte // without its words
	Hash         []byte // SHA-256 of the file as it came
	ETag         string // as the server gave them
	LastModified string
	Problems     []PrivateProblem
}

const privateColumns = `private_calendar_id, staff_id, label, source, host, all_day_busy, active, fetched_at, ok_at, due_at, failures, gone, failure,
	problems, zone, coalesce(from_date::text, '') AS from_date, coalesce(to_date::text, '') AS to_date, intervals,
	num_nonnulls(file, file_sealed) = 1 AS has_file, version, created_at`

// PrivateCalendars lists private calendars, of one person only unless staff is
// empty, the oldest first.
func (t *Tx) PrivateCalendars(ctx context.Context, staff string) ([]PrivateCalendar, error) {
	return collect[PrivateCalendar](ctx, t, "private calendars", `SELECT `+privateColumns+` FROM private_calendar
		WHERE salon_id = $1 AND ($2 = '' OR staff_id = $2) ORDER BY private_calendar_id`, t.salon, staff)
}

// PrivateCalendarByID returns one private calendar, or scheduling.ErrNotFound.
func (t *Tx) PrivateCalendarByID(ctx context.Context, id string) (PrivateCalendar, error) {
	return t.privateCalendar(ctx, id, "")
}

// LockPrivateCalendar is PrivateCalendarByID for somebody who will change it:
// nobody else does until the transaction ends.
func (t *Tx) LockPrivateCalendar(ctx context.Context, id string) (PrivateCalendar, error) {
	return t.privateCalendar(ctx, id, "FOR UPDATE")
}

func (t *Tx) privateCalendar(ctx context.Context, id, lock string) (PrivateCalendar, error) {
	list, err := collect[PrivateCalendar](ctx, t, "private calendar", `SELECT `+privateColumns+` FROM private_calendar
		WHERE salon_id = $1 AND private_calendar_id = $2 `+lock, t.salon, id)
	if err == nil {
		err = one("private calendar", int64(len(list)), nil)
	}
	if err != nil {
		return PrivateCalendar{}, err
	}
	return list[0], nil
}

// The places where secrets of a private calendar are sealed, each with its id.
const (
	addressPlace = "private_calendar_address"
	filePlace    = "private_calendar_file"
)

// hidden is a secret as it is written: as it is while the service has no key, else
// sealed. Of the two one is nil.
func (t *Tx) hidden(secret []byte, place, id string) (plain, sealed []byte, err error) {
	sealed, err = t.sealed(secret, place, id)
	if errors.Is(err, ErrNoHealthKey) {
		return secret, nil, nil
	}
	return nil, sealed, err
}

// revealed is the secret that hidden made the two from, nil when both are.
func (t *Tx) revealed(plain, sealed []byte, place, id string) ([]byte, error) {
	if sealed == nil {
		return plain, nil
	}
	return t.opened(sealed, place, id)
}

// AddPrivateCalendar adds a calendar with its staff, label, source, host and due
// time; address is where it is fetched, "" for a file. It locks the person, so that
// her calendars can be counted, and returns scheduling.ErrNotFound when she has
// left.
func (t *Tx) AddPrivateCalendar(ctx context.Context, c PrivateCalendar, address string) (PrivateCalendar, error) {
	tag, err := t.tx.Exec(ctx, `SELECT 1 FROM unit WHERE salon_id = $1 AND unit_id = $2 AND active FOR NO KEY UPDATE`, t.salon, c.Staff)
	if err := one("staff", tag.RowsAffected(), err); err != nil {
		return c, err
	}
	c.ID = NewID()
	var plain, sealed []byte
	if c.Source == PrivateURL {
		if plain, sealed, err = t.hidden([]byte(address), addressPlace, c.ID); err != nil {
			return c, err
		}
	}
	_, err = t.tx.Exec(ctx, `
		INSERT INTO private_calendar (salon_id, private_calendar_id, staff_id, label, source, host, address, address_sealed, all_day_busy, due_at)
		VALUES ($1, $2, $3, $4, $5, $6, convert_from($7::bytea, 'UTF8'), $8, $9, $10)`,
		t.salon, c.ID, c.Staff, c.Label, c.Source, c.Host, plain, sealed, c.AllDayBusy, c.Due)
	if err != nil {
		return c, domain("add private calendar", err, false)
	}
	return t.PrivateCalendarByID(ctx, c.ID)
}

// UpdatePrivateCalendar changes label, AllDayBusy and Active of the calendar that
// still has c.Version, and when it is due. It returns scheduling.ErrStale when
// somebody else changed it, scheduling.ErrNotFound when it is not there. Whoever
// is fetching it meanwhile fetches in vain.
func (t *Tx) UpdatePrivateCalendar(ctx context.Context, c PrivateCalendar) (PrivateCalendar, error) {
	tag, err := t.tx.Exec(ctx, `
		UPDATE private_calendar SET label = $4, all_day_busy = $5, active = $6, due_at = $7, version = version + 1, fetching = NULL, fetching_until = NULL
		WHERE salon_id = $1 AND private_calendar_id = $2 AND version = $3`, t.salon, c.ID, c.Version, c.Label, c.AllDayBusy, c.Active, c.Due)
	if err != nil {
		return c, domain("update private calendar", err, false)
	}
	if tag.RowsAffected() == 0 {
		return c, t.staleOrMissing(ctx, `SELECT 1 FROM private_calendar WHERE salon_id = $1 AND private_calendar_id = $2`, c.ID)
	}
	return t.PrivateCalendarByID(ctx, c.ID)
}

// DeletePrivateCalendar removes the calendar that still has this version with
// its absences. It returns scheduling.ErrStale or scheduling.ErrNotFound.
func (t *Tx) DeletePrivateCalendar(ctx context.Context, id string, version int64) error {
	*t.altered = true
	tag, err := t.tx.Exec(ctx, `DELETE FROM private_calendar WHERE salon_id = $1 AND private_calendar_id = $2 AND version = $3`, t.salon, id, version)
	if err != nil {
		return domain("delete private calendar", err, false)
	}
	if tag.RowsAffected() == 0 {
		return t.staleOrMissing(ctx, `SELECT 1 FROM private_calendar WHERE salon_id = $1 AND private_calendar_id = $2`, id)
	}
	return nil
}

// ReplacePrivateFile keeps the file that somebody handed in in place of the one
// before, under a new version. The calendar is locked. Its busy times are set
// with SetPrivateBusy.
func (t *Tx) ReplacePrivateFile(ctx context.Context, id string, r PrivateReading, now, due time.Time) error {
	if err := t.KeepPrivateReading(ctx, id, r, now); err != nil {
		return err
	}
	_, err := t.tx.Exec(ctx, `UPDATE private_calendar SET due_at = $3, version = version + 1, fetching = NULL, fetching_until = NULL
		WHERE salon_id = $1 AND private_calendar_id = $2`, t.salon, id, due)
	return domain("replace private file", err, false)
}

// KeepPrivateReading keeps a good file and what could not be read in it, or
// returns scheduling.ErrNotFound.
func (t *Tx) KeepPrivateReading(ctx context.Context, id string, r PrivateReading, now time.Time) error {
	plain, sealed, err := t.hidden(r.File, filePlace, id)
	if err != nil {
		return err
	}
	if r.Problems == nil {
		r.Problems = []PrivateProblem{}
	}
	tag, err := t.tx.Exec(ctx, `
		UPDATE private_calendar SET file = $3, file_sealed = $4, hash = $5, etag = $6, last_modified = $7, problems = $8,
			fetched_at = $9, ok_at = $9, failures = 0, gone = 0, failure = ''
		WHERE salon_id = $1 AND private_calendar_id = $2`,
		t.salon, id, plain, sealed, r.Hash, r.ETag, r.LastModified, r.Problems, now)
	return one("private calendar", tag.RowsAffected(), err)
}

// PrivateFileOf returns the last good file of a calendar, without its words, nil
// when there is none. It returns scheduling.ErrNotFound when there is no such
// calendar, ErrNoHealthKey or an *UnknownKeyError when the file is sealed with a
// key that is not there, and ErrSealBroken.
func (t *Tx) PrivateFileOf(ctx context.Context, id string) ([]byte, error) {
	var plain, sealed []byte
	err := t.tx.QueryRow(ctx, `SELECT file, file_sealed FROM private_calendar WHERE salon_id = $1 AND private_calendar_id = $2`, t.salon, id).Scan(&plain, &sealed)
	if err != nil {
		return nil, domain("private file", err, false)
	}
	return t.revealed(plain, sealed, filePlace, id)
}

// SetPrivateBusy makes the absences that come from a calendar those of b: what
// is the same stays, what is new is added, the rest is taken back. It locks the
// calendar, and the days of what is new against bookers. Absences may lie over
// visits, see PrivateConflicts.
func (t *Tx) SetPrivateBusy(ctx context.Context, id string, b PrivateBusy) (BusyChange, error) {
	var done BusyChange
	c, err := t.LockPrivateCalendar(ctx, id)
	if err != nil {
		return done, err
	}
	have, err := collect[BusySpan](ctx, t, "private busy", `SELECT starts_at, ends_at FROM absence
		WHERE salon_id = $1 AND private_calendar_id = $2`, t.salon, id)
	if err != nil {
		return done, err
	}
	if done.Added, err = t.addBusy(ctx, c, missingFrom(have, b.Spans)); err != nil {
		return done, err
	}
	from, to := ends(missingFrom(b.Spans, have))
	if done.Gone, err = t.dropBusy(ctx, `DELETE FROM absence a USING unnest($3::timestamptz[], $4::timestamptz[]) x("from", "to")
		WHERE a.salon_id = $1 AND a.private_calendar_id = $2 AND a.starts_at = x.from AND a.ends_at = x.to RETURNING absence_id`, t.salon, id, from, to); err != nil {
		return done, err
	}
	_, err = t.tx.Exec(ctx, `UPDATE private_calendar SET zone = $3, from_date = $4::text::date, to_date = $5::text::date, intervals = $6
		WHERE salon_id = $1 AND private_calendar_id = $2`, t.salon, id, b.Zone, b.From.String(), b.To.String(), len(b.Spans))
	return done, domain("private busy", err, false)
}

// ClearPrivateBusy takes back the absences that come from a calendar, or returns
// scheduling.ErrNotFound.
func (t *Tx) ClearPrivateBusy(ctx context.Context, id string) (BusyChange, error) {
	tag, err := t.tx.Exec(ctx, `UPDATE private_calendar SET zone = '', from_date = NULL, to_date = NULL, intervals = 0
		WHERE salon_id = $1 AND private_calendar_id = $2`, t.salon, id)
	if err := one("private calendar", tag.RowsAffected(), err); err != nil {
		return BusyChange{}, err
	}
	gone, err := t.dropBusy(ctx, `DELETE FROM absence WHERE salon_id = $1 AND private_calendar_id = $2 RETURNING absence_id`, t.salon, id)
	return BusyChange{Gone: gone}, err
}

// missingFrom is what of spans is not in list.
func missingFrom(list, spans []BusySpan) []BusySpan {
	in := make(map[[2]int64]bool, len(list))
	key := func(s BusySpan) [2]int64 { return [2]int64{s.From.Unix(), s.To.Unix()} }
	for _, s := range list {
		in[key(s)] = true
	}
	var out []BusySpan
	for _, s := range spans {
		if !in[key(s)] {
			out = append(out, s)
		}
	}
	return out
}

func (t *Tx) addBusy(ctx context.Context, c PrivateCalendar, spans []BusySpan) ([]Absence, error) {
	if len(spans) == 0 {
		return nil, nil
	}
	var keys, ids []string
	added := make([]Absence, len(spans))
	for i, s := range spans {
		added[i] = Absence{ID: NewID(), Unit: c.Staff, From: s.From, To: s.To, Calendar: &c.ID}
		keys, ids = append(keys, t.dayKeys(c.Staff, s.From, s.To)...), append(ids, added[i].ID)
	}
	if err := t.lockKeys(ctx, false, keys); err != nil {
		return nil, err
	}
	*t.altered = true
	from, to := ends(spans)
	_, err := t.tx.Exec(ctx, `INSERT INTO absence (salon_id, absence_id, unit_id, starts_at, ends_at, private_calendar_id)
		SELECT $1, x.id, $2, x.from, x.to, $3 FROM unnest($4::text[], $5::timestamptz[], $6::timestamptz[]) x(id, "from", "to")`,
		t.salon, c.Staff, c.ID, ids, from, to)
	return added, domain("private busy", err, false)
}

// dropBusy runs a query that deletes absences and returns their ids.
func (t *Tx) dropBusy(ctx context.Context, q string, args ...any) ([]string, error) {
	rows, err := t.tx.Query(ctx, q, args...)
	if err != nil {
		return nil, domain("private busy", err, false)
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[string])
	*t.altered = *t.altered || len(ids) > 0
	return ids, domain("private busy", err, false)
}

func ends(spans []BusySpan) (from, to []time.Time) {
	for _, s := range spans {
		from, to = append(from, s.From), append(to, s.To)
	}
	return from, to
}

// PrivateConflict is a visit over which an absence lies.
type PrivateConflict struct {
	Absence string `db:"absence_id"`
	Visit   string `db:"visit_id"`
}

// PrivateConflicts lists the visits over which absences of a calendar lie, both
// not over at now, by visit.
func (t *Tx) PrivateConflicts(ctx context.Context, id string, now time.Time) ([]PrivateConflict, error) {
	return collect[PrivateConflict](ctx, t, "private conflicts", `
		SELECT DISTINCT a.absence_id, b.visit_id FROM absence a JOIN block b ON `+blocksOf("a.salon_id", "a.unit_id")+`
			AND b.span && tstzrange(a.starts_at, a.ends_at) AND b.starts_at < a.ends_at AND b.ends_at > a.starts_at
		WHERE a.salon_id = $1 AND a.private_calendar_id = $2 AND a.ends_at > $3 AND b.ends_at > $3 ORDER BY 2, 1`, t.salon, id, now)
}

// FromPrivateCalendar says whether an absence comes from a private calendar. It
// returns scheduling.ErrNotFound when there is no such absence.
func (t *Tx) FromPrivateCalendar(ctx context.Context, absence string) (bool, error) {
	var yes bool
	err := t.tx.QueryRow(ctx, `SELECT private_calendar_id IS NOT NULL FROM absence WHERE salon_id = $1 AND absence_id = $2`, t.salon, absence).Scan(&yes)
	return yes, domain("absence", err, false)
}
