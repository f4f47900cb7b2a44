package api

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// PrivateCalendarBody is a person's private calendar: when she is busy counts
// as an absence, what she does is not kept.
type PrivateCalendarBody struct {
	ID         string               `json:"id"`
	Staff      string               `json:"staff_id"`
	Label      string               `json:"label" doc:"What the person calls it"`
	Source     string               `json:"source" enum:"url,file" doc:"url: fetched again and again; file: handed in by somebody"`
	Host       string               `json:"host,omitempty" doc:"Where it is fetched. The rest of the address is a secret and is not shown again"`
	AllDayBusy bool                 `json:"all_day_busy" doc:"Whether events of whole days count as well"`
	Active     bool                 `json:"active" doc:"Switched off, it is not fetched and has no absences"`
	State      string               `json:"state" enum:"not_read_yet,read,failing,broken,off" doc:"failing: the last try failed, what was read before counts on; broken: it has not been there several times in a row, what was read before counts on"`
	Failure    string               `json:"failure,omitempty" doc:"Why the last try failed"`
	Failures   int                  `json:"failures" doc:"Tries that failed since it was read last"`
	Tried      *time.Time           `json:"last_tried_at,omitempty"`
	Read       *time.Time           `json:"last_read_at,omitempty" doc:"When it was read last, or known to be the same as before"`
	Next       *time.Time           `json:"next_try_at,omitempty" doc:"Of a file: when it is worked out for later days"`
	BusyTimes  int                  `json:"busy_times" doc:"Absences that come from it"`
	FirstDate  string               `json:"first_date,omitempty" format:"date" doc:"First day for which it counts"`
	LastDate   string               `json:"last_date,omitempty" format:"date" doc:"Last day for which it counts, included; moves on with every month"`
	Problems   []PrivateProblemBody `json:"problems" nullable:"false" doc:"What of it could not be read or is doubtful, without titles"`
	Created    time.Time            `json:"created_at"`
	Conflicts  []string             `json:"visits_in_conflict,omitempty" nullable:"false" doc:"Visits over which its absences lie; nothing is moved. Left out in lists"`
}

// PrivateProblemBody is one thing in a calendar that was lost or is doubtful.
type PrivateProblemBody struct {
	Line  int    `json:"line,omitempty" doc:"Of the file"`
	Where string `json:"where,omitempty" example:"VEVENT DTSTART"`
	What  string `json:"what" doc:"A clause whose subject is where"`
}

// NewPrivateCalendarBody asks for a calendar to be fetched from now on.
type NewPrivateCalendarBody struct {
	Staff      string `json:"staff_id" maxLength:"64" doc:"Whose calendar it is"`
	Label      string `json:"label" required:"false" doc:"What the person calls it"`
	Address    string `json:"address" maxLength:"2000" doc:"Secret https or webcal address of an iCalendar file" example:"https://calendars.example/secret.ics"`
	AllDayBusy bool   `json:"all_day_busy" required:"false" doc:"Whether events of whole days count as well, if they are not marked as free"`
}

// PrivateCalendarChange is what may be changed of a private calendar.
type PrivateCalendarChange struct {
	Label      string `json:"label"`
	AllDayBusy bool   `json:"all_day_busy"`
	Active     bool   `json:"active"`
}

type newPrivateInput struct{ Body NewPrivateCalendarBody }

type changePrivateInput struct {
	ByID
	Precondition
	Body PrivateCalendarChange
}

type deletePrivateInput struct {
	ByID
	Precondition
}

// conflicts is what an operation can answer that does not fit the present state.
var conflicts = []int{http.StatusConflict}

func (s *Server) privateCalendarRoutes() {
	const all, one = "/private-calendars", "/private-calendars/{id}"
	route(s, huma.Operation{OperationID: "list-private-calendars", Method: http.MethodGet, Path: all,
		Summary: "Private calendars of the staff; a stylist's token lists her own"}, s.listPrivate)
	route(s, huma.Operation{OperationID: "add-private-calendar", Method: http.MethodPost, Path: all,
		Summary: "Fetch a person's private calendar from now on", DefaultStatus: http.StatusCreated, Errors: conflicts}, s.addPrivate)
	route(s, upload(huma.Operation{OperationID: "add-private-file", Method: http.MethodPost, Path: all + "/files",
		Summary: "Hand in a file as a person's private calendar", DefaultStatus: http.StatusCreated, Errors: conflicts}), s.addPrivateFile)
	route(s, huma.Operation{OperationID: "get-private-calendar", Method: http.MethodGet, Path: one,
		Summary: "A private calendar, with what could not be read and the visits in conflict"}, s.getPrivate)
	route(s, huma.Operation{OperationID: "update-private-calendar", Method: http.MethodPut, Path: one, Summary: "Change a private calendar"}, s.updatePrivate)
	route(s, upload(huma.Operation{OperationID: "replace-private-file", Method: http.MethodPut, Path: one + "/file",
		Summary: "Hand in a newer file"}), s.replacePrivateFile)
	route(s, huma.Operation{OperationID: "fetch-private-calendar", Method: http.MethodPost, Path: one + "/fetch",
		Summary: "Fetch a private calendar now", Errors: conflicts}, s.fetchPrivateNow)
	route(s, huma.Operation{OperationID: "delete-private-calendar", Method: http.MethodDelete, Path: one,
		Summary: "Forget a private calendar with its absences"}, s.deletePrivate)
}

// brokenAfter is how often in a row a calendar must not be there to count as
// broken (judgement: servers are moved and put right within hours).
const brokenAfter = 3

var errPrivateAbsence = newProblem(http.StatusConflict, "conflict",
	"this absence comes from a private calendar and would come back: change it there, or switch off or delete the private calendar")

func writePrivate(c store.PrivateCalendar, loc *time.Location) PrivateCalendarBody {
	b := PrivateCalendarBody{ID: c.ID, Staff: c.Staff, Label: c.Label, Source: c.Source, Host: c.Host, AllDayBusy: c.AllDayBusy, Active: c.Active,
		State: "read", Failure: c.Failure, Failures: c.Failures, Tried: timeIn(c.Fetched, loc), Read: timeIn(c.OK, loc), Next: timeIn(&c.Due, loc),
		BusyTimes: c.Intervals, FirstDate: c.From, Problems: []PrivateProblemBody{}, Created: c.Created.In(loc)}
	if to, err := time.Parse(time.DateOnly, c.To); err == nil {
		b.LastDate = to.AddDate(0, 0, -1).Format(time.DateOnly)
	}
	for _, p := range c.Problems {
		b.Problems = append(b.Problems, PrivateProblemBody(p))
	}
	switch {
	case !c.Active:
		b.State, b.Next = "off", nil
	case c.Gone >= brokenAfter:
		b.State = "broken"
	case c.Failures > 0:
		b.State = "failing"
	case !c.HasFile:
		b.State = "not_read_yet"
	}
	return b
}

func timeIn(t *time.Time, loc *time.Location) *time.Time {
	if t == nil {
		return nil
	}
	in := t.In(loc)
	return &in
}

// withConflicts is a calendar as it is answered, with the visits over which it
// lies.
func (s *Server) withConflicts(ctx context.Context, t *store.Tx, c store.PrivateCalendar) (*found[PrivateCalendarBody], error) {
	loc, err := zone(ctx, t)
	if err != nil {
		return nil, err
	}
	out := &found[PrivateCalendarBody]{etag(c.Version), writePrivate(c, loc)}
	hit, err := t.PrivateConflicts(ctx, c.ID, s.now())
	for _, x := range hit {
		out.Body.Conflicts = append(out.Body.Conflicts, x.Visit)
	}
	out.Body.Conflicts = slices.Compact(out.Body.Conflicts)
	return out, err
}

// privateOf returns a calendar that the caller may see: a stylist's token sees
// the stylist's own, for the others of hers there are none.
func privateOf(ctx context.Context, c store.PrivateCalendar, err error) (store.PrivateCalendar, error) {
	if p := principal(ctx); err == nil && p.Role == store.LeadRole && p.StaffID != c.Staff {
		return store.PrivateCalendar{}, scheduling.ErrNotFound
	}
	return c, err
}

func (s *Server) listPrivate(ctx context.Context, _ *empty) (*listBody[PrivateCalendarBody], error) {
	var rows []store.PrivateCalendar
	var loc *time.Location
	p := principal(ctx)
	err := s.inTx(ctx, func(t *store.Tx) (err error) {
		if loc, err = zone(ctx, t); err != nil || p.Role == store.LeadRole && p.StaffID == "" {
			return err
		}
		only := ""
		if p.Role == store.LeadRole {
			only = p.StaffID
		}
		rows, err = t.PrivateCalendars(ctx, only)
		return err
	})
	return listOf(rows, func(c store.PrivateCalendar) PrivateCalendarBody { return writePrivate(c, loc) }), err
}

func (s *Server) getPrivate(ctx context.Context, in *ByID) (*found[PrivateCalendarBody], error) {
	var out *found[PrivateCalendarBody]
	err := s.inTx(ctx, func(t *store.Tx) error {
		c, err := t.PrivateCalendarByID(ctx, in.ID)
		if c, err = privateOf(ctx, c, err); err != nil {
			return err
		}
		out, err = s.withConflicts(ctx, t, c)
		return err
	})
	return out, err
}

// mostPrivate is how many private calendars a person may have (judgement).
const mostPrivate = 10

var errTooManyPrivate = newProblem(http.StatusConflict, "conflict", "this person has ten private calendars already: delete one of them first")

// newPrivate checks whose calendar it would be, and returns the salon it is in.
// prefix is "query." for what stands in the address.
func (s *Server) newPrivate(ctx context.Context, f scheduling.Faults, prefix, staff string) (store.Salon, error) {
	if p := principal(ctx); p.Role == store.LeadRole && staff != p.StaffID {
		return store.Salon{}, newProblem(http.StatusForbidden, "forbidden", "a stylist adds her own calendar, the desk and the owner everybody's")
	}
	var n store.Salon
	err := s.inTx(ctx, func(t *store.Tx) error {
		who, err := t.StaffByID(ctx, staff)
		switch {
		case is(err, scheduling.ErrNotFound):
			f.Add(prefix+"staff_id", "is not known", "the id of a person of this salon")
		case err != nil:
			return err
		case !who.Active:
			f.Add(prefix+"staff_id", "does not work here any more", "the id of a person who does")
		}
		if err := f.Err(); err != nil {
			return err
		}
		if n, err = t.SalonRow(ctx); err != nil {
			return err
		}
		list, err := t.PrivateCalendars(ctx, staff)
		if err == nil && len(list) >= mostPrivate {
			err = errTooManyPrivate
		}
		return err
	})
	return n, err
}

func (s *Server) addPrivate(ctx context.Context, in *newPrivateInput) (*created[PrivateCalendarBody], error) {
	var f scheduling.Faults
	b := in.Body
	b.Label = text(&f, "label", b.Label, 0, 80)
	b.Address = calendarAddress(b.Address)
	if s.outbound == nil {
		return nil, errNoFetching
	}
	if err := s.outbound.Check(b.Address); err != nil {
		f.Add("address", "cannot be used: "+err.Error(), "an https address of a public server, such as https://calendars.example/secret.ics")
	} else if strings.HasPrefix(strings.ToLower(b.Address), strings.ToLower(s.base)+"/") {
		f.Add("address", "is one of this service, and her visits keep her busy already", "the address of a calendar of her private life")
	}
	n, err := s.newPrivate(ctx, f, "", b.Staff)
	if err != nil {
		return nil, err
	}
	c := store.PrivateCalendar{Staff: b.Staff, Label: b.Label, Source: store.PrivateURL, Host: hostOf(b.Address), AllDayBusy: b.AllDayBusy, Active: true}
	got := s.fetched(ctx, n, store.PrivateFetch{PrivateCalendar: c, Address: b.Address}, handFetch)
	if got.Failure != "" {
		return nil, &scheduling.InvalidError{Field: "address", Problem: "gives no calendar: " + got.Failure, Want: "an address that gives an iCalendar file"}
	}
	c.Due = got.Due
	return s.addRead(ctx, c, b.Address, *got.Read, *got.Busy)
}

// addRead adds a calendar that has been read.
func (s *Server) addRead(ctx context.Context, c store.PrivateCalendar, address string, r store.PrivateReading, b store.PrivateBusy) (*created[PrivateCalendarBody], error) {
	var out *found[PrivateCalendarBody]
	err := s.inTx(ctx, func(t *store.Tx) error {
		row, err := t.AddPrivateCalendar(ctx, c, address)
		if err != nil {
			return err
		}
		// The person is locked now: others have added theirs before, or wait.
		if list, err := t.PrivateCalendars(ctx, c.Staff); err != nil {
			return err
		} else if len(list) > mostPrivate {
			return errTooManyPrivate
		}
		if err := t.KeepPrivateReading(ctx, row.ID, r, s.now()); err != nil {
			return err
		}
		if err := s.setPrivateBusy(ctx, t, row.ID, b); err != nil {
			return err
		}
		if row, err = t.PrivateCalendarByID(ctx, row.ID); err != nil {
			return err
		}
		out, err = s.withConflicts(ctx, t, row)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &created[PrivateCalendarBody]{Location: "/v1/private-calendars/" + out.Body.ID, ETag: out.ETag, Body: out.Body}, nil
}

// calendarAddress is an address as it is fetched: webcal stands for https.
func calendarAddress(s string) string {
	s = strings.TrimSpace(s)
	for _, scheme := range []string{"webcal://", "webcals://"} {
		if len(s) >= len(scheme) && strings.EqualFold(s[:len(scheme)], scheme) {
			return "https://" + s[len(scheme):]
		}
	}
	return s
}

func hostOf(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return ""
	}
	return u.Hostname()
}

// lockPrivate locks a calendar that the caller may change and that still has
// the version of the precondition.
func lockPrivate(ctx context.Context, t *store.Tx, id string, version int64) (store.PrivateCalendar, error) {
	c, err := t.LockPrivateCalendar(ctx, id)
	if c, err = privateOf(ctx, c, err); err != nil {
		return c, err
	}
	if c.Version != version {
		return c, scheduling.ErrStale
	}
	return c, nil
}

func (s *Server) updatePrivate(ctx context.Context, in *changePrivateInput) (*found[PrivateCalendarBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	label := text(&f, "label", in.Body.Label, 0, 80)
	if err := f.Err(); err != nil {
		return nil, err
	}
	var out *found[PrivateCalendarBody]
	err = s.inTx(ctx, func(t *store.Tx) error {
		c, err := lockPrivate(ctx, t, in.ID, version)
		if err != nil {
			return err
		}
		old := c
		c.Label, c.AllDayBusy, c.Active = label, in.Body.AllDayBusy, in.Body.Active
		if c.Active && !old.Active {
			c.Due = s.now()
		}
		if c, err = t.UpdatePrivateCalendar(ctx, c); err != nil {
			return err
		}
		if c.Active != old.Active || c.AllDayBusy != old.AllDayBusy {
			if c, err = s.reworkPrivate(ctx, t, c); err != nil {
				return err
			}
		}
		out, err = s.withConflicts(ctx, t, c)
		return err
	})
	return out, err
}

// reworkPrivate makes the absences of a locked calendar those of its last good
// file by its present settings.
func (s *Server) reworkPrivate(ctx context.Context, t *store.Tx, c store.PrivateCalendar) (store.PrivateCalendar, error) {
	if !c.Active {
		if err := clearPrivateBusy(ctx, t, c.ID); err != nil {
			return c, err
		}
		return t.PrivateCalendarByID(ctx, c.ID)
	}
	n, err := t.SalonRow(ctx)
	if err != nil {
		return c, err
	}
	file, err := t.PrivateFileOf(ctx, c.ID)
	if err != nil || file == nil {
		return c, err
	}
	r, err := s.readPrivate(ctx, n, c, file)
	if err != nil {
		return c, err
	}
	if err := s.setPrivateBusy(ctx, t, c.ID, r.busy); err != nil {
		return c, err
	}
	return t.PrivateCalendarByID(ctx, c.ID)
}

func (s *Server) deletePrivate(ctx context.Context, in *deletePrivateInput) (*empty, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return nil, s.inTx(ctx, func(t *store.Tx) error {
		if _, err := lockPrivate(ctx, t, in.ID, version); err != nil {
			return err
		}
		if err := clearPrivateBusy(ctx, t, in.ID); err != nil {
			return err
		}
		return t.DeletePrivateCalendar(ctx, in.ID, version)
	})
}
