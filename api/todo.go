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
	"chairblock/store"
)

// ToDoBody is one thing for the desk to see to.
type ToDoBody struct {
	NeedBody
	VisitID    string    `json:"visit_id"`
	Start      time.Time `json:"start"`
	VisitState string    `json:"visit_state" enum:"held,booked,arrived,under_way"`
	Services   []string  `json:"services" nullable:"false"`
	LeadName   string    `json:"lead_name,omitempty"`
	ClientID   string    `json:"client_id,omitempty"`
	Name       string    `json:"name" doc:"Of the client, or whom the time is for"`
	Minor      bool      `json:"minor,omitempty" doc:"The person to speak to is the guardian"`
	Contact    string    `json:"contact,omitempty" doc:"Whom to reach: the client, or a minor's guardian"`
	ContactBy  string    `json:"contact_by" enum:"mail,call,text,none,not_asked"`
	Phone      string    `json:"phone,omitempty"`
	Mail       string    `json:"mail,omitempty"`
	Lapses     bool      `json:"lapses" doc:"The visit is cancelled by itself when this is not there by its latest time, unless it was booked or moved after that"`
	LongFor    *int      `json:"overdue_minutes,omitempty"`
}

// ToDoList is what is open of the visits to come.
type ToDoList struct {
	AsOf    time.Time `json:"as_of"`
	Overdue int       `json:"overdue" doc:"How many of the items"`
	// Rinses go before everything else.
	Rinses []RinseCallBody `json:"rinse_now" nullable:"false" doc:"Where product has to come off at once, until it is taken back or the visit is over"`
	Items  []ToDoBody      `json:"items" nullable:"false" doc:"In the order of their latest times"`
	// Requests are beside the visits, since some are about none.
	Requests []ClientRequestBody `json:"requests" nullable:"false" doc:"What clients asked for on their own pages, oldest first"`
	// Erasing is told to whoever sets the terms alone.
	Erasing *ErasingToDo `json:"erasing,omitempty" doc:"Terms that nobody of the salon has seen to begin to count: to the owner, until that day or until she has set them, changed or not"`
}

// ErasingToDo is that what is older than the terms will be erased.
type ErasingToDo struct {
	From  string `json:"from_date" format:"date" doc:"By these terms nothing goes before that day"`
	Words string `json:"words" example:"From Wed 8 July 2026 on, what is older than your terms is erased for good"`
}

type toDoQuery struct {
	Days int `query:"days" minimum:"1" maximum:"366" default:"60" doc:"Visits that start within so many days"`
}
type toDoOutput struct{ Body ToDoList }

func (s *Server) toDoRoutes() {
	route(s, huma.Operation{OperationID: "list-to-do", Method: http.MethodGet, Path: "/to-do",
		Summary: "What visits to come still need, by when, and whom to speak to"}, s.listToDo)
}

func (s *Server) listToDo(ctx context.Context, in *toDoQuery) (*toDoOutput, error) {
	out := &toDoOutput{ToDoList{AsOf: s.now(), Rinses: []RinseCallBody{}, Items: []ToDoBody{}, Requests: []ClientRequestBody{}}}
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		out.Body.AsOf = s.now().In(n.loc)
		visits, err := s.visitsToCome(ctx, t, n, in.Days)
		if err != nil {
			return err
		}
		if out.Body.Items, err = s.toDo(ctx, t, n, visits); err != nil {
			return err
		}
		if out.Body.Rinses, err = rinseCalls(ctx, t, n); err != nil {
			return err
		}
		if out.Body.Erasing, err = s.erasingToDo(ctx, t, n); err != nil {
			return err
		}
		asked, err := t.OpenRequests(ctx)
		if err != nil {
			return err
		}
		out.Body.Requests, err = s.writeRequests(ctx, t, n, asked)
		return err
	})
	for _, x := range out.Body.Items {
		if x.Overdue {
			out.Body.Overdue++
		}
	}
	return out, err
}

// erasingToDo is from when on terms count that nobody has seen to, nil where that is
// nobody's business or past.
func (s *Server) erasingToDo(ctx context.Context, t *store.Tx, n salonDay) (*ErasingToDo, error) {
	if !May(ctx, "set-retention") {
		return nil, nil
	}
	r, err := t.Retention(ctx)
	if err != nil || !r.Unread || !n.today(s.now()).Before(r.From) {
		return nil, err
	}
	return &ErasingToDo{From: r.From.String(), Words: "From " + r.From.UTC().Format("Mon 2 January 2006") + " on, what is older than your terms is erased for good"}, nil
}

// visitsToCome lists visits that start within some days, from today's first
// minute on, and have not begun for good.
func (s *Server) visitsToCome(ctx context.Context, t *store.Tx, n salonDay, days int) ([]store.Visit, error) {
	from, _ := scheduling.DayBounds(n.loc, n.today(s.now()))
	list, err := t.VisitsWithoutSteps(ctx, from, s.now().AddDate(0, 0, days))
	return slices.DeleteFunc(list, func(v store.Visit) bool {
		return !toCome(v) || v.State == store.UnderWay || v.State == store.Held && !s.now().Before(*v.HeldUntil)
	}), err
}

// toDo lists what is open of visits, by latest time.
func (s *Server) toDo(ctx context.Context, t *store.Tx, n salonDay, visits []store.Visit) ([]ToDoBody, error) {
	out := []ToDoBody{}
	of, err := needsOf(ctx, t, n, visits...)
	if err != nil {
		return out, err
	}
	visits = slices.DeleteFunc(visits, func(v store.Visit) bool { return len(needs.FirstOpen(of[v.ID])) == 0 })
	names, err := unitNames(ctx, t)
	if err != nil {
		return out, err
	}
	clients, err := clientsOf(ctx, t, visits)
	if err != nil {
		return out, err
	}
	minors, err := t.MinorsOf(ctx, clientIDs(visits)...)
	if err != nil {
		return out, err
	}
	readable, err := readableOf(ctx, t, clientIDs(visits)...)
	if err != nil {
		return out, err
	}
	for _, v := range visits {
		ctx := herClient(ctx, slices.Contains(readable, v.Client))
		to := s.spokenTo(n, clients[v.ID], minors)
		for _, x := range of[v.ID] {
			if !x.Open() {
				continue
			}
			b := ToDoBody{NeedBody: s.writeNeed(ctx, n, x), VisitID: v.ID, Start: v.Start.In(n.loc), VisitState: string(v.State), LeadName: names[v.Lead()],
				ClientID: v.Client, Name: clientName(to.client), Minor: to.minor, Contact: to.name, ContactBy: to.by, Phone: to.phone, Mail: to.mail,
				Lapses: n.wouldLapse(x) && v.State == store.Booked, Services: []string{}}
			b.Why = "" // for whoever opens the visit, which is noted
			for _, k := range v.Services {
				b.Services = append(b.Services, k.Name)
			}
			if b.Overdue {
				b.LongFor = new(int(s.now().Sub(x.Latest) / time.Minute))
			}
			out = append(out, b)
		}
	}
	slices.SortStableFunc(out, func(a, b ToDoBody) int { return cmp.Or(a.Latest.Compare(b.Latest), a.Start.Compare(b.Start)) })
	return out, nil
}

// person is who is spoken to because of a visit.
type person struct {
	client      store.Client
	minor       bool
	name        string // the guardian's, or the client's
	first       string // the guardian's first name, "" when it is the client
	by          string // mail, call, text or none
	phone, mail string
}

// firstWord is the first name of a full one.
func firstWord(name string) string {
	first, _, _ := strings.Cut(name, " ")
	return first
}

// recipient is who hears of a visit: its client or, while she is a minor, her
// guardian.
func (s *Server) recipient(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (person, error) {
	c, err := clientOf(ctx, t, v)
	if err != nil {
		return person{}, err
	}
	minors, err := t.MinorsOf(ctx, clientIDs([]store.Visit{v})...)
	return s.spokenTo(n, c, minors), err
}

// spokenTo is who hears of a visit of c, by who answers for which minor.
func (s *Server) spokenTo(n salonDay, c store.Client, minors map[string]store.Minor) person {
	p := person{client: c, name: clientName(c), by: c.ContactBy, phone: c.Phone, mail: c.Mail}
	if m, ok := minors[c.ID]; ok && n.minorAt(m, s.now()) {
		p.minor, p.name, p.first, p.by, p.phone, p.mail = true, m.Guardian, firstWord(m.Guardian), m.ContactBy, m.Phone, m.Mail
	}
	return p
}
