package store

import (
	"context"
	"fmt"
	"slices"

	"chairblock/scheduling"

	"github.com/jackc/pgx/v5"
	"github.com/rickb777/date"
)

// StaffRota are weeks of a person that hold instead of her standing week between
// two dates of the salon's calendar, taking turns.
type StaffRota struct {
	ID, Staff string
	First     date.Date
	Last      *date.Date // included; nil: until further notice
	// Weeks are 1 to 4: the windows of the week, Monday to Sunday, in which First
	// lies, and of those after it.
	Weeks   [][]Window
	Version int64
}

const rotaQuery = `
	SELECT r.rota_id, r.staff_id, r.first_date::text, r.last_date::text, r.weeks, r.version,
		coalesce(w.week, 0), coalesce(w.weekday, 0), coalesce(w.kind, ''), coalesce(w.starts, 0), coalesce(w.ends, 0)
	FROM staff_rota r LEFT JOIN staff_rota_hours w USING (salon_id, rota_id)
	WHERE r.salon_id = $1 AND r.staff_id = $2 AND `

func (t *Tx) staffRotas(ctx context.Context, where string, args ...any) ([]StaffRota, error) {
	rows, err := t.tx.Query(ctx, rotaQuery+where+` ORDER BY r.first_date, r.rota_id, w.week, w.weekday, w.kind DESC, w.starts`, append([]any{t.salon}, args...)...)
	if err != nil {
		return nil, domain("weeks by date", err, false)
	}
	var out []StaffRota
	var r StaffRota
	var weeks, week int
	var w Window
	_, err = pgx.ForEachRow(rows, []any{&r.ID, &r.Staff, &r.First, &r.Last, &weeks, &r.Version, &week, &w.Weekday, &w.Kind, &w.From, &w.To}, func() error {
		if n := len(out); n == 0 || out[n-1].ID != r.ID {
			x := r
			x.Weeks = make([][]Window, weeks)
			if r.Last != nil {
				last := *r.Last
				x.Last = &last
			}
			out = append(out, x)
		}
		if week > 0 {
			x := &out[len(out)-1].Weeks[week-1]
			*x = append(*x, w)
		}
		return nil
	})
	return out, domain("weeks by date", err, false)
}

// StaffRotas lists the weeks by date of a person that are not over on from, by
// their first date.
func (t *Tx) StaffRotas(ctx context.Context, staff string, from date.Date) ([]StaffRota, error) {
	return t.staffRotas(ctx, `(r.last_date IS NULL OR r.last_date >= $3::text::date)`, staff, from.String())
}

// StaffRotaByID returns weeks by date of a person, or scheduling.ErrNotFound.
func (t *Tx) StaffRotaByID(ctx context.Context, staff, id string) (StaffRota, error) {
	list, err := t.staffRotas(ctx, `r.rota_id = $3`, staff, id)
	if err == nil {
		err = one("weeks by date", int64(len(list)), nil)
	}
	if err != nil {
		return StaffRota{}, err
	}
	return list[0], nil
}

// AddStaffRota notes weeks by date and returns them. A *scheduling.InvalidError
// says that others hold on one of their dates.
func (t *Tx) AddStaffRota(ctx context.Context, r StaffRota) (StaffRota, error) {
	if err := t.LockRota(ctx); err != nil {
		return r, err
	}
	r.ID = NewID()
	if err := t.apart(ctx, r); err != nil {
		return r, err
	}
	_, err := t.tx.Exec(ctx, `INSERT INTO staff_rota (salon_id, rota_id, staff_id, first_date, last_date, weeks) VALUES ($1, $2, $3, $4::text::date, $5::text::date, $6)`,
		t.salon, r.ID, r.Staff, r.First.String(), dateOrNull(r.Last), len(r.Weeks))
	if err != nil {
		return r, domain("add weeks by date", err, false)
	}
	if err := t.addRotaHours(ctx, r); err != nil {
		return r, err
	}
	return t.StaffRotaByID(ctx, r.Staff, r.ID)
}

// SetStaffRota replaces weeks by date whose version is still r.Version, else
// scheduling.ErrStale; otherwise it is AddStaffRota and returns its errors.
func (t *Tx) SetStaffRota(ctx context.Context, r StaffRota) (StaffRota, error) {
	if err := t.LockRota(ctx); err != nil {
		return r, err
	}
	old, err := t.StaffRotaByID(ctx, r.Staff, r.ID)
	if err != nil {
		return r, err
	}
	if old.Version != r.Version {
		return r, scheduling.ErrStale
	}
	if err := t.apart(ctx, r); err != nil {
		return r, err
	}
	_, err = t.tx.Exec(ctx, `UPDATE staff_rota SET first_date = $3::text::date, last_date = $4::text::date, weeks = $5, version = version + 1
		WHERE salon_id = $1 AND rota_id = $2`, t.salon, r.ID, r.First.String(), dateOrNull(r.Last), len(r.Weeks))
	if err != nil {
		return r, domain("set weeks by date", err, false)
	}
	if slices.EqualFunc(old.Weeks, r.Weeks, sameHours) {
		return t.StaffRotaByID(ctx, r.Staff, r.ID)
	}
	if _, err := t.tx.Exec(ctx, `DELETE FROM staff_rota_hours WHERE salon_id = $1 AND rota_id = $2`, t.salon, r.ID); err != nil {
		return r, domain("set weeks by date", err, false)
	}
	if err := t.addRotaHours(ctx, r); err != nil {
		return r, err
	}
	return t.StaffRotaByID(ctx, r.Staff, r.ID)
}

// DeleteStaffRota takes weeks by date back, or returns scheduling.ErrNotFound.
func (t *Tx) DeleteStaffRota(ctx context.Context, staff, id string) error {
	if err := t.LockRota(ctx); err != nil {
		return err
	}
	tag, err := t.tx.Exec(ctx, `DELETE FROM staff_rota WHERE salon_id = $1 AND staff_id = $2 AND rota_id = $3`, t.salon, staff, id)
	return one("weeks by date", tag.RowsAffected(), err)
}

func (t *Tx) addRotaHours(ctx context.Context, r StaffRota) error {
	const q = `INSERT INTO staff_rota_hours (salon_id, rota_id, week, weekday, kind, starts, ends) VALUES ($1, $2, $3, $4, $5, $6, $7)`
	var b pgx.Batch
	for i, week := range r.Weeks {
		for _, w := range week {
			b.Queue(q, t.salon, r.ID, i+1, w.Weekday, w.Kind, w.From, w.To)
		}
	}
	return domain("hours of weeks by date", t.tx.SendBatch(ctx, &b).Close(), false)
}

// apart returns a *scheduling.InvalidError when other weeks by date of the same
// person hold on a date of r.
func (t *Tx) apart(ctx context.Context, r StaffRota) error {
	list, err := t.staffRotas(ctx, `r.rota_id <> $3 AND daterange(r.first_date, r.last_date, '[]') && daterange($4::text::date, $5::text::date, '[]')`,
		r.Staff, r.ID, r.First.String(), dateOrNull(r.Last))
	if err != nil || len(list) == 0 {
		return err
	}
	other := list[0]
	const words = "2 January 2006"
	until, want := "until further notice", "other dates, once those have an end"
	if other.Last != nil {
		until, want = "to "+other.Last.Format(words), "a date after "+other.Last.Format(words)
	}
	e := scheduling.InvalidError{Field: "first_date", Want: want,
		Problem: fmt.Sprintf("meets other weeks by date of the same person, which hold from %s %s", other.First.Format(words), until)}
	if r.First.Before(other.First) {
		e.Field, e.Want = "last_date", "a date before "+other.First.Format(words)
	}
	return &e
}

func dateOrNull(d *date.Date) *string {
	if d == nil {
		return nil
	}
	s := d.String()
	return &s
}
