package store

import (
	"cmp"
	"context"
	"slices"

	"chairblock/scheduling"

	"github.com/jackc/pgx/v5"
	"github.com/rickb777/date"
)

// StaffDay is one date on which a person works otherwise than in any week, or not
// at all.
type StaffDay struct {
	Staff   string
	Date    date.Date
	Windows []Window // their Weekday is that of Date; none of work: she does not work
	Version int64
}

func (t *Tx) staffDays(ctx context.Context, where string, args ...any) ([]StaffDay, error) {
	rows, err := t.tx.Query(ctx, `
		SELECT d.staff_id, d.day::text, d.version, coalesce(w.kind, ''), coalesce(w.starts, 0), coalesce(w.ends, 0)
		FROM staff_day d LEFT JOIN staff_day_hours w USING (salon_id, staff_id, day)
		WHERE d.salon_id = $1 AND d.staff_id = $2 AND `+where+` ORDER BY d.day, w.kind DESC, w.starts`, append([]any{t.salon}, args...)...)
	if err != nil {
		return nil, domain("single days", err, false)
	}
	var out []StaffDay
	var d StaffDay
	var w Window
	_, err = pgx.ForEachRow(rows, []any{&d.Staff, &d.Date, &d.Version, &w.Kind, &w.From, &w.To}, func() error {
		if n := len(out); n == 0 || out[n-1].Date != d.Date {
			out = append(out, d)
		}
		if w.Kind != "" {
			w.Weekday = (int(d.Date.Weekday())+6)%7 + 1
			x := &out[len(out)-1]
			x.Windows = append(x.Windows, w)
		}
		return nil
	})
	return out, domain("single days", err, false)
}

// StaffDays lists the single days of a person from a date on.
func (t *Tx) StaffDays(ctx context.Context, staff string, from date.Date) ([]StaffDay, error) {
	return t.staffDays(ctx, `d.day >= $3::text::date`, staff, from.String())
}

// StaffDayOn returns the single day of a person on a date, or
// scheduling.ErrNotFound.
func (t *Tx) StaffDayOn(ctx context.Context, staff string, on date.Date) (StaffDay, error) {
	list, err := t.staffDays(ctx, `d.day = $3::text::date`, staff, on.String())
	if err == nil {
		err = one("single day", int64(len(list)), nil)
	}
	if err != nil {
		return StaffDay{}, err
	}
	return list[0], nil
}

// AddStaffDay notes a single day and returns it. A *scheduling.InvalidError says
// that one stands on its date already.
func (t *Tx) AddStaffDay(ctx context.Context, d StaffDay) (StaffDay, error) {
	if err := t.LockRota(ctx); err != nil {
		return d, err
	}
	tag, err := t.tx.Exec(ctx, `INSERT INTO staff_day (salon_id, staff_id, day) VALUES ($1, $2, $3::text::date) ON CONFLICT DO NOTHING`,
		t.salon, d.Staff, d.Date.String())
	if err != nil {
		return d, domain("add single day", err, false)
	}
	if tag.RowsAffected() == 0 {
		return d, &scheduling.InvalidError{Field: "date", Problem: "has hours of its own already", Want: "another date, or a change of what stands there"}
	}
	if err := t.addDayHours(ctx, d); err != nil {
		return d, err
	}
	return t.StaffDayOn(ctx, d.Staff, d.Date)
}

// SetStaffDay replaces the hours of a single day whose version is still d.Version,
// else it returns scheduling.ErrStale.
func (t *Tx) SetStaffDay(ctx context.Context, d StaffDay) (StaffDay, error) {
	if err := t.LockRota(ctx); err != nil {
		return d, err
	}
	old, err := t.StaffDayOn(ctx, d.Staff, d.Date)
	if err != nil {
		return d, err
	}
	if old.Version != d.Version {
		return d, scheduling.ErrStale
	}
	const where = ` WHERE salon_id = $1 AND staff_id = $2 AND day = $3::text::date`
	todo := []string{`UPDATE staff_day SET version = version + 1` + where}
	other := !sameHours(old.Windows, d.Windows)
	if other {
		todo = append(todo, `DELETE FROM staff_day_hours`+where)
	}
	for _, q := range todo {
		if _, err := t.tx.Exec(ctx, q, t.salon, d.Staff, d.Date.String()); err != nil {
			return d, domain("set single day", err, false)
		}
	}
	if other {
		if err := t.addDayHours(ctx, d); err != nil {
			return d, err
		}
	}
	return t.StaffDayOn(ctx, d.Staff, d.Date)
}

// sameHours reports whether two lists hold the same windows, in whatever order: what stays
// as it was is not written anew, since the log of changes would tell of it.
func sameHours(a, b []Window) bool {
	order := func(x, y Window) int {
		return cmp.Or(x.Weekday-y.Weekday, cmp.Compare(x.Kind, y.Kind), x.From-y.From, x.To-y.To)
	}
	return slices.Equal(slices.SortedFunc(slices.Values(a), order), slices.SortedFunc(slices.Values(b), order))
}

// DeleteStaffDay lets the person's week hold on a date again, or returns
// scheduling.ErrNotFound.
func (t *Tx) DeleteStaffDay(ctx context.Context, staff string, on date.Date) error {
	if err := t.LockRota(ctx); err != nil {
		return err
	}
	tag, err := t.tx.Exec(ctx, `DELETE FROM staff_day WHERE salon_id = $1 AND staff_id = $2 AND day = $3::text::date`, t.salon, staff, on.String())
	return one("single day", tag.RowsAffected(), err)
}

func (t *Tx) addDayHours(ctx context.Context, d StaffDay) error {
	const q = `INSERT INTO staff_day_hours (salon_id, staff_id, day, kind, starts, ends) VALUES ($1, $2, $3::text::date, $4, $5, $6)`
	var b pgx.Batch
	for _, w := range d.Windows {
		b.Queue(q, t.salon, d.Staff, d.Date.String(), w.Kind, w.From, w.To)
	}
	return domain("hours of single day", t.tx.SendBatch(ctx, &b).Close(), false)
}
