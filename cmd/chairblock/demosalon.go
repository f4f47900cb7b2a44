package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// The demonstration salon is invented: no person, place or price is real.
const (
	demoName  = "Lantern Street Hair"
	demoZone  = "Europe/London"
	demoMail  = "desk@lantern.example"
	demoPhone = "+442079460018" // from the range that is kept for fiction
	daysBack  = 7
	daysAhead = 14
)

type demoPerson struct {
	name   string
	lead   bool
	skills []string
	off    []int // weekdays off
}

var demoStaff = []demoPerson{
	{"Ada Birch", true, []string{scheduling.SkillStraightening, scheduling.SkillCut}, []int{1}},
	{"Noor Vale", true, []string{scheduling.SkillStraightening, scheduling.SkillColour, scheduling.SkillCut}, []int{7}},
	{"Tomas Reed", true, []string{scheduling.SkillColour, scheduling.SkillCut}, []int{3}},
	{"Mina Frost", false, nil, nil},
}

var demoClients = []struct{ given, family, by string }{
	{"Mara", "Quist", "mail"}, {"Lena", "Holt", "mail"}, {"Priya", "Sand", "call"}, {"Ines", "Moor", "mail"},
	{"Greta", "Lund", "none"}, {"Odile", "Park", "mail"}, {"Samira", "Fell", "text"}, {"Berit", "Oake", "mail"},
	{"Thea", "Wynn", "mail"}, {"Rosa", "Lake", "call"}, {"Ulla", "Marsh", "mail"}, {"Kaya", "Thorn", "mail"},
	{"Jonas", "Reef", "mail"}, {"Emil", "Croft", "none"}, {"Vera", "Stone", "mail"}, {"Hana", "Brook", "mail"},
}

// demoSalon fills the demonstration.
type demoSalon struct {
	store    *store.Store
	row      store.Salon
	loc      *time.Location
	now      time.Time
	services map[string]store.ServiceRow
	staff    []store.Staff
	clients  []store.Client
	clock    time.Time
	server   *api.Server // with the clock above, for visits of past days
}

// openDemo finds the demonstration in the database, or builds it.
func openDemo(ctx context.Context, st *store.Store, now time.Time, log func(string, ...any)) (*demoSalon, error) {
	d := &demoSalon{store: st, now: now, services: map[string]store.ServiceRow{}}
	d.server = api.New(st, "http://127.0.0.1", func() time.Time { return d.clock })
	var err error
	d.row, err = st.FirstSalon(ctx)
	if errors.Is(err, scheduling.ErrNotFound) {
		err = d.build(ctx)
	}
	if err != nil {
		return nil, err
	}
	if d.loc, err = d.row.Location(); err != nil {
		return nil, err
	}
	if err := d.load(ctx); err != nil {
		return nil, err
	}
	log("booking three weeks of %s", d.row.Name)
	return d, d.fill(ctx)
}

func (d *demoSalon) build(ctx context.Context) error {
	var err error
	d.row, err = d.store.AddSalon(ctx, store.Salon{Name: demoName, Zone: demoZone, Currency: "GBP", Mail: demoMail, Phone: demoPhone,
		Address: "18 Lantern Street"})
	if err != nil {
		return err
	}
	return d.store.InTx(ctx, d.row.ID, func(t *store.Tx) error {
		for _, f := range []func(context.Context, *store.Tx) error{d.addSettings, d.addHours, d.addStaff, d.addStations, d.addServices, d.addClients} {
			if err := f(ctx, t); err != nil {
				return err
			}
		}
		return nil
	})
}

// addSettings keeps what differs from the defaults of chair time.
func (d *demoSalon) addSettings(ctx context.Context, t *store.Tx) error {
	own, demo := map[string]float64{}, chairtime.Demo()
	for _, s := range chairtime.List() {
		if v, _ := demo.Value(s.Name); v != s.Default {
			own[s.Name] = v
		}
	}
	var err error
	if d.row.ChairTime, err = json.Marshal(own); err != nil {
		return err
	}
	d.row, err = t.UpdateSalon(ctx, d.row)
	return err
}

func (d *demoSalon) addHours(ctx context.Context, t *store.Tx) error {
	var week []store.Window
	for day := 1; day <= 6; day++ {
		week = append(week, store.Window{Weekday: day, Kind: "open", From: 9 * 60, To: 19 * 60})
	}
	return t.SetOpeningHours(ctx, append(week, store.Window{Weekday: 7, Kind: "open", From: 10 * 60, To: 17 * 60}))
}

func (d *demoSalon) addStaff(ctx context.Context, t *store.Tx) error {
	for i, p := range demoStaff {
		initials := string(p.name[0])
		row, err := t.AddStaff(ctx, store.Staff{Unit: store.Unit{Name: p.name}, Initials: initials, MayLead: p.lead, Skills: p.skills})
		if err != nil {
			return err
		}
		var week []store.Window
		for day := 1; day <= 7; day++ {
			if len(p.off) > 0 && p.off[0] == day {
				continue
			}
			lunch := 12*60 + 30*i
			week = append(week, store.Window{Weekday: day, Kind: "work", From: 9 * 60, To: 19 * 60},
				store.Window{Weekday: day, Kind: "break", From: lunch, To: lunch + 30})
		}
		if i == 0 { // a straightening fills a morning: Ada eats when it is over
			for k := range week {
				if week[k].Kind == "break" {
					week[k].From, week[k].To = 15*60, 15*60+30
				}
			}
		}
		if err := t.SetStaffHours(ctx, row.ID, week); err != nil {
			return err
		}
	}
	return nil
}

func (d *demoSalon) addStations(ctx context.Context, t *store.Tx) error {
	for _, u := range []store.Unit{
		{Kind: "chair", Name: "Chair 1", Changeover: 3}, {Kind: "chair", Name: "Chair 2", Changeover: 3},
		{Kind: "chair", Name: "Chair 3", Changeover: 3}, {Kind: "chair", Name: "Chair 4", Changeover: 3},
		{Kind: "basin", Name: "Basin 1", Changeover: 2}, {Kind: "basin", Name: "Basin 2", Changeover: 2},
	} {
		if _, err := t.AddStation(ctx, u); err != nil {
			return err
		}
	}
	return nil
}

func (d *demoSalon) addServices(ctx context.Context, t *store.Tx) error {
	for _, x := range scheduling.StandardServices() {
		if _, err := t.AddService(ctx, x); err != nil {
			return err
		}
	}
	return nil
}

func (d *demoSalon) addClients(ctx context.Context, t *store.Tx) error {
	for i, c := range demoClients {
		row := store.Client{GivenName: c.given, FamilyName: c.family, ContactBy: c.by}
		switch c.by {
		case "mail":
			row.Mail = fmt.Sprintf("%s.%s@example.org", lower(c.given), lower(c.family))
		case "call", "text":
			row.Phone = fmt.Sprintf("+447700900%03d", 100+i) // from the range that is kept for fiction
		}
		if _, err := t.AddClient(ctx, row); err != nil {
			return err
		}
	}
	return nil
}

func lower(s string) string { return string(s[0]+'a'-'A') + s[1:] }

func (d *demoSalon) load(ctx context.Context) error {
	return d.store.InTx(ctx, d.row.ID, func(t *store.Tx) error {
		rows, err := t.Services(ctx)
		if err != nil {
			return err
		}
		for _, r := range rows {
			d.services[r.Name] = r
		}
		if d.staff, err = t.StaffList(ctx); err != nil {
			return err
		}
		d.clients, err = t.Clients(ctx, "", "", 200)
		return err
	})
}

// fill books every day from a week ago to two weeks ahead that has no visit
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
		if len(there) > 0 {
			continue
		}
		if err := d.fillDay(ctx, day, from); err != nil {
			return err
		}
	}
	return nil
}

// demoDay is what clients ask for on a day, in the order in which they call:
// in so many of ten days, from a wished hour on.
var demoDay = []struct {
	service      string
	hour, tenths int
}{
	{"Straightening", 9, 6}, {"Root colour", 9, 8}, {"Cut and dry", 10, 8}, {"Root colour", 13, 6}, {"Wash and dry", 15, 7},
	{"Cut and dry", 14, 8}, {"Dry cut", 16, 8}, {"Care treatment", 11, 6}, {"Consultation with strand test", 17, 5},
}

func (d *demoSalon) fillDay(ctx context.Context, day date.Date, midnight time.Time) error {
	r := rand.New(rand.NewPCG(uint64(day.DaysSinceEpoch()), 7)) // the same day always looks the same
	d.clock = midnight.Add(-48 * time.Hour)                     // they called two days before
	if d.clock.After(d.now) {
		d.clock = d.now
	}
	who := r.Perm(len(d.clients))
	for i, w := range demoDay {
		if r.IntN(10) >= w.tenths {
			continue
		}
		visit, ok, err := d.bookNear(ctx, r, day, w.service, w.hour, d.clients[who[i]].ID)
		if err != nil {
			return err
		}
		if ok && visit.End.Before(d.now) {
			d.clock = d.now
			if err := d.server.Finish(ctx, d.row.ID, visit.ID); err != nil {
				return err
			}
			d.clock = midnight.Add(-48 * time.Hour)
		}
	}
	return nil
}

// bookNear books the first opening from an hour of the day on; false when the
// day is full.
func (d *demoSalon) bookNear(ctx context.Context, r *rand.Rand, day date.Date, service string, hour int, client string) (store.Visit, bool, error) {
	from := scheduling.Instant(d.loc, day, clock.New(hour, 15*r.IntN(3), 0, 0))
	req := api.OpeningsRequest{Services: []api.ServiceRequest{d.request(r, service)}, FirstDate: day.String(), LastDate: day.String(),
		NotBefore: &from, Limit: 1}
	found, err := d.server.Openings(ctx, d.row.ID, req)
	if err != nil || len(found.Openings) == 0 {
		return store.Visit{}, false, err
	}
	o := found.Openings[0]
	req.Services[0].LeadID = o.LeadID
	v, err := d.server.Book(ctx, d.row.ID, api.VisitRequest{ClientID: client, Start: o.Start, Services: req.Services, ApprovedBy: "Ada Birch"})
	return v, err == nil, err
}

func (d *demoSalon) request(r *rand.Rand, service string) api.ServiceRequest {
	row := d.services[service]
	req := api.ServiceRequest{ServiceID: row.ID}
	if service != "Straightening" {
		return req
	}
	hair := demoHair()
	hair.LengthCM = float64(20 + 5*r.IntN(5))
	req.Hair = &hair
	return req
}

// demoHair is shoulder-length hair of medium density on a new client.
func demoHair() api.HeadBody {
	return api.HeadBody{LengthCM: 35, Density: "medium", Strand: "medium", Porosity: "normal", NewClient: true, Sections: 4, PlateDepthCM: 3, Hands: 1}
}
