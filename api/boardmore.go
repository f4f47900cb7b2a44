package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"time"

	"chairblock/api/pages"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

const (
	// comingWithin is how far ahead arrivals are listed above the drawing, mostComing
	// how many (judgement: what fits above the drawing and is still remembered).
	comingWithin = 2 * time.Hour
	mostComing   = 6
	// arriveBefore is how long before its start a visit has a button for the arrival
	// (judgement: who comes sooner is noted on the page of the visit).
	arriveBefore = 30 * time.Minute
	// worthSaying is how many minutes late somebody has to be for it to be said
	// (judgement: less is made up for by waits that plans allow).
	worthSaying = 5
	// mostDrawnWaiting is how many waiting-list requests are looked at for the gaps
	// of a board (judgement: each is a search more for every drawing).
	mostDrawnWaiting = 8
)

// boardMore is what a board shows beside the day itself.
type boardMore struct {
	until  map[string]*StartUntilBody // by visit
	late   *lateDay                   // nil on other days than today
	goesOn delays.DayProjection
	broken string // why nobody can say how the day goes on
	fits   []MatchBody
	counts store.DeskCounts
	undo   *LastActionBody
	rinses []RinseCallBody
}

// loadMore reads what the board of x shows beside the day. until is how late visits of
// today can begin.
func (s *Server) loadMore(ctx context.Context, t *store.Tx, x *dayView, until map[string]*StartUntilBody) (*boardMore, error) {
	m := &boardMore{until: until}
	today := x.n.today(x.asOf)
	var err error
	if mayDo(ctx, "list-messages") == "" {
		if m.counts, err = t.DeskCounts(ctx); err != nil {
			return nil, err
		}
	}
	if m.undo, err = s.lastAction(ctx, t); err != nil {
		return nil, err
	}
	if x.date.Equal(today) {
		if m.rinses, err = rinseCalls(ctx, t, x.n); err != nil {
			return nil, err
		}
		if err := s.loadLate(ctx, &plansOf{t: t, n: x.n}, x, m); err != nil {
			return nil, err
		}
	}
	if !x.date.Before(today) && mayDo(ctx, "match-waiting") == "" {
		m.fits, err = s.fitsOn(ctx, t, x)
	}
	return m, err
}

// loadLate works out how today goes on, once anything of it has begun or is late.
func (s *Server) loadLate(ctx context.Context, plans *plansOf, x *dayView, m *boardMore) error {
	if !slices.ContainsFunc(x.visits, func(v store.Visit) bool {
		return v.State == store.UnderWay || v.State.Open() && v.Start.Before(x.asOf)
	}) {
		return nil
	}
	late, err := lateOf(ctx, plans, x.date, x.asOf, x.names, x.visits, x.clients)
	if err != nil {
		return err
	}
	m.goesOn, err = s.foresee(ctx, late)
	if errors.Is(err, errUnforeseen) {
		m.broken = unforeseenWords + "."
		return nil
	}
	m.late = late
	return err
}

// fitsOn are waiting-list requests that would fit on the day, each by itself.
func (s *Server) fitsOn(ctx context.Context, t *store.Tx, x *dayView) ([]MatchBody, error) {
	waiting, err := t.WaitingWishes(ctx, x.date, x.date, 1)
	if err != nil || len(waiting) == 0 {
		return nil, err
	}
	p, err := s.matcher(ctx, t, x.n, openings.DateRange{First: x.date, Last: x.date}, nil, PackBudget{}.grid(), mostDrawnWaiting)
	if err != nil {
		return nil, err
	}
	return p.singles(ctx, t, nil)
}

// draw adds what m knows to a board of x.
func (m *boardMore) draw(x *dayView, b *pages.Board) {
	if m.broken != "" {
		b.Notes = append(b.Notes, m.broken)
	}
	m.sayUntil(x, b)
	if m.late != nil {
		for i, unit := range x.drawn[0] {
			b.People[i].Shadows = m.shadows(x, unit)
		}
		for i, unit := range x.drawn[1] {
			b.Stations[i].Shadows = m.shadows(x, unit)
		}
	}
	for _, f := range m.fits {
		i := slices.Index(x.drawn[0], f.Opening.LeadID)
		if i < 0 {
			continue
		}
		b.People[i].Candidates = append(b.People[i].Candidates, pages.Candidate{From: f.Opening.Start.In(x.n.loc), To: f.Opening.End.In(x.n.loc),
			Kind: pages.CandidateWaiting, Label: "waiting list", Href: "/waiting"})
	}
	b.Coming = m.coming(x)
}

// sayUntil says of visits that have not begun how late they can, at their first part.
func (m *boardMore) sayUntil(x *dayView, b *pages.Board) {
	for i := range b.People {
		said := map[string]bool{}
		for j := range b.People[i].Parts {
			p := &b.People[i].Parts[j]
			u := m.until[visitIn(p.Href)]
			if u == nil || said[p.Href] {
				continue
			}
			said[p.Href] = true
			if p.Title != "" {
				p.Title += ", "
			}
			p.Title += startUntilWords(x.n, u)
		}
	}
}

// visitIn is the id of the visit that an address leads to.
func visitIn(href string) string {
	const at = "/visits/"
	if len(href) > len(at) && href[:len(at)] == at {
		return href[len(at):]
	}
	return ""
}

func startUntilWords(n salonDay, u *StartUntilBody) string {
	return "can start until " + clockAt(n, u.At)
}

// shadows are how far the work of a unit reaches past its planned ends: from each
// to the projected one, or to where the unit goes on with the same client.
func (m *boardMore) shadows(x *dayView, unit string) []pages.Shadow {
	var out []pages.Shadow
	for i, l := range m.late.visits {
		p := m.goesOn.Visits[i]
		var own []int
		for j, st := range l.v.Steps {
			if slices.ContainsFunc(st.Units, func(u store.StepUnit) bool { return u.Unit == unit }) {
				own = append(own, j)
			}
		}
		for k, j := range own {
			st, ph := l.v.Steps[j], p.Phases[j]
			end := m.late.time(ph.End)
			if ph.State == delays.PhaseDone || ph.State == delays.PhaseNever {
				continue
			}
			if k+1 < len(own) && l.v.Steps[own[k+1]].Start.Before(end) {
				end = l.v.Steps[own[k+1]].Start
			}
			if end.Sub(st.End) < time.Minute {
				continue
			}
			at := x.local(st.End, end)
			out = append(out, pages.Shadow{TimeSpan: at, Code: x.who(l.v), Label: st.Label, Href: "/visits/" + l.v.ID})
		}
	}
	return out
}

// coming lists what the desk looks at first: who should be here, who comes next,
// and who will be done late.
func (m *boardMore) coming(x *dayView) []pages.Coming {
	var out []pages.Coming
	ask := map[string]bool{}
	for _, a := range x.askWhetherCame() {
		ask[a.VisitID] = true
	}
	for _, v := range x.visits {
		if len(v.Steps) == 0 || m.until == nil {
			continue
		}
		c := pages.Coming{At: v.Start.In(x.n.loc), Who: cmp.Or(shortName(x.clients[v.ID]), v.Title), Text: serviceNames(v) + " with " + x.names[v.Lead()], Href: "/visits/" + v.ID}
		switch {
		case v.State == store.Booked && v.Start.Before(x.asOf.Add(comingWithin)):
			if u := m.until[v.ID]; u != nil {
				c.Until = startUntilWords(x.n, u)
				if u.Limit != "none" {
					c.Until += " (" + u.Reason + ")"
				}
			}
			if late := int(x.asOf.Sub(v.Start) / time.Minute); late >= 1 {
				c.Urgent = fmt.Sprintf("%d min late", late)
				if ask[v.ID] {
					c.Urgent += ", is she coming?"
				}
			}
			if !v.Start.After(x.asOf.Add(arriveBefore)) {
				c.Arrive = &pages.ArriveForm{Action: "/visits/" + v.ID + "/arrive", Version: etag(v.Version), Key: store.NewID()}
			}
		case v.State == store.Arrived || v.State == store.UnderWay:
			end, late := m.endOf(v.ID)
			if late < worthSaying {
				continue
			}
			c.At, c.Urgent, c.Text = end.In(x.n.loc), fmt.Sprintf("%d min late", late), "will be done about "+clockAt(x.n, end)
		default:
			continue
		}
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(a, b pages.Coming) int { return a.At.Compare(b.At) })
	out = out[:min(len(out), mostComing)]
	var first []pages.Coming
	for _, r := range m.rinses {
		first = append(first, pages.Coming{At: r.At, Who: r.Name, Text: r.Words, Urgent: "rinse now", Href: "/visits/" + r.VisitID})
	}
	return append(first, out...)
}

// endOf is when a visit will be over, and how many minutes late.
func (m *boardMore) endOf(id string) (time.Time, int) {
	if m.late == nil {
		return time.Time{}, 0
	}
	for i, l := range m.late.visits {
		if l.v.ID == id {
			p := m.goesOn.Visits[i]
			return m.late.time(p.End), int(p.EndLate)
		}
	}
	return time.Time{}, 0
}

// link gives a board the ways to other pages.
func (m *boardMore) link(ctx context.Context, x *dayView, b *pages.Board) {
	b.Date, b.WeekHref = x.date.String(), "/week?"+url.Values{"from": {x.date.String()}}.Encode()
	b.Ways = Counted(Ways(ctx, "/"), m.counts.All())
	if mayDo(ctx, "find-clients") == "" {
		b.Find = &pages.Find{Action: "/clients", Quick: "/find"}
	}
	if x.bare {
		b.SetUpHref = setUpHref(ctx)
	}
	if mayDo(ctx, "book-visit") != "" {
		b.BookHref = ""
	}
	if m.undo != nil {
		b.Undo = m.undo.line("/")
	}
}

// Waiting counts what waits for whoever uses a page, 0 for who does not see to it.
func (s *Server) Waiting(ctx context.Context) int {
	if mayDo(ctx, "list-messages") != "" {
		return 0
	}
	var c store.DeskCounts
	if err := s.read(ctx, func(t *store.Tx) (err error) { c, err = t.DeskCounts(ctx); return err }); err != nil {
		return 0 // the page is right without it
	}
	return c.All()
}

// Counted says at the page of what is to be done how much that is.
func Counted(ways []pages.Way, waiting int) []pages.Way {
	for i := range ways {
		if ways[i].Href == "/to-do" {
			ways[i].Count = waiting
		}
	}
	return ways
}
