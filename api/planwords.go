package api

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// propose writes down what was found.
func (p *packer) propose(ctx context.Context, t *store.Tx, found packed, x *proposal) error {
	x.Body = DayPlanBody{Date: p.days.First.String(), State: string(store.PlanProposed), Changes: []PlanChangeBody{}, CannotStay: []PlanStuckBody{},
		StaysOut: []PlanLeftBody{}, Cautions: []CautionBody{}}
	b := &x.Body
	b.Gain.Visits = p.calm
	for _, j := range slices.Concat(p.spared, p.jobs) {
		switch {
		case j.sch == nil && j.visit != nil:
			stuck, err := p.stuckBody(ctx, t, *j.visit, j, cmp.Or(j.out, found.why[j.id]), len(b.CannotStay))
			if err != nil {
				return err
			}
			stuck.MayMove = true
			b.CannotStay = append(b.CannotStay, stuck)
			b.Gain.Lost += int64(j.value())
			continue
		case j.sch == nil:
			b.StaysOut = append(b.StaysOut, p.leftBody(j, cmp.Or(j.out, found.why[j.id])))
			continue
		case j.wish != nil:
			b.Gain.Requests++
			b.Gain.Added += int64(j.value())
		default:
			b.Gain.Visits++
			if j.trouble != "" {
				b.Gain.Kept += int64(j.value())
			}
		}
		if !j.changed() {
			continue
		}
		c, err := p.changeBody(ctx, t, j)
		if err != nil {
			return err
		}
		b.Changes = append(b.Changes, c)
		x.Changes = append(x.Changes, p.planned(j))
		for _, k := range c.Cautions {
			if !slices.Contains(b.Cautions, k) {
				b.Cautions = append(b.Cautions, k)
			}
		}
	}
	b.Gain.Visits -= len(p.spared)
	for _, s := range p.stuck {
		stuck, err := p.stuckBody(ctx, t, s.visit, s.job, s.why, len(b.CannotStay))
		if err != nil {
			return err
		}
		b.CannotStay = append(b.CannotStay, stuck)
		b.Gain.Lost += s.visit.PriceCents
	}
	for _, c := range b.Changes {
		if c.Kind != "book" {
			b.Gain.Moved++
		}
	}
	if more := int64(found.bound - found.value); more < int64(p.rescue) && !found.unsure {
		more = max(more, 0)
		b.Gain.More, b.Gain.Best = &more, more == 0
	}
	b.Words = p.words(b)
	return nil
}

// planned is the change of j to the minute.
func (p *packer) planned(j *packJob) plannedChange {
	c := plannedChange{Roles: j.sch.Roles, Phases: j.sch.Phases[:len(j.c.plan.Steps)], Alone: j.isAlone, Loose: j.loose}
	for i := range j.c.services {
		c.Leads = append(c.Leads, j.c.plan.LeadOf(*j.sch, i))
	}
	if j.wish != nil {
		c.Wish = j.id
	} else {
		c.Visit, c.Version = j.id, j.visit.Version
	}
	return c
}

func (p *packer) changeBody(ctx context.Context, t *store.Tx, j *packJob) (PlanChangeBody, error) {
	plan := j.c.plan
	c := PlanChangeBody{Kind: "book", ClientID: j.client, Name: j.who, Start: p.h.Time(j.sch.Phases[0].Start), End: p.h.Time(plan.End(*j.sch)),
		LeadID: plan.LeadOf(*j.sch, 0), ChairID: j.sch.Roles[openings.RoleChair], ValueCents: int64(j.value()), Why: j.trouble, Alone: j.isAlone}
	if j.wish != nil {
		c.WaitingID = j.id
	} else {
		c.Kind, c.VisitID, c.State = "units", j.id, string(j.visit.State)
		c.FromStart, c.FromEnd = localTime(&j.visit.Start, p.n.loc), localTime(&j.visit.End, p.n.loc)
		c.FromLeadID, c.FromChair = j.visit.Lead(), j.visit.Chair
		if !c.Start.Equal(j.visit.Start) {
			c.Kind = "move"
		}
	}
	shop := p.beside(j)
	share := p.n.newSharing(t, p.h, j.c, shop)
	list, err := share.shared(ctx, *j.sch, shop)
	if err != nil {
		return c, err
	}
	if c.Shares, err = share.bodies(ctx, list, p.names); err != nil {
		return c, err
	}
	if c.Cautions, err = p.asks(ctx, t, j, c.Start); err != nil {
		return c, err
	}
	c.Words = p.changeWords(j, c)
	return c, nil
}

// asks is what the licensed person has to agree to, as when the change is made.
func (p *packer) asks(ctx context.Context, t *store.Tx, j *packJob, start time.Time) ([]CautionBody, error) {
	client := j.client
	if j.wish == nil {
		client = j.visit.Client
	}
	if err := j.c.prove(ctx, t, p.n, client, start); err != nil {
		return nil, err
	}
	if j.wish != nil {
		near, err := p.s.spacingOf(ctx, t, p.n, j.client, j.c, start, "")
		if err != nil {
			return nil, err
		}
		if err := j.c.consult(ctx, t, p.n, client, start); err != nil {
			return nil, err
		}
		out := slices.Concat(asks(near), j.c.consulted, j.c.recorded)
		for _, w := range j.c.estimates {
			if w == nil {
				continue
			}
			for _, x := range w.cautions {
				if x.Level == string(chairtime.LevelNeedsYes) {
					out = append(out, x)
				}
			}
		}
		if j.c.skinTooSoon(p.n, p.now, start) {
			out = append(out, p.n.askSkinTest())
		}
		return out, nil
	}
	if start.Equal(j.visit.Start) {
		return nil, nil
	}
	near, err := p.s.newSpacing(ctx, t, p.n, *j.visit, j.c, start)
	if err != nil {
		return nil, err
	}
	out := asks(near)
	more, err := j.c.elsewhere(ctx, t, p.n, client, start)
	if err != nil {
		return nil, err
	}
	if j.visit.State != store.Held {
		out = append(out, more...)
	}
	if !j.c.tested && p.n.skinTestAgain(p.now, *j.visit, j.c, start, "") {
		out = append(out, p.n.askSkinTest())
	}
	return out, nil
}

// stuckBody is a visit that cannot stay; job is nil when it is not known any
// more how to place it, and only so many visits get offers.
func (p *packer) stuckBody(ctx context.Context, t *store.Tx, v store.Visit, job *packJob, why string, before int) (PlanStuckBody, error) {
	b := PlanStuckBody{VisitID: v.ID, ClientID: v.Client, Start: v.Start.In(p.n.loc), Why: why, Offers: []PlanOfferBody{}}
	c, err := clientOf(ctx, t, v)
	if err != nil {
		return b, err
	}
	if job != nil {
		b.Refused = job.refused
		if job.trouble != "" && job.trouble != why {
			b.Why = job.trouble + "; " + why
		}
	}
	b.Words = fmt.Sprintf("%s at %s cannot stay: %s", shortName(c), b.Start.Format("15:04"), b.Why)
	switch {
	case v.State == store.Arrived || v.State == store.UnderWay:
		b.Words += "; the client is here, and her times are left as they are"
	case len(b.Refused) > 0:
		b.Words += "; by one pair of hands it is refused: " + b.Refused[0].Text
	}
	if job == nil || v.State != store.Booked || before >= mostOffers {
		return b, nil
	}
	if b.Offers, err = p.offers(ctx, t, job); err != nil {
		return b, err
	}
	for _, o := range b.Offers {
		b.Words += "; " + o.Words
	}
	return b, nil
}

func (p *packer) leftBody(j *packJob, why string) PlanLeftBody {
	return PlanLeftBody{WaitingID: j.id, ClientID: j.client, ValueCents: int64(j.value()), FirstAllowed: j.first, Why: why,
		Words: j.who + " stays on the waiting list: " + why}
}

// changeWords says what moves from where to where.
func (p *packer) changeWords(j *packJob, c PlanChangeBody) string {
	at := func(t time.Time) string { return t.Format("15:04") }
	var s string
	switch c.Kind {
	case "book":
		var names []string
		for _, x := range j.c.services {
			names = append(names, x.Name)
		}
		s = fmt.Sprintf("%s: %s from %s to %s with %s, %s, worth %s", j.who, strings.Join(names, " and "), at(c.Start), at(c.End), p.names[c.LeadID], p.names[c.ChairID], p.money(c.ValueCents))
	case "move":
		s = fmt.Sprintf("%s moves from %s to %s", j.who, at(*c.FromStart), at(c.Start))
	default:
		s = fmt.Sprintf("%s stays at %s", j.who, at(c.Start))
	}
	if j.visit != nil {
		for _, u := range p.others(j) {
			s += ", " + u
		}
	}
	if j.isAlone {
		s += fmt.Sprintf(", alone: %s instead of %s", chairtime.Hours(j.c.minutes()), chairtime.Hours(j.booked.minutes()))
	}
	if j.trouble != "" {
		s += " because " + j.trouble
	}
	for _, x := range c.Shares {
		s += "; " + x.Words
	}
	return s
}

// others says who and what is another one than was booked. Who only assists is
// nobody's appointment and said only where nothing else is.
func (p *packer) others(j *packJob) []string {
	var out []string
	say := func(now, was, what string) {
		s := fmt.Sprintf("%s instead of %s%s", p.names[now], p.names[was], what)
		if now != was && was != "" && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	for _, r := range j.c.plan.Spec.Roles {
		say(j.sch.Roles[r.Name], j.stay.Roles[r.Name], "")
	}
	if j.isAlone {
		return out
	}
	for i, st := range j.c.plan.Steps {
		for k, role := range st.Pool {
			now, was := j.sch.Phases[i].Pool[k], j.stay.Phases[i].Pool[k]
			if role == openings.RoleBasin || len(out) == 0 && j.sch.Phases[0].Start == j.stay.Phases[0].Start {
				say(now, was, " ("+st.Label+")")
			}
		}
	}
	return out
}

// words is the plan in sentences.
func (p *packer) words(b *DayPlanBody) []string {
	out := []string{}
	for _, c := range b.Changes {
		out = append(out, c.Words)
	}
	for _, x := range b.CannotStay {
		out = append(out, x.Words)
	}
	for _, x := range b.StaysOut {
		out = append(out, x.Words)
	}
	g := b.Gain
	sum := fmt.Sprintf("%s and %s have a place", count(g.Visits, "visit that may move", "visits that may move"), count(g.Requests, "waiting-list request", "waiting-list requests"))
	if g.Added > 0 {
		sum += fmt.Sprintf(", which brings %s", p.money(g.Added))
	}
	switch {
	case g.More == nil:
		sum += "; whether something better is possible is not known"
	case g.Best:
		sum += "; nothing better is possible"
	default:
		sum += fmt.Sprintf("; at most %s more is possible", p.money(*g.More))
	}
	out = append(out, sum)
	if len(b.Cautions) > 0 {
		out = append(out, "It needs the yes of the licensed person in charge.")
	}
	return out
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// money writes an amount in the salon's currency.
func (p *packer) money(cents int64) string { return p.n.amount(cents) }
