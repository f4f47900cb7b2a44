package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// WishBody is a request on the waiting list.
type WishBody struct {
	ID        string           `json:"id" readOnly:"true" required:"false"`
	State     string           `json:"state" readOnly:"true" required:"false" enum:"waiting,booked,withdrawn"`
	ClientID  string           `json:"client_id" maxLength:"64"`
	Services  []ServiceRequest `json:"services" nullable:"false" minItems:"1" maxItems:"8" doc:"As in a booking, in order, with the hair where the time depends on it"`
	Value     *int64           `json:"value_cents,omitempty" minimum:"0" maximum:"100000000" doc:"What serving the request is worth; left out: the price of its services"`
	FirstDate string           `json:"first_date" format:"date" doc:"First day that suits, at most 366 days ahead"`
	LastDate  string           `json:"last_date" format:"date" doc:"Last day that suits, at most a year after the first"`
	Weekdays  []int            `json:"weekdays,omitempty" nullable:"false" minimum:"1" maximum:"7" maxItems:"7" doc:"1 Monday to 7 Sunday; left out: every day"`
	From      string           `json:"from,omitempty" doc:"Earliest start by the clock; left out: any" example:"09:00"`
	To        string           `json:"to,omitempty" doc:"Latest end by the clock; at or before from means the next day; left out: any" example:"15:30"`
	LeadIDs   []string         `json:"lead_ids,omitempty" nullable:"false" maxLength:"64" maxItems:"8" doc:"Stylists one of whom is to be in charge, instead of lead_id in the services; left out: anybody"`
	Notice    int              `json:"notice_minutes,omitempty" minimum:"0" maximum:"43200" doc:"How long before the start the client has to hear of it"`
	Note      string           `json:"note,omitempty" doc:"Becomes the note of the visit"`
	VisitID   string           `json:"visit_id,omitempty" maxLength:"64" doc:"The visit that became of it; given in a change, it takes the request off the list"`
	Pencilled string           `json:"pencilled_visit_id,omitempty" readOnly:"true" required:"false" doc:"The visit that is pencilled for it: it is offered nothing else meanwhile"`
	Created   *time.Time       `json:"created_at,omitempty" readOnly:"true" required:"false"`

	Version    int64    `json:"version,omitempty" readOnly:"true" required:"false" doc:"The number in its ETag; only in lists"`
	ClientName string   `json:"client_name,omitempty" readOnly:"true" required:"false" doc:"First name and initial; only in lists"`
	ContactBy  string   `json:"contact_by,omitempty" readOnly:"true" required:"false" enum:"mail,call,text,none,not_asked" doc:"The preferred way; only in lists"`
	Names      []string `json:"service_names,omitempty" readOnly:"true" required:"false" doc:"Of the services, in order; only in lists"`
	Leads      []string `json:"lead_names,omitempty" readOnly:"true" required:"false" doc:"Of the wished stylists in charge; only in lists"`
}

type wishInput struct {
	Repeatable
	Body WishBody
}
type wishChange struct {
	ByID
	Precondition
	Body WishBody
}
type wishQuery struct {
	State    string `query:"state" enum:"waiting,booked,withdrawn,any" default:"waiting"`
	ClientID string `query:"client_id" maxLength:"64" doc:"Requests of one client"`
	Cursor   string `query:"cursor" maxLength:"64" doc:"As in the Link header of the page before"`
	Limit    int    `query:"limit" minimum:"1" maximum:"200" default:"50"`
}
type wishPage struct {
	Link string `header:"Link"`
	Body struct {
		Items []WishBody `json:"items" nullable:"false"`
	}
}

func (s *Server) wishRoutes() {
	route(s, huma.Operation{OperationID: "list-waiting", Method: http.MethodGet, Path: "/waiting-list", Summary: "Waiting-list requests, the oldest first, a page at a time"}, s.listWishes)
	route(s, huma.Operation{OperationID: "add-waiting", Method: http.MethodPost, Path: "/waiting-list", Summary: "Put a request on the waiting list",
		DefaultStatus: http.StatusCreated}, s.addWish)
	route(s, huma.Operation{OperationID: "get-waiting", Method: http.MethodGet, Path: "/waiting-list/{id}", Summary: "One waiting-list request"}, s.getWish)
	route(s, huma.Operation{OperationID: "update-waiting", Method: http.MethodPut, Path: "/waiting-list/{id}", Summary: "Change a request that is waiting, or say which visit became of it"}, s.updateWish)
	route(s, huma.Operation{OperationID: "withdraw-waiting", Method: http.MethodDelete, Path: "/waiting-list/{id}", Summary: "The client does not wait any more"}, s.withdrawWish)
	route(s, huma.Operation{OperationID: "match-waiting", Method: http.MethodPost, Path: "/waiting-list/matches",
		Summary: "Who of the waiting list fits into time that is free, or that a visit frees?"}, s.matchWishes)
}

// longestWish is how many days a request may wait for, and how many days ahead the first of
// them may lie (judgement): what waits holds its client on record.
const longestWish = 366

// wish checks a request and works it out.
func (s *Server) wish(ctx context.Context, t *store.Tx, n salonDay, b WishBody) (store.Wish, error) {
	var f scheduling.Faults
	w := store.Wish{Client: b.ClientID, Weekdays: slices.Compact(slices.Sorted(slices.Values(b.Weekdays))), Leads: b.LeadIDs, Notice: b.Notice, To: 1440}
	if w.Note = text(&f, "note", b.Note, 0, 500); len(w.Weekdays) == 0 {
		w.Weekdays = []int{1, 2, 3, 4, 5, 6, 7}
	}
	if err := knownClient(ctx, t, &f, b.ClientID); err != nil {
		return w, err
	}
	s.wishTime(&f, n, b, &w)
	for i, id := range b.LeadIDs {
		var one scheduling.Faults
		if err := knownLead(ctx, t, &one, "", id); err != nil {
			return w, err
		}
		for _, e := range one {
			f.Add(index("lead_ids", i), e.Problem, e.Want)
		}
	}
	if len(b.LeadIDs) > 0 && slices.ContainsFunc(b.Services, func(r ServiceRequest) bool { return r.LeadID != "" }) {
		f.Add("lead_ids", "stand beside lead_id in a service", "one of the two")
	}
	c, err := compose(ctx, t, n, b.Services)
	if err := f.Join("", err); err != nil {
		return w, err
	}
	c.others(&f, b.ClientID)
	if err := f.Err(); err != nil {
		return w, err
	}
	w.ValueCents = c.price
	if b.Value != nil {
		w.ValueCents = *b.Value
	}
	if w.Wanted, err = json.Marshal(c.asked(b.Services)); err != nil {
		return w, err
	}
	if err := c.consult(ctx, t, n, b.ClientID, s.now()); err != nil {
		return w, err
	}
	if err := c.guard(n, s.now(), s.now(), "asked when it is booked", nil); err != nil {
		return w, err
	}
	return w, s.canEver(ctx, t, n, w, c)
}

// wishTime reads the days and the time of day.
func (s *Server) wishTime(f *scheduling.Faults, n salonDay, b WishBody, w *store.Wish) {
	before := len(*f)
	w.First, w.Last = day(f, "first_date", b.FirstDate), day(f, "last_date", b.LastDate)
	if b.From != "" {
		if w.From = clockOf(f, "from", b.From); w.From == 1440 {
			f.Add("from", "is 24:00", "00:00")
		}
	}
	if b.To != "" {
		if w.To = clockOf(f, "to", b.To); w.To <= w.From {
			w.To += 1440
		}
	}
	if len(*f) > before {
		return
	}
	today := scheduling.CivilDate(s.now(), n.loc)
	switch {
	case w.Last.Before(w.First) || w.Last.Sub(w.First) > longestWish:
		f.Add("last_date", "does not lie within 366 days from first_date", "first_date or a later day")
	case w.First.Sub(today) > longestWish:
		f.Add("first_date", "lies more than 366 days ahead", "a day within 366 days")
	case w.Last.Before(today):
		f.Add("last_date", "lies in the past", "a day that is still to come")
	case !slices.ContainsFunc(w.Weekdays, func(d int) bool { return falls(d, w.First, w.Last) }):
		f.Add("weekdays", "has none of the days from first_date to last_date", "a weekday between the two")
	}
}

// weekday counts 1 Monday to 7 Sunday.
func weekday(d date.Date) int { return (int(d.Weekday())+6)%7 + 1 }

// falls reports whether a weekday lies between first and last.
func falls(day int, first, last date.Date) bool {
	return int(first.Add(date.PeriodOfDays((day-weekday(first)+7)%7)).Sub(last)) <= 0
}

// canEver refuses a request whose services could not be placed even if nobody
// else were booked.
func (s *Server) canEver(ctx context.Context, t *store.Tx, n salonDay, w store.Wish, c *composed) error {
	first := w.First
	if today := scheduling.CivilDate(s.now(), n.loc); first.Before(today) {
		first = today
	}
	for ; !first.After(w.Last); first = first.Add(mostDays) {
		last := first.Add(mostDays - 1)
		if last.After(w.Last) {
			last = w.Last
		}
		h := around(n.loc, first, last)
		shop, err := t.LoadShop(ctx, h, s.now())
		if err != nil {
			return err
		}
		for i := range shop.Units {
			shop.Units[i].Bookings, shop.Units[i].Bays = nil, nil
		}
		fits, err := s.everIn(n, w, c, h, shop)
		if fits || err != nil {
			return err
		}
	}
	return &scheduling.InvalidError{Field: "services", Problem: fmt.Sprintf("take %d minutes, and at no time that suits is everybody and everything they need there for so long", c.minutes()),
		Want: "other days or times of day, or other stylists"}
}

// mostDays is how many days are searched at once: two months, what one request for
// openings may cover (judgement).
const mostDays = 62

// everIn reports whether the services fit into an empty shop.
func (s *Server) everIn(n salonDay, w store.Wish, c *composed, h openings.Horizon, shop openings.Shop) (bool, error) {
	snap, err := openings.NewSnapshot(shop)
	if err != nil {
		return false, fmt.Errorf("api: waiting list: %w", err)
	}
	n.tidy(c.plan, shop)
	plan, err := openings.Compile(ledBy(c.plan.Spec, w.Leads), snap)
	if err != nil {
		return false, fmt.Errorf("api: waiting list: %w", err)
	}
	if missing := plan.Missing(); len(missing) > 0 {
		return false, &scheduling.InvalidError{Field: "services", Problem: neverPlaced + strings.Join(missing, "; "),
			Want: "services that somebody here can carry out"}
	}
	for _, x := range n.windowsOf(w, h, s.now()) {
		q, ok := x.query(c, 1)
		if !ok {
			continue
		}
		if _, fits, err := plan.Soonest(snap, q); fits || err != nil {
			return fits, err
		}
	}
	return false, nil
}

// ledBy narrows who is in charge to some stylists, if there are any.
func ledBy(spec openings.VisitSpec, leads []string) openings.VisitSpec {
	if len(leads) > 0 {
		spec.Roles = slices.Clone(spec.Roles)
		spec.Roles[0].Only = leads
	}
	return spec
}

// wishWindow is a stretch in which a request may lie as a whole.
type wishWindow struct{ openings.Span }

// query asks for starts in the window, and is false when the visit is too long
// for it.
func (x wishWindow) query(c *composed, grid openings.Minute) (openings.Query, bool) {
	end := x.To + c.plan.Clears()
	q := openings.Query{From: x.From, To: x.To - openings.Minute(c.minutes()), Grid: grid, EndBy: &end}
	return q, q.From <= q.To
}

// windowsOf lists when w may take place on the days of h, as of now.
func (n salonDay) windowsOf(w store.Wish, h openings.Horizon, now time.Time) []wishWindow {
	soonest := h.Minute(now.Add(time.Duration(w.Notice)*time.Minute + time.Minute - 1))
	var out []wishWindow
	for d := h.Days.First; !d.After(h.Days.Last); d = d.Add(1) {
		if d.Before(w.First) || d.After(w.Last) || !slices.Contains(w.Weekdays, weekday(d)) {
			continue
		}
		x := wishWindow{openings.Span{From: max(h.Minute(wall(n.loc, d, w.From)), soonest, 0), To: min(h.Minute(wall(n.loc, d, w.To)), h.Length)}}
		if x.From < x.To {
			out = append(out, x)
		}
	}
	return out
}

func writeWish(w store.Wish, n salonDay) (WishBody, error) {
	b := WishBody{ID: w.ID, State: string(w.State), ClientID: w.Client, Value: &w.ValueCents, FirstDate: w.First.String(), LastDate: w.Last.String(),
		Weekdays: w.Weekdays, From: clockText(w.From), LeadIDs: w.Leads, Notice: w.Notice, Note: w.Note, Created: localTime(&w.Created, n.loc)}
	if b.To = clockText(w.To); w.To == 1440 {
		b.To = "24:00"
	}
	switch {
	case w.Visit != nil && w.State == store.WishBooked:
		b.VisitID = *w.Visit
	case w.Visit != nil && w.Pencilled:
		b.Pencilled = *w.Visit
	}
	if err := json.Unmarshal(w.Wanted, &b.Services); err != nil {
		return b, fmt.Errorf("api: waiting-list request: %w", err)
	}
	b.Services = shownServices(b.Services, n.time.Units)
	return b, nil
}

func (s *Server) listWishes(ctx context.Context, in *wishQuery) (*wishPage, error) {
	var out wishPage
	out.Body.Items = []WishBody{}
	state := store.WishState(in.State)
	if in.State == "any" {
		state = ""
	}
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		rows, err := t.Wishes(ctx, state, in.ClientID, in.Cursor, in.Limit+1)
		if err != nil {
			return err
		}
		if len(rows) > in.Limit {
			rows = rows[:in.Limit]
			out.Link = nextLink("/v1/waiting-list", "client_id", in.ClientID, rows[len(rows)-1].ID, in.Limit)
			if in.State != string(store.WishWaiting) {
				out.Link = strings.Replace(out.Link, "?", "?state="+in.State+"&", 1)
			}
		}
		for _, w := range rows {
			b, err := writeWish(w, n)
			if err != nil {
				return err
			}
			b.Version = w.Version
			out.Body.Items = append(out.Body.Items, b)
		}
		return s.nameWishes(ctx, t, n, out.Body.Items)
	})
	return &out, err
}

func (s *Server) addWish(ctx context.Context, in *wishInput) (*created[WishBody], error) {
	return once(s, ctx, in.Repeatable, "/waiting-list", in.Body, func(t *store.Tx) (*created[WishBody], error) {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		if in.Body.VisitID != "" {
			return nil, &scheduling.InvalidError{Field: "visit_id", Problem: "is given with a new request", Want: "nothing, as long as no visit became of it"}
		}
		w, err := s.wish(ctx, t, n, in.Body)
		if err != nil {
			return nil, err
		}
		if w, err = t.AddWish(ctx, w); err != nil {
			return nil, err
		}
		if err := s.noteAction(ctx, t, didWait, w.ID, w.Version, nil); err != nil {
			return nil, err
		}
		b, err := writeWish(w, n)
		return &created[WishBody]{Location: "/v1/waiting-list/" + w.ID, ETag: etag(w.Version), Body: b}, err
	})
}

func (s *Server) getWish(ctx context.Context, in *ByID) (*found[WishBody], error) {
	return s.answerWish(ctx, func(t *store.Tx, _ salonDay) (store.Wish, error) { return t.WishByID(ctx, in.ID) })
}

// answerWish runs f in a transaction and answers with the request it returns.
func (s *Server) answerWish(ctx context.Context, f func(*store.Tx, salonDay) (store.Wish, error)) (*found[WishBody], error) {
	var out found[WishBody]
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		w, err := f(t, n)
		if err != nil {
			return err
		}
		b, err := writeWish(w, n)
		out = found[WishBody]{etag(w.Version), b}
		return err
	})
	return &out, err
}

func (s *Server) updateWish(ctx context.Context, in *wishChange) (*found[WishBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return s.answerWish(ctx, func(t *store.Tx, n salonDay) (store.Wish, error) {
		old, err := lockWaiting(ctx, t, in.ID, version)
		if err != nil {
			return old, err
		}
		var f scheduling.Faults
		became, err := becameOf(ctx, t, &f, in.Body)
		if err != nil {
			return old, err
		}
		w, err := s.wish(ctx, t, n, in.Body)
		if err := f.Join("", err); err != nil {
			return w, err
		}
		if err := f.Err(); err != nil {
			return w, err
		}
		w.ID, w.State, w.Version, w.Created, w.Visit = old.ID, old.State, old.Version, old.Created, old.Visit
		if became != "" {
			w.State, w.Visit = store.WishBooked, &became
		}
		return w, t.SaveWish(ctx, &w)
	})
}

// servable locks the waiting-list request that a visit of a client is to serve, nil
// for an empty id.
func (s *Server) servable(ctx context.Context, t *store.Tx, n salonDay, id, client string) (*store.Wish, error) {
	if id == "" {
		return nil, nil
	}
	w, err := t.LockWish(ctx, id)
	switch {
	case is(err, scheduling.ErrNotFound), err == nil && w.Client != client:
		return nil, &scheduling.InvalidError{Field: "waiting_list_id", Problem: "is not a request of this client", Want: "the id of a request of the client whom the visit is for"}
	case err != nil:
		return nil, err
	case w.State != store.WishWaiting:
		return nil, conflict("the request is " + string(w.State) + " and does not wait any more")
	case w.Pencilled:
		return nil, s.pencilledAlready(ctx, t, n, *w.Visit)
	}
	return &w, nil
}

// serve takes a request off the list for which v was booked, or notes that v is
// pencilled for it.
func (s *Server) serve(ctx context.Context, t *store.Tx, w *store.Wish, v store.Visit) error {
	if w == nil {
		return nil
	}
	if w.Visit = &v.ID; v.State == store.Booked {
		w.State = store.WishBooked
	}
	return t.SaveWish(ctx, w)
}

func (s *Server) pencilledAlready(ctx context.Context, t *store.Tx, n salonDay, visit string) error {
	v, err := t.VisitByID(ctx, visit)
	if err != nil {
		return err
	}
	return conflict("another time is pencilled for the request, " + v.Start.In(n.loc).Format("Mon 2 January 15:04") + ": book that one or give it up first")
}

// lockWaiting locks a request that is waiting and has not been changed.
func lockWaiting(ctx context.Context, t *store.Tx, id string, version int64) (store.Wish, error) {
	w, err := t.LockWish(ctx, id)
	switch {
	case err != nil:
		return w, err
	case w.Version != version:
		return w, scheduling.ErrStale
	case w.State != store.WishWaiting:
		return w, conflict("the request is " + string(w.State) + " and does not wait any more")
	}
	return w, nil
}

// becameOf notes a visit_id that cannot have become of the request.
func becameOf(ctx context.Context, t *store.Tx, f *scheduling.Faults, b WishBody) (string, error) {
	if b.VisitID == "" {
		return "", nil
	}
	v, err := t.VisitByID(ctx, b.VisitID)
	switch {
	case is(err, scheduling.ErrNotFound), err == nil && v.Client != b.ClientID:
		f.Add("visit_id", "is not a visit of this client", "the id of the visit that became of the request")
		return "", nil
	case err == nil && !stands(v):
		f.Add("visit_id", "is a visit that is "+words(v.State), "the id of a visit that takes place")
	}
	return v.ID, err
}

func (s *Server) withdrawWish(ctx context.Context, in *removal) (*empty, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return nil, s.inTx(ctx, func(t *store.Tx) error {
		w, err := lockWaiting(ctx, t, in.ID, version)
		if err != nil {
			return err
		}
		w.State = store.WishWithdrawn
		return t.SaveWish(ctx, &w)
	})
}

// servicesOf reads the services of a request.
func servicesOf(w store.Wish) ([]ServiceRequest, error) {
	var out []ServiceRequest
	if err := json.Unmarshal(w.Wanted, &out); err != nil {
		return nil, fmt.Errorf("api: waiting-list request: %w", err)
	}
	return out, nil
}
