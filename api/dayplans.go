package api

import (
	"context"
	"encoding/json"
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

type dayPlanInput struct{ Body DayPlanRequest }
type applyPlanInput struct {
	ByID
	Repeatable
	Body struct {
		ApprovedBy string `json:"approved_by,omitempty" doc:"Licensed person who said yes to the cautions of the plan"`
	}
}

func (s *Server) dayPlanRoutes() {
	route(s, huma.Operation{OperationID: "plan-day", Method: http.MethodPost, Path: "/day-plans", DefaultStatus: http.StatusCreated,
		Summary: "How could a day be rearranged and filled? Proposes, and changes nothing"}, s.planDay)
	route(s, huma.Operation{OperationID: "get-day-plan", Method: http.MethodGet, Path: "/day-plans/{id}", Summary: "A proposal for a day"}, s.getDayPlan)
	route(s, huma.Operation{OperationID: "apply-day-plan", Method: http.MethodPost, Path: "/day-plans/{id}/apply",
		Summary: "Carry a proposal out, all of it or nothing", Errors: []int{http.StatusBadRequest, http.StatusConflict}}, s.applyDayPlan)
}

// proposal is a plan as it is kept: the answer, and what it takes to carry it
// out.
type proposal struct {
	Body    DayPlanBody
	Basis   planBasis
	Changes []plannedChange // in the order of Body.Changes
}

// plannedChange is one change to the minute.
type plannedChange struct {
	Visit   string
	Version int64
	Wish    string
	Leads   []string          // by service
	Roles   map[string]string // of the schedule
	Phases  []openings.Placed // its steps, in minutes of around(day)
	Alone   bool
	Loose   bool // the group of the visit does not stand as agreed as it is
}

// longestAhead is how many days from today may be planned (judgement).
const longestAhead = 366

// mostWaiting is how many requests are looked at, the most valuable first
// (judgement).
const mostWaiting = 300

// keepPlans is for how many days after its day a proposal is kept (judgement:
// it names clients and is of no use any more).
const keepPlans = 30

func (s *Server) planDay(ctx context.Context, in *dayPlanInput) (*created[DayPlanBody], error) {
	var p *packer
	var basis planBasis
	err := s.read(ctx, func(t *store.Tx) (err error) {
		p, basis, err = s.loadDayPlan(ctx, t, in.Body)
		return err
	})
	if err != nil {
		return nil, err
	}
	found, err := p.solve(ctx, in.Body.budget())
	if err != nil {
		return nil, err
	}
	x := proposal{Basis: basis}
	if err := s.read(ctx, func(t *store.Tx) error { return p.propose(ctx, t, found, &x) }); err != nil {
		return nil, err
	}
	row := store.DayPlan{ID: store.NewID(), Day: p.days.First, Created: p.now.Truncate(time.Second)}
	x.Body.ID, x.Body.Created = row.ID, row.Created.In(p.n.loc)
	if row.Proposal, err = json.Marshal(x); err != nil {
		return nil, err
	}
	forget := scheduling.CivilDate(p.now, p.n.loc).Add(-keepPlans)
	if err := s.inTx(ctx, func(t *store.Tx) error { _, err := t.AddDayPlan(ctx, row, forget); return err }); err != nil {
		return nil, err
	}
	return &created[DayPlanBody]{Location: "/v1/day-plans/" + row.ID, Body: x.Body}, nil
}

// loadDayPlan checks a request and reads everything that the plan depends on.
func (s *Server) loadDayPlan(ctx context.Context, t *store.Tx, b DayPlanRequest) (*packer, planBasis, error) {
	var basis planBasis
	n, err := loadSalon(ctx, t)
	if err != nil {
		return nil, basis, err
	}
	var f scheduling.Faults
	d := day(&f, "date", b.Date)
	today := scheduling.CivilDate(s.now(), n.loc)
	if len(f) == 0 && (d.Before(today) || d.Sub(today) > longestAhead) {
		f.Add("date", "is not one of the days to come", "today or a day within 366 days")
	}
	if err := f.Err(); err != nil {
		return nil, basis, err
	}
	p, err := s.newPacker(ctx, t, n, openings.DateRange{First: d, Last: d}, b.grid())
	if err != nil {
		return nil, basis, err
	}
	away, err := awayOf(ctx, t, &f, n, d, b.Away)
	if err != nil {
		return nil, basis, err
	}
	movable := p.movable(&f, d, b.Movable)
	wishes, err := p.waiting(ctx, t, &f, b.Waiting, mostPacked-len(movable))
	if err != nil {
		return nil, basis, err
	}
	if err := f.Err(); err != nil {
		return nil, basis, err
	}
	if err := p.addVisits(ctx, t, movable, b.AnyLead, away); err != nil {
		return nil, basis, err
	}
	for _, w := range wishes {
		if err := p.addWish(ctx, t, w); err != nil {
			return nil, basis, err
		}
	}
	basis, err = p.basis(ctx, t, away)
	return p, basis, err
}

// awayOf reads who or what is thought not to be there.
func awayOf(ctx context.Context, t *store.Tx, f *scheduling.Faults, n salonDay, d date.Date, list []AwayBody) ([]awaySpan, error) {
	first, last := scheduling.DayBounds(n.loc, d)
	var out []awaySpan
	for i, b := range list {
		at := index("away", i)
		there, err := t.HasUnit(ctx, b.UnitID)
		if err != nil {
			return nil, err
		}
		if !there {
			f.Add(at+".unit_id", "is not known", "the id of a person or a station of this salon")
		}
		a := awaySpan{b.UnitID, first, last}
		if b.From != nil {
			a.From = wholeMinute(f, at+".from", *b.From)
		}
		if b.To != nil {
			a.To = wholeMinute(f, at+".to", *b.To)
		}
		if !a.From.Before(a.To) || !a.From.Before(last) || !a.To.After(first) {
			f.Add(at+".to", "leaves nothing of the day from from on", "a later time, on the day of the plan")
		}
		out = append(out, a)
	}
	return out, nil
}

// movable finds the visits that may move, and notes those that cannot.
func (p *packer) movable(f *scheduling.Faults, d date.Date, ids []string) []store.Visit {
	all := len(ids) == 1 && ids[0] == "all_not_started"
	var out []store.Visit
	seen := map[string]bool{}
	for _, v := range p.visits {
		ofDay := scheduling.CivilDate(v.Start, p.n.loc).Equal(d)
		i := slices.Index(ids, v.ID)
		if !ofDay || !all && i < 0 {
			continue
		}
		seen[v.ID] = true
		why := ""
		switch {
		case len(v.Services) == 0:
			why = "is time that is kept for no service"
		case v.State != store.Booked && v.State != store.Held:
			why = "is a visit that is " + words(v.State)
		case !v.Start.After(p.now):
			why = "is a visit that was to begin already"
		}
		switch {
		case why == "" && (!all || v.State == store.Booked):
			out = append(out, v)
		case !all:
			f.Add(index("movable", i), why, "a visit of the day that is still to come")
		}
	}
	for i, id := range ids {
		if !all && !seen[id] {
			f.Add(index("movable", i), "is not a visit of that day", "the id of a visit of the day that is still to come")
		}
	}
	if len(out) > mostPacked {
		f.Addf("movable", fmt.Sprintf("at most %d visits", mostPacked), "stands for %d visits", len(out))
	}
	return out
}

// waiting finds the requests that are to get a place, at most so many of all
// that wait.
func (p *packer) waiting(ctx context.Context, t *store.Tx, f *scheduling.Faults, ids []string, most int) ([]store.Wish, error) {
	switch {
	case len(ids) == 0:
		return nil, nil
	case len(ids) == 1 && ids[0] == "all":
		list, err := t.WaitingWishes(ctx, p.days.First, p.days.Last, mostWaiting)
		list = slices.DeleteFunc(list, func(w store.Wish) bool { return !slices.Contains(w.Weekdays, weekday(p.days.First)) })
		return list[:min(len(list), max(most, 0))], err
	}
	list, err := t.WishesByID(ctx, ids)
	if err != nil {
		return nil, err
	}
	for i, id := range ids {
		k := slices.IndexFunc(list, func(w store.Wish) bool { return w.ID == id })
		switch {
		case k < 0:
			f.Add(index("waiting_list", i), "is not known", "the id of a request that waits, or all")
		case slices.Index(ids, id) < i:
			f.Add(index("waiting_list", i), "is there twice", "every request once")
		case list[k].State != store.WishWaiting:
			f.Add(index("waiting_list", i), "is a request that is "+string(list[k].State), "the id of a request that waits, or all")
		}
	}
	if len(list) > most {
		f.Addf("waiting_list", fmt.Sprintf("at most %d requests and visits that may move", mostPacked), "has %d entries", len(list))
	}
	return list, nil
}

func (s *Server) getDayPlan(ctx context.Context, in *ByID) (*found[DayPlanBody], error) {
	var out found[DayPlanBody]
	err := s.inTx(ctx, func(t *store.Tx) error { // whose requests are locked, as when it is carried out
		row, err := t.DayPlanByID(ctx, in.ID)
		if err != nil {
			return err
		}
		x, err := readProposal(row)
		if err != nil {
			return err
		}
		out.Body = x.Body
		if row.State == store.PlanApplied {
			return nil
		}
		out.Body.Outdated, err = s.outdated(ctx, t, row, x)
		return err
	})
	return &out, err
}

// outdated says why a proposal cannot be carried out any more, "" when it can.
func (s *Server) outdated(ctx context.Context, t *store.Tx, row store.DayPlan, x proposal) (string, error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return "", err
	}
	if _, err = s.stillHolds(ctx, t, n, row, x); err == nil {
		h := around(n.loc, row.Day, row.Day)
		for _, c := range x.Changes {
			if h.Time(c.Phases[0].Start).Before(s.now().Add(-lateBooking)) {
				return "the time of a change has come since the plan was made: make a new one", nil
			}
		}
		return "", nil
	}
	if p, ok := errors.AsType[*Problem](err); ok {
		return p.Detail, nil
	}
	return "", err
}

func readProposal(row store.DayPlan) (proposal, error) {
	var x proposal
	if err := json.Unmarshal(row.Proposal, &x); err != nil {
		return x, fmt.Errorf("api: day plan: %w", err)
	}
	return x, nil
}

func (s *Server) applyDayPlan(ctx context.Context, in *applyPlanInput) (*created[DayPlanBody], error) {
	if in.key() == "" {
		return nil, newProblem(http.StatusBadRequest, "idempotency-key", "send a text that is unique to this request, such as a UUID")
	}
	return once(s, ctx, in.Repeatable, "/day-plans/"+in.ID+"/apply", in.Body, func(t *store.Tx) (*created[DayPlanBody], error) {
		row, err := t.LockDayPlan(ctx, in.ID)
		if err != nil {
			return nil, err
		}
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		b, err := s.carryOut(ctx, t, n, row, in.Body.ApprovedBy)
		return &created[DayPlanBody]{Location: "/v1/day-plans/" + row.ID, Body: b}, err
	})
}

// carryOut carries a locked proposal out, when everything that it was worked out
// from is still as it was.
func (s *Server) carryOut(ctx context.Context, t *store.Tx, n salonDay, row store.DayPlan, approvedBy string) (DayPlanBody, error) {
	var f scheduling.Faults
	if _, err := licensed(ctx, t, &f, text(&f, "approved_by", approvedBy, 0, 80)); err != nil {
		return DayPlanBody{}, err
	}
	if err := f.Err(); err != nil {
		return DayPlanBody{}, err
	}
	x, err := readProposal(row)
	if err != nil {
		return x.Body, err
	}
	if row.State == store.PlanApplied {
		return x.Body, conflict("the plan was carried out at " + row.Applied.In(n.loc).Format("15:04 on Mon 2 January") + " already")
	}
	wishes, err := s.stillHolds(ctx, t, n, row, x)
	if err != nil {
		return x.Body, err
	}
	if len(x.Changes) > 0 {
		list, err := s.planned(ctx, t, n, row, x, wishes, approvedBy)
		if err != nil {
			return x.Body, err
		}
		visits, err := s.rearrange(ctx, t, n, list)
		if err != nil {
			return x.Body, staleAsConflict(err)
		}
		for i, c := range x.Changes {
			x.Body.Changes[i].VisitID = visits[i].ID
			if w, ok := wishes[c.Wish]; ok {
				w.State, w.Visit = store.WishBooked, &visits[i].ID
				if err := t.SaveWish(ctx, &w); err != nil {
					return x.Body, err
				}
			}
		}
	}
	at := s.now().Truncate(time.Second)
	x.Body.State, x.Body.Applied = string(store.PlanApplied), localTime(&at, n.loc)
	if row.Proposal, err = json.Marshal(x); err != nil {
		return x.Body, err
	}
	return x.Body, t.NoteApplied(ctx, &row, at)
}

// staleAsConflict words what has changed since the plan was made for who wants
// to carry it out: there is nothing to be read again but the plan to be made
// anew.
func staleAsConflict(err error) error {
	if is(err, scheduling.ErrStale) || is(err, scheduling.ErrNotFound) {
		return staleplan("a visit of the plan has changed")
	}
	if f, ok := errors.AsType[scheduling.Faults](err); ok {
		return staleplan(f.Error())
	}
	return err
}

func staleplan(why string) error { return conflict(why + " since the plan was made: make a new one") }

// planned is the plan as changes of visits.
func (s *Server) planned(ctx context.Context, t *store.Tx, n salonDay, row store.DayPlan, x proposal, wishes map[string]store.Wish, approvedBy string) ([]change, error) {
	h := around(n.loc, row.Day, row.Day)
	var out []change
	for _, p := range x.Changes {
		e := &exact{h: h, sch: openings.Schedule{Roles: p.Roles, Phases: p.Phases}}
		start := h.Time(p.Phases[0].Start)
		if start.Before(s.now().Add(-lateBooking)) && p.Version == 0 {
			return nil, staleplan("the time of its change at " + start.Format("15:04") + " has come")
		}
		if p.Wish != "" {
			w := wishes[p.Wish]
			services, err := servicesOf(w)
			if err != nil {
				return nil, err
			}
			out = append(out, change{exact: e, book: &VisitRequest{ClientID: w.Client, Start: start, Services: services, Note: w.Note, ApprovedBy: approvedBy}})
			continue
		}
		c := change{id: p.Visit, version: p.Version, lead: newLead{By: p.Leads}, approvedBy: approvedBy, exact: e}
		if p.Loose {
			c.link = looseLink
		}
		if p.Alone {
			v, err := t.VisitByID(ctx, p.Visit)
			if err != nil {
				return nil, err
			}
			if c.work, err = n.alone(ctx, t, v, c.lead, 0); err != nil {
				return nil, err
			}
			if c.work == nil {
				return nil, staleplan("a visit of the plan has changed")
			}
		}
		out = append(out, c)
	}
	return out, nil
}
