package api

import (
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/store"
)

// DatedRotaBody are weeks of a person that hold instead of her standing week.
type DatedRotaBody struct {
	ID    string         `json:"id" readOnly:"true" required:"false"`
	First string         `json:"first_date" format:"date" doc:"First day; the first of the weeks is that, Monday to Sunday, in which it lies"`
	Last  string         `json:"last_date,omitempty" format:"date" doc:"Last day, included; left out: until further notice"`
	Weeks []RotaWeekBody `json:"weeks" nullable:"false" minItems:"1" maxItems:"4" doc:"They take turns: after the last one the first comes again"`
	// Conflicts is filled in the answer to a change.
	Conflicts []string `json:"visits_in_conflict,omitempty" readOnly:"true" required:"false" doc:"Visits to come that do not fit any more"`
}

// RotaWeekBody is one of the weeks that take turns.
type RotaWeekBody struct {
	Work   []WindowBody `json:"work" nullable:"false" maxItems:"70"`
	Breaks []WindowBody `json:"breaks" nullable:"false" maxItems:"70" doc:"Windows in which no visit may use the person"`
}

func (s *Server) datedRotaRoutes() {
	route(s, huma.Operation{OperationID: "list-staff-rotas", Method: http.MethodGet, Path: "/staff/{id}/rotas",
		Summary: "Weeks that hold instead of a person's standing week between two dates, and are not over"}, s.listStaffRotas)
	route(s, huma.Operation{OperationID: "add-staff-rota", Method: http.MethodPost, Path: "/staff/{id}/rotas",
		Summary: "Note weeks that hold from a date on; on one date there are no two of them", DefaultStatus: http.StatusCreated}, s.addStaffRota)
	route(s, huma.Operation{OperationID: "get-staff-rota", Method: http.MethodGet, Path: "/staff/{id}/rotas/{rota}",
		Summary: "Weeks by date of a person"}, s.getStaffRota)
	route(s, huma.Operation{OperationID: "set-staff-rota", Method: http.MethodPut, Path: "/staff/{id}/rotas/{rota}",
		Summary: "Replace weeks by date, or their dates"}, s.setStaffRota)
	route(s, huma.Operation{OperationID: "delete-staff-rota", Method: http.MethodDelete, Path: "/staff/{id}/rotas/{rota}",
		Summary: "Let the standing week hold on those dates after all"}, s.deleteStaffRota)
}

// ByRota names weeks by date of a person.
type ByRota struct {
	ByID
	Rota string `path:"rota" maxLength:"64" doc:"Id as given when the weeks were added"`
}

// ListFrom asks for what is not over on a day.
type ListFrom struct {
	ByID
	First string `query:"first_date" format:"date" doc:"What is not over on that day; left out: today"`
}

// from is the day that was asked for, today where none was.
func (in ListFrom) from(s *Server, n salonDay) (date.Date, error) {
	if in.First == "" {
		return scheduling.CivilDate(s.now(), n.loc), nil
	}
	var f scheduling.Faults
	d := day(&f, "query.first_date", in.First)
	return d, f.Err()
}

type addRotaInput struct {
	ByID
	Repeatable
	Body DatedRotaBody
}
type setRotaInput struct {
	ByRota
	Precondition
	Body DatedRotaBody
}

// row reads b, whose fields stand below at.
func (b DatedRotaBody) row(f *scheduling.Faults, at string) store.StaffRota {
	r := store.StaffRota{First: day(f, at+"first_date", b.First), Weeks: make([][]store.Window, len(b.Weeks))}
	if b.Last != "" {
		last := day(f, at+"last_date", b.Last)
		if r.Last = &last; last.Before(r.First) {
			f.Add(at+"last_date", "lies before first_date", "the same day or a later one")
		}
	}
	f.Count(at+"weeks", len(b.Weeks), 1, 4)
	before := len(*f)
	var work, breaks []store.Window // on one clock: those of the second week from weekday 8
	on := func(list []store.Window, week int) (out []store.Window) {
		for _, w := range list {
			w.Weekday += 7 * week
			out = append(out, w)
		}
		return out
	}
	for i, x := range b.Weeks {
		field := index(at+"weeks", i)
		own, pause := readWindows(f, field+".work", "work", x.Work), readWindows(f, field+".breaks", "break", x.Breaks)
		r.Weeks[i] = append(own, pause...)
		work, breaks = append(work, on(own, i)...), append(breaks, on(pause, i)...)
	}
	if len(*f) > before {
		return r
	}
	for _, k := range []struct {
		field string
		list  []store.Window
	}{{"work", work}, {"breaks", breaks}} {
		if a, z, meet := meeting(k.list, len(b.Weeks)); meet {
			f.Addf(index(at+"weeks", (a.Weekday-1)/7)+"."+k.field, "windows that do not overlap, also from one week into the next",
				"has two windows that overlap (%s and %s)", turnWords(a), turnWords(z))
		}
	}
	return r
}

// turnWords says where a window begins whose weekday counts on over weeks.
func turnWords(w store.Window) string {
	return fmt.Sprintf("week %d, weekday %d from %s", (w.Weekday-1)/7+1, (w.Weekday-1)%7+1, clockText(w.From))
}

func writeRota(r store.StaffRota) DatedRotaBody {
	b := DatedRotaBody{ID: r.ID, First: r.First.String(), Weeks: make([]RotaWeekBody, len(r.Weeks))}
	if r.Last != nil {
		b.Last = r.Last.String()
	}
	for i, list := range r.Weeks {
		b.Weeks[i] = RotaWeekBody{Work: writeWindows(list, "work"), Breaks: writeWindows(list, "break")}
	}
	return b
}

func (s *Server) listStaffRotas(ctx context.Context, in *ListFrom) (*listBody[DatedRotaBody], error) {
	var rows []store.StaffRota
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := s.withPerson(ctx, t, in.ID)
		if err != nil {
			return err
		}
		from, err := in.from(s, n)
		if err != nil {
			return err
		}
		rows, err = t.StaffRotas(ctx, in.ID, from)
		return err
	})
	return listOf(rows, writeRota), err
}

// withPerson loads the salon for something of a person, or returns
// scheduling.ErrNotFound.
func (s *Server) withPerson(ctx context.Context, t *store.Tx, id string) (salonDay, error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return n, err
	}
	_, err = t.StaffByID(ctx, id)
	return n, err
}

// changeHours carries do out for a person of the salon, and names the visits that
// no longer fit her hours.
func (s *Server) changeHours(ctx context.Context, person string, do func(*store.Tx) error) (conflicts []string, err error) {
	err = s.inTx(ctx, func(t *store.Tx) (err error) {
		conflicts, err = s.changeHoursIn(ctx, t, person, func() error { return do(t) })
		return err
	})
	return conflicts, err
}

// changeHoursIn is changeHours in a transaction that has begun.
func (s *Server) changeHoursIn(ctx context.Context, t *store.Tx, person string, do func() error) ([]string, error) {
	if _, err := s.withPerson(ctx, t, person); err != nil {
		return nil, err
	}
	if err := do(); err != nil {
		return nil, err
	}
	return s.misfits(ctx, t)
}

func (s *Server) addStaffRota(ctx context.Context, in *addRotaInput) (*created[DatedRotaBody], error) {
	var f scheduling.Faults
	r := in.Body.row(&f, "")
	if err := f.Err(); err != nil {
		return nil, err
	}
	r.Staff = in.ID
	return once(s, ctx, in.Repeatable, "/staff/"+in.ID+"/rotas", in.Body, func(t *store.Tx) (*created[DatedRotaBody], error) {
		var row store.StaffRota
		conflicts, err := s.changeHoursIn(ctx, t, in.ID, func() (err error) { row, err = t.AddStaffRota(ctx, r); return err })
		out := writeRota(row)
		out.Conflicts = conflicts
		return &created[DatedRotaBody]{Location: "/v1/staff/" + in.ID + "/rotas/" + out.ID, Body: out}, err
	})
}

func (s *Server) getStaffRota(ctx context.Context, in *ByRota) (*found[DatedRotaBody], error) {
	var r store.StaffRota
	err := s.read(ctx, func(t *store.Tx) (err error) { r, err = t.StaffRotaByID(ctx, in.ID, in.Rota); return err })
	return &found[DatedRotaBody]{etag(r.Version), writeRota(r)}, err
}

func (s *Server) setStaffRota(ctx context.Context, in *setRotaInput) (*found[DatedRotaBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	r := in.Body.row(&f, "")
	if err := f.Err(); err != nil {
		return nil, err
	}
	r.ID, r.Staff, r.Version = in.Rota, in.ID, version
	var row store.StaffRota
	conflicts, err := s.changeHours(ctx, in.ID, func(t *store.Tx) (err error) { row, err = t.SetStaffRota(ctx, r); return err })
	out := found[DatedRotaBody]{etag(row.Version), writeRota(row)}
	out.Body.Conflicts = conflicts
	return &out, err
}

func (s *Server) deleteStaffRota(ctx context.Context, in *ByRota) (*empty, error) {
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.DeleteStaffRota(ctx, in.ID, in.Rota) })
}

// WeeksChange are weeks by date as they would be.
type WeeksChange struct {
	StaffID string         `json:"staff_id" maxLength:"64"`
	RotaID  string         `json:"rota_id,omitempty" maxLength:"64" doc:"The weeks that would be replaced or taken back; left out: new ones"`
	Rota    *DatedRotaBody `json:"rota,omitempty" doc:"The weeks as they would be; left out: taken back"`
}

func (c WeeksChange) read(f *scheduling.Faults) made {
	const at = "weeks_by_date."
	if c.Rota == nil {
		if c.RotaID == "" {
			f.Add("weeks_by_date", "names no weeks", "rota, rota_id or both")
		}
		return c.in(func(ctx context.Context, t *store.Tx) error { return t.DeleteStaffRota(ctx, c.StaffID, c.RotaID) })
	}
	r := c.Rota.row(f, at+"rota.")
	r.Staff = c.StaffID
	return c.in(func(ctx context.Context, t *store.Tx) error {
		if c.RotaID == "" {
			_, err := t.AddStaffRota(ctx, r)
			return underField(at+"rota", err)
		}
		old, err := t.StaffRotaByID(ctx, c.StaffID, c.RotaID)
		if err != nil {
			return err
		}
		x := r // a transaction may run twice
		x.ID, x.Version = old.ID, old.Version
		_, err = t.SetStaffRota(ctx, x)
		return underField(at+"rota", err)
	})
}

// in carries do out for a person of the salon, and says when its weeks are unknown.
func (c WeeksChange) in(do made) made {
	return func(ctx context.Context, t *store.Tx) error {
		if err := knownPerson(ctx, t, "weeks_by_date.staff_id", c.StaffID); err != nil {
			return err
		}
		err := do(ctx, t)
		if is(err, scheduling.ErrNotFound) {
			return &scheduling.InvalidError{Field: "weeks_by_date.rota_id", Problem: "is not known", Want: "the id of weeks by date of this person"}
		}
		return err
	}
}

// underField puts the field of an invalid value below at.
func underField(at string, err error) error {
	var f scheduling.Faults
	if err := f.Join(at, err); err != nil {
		return err
	}
	return f.Err()
}

// days are those that the change is about: of the weeks as they are and as they
// would be, with the day after the last one, into which a shift may pass.
func (c WeeksChange) days(ctx context.Context, t *store.Tx, today date.Date) (first, last date.Date, err error) {
	var list []store.StaffRota
	if c.RotaID != "" {
		old, err := t.StaffRotaByID(ctx, c.StaffID, c.RotaID)
		if err != nil && !is(err, scheduling.ErrNotFound) {
			return first, last, err
		} else if err == nil {
			list = append(list, old)
		}
	}
	if c.Rota != nil {
		var f scheduling.Faults
		list = append(list, c.Rota.row(&f, ""))
	}
	for i, r := range list {
		end := laterDay(today, r.First).Add(lookAhead)
		if r.Last != nil {
			end = r.Last.Add(1)
		}
		if last = laterDay(last, end); i == 0 || r.First.Before(first) {
			first = r.First
		}
	}
	return first, last, nil
}
