package api

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// ServiceRequest asks for one service of a visit. A service that needs the
// hair takes either an estimate made before or the hair itself.
type ServiceRequest struct {
	ServiceID  string    `json:"service_id" maxLength:"64"`
	LeadID     string    `json:"lead_id,omitempty" maxLength:"64" doc:"Wished-for stylist in charge; left out: anybody, the same for the whole visit"`
	WatcherID  string    `json:"watcher_id,omitempty" maxLength:"64" doc:"Second stylist with the skill of the service who watches where somebody has to, and frees the stylist in charge meanwhile; left out: the stylist in charge watches"`
	Pace       string    `json:"pace,omitempty" enum:"lead,salon" doc:"Whose pace the minutes follow where hair is given: that of lead_id, or the salon's, as in a search without lead_id; left out: lead where lead_id is given"`
	EstimateID string    `json:"estimate_id,omitempty" maxLength:"64"`
	Hair       *HeadBody `json:"hair,omitempty"`

	Phone *PhoneBody `json:"phone,omitempty" doc:"With hair: what was told on the telephone, for which that hair stands in (stand_in of POST /estimates/phone). The price is from one amount to another then, until the hair was looked at"`
}

// composed is a visit worked out but not placed.
type composed struct {
	visit     string           // that is booked so, "" for none
	wish      []ServiceRequest // from which it was worked out, nil for a visit that is booked
	plan      *openings.VisitPlan
	services  []store.VisitService // leads still empty
	estimates []*worked            // nil for services of fixed length
	workings  []string             // the sums behind the prices
	price     int64
	takes     []store.VisitProduct // of products, in whole ml
	quote     *store.Quote         // that the prices are from; nil: from today's rules
	aftercare bool
	chemical  bool
	consulted []CautionBody              // what the client's consultation asks for
	veiled    bool                       // and how strictly is not to be said
	spaced    []scheduling.SpacedService // as the rules of spacing see them
	recorded  []CautionBody              // what is on record of the client asks for
	tested    bool                       // a skin test counts for the visit, or the salon asks for none
	seen      bool                       // the hair was looked at
	unguarded bool                       // the client is a minor, and no guardian is named
}

// worked is an estimate, kept or about to be kept.
type worked struct {
	id     string
	client string // for whom it was made; empty when for nobody in particular
	hair   HeadBody
	result EstimateBody
	// cautions are those of today's settings and of the steps that are booked;
	// result has those of the day on which the estimate was made.
	cautions []CautionBody
	normal   string // the normal plan in words, where the exposure is refused otherwise
}

// salonDay is what every request needs of the salon.
type salonDay struct {
	row   store.Salon
	loc   *time.Location
	time  chairtime.Settings // with the pace and the makers that it was asked for
	own   chairtime.Settings // of the salon alone
	rules BookingRules
	care  care
}

func loadSalon(ctx context.Context, t *store.Tx) (salonDay, error) {
	n, err := t.SalonRow(ctx)
	if err != nil {
		return salonDay{}, err
	}
	loc, err := n.Location()
	if err != nil {
		return salonDay{}, fmt.Errorf("api: zone of salon: %w", err)
	}
	c, err := chairTime(n)
	if err != nil {
		return salonDay{}, err
	}
	rules, err := bookingRules(n)
	if err != nil {
		return salonDay{}, err
	}
	looked, err := careOf(n)
	return salonDay{n, loc, c, c, rules, looked}, err
}

// compose loads the services that are asked for and works out their minutes.
func compose(ctx context.Context, t *store.Tx, n salonDay, list []ServiceRequest) (*composed, error) {
	var f scheduling.Faults
	if len(list) == 0 || len(list) > mostServices {
		f.Addf("services", "1 to 8 services", "has %d entries", len(list))
		return nil, f
	}
	c := &composed{wish: list}
	var parts []openings.VisitService
	for i, r := range list {
		at := index("services", i)
		row, err := t.ServiceByID(ctx, r.ServiceID)
		if is(err, scheduling.ErrNotFound) || (err == nil && !row.Active) {
			f.Add(at+".service_id", "is not a service of this salon", "an id from GET /services")
			continue
		}
		if err != nil {
			return nil, err
		}
		row.Service = row.LedWhere(n.rules.assistants())
		if err := knownLead(ctx, t, &f, at+".", r.LeadID); err != nil {
			return nil, err
		}
		if err := checkWatcher(ctx, t, &f, list, i, row.Service); err != nil {
			return nil, err
		}
		part, w, err := workOut(ctx, t, n, &f, at, row.Service, r)
		if err != nil {
			return nil, err
		}
		parts = append(parts, part)
		if err := f.Join(at, c.add(ctx, t, n, row, w)); err != nil {
			return nil, err
		}
		if err := c.tell(ctx, t, n, &f, at, row, r); err != nil {
			return nil, err
		}
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	if n.time.CloseAtDesk > 0 {
		closeAtDesk(parts[len(parts)-1].Steps)
	}
	var err error
	c.plan, err = openings.ComposeVisit(parts)
	if err == nil && c.minutes() > longestVisit {
		f.Addf("services", "at most 24 hours", "take %d minutes together", c.minutes())
		err = f
	}
	return c, err
}

// mostServices is how many services one visit has at most (judgement).
const mostServices = 8

// longestVisit is the longest visit that can be placed, in minutes: a day (judgement).
const longestVisit = 24 * 60

// minutes is the length of all steps; waits come on top.
func (c *composed) minutes() int {
	n := 0
	for _, st := range c.plan.Steps {
		n += st.Length
	}
	return n
}

// others notes estimates that were made for another client.
func (c *composed) others(f *scheduling.Faults, client string) {
	if c == nil {
		return
	}
	for i, w := range c.estimates {
		if w != nil && w.client != "" && w.client != client {
			f.Add(index("services", i)+".estimate_id", "was made for another client", "an estimate for this client, or for nobody in particular")
		}
	}
}

// add puts a service behind the others; without w its price is not known yet.
func (c *composed) add(ctx context.Context, t *store.Tx, n salonDay, row store.ServiceRow, w *worked) error {
	cost, err := n.priceOf(row, w)
	if err != nil {
		return err
	}
	known, err := productsOf(ctx, t, row)
	if err != nil {
		return err
	}
	c.takes = append(c.takes, takes(known, len(c.services), row, w)...)
	v := store.VisitService{Service: row.ID, Version: row.Version, Name: row.Name, Aftercare: row.Aftercare, PriceCents: cost.Cents}
	if w != nil && w.id != "" {
		v.Estimate = &w.id
	}
	if w != nil {
		more, err := n.makerCautions(known, row, w)
		if err != nil {
			return err
		}
		w.cautions = append(w.cautions, more...)
	}
	c.services = append(c.services, v)
	c.estimates = append(c.estimates, w)
	c.workings = append(c.workings, cost.Working)
	c.price += cost.Cents
	c.aftercare = c.aftercare || row.Aftercare
	c.chemical = c.chemical || row.Chemical
	x := row.Spaced()
	if w != nil {
		x.RegrowthCM = w.hair.RegrowthCM
	}
	c.spaced = append(c.spaced, x)
	return nil
}

// knownLead notes a lead_id below at that cannot be in charge of a visit.
func knownLead(ctx context.Context, t *store.Tx, f *scheduling.Faults, at, id string) error {
	if id == "" {
		return nil
	}
	p, err := t.StaffByID(ctx, id)
	switch {
	case is(err, scheduling.ErrNotFound):
		f.Add(at+"lead_id", "is not known", "the id of a stylist of this salon")
		return nil
	case err != nil:
		return err
	case !p.MayLead || !p.Active:
		f.Add(at+"lead_id", "may not be in charge of a visit", "a licensed stylist who works here")
	}
	return nil
}

// workOut gives the steps of one service their minutes.
func workOut(ctx context.Context, t *store.Tx, n salonDay, f *scheduling.Faults, at string, x scheduling.Service,
	r ServiceRequest) (openings.VisitService, *worked, error) {
	out := openings.VisitService{Service: x, LeadID: r.LeadID, WatcherID: r.WatcherID, Hands: 1}
	if !needsHair(x) {
		if r.EstimateID != "" || r.Hair != nil {
			f.Add(at, "has hair, but the service takes the same time for everybody", "neither hair nor estimate_id")
		}
		steps, err := x.Time(nil, 1)
		out.Steps = steps
		return out, nil, f.Join(at, err)
	}
	n, err := n.paced(ctx, t, pacedBy(f, at, r), x)
	if err != nil {
		return out, nil, err
	}
	w, err := estimateFor(ctx, t, n, f, at, x, r)
	if err != nil || w == nil {
		return out, nil, err
	}
	out.Hands = w.hair.Hands
	if out.Hands > 1 && !slices.ContainsFunc(x.Steps, func(st scheduling.Step) bool { return st.Helper }) {
		f.Add(at+".hair.hands", "is 2, but no step of this service can be shared", "1")
	}
	out.Steps, err = x.Time(w.result.booked(), max(1, w.hair.Batches))
	if err := f.Join(at+".hair", err); err != nil {
		return out, nil, err
	}
	first, every := n.time.Looks(w.hair.Head())
	scheduling.SetLooks(out.Steps, first, every)
	if w.cautions, err = n.cautions(w.head(), out.Steps); err != nil {
		return out, nil, f.Join(at+".hair", err)
	}
	if err := w.nameNormal(ctx, t, n.time, x); err != nil {
		return out, nil, f.Join(at+".hair", err)
	}
	if out.Expect, err = n.efforts(w, out.Steps); err != nil {
		return out, nil, f.Join(at+".hair", err)
	}
	return out, w, nil
}

// estimateFor loads the estimate that r names or works one out from its hair.
// It returns nil when r is at fault.
func estimateFor(ctx context.Context, t *store.Tx, n salonDay, f *scheduling.Faults, at string, x scheduling.Service,
	r ServiceRequest) (*worked, error) {
	switch {
	case r.EstimateID != "" && r.Hair != nil:
		f.Add(at, "has both hair and estimate_id", "one of the two")
		return nil, nil
	case r.Hair != nil && retouchOf(f, at+".hair", x, *r.Hair):
		return nil, nil
	case r.Hair != nil:
		hair, e, err := estimate(ctx, t, n.time, x, *r.Hair)
		if err != nil {
			return nil, f.Join(at+".hair", err)
		}
		if e.Pace, err = n.paceLines(ctx, t, e, hair.Hands); err != nil {
			return nil, err
		}
		n.assisted(x, &e)
		return &worked{hair: hair.settled(n.time), result: e}, nil
	case r.EstimateID == "":
		f.Add(at, "lacks the hair, on which the time of this service depends", "hair or estimate_id")
		return nil, nil
	}
	row, err := t.EstimateByID(ctx, r.EstimateID)
	if is(err, scheduling.ErrNotFound) || (err == nil && row.Service != x.ID) {
		f.Add(at+".estimate_id", "is not an estimate for this service", "the id of an answer of POST /estimates")
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return readEstimate(row)
}

// hairFor is the hair as x treats it, for the core.
func hairFor(x scheduling.Service, b HeadBody) chairtime.Head {
	h := b.Head()
	h.TwoStage = x.TwoStage()
	return h
}

// retouchOf notes a retouch without new growth, and reports whether it did.
func retouchOf(f *scheduling.Faults, at string, x scheduling.Service, hair HeadBody) bool {
	if !x.Retouch || hair.RegrowthCM > 0 {
		return false
	}
	f.Add(at+".regrowth_cm", "is missing, and a retouch treats only new growth", "the new growth in cm, up to the length of the hair")
	return true
}

func readEstimate(row store.Estimate) (*worked, error) {
	w := &worked{id: row.ID}
	if row.Client != nil {
		w.client = *row.Client
	}
	if err := json.Unmarshal(row.Hair, &w.hair); err != nil {
		return nil, fmt.Errorf("api: estimate: %w", err)
	}
	if err := json.Unmarshal(row.Result, &w.result); err != nil {
		return nil, fmt.Errorf("api: estimate: %w", err)
	}
	return w, nil
}

// booked lists the booked minutes by kind, in order.
func (b EstimateBody) booked() map[scheduling.StepKind][]int {
	out := map[scheduling.StepKind][]int{}
	for _, s := range b.Steps {
		out[scheduling.StepKind(s.Kind)] = append(out[scheduling.StepKind(s.Kind)], s.BookedMinutes)
	}
	return out
}

// around is the horizon of whole days from the day before d to the day after.
func around(loc *time.Location, first, last date.Date) openings.Horizon {
	return openings.NewHorizon(loc, openings.DateRange{First: first.Add(-1), Last: last.Add(2)})
}
