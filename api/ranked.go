package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/ranking"
	"chairblock/store"
)

// Orders of an answer.
const (
	orderSoonest = "soonest"
	orderBest    = "best"
)

// MixBody is one service of the salon's usual mix.
type MixBody struct {
	ServiceID string    `json:"service_id" maxLength:"64"`
	Hair      *HeadBody `json:"hair,omitempty" doc:"Typical hair, for a service whose time depends on it"`
	PerDay    int       `json:"per_day" minimum:"1" maximum:"60" doc:"How many of it a usual day asks for"`
	Plural    string    `json:"plural,omitempty" maxLength:"80" doc:"What several of it are called; left out: the name with an s, or “visits of” and the name"`
	Worth     float64   `json:"worth,omitempty" minimum:"0" maximum:"1000000" doc:"Weight of one; left out: its price"`
}

// WeightsBody says what each part of a ranking is worth, in lost standard
// visits.
type WeightsBody struct {
	Lost      float64 `json:"lost" minimum:"0" maximum:"1000" doc:"One visit of the usual mix that no longer fits"`
	Wish      float64 `json:"wish_per_hour" minimum:"0" maximum:"1000" doc:"An hour from the wished time of day"`
	OtherLead float64 `json:"other_lead" minimum:"0" maximum:"1000" doc:"Another stylist than the wished one"`
	Stay      float64 `json:"stay_per_hour" minimum:"0" maximum:"1000" doc:"An hour that the client stays beyond the least"`
	Slack     float64 `json:"no_slack" minimum:"0" maximum:"1000" doc:"Nothing to spare after steps that cannot wait"`
	Early     float64 `json:"later_per_day" minimum:"0" maximum:"1000" doc:"A day later"`
	SlackCap  int     `json:"slack_cap_minutes" minimum:"1" maximum:"120" doc:"More to spare than this is worth nothing"`
}

func weightsBody(w ranking.Weights) WeightsBody {
	return WeightsBody{Lost: w.Lost, Wish: w.Wish, OtherLead: w.OtherLead, Stay: w.Stay, Slack: w.Slack, Early: w.Early, SlackCap: int(w.SlackCap)}
}

func (b WeightsBody) weights() ranking.Weights {
	return ranking.Weights{Lost: b.Lost, Wish: b.Wish, OtherLead: b.OtherLead, Stay: b.Stay, Slack: b.Slack, Early: b.Early,
		SlackCap: openings.Minute(b.SlackCap)}
}

// RankBody says why an opening stands where it does. Costs are in lost standard
// visits; their sum is Cost.
type RankBody struct {
	Cost        float64       `json:"cost" doc:"In standard visits of the usual mix; the least is best"`
	Lost        float64       `json:"lost" doc:"Visits of the usual mix that no longer fit on that day"`
	Wish        float64       `json:"wish" doc:"For the distance to the wished time of day"`
	OtherLead   float64       `json:"other_lead" doc:"For another stylist than the wished one"`
	Stay        float64       `json:"stay" doc:"For a longer stay than the least"`
	Slack       float64       `json:"slack" doc:"For little to spare after steps that cannot wait"`
	Later       float64       `json:"later" doc:"For a later day"`
	StayMinutes int           `json:"longer_stay_minutes"`
	Spare       int           `json:"spare_minutes" doc:"How long steps that cannot wait may run over, up to the cap"`
	Room        []MixRoomBody `json:"room" nullable:"false" doc:"What the day still holds of the usual mix"`
	Words       string        `json:"words" doc:"What speaks for and against it; of the room that it leaves only where most of the openings leave another"`

	room string // the room that it leaves, in words
}

// MixRoomBody counts one service of the usual mix.
type MixRoomBody struct {
	Name   string `json:"name"`
	Before int    `json:"before"`
	After  int    `json:"after"`
}

// mostRanked is how many openings are looked at before the list is given up as
// shorter than asked for (the most that a ranking gives).
const mostRanked = 1000

// offerEvery is the distance of the starts that are looked at when any minute
// will do, beside both ends of every stretch of starts, in minutes (judgement).
const offerEvery = 5

// costed is an opening with its exact cost.
type costed struct {
	OpeningBody
	cost float64
}

// cheapest lists the openings that cost least of what the salon usually does,
// dearest last, and counts the starts.
func cheapest(ctx context.Context, out *OpeningsAnswer, snap *openings.Snapshot, list []searched, p period, mix []ranking.Standard) error {
	for m, can := range starts(list, p.grid) {
		for _, x := range can {
			if !x.ends(x.set, m, p) {
				continue
			}
			_, ok, err := x.offer(ctx, x.set, m, p, false)
			if err != nil {
				return err
			}
			if ok {
				out.Count++
				break
			}
		}
	}
	var all []costed
	for _, x := range list {
		if x.set == nil {
			continue
		}
		some, err := x.best(ctx, snap, x.set, p, mix)
		if err != nil {
			return err
		}
		all = append(all, some...)
	}
	slices.SortStableFunc(all, func(a, b costed) int {
		return cmp.Compare(a.cost, b.cost)
	})
	for _, o := range all[:min(len(all), p.limit)] {
		out.Openings = append(out.Openings, o.OpeningBody)
	}
	sayRanks(out.Openings)
	return nil
}

// best lists at most as many openings as p asks for, those that cost least, in
// that order.
func (d *describer) best(ctx context.Context, snap *openings.Snapshot, set *openings.StartSet, p period, mix []ranking.Standard) ([]costed, error) {
	in := ranking.Input{Snapshot: snap, Visit: d.c.plan.Spec, Starts: set, Grid: 1, Offer: openings.Minute(p.grid), Mix: mix,
		Weights: d.n.rules.Ranking.weights(), Days: d.days(p), Lead: p.wishLead}
	if p.grid < offerEvery {
		in.Offer = offerEvery
	}
	for n := 2*p.limit + 10; ; n = min(4*n, mostRanked) {
		list, err := ranking.Rank(in, n)
		if err != nil {
			return nil, fmt.Errorf("api: rank openings: %w", err)
		}
		var out []costed
		for i := range list {
			if len(out) == p.limit {
				return out, nil
			}
			o, ok, err := d.ranked(ctx, &list[i], p)
			if err != nil {
				return nil, err
			}
			if ok {
				out = append(out, costed{o, list[i].Cost})
			}
		}
		if len(list) < n || n == mostRanked {
			return out, nil
		}
	}
}

// days are the days of p in minutes of the horizon, each with the wished time.
func (d *describer) days(p period) []ranking.Day {
	var out []ranking.Day
	for day := p.first; !day.After(p.last); day = day.Add(1) {
		from, to := scheduling.DayBounds(d.n.loc, day)
		x := ranking.Day{Span: openings.Span{From: max(0, d.h.Minute(from)), To: min(d.h.Length, d.h.Minute(to))}}
		if x.From >= x.To {
			continue
		}
		if p.wish >= 0 {
			at := d.h.Minute(wall(d.n.loc, day, p.wish))
			x.Wish = &openings.StartRange{From: at, To: at}
		}
		out = append(out, x)
	}
	return out
}

// ranked describes a ranked opening unless p, the client's other visits or the
// salon's limit on shared time forbid it.
func (d *describer) ranked(ctx context.Context, r *ranking.Ranked, p period) (o OpeningBody, ok bool, err error) {
	start, end := d.h.Time(r.Start), d.c.plan.End(r.Schedule)
	if (start.Hour()*60+start.Minute())%p.grid != 0 || d.busy(start, d.h.Time(end)) ||
		p.endBy >= 0 && end > d.h.Minute(wall(d.n.loc, scheduling.CivilDate(start, d.n.loc), p.endBy)) {
		return o, false, nil
	}
	if d.share.near(r.Start) {
		list, err := d.share.shared(ctx, r.Schedule, d.shop)
		if err != nil {
			return o, false, err
		}
		if _, over := d.share.over(list); over {
			return o, false, nil
		}
		if o.Shares, err = d.share.bodies(ctx, list, d.names); err != nil {
			return o, false, err
		}
	}
	shares := o.Shares
	o = d.opening(r.Schedule)
	o.Shares = shares
	for _, x := range shares {
		o.Words += "; " + x.Words
	}
	o.Rank = d.rankBody(r)
	return o, true, nil
}

func (d *describer) rankBody(r *ranking.Ranked) *RankBody {
	b := &RankBody{Cost: hundredths(r.Cost), Lost: hundredths(r.Costs.Lost), Wish: hundredths(r.Costs.Wish),
		OtherLead: hundredths(r.Costs.OtherLead), Stay: hundredths(r.Costs.Stay), Slack: hundredths(r.Costs.Slack),
		Later: hundredths(r.Costs.Early), StayMinutes: int(r.Parts.Stay), Spare: int(r.Parts.Slack), Room: []MixRoomBody{},
		Words: r.OtherWords(func(m openings.Minute) string { return d.h.Time(m).Format("15:04") }), room: r.RoomWords()}
	for _, x := range r.Room {
		b.Room = append(b.Room, MixRoomBody{x.Name, x.Before, x.After})
	}
	return b
}

// sayRanks puts what speaks for and against openings into their words. For what else
// they leave room is said of those only that differ in it from most.
func sayRanks(list []OpeningBody) {
	count, most := map[string]int{}, ""
	for _, o := range list {
		count[o.Rank.room]++
	}
	for _, o := range list {
		if count[o.Rank.room] > count[most] {
			most = o.Rank.room
		}
	}
	for i := range list {
		o := &list[i]
		if o.Rank.room != most {
			o.Rank.Words = andSo(o.Rank.room, o.Rank.Words)
		}
		o.Words = andSo(o.Words, o.Rank.Words)
	}
}

// hundredths rounds a cost for reading. The order is that of the exact costs.
func hundredths(x float64) float64 { return float64(int64(x*100+0.5)) / 100 }

// defaultMix is how many services make the usual mix of a salon that has not
// said what it is, and how many of each a day asks for (judgement).
const (
	defaultMixServices = 3
	defaultMixPerDay   = 2
)

// usualMix is what the salon's rules call its usual mix, or else its dearest
// services whose time is the same for everybody. What cannot be worked out any
// more is left out.
func (n salonDay) usualMix(ctx context.Context, t *store.Tx) ([]ranking.Standard, error) {
	rows, err := t.Services(ctx)
	if err != nil {
		return nil, err
	}
	rows = slices.DeleteFunc(rows, func(r store.ServiceRow) bool { return !r.Active })
	mix := n.rules.UsualMix
	if len(mix) == 0 {
		mix = mixOf(rows)
	}
	var out []ranking.Standard
	for _, m := range mix {
		i := slices.IndexFunc(rows, func(r store.ServiceRow) bool { return r.ID == m.ServiceID })
		if i < 0 {
			continue // given up since
		}
		if needsHair(rows[i].Service) != (m.Hair != nil) {
			continue // the service has become another one since
		}
		spec, err := n.mixSpec(rows[i].Service, m)
		if _, faulty := errors.AsType[scheduling.Faults](err); faulty {
			continue // the settings no longer take the typical hair
		}
		if err != nil {
			return nil, err
		}
		worth := m.Worth
		if worth == 0 {
			worth = float64(max(rows[i].PriceCents, 1))
		}
		out = append(out, ranking.Standard{Name: lowerFirst(rows[i].Name), Plural: cmp.Or(m.Plural, several(lowerFirst(rows[i].Name))), Spec: spec, PerDay: m.PerDay, Worth: worth})
	}
	return out, nil
}

// mixOf chooses the usual mix for a salon that has not said what it is.
func mixOf(rows []store.ServiceRow) []MixBody {
	rows = slices.DeleteFunc(slices.Clone(rows), func(r store.ServiceRow) bool { return needsHair(r.Service) || r.PriceCents == 0 })
	slices.SortStableFunc(rows, func(a, b store.ServiceRow) int {
		return cmp.Or(cmp.Compare(b.PriceCents, a.PriceCents), cmp.Compare(a.ID, b.ID))
	})
	var out []MixBody
	for _, r := range rows[:min(len(rows), defaultMixServices)] {
		out = append(out, MixBody{ServiceID: r.ID, PerDay: defaultMixPerDay})
	}
	return out
}

// mixSpec works a service of the usual mix out.
func (n salonDay) mixSpec(x scheduling.Service, m MixBody) (openings.VisitSpec, error) {
	x = x.LedWhere(n.rules.assistants())
	part := openings.VisitService{Service: x, Hands: 1}
	var booked map[scheduling.StepKind][]int
	batches := 1
	if needsHair(x) {
		e, err := n.time.Estimate(hairFor(x, *m.Hair))
		if err != nil {
			return openings.VisitSpec{}, err
		}
		booked, batches, part.Hands = NewEstimateBody(e).booked(), max(1, m.Hair.Batches), m.Hair.Hands
	}
	var err error
	if part.Steps, err = x.Time(booked, batches); err != nil {
		return openings.VisitSpec{}, err
	}
	plan, err := openings.ComposeVisit([]openings.VisitService{part})
	if err != nil {
		return openings.VisitSpec{}, err
	}
	return plan.Spec, nil
}

// lowerFirst writes a service's name as it stands inside a sentence; names that
// begin with several capitals stay.
func lowerFirst(s string) string {
	r := []rune(s)
	if len(r) < 2 || !unicode.IsLower(r[1]) {
		return s
	}
	return string(unicode.ToLower(r[0])) + string(r[1:])
}

// several is what more than one visit for a service is called, where the salon
// has not said it: an s at the end does for plain names only.
func several(name string) string {
	for _, odd := range []string{"s", "x", "y", "ch", "sh", "z"} {
		if strings.HasSuffix(name, odd) {
			return "visits of " + name
		}
	}
	if strings.Contains(name, " and ") || strings.Contains(name, " with ") {
		return "visits of " + name
	}
	return name + "s"
}

// checkMix notes what of a usual mix cannot be worked out.
func (b BookingRules) checkMix(ctx context.Context, t *store.Tx, n salonDay) error {
	var f scheduling.Faults
	if len(b.UsualMix) > 20 {
		f.Addf("usual_mix", "at most 20 services", "has %d entries", len(b.UsualMix))
		return f
	}
	for i, m := range b.UsualMix {
		at := index("usual_mix", i)
		row, err := t.ServiceByID(ctx, m.ServiceID)
		if is(err, scheduling.ErrNotFound) || err == nil && !row.Active {
			f.Add(at+".service_id", "is not a service of this salon", "an id from GET /services")
			continue
		}
		if err != nil {
			return err
		}
		switch {
		case needsHair(row.Service) && m.Hair == nil:
			f.Add(at+".hair", "is missing, and the time of this service depends on it", "typical hair")
			continue
		case !needsHair(row.Service) && m.Hair != nil:
			f.Add(at+".hair", "is given, but the service takes the same time for everybody", "nothing")
			continue
		}
		if _, err := n.mixSpec(row.Service, m); err != nil {
			if err := f.Join(at+".hair", err); err != nil {
				return err
			}
		}
	}
	return f.Err()
}
