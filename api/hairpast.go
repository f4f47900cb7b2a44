package api

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/store"
)

// hairPast is what the salon knows of a client's hair.
type hairPast struct {
	client store.Client
	seen   []hairSeen // by day; of one day the measurement last
	work   []hairWork // straightenings here, by day
	told   []store.HairTreatment
}

// hairSeen is hair as it was on a day: measured, or as a visit was worked out.
type hairSeen struct {
	on   date.Date
	head string // id of the measurement, "" when a visit tells
	hair HeadBody
}

// hairWork is a straightening of a past visit.
type hairWork struct {
	on      date.Date
	service string
	stopped bool // it was stopped early
	hair    HeadBody
}

func loadHairPast(ctx context.Context, t *store.Tx, n salonDay, client string) (hairPast, error) {
	var p hairPast
	var err error
	if p.client, err = t.ClientByID(ctx, client); err != nil {
		return p, err
	}
	visits, err := t.HairVisits(ctx, client)
	if err != nil {
		return p, err
	}
	for _, v := range visits {
		var hair HeadBody
		if v.Hair != nil {
			if err := json.Unmarshal(v.Hair, &hair); err != nil {
				return p, fmt.Errorf("api: hair of visit: %w", err)
			}
			p.seen = append(p.seen, hairSeen{on: scheduling.CivilDate(v.Start, n.loc), hair: hair})
		}
		if v.Aftercare {
			p.work = append(p.work, hairWork{scheduling.CivilDate(v.End, n.loc), v.Name, v.State == store.StoppedEarly, hair})
		}
	}
	heads, err := t.Heads(ctx, client)
	if err != nil {
		return p, err
	}
	for _, h := range slices.Backward(heads) { // newest first
		x := hairSeen{on: h.MeasuredOn, head: h.ID}
		if err := json.Unmarshal(h.Hair, &x.hair); err != nil {
			return p, fmt.Errorf("api: measurement: %w", err)
		}
		p.seen = append(p.seen, x)
	}
	slices.SortStableFunc(p.seen, func(a, b hairSeen) int { return int(a.on.Sub(b.on)) })
	p.told, err = t.HairTreatments(ctx, client)
	return p, err
}

// until leaves out what came after a day.
func (p hairPast) until(on date.Date) hairPast {
	p.seen = slices.DeleteFunc(slices.Clone(p.seen), func(x hairSeen) bool { return x.on.After(on) })
	p.work = slices.DeleteFunc(slices.Clone(p.work), func(x hairWork) bool { return x.on.After(on) })
	p.told = slices.DeleteFunc(slices.Clone(p.told), func(x store.HairTreatment) bool { return x.DoneOn.After(on) })
	return p
}

// straightened is the day of the last straightening here that was finished, nil
// when there was none.
func (p hairPast) straightened() *date.Date {
	for _, x := range slices.Backward(p.work) {
		if !x.stopped {
			return &x.on
		}
	}
	return nil
}

// measured lists the regrowth that was measured, each with the straightening
// before it. Visits do not count: what they were worked out for may be a guess.
func (p hairPast) measured() []scheduling.NewHair {
	var out []scheduling.NewHair
	for _, x := range p.seen {
		if x.head == "" || x.hair.RegrowthCM <= 0 {
			continue
		}
		var since *date.Date
		for i := range p.work {
			if p.work[i].on.Before(x.on) {
				since = &p.work[i].on
			}
		}
		m := scheduling.NewHair{On: x.on, CM: x.hair.RegrowthCM}
		if since == nil {
			continue
		}
		m.Since = *since
		if k := len(out); k > 0 && out[k-1].On.Equal(m.On) {
			out[k-1] = m // measured once more on that day
			continue
		}
		out = append(out, m)
	}
	return out
}

// growth is how the client's hair grows: the client's own rate where it was
// measured, else as it looks, else the salon's usual.
func (p hairPast) growth(n salonDay) scheduling.Growth {
	return n.care.growth.Of(p.client.Growth, p.measured())
}

// growthsOf is how the hair of some clients grows; of nobody in particular, the
// salon's usual.
func growthsOf(ctx context.Context, t *store.Tx, n salonDay, clients []string) (map[string]scheduling.Growth, error) {
	out := map[string]scheduling.Growth{"": n.care.growth.Seen("")}
	rows, err := t.ClientsGrowth(ctx, clients)
	for _, c := range rows {
		out[c.Client] = n.care.growth.Seen(c.Seen)
		if c.Measured < 2 { // which is not enough to know more
			continue
		}
		p, err := loadHairPast(ctx, t, n, c.Client)
		if err != nil {
			return nil, err
		}
		out[c.Client] = p.growth(n)
	}
	return out, err
}

// growthOf is growthsOf for one client.
func growthOf(ctx context.Context, t *store.Tx, n salonDay, client string) (scheduling.Growth, error) {
	grows, err := growthsOf(ctx, t, n, []string{client})
	return grows[client], err
}
