package api

import (
	"context"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// DayWindowBody is a window of one day by the wall clock.
type DayWindowBody struct {
	From string `json:"from" doc:"Time of day" example:"09:00"`
	To   string `json:"to" doc:"Time of day; at or before from means the next day; 24:00 is midnight" example:"18:00"`
}

// SingleDayBody is one date on which a person works otherwise than in any week, or
// not at all.
type SingleDayBody struct {
	Date   string          `json:"date" format:"date"`
	Work   []DayWindowBody `json:"work" nullable:"false" maxItems:"20" doc:"Empty: she does not work on that date"`
	Breaks []DayWindowBody `json:"breaks" nullable:"false" maxItems:"20" doc:"Windows in which no visit may use the person"`
	// Shut is only said in lists, never asked for.
	Shut bool `json:"outside_opening_hours,omitempty" readOnly:"true" required:"false" doc:"Some of it lies outside the opening hours, when nothing is booked"`
	// Conflicts is filled in the answer to a change.
	Conflicts []string `json:"visits_in_conflict,omitempty" readOnly:"true" required:"false" doc:"Visits to come that do not fit any more"`
}

// WorkingDayBody says when a person works on a date, whatever it comes from.
type WorkingDayBody struct {
	Date   string          `json:"date" format:"date"`
	Holds  string          `json:"holds" enum:"standing_week,weeks_in_turn,single_day" doc:"What the hours come from: a single day comes before weeks by date, and these before the standing week"`
	Work   []DayWindowBody `json:"work" nullable:"false"`
	Breaks []DayWindowBody `json:"breaks" nullable:"false"`
	Closed bool            `json:"closed" doc:"The salon stays shut on that date, so that nobody works"`
	Shut   bool            `json:"outside_opening_hours" doc:"Some of the work lies outside the opening hours, when nothing is booked"`
}

func (s *Server) singleDayRoutes() {
	route(s, huma.Operation{OperationID: "list-single-days", Method: http.MethodGet, Path: "/staff/{id}/single-days",
		Summary: "Dates from today on that have hours of their own"}, s.listSingleDays)
	route(s, huma.Operation{OperationID: "add-single-day", Method: http.MethodPost, Path: "/staff/{id}/single-days",
		Summary: "Give one date hours of its own, or none", DefaultStatus: http.StatusCreated}, s.addSingleDay)
	route(s, huma.Operation{OperationID: "get-single-day", Method: http.MethodGet, Path: "/staff/{id}/single-days/{date}",
		Summary: "The hours of a date that has its own"}, s.getSingleDay)
	route(s, huma.Operation{OperationID: "set-single-day", Method: http.MethodPut, Path: "/staff/{id}/single-days/{date}",
		Summary: "Replace the hours of a date that has its own"}, s.setSingleDay)
	route(s, huma.Operation{OperationID: "delete-single-day", Method: http.MethodDelete, Path: "/staff/{id}/single-days/{date}",
		Summary: "Let the person's week hold on that date after all"}, s.deleteSingleDay)
	route(s, huma.Operation{OperationID: "list-working-days", Method: http.MethodGet, Path: "/staff/{id}/working-days",
		Summary: "When a person works, date by date, whatever it comes from"}, s.listWorkingDays)
}

// ByDate names a single day of a person.
type ByDate struct {
	ByID
	OnDate
}

// OnDate names a date.
type OnDate struct {
	Date string `path:"date" format:"date"`
}
type addDayInput struct {
	ByID
	Repeatable
	Body SingleDayBody
}
type setDayInput struct {
	ByDate
	Precondition
	Body SingleDayBody
}
type workingDaysInput struct {
	ByID
	First string `query:"first_date" format:"date" doc:"Left out: today"`
	Days  int    `query:"days" default:"28" minimum:"1" maximum:"62"`
}

// row reads b, whose fields stand below at.
func (b SingleDayBody) row(f *scheduling.Faults, at string) store.StaffDay {
	d := store.StaffDay{Date: day(f, at+"date", b.Date)}
	weekday := isoWeekday(d.Date)
	read := func(field, kind string, list []DayWindowBody) {
		before := len(*f)
		var week []WindowBody
		for _, w := range list {
			week = append(week, WindowBody{weekday, w.From, w.To})
		}
		out := readWindows(f, at+field, kind, week)
		if a, z, meet := meeting(out, 1); meet && len(*f) == before {
			f.Addf(at+field, "windows that do not overlap", "has two windows that overlap (from %s and from %s)", clockText(a.From), clockText(z.From))
		}
		d.Windows = append(d.Windows, out...)
	}
	read("work", "work", b.Work)
	read("breaks", "break", b.Breaks)
	return d
}

func writeSingleDay(d store.StaffDay) SingleDayBody {
	b := SingleDayBody{Date: d.Date.String(), Work: []DayWindowBody{}, Breaks: []DayWindowBody{}}
	for _, w := range d.Windows {
		x := DayWindowBody{clockText(w.From), clockText(w.To)}
		if w.Kind == "work" {
			b.Work = append(b.Work, x)
		} else {
			b.Breaks = append(b.Breaks, x)
		}
	}
	return b
}

func (s *Server) listSingleDays(ctx context.Context, in *ListFrom) (*listBody[SingleDayBody], error) {
	var rows []store.StaffDay
	var p premises
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := s.withPerson(ctx, t, in.ID)
		if err != nil {
			return err
		}
		from, err := in.from(s, n)
		if err != nil {
			return err
		}
		if p, err = premisesFrom(ctx, t, n, from); err != nil {
			return err
		}
		rows, err = t.StaffDays(ctx, in.ID, from)
		return err
	})
	return listOf(rows, func(d store.StaffDay) SingleDayBody {
		b := writeSingleDay(d)
		b.Shut = p.shutFor(d.Date, workOf(d))
		return b
	}), err
}

// workOf are the windows of work of a single day.
func workOf(d store.StaffDay) (out []openings.ClockWindow) {
	for _, w := range d.Windows {
		if w.Kind == "work" {
			out = append(out, openings.ClockWindow{Weekday: w.Weekday, From: w.From, To: w.To})
		}
	}
	return out
}

// premises are when the salon is open.
type premises struct {
	zone   *time.Location
	open   openings.WorkRota
	closed []openings.DateRange
}

// premisesFrom reads when the salon is open from a day on.
func premisesFrom(ctx context.Context, t *store.Tx, n salonDay, from date.Date) (premises, error) {
	p := premises{zone: n.loc}
	var err error
	if p.open, err = t.OpeningRota(ctx, from); err != nil {
		return p, err
	}
	closed, err := t.Closures(ctx, from)
	for _, c := range closed {
		p.closed = append(p.closed, openings.DateRange{First: c.First, Last: c.Last})
	}
	return p, err
}

// shuts reports whether the salon stays shut on d.
func (p premises) shuts(d date.Date) bool {
	return slices.ContainsFunc(p.closed, func(r openings.DateRange) bool { return r.Contains(d) })
}

// shutFor reports whether a minute of work that begins on d lies outside the
// opening hours, closing days aside.
func (p premises) shutFor(d date.Date, work []openings.ClockWindow) bool {
	if len(work) == 0 {
		return false
	}
	h := openings.NewHorizon(p.zone, openings.DateRange{First: d, Last: d.Add(1)})
	spans, _ := h.Working(openings.WorkRota{Single: map[date.Date]openings.Week{d: {Work: work}}}, nil)
	open, _ := h.Working(p.open, nil)
	return slices.ContainsFunc(spans, func(s openings.Span) bool {
		return !slices.ContainsFunc(open, func(o openings.Span) bool { return o.From <= s.From && s.To <= o.To })
	})
}

func (s *Server) addSingleDay(ctx context.Context, in *addDayInput) (*created[SingleDayBody], error) {
	var f scheduling.Faults
	d := in.Body.row(&f, "")
	if err := f.Err(); err != nil {
		return nil, err
	}
	d.Staff = in.ID
	return once(s, ctx, in.Repeatable, "/staff/"+in.ID+"/single-days", in.Body, func(t *store.Tx) (*created[SingleDayBody], error) {
		var row store.StaffDay
		conflicts, err := s.changeHoursIn(ctx, t, in.ID, func() (err error) { row, err = t.AddStaffDay(ctx, d); return err })
		out := writeSingleDay(row)
		out.Conflicts = conflicts
		return &created[SingleDayBody]{Location: "/v1/staff/" + in.ID + "/single-days/" + out.Date, Body: out}, err
	})
}

func (in OnDate) day() (date.Date, error) {
	var f scheduling.Faults
	d := day(&f, "path.date", in.Date)
	return d, f.Err()
}

// sameDate notes that the date of a body, when nothing else is wrong with it, is not
// that of the address.
func sameDate(f *scheduling.Faults, of, on date.Date) {
	if len(*f) == 0 && of != on {
		f.Add("date", "is another one than that of the address", "the same date; a day is moved by taking it back and adding another")
	}
}

func (s *Server) getSingleDay(ctx context.Context, in *ByDate) (*found[SingleDayBody], error) {
	on, err := in.day()
	if err != nil {
		return nil, err
	}
	var d store.StaffDay
	err = s.read(ctx, func(t *store.Tx) (err error) { d, err = t.StaffDayOn(ctx, in.ID, on); return err })
	return &found[SingleDayBody]{etag(d.Version), writeSingleDay(d)}, err
}

func (s *Server) setSingleDay(ctx context.Context, in *setDayInput) (*found[SingleDayBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	on, err := in.day()
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	d := in.Body.row(&f, "")
	sameDate(&f, d.Date, on)
	if err := f.Err(); err != nil {
		return nil, err
	}
	d.Staff, d.Version = in.ID, version
	var row store.StaffDay
	conflicts, err := s.changeHours(ctx, in.ID, func(t *store.Tx) (err error) { row, err = t.SetStaffDay(ctx, d); return err })
	out := found[SingleDayBody]{etag(row.Version), writeSingleDay(row)}
	out.Body.Conflicts = conflicts
	return &out, err
}

func (s *Server) deleteSingleDay(ctx context.Context, in *ByDate) (*empty, error) {
	on, err := in.day()
	if err != nil {
		return nil, err
	}
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.DeleteStaffDay(ctx, in.ID, on) })
}

func (s *Server) listWorkingDays(ctx context.Context, in *workingDaysInput) (*listBody[WorkingDayBody], error) {
	var out listBody[WorkingDayBody]
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := s.withPerson(ctx, t, in.ID)
		if err != nil {
			return err
		}
		first, err := ListFrom{First: in.First}.from(s, n)
		if err != nil {
			return err
		}
		days := openings.DateRange{First: first, Last: first.Add(date.PeriodOfDays(in.Days - 1))}
		r, err := t.WorkRota(ctx, in.ID, days)
		if err != nil {
			return err
		}
		p, err := premisesFrom(ctx, t, n, first)
		if err != nil {
			return err
		}
		out.Body.Items = []WorkingDayBody{}
		for d := days.First; !d.After(days.Last); d = d.Add(1) {
			w, by := r.On(d)
			out.Body.Items = append(out.Body.Items, WorkingDayBody{d.String(), string(by), onOneDay(w.Work), onOneDay(w.Breaks), p.shuts(d), p.shutFor(d, w.Work)})
		}
		return nil
	})
	return &out, err
}

// onOneDay writes windows of one date by their beginning.
func onOneDay(list []openings.ClockWindow) []DayWindowBody {
	slices.SortFunc(list, func(a, b openings.ClockWindow) int { return a.From - b.From })
	out := []DayWindowBody{}
	for _, w := range list {
		out = append(out, DayWindowBody{clockText(w.From), clockText(w.To)})
	}
	return out
}

// clockBodies writes windows of a week in their order.
func clockBodies(list []openings.ClockWindow) []WindowBody {
	list = slices.Clone(list)
	slices.SortFunc(list, func(a, b openings.ClockWindow) int { return (a.Weekday-b.Weekday)*1440 + a.From - b.From })
	out := []WindowBody{}
	for _, w := range list {
		out = append(out, WindowBody{w.Weekday, clockText(w.From), clockText(w.To)})
	}
	return out
}

// toPlan are the days for which a rota is looked at, from today on.
func (s *Server) toPlan(n salonDay) openings.DateRange {
	today := scheduling.CivilDate(s.now(), n.loc)
	return openings.DateRange{First: today, Last: today.Add(lookAhead)}
}

// worksOn reports whether r, read for some days, has any hours of work.
func worksOn(r openings.WorkRota) bool {
	works := len(r.Standing.Work) > 0
	for _, t := range r.Turns {
		for _, w := range t.Weeks {
			works = works || len(w.Work) > 0
		}
	}
	for _, w := range r.Single {
		works = works || len(w.Work) > 0
	}
	return works
}

// SingleDayChange is a single day as it would be.
type SingleDayChange struct {
	StaffID string         `json:"staff_id" maxLength:"64"`
	Day     *SingleDayBody `json:"day,omitempty" doc:"The hours of the date as they would be, in the place of others of its own"`
	Gone    string         `json:"gone_date,omitempty" format:"date" doc:"Instead: the date that would have no hours of its own any more"`
}

// read checks c and says which date it is about.
func (c SingleDayChange) read(f *scheduling.Faults) (made, date.Date) {
	const at = "single_day."
	if (c.Day == nil) == (c.Gone == "") {
		f.Add("single_day", "names no date, or two", "either day or gone_date")
		return nil, date.Date{}
	}
	if c.Day == nil {
		on := day(f, at+"gone_date", c.Gone)
		return func(ctx context.Context, t *store.Tx) error {
			if err := knownPerson(ctx, t, at+"staff_id", c.StaffID); err != nil {
				return err
			}
			err := t.DeleteStaffDay(ctx, c.StaffID, on)
			if is(err, scheduling.ErrNotFound) {
				return &scheduling.InvalidError{Field: at + "gone_date", Problem: "has no hours of its own", Want: "a single day of this person"}
			}
			return err
		}, on
	}
	d := c.Day.row(f, at+"day.")
	d.Staff = c.StaffID
	return func(ctx context.Context, t *store.Tx) error {
		if err := knownPerson(ctx, t, at+"staff_id", c.StaffID); err != nil {
			return err
		}
		return putStaffDay(ctx, t, d)
	}, d.Date
}
