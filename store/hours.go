package store

import (
	"context"

	"chairblock/scheduling/openings"

	"github.com/jackc/pgx/v5"
	"github.com/rickb777/date"
)

// hoursLoad reads when people work. It is the only way to the hours of a person on
// a date: what stands in staff_hours alone is her standing week.
type hoursLoad struct {
	rotas map[string]*openings.WorkRota
	turns map[string]int // where the weeks of a rota id stand among those of their person
}

func newHoursLoad() hoursLoad {
	return hoursLoad{map[string]*openings.WorkRota{}, map[string]int{}}
}

// hoursQuery has $1 salon, $2 and $3 the first and the last day and $4 the person,
// null for everybody. Weeks and days come without hours, too.
const hoursQuery = `
	SELECT staff_id, '', '', '', 0, 0, weekday, kind, starts, ends FROM staff_hours
	WHERE salon_id = $1 AND ($4::text IS NULL OR staff_id = $4)
	UNION ALL
	SELECT r.staff_id, r.rota_id, r.first_date::text, coalesce(r.last_date::text, ''), r.weeks, coalesce(w.week, 0), coalesce(w.weekday, 0),
		coalesce(w.kind, ''), coalesce(w.starts, 0), coalesce(w.ends, 0)
	FROM staff_rota r LEFT JOIN staff_rota_hours w ON w.salon_id = r.salon_id AND w.rota_id = r.rota_id
	WHERE r.salon_id = $1 AND ($4::text IS NULL OR r.staff_id = $4)
		AND daterange(r.first_date, r.last_date, '[]') && daterange($2::text::date, $3::text::date, '[]')
	UNION ALL
	SELECT d.staff_id, '', d.day::text, '', 0, 0, 0, coalesce(w.kind, ''), coalesce(w.starts, 0), coalesce(w.ends, 0)
	FROM staff_day d LEFT JOIN staff_day_hours w ON w.salon_id = d.salon_id AND w.staff_id = d.staff_id AND w.day = d.day
	WHERE d.salon_id = $1 AND ($4::text IS NULL OR d.staff_id = $4) AND d.day BETWEEN $2::text::date AND $3::text::date`

// queue asks for what holds on some days and on the one before them, whose hours
// may pass midnight. An empty staff is everybody.
func (l *hoursLoad) queue(b *pgx.Batch, salon, staff string, days openings.DateRange) {
	var only *string
	if staff != "" {
		only = &staff
	}
	b.Queue(hoursQuery, salon, days.First.Add(-1).String(), days.Last.String(), only).Query(l.rows)
}

func (l *hoursLoad) rows(rows pgx.Rows) error {
	var staff, id, first, last, kind string
	var weeks, week int
	var w openings.ClockWindow
	_, err := pgx.ForEachRow(rows, []any{&staff, &id, &first, &last, &weeks, &week, &w.Weekday, &kind, &w.From, &w.To}, func() error {
		r := l.rotas[staff]
		if r == nil {
			r = &openings.WorkRota{}
			l.rotas[staff] = r
		}
		switch {
		case id != "":
			t, err := l.turn(r, id, first, last, weeks)
			if err == nil && week > 0 {
				hold(&t.Weeks[week-1], kind, w)
			}
			return err
		case first != "":
			day, err := date.ParseISO(first)
			if err != nil {
				return err
			}
			if r.Single == nil {
				r.Single = map[date.Date]openings.Week{}
			}
			x := r.Single[day]
			hold(&x, kind, w)
			r.Single[day] = x
		default:
			hold(&r.Standing, kind, w)
		}
		return nil
	})
	return err
}

// turn finds the weeks in turn with an id among those of r.
func (l *hoursLoad) turn(r *openings.WorkRota, id, first, last string, weeks int) (*openings.Turns, error) {
	if at, ok := l.turns[id]; ok {
		return &r.Turns[at], nil
	}
	t := openings.Turns{Weeks: make([]openings.Week, weeks)}
	var err error
	if t.First, err = date.ParseISO(first); err != nil {
		return nil, err
	}
	if last != "" {
		end, err := date.ParseISO(last)
		if err != nil {
			return nil, err
		}
		t.Last = &end
	}
	l.turns[id] = len(r.Turns)
	r.Turns = append(r.Turns, t)
	return &r.Turns[l.turns[id]], nil
}

func hold(w *openings.Week, kind string, x openings.ClockWindow) {
	switch kind {
	case "work":
		w.Work = append(w.Work, x)
	case "break":
		w.Breaks = append(w.Breaks, x)
	}
}

// of is the rota of a person, who does not work when nothing is noted.
func (l *hoursLoad) of(staff string) openings.WorkRota {
	if r := l.rotas[staff]; r != nil {
		return *r
	}
	return openings.WorkRota{}
}

// WorkRotas returns when everybody works on some days, by person; who has no hours
// at all is left out.
func (t *Tx) WorkRotas(ctx context.Context, days openings.DateRange) (map[string]openings.WorkRota, error) {
	l := newHoursLoad()
	var b pgx.Batch
	l.queue(&b, t.salon, "", days)
	if err := t.tx.SendBatch(ctx, &b).Close(); err != nil {
		return nil, domain("work rotas", err, false)
	}
	out := make(map[string]openings.WorkRota, len(l.rotas))
	for id, r := range l.rotas {
		out[id] = *r
	}
	return out, nil
}

// WorkRota returns when one person works on some days.
func (t *Tx) WorkRota(ctx context.Context, staff string, days openings.DateRange) (openings.WorkRota, error) {
	l := newHoursLoad()
	var b pgx.Batch
	l.queue(&b, t.salon, staff, days)
	err := t.tx.SendBatch(ctx, &b).Close()
	return l.of(staff), domain("work rota", err, false)
}
