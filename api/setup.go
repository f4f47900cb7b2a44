package api

import (
	"context"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/products"
	"chairblock/store"
)

// SetUpBody says how far the salon is set up.
type SetUpBody struct {
	Ready   bool            `json:"ready" doc:"Something can be booked"`
	Missing []MissingBody   `json:"missing" nullable:"false" doc:"What is missing before the first booking"`
	Advice  []MissingBody   `json:"advice" nullable:"false" doc:"What can wait but should not"`
	Hours   []StaffWeekBody `json:"staff_hours" nullable:"false" doc:"The standing weeks of those who have working hours"`
	Open    []WindowBody    `json:"open" nullable:"false" doc:"The salon's week"`
}

// MissingBody is something to be entered.
type MissingBody struct {
	Code  string `json:"code" enum:"hours,people,staff_hours,chairs,basins,services,skills,steps,prices,solution,neutralizer,phone,mail,address,emergency"`
	Words string `json:"words"`
}

// StaffWeekBody is a person's standing week.
type StaffWeekBody struct {
	StaffID string       `json:"staff_id"`
	Work    []WindowBody `json:"work" nullable:"false"`
	Breaks  []WindowBody `json:"breaks" nullable:"false"`
	ByDate  bool         `json:"other_hours_by_date" doc:"On some dates from today other hours hold"`
}

func (s *Server) setUpRoutes() {
	route(s, huma.Operation{OperationID: "get-set-up", Method: http.MethodGet, Path: "/set-up",
		Summary: "What is missing before the first booking"}, s.getSetUp)
	route(s, huma.Operation{OperationID: "add-usual-services", Method: http.MethodPost, Path: "/services/usual",
		Summary: "Add the services that the program brings along, as far as none has their name"}, s.addUsualServices)
}

// setUpHref is the way to Set-up for whoever may change it, else "".
func setUpHref(ctx context.Context) string {
	if mayDo(ctx, "update-salon") != "" {
		return ""
	}
	return "/set-up"
}

func (s *Server) getSetUp(ctx context.Context, _ *empty) (*struct{ Body SetUpBody }, error) {
	var out SetUpBody
	err := s.read(ctx, func(t *store.Tx) (err error) { out, err = s.setUp(ctx, t); return err })
	return &struct{ Body SetUpBody }{out}, err
}

// setUp works out how far the salon is set up.
func (s *Server) setUp(ctx context.Context, t *store.Tx) (SetUpBody, error) {
	out := SetUpBody{Missing: []MissingBody{}, Advice: []MissingBody{}, Hours: []StaffWeekBody{}}
	n, err := loadSalon(ctx, t)
	if err != nil {
		return out, err
	}
	m, err := n.means(ctx, t)
	if err != nil {
		return out, err
	}
	if err := out.people(ctx, t, s.toPlan(n)); err != nil {
		return out, err
	}
	open, err := t.OpeningHours(ctx)
	if err != nil {
		return out, err
	}
	out.Open = writeWindows(open, "open")
	services, err := t.Services(ctx)
	if err != nil {
		return out, err
	}
	known, err := t.Products(ctx)
	if err != nil {
		return out, err
	}
	out.rooms(m, services)
	out.offered(m, services)
	out.prices(n, services)
	if err := out.makers(known, services); err != nil {
		return out, err
	}
	out.facts(n.row)
	out.Ready = len(out.Missing) == 0
	return out, nil
}

func (b *SetUpBody) lacks(code, format string, args ...any) {
	b.Missing = append(b.Missing, MissingBody{code, fmt.Sprintf(format, args...)})
}

func (b *SetUpBody) advise(code, format string, args ...any) {
	b.Advice = append(b.Advice, MissingBody{code, fmt.Sprintf(format, args...)})
}

// people notes who is missing, and whose hours are on days to come.
func (b *SetUpBody) people(ctx context.Context, t *store.Tx, days openings.DateRange) error {
	staff, err := t.StaffList(ctx)
	if err != nil {
		return err
	}
	rotas, err := t.WorkRotas(ctx, days)
	if err != nil {
		return err
	}
	led, idle := 0, []string(nil)
	for _, p := range staff {
		if !p.Active {
			continue
		}
		r := rotas[p.ID]
		works := worksOn(r)
		if works {
			b.Hours = append(b.Hours, StaffWeekBody{p.ID, clockBodies(r.Standing.Work), clockBodies(r.Standing.Breaks), len(r.Turns)+len(r.Single) > 0})
		}
		switch {
		case !works:
			idle = append(idle, p.Name)
		case p.MayLead:
			led++
		}
	}
	switch {
	case led == 0 && len(idle) == 0:
		b.lacks("people", "Nobody may be in charge of a visit yet: add the first stylist in charge.")
	case led == 0:
		b.lacks("staff_hours", "Nobody in charge has working hours yet: %s.", strings.Join(idle, ", "))
	case len(idle) > 0:
		b.advise("staff_hours", "No working hours yet, so nothing is booked with: %s.", strings.Join(idle, ", "))
	}
	return nil
}

// rooms notes what is missing of hours, chairs and basins.
func (b *SetUpBody) rooms(m scheduling.Means, services []store.ServiceRow) {
	if m.LongestDay == 0 {
		b.lacks("hours", "The salon has no opening hours yet.")
	}
	if m.Chairs == 0 {
		b.lacks("chairs", "There is no chair yet.")
	}
	washes := slices.ContainsFunc(services, func(r store.ServiceRow) bool {
		return slices.ContainsFunc(r.Steps, func(st scheduling.Step) bool { return st.Where == scheduling.AtBasin })
	})
	if m.Basins == 0 && (washes || len(services) == 0) {
		b.lacks("basins", "There is no basin yet: nothing that is washed or rinsed can be booked.")
	}
}

// offered notes services that cannot be booked as they are.
func (b *SetUpBody) offered(m scheduling.Means, services []store.ServiceRow) {
	if len(services) == 0 {
		b.lacks("services", "No service is offered yet.")
		return
	}
	unable := map[string][]string{} // services by the skill that nobody has
	var never []string
	for _, r := range services {
		able := r.Skill == "" || slices.ContainsFunc(m.Leads, func(skills []string) bool { return slices.Contains(skills, r.Skill) })
		if _, err := r.Placeable(m); !able && len(m.Leads) > 0 {
			unable[r.Skill] = append(unable[r.Skill], r.Name)
		} else if err != nil && m.Chairs > 0 && m.Basins > 0 && m.LongestDay > 0 {
			never = append(never, r.Name)
		}
	}
	for _, skill := range slices.Sorted(maps.Keys(unable)) {
		b.advise("skills", "Nobody in charge has the skill “%s”: %s cannot be booked.", skill, strings.Join(unable[skill], ", "))
	}
	if len(never) > 0 {
		b.advise("steps", "Cannot be placed on any day as the steps are: %s.", strings.Join(never, ", "))
	}
}

// prices asks for a look at the prices that the program brought along, as long as
// nobody has changed one of them: they are quoted to clients.
func (b *SetUpBody) prices(n salonDay, services []store.ServiceRow) {
	usual := map[string]scheduling.Service{}
	for _, x := range scheduling.StandardServices() {
		usual[x.Name] = x
	}
	var list []string
	for _, r := range services {
		x, ok := usual[r.Name]
		if !ok {
			continue
		}
		if r.PriceCents != x.PriceCents {
			return
		}
		if r.PriceCents > 0 {
			list = append(list, r.Name+" "+n.amount(r.PriceCents))
		}
	}
	if len(list) > 0 {
		b.advise("prices", "Nobody here has set these prices: %s. Look at them before a client hears them.", strings.Join(list, ", "))
	}
}

// makers notes which of the maker's four figures nobody has copied for what the
// services with solution take.
func (b *SetUpBody) makers(known []store.Product, services []store.ServiceRow) error {
	if !slices.ContainsFunc(services, putsOn) {
		return nil
	}
	solution, neutralizer := products.Label{}, false
	for _, p := range known {
		if !takenBySome(services, p.ID) {
			continue
		}
		l, err := labelOf(p)
		if err != nil {
			return err
		}
		if p.Kind == string(products.Solution) {
			solution = l.label()
		}
		neutralizer = neutralizer || l.Neutralizer != nil
	}
	if list := solution.Missing(products.Solution); len(list) > 0 {
		b.advise("solution", "Ask the maker of the solution %s.", strings.Join(list, ", "))
	}
	if !neutralizer {
		b.advise("neutralizer", "Neutralizer time: not set. Ask the maker; every straightening says so until it is there.")
	}
	return nil
}

func takenBySome(services []store.ServiceRow, product string) bool {
	return slices.ContainsFunc(services, func(r store.ServiceRow) bool { return takesProduct(r, product) })
}

func takesProduct(r store.ServiceRow, product string) bool {
	return slices.ContainsFunc(r.Products, func(p store.ServiceProduct) bool { return p.Product == product })
}

// putsOn reports whether solution goes on in a service whose steps follow the hair.
func putsOn(r store.ServiceRow) bool {
	return r.Active && slices.ContainsFunc(r.Steps, func(st scheduling.Step) bool {
		return st.Kind.PutsOnSolution() && st.Formula == scheduling.FormulaHead
	})
}

// facts notes what clients are told.
func (b *SetUpBody) facts(n store.Salon) {
	for _, x := range []struct{ code, value, words string }{
		{"phone", n.Phone, "No telephone number for clients yet: messages cannot name it."},
		{"mail", n.Mail, "No mail address yet: messages by mail cannot be answered."},
		{"emergency", n.Emergency, "Which number calls an ambulance where you are? Until it is here, aftercare and “Rinse now” say to call the emergency services, without a number."},
		{"address", n.Address, "No address yet: messages and calendars cannot say where to come."},
	} {
		if x.value == "" {
			b.advise(x.code, "%s", x.words)
		}
	}
}

func (s *Server) addUsualServices(ctx context.Context, _ *empty) (*listBody[ServiceBody], error) {
	var added []store.ServiceRow
	err := s.inTx(ctx, func(t *store.Tx) error {
		added = nil
		if err := t.LockRota(ctx); err != nil { // so that pressing twice adds nothing twice
			return err
		}
		there, err := t.Services(ctx)
		if err != nil {
			return err
		}
		for _, x := range scheduling.StandardServices() {
			if slices.ContainsFunc(there, func(r store.ServiceRow) bool { return strings.EqualFold(r.Name, x.Name) }) {
				continue
			}
			row, err := t.AddService(ctx, x)
			if err != nil {
				return err
			}
			added = append(added, row)
		}
		return nil
	})
	return listOf(added, writeService), err
}
