package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

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
	// demoEmergency is the number of where the demonstration is.
	demoEmergency = "999"
	// demoMessages lets messages go out by night as well: whoever tries the tour
	// wants to see them.
	demoMessages = `{"quiet_from": "08:00", "quiet_to": "08:00"}`
)

const (
	monday   = 1
	friday   = 5
	saturday = 6
	sunday   = 7
)

// demoPerson works on the days that are not off. Whoever straightens eats when
// that is over; assistants eat while the iron is at work.
type demoPerson struct {
	name   string
	skills []string // none: assists
	off    []int    // weekdays
	lunch  int      // minutes after midnight
	late   []int    // weekdays on which lunch is at lateLunch
}

const lateLunch = 14*60 + 30

var demoStaff = []demoPerson{
	{name: "Ada Birch", skills: []string{scheduling.SkillStraightening, scheduling.SkillCut}, off: []int{sunday, monday}, lunch: lateLunch},
	{name: "Noor Vale", skills: []string{scheduling.SkillStraightening, scheduling.SkillColour, scheduling.SkillCut}, off: []int{3},
		lunch: 12*60 + 30, late: []int{sunday, monday}},
	{name: "Tomas Reed", skills: []string{scheduling.SkillColour, scheduling.SkillCut}, off: []int{2}, lunch: 13 * 60},
	{name: "Mina Frost", off: []int{friday, sunday}, lunch: 12 * 60},
	{name: "Ivo Lark", off: []int{monday, 2, 3, 4}, lunch: 12 * 60},
}

// The first two clients are for the tour: the other days are filled without
// them, so that they are never in two chairs at once.
const demoTourClients = 2

// demoClients is how many there are: enough for nobody to come twice a week.
const demoClients = 160

var (
	demoGiven = strings.Fields(`Mara Lena Priya Ines Greta Odile Samira Berit Thea Rosa Ulla Kaya Jonas Emil Vera Hana Mirren Sofie Tilda
		Paola Nell Agnes Dora Farah Wanda Carmen Elif Jana Lotte Sina`)
	demoFamily = strings.Fields(`Quist Holt Sand Moor Lund Park Fell Oake Wynn Lake Marsh Thorn Reef Croft Stone Brook Dale Finch Garland
		Hazel Ives Jarrow Kerr Lowe Nash Orchard Penn Rook Sedge Tarn Vane`)
	demoContact = []string{"mail", "mail", "call", "mail", "none", "mail", "text", "mail"}
)

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
		d.row, err = st.AddSalon(ctx, store.Salon{Name: demoName, Zone: demoZone, Currency: "GBP", Mail: demoMail, Phone: demoPhone, Emergency: demoEmergency,
			Address: "18 Lantern Street", Messages: json.RawMessage(demoMessages)})
	}
	if err != nil {
		return nil, err
	}
	if d.loc, err = d.row.Location(); err != nil {
		return nil, err
	}
	if err := st.InTx(ctx, d.row.ID, func(t *store.Tx) error { return d.load(ctx, t) }); err != nil {
		return nil, err
	}
	log("booking three weeks of %s", d.row.Name)
	if err := d.fill(ctx); err != nil {
		return nil, err
	}
	return d, d.consult(ctx)
}

// furnish gives an empty salon everything but visits.
func (d *demoSalon) furnish(ctx context.Context, t *store.Tx) error {
	for _, f := range []func(context.Context, *store.Tx) error{d.addSettings, d.addHours, d.addStaff, d.addStations, d.addServices, d.addClients} {
		if err := f(ctx, t); err != nil {
			return err
		}
	}
	return nil
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
	for day := monday; day <= saturday; day++ {
		week = append(week, store.Window{Weekday: day, Kind: "open", From: 9 * 60, To: 19 * 60})
	}
	return t.SetOpeningHours(ctx, append(week, store.Window{Weekday: sunday, Kind: "open", From: 10 * 60, To: 17 * 60}))
}

func (d *demoSalon) addStaff(ctx context.Context, t *store.Tx) error {
	for _, p := range demoStaff {
		row, err := t.AddStaff(ctx, store.Staff{Unit: store.Unit{Name: p.name}, Initials: p.name[:1], MayLead: len(p.skills) > 0, Skills: p.skills})
		if err != nil {
			return err
		}
		if err := t.SetStaffHours(ctx, row.ID, p.week()); err != nil {
			return err
		}
	}
	return nil
}

func (p demoPerson) week() []store.Window {
	var out []store.Window
	for day := monday; day <= sunday; day++ {
		if slices.Contains(p.off, day) {
			continue
		}
		lunch := p.lunch
		if slices.Contains(p.late, day) {
			lunch = lateLunch
		}
		out = append(out, store.Window{Weekday: day, Kind: "work", From: 9 * 60, To: 19 * 60},
			store.Window{Weekday: day, Kind: "break", From: lunch, To: lunch + 30})
	}
	return out
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
	products, err := d.addProducts(ctx, t)
	if err != nil {
		return err
	}
	for _, x := range scheduling.StandardServices() {
		row, err := t.AddService(ctx, x)
		if err != nil {
			return err
		}
		if err := d.price(ctx, t, row, products); err != nil {
			return err
		}
	}
	return nil
}

func (d *demoSalon) addClients(ctx context.Context, t *store.Tx) error {
	for i := range demoClients {
		given, family := demoGiven[i%len(demoGiven)], demoFamily[i%len(demoFamily)]
		row := store.Client{GivenName: given, FamilyName: family, ContactBy: demoContact[i%len(demoContact)]}
		if i < demoTourClients {
			row.ContactBy = "mail"
		}
		switch row.ContactBy {
		case "mail":
			row.Mail = strings.ToLower(given + "." + family + "@example.org")
		case "call", "text":
			row.Phone = fmt.Sprintf("+447700900%03d", i) // from the range that is kept for fiction
		}
		if _, err := t.AddClient(ctx, row); err != nil {
			return err
		}
	}
	return nil
}

// load reads what the demonstration needs to know of its salon, after
// furnishing a new one. Somebody who tried out deleting may have left too little.
func (d *demoSalon) load(ctx context.Context, t *store.Tx) error {
	if err := d.read(ctx, t); err != nil {
		return err
	}
	if len(d.staff)+len(d.services)+len(d.clients) == 0 {
		if err := d.furnish(ctx, t); err != nil {
			return err
		}
		if err := d.read(ctx, t); err != nil {
			return err
		}
	}
	if len(d.staff) == 0 || len(d.clients) <= demoTourClients || d.services[straightening].ID == "" {
		return fmt.Errorf("%s lacks people, clients or the service %s: start with --fresh", d.row.Name, straightening)
	}
	return nil
}

func (d *demoSalon) read(ctx context.Context, t *store.Tx) error {
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
	d.clients, err = t.Clients(ctx, "", "", demoClients)
	return err
}

// demoHair is shoulder-length hair of medium density on a new client.
func demoHair() api.HeadBody {
	return api.HeadBody{LengthCM: 35, Density: "medium", Strand: "medium", Porosity: "normal", NewClient: true, Sections: 4, PlateDepthCM: 3, Hands: 1}
}
