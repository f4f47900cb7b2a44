package api

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/needs"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// PersonDayBody is the day of one person, in the order in which it comes.
type PersonDayBody struct {
	StaffID  string           `json:"staff_id"`
	Name     string           `json:"name"`
	Date     string           `json:"date" format:"date"`
	TimeZone string           `json:"time_zone"`
	AsOf     time.Time        `json:"as_of"`
	Ends     time.Time        `json:"ends_at" doc:"Midnight after the day"`
	Open     []SpanBody       `json:"open" nullable:"false" doc:"When the person is there"`
	Items    []DayItemBody    `json:"items" nullable:"false"`
	Visits   []PersonVisit    `json:"visits" nullable:"false" doc:"Those that the person has to do with"`
	Next     []PersonNextBody `json:"next_days" nullable:"false" doc:"Days of the next two weeks with work"`
}

// DayItemBody is one stretch of a person's day.
type DayItemBody struct {
	Kind    string      `json:"kind" enum:"hands_on,watched,basin,free,gap,away,pencilled,kept" doc:"free: others are with the client meanwhile, or nobody is needed; gap: no client at all; away: a break or an absence"`
	From    time.Time   `json:"from"`
	To      time.Time   `json:"to"`
	VisitID string      `json:"visit_id,omitempty"`
	Name    string      `json:"name,omitempty" doc:"First name and initial, or what time is kept for"`
	Steps   []string    `json:"steps" nullable:"false"`
	Where   string      `json:"where,omitempty"`
	With    []string    `json:"with,omitempty" doc:"Who else is at work"`
	Looks   []time.Time `json:"looks,omitempty" doc:"When to look at the hair"`
	BackBy  *time.Time  `json:"back_by,omitempty"`
	NoLater *time.Time  `json:"no_later_than,omitempty"`
}

// PersonVisit is a visit as the person at work knows it.
type PersonVisit struct {
	ID       string          `json:"id"`
	Name     string          `json:"name" doc:"First name and initial, or whom the time is for"`
	State    string          `json:"state" enum:"held,lapsed,booked,arrived,under_way,finished,stopped_early,cancelled,missed"`
	Start    time.Time       `json:"start"`
	End      time.Time       `json:"end"`
	Services []string        `json:"services" nullable:"false"`
	InCharge bool            `json:"in_charge"`
	Chair    string          `json:"chair"`
	Late     int             `json:"late_minutes" doc:"By what was noted last; below 0: early"`
	Until    *StartUntilBody `json:"can_start_until,omitempty"`
	Needed   []string        `json:"still_needed,omitempty" doc:"What is not there yet, in words for anybody"`
	Note     string          `json:"note,omitempty"`
}

// PersonNextBody is a coming day with work.
type PersonNextBody struct {
	Date   string    `json:"date" format:"date"`
	First  time.Time `json:"first_start"`
	Last   time.Time `json:"last_end"`
	Visits int       `json:"visits"`
}

type personDayInput struct {
	ByID
	Date string `path:"date" format:"date"`
}

// nextDays is how many days ahead a person's days are listed (judgement: a fortnight).
const nextDays = 14

func (s *Server) personDayRoutes() {
	route(s, huma.Operation{OperationID: "get-person-day", Method: http.MethodGet, Path: "/staff/{id}/days/{date}",
		Summary: "One person's day: what to do, when to be back, what is free and with whom the client is meanwhile"}, s.getPersonDay)
}

func (s *Server) getPersonDay(ctx context.Context, in *personDayInput) (*struct{ Body PersonDayBody }, error) {
	var f scheduling.Faults
	d := day(&f, "path.date", in.Date)
	if err := f.Err(); err != nil {
		return nil, err
	}
	var out struct{ Body PersonDayBody }
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		p, err := t.StaffByID(ctx, in.ID)
		if err != nil {
			return err
		}
		x, err := s.loadDay(ctx, t, n, d)
		if err != nil {
			return err
		}
		out.Body = PersonDayBody{StaffID: p.ID, Name: p.Name, Date: d.String(), TimeZone: n.row.Zone, AsOf: x.asOf.In(n.loc), Ends: x.to.In(n.loc),
			Open: []SpanBody{}, Visits: []PersonVisit{}}
		if out.Body.Visits, err = s.personVisits(ctx, t, x, p.ID); err != nil {
			return err
		}
		out.Body.Items = x.items(&out.Body)
		out.Body.Next, err = x.nextOf(ctx, t, p.ID)
		return err
	})
	return &out, err
}

// concerns reports whether a person has to do with a visit.
func concerns(v store.Visit, person string) bool {
	return slices.ContainsFunc(v.Services, func(x store.VisitService) bool { return x.Lead == person }) ||
		slices.ContainsFunc(v.Steps, func(st store.VisitStep) bool {
			return slices.ContainsFunc(st.Units, func(u store.StepUnit) bool { return u.Unit == person })
		})
}

// inCharge reports whether a person is the stylist in charge of any service of v.
func inCharge(v store.Visit, person string) bool {
	return slices.ContainsFunc(v.Services, func(x store.VisitService) bool { return x.Lead == person })
}

// personVisits lists the visits of the day that a person has to do with.
func (s *Server) personVisits(ctx context.Context, t *store.Tx, x *dayView, person string) ([]PersonVisit, error) {
	var list, coming []store.Visit
	for _, v := range x.visits {
		if concerns(v, person) && !isKept(v) {
			list = append(list, v)
			if toCome(v) {
				coming = append(coming, v)
			}
		}
	}
	open, err := needsOf(ctx, t, x.n, coming...)
	if err != nil {
		return nil, err
	}
	hers := *x
	hers.visits = list
	until, err := hers.startsUntil(ctx, t)
	if err != nil {
		return nil, err
	}
	out := []PersonVisit{}
	for _, v := range list {
		b := PersonVisit{ID: v.ID, Name: shortName(x.clients[v.ID]), State: string(v.State), Start: v.Start.In(x.n.loc), End: v.End.In(x.n.loc),
			Services: []string{}, InCharge: inCharge(v, person), Chair: x.names[v.Chair], Late: lateBy(v), Until: until[v.ID], Note: v.Note}
		for _, sv := range v.Services {
			b.Services = append(b.Services, sv.Name)
		}
		for _, k := range inKindOrder(needs.FirstOpen(open[v.ID])) {
			b.Needed = append(b.Needed, k.Words())
		}
		out = append(out, b)
	}
	return out, nil
}

// lateBy is by how many minutes what was noted last of v is behind its plan.
func lateBy(v store.Visit) int {
	marks := factsOf(v).marks()
	if len(marks) == 0 {
		return 0
	}
	m := marks[len(marks)-1]
	planned := v.Steps[m.step].Start
	if m.end {
		planned = v.Steps[m.step].End
	}
	return int(m.at.Sub(planned).Round(time.Minute) / time.Minute)
}

// items puts the day of one person in order, with breaks and what is left free.
func (x *dayView) items(b *PersonDayBody) []DayItemBody {
	out := []DayItemBody{}
	for _, v := range x.visits {
		switch {
		case v.State == store.Held || isKept(v):
			out = append(out, x.outlined(v, b.StaffID)...)
		case v.State.Open() || v.State == store.Finished || v.State == store.StoppedEarly:
			out = append(out, x.stretches(v, b.StaffID)...)
		}
	}
	var open []SpanBody
	for _, u := range x.shop.Units {
		if u.ID != b.StaffID {
			continue
		}
		open, b.Open = x.spans(u.Open), x.spans(u.Open)
		for _, k := range x.spans(u.Breaks) {
			if len(open) > 0 || x.wholeDay(k) {
				out = append(out, DayItemBody{Kind: "away", From: k.From, To: k.To, Steps: []string{}})
			}
		}
	}
	slices.SortStableFunc(out, func(a, z DayItemBody) int { return cmp.Or(a.From.Compare(z.From), z.To.Compare(a.To)) })
	return withGaps(out, open)
}

// wholeDay reports whether a stretch covers the day that is shown.
func (x *dayView) wholeDay(k SpanBody) bool { return !k.From.After(x.from) && !k.To.Before(x.to) }

// withGaps adds what no client needs of the time in which a person is there.
func withGaps(list []DayItemBody, open []SpanBody) []DayItemBody {
	var gaps []DayItemBody
	for _, o := range open {
		at := o.From
		for _, k := range list {
			if k.From.Sub(at) >= shortestGap && at.Before(o.To) {
				gaps = append(gaps, DayItemBody{Kind: "gap", From: at, To: earliest(k.From, o.To), Steps: []string{}})
			}
			if k.To.After(at) {
				at = k.To
			}
		}
		if o.To.Sub(at) >= shortestGap {
			gaps = append(gaps, DayItemBody{Kind: "gap", From: at, To: o.To, Steps: []string{}})
		}
	}
	list = append(list, gaps...)
	slices.SortStableFunc(list, func(a, z DayItemBody) int { return a.From.Compare(z.From) })
	return list
}

func earliest(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// outlined is what is pencilled with a person, or keeps the person's time.
func (x *dayView) outlined(v store.Visit, person string) []DayItemBody {
	var out []DayItemBody
	for _, k := range x.blocks[person] {
		if k.Visit != v.ID {
			continue
		}
		b := DayItemBody{Kind: "pencilled", From: k.Start.In(x.n.loc), To: k.End.In(x.n.loc), VisitID: v.ID, Name: shortName(x.clients[v.ID]), Steps: []string{}}
		if isKept(v) {
			b.Kind, b.VisitID, b.Name = "kept", "", v.Title
		}
		out = append(out, b)
	}
	return out
}

// stretches are the steps of a visit as one person sees them, neighbours of one
// kind taken together.
func (x *dayView) stretches(v store.Visit, person string) []DayItemBody {
	if !concerns(v, person) {
		return nil
	}
	var out []DayItemBody
	v = asSpent(v)
	for i := range v.Steps {
		b, ok := x.stretch(v, i, person)
		if !ok {
			continue
		}
		if last := len(out) - 1; last >= 0 && out[last].joins(b) {
			out[last].To, out[last].Steps = b.To, append(out[last].Steps, b.Steps...)
			out[last].Looks = append(out[last].Looks, b.Looks...)
			out[last].BackBy, out[last].NoLater = b.BackBy, b.NoLater
			continue
		}
		out = append(out, b)
	}
	return out
}

// joins reports whether c goes on as b without a wait.
func (b DayItemBody) joins(c DayItemBody) bool {
	return b.Kind == c.Kind && b.Where == c.Where && slices.Equal(b.With, c.With) && b.To.Equal(c.From)
}

// stretch is step i of a visit as one person sees it, false when it does not
// concern the person.
func (x *dayView) stretch(v store.Visit, i int, person string) (DayItemBody, bool) {
	st := v.Steps[i]
	b := DayItemBody{Kind: "hands_on", From: st.Start.In(x.n.loc), To: st.End.In(x.n.loc), VisitID: v.ID, Name: shortName(x.clients[v.ID]),
		Steps: []string{st.Label}}
	who, where := atWork(st, x.names)
	b.Where = where
	role := ""
	for _, u := range st.Units {
		if u.Unit == person {
			role = u.Role
		}
	}
	b.With = slices.DeleteFunc(who, func(name string) bool { return name == x.names[person] })
	switch {
	case role == "" && v.Services[st.Service].Lead != person && lastHands(v, i) != person:
		return b, false
	case role == "":
		b.Kind = "free"
		x.backAfter(v, i, person, &b)
	case !st.HandsOn && (role == openings.RoleLead || role == openings.RoleWatcher):
		b.Kind, b.BackBy = "watched", new(b.To)
		for _, look := range looks(st) {
			b.Looks = append(b.Looks, look.In(x.n.loc))
		}
		if over, ok := mayRunOver[scheduling.StepKind(st.Kind)]; ok {
			b.NoLater = new(b.To.Add(over))
		}
	case st.UnitIn(openings.RoleBasin) != "":
		b.Kind = "basin"
	}
	return b, true
}

// backAfter notes when a person has to be back who is not needed in step i.
func (x *dayView) backAfter(v store.Visit, i int, person string, b *DayItemBody) {
	if i+1 >= len(v.Steps) {
		return
	}
	for _, u := range v.Steps[i+1].Units {
		if u.Unit == person {
			b.BackBy = new(v.Steps[i+1].Start.In(x.n.loc))
		}
	}
}

// nextOf lists the coming days on which a person has work.
func (x *dayView) nextOf(ctx context.Context, t *store.Tx, person string) ([]PersonNextBody, error) {
	_, to := scheduling.DayBounds(x.n.loc, x.date.Add(nextDays))
	visits, err := t.WorkOf(ctx, person, x.to, to)
	if err != nil {
		return nil, err
	}
	out := []PersonNextBody{}
	for _, v := range visits {
		on := scheduling.CivilDate(v.Start, x.n.loc).String()
		i := slices.IndexFunc(out, func(b PersonNextBody) bool { return b.Date == on })
		if i < 0 {
			out = append(out, PersonNextBody{Date: on, First: v.Start.In(x.n.loc), Last: v.End.In(x.n.loc)})
			i = len(out) - 1
		}
		out[i].Visits++
		if v.Start.Before(out[i].First) {
			out[i].First = v.Start.In(x.n.loc)
		}
		if v.End.After(out[i].Last) {
			out[i].Last = v.End.In(x.n.loc)
		}
	}
	slices.SortFunc(out, func(a, b PersonNextBody) int { return strings.Compare(a.Date, b.Date) })
	return out, nil
}
