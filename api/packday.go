package api

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
	"chairblock/store"
)

// What it is worth in hundredths of the currency not to call a client and ask
// for another time: so much for the call, and so much for each minute between
// the two starts (judgement).
const (
	moveCents   = 1000
	minuteCents = 10
)

// mostPacked is how many visits and requests are packed at once: what package
// packing takes.
const mostPacked = 60

// cores lets only so many packings run at a time as there are processors, which
// belong to the process and not to a server in it: other requests want to be
// answered meanwhile.
var cores = make(chan struct{}, runtime.GOMAXPROCS(0))

// packer puts waiting-list requests, and visits that may move, into the time
// that the others leave. It reads first, then works without the database, and
// acts on nothing.
type packer struct {
	s      *Server
	n      salonDay
	now    time.Time
	days   openings.DateRange
	h      openings.Horizon // of days, and of one more before and two after
	grid   openings.Minute
	shop   openings.Shop // with what is booked and stays
	names  map[string]string
	visits []store.Visit // of all days of h, pencilled ones that have lapsed left out
	whose  map[string]store.Client
	jobs   []*packJob
	links  []packing.Link
	shut   map[string][]openings.Span // by unit: time inside other visits that is not to be shared
	frozen int                        // worth of visits that were jobs and stay
	calm   int                        // how many those are
	rescue int                        // what a place for a visit that cannot stay is worth, beside its price
	// ceiling is what a job is worth at most, beside that.
	ceiling int
	spared  []*packJob   // clients who are here and get another person or basin
	stuck   []stuckVisit // visits that cannot stay and may not move
}

// stuckVisit is a visit that cannot take place as it stands.
type stuckVisit struct {
	visit store.Visit
	why   string
	job   *packJob // nil when it is not known any more how to place it
}

// packJob is a visit or a request on its way to a place.
type packJob struct {
	id    string
	wish  *store.Wish
	visit *store.Visit
	who   string // first name and initial
	c     *composed

	client   string
	services []ServiceRequest         // of a request
	leads    []string                 // who may be in charge; empty: whoever the plan says
	windows  []wishWindow             // in which it has to lie
	spaced   []scheduling.SpacedVisit // other visits of the client
	stay     *openings.Schedule       // where it stands today, nil for a request
	trouble  string                   // why it cannot stay there, "" when it can
	booked   *composed                // a visit as it was booked
	alone    *composed                // for one pair of hands, where the other one is away
	guide    *openings.Schedule       // where it would stand with those, nil when it cannot
	refused  []CautionBody            // why it cannot be done by one
	isAlone  bool                     // c is alone
	shut     map[string]bool          // roles that stay with the client all the time
	sch      *openings.Schedule       // what was found
	out      string                   // why it gets no place
	first    *time.Time               // first start that the rules of spacing allow, where that is why
	from, to openings.Minute          // limits of the start
	loose    bool                     // its group does not stand as agreed as it is
	lost     bool                     // the place where it stands is none any more, whoever is there
}

// value is what serving the job is worth.
func (j *packJob) value() int {
	if j.wish != nil {
		return int(j.wish.ValueCents)
	}
	return int(min(j.visit.PriceCents, 100_000_000))
}

// weigh settles what the jobs are worth for package packing, before the first packing.
// To find a place for a visit that cannot stay is worth 1 more than all jobs and all moving
// together, beside its price, so that nothing outweighs it. Where that is more than package
// packing takes, what single jobs are worth is cut to p.ceiling: above 100,000 of the
// currency with sixty jobs, which no visit costs. Then nothing is said about how much
// better a plan could be.
func (p *packer) weigh() (cut bool) {
	p.ceiling, p.rescue = packing.GreatestValue, p.costs()+1
	for _, j := range p.jobs {
		p.rescue += j.value()
	}
	if p.rescue+p.dearest() <= packing.GreatestValue || !slices.ContainsFunc(p.jobs, func(j *packJob) bool { return j.visit != nil }) {
		return false
	}
	p.ceiling = (packing.GreatestValue - p.costs() - 1) / (len(p.jobs) + 1)
	p.rescue = p.costs() + 1
	for _, j := range p.jobs {
		p.rescue += min(j.value(), p.ceiling)
	}
	return true
}

// costs is what moving all visits as far as can be would cost.
func (p *packer) costs() (sum int) {
	for _, j := range p.jobs {
		if j.visit != nil {
			sum += moveCents + minuteCents*int(p.h.Length)
		}
	}
	return sum
}

// dearest is the greatest value of a job.
func (p *packer) dearest() (most int) {
	for _, j := range p.jobs {
		most = max(most, j.value())
	}
	return most
}

// worth is the value of the job for package packing. See weigh.
func (p *packer) worth(j *packJob) int {
	w := min(j.value(), p.ceiling)
	if j.trouble != "" {
		w += p.rescue
	}
	return w
}

// stands is where the job is taken to stand today, nil when nowhere.
func (j *packJob) stands() *openings.Schedule {
	switch {
	case j.lost:
		return nil
	case j.isAlone:
		return j.guide
	}
	return j.stay
}

// changed reports whether what was found is not where the visit stands.
func (j *packJob) changed() bool {
	return j.sch != nil && (j.stay == nil || j.isAlone || !sameSchedule(*j.stay, *j.sch))
}

func sameSchedule(a, b openings.Schedule) bool {
	if len(a.Phases) != len(b.Phases) {
		return false
	}
	for role, unit := range a.Roles {
		if b.Roles[role] != unit {
			return false
		}
	}
	for i := range a.Phases {
		if a.Phases[i].Start != b.Phases[i].Start || !slices.Equal(a.Phases[i].Pool, b.Phases[i].Pool) {
			return false
		}
	}
	return true
}

// newPacker reads what stands on some days.
func (s *Server) newPacker(ctx context.Context, t *store.Tx, n salonDay, days openings.DateRange, grid int) (*packer, error) {
	p := &packer{s: s, n: n, now: s.now(), days: days, h: around(n.loc, days.First, days.Last), grid: openings.Minute(grid),
		whose: map[string]store.Client{}, shut: map[string][]openings.Span{}}
	var err error
	if p.names, err = unitNames(ctx, t); err != nil {
		return nil, err
	}
	p.visits, err = t.VisitsBetween(ctx, p.h.Origin, p.h.Time(p.h.Length))
	p.visits = slices.DeleteFunc(p.visits, func(v store.Visit) bool { return v.State == store.Held && !p.now.Before(*v.HeldUntil) })
	return p, err
}

// read loads the shop without the visits in except.
func (p *packer) read(ctx context.Context, t *store.Tx, except ...string) (err error) {
	p.shop, err = t.LoadShop(ctx, p.h, p.now, except...)
	return err
}

// client reads a client once.
func (p *packer) client(ctx context.Context, t *store.Tx, id string) (store.Client, error) {
	if c, ok := p.whose[id]; ok {
		return c, nil
	}
	c, err := t.ClientByID(ctx, id)
	p.whose[id] = c
	return c, err
}

// addWish adds a request. One that cannot have a place says why.
func (p *packer) addWish(ctx context.Context, t *store.Tx, w store.Wish) error {
	j := &packJob{id: w.ID, wish: &w, client: w.Client, leads: w.Leads}
	p.jobs = append(p.jobs, j)
	c, err := p.client(ctx, t, w.Client)
	if err != nil {
		return err
	}
	j.who = shortName(c)
	if j.services, err = servicesOf(w); err != nil {
		return err
	}
	j.c, err = compose(ctx, t, p.n, j.services)
	if f, faulty := errors.AsType[scheduling.Faults](err); faulty {
		j.out = "its services cannot be booked any more: " + f.Error()
		return nil
	}
	if err != nil {
		return err
	}
	p.n.tidy(j.c.plan, p.shop)
	if refused := j.c.refusals(); len(refused) > 0 {
		j.out, j.refused = refused[0].Text, refused
		return nil
	}
	if j.out, err = j.c.barred(ctx, t, p.n, w.Client, p.now); j.out != "" || err != nil {
		return err
	}
	if j.spaced, err = t.SpacedVisits(ctx, w.Client, "", p.n.spacedSince(j.c.spaced, p.h.Origin), p.now); err != nil {
		return err
	}
	days := p.h
	days.Days = p.days // a request may begin on those only
	for _, x := range p.n.windowsOf(w, days, p.now) {
		if _, ok := x.query(j.c, p.grid); ok {
			j.windows = append(j.windows, x)
		}
	}
	if len(j.windows) == 0 {
		j.out = "none of the time that suits is left"
		return nil
	}
	_, end := scheduling.DayBounds(p.n.loc, p.days.Last)
	j.to = p.h.Minute(end) - 1
	p.keepDistance(j)
	return nil
}

// refusals are the cautions with which a visit is not booked.
func (c *composed) refusals() []CautionBody {
	var out []CautionBody
	for _, w := range c.estimates {
		if w == nil {
			continue
		}
		for _, x := range w.cautions {
			if x.Level == string(chairtime.LevelRefuse) {
				out = append(out, x)
			}
		}
	}
	return out
}

// query bounds the start of the job: from the first window to the last, and by
// what else is known.
func (p *packer) query(j *packJob) openings.Query {
	q := openings.Query{From: j.from, To: j.to, Grid: p.grid}
	if n := len(j.windows); n > 0 {
		first, _ := j.windows[0].query(j.c, p.grid)
		last, _ := j.windows[n-1].query(j.c, p.grid)
		q.From, q.To, q.EndBy = max(q.From, first.From), min(q.To, last.To), last.EndBy
	}
	q.To = max(q.To, q.From) // never for a job that is asked for
	return q
}

// problem writes the jobs that can have a place down for package packing.
func (p *packer) problem() packing.Problem {
	x := packing.Problem{Shop: p.shop, Objective: packing.MaxValue}
	x.Shop.Units = slices.Clone(x.Shop.Units)
	for i := range x.Shop.Units {
		u := &x.Shop.Units[i]
		for _, s := range p.shut[u.ID] {
			u.Bookings = append(slices.Clip(u.Bookings), openings.Booking{From: s.From, To: s.To})
		}
	}
	for _, j := range p.jobs {
		if j.out != "" {
			continue
		}
		r := packing.Request{ID: j.id, Visit: p.packed(j, x.Shop), Value: p.worth(j), Query: p.query(j), LeadOnly: j.leads,
			Must: j.visit != nil && j.trouble == ""}
		extra := p.extraUnits(j, openings.MaxRoles-len(r.Visit.Roles))
		for _, u := range extra {
			withRole(&r.Visit, string(u.Kind), len(j.c.plan.Steps))
			if !slices.ContainsFunc(x.Shop.Units, func(o openings.Unit) bool { return o.ID == u.ID }) {
				x.Shop.Units = append(x.Shop.Units, u)
			}
		}
		if stands := j.stands(); stands != nil {
			s := later(*stands, 0)
			for _, u := range extra {
				s.Roles[string(u.Kind)] = u.ID
			}
			r.Stay, r.Move, r.PerMinute = &s, moveCents, minuteCents
		}
		x.Requests = append(x.Requests, r)
	}
	for _, l := range p.links {
		if p.asked(l.A) && p.asked(l.B) {
			x.Links = append(x.Links, l)
		}
	}
	return x
}

// extraUnits are what a job needs beside people and stations, at most so many: a
// client is a unit of her own where she has several visits, and so is the time
// that suits a request where it is no single stretch.
func (p *packer) extraUnits(j *packJob, most int) []openings.Unit {
	var out []openings.Unit
	if p.meetsItself(j) && most > 0 {
		out = append(out, p.asUnit(j.client))
	}
	if len(j.windows) > 1 && len(out) < most {
		u := openings.Unit{ID: "time of " + j.id, Kind: openings.UnitKind("time of " + j.id)}
		for _, w := range j.windows {
			u.Open = append(u.Open, w.Span)
		}
		out = append(out, u)
	}
	return out
}

func (p *packer) job(id string) *packJob {
	for _, j := range p.jobs {
		if j.id == id {
			return j
		}
	}
	return nil
}

func (p *packer) asked(id string) bool {
	j := p.job(id)
	return j != nil && j.out == ""
}

// packed is what the job asks for, without exceptions, which package packing
// does not know, and with the stylist in charge there all the time where her
// time is not to be shared.
func (p *packer) packed(j *packJob, shop openings.Shop) openings.VisitSpec {
	v := j.c.plan.Spec
	v.Roles, v.Phases, v.Gaps = slices.Clone(v.Roles), slices.Clone(v.Phases), slices.Clone(v.Gaps)
	for i := range v.Roles {
		v.Roles[i].Need = noExcept(v.Roles[i].Need, shop)
	}
	for i := range v.Phases {
		v.Phases[i].Roles = slices.Clone(v.Phases[i].Roles)
		pool := slices.Clone(v.Phases[i].Pool)
		for k := range pool {
			pool[k] = noExcept(pool[k], shop)
		}
		v.Phases[i].Pool = pool
	}
	for role := range j.shut {
		first := slices.IndexFunc(v.Phases, func(ph openings.Phase) bool { return slices.Contains(ph.Roles, role) })
		last := len(v.Phases) - 1
		for last > first && !slices.Contains(v.Phases[last].Roles, role) {
			last--
		}
		between(&v, role, first, last)
	}
	return v
}

func noExcept(n openings.Need, shop openings.Shop) openings.Need {
	if len(n.Except) == 0 {
		return n
	}
	var left []string
	for _, u := range shop.Units {
		if (len(n.Only) == 0 || slices.Contains(n.Only, u.ID)) && !slices.Contains(n.Except, u.ID) {
			left = append(left, u.ID)
		}
	}
	n.Only, n.Except = left, nil
	return n
}

// withRole adds a unit that the first n phases need without a break.
func withRole(v *openings.VisitSpec, kind string, n int) {
	v.Roles = append(v.Roles, openings.Role{Name: kind, Need: openings.Need{Kinds: []openings.UnitKind{openings.UnitKind(kind)}}})
	between(v, kind, 0, n-1)
}

// between lets a role be in use from phase first to phase last.
func between(v *openings.VisitSpec, role string, first, last int) {
	for i := max(first, 0); i <= last; i++ {
		if ph := &v.Phases[i]; !slices.Contains(ph.Roles, role) {
			ph.Roles = append(slices.Clip(ph.Roles), role)
		}
		if i < last && !slices.Contains(v.Gaps[i].Hold, role) {
			v.Gaps[i].Hold = append(slices.Clip(v.Gaps[i].Hold), role)
		}
	}
}

// meetsItself reports whether the client of j has more than one visit that could
// be at the same time.
func (p *packer) meetsItself(j *packJob) bool {
	if j.client == "" {
		return false
	}
	n := 0
	for _, o := range p.jobs {
		if o.client == j.client && o.out == "" {
			n++
		}
	}
	return n > 1 || len(p.asUnit(j.client).Bookings) > 0
}

// asUnit is a client as a unit that is taken while a visit of hers that stays
// takes place.
func (p *packer) asUnit(client string) openings.Unit {
	u := openings.Unit{ID: "client " + client, Kind: openings.UnitKind("client " + client), Open: []openings.Span{{From: 0, To: p.h.Length}}}
	for _, v := range p.visits {
		if v.Client == client && !p.asked(v.ID) && v.Start.Before(v.End) {
			u.Bookings = append(u.Bookings, openings.Booking{From: p.h.Minute(v.Start), To: p.h.Minute(v.End)})
		}
	}
	return u
}

// fitAlone takes jobs out for which nothing is free even if none of the others
// had a place, until all that are left could be served one by one.
func (p *packer) fitAlone() error {
	for again := true; again; {
		again = false
		x := p.problem()
		snap, err := openings.NewSnapshot(x.Shop)
		if err != nil {
			return fmt.Errorf("api: pack: %w", err)
		}
		for _, r := range x.Requests {
			j := p.job(r.ID)
			why, err := p.whyNever(snap, r, j)
			if err != nil {
				return err
			}
			if why == "" || j.stay != nil && j.trouble == "" {
				continue
			}
			again = j.visit != nil // its own time is not to be had then
			if j.alone == nil || j.isAlone {
				p.giveUp(j, why)
			} else if err := p.goAlone(j); err != nil {
				return err
			}
			if again {
				break
			}
		}
	}
	return nil
}

// whyNever says why nothing is free for a request, "" when something is.
func (p *packer) whyNever(snap *openings.Snapshot, r packing.Request, j *packJob) (string, error) {
	plan, err := openings.Compile(ledBy(r.Visit, r.LeadOnly), snap)
	if err != nil {
		return "", fmt.Errorf("api: pack: %w", err)
	}
	if _, fits, err := plan.Soonest(snap, r.Query); fits || err != nil {
		return "", err
	}
	if missing := plan.Missing(); len(missing) > 0 {
		return strings.Join(missing, "; "), nil
	}
	return "nothing is free for it" + p.within(j) + ", whatever else moves", nil
}

// within says in which time a request has to lie.
func (p *packer) within(j *packJob) string {
	if j.wish == nil || len(j.windows) != 1 {
		return ""
	}
	return fmt.Sprintf(" between %s and %s", p.clock(j.windows[0].From), p.clock(j.windows[0].To))
}
