package api

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// change is one of the things that rearrange does: it books a visit when book
// is set, and moves the visit id otherwise.
type change struct {
	// id is the visit that moves, version what it was when somebody last looked
	// at it; 0 moves it whatever has become of it.
	id      string
	version int64
	start   time.Time // the new start; the zero time keeps the one it has
	lead    newLead
	// approvedBy is the licensed person who said yes to the new time.
	approvedBy string
	// link says what becomes of the group when its visits do not stand as agreed
	// any more. The zero value refuses the change.
	link linkRule

	// book is a visit to be added, as how it is added, group the id of the one it
	// belongs to.
	book  *VisitRequest
	as    newAs
	group *string
	// at is where the request stands in what was sent, for faults: visits[1].
	at string
	// apart gives all visits of the list that are looked for stylists in charge
	// of their own, who are none of those in off.
	apart bool
	off   []string
	endBy time.Time // by when the client of a visit that is looked for leaves; the zero time for any

	// exact is the schedule to be carried out instead of one that is looked for
	// at the start. It has to be of the plan that the visit was booked with, or
	// of work.
	exact *exact
	// work is the visit with other minutes than it was booked with.
	work *composed
}

// exact is a schedule with the horizon that its minutes count in.
type exact struct {
	h   openings.Horizon
	sch openings.Schedule
}

// linkRule says what a change may do to the group of a visit.
type linkRule int

const (
	keepLink  linkRule = iota // the group stays as agreed, or nothing is changed
	breakLink                 // the visit leaves a group that does not stay as agreed
	looseLink                 // the group is left as it is, as agreed or not
)

// rearranging is the work of one call of rearrange.
type rearranging struct {
	s      *Server
	n      salonDay
	now    time.Time
	h      openings.Horizon
	jobs   []*job
	except []string // the visits that move
	shop   openings.Shop
	seen   store.ShopSeen // when shop was read
}

// job is a change on its way.
type job struct {
	change
	v      store.Visit // as it will be
	before store.Visit // as it was, the zero value for a new one
	c      *composed
	p      *placed
	share  *sharing
	wish   *store.Wish // the waiting-list request that a new one serves, nil for none
}

func (j *job) isNew() bool { return j.book != nil }

// rearrange carries out every change of the list or, with an error, none: the
// caller gives up its transaction (or savepoint) then. Visits that move are
// locked in the order of their ids and looked through, so that they can take
// each other's time. Those without a given schedule are placed so that all of
// them fit together, with the least total stay; what was given or found is held
// against fresh data, the other changes included, before it is written. Steps,
// blocks, groups, calendar parts and messages follow, and versions rise.
//
// It returns the visits in the order of the list. Errors are scheduling.ErrStale
// and ErrNotFound for a visit that has changed or is gone, Faults for what can
// never be, a *scheduling.ConflictError for what does not fit and a *Problem
// for what rules forbid; each says which visit it is about when there are
// several.
func (s *Server) rearrange(ctx context.Context, t *store.Tx, n salonDay, list []change) ([]store.Visit, error) {
	r := &rearranging{s: s, n: n, now: s.now()}
	if err := r.prepare(ctx, t, list); err != nil {
		return nil, err
	}
	if err := r.place(ctx, t); err != nil {
		return nil, err
	}
	if err := r.recheck(ctx, t); err != nil {
		return nil, err
	}
	if err := r.distances(ctx, t); err != nil {
		return nil, err
	}
	if err := r.groups(ctx, t); err != nil {
		return nil, err
	}
	if err := r.write(ctx, t); err != nil {
		return nil, err
	}
	out := make([]store.Visit, len(r.jobs))
	for i, j := range r.jobs {
		if err := s.serve(ctx, t, j.wish, j.v); err != nil {
			return nil, err
		}
		out[i] = j.v
	}
	return out, nil
}

// prepare locks the visits that move, works out those that are new, and checks
// everything but the time.
func (r *rearranging) prepare(ctx context.Context, t *store.Tx, list []change) error {
	r.jobs = make([]*job, len(list))
	var inOrder []*job
	for i, c := range list {
		r.jobs[i] = &job{change: c}
		if !r.jobs[i].isNew() {
			inOrder = append(inOrder, r.jobs[i])
			r.except = append(r.except, c.id)
		}
	}
	if err := r.lockClients(ctx, t); err != nil {
		return err
	}
	slices.SortStableFunc(inOrder, func(a, b *job) int { return cmp.Compare(a.id, b.id) })
	for i, j := range inOrder {
		if i > 0 && inOrder[i-1].id == j.id {
			return fmt.Errorf("api: rearrange: visit %s stands twice in the list", j.id)
		}
		if err := r.s.moving(ctx, t, r.n, j); err != nil {
			return err
		}
	}
	var f scheduling.Faults
	served := map[string]bool{}
	for _, j := range r.jobs {
		if !j.isNew() {
			continue
		}
		var err error
		id := j.book.WaitingID
		if id != "" && served[id] {
			f.Add(scheduling.Under(j.at, "waiting_list_id"), "is given twice", "every request once")
		}
		served[id] = true
		if j.wish, err = r.s.servable(ctx, t, r.n, id, j.book.ClientID); err != nil {
			if err = f.Join(j.at, err); err != nil {
				return err
			}
		}
		if j.v, j.c, err = r.s.asked(ctx, t, r.n, *j.book, j.as); err != nil {
			if err = f.Join(j.at, err); err != nil {
				return err
			}
			continue
		}
		j.v.Group, j.start = j.group, j.book.Start
	}
	return f.Err()
}

// lockClients keeps what is on record of the clients of new visits as it is: what
// they may be booked with does not change meanwhile. That there is no such client
// is said later.
func (r *rearranging) lockClients(ctx context.Context, t *store.Tx) error {
	var ids []string
	for _, j := range r.jobs {
		if j.isNew() && j.book.ClientID != "" {
			ids = append(ids, j.book.ClientID)
		}
	}
	slices.Sort(ids)
	for _, id := range slices.Compact(ids) {
		if err := t.LockClient(ctx, id); err != nil && !is(err, scheduling.ErrNotFound) {
			return err
		}
	}
	return nil
}

// place finds a schedule for every visit without one.
func (r *rearranging) place(ctx context.Context, t *store.Tx) error {
	var err error
	if r.h, err = r.horizon(); err != nil {
		return err
	}
	shop, seen, err := t.LoadShopSeen(ctx, r.h, r.now, r.except...)
	if err != nil {
		return err
	}
	r.shop, r.seen = shop, seen
	for _, j := range r.jobs {
		r.n.tidy(j.c.plan, shop)
		j.share = r.n.newSharing(t, r.h, j.c, shop)
	}
	snap, err := openings.NewSnapshot(shop)
	if err != nil {
		return fmt.Errorf("api: rearrange: %w", err)
	}
	if err := r.missing(snap); err != nil {
		return err
	}
	for _, j := range r.jobs {
		j.p = &placed{now: r.now, h: r.h, plan: j.c.plan, shop: shop}
	}
	if shop, err = r.given(ctx, t, shop); err != nil {
		return err
	}
	if slices.ContainsFunc(r.jobs, func(j *job) bool { return j.exact != nil }) {
		if snap, err = openings.NewSnapshot(shop); err != nil {
			return fmt.Errorf("api: rearrange: %w", err)
		}
	}
	return r.search(ctx, t, shop, snap)
}

// given takes over the schedules that were given, and returns the shop with
// them in it.
func (r *rearranging) given(ctx context.Context, t *store.Tx, shop openings.Shop) (openings.Shop, error) {
	for _, j := range r.jobs {
		if j.exact == nil {
			continue
		}
		fits := len(j.exact.sch.Phases) >= len(j.c.plan.Steps)
		if fits {
			// Minutes count from another midnight here.
			j.p.sch = j.c.plan.Cleared(later(j.exact.sch, r.h.Minute(j.exact.h.Origin)))
			fits = len(openings.Check(j.p.sch, j.c.plan.Spec, shop)) == 0
		}
		if !fits {
			return shop, r.about(ctx, t, j, store.ErrTaken.Error())
		}
		j.start = j.p.start()
		shop = occupied(shop, j.c.plan, j.p.sch)
	}
	return shop, nil
}

// search looks for schedules of the others beside each other.
func (r *rearranging) search(ctx context.Context, t *store.Tx, shop openings.Shop, snap *openings.Snapshot) error {
	var free []*job
	var visits []together
	var apart bool
	for _, j := range r.jobs {
		if j.exact != nil {
			continue
		}
		free = append(free, j)
		v := together{plan: j.c.plan, start: r.h.Minute(j.start), off: j.off, assign: j.share.assignAt(ctx, r.h.Minute(j.start))}
		if !j.endBy.IsZero() {
			end := r.h.Minute(j.endBy) + j.c.plan.Clears()
			v.endBy = &end
		}
		visits = append(visits, v)
		apart = apart || j.apart
	}
	if len(free) == 0 {
		return nil
	}
	found, at, err := (&jointly{snap: snap, apart: apart, tries: jointTries}).place(visits)
	if err != nil {
		return err
	}
	if found == nil {
		return r.whyNot(ctx, t, shop, free, at)
	}
	for i, sch := range settled(shop, visits, found) {
		if free[i].p.sch, err = free[i].share.better(ctx, found[i], sch, shop); err != nil {
			return err
		}
	}
	return nil
}

// How many days may lie between the first start and the last (judgement): what
// one search for openings may cover when visits are booked, a year when all of
// them are there and change places.
const (
	mostDaysApart      = 62
	mostDaysApartMoved = 366
)

// horizon is the days from the one before the first start to the one after
// the last, or an *InvalidError when they lie too far apart.
func (r *rearranging) horizon() (openings.Horizon, error) {
	var first, last date.Date
	var far *job
	most := date.PeriodOfDays(mostDaysApartMoved)
	for i, j := range r.jobs {
		at := j.start
		if j.exact != nil && len(j.exact.sch.Phases) > 0 {
			at = j.exact.h.Time(j.exact.sch.Phases[0].Start)
		}
		if j.isNew() {
			most = mostDaysApart
		}
		d := scheduling.CivilDate(at, r.n.loc)
		if i == 0 || d.Before(first) {
			first = d
		}
		if i == 0 || d.After(last) {
			last, far = d, j
		}
	}
	if last.Sub(first) > most {
		return openings.Horizon{}, &scheduling.InvalidError{Field: scheduling.Under(far.at, "start"),
			Problem: fmt.Sprintf("lies more than %d days after that of another visit", most), Want: "starts closer to each other"}
	}
	return around(r.n.loc, first, last), nil
}

// later is the same schedule some minutes later.
func later(sch openings.Schedule, by openings.Minute) openings.Schedule {
	out := openings.Schedule{Roles: maps.Clone(sch.Roles), Phases: slices.Clone(sch.Phases)}
	for i := range out.Phases {
		out.Phases[i].Start += by
		out.Phases[i].End += by
	}
	return out
}

// neverPlaced begins what is said of services that nobody here can carry out.
const neverPlaced = "cannot be placed at any time: "

// missing notes visits that nobody here can carry out at any time.
func (r *rearranging) missing(snap *openings.Snapshot) error {
	var f scheduling.Faults
	for _, j := range r.jobs {
		p, err := openings.Compile(j.c.plan.Spec, snap)
		if err != nil {
			return fmt.Errorf("api: rearrange: %w", err)
		}
		if missing := p.Missing(); len(missing) > 0 {
			f.Add(scheduling.Under(j.at, "services"), neverPlaced+strings.Join(missing, "; "),
				"services that somebody here can carry out")
		}
	}
	return f.Err()
}

// recheck takes the locks that keep absences and hours still, frees the time
// of pencilled visits that have lapsed, and holds every schedule against what
// is then in the database, read once more where something has changed, and against the others.
func (r *rearranging) recheck(ctx context.Context, t *store.Tx) error {
	same, err := t.LockForPlans(ctx, r.plans(), r.now, r.seen)
	if err != nil {
		return err
	}
	fresh := r.shop
	if !same {
		if fresh, err = t.LoadShop(ctx, r.h, r.now, r.except...); err != nil {
			return err
		}
	}
	for i, j := range r.jobs {
		shop := fresh
		for k, o := range r.jobs {
			if k != i {
				shop = occupied(shop, o.c.plan, o.p.sch)
			}
		}
		if broken := openings.Check(j.p.sch, j.c.plan.Spec, shop); len(broken) > 0 {
			return r.about(ctx, t, j, store.ErrTaken.Error())
		}
		// What somebody has laid down to the minute has been looked at.
		if j.exact == nil {
			if why, err := j.share.refuses(ctx, j.p.sch, shop); why != "" || err != nil {
				return cmp.Or(err, r.about(ctx, t, j, why))
			}
		}
		j.p.shop = fresh
	}
	return nil
}

// plans are the visits at their new times.
func (r *rearranging) plans() []store.Plan {
	out := make([]store.Plan, len(r.jobs))
	for i, j := range r.jobs {
		if j.isNew() {
			j.v.Services, j.v.PriceCents = j.c.services, j.c.price
		}
		j.p.visit(&j.v)
		out[i] = store.Plan{Visit: &j.v, Blocks: j.p.blocks()}
	}
	return out
}

// write makes the changes binding.
func (r *rearranging) write(ctx context.Context, t *store.Tx) error {
	for _, j := range r.jobs {
		if !j.isNew() && j.work == nil {
			continue
		}
		if err := j.c.keepEstimates(ctx, t, j.v.Client); err != nil {
			return err
		}
		for k := range j.c.services { // other minutes come from another estimate, or another service
			was, lead := j.v.Services[k], j.v.Services[k].Lead
			j.v.Services[k] = j.c.services[k]
			j.v.Services[k].Lead = lead
			if was.Open && !j.c.seen { // hers was still only told of
				j.v.Services[k].StayOpen(was)
			}
			if !j.isNew() {
				j.v.PriceCents += j.c.services[k].PriceCents - was.PriceCents
			}
		}
	}
	var added, moved []store.Plan
	for i, p := range r.plans() {
		if r.jobs[i].isNew() {
			added = append(added, p)
		} else {
			moved = append(moved, p)
		}
	}
	if err := taken(t.WritePlans(ctx, added, moved)); err != nil {
		return err
	}
	parts := make([]store.VisitParts, len(r.jobs))
	for i, j := range r.jobs {
		parts[i] = store.VisitParts{Visit: j.v.ID, Client: j.v.Client}
		if j.v.State != store.Held { // which no calendar shows
			g, err := growthFor(ctx, t, r.n, j.v)
			if err != nil {
				return err
			}
			parts[i].Want = j.p.parts(r.n, j.v, g)
		}
	}
	if err := t.SyncPartsOf(ctx, parts); err != nil {
		return err
	}
	for _, j := range r.jobs {
		if err := r.s.account(ctx, t, r.n, j); err != nil {
			return err
		}
		if err := r.tell(ctx, t, j); err != nil {
			return err
		}
	}
	var news []changedVisit
	for _, j := range r.jobs {
		if !j.isNew() || !j.as.walk {
			news = append(news, changedVisit{j.before, j.v, j.isNew()})
		}
	}
	return r.s.tellDays(ctx, t, r.n, news...)
}

// tell enqueues what the client hears of the change. One who is here already
// hears it in the salon.
func (r *rearranging) tell(ctx context.Context, t *store.Tx, j *job) error {
	switch {
	case j.isNew() && j.as.walk:
		return nil
	case j.v.State == store.Held:
		return r.s.followVisit(ctx, t, r.n, j.v)
	case j.v.State != store.Booked:
		return nil
	case j.isNew():
		return r.s.tellBooked(ctx, t, r.n, j.v)
	case j.v.Start.Equal(j.before.Start) && sameLeads(j.v, j.before):
		return nil
	}
	return r.s.tellMoved(ctx, t, r.n, j.v, j.before)
}

func sameLeads(a, b store.Visit) bool {
	return slices.EqualFunc(a.Services, b.Services, func(x, y store.VisitService) bool { return x.Lead == y.Lead })
}
