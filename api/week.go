package api

import (
	"context"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// daysOfWeek is how many days are shown at once; freeFrom is the shortest stretch
// that is listed as free: less takes no more than a dry cut (judgement).
const (
	daysOfWeek = 7
	freeFrom   = 60 * time.Minute
)

// SevenDaysBody is seven days of the salon at a glance.
type SevenDaysBody struct {
	From     string          `json:"first_date" format:"date"`
	TimeZone string          `json:"time_zone"`
	AsOf     time.Time       `json:"as_of"`
	Days     []DayGlanceBody `json:"days" nullable:"false"`
}

// DayGlanceBody is one of them.
type DayGlanceBody struct {
	Date   string             `json:"date" format:"date"`
	Open   []SpanBody         `json:"open" nullable:"false" doc:"Opening windows; none on a day on which the salon is closed"`
	Visits int                `json:"visits" doc:"How many are booked or pencilled"`
	People []PersonGlanceBody `json:"people" nullable:"false" doc:"Who is in or has something booked"`
}

// PersonGlanceBody is one person on one day.
type PersonGlanceBody struct {
	UnitID string     `json:"unit_id"`
	Name   string     `json:"name"`
	Booked int        `json:"booked_minutes" doc:"In which the person is needed"`
	Free   []SpanBody `json:"free" nullable:"false" doc:"Stretches of an hour or more in which the person is in and not needed"`
}

type weekInput struct {
	Date string `path:"date" format:"date" doc:"The first of the seven days"`
}

func (s *Server) weekRoutes() {
	route(s, huma.Operation{OperationID: "get-week", Method: http.MethodGet, Path: "/weeks/{date}",
		Summary: "Seven days at a glance: who is booked for how long, and free when"}, s.getWeek)
}

func (s *Server) getWeek(ctx context.Context, in *weekInput) (*found[SevenDaysBody], error) {
	var f scheduling.Faults
	first := day(&f, "path.date", in.Date)
	if err := f.Err(); err != nil {
		return nil, err
	}
	w, err := s.week(ctx, first)
	if err != nil {
		return nil, err
	}
	out := SevenDaysBody{From: first.String(), TimeZone: w.n.row.Zone, AsOf: w.asOf.In(w.n.loc), Days: []DayGlanceBody{}}
	for i := range daysOfWeek {
		out.Days = append(out.Days, w.day(first.Add(date.PeriodOfDays(i))))
	}
	return &found[SevenDaysBody]{Body: out}, nil
}

// weekView is several days read at once.
type weekView struct {
	n      salonDay
	asOf   time.Time
	first  date.Date
	h      openings.Horizon
	shop   openings.Shop
	names  map[string]string
	staff  []store.Staff
	visits []store.Visit
	blocks map[string][]store.DayBlock
}

// week reads seven days of the caller's salon.
func (s *Server) week(ctx context.Context, first date.Date) (*weekView, error) {
	w := &weekView{asOf: s.now(), first: first}
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if w.n, err = loadSalon(ctx, t); err != nil {
			return err
		}
		last := first.Add(daysOfWeek - 1)
		w.h = openings.NewHorizon(w.n.loc, openings.DateRange{First: first, Last: last})
		if w.shop, err = t.LoadShop(ctx, w.h, w.asOf); err != nil {
			return err
		}
		if w.names, err = unitNames(ctx, t); err != nil {
			return err
		}
		if w.staff, err = t.StaffList(ctx); err != nil {
			return err
		}
		from, _ := scheduling.DayBounds(w.n.loc, first)
		_, to := scheduling.DayBounds(w.n.loc, last)
		if w.visits, err = t.VisitsBetween(ctx, from, to); err != nil {
			return err
		}
		w.visits = slices.DeleteFunc(w.visits, func(v store.Visit) bool { return over(v, w.asOf) })
		w.blocks, err = t.BlocksBetween(ctx, from, to)
		return err
	})
	return w, err
}

// within are the parts of spans that lie on a day.
func (w *weekView) within(list []openings.Span, d date.Date) []openings.Span {
	a, z := scheduling.DayBounds(w.n.loc, d)
	from, to := w.h.Minute(a), w.h.Minute(z)
	var out []openings.Span
	for _, s := range list {
		if s.From, s.To = max(s.From, from), min(s.To, to); s.From < s.To {
			out = append(out, s)
		}
	}
	return out
}

func (w *weekView) spans(list []openings.Span) []SpanBody {
	out := []SpanBody{}
	for _, s := range list {
		out = append(out, SpanBody{w.h.Time(s.From), w.h.Time(s.To)})
	}
	return out
}

// taken are the minutes of a day in which a unit is needed.
func (w *weekView) taken(unit string, d date.Date) []openings.Span {
	var list []openings.Span
	for _, b := range w.blocks[unit] {
		if slices.ContainsFunc(w.visits, func(v store.Visit) bool { return v.ID == b.Visit }) {
			list = append(list, openings.Span{From: w.h.Minute(b.Start), To: w.h.Minute(b.End)})
		}
	}
	slices.SortFunc(list, func(a, b openings.Span) int { return int(a.From - b.From) })
	return w.within(list, d)
}

func (w *weekView) day(d date.Date) DayGlanceBody {
	out := DayGlanceBody{Date: d.String(), Open: w.spans(w.within(w.shop.Premises, d)), People: []PersonGlanceBody{}}
	from, to := scheduling.DayBounds(w.n.loc, d)
	for _, v := range w.visits {
		if v.Start.Before(to) && v.End.After(from) && !isKept(v) && (v.State.Open() || v.State == store.Held || v.State == store.Finished || v.State == store.StoppedEarly) {
			out.Visits++
		}
	}
	for _, u := range w.shop.Units {
		if !w.person(u.ID) {
			continue
		}
		open, taken := w.within(u.Open, d), w.taken(u.ID, d)
		if len(open) == 0 && len(taken) == 0 {
			continue
		}
		p := PersonGlanceBody{UnitID: u.ID, Name: w.names[u.ID], Free: []SpanBody{}}
		for _, s := range taken {
			p.Booked += int(s.To - s.From)
		}
		closed := without([]openings.Span{{From: 0, To: w.h.Length}}, w.shop.Premises)
		for _, s := range without(open, slices.Concat(closed, w.within(u.Breaks, d), taken)) {
			if time.Duration(s.To-s.From)*time.Minute >= freeFrom {
				p.Free = append(p.Free, SpanBody{w.h.Time(s.From), w.h.Time(s.To)})
			}
		}
		out.People = append(out.People, p)
	}
	return out
}

func (w *weekView) person(unit string) bool {
	return slices.ContainsFunc(w.staff, func(p store.Staff) bool { return p.ID == unit })
}

// without cuts holes out of windows.
func without(windows, holes []openings.Span) []openings.Span {
	out := slices.Clone(windows)
	for _, h := range holes {
		var next []openings.Span
		for _, s := range out {
			if h.To <= s.From || h.From >= s.To {
				next = append(next, s)
				continue
			}
			if s.From < h.From {
				next = append(next, openings.Span{From: s.From, To: h.From})
			}
			if h.To < s.To {
				next = append(next, openings.Span{From: h.To, To: s.To})
			}
		}
		out = next
	}
	return out
}

// WeekOf draws the seven days from first of one person of the caller's salon below
// each other; "" for somebody who is not there.
func (s *Server) WeekOf(ctx context.Context, first date.Date, person string) (string, error) {
	w, err := s.week(ctx, first)
	if err != nil || !w.person(person) {
		return "", err
	}
	i := slices.IndexFunc(w.shop.Units, func(u openings.Unit) bool { return u.ID == person })
	if i < 0 {
		return "", nil
	}
	u := w.shop.Units[i]
	var week pages.WeekSmall
	for n := range daysOfWeek {
		week.Days = append(week.Days, w.small(u, first.Add(date.PeriodOfDays(n))))
	}
	return week.SVG()
}

// small is one day of a person in a strip, on the scale of the whole week.
func (w *weekView) small(u openings.Unit, d date.Date) pages.DaySmall {
	opens, closes := w.bounds()
	x := &dayView{n: w.n, date: d, h: w.h, names: w.names, visits: w.visits, blocks: w.blocks}
	s := pages.DaySmall{Name: d.Format("Mon 2"), From: wall(w.n.loc, d, opens), To: wall(w.n.loc, d, closes), Width: weekWidth,
		Open: x.timeSpans(w.within(u.Open, d)), Breaks: x.timeSpans(w.within(u.Breaks, d))}
	for _, v := range w.visits {
		if !v.Start.Before(s.To) || !v.End.After(s.From) {
			continue
		}
		if v.State == store.Held || isKept(v) {
			s.Taken = append(s.Taken, x.outlines(v, u.ID)...)
			continue
		}
		v := asSpent(v)
		for j := range v.Steps {
			if p, ok := x.personPart(v, j, u.ID); ok {
				s.Taken = append(s.Taken, p)
			}
		}
	}
	s.Taken = slices.DeleteFunc(s.Taken, func(p pages.Part) bool { return !p.From.Before(s.To) || !p.To.After(s.From) })
	return s
}

// weekWidth is the width of a strip in units.
const weekWidth = 640

// bounds are the minutes of the day from when to when the strips reach: as on the
// board, but the same for all days.
func (w *weekView) bounds() (opens, closes int) {
	opens, closes = 24*60, 0
	for i := range daysOfWeek {
		d := w.first.Add(date.PeriodOfDays(i))
		for _, s := range w.within(w.shop.Premises, d) {
			a, z := w.h.Time(s.From), w.h.Time(s.To)
			opens = min(opens, a.Hour()*60)
			closes = max(closes, hoursUp(z, d))
		}
	}
	if opens >= closes {
		return 9 * 60, 18 * 60
	}
	return opens, min(closes, 24*60)
}

// hoursUp is what the clock shows at t, rounded up to a full hour, in minutes of the
// day d: 24 hours for whatever lies after it.
func hoursUp(t time.Time, d date.Date) int {
	if date.NewAt(t).After(d) {
		return 24 * 60
	}
	return (t.Hour()*60 + t.Minute() + 59) / 60 * 60
}
