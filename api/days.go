package api

import (
	"context"
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

// DayBody is one day of the salon.
type DayBody struct {
	Date      string        `json:"date" format:"date"`
	TimeZone  string        `json:"time_zone"`
	AsOf      time.Time     `json:"as_of" doc:"When this was read; for today the day is the truth, not a calendar"`
	Open      []SpanBody    `json:"open" nullable:"false" doc:"Opening windows"`
	Units     []DayUnitBody `json:"units" nullable:"false" doc:"People, then stations"`
	Visits    []VisitBody   `json:"visits" nullable:"false"`
	Conflicts []string      `json:"conflicts" nullable:"false" doc:"What cannot be done as planned, in words"`
	AskCame   []AskCameBody `json:"ask_whether_came" nullable:"false" doc:"Clients who should be here and are not"`
}

// SpanBody is an interval of instants.
type SpanBody struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
}

// DayUnitBody is one person or station on a day.
type DayUnitBody struct {
	UnitID   string          `json:"unit_id"`
	Kind     string          `json:"kind"`
	Name     string          `json:"name"`
	Open     []SpanBody      `json:"open" nullable:"false" doc:"When the unit may be used"`
	Breaks   []SpanBody      `json:"breaks" nullable:"false" doc:"Breaks and absences"`
	Bookings []DayBlockBody  `json:"blocks" nullable:"false"`
	Core     []CoreBlockBody `json:"may_not_be_interrupted,omitempty"`
}

// DayBlockBody is a block with the clearing that follows it.
type DayBlockBody struct {
	SpanBody
	ClearUntil time.Time `json:"clear_until"`
	VisitID    string    `json:"visit_id"`
}

// CoreBlockBody is a stretch of one visit that may not be interrupted.
type CoreBlockBody struct {
	SpanBody
	VisitID string `json:"visit_id"`
}

type dayInput struct {
	Date string `path:"date" format:"date"`
}

func (s *Server) dayRoutes() {
	route(s, huma.Operation{OperationID: "get-day", Method: http.MethodGet, Path: "/days/{date}", Summary: "One day: hours, people, stations, visits and what is in conflict",
		Responses: dayResponse(s.api)}, s.getDay)
}

func (s *Server) getDay(ctx context.Context, in *dayInput) (*dayOutput, error) {
	var f scheduling.Faults
	d := day(&f, "path.date", in.Date)
	if err := f.Err(); err != nil {
		return nil, err
	}
	a, err := s.keptDay(ctx, d)
	if err != nil {
		return nil, err
	}
	return &dayOutput{a.write(s.now())}, nil
}

// readDay is a day with all that is told of it.
func (s *Server) readDay(ctx context.Context, t *store.Tx, d date.Date) (*dayView, DayBody, error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return nil, DayBody{}, err
	}
	x, err := s.loadDay(ctx, t, n, d)
	if err != nil {
		return nil, DayBody{}, err
	}
	b := x.body()
	open, err := s.openNeeds(ctx, t, n, x.visits)
	if err != nil {
		return nil, b, err
	}
	until, err := x.startsUntil(ctx, t)
	for i := range b.Visits {
		b.Visits[i].CanStartUntil = until[b.Visits[i].ID]
		if count, ok := open[b.Visits[i].ID]; ok {
			b.Visits[i].StillOpen = &count
		}
	}
	return x, b, err
}

// dayView is everything that a day shows, for REST and for the board.
type dayView struct {
	bare     bool // nobody works here yet
	n        salonDay
	date     date.Date
	asOf     time.Time
	from, to time.Time // the local day
	h        openings.Horizon
	shop     openings.Shop
	names    map[string]string
	staff    map[string]store.Staff
	visits   []store.Visit
	clients  map[string]store.Client     // by visit
	blocks   map[string][]store.DayBlock // by unit
	groups   []store.Group
	drawn    [2][]string // units of the board's lines: people, stations
}

func (s *Server) loadDay(ctx context.Context, t *store.Tx, n salonDay, d date.Date) (*dayView, error) {
	x := &dayView{n: n, date: d, asOf: s.now(), h: openings.NewHorizon(n.loc, openings.DateRange{First: d, Last: d}),
		staff: map[string]store.Staff{}}
	x.from, x.to = scheduling.DayBounds(n.loc, d)
	var err error
	if x.shop, err = t.LoadShop(ctx, x.h, s.now()); err != nil {
		return nil, err
	}
	staff, stations, err := t.StaffAndStations(ctx)
	if err != nil {
		return nil, err
	}
	x.names = namesOf(staff, stations)
	for _, p := range staff {
		x.staff[p.ID] = p
	}
	if x.visits, err = t.VisitsBetween(ctx, x.from, x.to); err != nil {
		return nil, err
	}
	if x.blocks, err = t.BlocksBetween(ctx, x.from, x.to); err != nil {
		return nil, err
	}
	x.leaveOutLapsed()
	if x.groups, err = groupsOf(ctx, t, x.visits); err != nil {
		return nil, err
	}
	x.clients, err = clientsOf(ctx, t, x.visits)
	return x, err
}

// leaveOutLapsed drops pencilled visits whose time is over and nobody has noted
// it yet.
func (x *dayView) leaveOutLapsed() {
	gone := map[string]bool{}
	x.visits = slices.DeleteFunc(x.visits, func(v store.Visit) bool {
		gone[v.ID] = over(v, x.asOf)
		return gone[v.ID]
	})
	for unit, list := range x.blocks {
		x.blocks[unit] = slices.DeleteFunc(list, func(b store.DayBlock) bool { return gone[b.Visit] })
	}
}

func (x *dayView) spans(list []openings.Span) []SpanBody {
	out := []SpanBody{}
	for _, s := range list {
		out = append(out, SpanBody{x.h.Time(s.From), x.h.Time(s.To)})
	}
	return out
}

func (x *dayView) body() DayBody {
	b := DayBody{Date: x.date.String(), TimeZone: x.n.row.Zone, AsOf: x.asOf.In(x.n.loc), Open: x.spans(x.shop.Premises),
		Units: []DayUnitBody{}, Visits: []VisitBody{}, Conflicts: x.conflicts(), AskCame: x.askWhetherCame()}
	for _, u := range x.shop.Units {
		row := DayUnitBody{UnitID: u.ID, Kind: string(u.Kind), Name: x.names[u.ID], Open: x.spans(u.Open), Breaks: x.spans(u.Breaks),
			Bookings: []DayBlockBody{}, Core: x.cores(u.ID)}
		for _, k := range x.blocks[u.ID] {
			row.Bookings = append(row.Bookings, DayBlockBody{SpanBody{k.Start.In(x.n.loc), k.End.In(x.n.loc)}, k.Cleared.In(x.n.loc), k.Visit})
		}
		b.Units = append(b.Units, row)
	}
	for _, v := range x.visits {
		b.Visits = append(b.Visits, writeVisit(v, x.n, nil))
	}
	return b
}

// core is the stretch of a visit from the first product to the last rinse,
// which may not be interrupted.
func core(v store.Visit) (from, to time.Time, ok bool) {
	for _, st := range v.Steps {
		kind := scheduling.StepKind(st.Kind)
		if kind.FirstStrand() && !ok {
			from, to, ok = st.Start, st.End, true
		}
		if kind == scheduling.Rinse2 {
			to = st.End
		}
	}
	return from, to, ok
}

// cores lists the uninterruptible stretches of the visits that unit leads.
func (x *dayView) cores(unit string) []CoreBlockBody {
	var out []CoreBlockBody
	for _, v := range x.visits {
		from, to, ok := core(v)
		if ok && v.Lead() == unit {
			out = append(out, CoreBlockBody{SpanBody{from.In(x.n.loc), to.In(x.n.loc)}, v.ID})
		}
	}
	return out
}

// who names a visit on the board: the initials of the person whom it is for, or
// what time is kept for.
func (x *dayView) who(v store.Visit) string {
	switch {
	case isKept(v):
		return v.Title
	case v.Client == "" && v.State == store.Held: // for nobody who is known yet
		return ""
	}
	return x.clients[v.ID].Initials()
}

// conflicts puts into words what of the day's visits lies outside hours or in
// an absence or break.
func (x *dayView) conflicts() []string {
	out := []string{}
	for _, v := range x.visits {
		if !v.State.Open() {
			continue
		}
		who := x.who(v) + " " + v.Start.In(x.n.loc).Format("15:04")
		for _, k := range misfit(x.h, x.shop, v, x.blocks) {
			out = append(out, who+": "+misfitWords(k, x.names, x.n.loc))
		}
		out = append(out, x.leftOut(who, v)...)
	}
	return append(out, x.parted()...)
}

// leftOut says which steps of v are planned with somebody who does not do them.
func (x *dayView) leftOut(who string, v store.Visit) []string {
	var out []string
	for _, st := range v.Steps {
		for _, u := range st.Units {
			if slices.Contains(x.staff[u.Unit].LeavesOut, st.Kind) {
				out = append(out, fmt.Sprintf("%s: %s does not do “%s”, planned for %s", who, x.names[u.Unit], st.Label, st.Start.In(x.n.loc).Format("15:04")))
			}
		}
	}
	return out
}

// misfit lists the blocks of v during which the unit is not there, and one
// without unit for the whole visit when the salon is not open all the time.
// blocks are those of all visits by unit.
func misfit(h openings.Horizon, shop openings.Shop, v store.Visit, blocks map[string][]store.DayBlock) []store.DayBlock {
	var out []store.DayBlock
	if span, ok := h.Span(v.Start, v.End); ok && !covered(shop.Premises, span) {
		out = append(out, store.DayBlock{Visit: v.ID, Start: v.Start, End: v.End})
	}
	for _, u := range shop.Units {
		for _, k := range blocks[u.ID] {
			if k.Visit != v.ID {
				continue
			}
			span, ok := h.Span(k.Start, k.End)
			if ok && (!covered(u.Open, span) || meets(u.Breaks, span)) {
				out = append(out, k)
			}
		}
	}
	return out
}

func covered(windows []openings.Span, s openings.Span) bool {
	for _, w := range windows {
		if w.From <= s.From && s.To <= w.To {
			return true
		}
	}
	return false
}

func meets(windows []openings.Span, s openings.Span) bool {
	for _, w := range windows {
		if w.From < s.To && s.From < w.To {
			return true
		}
	}
	return false
}
