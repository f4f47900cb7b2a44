package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/store"
)

// OpeningDayBody is one date on which the salon opens otherwise than on its weekday:
// on an extra Sunday, or for fewer hours.
type OpeningDayBody struct {
	Date   string          `json:"date" format:"date"`
	Open   []DayWindowBody `json:"open" nullable:"false" maxItems:"4" doc:"Empty: the salon stays shut on that date"`
	Reason string          `json:"reason" required:"false" maxLength:"200"`
	// StaffIDs is only asked for, never said.
	StaffIDs []string `json:"staff_ids,omitempty" writeOnly:"true" maxItems:"50" doc:"People who work these hours on that date: each gets a single day of her own, in the place of one that is there"`
	// Conflicts is filled in the answer to a change.
	Conflicts []string `json:"visits_in_conflict,omitempty" readOnly:"true" required:"false" doc:"Visits to come that do not fit any more"`
}

type addOpeningDayInput struct {
	Repeatable
	Body OpeningDayBody
}
type setOpeningDayInput struct {
	OnDate
	Precondition
	Body OpeningDayBody
}

func (s *Server) openingDayRoutes() {
	route(s, huma.Operation{OperationID: "list-opening-days", Method: http.MethodGet, Path: "/hours/days",
		Summary: "Dates from today on that have opening hours of their own"}, s.listOpeningDays)
	route(s, huma.Operation{OperationID: "add-opening-day", Method: http.MethodPost, Path: "/hours/days",
		Summary: "Give one date opening hours of its own, or none", DefaultStatus: http.StatusCreated}, s.addOpeningDay)
	route(s, huma.Operation{OperationID: "get-opening-day", Method: http.MethodGet, Path: "/hours/days/{date}",
		Summary: "The opening hours of a date that has its own", Errors: []int{http.StatusNotFound}}, s.getOpeningDay)
	route(s, huma.Operation{OperationID: "set-opening-day", Method: http.MethodPut, Path: "/hours/days/{date}",
		Summary: "Replace the opening hours of a date that has its own", Errors: []int{http.StatusNotFound}}, s.setOpeningDay)
	route(s, huma.Operation{OperationID: "delete-opening-day", Method: http.MethodDelete, Path: "/hours/days/{date}",
		Summary: "Let the salon's week hold on that date after all", Errors: []int{http.StatusNotFound}}, s.deleteOpeningDay)
}

// row reads b, whose fields stand below at.
func (b OpeningDayBody) row(f *scheduling.Faults, at string) store.OpeningDay {
	d := store.OpeningDay{Date: day(f, at+"date", b.Date), Reason: text(f, at+"reason", b.Reason, 0, longestReason)}
	weekday, before := isoWeekday(d.Date), len(*f)
	var week []WindowBody
	for _, w := range b.Open {
		week = append(week, WindowBody{weekday, w.From, w.To})
	}
	d.Windows = readWindows(f, at+"open", "open", week)
	if a, z, meet := meeting(d.Windows, 1); meet && len(*f) == before {
		f.Addf(at+"open", "windows that do not overlap", "has two windows that overlap (from %s and from %s)", clockText(a.From), clockText(z.From))
	}
	if len(d.Windows) == 0 && len(b.StaffIDs) > 0 {
		f.Add(at+"staff_ids", "names people who work, and the salon stays shut", "nobody, or opening hours")
	}
	return d
}

func writeOpeningDay(d store.OpeningDay) OpeningDayBody {
	b := OpeningDayBody{Date: d.Date.String(), Open: []DayWindowBody{}, Reason: d.Reason}
	for _, w := range d.Windows {
		b.Open = append(b.Open, DayWindowBody{clockText(w.From), clockText(w.To)})
	}
	return b
}

func (s *Server) listOpeningDays(ctx context.Context, _ *empty) (*listBody[OpeningDayBody], error) {
	var rows []store.OpeningDay
	err := s.read(ctx, func(t *store.Tx) error {
		loc, err := zone(ctx, t)
		if err == nil {
			rows, err = t.OpeningDays(ctx, scheduling.CivilDate(s.now(), loc))
		}
		return err
	})
	return listOf(rows, writeOpeningDay), err
}

// openOn makes d's date open as it says, with those people at work.
func openOn(ctx context.Context, t *store.Tx, d store.OpeningDay, people []string, write func() (store.OpeningDay, error)) (store.OpeningDay, error) {
	row, err := write()
	if err != nil {
		return row, err
	}
	for i, id := range people {
		at := fmt.Sprintf("staff_ids[%d]", i)
		if slices.Contains(people[:i], id) {
			return row, &scheduling.InvalidError{Field: at, Problem: "is named twice", Want: "each person once"}
		}
		if err := knownPerson(ctx, t, at, id); err != nil {
			return row, err
		}
		x := store.StaffDay{Staff: id, Date: d.Date}
		for _, w := range d.Windows {
			x.Windows = append(x.Windows, store.Window{Weekday: w.Weekday, Kind: "work", From: w.From, To: w.To})
		}
		if err := putStaffDay(ctx, t, x); err != nil {
			return row, err
		}
	}
	return row, nil
}

// putStaffDay notes a single day, in the place of one that is there.
func putStaffDay(ctx context.Context, t *store.Tx, d store.StaffDay) error {
	old, err := t.StaffDayOn(ctx, d.Staff, d.Date)
	switch {
	case err == nil:
		d.Version = old.Version
		_, err = t.SetStaffDay(ctx, d)
	case is(err, scheduling.ErrNotFound):
		_, err = t.AddStaffDay(ctx, d)
	}
	return err
}

func (s *Server) addOpeningDay(ctx context.Context, in *addOpeningDayInput) (*created[OpeningDayBody], error) {
	var f scheduling.Faults
	d := in.Body.row(&f, "")
	if err := f.Err(); err != nil {
		return nil, err
	}
	return once(s, ctx, in.Repeatable, "/hours/days", in.Body, func(t *store.Tx) (*created[OpeningDayBody], error) {
		row, err := openOn(ctx, t, d, in.Body.StaffIDs, func() (store.OpeningDay, error) { return t.AddOpeningDay(ctx, d) })
		if err != nil {
			return nil, err
		}
		out := writeOpeningDay(row)
		out.Conflicts, err = s.misfits(ctx, t)
		return &created[OpeningDayBody]{Location: "/v1/hours/days/" + out.Date, ETag: etag(row.Version), Body: out}, err
	})
}

func (s *Server) getOpeningDay(ctx context.Context, in *OnDate) (*found[OpeningDayBody], error) {
	on, err := in.day()
	if err != nil {
		return nil, err
	}
	var d store.OpeningDay
	err = s.read(ctx, func(t *store.Tx) (err error) { d, err = t.OpeningDayOn(ctx, on); return err })
	return &found[OpeningDayBody]{etag(d.Version), writeOpeningDay(d)}, err
}

func (s *Server) setOpeningDay(ctx context.Context, in *setOpeningDayInput) (*found[OpeningDayBody], error) {
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
	d.Version = version
	var out found[OpeningDayBody]
	err = s.inTx(ctx, func(t *store.Tx) error {
		row, err := openOn(ctx, t, d, in.Body.StaffIDs, func() (store.OpeningDay, error) { return t.SetOpeningDay(ctx, d) })
		if err != nil {
			return err
		}
		out = found[OpeningDayBody]{etag(row.Version), writeOpeningDay(row)}
		out.Body.Conflicts, err = s.misfits(ctx, t)
		return err
	})
	return &out, err
}

func (s *Server) deleteOpeningDay(ctx context.Context, in *OnDate) (*empty, error) {
	on, err := in.day()
	if err != nil {
		return nil, err
	}
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.DeleteOpeningDay(ctx, on) })
}

// OpeningDayChange is a date's opening hours as they would be.
type OpeningDayChange struct {
	Day  *OpeningDayBody `json:"day,omitempty" doc:"The opening hours of the date as they would be, in the place of others of its own"`
	Gone string          `json:"gone_date,omitempty" format:"date" doc:"Instead: the date on which the salon's week would hold again"`
}

// read checks c and says which date it is about.
func (c OpeningDayChange) read(f *scheduling.Faults) (made, date.Date) {
	const at = "opening_day."
	if (c.Day == nil) == (c.Gone == "") {
		f.Add("opening_day", "names no date, or two", "either day or gone_date")
		return nil, date.Date{}
	}
	if c.Day == nil {
		on := day(f, at+"gone_date", c.Gone)
		return func(ctx context.Context, t *store.Tx) error {
			err := t.DeleteOpeningDay(ctx, on)
			if is(err, scheduling.ErrNotFound) {
				return &scheduling.InvalidError{Field: at + "gone_date", Problem: "has no opening hours of its own", Want: "a date with opening hours of its own"}
			}
			return err
		}, on
	}
	d := c.Day.row(f, at+"day.")
	people := c.Day.StaffIDs
	return func(ctx context.Context, t *store.Tx) error {
		_, err := openOn(ctx, t, d, people, func() (store.OpeningDay, error) {
			x := d // a transaction may run twice
			old, err := t.OpeningDayOn(ctx, d.Date)
			switch {
			case err == nil:
				x.Version = old.Version
				return t.SetOpeningDay(ctx, x)
			case is(err, scheduling.ErrNotFound):
				return t.AddOpeningDay(ctx, x)
			}
			return x, err
		})
		return err
	}, d.Date
}
