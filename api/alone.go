package api

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// PlanOfferBody is something that may help a visit for which the plan has no
// place. Somebody has to decide on it.
type PlanOfferBody struct {
	Kind    string     `json:"kind" enum:"borrowed_helper,batches,another_day" doc:"Somebody else to help at the time that was booked; one pair of hands that applies and rinses several times; or another day"`
	Start   *time.Time `json:"start,omitempty" doc:"When that fits"`
	End     *time.Time `json:"end,omitempty"`
	Batches int        `json:"batches,omitempty"`
	Words   string     `json:"words"`
}

// alone works a visit that was booked with a second pair of hands out for the
// one who remains, in so many batches, 0 as booked: with the versions of its
// services, its hair, and today's settings. It returns nil when it was never
// worked out from hair.
func (n salonDay) alone(ctx context.Context, t *store.Tx, v store.Visit, lead newLead, batches int) (*composed, error) {
	c := &composed{}
	var parts []openings.VisitService
	for i, x := range v.Services {
		row, err := t.ServiceVersion(ctx, x.Service, x.Version)
		if err != nil {
			return nil, err
		}
		part, err := rebook(row.Service, v, i)
		if err != nil {
			return nil, err
		}
		c.spaced = append(c.spaced, row.Spaced())
		var w *worked
		if part.Hands > 1 {
			if w, err = n.byOne(ctx, t, v, i, &part, batches); w == nil || err != nil {
				return nil, err
			}
			x.Estimate, c.spaced[i].RegrowthCM = nil, w.hair.RegrowthCM
		}
		part.LeadID = lead.of(v, i)
		parts = append(parts, part)
		c.services = append(c.services, x)
		c.estimates = append(c.estimates, w)
		c.aftercare = c.aftercare || x.Aftercare
	}
	if n.time.CloseAtDesk > 0 {
		closeAtDesk(parts[len(parts)-1].Steps)
	}
	var err error
	c.plan, err = openings.ComposeVisit(parts)
	return c, err
}

// byOne gives service i of v the minutes that it takes one pair of hands. It
// returns nil when nobody knows them.
func (n salonDay) byOne(ctx context.Context, t *store.Tx, v store.Visit, i int, part *openings.VisitService, batches int) (*worked, error) {
	if v.Services[i].Estimate == nil {
		return nil, nil
	}
	row, err := t.EstimateByID(ctx, *v.Services[i].Estimate)
	if err != nil {
		return nil, err
	}
	w, err := readEstimate(row)
	if err != nil {
		return nil, err
	}
	w.id, w.client, w.hair.Hands = "", v.Client, 1
	if batches > 0 {
		w.hair.Batches = batches
	}
	if n, err = n.paced(ctx, t, v.Services[i].Lead, part.Service); err != nil {
		return nil, err
	}
	e, err := n.time.Estimate(w.head())
	if err != nil {
		return nil, nil //nolint:nilerr // hair that today's settings do not take any more
	}
	w.result = NewEstimateBody(e)
	if w.result.Pace, err = n.paceLines(ctx, t, w.result, 1); err != nil {
		return nil, err
	}
	part.Service = part.Service.LedWhere(n.rules.assistants())
	if part.Steps, err = part.Service.Time(w.result.booked(), max(1, w.hair.Batches)); err != nil {
		return nil, nil //nolint:nilerr // a service that cannot be done in batches
	}
	part.Hands = 1
	first, every := n.time.Looks(w.hair.Head())
	scheduling.SetLooks(part.Steps, first, every)
	if w.cautions, err = n.cautions(w.head(), part.Steps); err != nil {
		return nil, err
	}
	part.Expect, err = n.efforts(w, part.Steps)
	return w, err
}

// workOutAlone notes what j would take one pair of hands, and whether that is
// refused.
func (p *packer) workOutAlone(ctx context.Context, t *store.Tx, j *packJob) error {
	c, err := p.n.alone(ctx, t, *j.visit, newLead{}, 0)
	if c == nil || err != nil {
		return err
	}
	if j.refused = c.refusals(); len(j.refused) > 0 {
		return nil
	}
	p.n.tidy(c.plan, p.shop)
	for i := range c.plan.Spec.Roles {
		if old := slices.IndexFunc(j.c.plan.Spec.Roles, func(r openings.Role) bool { return r.Name == c.plan.Spec.Roles[i].Name }); old >= 0 {
			c.plan.Spec.Roles[i].Only = j.c.plan.Spec.Roles[old].Only
		}
	}
	j.alone = c
	return nil
}

// goAlone lets j be done by one pair of hands. So that it stays near its time,
// it is taken to stand there already, by the same stylist in charge in the same
// chair.
func (p *packer) goAlone(j *packJob) error {
	j.c, j.isAlone = j.alone, true
	shop := always(p.shop, false)
	snap, err := openings.NewSnapshot(shop)
	if err != nil {
		return fmt.Errorf("api: pack: %w", err)
	}
	plan, err := openings.Compile(j.c.plan.Spec, snap)
	if err != nil {
		return fmt.Errorf("api: pack: %w", err)
	}
	at := j.stay.Phases[0].Start
	set, err := plan.Search(snap, openings.Query{From: at, To: at, Grid: 1})
	if err != nil {
		return fmt.Errorf("api: pack: %w", err)
	}
	s, ok := set.Assign(at, j.stay.Roles[j.c.plan.Spec.Roles[0].Name])
	if !ok {
		s, ok = set.Assign(at, "")
	}
	if j.lost = !ok; ok {
		for role, unit := range s.Roles {
			if was := j.stay.Roles[role]; was != "" && was != unit {
				try := later(s, 0)
				try.Roles[role] = was
				if len(openings.Check(try, j.c.plan.Spec, shop)) == 0 {
					s = try
				}
			}
		}
		j.guide = &s
	}
	return nil
}

// withoutPlace lets visits without a place, whose second pair of hands is away,
// be done by one, and gives the others up. It reports whether there are any of
// either.
func (p *packer) withoutPlace(why map[string]string) (gone, alone bool, err error) {
	for _, j := range p.jobs {
		switch {
		case j.sch != nil || j.out != "" || j.visit == nil:
		case j.alone == nil || j.isAlone:
			p.giveUp(j, why[j.id])
			gone = true
		default:
			if err := p.goAlone(j); err != nil {
				return gone, alone, err
			}
			alone = true
		}
	}
	return gone, alone, nil
}

// mostOffers is for how many visits offers are worked out (judgement: each asks
// a fortnight).
const mostOffers = 20

// offers says what may help j, which has no place.
func (p *packer) offers(ctx context.Context, t *store.Tx, j *packJob) ([]PlanOfferBody, error) {
	out := []PlanOfferBody{}
	if j.stay != nil && p.helperAway(j.booked.plan, *j.stay) {
		out = append(out, PlanOfferBody{Kind: "borrowed_helper", Words: p.helpWords(j)})
		b, ok, err := p.inBatches(ctx, t, j)
		if err != nil {
			return nil, err
		}
		if ok {
			out = append(out, b)
		}
	}
	first := p.days.Last.Add(1)
	a, err := p.s.openings(ctx, t, p.n, j.booked, OpeningsRequest{ClientID: j.client, FirstDate: first.String(), LastDate: first.Add(13).String(), Limit: 1}, j.id)
	if err != nil {
		return nil, err
	}
	for _, o := range a.Openings {
		out = append(out, PlanOfferBody{Kind: "another_day", Start: &o.Start, End: &o.End, Words: "another day: " + o.Words})
	}
	return out, nil
}

// helpWords says who is missing when.
func (p *packer) helpWords(j *packJob) string {
	type need struct {
		who      string
		from, to openings.Minute
	}
	var list []need
	for i, st := range j.booked.plan.Steps {
		if !slices.Contains(st.Pool, openings.RoleHelper) {
			continue
		}
		x := need{"somebody", j.stay.Phases[i].Start, j.stay.Phases[i].End}
		if k := slices.Index(st.Pool, openings.RoleHelper); st.Who == scheduling.ByLead {
			if s := j.booked.plan.Spec.Phases[i].Pool[k].Skills; len(s) > 0 {
				x.who = "a stylist with the skill " + strings.Join(s, " and ")
			} else {
				x.who = "a stylist"
			}
		}
		if n := len(list); n > 0 && list[n-1].who == x.who && list[n-1].to == x.from {
			list[n-1].to = x.to
			continue
		}
		list = append(list, x)
	}
	var words []string
	for _, x := range list {
		words = append(words, fmt.Sprintf("%s from %s to %s", x.who, p.clock(x.from), p.clock(x.to)))
	}
	return "a borrowed helper: " + strings.Join(words, ", ")
}

// inBatches offers the fewest batches by one pair of hands with which product
// does not stay on too long, and says when that would fit on the day.
func (p *packer) inBatches(ctx context.Context, t *store.Tx, j *packJob) (PlanOfferBody, bool, error) {
	k, err := p.fewestBatches(ctx, t, *j.visit)
	if k < 2 || err != nil {
		return PlanOfferBody{}, false, err
	}
	c, err := p.n.alone(ctx, t, *j.visit, newLead{}, k)
	if c == nil || err != nil || len(c.refusals()) > 0 {
		return PlanOfferBody{}, false, err
	}
	shop := p.beside(j)
	p.n.tidy(c.plan, shop)
	snap, err := openings.NewSnapshot(shop)
	if err != nil {
		return PlanOfferBody{}, false, fmt.Errorf("api: pack: %w", err)
	}
	plan, err := openings.Compile(c.plan.Spec, snap)
	if err != nil {
		return PlanOfferBody{}, false, fmt.Errorf("api: pack: %w", err)
	}
	out := PlanOfferBody{Kind: "batches", Batches: k, Words: fmt.Sprintf("alone in %d batches: %s", k, chairtime.Hours(c.minutes()))}
	_, to := scheduling.DayBounds(p.n.loc, p.days.First)
	from := max(p.h.Minute(p.now)+1, p.h.Minute(to)-1440)
	set, err := plan.Search(snap, openings.Query{From: from, To: max(from, p.h.Minute(to)-1), Grid: p.grid})
	if err != nil {
		return PlanOfferBody{}, false, fmt.Errorf("api: pack: %w", err)
	}
	for m := range set.All() {
		sch, ok := set.Assign(m, "")
		start, end := p.h.Time(m), p.h.Time(c.plan.End(sch))
		if !ok || p.busy(j, start, end) {
			continue
		}
		out.Start, out.End = &start, &end
		out.Words += fmt.Sprintf(", %s to %s with %s", start.Format("15:04"), end.Format("15:04"), p.names[c.plan.LeadOf(sch, 0)])
		return out, true, nil
	}
	out.Words += ", for which this day has no time"
	return out, true, nil
}

// busy reports whether the client of j has another visit then.
func (p *packer) busy(j *packJob, from, to time.Time) bool {
	return slices.ContainsFunc(p.visits, func(v store.Visit) bool {
		return v.Client == j.client && v.Client != "" && v.ID != j.id && v.Start.Before(to) && from.Before(v.End)
	})
}

// fewestBatches is how many batches are proposed for the hair of v to one pair
// of hands, 0 when none are.
func (p *packer) fewestBatches(ctx context.Context, t *store.Tx, v store.Visit) (int, error) {
	most := 0
	for _, x := range v.Services {
		if x.Estimate == nil {
			continue
		}
		row, err := t.EstimateByID(ctx, *x.Estimate)
		if err != nil {
			return 0, err
		}
		w, err := readEstimate(row)
		if err != nil {
			return 0, err
		}
		c, err := p.n.timeFor(ctx, t, x.Lead, scheduling.Service{})
		if err != nil {
			return 0, err
		}
		plans, err := c.Plans(w.head())
		if err != nil {
			return 0, nil //nolint:nilerr // hair that today's settings do not take any more
		}
		for _, o := range plans {
			if o.Proposal == chairtime.ProposeAlone {
				most = max(most, o.Batches)
			}
		}
	}
	return most, nil
}
