package api

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// OpeningsRequest asks when a visit fits.
type OpeningsRequest struct {
	Services  []ServiceRequest `json:"services,omitempty" nullable:"false" minItems:"1" maxItems:"8" doc:"Left out with visit_id, needed otherwise"`
	VisitID   string           `json:"visit_id,omitempty" maxLength:"64" doc:"Asks where this booked visit may move: with the services, minutes and stylists it was booked with, and looking through the time that it takes now. Services and client_id are then left out"`
	LeadID    string           `json:"lead_id,omitempty" maxLength:"64" doc:"With visit_id: as in the request to move it"`
	LeadIDs   []string         `json:"lead_ids,omitempty" maxItems:"8" doc:"With visit_id: as in the request to move it"`
	AnyLead   bool             `json:"any_lead,omitempty" doc:"With visit_id: as in the request to move it"`
	ClientID  string           `json:"client_id,omitempty" maxLength:"64" doc:"Leaves out times at which this client has another visit"`
	FirstDate string           `json:"first_date,omitempty" format:"date" doc:"First day to look at; left out: today"`
	LastDate  string           `json:"last_date,omitempty" format:"date" doc:"Last day, at most 62 days after the first; left out: 27 days after it"`
	NotBefore *time.Time       `json:"not_before,omitempty" doc:"Earliest start"`
	EndBy     string           `json:"end_by,omitempty" doc:"The visit must end by this time of each day" example:"17:30"`
	Order     string           `json:"order,omitempty" enum:"soonest,best" doc:"soonest: by start; best: what costs least of the salon's usual mix of visits first, with the reasons; left out: soonest"`
	WishTime  string           `json:"wish_time,omitempty" maxLength:"5" doc:"With order best: wished time of day" example:"10:00"`
	WishLead  string           `json:"wish_lead_id,omitempty" maxLength:"64" doc:"With order best: wished stylist in charge, where another one would do as well"`
	Grid      int              `json:"grid_minutes,omitempty" minimum:"1" maximum:"240" doc:"Starts on multiples of this many minutes after midnight; left out: 15"`
	Limit     int              `json:"limit,omitempty" minimum:"1" maximum:"200" doc:"How many openings at most; left out: 20"`

	few bool // nothing is told of those beyond Limit
}

// OpeningBody is a start at which the whole visit fits.
type OpeningBody struct {
	Start        time.Time  `json:"start"`
	End          time.Time  `json:"end"`
	LeadID       string     `json:"lead_id"`
	LeadName     string     `json:"lead_name"`
	ChairID      string     `json:"chair_id"`
	ChairName    string     `json:"chair_name"`
	WaitMinutes  int        `json:"wait_minutes" doc:"How long the client waits between steps, all together"`
	Minutes      int        `json:"booked_minutes" doc:"Minutes of all steps at the pace of this stylist"`
	KeepDryUntil *time.Time `json:"keep_dry_until,omitempty" doc:"Hair must stay dry until then"`
	UntiedUntil  *time.Time `json:"untied_until,omitempty" doc:"Hair must not be tied, tucked or clipped until then"`
	Words        string     `json:"words" doc:"The opening in a sentence"`
	// What has to be known before it is taken.
	Shares       []ShareBody   `json:"shares,omitempty" doc:"Where a stylist works for two clients at once"`
	Cautions     []CautionBody `json:"cautions,omitempty" doc:"Too near to another visit of this client"`
	FirstAllowed *time.Time    `json:"first_allowed,omitempty" doc:"The first start from this one on at which services of this client are far enough apart"`
	Rank         *RankBody     `json:"rank,omitempty" doc:"With order best: why it stands where it does"`

	FromCents int64 `json:"price_from_cents,omitempty" doc:"With price_to_cents: between which the price lies at the pace of this stylist, where hair was only told of"`
	ToCents   int64 `json:"price_to_cents,omitempty"`

	at *placed // for who draws it
}

// OpeningsAnswer lists openings in the order of their start.
type OpeningsAnswer struct {
	Count    int           `json:"count" doc:"How many starts there are in the whole period"`
	Minutes  int           `json:"booked_minutes" doc:"Minutes of all steps at the salon's pace, or at that of the stylist asked for; waits come on top"`
	Openings []OpeningBody `json:"openings" nullable:"false"`
	Next     *time.Time    `json:"next_not_before,omitempty" doc:"Send it as not_before for the openings that follow"`
	Missing  []string      `json:"missing,omitempty" doc:"Why there can be none: who or what the salon lacks"`
	Cautions []CautionBody `json:"cautions" nullable:"false"`
}

type openingsInput struct{ Body OpeningsRequest }
type openingsOutput struct{ Body OpeningsAnswer }

func (s *Server) openingRoutes() {
	route(s, huma.Operation{OperationID: "find-openings", Method: http.MethodPost, Path: "/openings",
		Summary: "When does the whole visit fit around everything already promised?"}, s.findOpenings)
}

func (s *Server) findOpenings(ctx context.Context, in *openingsInput) (*openingsOutput, error) {
	var out openingsOutput
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		var f scheduling.Faults
		c, err := s.wanted(ctx, t, n, &in.Body)
		if err := f.Join("", err); err != nil {
			return err
		}
		_, err = s.period(n, in.Body)
		if err := f.Join("", err); err != nil {
			return err
		}
		if err := knownLead(ctx, t, &f, "wish_", in.Body.WishLead); err != nil {
			return err
		}
		if err := f.Err(); err != nil {
			return err
		}
		out.Body, err = s.openings(ctx, t, n, c, in.Body, in.Body.VisitID)
		return err
	})
	return &out, err
}

// wanted works out the visit that openings are asked for, a new one or one that
// is booked; b then gets its client.
func (s *Server) wanted(ctx context.Context, t *store.Tx, n salonDay, b *OpeningsRequest) (*composed, error) {
	var f scheduling.Faults
	if b.VisitID != "" {
		return s.wantedAgain(ctx, t, b)
	}
	if b.LeadID != "" || len(b.LeadIDs) > 0 || b.AnyLead {
		f.Add("lead_id", "is given without visit_id", "lead_id in each of the services")
	}
	c, err := compose(ctx, t, n, b.Services)
	if err := f.Join("", err); err != nil {
		return nil, err
	}
	if b.ClientID != "" {
		if err := knownClient(ctx, t, &f, b.ClientID); err != nil {
			return nil, err
		}
	}
	return c, f.Err()
}

// wantedAgain works a booked visit out that may move.
func (s *Server) wantedAgain(ctx context.Context, t *store.Tx, b *OpeningsRequest) (*composed, error) {
	var f scheduling.Faults
	if len(b.Services) > 0 {
		f.Add("services", "are given beside visit_id", "one of the two: a visit keeps the services it was booked with")
	}
	v, err := t.VisitByID(ctx, b.VisitID)
	switch {
	case is(err, scheduling.ErrNotFound):
		f.Add("visit_id", "is not a visit of this salon", "the id of a booked visit")
	case err != nil:
		return nil, err
	case len(v.Services) == 0:
		f.Add("visit_id", "is time that is kept for no service", "the id of a booked visit")
	case v.State != store.Booked && v.State != store.Held:
		f.Add("visit_id", "is a visit that is "+words(v.State), "the id of a booked visit, which can still move")
	case b.ClientID != "" && b.ClientID != v.Client:
		f.Add("client_id", "is not the client of the visit", "nothing, beside visit_id")
	}
	lead := newLead{ID: b.LeadID, By: b.LeadIDs, Any: b.AnyLead}
	if err == nil {
		err = f.Join("", lead.fits(v))
	}
	if err != nil && !is(err, scheduling.ErrNotFound) {
		return nil, err
	}
	if err := lead.known(ctx, t, &f); err != nil {
		return nil, err
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	b.ClientID = v.Client
	return recompose(ctx, t, v, lead)
}

// period is what a request wants of the time of a visit.
type period struct {
	first, last date.Date
	endBy       int // minutes after midnight, -1 for any
	grid, limit int
	best        bool
	few         bool // those beyond limit are not counted
	wish        int  // minutes after midnight, -1 for any
	wishLead    string
}

// period reads the days, the end, the grid and the limit of a request.
func (s *Server) period(n salonDay, b OpeningsRequest) (period, error) {
	var f scheduling.Faults
	p := period{first: scheduling.CivilDate(s.now(), n.loc), endBy: -1, grid: cmp.Or(b.Grid, 15), limit: cmp.Or(b.Limit, 20),
		best: b.Order == orderBest, few: b.few, wish: -1, wishLead: b.WishLead}
	if b.FirstDate != "" {
		p.first = day(&f, "first_date", b.FirstDate)
	}
	p.last = p.first.Add(27)
	if b.LastDate != "" {
		p.last = day(&f, "last_date", b.LastDate)
	}
	if len(f) == 0 && (p.last.Before(p.first) || p.last.Sub(p.first) > 62) {
		f.Add("last_date", "does not lie within 62 days from first_date", "first_date or a later day")
	}
	if b.EndBy != "" {
		p.endBy = clockOf(&f, "end_by", b.EndBy)
	}
	if b.WishTime != "" {
		p.wish = clockOf(&f, "wish_time", b.WishTime)
	}
	if len(f) == 0 && !p.best && (b.WishTime != "" || b.WishLead != "") {
		f.Add("order", "is not best, beside a wish", orderBest)
	}
	return p, f.Err()
}

// openings searches the whole period at once, then describes the first starts.
func (s *Server) openings(ctx context.Context, t *store.Tx, n salonDay, c *composed, b OpeningsRequest, except string) (OpeningsAnswer, error) {
	defer func(begun time.Time) { s.metrics.Searched("openings", time.Since(begun)) }(time.Now())
	out := OpeningsAnswer{Openings: []OpeningBody{}, Cautions: c.cautions(n), Minutes: c.minutes()}
	p, err := s.period(n, b)
	if err != nil {
		return out, err
	}
	free, err := t.FreeTime(ctx, n.loc, s.daysToSearch(n, p), s.now(), except)
	if err != nil {
		return out, err
	}
	h, shop := free.Horizon, free.Snapshot.Shop()
	n.tidy(c.plan, shop)
	first := describer{n: n, h: h, c: c, names: free.Names, now: s.now(), shop: shop}
	if err := first.load(ctx, t, b.ClientID, except); err != nil {
		return out, err
	}
	ways := []*composed{c}
	if except == "" {
		if ways, err = s.atEveryPace(ctx, t, n, c); err != nil {
			return out, err
		}
	}
	q := s.bounds(h, p.first, p.last, b.NotBefore)
	list, missing, err := first.search(t, free.Snapshot, ways, q)
	if err != nil {
		return out, err
	}
	if len(list) == 0 {
		out.Missing = missing
		return out, nil
	}
	if !p.best {
		return out, soonest(ctx, &out, list, p)
	}
	mix, err := n.usualMix(ctx, t)
	if err != nil {
		return out, err
	}
	return out, cheapest(ctx, &out, free.Snapshot, list, p, mix)
}

// daysToSearch are the days of p from today on, with those around on which a
// visit may begin or end.
func (s *Server) daysToSearch(n salonDay, p period) openings.DateRange {
	if today := scheduling.CivilDate(s.now(), n.loc); p.first.Before(today) {
		if p.first = today; p.last.Before(today) {
			p.first = p.last
		}
	}
	return around(n.loc, p.first, p.last).Days
}

// soonest counts the starts that p allows, unless it asks for few, and describes the first
// ones, each as it ends first.
func soonest(ctx context.Context, out *OpeningsAnswer, list []searched, p period) error {
	for m, can := range starts(list, p.grid) {
		describe := len(out.Openings) < p.limit
		if p.few && !describe {
			return nil
		}
		var first *OpeningBody
		for _, x := range can {
			if !x.ends(x.set, m, p) {
				continue
			}
			o, ok, err := x.offer(ctx, x.set, m, p, describe)
			if err != nil {
				return err
			}
			if ok && (first == nil || o.End.Before(first.End)) {
				first = &o
			}
			if ok && !describe {
				break
			}
		}
		if first == nil {
			continue
		}
		out.Count++
		if describe {
			out.Openings = append(out.Openings, *first)
		} else if out.Next == nil {
			at := list[0].h.Time(m)
			out.Next = &at
		}
	}
	return nil
}

// ends reports whether a visit that begins at m can end in time for p and for
// the client's other visits. It works the end out only where that decides.
func (d *describer) ends(set *openings.StartSet, m openings.Minute, p period) bool {
	if p.endBy < 0 && len(d.other) == 0 {
		return true
	}
	at := d.h.Time(m)
	limit := d.h.Length
	if p.endBy >= 0 {
		limit = d.h.Minute(wall(d.n.loc, scheduling.CivilDate(at, d.n.loc), p.endBy))
	}
	inTime := func(end openings.Minute) bool { return end <= limit && !d.busy(at, d.h.Time(end)) }
	least, most := stay(d.c.plan)
	if !inTime(m + least) {
		return false
	}
	if inTime(m + most) {
		return true
	}
	end, _ := set.MinEnd(m)
	return inTime(end - d.c.plan.Clears())
}

// stay is the least and the most that a visit takes, without the clearing after
// it, however its waits fall.
func stay(plan *openings.VisitPlan) (least, most openings.Minute) {
	for _, ph := range plan.Spec.Phases {
		least += ph.Minutes
	}
	least -= plan.Clears()
	most = least
	for _, g := range plan.Spec.Gaps {
		least, most = least+g.Min, most+g.Max
	}
	return least, most
}

// onGrid yields the starts of set whose minute of the day by the clock is a
// multiple of grid, in order. It jumps from one to the next inside a stretch
// without midnight and without a change of the clocks.
func onGrid(h openings.Horizon, set *openings.StartSet, grid int) iter.Seq[openings.Minute] {
	return func(yield func(openings.Minute) bool) {
		for _, r := range set.Ranges() {
			for m := r.From; m <= r.To; {
				at := h.Time(m)
				clock := at.Hour()*60 + at.Minute()
				if clock%grid == 0 && !yield(m) {
					return
				}
				step := min(grid-clock%grid, 1440-clock)
				if _, now := at.Zone(); step > 1 {
					if _, then := h.Time(m + openings.Minute(step)).Zone(); then != now {
						step = 1
					}
				}
				m += openings.Minute(step)
			}
		}
	}
}

// bounds limits the starts to the days asked for, from now on.
func (s *Server) bounds(h openings.Horizon, first, last date.Date, notBefore *time.Time) openings.Query {
	from, _ := scheduling.DayBounds(h.Zone, first)
	_, to := scheduling.DayBounds(h.Zone, last)
	q := openings.Query{From: max(0, h.Minute(from)), To: min(h.Length, h.Minute(to)) - 1, Grid: 1}
	later := func(t time.Time) {
		// Up to the next whole minute.
		q.From = max(q.From, h.Minute(t.Add(time.Minute-1)))
	}
	later(s.now())
	if notBefore != nil {
		later(*notBefore)
	}
	return q
}

func (c *composed) cautions(n salonDay) []CautionBody {
	out := []CautionBody{}
	for _, w := range c.estimates {
		if w != nil {
			out = append(out, w.result.Cautions...)
		}
	}
	if c.testsSkin(n) && !slices.ContainsFunc(out, func(x CautionBody) bool { return x.Code == chairtime.CautionPatchTest }) {
		out = append(out, n.sayMadeBefore())
	}
	return out
}

// describer puts an opening into words.
type describer struct {
	n     salonDay
	h     openings.Horizon
	c     *composed
	names map[string]string
	other []store.ClientTime // visits that the client has besides

	now    time.Time                // pencilled visits that have lapsed by then do not count
	spaced []scheduling.SpacedVisit // visits of the client as the rules of spacing see them
	share  *sharing                 // nil: nobody's time is shared
	shop   openings.Shop
}

// busy reports whether the client has another visit then.
func (d *describer) busy(from, to time.Time) bool {
	return slices.ContainsFunc(d.other, func(v store.ClientTime) bool { return from.Before(v.End) && v.Start.Before(to) })
}

func (d *describer) load(ctx context.Context, t *store.Tx, client, except string) error {
	if client != "" {
		var err error
		if d.other, err = t.ClientTimes(ctx, client, d.h.Origin, d.h.Time(d.h.Length), except); err != nil {
			return err
		}
		if d.spaced, err = t.SpacedVisits(ctx, client, except, d.n.spacedSince(d.c.spaced, d.h.Origin), d.now); err != nil {
			return err
		}
	}
	if len(d.names) > 0 {
		return nil
	}
	staff, err := t.StaffList(ctx)
	if err != nil {
		return err
	}
	stations, err := t.Stations(ctx)
	if err != nil {
		return err
	}
	for _, p := range staff {
		d.names[p.ID] = p.Name
	}
	for _, u := range stations {
		d.names[u.ID] = u.Name
	}
	return nil
}

func (d *describer) opening(sch openings.Schedule) OpeningBody {
	o := OpeningBody{
		Start:  d.h.Time(sch.Phases[0].Start),
		End:    d.h.Time(d.c.plan.End(sch)),
		LeadID: d.c.plan.LeadOf(sch, 0), ChairID: sch.Roles[openings.RoleChair],
		WaitMinutes: int(d.c.plan.End(sch)-sch.Phases[0].Start) - d.c.minutes(), Minutes: d.c.minutes(), at: &placed{now: d.now, h: d.h, plan: d.c.plan, sch: sch, shop: d.shop},
	}
	o.LeadName, o.ChairName = d.names[o.LeadID], d.names[o.ChairID]
	o.Words = fmt.Sprintf("%s to %s with %s, %s", o.Start.Format("Mon 2 January 15:04"), o.End.Format("15:04"), o.LeadName, o.ChairName)
	if d.c.aftercare {
		o.KeepDryUntil, o.UntiedUntil = new(d.n.keepDryUntil(o.End)), new(d.n.untiedUntil(o.End))
		o.Words += "; " + d.n.care.after.Words(o.End) + ": does that suit?"
	}
	if from, to := d.c.priceRange(); from < to {
		o.FromCents, o.ToCents = from, to
	}
	d.space(&o)
	return o
}
