package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// ChangeRequest is one change that nobody has made yet: of hours, days, people,
// stations or products. Exactly one of its parts is given.
type ChangeRequest struct {
	Hours      *HoursBody        `json:"hours,omitempty" doc:"The salon's week as it would be"`
	StaffHours *StaffHoursChange `json:"staff_hours,omitempty"`
	Weeks      *WeeksChange      `json:"weeks_by_date,omitempty"`
	SingleDay  *SingleDayChange  `json:"single_day,omitempty"`
	OpeningDay *OpeningDayChange `json:"opening_day,omitempty"`
	Closures   []ClosureBody     `json:"closures,omitempty" nullable:"false" maxItems:"100" doc:"Days on which the salon would stay shut"`
	Absence    *AbsenceBody      `json:"absence,omitempty" doc:"Time in which a person would be away or a station out of order"`
	Staff      *StaffChange      `json:"staff,omitempty" doc:"What a person would be and do"`
	Gone       string            `json:"gone_unit_id,omitempty" maxLength:"64" doc:"A person who would leave, or a station that would be taken away"`
	Product    string            `json:"ended_product_id,omitempty" maxLength:"64" doc:"A product that would not be used any more"`
}

// StaffHoursChange is a person's working week as it would be.
type StaffHoursChange struct {
	StaffID string         `json:"staff_id" maxLength:"64"`
	Week    StaffHoursBody `json:"week"`
}

// StaffChange is a person as she would be.
type StaffChange struct {
	StaffID string    `json:"staff_id" maxLength:"64"`
	Person  StaffBody `json:"person"`
}

// ChangePreviewBody says what a change would do to visits that are booked.
type ChangePreviewBody struct {
	Words  string         `json:"words" example:"3 visits are hit"`
	Until  string         `json:"looked_until" format:"date" doc:"Visits up to that day were looked at"`
	Visits []HitVisitBody `json:"visits" nullable:"false" doc:"Visits that would fall out, by their start"`
}

// HitVisitBody is a visit that a change would hit.
type HitVisitBody struct {
	VisitID  string          `json:"visit_id"`
	Start    time.Time       `json:"start"`
	End      time.Time       `json:"end"`
	State    string          `json:"state" enum:"held,booked,arrived,under_way"`
	Who      string          `json:"who" doc:"First name and initial of the client, or what the time is kept for" example:"Juna K."`
	Services []string        `json:"services" nullable:"false"`
	Lead     string          `json:"lead" doc:"Who is in charge of it; empty for kept time"`
	Why      []string        `json:"why" nullable:"false" doc:"In words"`
	Remedies []HitRemedyBody `json:"remedies" nullable:"false" doc:"What could be done, the least trouble for the client first"`
}

// HitRemedyBody is something that could be done about a visit.
type HitRemedyBody struct {
	Kind   string `json:"kind" enum:"same_time,move,rearrange,product" doc:"same_time: it fits at its start with somebody or something else, which was tried; move: another time; rearrange: the whole day anew; product: give another product instead"`
	Words  string `json:"words"`
	LeadID string `json:"lead_id,omitempty" doc:"With same_time: who would be in charge"`
	Date   string `json:"date,omitempty" format:"date" doc:"With rearrange: the day"`
}

type changeInput struct{ Body ChangeRequest }
type changeOutput struct{ Body ChangePreviewBody }

func (s *Server) changePreviewRoutes() {
	route(s, huma.Operation{OperationID: "preview-change", Method: http.MethodPost, Path: "/changes/preview",
		Summary: "See which visits a change of hours, days, people, stations or products would hit; nothing is changed"}, s.previewChange)
}

// mostLookAhead is how far ahead a change that has an end is held against visits,
// in days (judgement: more than two years).
const mostLookAhead = 800

// errLooked ends the transaction of a preview, which takes back everything that
// it tried.
var errLooked = errors.New("api: only looked")

func (s *Server) previewChange(ctx context.Context, in *changeInput) (*changeOutput, error) {
	var out ChangePreviewBody
	err := s.inTx(ctx, func(t *store.Tx) (err error) {
		out, err = s.lookAtChange(ctx, t, in.Body)
		if err == nil {
			err = errLooked
		}
		return err
	})
	if !is(err, errLooked) {
		return nil, err
	}
	return &changeOutput{out}, nil
}

// lookAtChange makes the change that b names and says what it hit. Its caller
// gives the transaction up.
func (s *Server) lookAtChange(ctx context.Context, t *store.Tx, b ChangeRequest) (ChangePreviewBody, error) {
	var f scheduling.Faults
	c, first, last := b.read(&f)
	if err := f.Err(); err != nil {
		return ChangePreviewBody{}, err
	}
	n, err := loadSalon(ctx, t)
	if err != nil {
		return ChangePreviewBody{}, err
	}
	if b.Weeks != nil {
		if first, last, err = b.Weeks.days(ctx, t, scheduling.CivilDate(s.now(), n.loc)); err != nil {
			return ChangePreviewBody{}, err
		}
	}
	h := openings.NewHorizon(n.loc, s.lookedAt(n, first, last))
	if c == nil { // a product
		return s.withoutProduct(ctx, t, n, b.Product, h)
	}
	planned, err := s.toCome(ctx, t, n, h)
	if err != nil {
		return ChangePreviewBody{}, err
	}
	before, err := planned.fallouts(ctx, t)
	if err != nil {
		return ChangePreviewBody{}, err
	}
	if err := c(ctx, t); err != nil {
		return ChangePreviewBody{}, err
	}
	after, err := planned.fallouts(ctx, t)
	if err != nil {
		return ChangePreviewBody{}, err
	}
	return s.hitBy(ctx, t, n, h, after.beyond(before))
}

// lookedAt are the days on which visits are held against a change that is about
// the days first to last: all to come where these are the zero date.
func (s *Server) lookedAt(n salonDay, first, last date.Date) openings.DateRange {
	today := scheduling.CivilDate(s.now(), n.loc)
	r := openings.DateRange{First: laterDay(today, first), Last: last}
	if last.IsZero() {
		r.Last = today.Add(lookAhead)
	}
	if most := today.Add(mostLookAhead); r.Last.After(most) {
		r.Last = most
	}
	r.Last = laterDay(r.First, r.Last)
	return r
}

// made carries out a change within a transaction.
type made func(ctx context.Context, t *store.Tx) error

// read checks b. first and last are the days that the change is about, the zero
// date for all of them. A nil made is the end of a product.
func (b ChangeRequest) read(f *scheduling.Faults) (c made, first, last date.Date) {
	var given []string
	note := func(is bool, field string, do func() made) {
		if is {
			given = append(given, field)
			c = do()
		}
	}
	note(b.Hours != nil, "hours", func() made {
		list := windows(f, "hours.open", "open", b.Hours.Open)
		return func(ctx context.Context, t *store.Tx) error { return t.SetOpeningHours(ctx, list) }
	})
	note(b.StaffHours != nil, "staff_hours", func() made { return b.StaffHours.read(f) })
	note(b.Weeks != nil, "weeks_by_date", func() made { return b.Weeks.read(f) })
	note(b.SingleDay != nil, "single_day", func() (c made) {
		c, first = b.SingleDay.read(f)
		last = first.Add(1) // a shift may pass midnight
		return c
	})
	note(b.OpeningDay != nil, "opening_day", func() (c made) {
		c, first = b.OpeningDay.read(f)
		last = first.Add(1)
		return c
	})
	note(len(b.Closures) > 0, "closures", func() made {
		var list []store.Closure
		for i, x := range b.Closures {
			row, err := x.row()
			_ = f.Join(index("closures", i), err) // all of it faults
			list = append(list, row)
			if last = laterDay(last, row.Last); i == 0 || row.First.Before(first) {
				first = row.First
			}
		}
		return closing(list)
	})
	note(b.Absence != nil, "absence", func() made {
		a := b.Absence.row(f, "absence.")
		// No zone is a day away from UTC.
		first, last = scheduling.CivilDate(a.From, time.UTC).Add(-1), scheduling.CivilDate(a.To, time.UTC).Add(1)
		return away(a)
	})
	note(b.Staff != nil, "staff", func() made {
		row, err := b.Staff.Person.row()
		_ = f.Join("staff.person", err) // all of it faults
		return changed(b.Staff.StaffID, row)
	})
	note(b.Gone != "", "gone_unit_id", func() made { return gone(b.Gone) })
	note(b.Product != "", "ended_product_id", func() made { return nil })
	if len(given) == 0 {
		f.Add("", "names no change", "exactly one of its parts")
	}
	for _, field := range given {
		if len(given) > 1 {
			f.Add(field, "stands beside another change", "one change at a time")
		}
	}
	return c, first, last
}

func laterDay(a, b date.Date) date.Date {
	if b.After(a) {
		return b
	}
	return a
}

func (b StaffHoursChange) read(f *scheduling.Faults) made {
	list := windows(f, "staff_hours.week.work", "work", b.Week.Work)
	list = append(list, windows(f, "staff_hours.week.breaks", "break", b.Week.Breaks)...)
	return func(ctx context.Context, t *store.Tx) error {
		if err := knownPerson(ctx, t, "staff_hours.staff_id", b.StaffID); err != nil {
			return err
		}
		return t.SetStaffHours(ctx, b.StaffID, list)
	}
}

// knownPerson returns an *scheduling.InvalidError for somebody who is not of the
// salon.
func knownPerson(ctx context.Context, t *store.Tx, field, id string) error {
	_, err := t.StaffByID(ctx, id)
	if is(err, scheduling.ErrNotFound) {
		return &scheduling.InvalidError{Field: field, Problem: "is not known", Want: "the id of a person of this salon"}
	}
	return err
}

func closing(list []store.Closure) made {
	return func(ctx context.Context, t *store.Tx) error {
		for _, c := range list {
			if _, err := t.AddClosure(ctx, c); err != nil {
				return err
			}
		}
		return nil
	}
}

func away(a store.Absence) made {
	return func(ctx context.Context, t *store.Tx) error {
		known, err := t.HasUnit(ctx, a.Unit)
		if err != nil {
			return err
		}
		if !known {
			return &scheduling.InvalidError{Field: "absence.unit_id", Problem: "is not known", Want: "the id of a person or station of this salon"}
		}
		_, err = t.AddAbsence(ctx, a)
		return err
	}
}

func changed(id string, row store.Staff) made {
	return func(ctx context.Context, t *store.Tx) error {
		if err := knownPerson(ctx, t, "staff.staff_id", id); err != nil {
			return err
		}
		old, err := t.StaffByID(ctx, id)
		if err != nil {
			return err
		}
		p := row // a transaction may run twice
		p.ID, p.Version, p.Active = id, old.Version, old.Active
		_, err = t.UpdateStaff(ctx, p)
		return err
	}
}

func gone(id string) made {
	return func(ctx context.Context, t *store.Tx) error {
		if err := t.LockRota(ctx); err != nil {
			return err
		}
		p, err := t.StaffByID(ctx, id)
		if err == nil {
			p.Active = false
			_, err = t.UpdateStaff(ctx, p)
			return err
		}
		if !is(err, scheduling.ErrNotFound) {
			return err
		}
		u, err := t.StationByID(ctx, id)
		if is(err, scheduling.ErrNotFound) {
			return &scheduling.InvalidError{Field: "gone_unit_id", Problem: "is not known", Want: "the id of a person or station of this salon"}
		}
		if err != nil {
			return err
		}
		u.Active = false
		_, err = t.UpdateStation(ctx, u)
		return err
	}
}

// hitBy writes the visits of hit with what could be done about each, as the salon
// is after the change.
func (s *Server) hitBy(ctx context.Context, t *store.Tx, n salonDay, h openings.Horizon, hit *fallout) (ChangePreviewBody, error) {
	out := ChangePreviewBody{Words: hitWords(len(hit.visits)), Until: h.Days.Last.String(), Visits: []HitVisitBody{}}
	clients, err := clientsOf(ctx, t, hit.visits)
	if err != nil {
		return out, err
	}
	for i, v := range hit.visits {
		b := HitVisitBody{VisitID: v.ID, Start: v.Start.In(n.loc), End: v.End.In(n.loc), State: string(v.State), Who: v.Title,
			Services: []string{}, Lead: hit.names[v.Lead()], Why: hit.why[v.ID], Remedies: []HitRemedyBody{}}
		if !isKept(v) && v.Client != "" {
			b.Who = shortName(clients[v.ID])
		}
		for _, x := range v.Services {
			b.Services = append(b.Services, x.Name)
		}
		if hit.product {
			b.Remedies = append(b.Remedies, HitRemedyBody{Kind: "product", Words: "Give another product instead, on the page of the visit: another strength needs the licensed person's yes"})
		} else if i < mostTried && movable(v) {
			r, ok, err := s.sameTime(ctx, t, n, v, hit.names)
			if err != nil {
				return out, err
			}
			if ok {
				b.Remedies = append(b.Remedies, r)
			}
		}
		if movable(v) {
			b.Remedies = append(b.Remedies, HitRemedyBody{Kind: "move", Words: "Move it to another time"})
		}
		if !hit.product {
			d := scheduling.CivilDate(v.Start, n.loc).String()
			b.Remedies = append(b.Remedies, HitRemedyBody{Kind: "rearrange", Words: "Rearrange the day", Date: d})
		}
		out.Visits = append(out.Visits, b)
	}
	return out, nil
}

func hitWords(n int) string {
	switch n {
	case 0:
		return "No booked visit is hit"
	case 1:
		return "1 visit is hit"
	}
	return fmt.Sprintf("%d visits are hit", n)
}

// mostTried is for how many visits another stylist at the same time is tried
// (judgement: each is a search, and more hits are a matter for the whole day).
const mostTried = 12

func movable(v store.Visit) bool { return v.State == store.Booked && !isKept(v) }

// sameTime tries whether v fits at its start when anybody who can is in charge of
// it, in any chair. What it tried is taken back at once.
func (s *Server) sameTime(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, names map[string]string) (HitRemedyBody, bool, error) {
	var now store.Visit
	err := t.Savepoint(ctx, func(t *store.Tx) error {
		list, err := s.rearrange(ctx, t, n, []change{{id: v.ID, lead: newLead{Any: true}, link: looseLink, approvedBy: v.ApprovedBy}})
		if err != nil {
			return err
		}
		now = list[0]
		return errLooked
	})
	if !is(err, errLooked) {
		if _, ours := errors.AsType[*Problem](err); ours || unfit(err) || is(err, store.ErrTaken) || is(err, scheduling.ErrNotFound) || isFaulty(err) {
			return HitRemedyBody{}, false, nil
		}
		return HitRemedyBody{}, false, err
	}
	if !now.Start.Equal(v.Start) {
		return HitRemedyBody{}, false, nil
	}
	r := HitRemedyBody{Kind: "same_time", Words: "The same time, with others at it"}
	if now.Lead() != v.Lead() {
		r.LeadID = now.Lead()
		r.Words = "The same time, " + names[now.Lead()] + " in charge"
	} else if now.Chair != v.Chair {
		r.Words = "The same time, at " + names[now.Chair]
	}
	return r, true, nil
}

// withoutProduct says which visits take a product.
func (s *Server) withoutProduct(ctx context.Context, t *store.Tx, n salonDay, product string, h openings.Horizon) (ChangePreviewBody, error) {
	p, err := t.ProductByID(ctx, product)
	if is(err, scheduling.ErrNotFound) {
		return ChangePreviewBody{}, &scheduling.InvalidError{Field: "ended_product_id", Problem: "is not known", Want: "the id of a product of this salon"}
	}
	if err != nil {
		return ChangePreviewBody{}, err
	}
	ids, err := t.VisitsTaking(ctx, product)
	if err != nil {
		return ChangePreviewBody{}, err
	}
	hit := &fallout{product: true, why: map[string][]string{}}
	if hit.names, err = unitNames(ctx, t); err != nil {
		return ChangePreviewBody{}, err
	}
	if hit.visits, err = t.VisitsByID(ctx, ids); err != nil {
		return ChangePreviewBody{}, err
	}
	hit.visits = slices.DeleteFunc(hit.visits, func(v store.Visit) bool { return over(v, s.now()) })
	for _, v := range hit.visits {
		hit.why[v.ID] = []string{"it takes " + productName(p.Name, p.Strength)}
	}
	return s.hitBy(ctx, t, n, h, hit)
}
