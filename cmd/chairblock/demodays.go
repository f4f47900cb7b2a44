package main

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/store"
)

const (
	daysBack  = 7
	daysAhead = 14
)

const straightening = "Straightening"

// demoWish is what a client asks for on a day: in so many of ten days, from a
// wished hour on, with a wished stylist if that one works.
type demoWish struct {
	service      string
	hour, tenths int
	with         string
}

// demoDay is the wishes in the order in which the clients call. Long work is
// asked for early.
var demoDay = []demoWish{
	{straightening, 9, 8, ""},
	{"Root colour", 9, 9, "Noor Vale"},
	{"Root colour", 9, 6, "Tomas Reed"},
	{"Cut and dry", 10, 8, "Tomas Reed"},
	{"Care treatment", 10, 6, ""},
	{"Cut and dry", 11, 7, "Noor Vale"},
	{"Wash and dry", 12, 6, "Tomas Reed"},
	{"Root colour", 13, 7, "Noor Vale"},
	{"Cut and dry", 14, 8, "Tomas Reed"},
	{"Cut and dry", 15, 9, "Ada Birch"},
	{"Dry cut", 15, 7, "Tomas Reed"},
	{"Root colour", 15, 6, "Noor Vale"},
	{"Consultation with strand test", 16, 7, "Ada Birch"},
	{"Wash and dry", 17, 6, "Tomas Reed"},
	{"Dry cut", 17, 6, "Ada Birch"},
}

// fill books every day from three days ago to twelve ahead that has no visit
// yet, so that a second start adds only what is missing.
func (d *demoSalon) fill(ctx context.Context) error {
	today := scheduling.CivilDate(d.now, d.loc)
	for day := today.Add(-daysBack); !day.After(today.Add(daysAhead)); day = day.Add(1) {
		from, to := scheduling.DayBounds(d.loc, day)
		var there []store.Visit
		err := d.store.InTx(ctx, d.row.ID, func(t *store.Tx) (err error) { there, err = t.VisitsBetween(ctx, from, to); return err })
		if err != nil {
			return err
		}
		if slices.ContainsFunc(there, d.filled) {
			continue
		}
		if day.Sub(today) == 1 { // before anything stands in its way
			d.clock = d.now
			if err := d.promise(ctx, d.clients[0]); err != nil {
				return err
			}
		}
		if err := d.fillDay(ctx, day, from); err != nil {
			return err
		}
	}
	d.clock = d.now
	return d.server.Refit(ctx, d.row.ID)
}

// filled tells a visit that was filled in from one that was booked since.
func (d *demoSalon) filled(v store.Visit) bool {
	return slices.ContainsFunc(d.clients[demoTourClients:], func(c store.Client) bool { return c.ID == v.Client })
}

func (d *demoSalon) fillDay(ctx context.Context, day date.Date, midnight time.Time) error {
	number := int(day.DaysSinceEpoch())
	r := rand.New(rand.NewPCG(uint64(number), 7)) // the same day always looks the same
	others := d.clients[demoTourClients:]
	after := int(day.Sub(scheduling.CivilDate(d.now, d.loc)))
	for i, w := range demoDay {
		come, who := r.IntN(10) < w.tenths, others[(number*len(demoDay)+i)%len(others)]
		if w.service == straightening && after == 0 {
			come = true
		}
		if w.service == straightening && after == 1 {
			continue // left for the visit that the greeting shows
		}
		d.clock = midnight.Add(-48 * time.Hour) // they called two days before
		if d.clock.After(d.now) {
			d.clock = d.now
		}
		if !come || d.services[w.service].ID == "" {
			continue
		}
		visit, ok, err := d.bookNear(ctx, r, day, w, who.ID)
		if err != nil {
			return err
		}
		if ok {
			if err := d.known(ctx, visit); err != nil {
				return err
			}
			if err := d.live(ctx, visit); err != nil {
				return err
			}
		}
	}
	return nil
}

// live lets a visit of the past end, and one that goes on begin, as planned.
func (d *demoSalon) live(ctx context.Context, v store.Visit) error {
	d.clock = d.now
	if v.End.Before(d.now) {
		return d.finish(ctx, v)
	}
	if v.Start.After(d.now) {
		return nil
	}
	return d.store.InTx(ctx, d.row.ID, func(t *store.Tx) error {
		v, err := t.LockVisit(ctx, v.ID, 0)
		if err != nil {
			return err
		}
		v.State, v.ArrivedAt = store.Arrived, &v.Start
		return t.SetVisitState(ctx, &v)
	})
}

// bookNear books the first opening from the wished hour on; false when the day
// is full.
func (d *demoSalon) bookNear(ctx context.Context, r *rand.Rand, day date.Date, w demoWish, client string) (store.Visit, bool, error) {
	from := scheduling.Instant(d.loc, day, clock.New(w.hour, 15*r.IntN(3), 0, 0))
	req := api.OpeningsRequest{Services: []api.ServiceRequest{d.request(r, day, w)}, FirstDate: day.String(), LastDate: day.String(),
		NotBefore: &from, Limit: 1}
	found, err := d.server.Openings(ctx, d.row.ID, req)
	if err != nil || len(found.Openings) == 0 {
		return store.Visit{}, false, err
	}
	o := found.Openings[0]
	if x := &req.Services[0]; x.LeadID == "" && x.Hair != nil {
		x.Pace = "salon" // at which the opening was found
	}
	req.Services[0].LeadID = o.LeadID
	v, err := d.server.Book(ctx, d.row.ID, api.VisitRequest{ClientID: client, Start: o.Start, Services: req.Services, ApprovedBy: d.licensed()})
	if _, busy := errors.AsType[*scheduling.ConflictError](err); busy {
		return v, false, nil // somebody has booked her in the meantime
	}
	return v, err == nil, err
}

func (d *demoSalon) request(r *rand.Rand, day date.Date, w demoWish) api.ServiceRequest {
	req := api.ServiceRequest{ServiceID: d.services[w.service].ID, LeadID: d.working(w.with, day)}
	if w.service == straightening {
		hair := demoHair()
		hair.LengthCM = float64(20 + 5*r.IntN(5))
		req.Hair = &hair
	}
	return req
}

// working is the id of a stylist who works on that day, or "" for anybody.
func (d *demoSalon) working(name string, day date.Date) string {
	weekday := (int(day.Weekday())+6)%7 + 1
	for _, p := range demoStaff {
		if p.name != name || slices.Contains(p.off, weekday) {
			continue
		}
		for _, row := range d.staff {
			if row.Name == name && row.MayLead && row.Active {
				return row.ID
			}
		}
	}
	return ""
}
