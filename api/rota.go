package api

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"net/http"
	"slices"
	"sort"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// WindowBody is a window of the week by the wall clock. closes or ends at or
// before the beginning means the following day.
type WindowBody struct {
	Weekday int    `json:"weekday" doc:"1 Monday to 7 Sunday" minimum:"1" maximum:"7"`
	From    string `json:"from" doc:"Time of day" example:"09:00"`
	To      string `json:"to" doc:"Time of day; at or before from means the next day; 24:00 is midnight" example:"18:00"`
}

// HoursBody is the salon's week.
type HoursBody struct {
	Open []WindowBody `json:"open" nullable:"false" maxItems:"70"`
	// Conflicts is filled in the answer to a change.
	Conflicts []string `json:"visits_in_conflict,omitempty" readOnly:"true" required:"false" doc:"Visits to come that do not fit any more"`
}

// StaffHoursBody is a person's standing week.
type StaffHoursBody struct {
	Work   []WindowBody `json:"work" nullable:"false" maxItems:"70"`
	Breaks []WindowBody `json:"breaks" nullable:"false" maxItems:"70" doc:"Windows in which no visit may use the person"`
	// Conflicts is filled in the answer to a change.
	Conflicts []string `json:"visits_in_conflict,omitempty" readOnly:"true" required:"false" doc:"Visits to come that do not fit any more"`
}

// ClosureBody is a run of days on which the salon stays shut.
type ClosureBody struct {
	ID     string `json:"id" readOnly:"true" required:"false"`
	First  string `json:"first_date" format:"date" doc:"First day, included"`
	Last   string `json:"last_date" format:"date" doc:"Last day, included"`
	Reason string `json:"reason" required:"false"`
	// Conflicts is filled in the answer to a change.
	Conflicts []string `json:"visits_in_conflict,omitempty" readOnly:"true" required:"false" doc:"Visits to come that do not fit any more"`
}

// AbsenceBody is time in which a person is away or a station is out of order.
type AbsenceBody struct {
	ID     string    `json:"id" readOnly:"true" required:"false"`
	Unit   string    `json:"unit_id" doc:"A person or a station"`
	From   time.Time `json:"from"`
	To     time.Time `json:"to"`
	Reason string    `json:"reason" required:"false" doc:"For the rota; never a health reason"`
	// FromPrivate is only said, never asked for.
	FromPrivate bool `json:"from_private_calendar" readOnly:"true" required:"false" doc:"It comes from a person's private calendar, which is changed there"`
	// Conflicts is filled in the answer to an addition.
	Conflicts []string `json:"visits_in_conflict,omitempty" readOnly:"true" required:"false" doc:"Visits that lie in the absence"`
}

func (s *Server) rotaRoutes() {
	route(s, huma.Operation{OperationID: "get-hours", Method: http.MethodGet, Path: "/hours", Summary: "Opening hours"}, s.getHours)
	route(s, huma.Operation{OperationID: "set-hours", Method: http.MethodPut, Path: "/hours", Summary: "Replace the opening hours"}, s.setHours)
	route(s, huma.Operation{OperationID: "get-staff-hours", Method: http.MethodGet, Path: "/staff/{id}/hours", Summary: "A person's standing week: what holds on no date of its own"}, s.getStaffHours)
	route(s, huma.Operation{OperationID: "set-staff-hours", Method: http.MethodPut, Path: "/staff/{id}/hours", Summary: "Replace a person's standing week"}, s.setStaffHours)
	route(s, huma.Operation{OperationID: "list-closures", Method: http.MethodGet, Path: "/closures", Summary: "Days on which the salon stays shut, from today"}, s.listClosures)
	route(s, huma.Operation{OperationID: "add-closure", Method: http.MethodPost, Path: "/closures", Summary: "Shut the salon on some days", DefaultStatus: http.StatusCreated}, s.addClosure)
	route(s, huma.Operation{OperationID: "add-closures", Method: http.MethodPost, Path: "/closures/several", Summary: "Shut the salon on several stretches of days at once", DefaultStatus: http.StatusCreated}, s.addClosures)
	route(s, huma.Operation{OperationID: "delete-closure", Method: http.MethodDelete, Path: "/closures/{id}", Summary: "Open on those days after all"}, s.deleteClosure)
	route(s, huma.Operation{OperationID: "list-absences", Method: http.MethodGet, Path: "/absences", Summary: "Absences that are not over"}, s.listAbsences)
	route(s, huma.Operation{OperationID: "add-absence", Method: http.MethodPost, Path: "/absences", Summary: "Note an absence", DefaultStatus: http.StatusCreated}, s.addAbsence)
	route(s, huma.Operation{OperationID: "delete-absence", Method: http.MethodDelete, Path: "/absences/{id}", Summary: "Take an absence back", Errors: conflicts}, s.deleteAbsence)
}

// windows checks a list of windows of one kind: readable, and not overlapping
// on the clock of the week.
func windows(f *scheduling.Faults, field, kind string, list []WindowBody) []store.Window {
	before := len(*f)
	out := readWindows(f, field, kind, list)
	if len(*f) > before {
		return out
	}
	if a, b, meet := meeting(out, 1); meet {
		f.Addf(field, "windows that do not overlap", "has two windows that overlap (weekday %d from %s and weekday %d from %s)",
			a.Weekday, clockText(a.From), b.Weekday, clockText(b.From))
	}
	return out
}

// readWindows reads a list of windows of one kind and notes which of them cannot be.
func readWindows(f *scheduling.Faults, field, kind string, list []WindowBody) []store.Window {
	var out []store.Window
	for i, b := range list {
		at := index(field, i)
		w := store.Window{Weekday: b.Weekday, Kind: kind, From: clockOf(f, at+".from", b.From), To: clockOf(f, at+".to", b.To)}
		if w.To <= w.From {
			w.To += 1440
		}
		if w.From == 1440 {
			f.Add(at+".from", "is 24:00", "00:00 of the next weekday")
		}
		out = append(out, w)
	}
	return out
}

// meeting finds two windows that overlap on the clock of weeks that take turns; the
// weekdays of the second week count from 8, and so on.
func meeting(list []store.Window, weeks int) (a, b store.Window, meet bool) {
	sorted := slices.Clone(list)
	at := func(w store.Window) int { return (w.Weekday-1)*1440 + w.From }
	sort.Slice(sorted, func(i, j int) bool { return at(sorted[i]) < at(sorted[j]) })
	for i := range sorted {
		a, b = sorted[i], sorted[(i+1)%len(sorted)]
		next := at(b)
		if i+1 == len(sorted) {
			next += weeks * weekMinutes
		}
		if len(sorted) > 1 && at(a)+a.To-a.From > next {
			return a, b, true
		}
	}
	return a, b, false
}

func writeWindows(list []store.Window, kind string) []WindowBody {
	out := []WindowBody{}
	for _, w := range list {
		if w.Kind == kind {
			out = append(out, WindowBody{w.Weekday, clockText(w.From), clockText(w.To)})
		}
	}
	return out
}

func index(field string, i int) string { return fmt.Sprintf("%s[%d]", field, i) }

type hoursInput struct {
	Precondition
	Body HoursBody
}
type staffHoursInput struct {
	ByID
	Precondition
	Body StaffHoursBody
}

func writeHours(list []store.Window) *found[HoursBody] {
	return &found[HoursBody]{weekTag(list), HoursBody{Open: writeWindows(list, "open")}}
}

func writeStaffHours(list []store.Window) *found[StaffHoursBody] {
	return &found[StaffHoursBody]{weekTag(list), StaffHoursBody{Work: writeWindows(list, "work"), Breaks: writeWindows(list, "break")}}
}

// weekTag is the ETag of a week: the same for the same windows.
func weekTag(list []store.Window) string {
	h := sha256.New()
	for _, w := range list {
		fmt.Fprintln(h, w.Weekday, w.Kind, w.From, w.To)
	}
	return `"` + base64.RawURLEncoding.EncodeToString(h.Sum(nil)[:12]) + `"`
}

// replaceWeek puts list in the place of the windows that read returns, when
// these are still the ones of tag, and returns what is there afterwards.
func replaceWeek(ctx context.Context, t *store.Tx, tag string, list []store.Window,
	read func() ([]store.Window, error), write func([]store.Window) error) ([]store.Window, error) {
	if err := t.LockRota(ctx); err != nil {
		return nil, err
	}
	old, err := read()
	if err != nil {
		return nil, err
	}
	if weekTag(old) != tag {
		return nil, scheduling.ErrStale
	}
	if err := write(list); err != nil {
		return nil, err
	}
	return read()
}

func (s *Server) getHours(ctx context.Context, _ *empty) (*found[HoursBody], error) {
	var list []store.Window
	err := s.inTx(ctx, func(t *store.Tx) (err error) { list, err = t.OpeningHours(ctx); return err })
	return writeHours(list), err
}

func (s *Server) setHours(ctx context.Context, in *hoursInput) (*found[HoursBody], error) {
	tag, err := in.tag()
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	list := windows(&f, "open", "open", in.Body.Open)
	if err := f.Err(); err != nil {
		return nil, err
	}
	var hit []string
	err = s.inTx(ctx, func(t *store.Tx) (err error) {
		list, err = replaceWeek(ctx, t, tag, list, func() ([]store.Window, error) { return t.OpeningHours(ctx) },
			func(list []store.Window) error { return t.SetOpeningHours(ctx, list) })
		if err == nil {
			hit, err = s.misfits(ctx, t)
		}
		return err
	})
	out := writeHours(list)
	out.Body.Conflicts = hit
	return out, err
}

func (s *Server) getStaffHours(ctx context.Context, in *ByID) (*found[StaffHoursBody], error) {
	var list []store.Window
	err := s.inTx(ctx, func(t *store.Tx) (err error) {
		if _, err := t.StaffByID(ctx, in.ID); err != nil {
			return err
		}
		list, err = t.StaffHours(ctx, in.ID)
		return err
	})
	return writeStaffHours(list), err
}

func (s *Server) setStaffHours(ctx context.Context, in *staffHoursInput) (*found[StaffHoursBody], error) {
	tag, err := in.tag()
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	list := windows(&f, "work", "work", in.Body.Work)
	list = append(list, windows(&f, "breaks", "break", in.Body.Breaks)...)
	if err := f.Err(); err != nil {
		return nil, err
	}
	var hit []string
	err = s.inTx(ctx, func(t *store.Tx) (err error) {
		if _, err := t.StaffByID(ctx, in.ID); err != nil {
			return err
		}
		list, err = replaceWeek(ctx, t, tag, list, func() ([]store.Window, error) { return t.StaffHours(ctx, in.ID) },
			func(list []store.Window) error { return t.SetStaffHours(ctx, in.ID, list) })
		if err == nil {
			hit, err = s.misfits(ctx, t)
		}
		return err
	})
	out := writeStaffHours(list)
	out.Body.Conflicts = hit
	return out, err
}

// lookAhead is how far ahead a change of the rota is held against visits, in
// days (judgement: half a year).
const lookAhead = 190

// misfits lists the visits to come that do not fit the rota any more.
func (s *Server) misfits(ctx context.Context, t *store.Tx) ([]string, error) {
	loc, err := zone(ctx, t)
	if err != nil {
		return nil, err
	}
	today := scheduling.CivilDate(s.now(), loc)
	h := openings.NewHorizon(loc, openings.DateRange{First: today, Last: today.Add(lookAhead)})
	shop, err := t.LoadShop(ctx, h, s.now())
	if err != nil {
		return nil, err
	}
	visits, err := t.VisitsBetween(ctx, s.now(), h.Time(h.Length))
	if err != nil {
		return nil, err
	}
	blocks, err := t.BlocksBetween(ctx, s.now(), h.Time(h.Length))
	if err != nil {
		return nil, err
	}
	var out []string
	for _, v := range visits {
		if v.State.Open() && len(misfit(h, shop, v, blocks)) > 0 {
			out = append(out, v.ID)
		}
	}
	return out, nil
}

type closureInput struct {
	Repeatable
	Body ClosureBody
}

func (b ClosureBody) row() (store.Closure, error) {
	var f scheduling.Faults
	c := store.Closure{First: day(&f, "first_date", b.First), Last: day(&f, "last_date", b.Last)}
	c.Reason = text(&f, "reason", b.Reason, 0, 200)
	if len(f) == 0 && c.Last.Before(c.First) {
		f.Add("last_date", "lies before first_date", "the same day or a later one")
	}
	return c, f.Err()
}

func writeClosure(c store.Closure) ClosureBody {
	return ClosureBody{ID: c.ID, First: c.First.String(), Last: c.Last.String(), Reason: c.Reason}
}

func (s *Server) listClosures(ctx context.Context, _ *empty) (*listBody[ClosureBody], error) {
	var rows []store.Closure
	err := s.inTx(ctx, func(t *store.Tx) error {
		loc, err := zone(ctx, t)
		if err != nil {
			return err
		}
		rows, err = t.Closures(ctx, scheduling.CivilDate(s.now(), loc))
		return err
	})
	return listOf(rows, writeClosure), err
}

func (s *Server) addClosure(ctx context.Context, in *closureInput) (*created[ClosureBody], error) {
	c, err := in.Body.row()
	if err != nil {
		return nil, err
	}
	return once(s, ctx, in.Repeatable, "/closures", in.Body, func(t *store.Tx) (*created[ClosureBody], error) {
		added, err := t.AddClosure(ctx, c)
		if err != nil {
			return nil, err
		}
		out := &created[ClosureBody]{Location: "/v1/closures/" + added.ID, Body: writeClosure(added)}
		out.Body.Conflicts, err = s.misfits(ctx, t)
		return out, err
	})
}

func (s *Server) deleteClosure(ctx context.Context, in *ByID) (*empty, error) {
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.DeleteClosure(ctx, in.ID) })
}

type absenceInput struct {
	Repeatable
	Body AbsenceBody
}

func (s *Server) listAbsences(ctx context.Context, _ *empty) (*listBody[AbsenceBody], error) {
	var rows []store.Absence
	var loc *time.Location
	err := s.inTx(ctx, func(t *store.Tx) (err error) {
		if loc, err = zone(ctx, t); err != nil {
			return err
		}
		rows, err = t.Absences(ctx, s.now())
		return err
	})
	return listOf(rows, func(a store.Absence) AbsenceBody { return writeAbsence(a, loc) }), err
}

func writeAbsence(a store.Absence, loc *time.Location) AbsenceBody {
	return AbsenceBody{ID: a.ID, Unit: a.Unit, From: a.From.In(loc), To: a.To.In(loc), Reason: a.Reason, FromPrivate: a.Calendar != nil}
}

// row reads b, whose fields stand below at.
func (b AbsenceBody) row(f *scheduling.Faults, at string) store.Absence {
	a := store.Absence{Unit: b.Unit, From: wholeMinute(f, at+"from", b.From), To: wholeMinute(f, at+"to", b.To)}
	a.Reason = text(f, at+"reason", b.Reason, 0, 200)
	span(f, at, b.From, b.To)
	return a
}

func (s *Server) addAbsence(ctx context.Context, in *absenceInput) (*created[AbsenceBody], error) {
	var f scheduling.Faults
	a := in.Body.row(&f, "")
	return once(s, ctx, in.Repeatable, "/absences", in.Body, func(t *store.Tx) (*created[AbsenceBody], error) {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		known, err := t.HasUnit(ctx, a.Unit)
		if err != nil {
			return nil, err
		}
		f := slices.Clone(f) // a transaction may run twice
		if !known {
			f.Add("unit_id", "is not known", "the id of a person or station of this salon")
		}
		if err := f.Err(); err != nil {
			return nil, err
		}
		added, err := t.AddAbsence(ctx, a)
		if err != nil {
			return nil, err
		}
		out := &created[AbsenceBody]{Location: "/v1/absences/" + added.ID, Body: writeAbsence(added, n.loc)}
		if out.Body.Conflicts, err = t.VisitsUsing(ctx, added.Unit, added.From, added.To); err != nil {
			return nil, err
		}
		return out, s.tellHelperAway(ctx, t, n, added, out.Body.Conflicts)
	})
}

func (s *Server) deleteAbsence(ctx context.Context, in *ByID) (*empty, error) {
	return nil, s.inTx(ctx, func(t *store.Tx) error {
		if private, err := t.FromPrivateCalendar(ctx, in.ID); err != nil {
			return err
		} else if private {
			return errPrivateAbsence
		}
		if err := t.DeleteAbsence(ctx, in.ID); err != nil {
			return err
		}
		return untellHelperAway(ctx, t, in.ID)
	})
}

// zone is the salon's zone.
func zone(ctx context.Context, t *store.Tx) (*time.Location, error) {
	n, err := t.SalonRow(ctx)
	if err != nil {
		return nil, err
	}
	return n.Location()
}
