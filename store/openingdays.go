package store

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// OpeningDay is one date on which the salon opens otherwise than on its weekday.
type OpeningDay struct {
	Date    date.Date
	Windows []Window // of kind open, their Weekday that of Date; none: the salon stays shut
	Reason  string
	Version int64
}

func (t *Tx) openingDays(ctx context.Context, where string, args ...any) ([]OpeningDay, error) {
	rows, err := t.tx.Query(ctx, `SELECT day::text, opens::int[], closes::int[], reason, version FROM opening_day
		WHERE salon_id = $1 AND `+where+` ORDER BY day`, append([]any{t.salon}, args...)...)
	if err != nil {
		return nil, domain("opening days", err, false)
	}
	var out []OpeningDay
	var d OpeningDay
	var opens, closes []int
	_, err = pgx.ForEachRow(rows, []any{&d.Date, &opens, &closes, &d.Reason, &d.Version}, func() error {
		x := d
		for i := range opens {
			x.Windows = append(x.Windows, Window{Weekday: (int(d.Date.Weekday())+6)%7 + 1, Kind: "open", From: opens[i], To: closes[i]})
		}
		out = append(out, x)
		return nil
	})
	return out, domain("opening days", err, false)
}

// OpeningDays lists the dates from one on that have opening hours of their own.
func (t *Tx) OpeningDays(ctx context.Context, from date.Date) ([]OpeningDay, error) {
	return t.openingDays(ctx, `day >= $2::text::date`, from.String())
}

// OpeningDayOn returns the opening hours of a date that has its own, or
// scheduling.ErrNotFound.
func (t *Tx) OpeningDayOn(ctx context.Context, on date.Date) (OpeningDay, error) {
	list, err := t.openingDays(ctx, `day = $2::text::date`, on.String())
	if err == nil {
		err = one("opening day", int64(len(list)), nil)
	}
	if err != nil {
		return OpeningDay{}, err
	}
	return list[0], nil
}

// AddOpeningDay gives a date opening hours of its own and returns it. A
// *scheduling.InvalidError says that it has some already.
func (t *Tx) AddOpeningDay(ctx context.Context, d OpeningDay) (OpeningDay, error) {
	if err := t.LockRota(ctx); err != nil {
		return d, err
	}
	opens, closes := pairs(d.Windows)
	tag, err := t.tx.Exec(ctx, `INSERT INTO opening_day (salon_id, day, opens, closes, reason) VALUES ($1, $2::text::date, $3, $4, $5) ON CONFLICT DO NOTHING`,
		t.salon, d.Date.String(), opens, closes, d.Reason)
	if err != nil {
		return d, domain("add opening day", err, false)
	}
	if tag.RowsAffected() == 0 {
		return d, &scheduling.InvalidError{Field: "date", Problem: "has opening hours of its own already", Want: "another date, or a change of what stands there"}
	}
	return t.OpeningDayOn(ctx, d.Date)
}

// SetOpeningDay replaces the opening hours of a date whose version is still
// d.Version, else it returns scheduling.ErrStale.
func (t *Tx) SetOpeningDay(ctx context.Context, d OpeningDay) (OpeningDay, error) {
	if err := t.LockRota(ctx); err != nil {
		return d, err
	}
	old, err := t.OpeningDayOn(ctx, d.Date)
	if err != nil {
		return d, err
	}
	if old.Version != d.Version {
		return d, scheduling.ErrStale
	}
	opens, closes := pairs(d.Windows)
	_, err = t.tx.Exec(ctx, `UPDATE opening_day SET opens = $3, closes = $4, reason = $5, version = version + 1 WHERE salon_id = $1 AND day = $2::text::date`,
		t.salon, d.Date.String(), opens, closes, d.Reason)
	if err != nil {
		return d, domain("set opening day", err, false)
	}
	return t.OpeningDayOn(ctx, d.Date)
}

// DeleteOpeningDay lets the salon's week hold on a date again, or returns
// scheduling.ErrNotFound.
func (t *Tx) DeleteOpeningDay(ctx context.Context, on date.Date) error {
	if err := t.LockRota(ctx); err != nil {
		return err
	}
	tag, err := t.tx.Exec(ctx, `DELETE FROM opening_day WHERE salon_id = $1 AND day = $2::text::date`, t.salon, on.String())
	return one("opening day", tag.RowsAffected(), err)
}

func pairs(list []Window) (opens, closes []int) {
	opens, closes = []int{}, []int{}
	for _, w := range list {
		opens, closes = append(opens, w.From), append(closes, w.To)
	}
	return opens, closes
}

// OpeningRota returns when the salon opens from the day before a date on, closures
// aside: its week, and the dates with hours of their own.
func (t *Tx) OpeningRota(ctx context.Context, from date.Date) (openings.WorkRota, error) {
	week, err := t.OpeningHours(ctx)
	if err != nil {
		return openings.WorkRota{}, err
	}
	days, err := t.OpeningDays(ctx, from.Add(-1)) // whose hours may pass midnight
	out := openings.WorkRota{Standing: openings.Week{Work: clockWindows(week)}, Single: map[date.Date]openings.Week{}}
	for _, d := range days {
		out.Single[d.Date] = openings.Week{Work: clockWindows(d.Windows)}
	}
	return out, err
}

func clockWindows(list []Window) (out []openings.ClockWindow) {
	for _, w := range list {
		out = append(out, openings.ClockWindow{Weekday: w.Weekday, From: w.From, To: w.To})
	}
	return out
}
