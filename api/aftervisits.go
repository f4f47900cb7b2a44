package api

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// Days after a visit on which the hair is looked at after its first wash
// (judgement): it is washed two days after straightening at the soonest, and
// bends that came back show by the end of a week.
const (
	firstWashFrom = 3
	firstWashTo   = 7
)

// cautionFirstWash is the caution about a first wash check on another day.
const cautionFirstWash = "first_wash_day"

// FirstWashRequest books a look at the hair after its first wash.
type FirstWashRequest struct {
	Start      time.Time `json:"start" doc:"Whole minute, as an opening said"`
	LeadID     string    `json:"lead_id,omitempty" maxLength:"64" doc:"Left out: who was in charge of the visit, or anybody when she is not free"`
	ServiceID  string    `json:"service_id,omitempty" maxLength:"64" doc:"Left out: the salon's service for it"`
	Note       string    `json:"note,omitempty"`
	ApprovedBy string    `json:"approved_by,omitempty" doc:"Licensed person who said yes to another day than the third to the seventh"`
}

// CorrectionRequest books a visit in which what did not turn out well is done
// again.
type CorrectionRequest struct {
	Start      time.Time `json:"start" doc:"Whole minute, as an opening said"`
	LeadID     string    `json:"lead_id,omitempty" maxLength:"64" doc:"Left out: anybody"`
	ServiceID  string    `json:"service_id,omitempty" maxLength:"64" doc:"Left out: the salon's service for it"`
	EstimateID string    `json:"estimate_id,omitempty" maxLength:"64"`
	Hair       *HeadBody `json:"hair,omitempty" doc:"What is to be done again; this or an estimate, where the service depends on the hair"`
	Note       string    `json:"note,omitempty"`
	ApprovedBy string    `json:"approved_by" doc:"Licensed person who said yes; a correction is never booked without"`
}

type firstWashInput struct {
	Repeatable
	ByID
	Body FirstWashRequest
}
type correctVisitInput struct {
	Repeatable
	ByID
	Body CorrectionRequest
}

func (s *Server) afterVisitRoutes() {
	route(s, huma.Operation{OperationID: "book-first-wash-check", Method: http.MethodPost, Path: "/visits/{id}/first-wash-check",
		Summary: "Book a look at the hair after its first wash", DefaultStatus: http.StatusCreated,
		Errors: []int{http.StatusBadRequest, http.StatusConflict}}, s.bookFirstWash)
	route(s, huma.Operation{OperationID: "book-correction", Method: http.MethodPost, Path: "/visits/{id}/correction",
		Summary: "Book a visit in which what did not turn out well is done again", DefaultStatus: http.StatusCreated,
		Errors: []int{http.StatusBadRequest, http.StatusConflict}}, s.bookCorrection)
	route(s, huma.Operation{OperationID: "get-last-card", Method: http.MethodGet, Path: "/clients/{id}/last-card",
		Summary: "What the last record card of a client says for the next visit: pace, iron, result"}, s.getLastCard)
}

// followed is a visit that another one may follow from.
func followed(ctx context.Context, t *store.Tx, id string) (store.Visit, error) {
	v, err := t.VisitByID(ctx, id)
	switch {
	case err != nil:
		return v, err
	case isKept(v):
		return v, nobodyComes()
	case v.Client == "":
		return v, conflict("nobody knows who the client of this visit is: note her first")
	case v.State == store.StoppedEarly && v.FollowUpHeld:
		return v, conflict("the visit was stopped early and the licensed person has not cleared what follows it")
	case v.State != store.Finished && v.State != store.StoppedEarly && v.State != store.Booked:
		return v, conflict("the visit is " + words(v.State) + ": nothing follows from it")
	}
	straightened := slices.ContainsFunc(v.Services, func(x store.VisitService) bool { return x.Aftercare })
	if !straightened {
		return v, conflict("no service of this visit asks for aftercare")
	}
	return v, nil
}

// serviceOf finds the service that is asked for by id, or the salon's service of a
// family; it notes one that is not there.
func serviceOf(ctx context.Context, t *store.Tx, f *scheduling.Faults, id, family string) (string, error) {
	if id != "" {
		return id, nil // booking says what is wrong with it
	}
	list, err := t.Services(ctx)
	if err != nil {
		return "", err
	}
	for _, x := range list {
		if x.Active && slices.Contains(x.Families, family) {
			return x.ID, nil
		}
	}
	f.Add("service_id", "is missing, and no service of this salon has the family "+family, "a service for it from GET /services")
	return "", nil
}

func (s *Server) bookFirstWash(ctx context.Context, in *firstWashInput) (*created[VisitBody], error) {
	return createVisit(ctx, s, in.Repeatable, "/visits/"+in.ID+"/first-wash-check", in.Body,
		func(ctx context.Context, t *store.Tx, n salonDay, b FirstWashRequest) (store.Visit, error) {
			var f scheduling.Faults
			ask := VisitRequest{Start: b.Start, Note: b.Note, ApprovedBy: b.ApprovedBy, Services: []ServiceRequest{{ServiceID: b.ServiceID, LeadID: b.LeadID}}}
			if err := askedAfter(ctx, t, n, &f, &ask, scheduling.FamilyFirstWash); err != nil {
				return store.Visit{}, err
			}
			parent, err := followed(ctx, t, in.ID)
			if err := cmp.Or(f.Err(), err); err != nil {
				return parent, err
			}
			if err := n.firstWashDay(parent, b); err != nil {
				return parent, err
			}
			ask.ClientID = parent.Client
			as := newAs{parent: &parent.ID, parentAs: store.FirstWashCheck}
			if b.LeadID != "" {
				return s.bookAs(ctx, t, n, ask, as)
			}
			// Who did it looks at it, if she can.
			ask.Services[0].LeadID = parent.Lead()
			var v store.Visit
			err = t.Savepoint(ctx, func(t *store.Tx) (err error) { v, err = s.bookAs(ctx, t, n, ask, as); return err })
			if err == nil {
				return v, nil
			}
			ask.Services[0].LeadID = ""
			return s.bookAs(ctx, t, n, ask, as)
		})
}

// firstWashDay asks for a yes to a day on which the first wash says little.
func (n salonDay) firstWashDay(parent store.Visit, b FirstWashRequest) error {
	first := scheduling.CivilDate(realEnd(parent), n.loc)
	d := scheduling.CivilDate(b.Start, n.loc).Sub(first)
	if d >= firstWashFrom && d <= firstWashTo || b.ApprovedBy != "" {
		return nil
	}
	return needsYes([]CautionBody{{Level: string(chairtime.LevelNeedsYes), Code: cautionFirstWash, Text: fmt.Sprintf(
		"the first wash is looked at from %s to %s, %d to %d days after the visit", first.Add(firstWashFrom).Format("Mon 2 January"),
		first.Add(firstWashTo).Format("Mon 2 January"), firstWashFrom, firstWashTo)}})
}

func (s *Server) bookCorrection(ctx context.Context, in *correctVisitInput) (*created[VisitBody], error) {
	return createVisit(ctx, s, in.Repeatable, "/visits/"+in.ID+"/correction", in.Body,
		func(ctx context.Context, t *store.Tx, n salonDay, b CorrectionRequest) (store.Visit, error) {
			var f scheduling.Faults
			ask := VisitRequest{Start: b.Start, Note: b.Note, ApprovedBy: b.ApprovedBy,
				Services: []ServiceRequest{{ServiceID: b.ServiceID, LeadID: b.LeadID, EstimateID: b.EstimateID, Hair: b.Hair}}}
			if b.ApprovedBy == "" {
				f.Add("approved_by", "is empty", "the name of the licensed person who said yes to the correction")
			}
			if err := askedAfter(ctx, t, n, &f, &ask, scheduling.FamilyCorrection); err != nil {
				return store.Visit{}, err
			}
			parent, err := followed(ctx, t, in.ID)
			switch {
			case len(f) > 0:
				err = f
			case err == nil && parent.State == store.Booked:
				err = conflict("the visit is still to come: nothing can have turned out badly")
			}
			if err != nil {
				return parent, err
			}
			ask.ClientID = parent.Client
			return s.bookAs(ctx, t, n, ask, newAs{parent: &parent.ID, parentAs: store.Correction})
		})
}

// askedAfter finds the service of a visit that follows from another one and notes
// all that is wrong with the request, whatever becomes of the other one.
func askedAfter(ctx context.Context, t *store.Tx, n salonDay, f *scheduling.Faults, ask *VisitRequest, family string) error {
	text(f, "note", ask.Note, 0, 500)
	wholeMinute(f, "start", ask.Start)
	if _, err := licensed(ctx, t, f, text(f, "approved_by", ask.ApprovedBy, 0, 80)); err != nil {
		return err
	}
	r := &ask.Services[0]
	var err error
	if r.ServiceID, err = serviceOf(ctx, t, f, r.ServiceID, family); err != nil || r.ServiceID == "" {
		return err
	}
	_, err = compose(ctx, t, n, ask.Services)
	return joinService(f, err)
}

// joinService adds faults of the only service of a request, which has its members
// itself.
func joinService(f *scheduling.Faults, err error) error {
	var own scheduling.Faults
	if err := own.Join("", err); err != nil {
		return err
	}
	for _, e := range own {
		field, inside := strings.CutPrefix(e.Field, "services[0].")
		if !inside && strings.HasPrefix(field, "services") {
			field = ""
		}
		f.Add(field, e.Problem, e.Want)
	}
	return nil
}

// bookAs is book for a visit that is added in a way of its own.
func (s *Server) bookAs(ctx context.Context, t *store.Tx, n salonDay, b VisitRequest, as newAs) (store.Visit, error) {
	list, err := s.rearrange(ctx, t, n, []change{{book: &b, as: as}})
	if err != nil {
		var f scheduling.Faults
		return store.Visit{}, cmp.Or(joinService(&f, err), f.Err())
	}
	return list[0], nil
}

// free lets a visit cost nothing.
func (c *composed) free() {
	c.price = 0
	for i := range c.services {
		c.services[i].PriceCents, c.services[i].Open = 0, false
	}
}

// LastCardAnswer is the last record card of a client, for the next visit.
type LastCardAnswer struct {
	ClientID string        `json:"client_id"`
	Last     *LastCardBody `json:"last,omitempty" doc:"Left out when her hair was not treated here yet"`
}

// LastCardBody is what the last record card of a client says for the next visit.
type LastCardBody struct {
	VisitID  string     `json:"visit_id"`
	Date     string     `json:"date" format:"date"`
	Services []string   `json:"services" nullable:"false"`
	Lead     string     `json:"lead" doc:"Stylist in charge"`
	Stopped  bool       `json:"stopped_early"`
	Hair     *HeadBody  `json:"hair,omitempty"`
	Pace     []PaceBody `json:"pace" nullable:"false" doc:"How long the steps with hands on took beside their plan; empty when the visit says nothing of anybody's pace"`
	Iron     string     `json:"iron,omitempty" doc:"Setting of the iron as it was written"`
	Dryness  *float64   `json:"dryness_percent,omitempty" doc:"Before the iron"`
	Solution string     `json:"solution,omitempty"`
	// SolutionMinutes is how long it was on the first strand.
	SolutionMinutes *float64   `json:"solution_minutes,omitempty" doc:"How long solution was on the first strand; the longest when there were batches"`
	Neutralizer     string     `json:"neutralizer,omitempty"`
	Result          string     `json:"result,omitempty"`
	Flags           []FlagBody `json:"flags" nullable:"false"`
	Words           []string   `json:"words" nullable:"false" doc:"The same for people"`
}

// PaceBody is how long a step took beside its plan.
type PaceBody struct {
	Kind           string  `json:"kind"`
	Label          string  `json:"label"`
	PlannedMinutes int     `json:"planned_minutes"`
	RealMinutes    float64 `json:"real_minutes"`
	Inferred       bool    `json:"inferred" doc:"One of its times was noted by nobody"`
}

func (s *Server) getLastCard(ctx context.Context, in *ByID) (*found[LastCardAnswer], error) {
	out := LastCardAnswer{ClientID: in.ID}
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if _, err := t.ClientByID(ctx, in.ID); err != nil {
			return err
		}
		visits, err := t.VisitsOfClient(ctx, in.ID)
		if err != nil {
			return err
		}
		// The last one in which hair was treated; looks and cuts say nothing.
		i := slices.IndexFunc(visits, func(v store.Visit) bool {
			return (v.State == store.Finished || v.State == store.StoppedEarly) && slices.ContainsFunc(v.Services, func(x store.VisitService) bool { return x.Aftercare })
		})
		if i < 0 {
			return nil
		}
		x, err := cardOfVisit(ctx, t, n, visits[i])
		if err != nil {
			return err
		}
		names, err := unitNames(ctx, t)
		last := x.last(names, s.now())
		out.Last = &last
		return err
	})
	return &found[LastCardAnswer]{Body: out}, err
}

// last is what the card says for the next visit.
func (x *cardOf) last(names map[string]string, now time.Time) LastCardBody {
	b := LastCardBody{VisitID: x.v.ID, Date: scheduling.CivilDate(x.v.Start, x.n.loc).String(), Services: []string{}, Lead: names[x.v.Lead()],
		Stopped: x.v.State == store.StoppedEarly, Hair: x.hair, Pace: []PaceBody{}, Flags: x.flags(now), Words: []string{}}
	for _, sv := range x.v.Services {
		b.Services = append(b.Services, sv.Name)
	}
	f := factsOf(x.v)
	for i, st := range x.v.Steps {
		if st.HandsOn && st.RealStart != nil && st.RealEnd != nil && !x.outOfPace() {
			b.Pace = append(b.Pace, PaceBody{st.Kind, st.Label, int(st.End.Sub(st.Start) / time.Minute),
				decimals(st.RealEnd.Sub(*st.RealStart).Minutes(), 1), len(f.guessed(i, st)) > 0})
		}
	}
	for _, r := range x.runs {
		if r.begun && !r.run.Neutralizer {
			m := decimals(r.minutes(now), 1)
			if b.SolutionMinutes == nil || m > *b.SolutionMinutes {
				b.SolutionMinutes = &m
			}
		}
	}
	for _, k := range x.stands {
		v := &k.value
		switch {
		case v.Iron != nil:
			b.Iron = scheduling.Number(v.Iron.Setting) + " °" + v.Iron.Unit
		case v.Dryness != nil:
			b.Dryness = &v.Dryness.Percent
		case v.Solution != nil:
			b.Solution = v.words()
		case v.Neutralizer != nil:
			b.Neutralizer = v.words()
		case v.Result != nil:
			b.Result = v.words()
		default:
			continue
		}
		b.Words = append(b.Words, v.words())
	}
	for _, p := range b.Pace {
		if p.Kind == string(scheduling.Iron) {
			b.Words = append(b.Words, fmt.Sprintf("ironing took %s min, planned %d", scheduling.Number(p.RealMinutes), p.PlannedMinutes))
		}
	}
	return b
}
