package webtest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/outbound"
	"chairblock/api/passwords"
	"chairblock/api/web"
	"chairblock/scheduling"
	"chairblock/store"
	"chairblock/store/storetest"
)

// Salon is one in London, behind a server that listens on this machine: Ada and
// Noor straighten, Ben cuts and colours, Mina assists; three chairs and two
// basins; open Monday to Saturday 9 to 19. Visits need nothing before they begin
// unless a test sets other rules.
type Salon struct {
	t      testing.TB
	URL    string
	Store  *store.Store
	Server *api.Server
	Row    store.Salon
	Token  string // the owner's
	clock  *atomic.Pointer[time.Time]
	since  *atomic.Pointer[time.Time] // when the clock was set, if it runs

	between atomic.Pointer[func(http.ResponseWriter, *http.Request, http.Handler)]

	database string // its address

	Ada, Noor, Ben, Mina string
	Chairs, Basins       []string
	Services             map[string]string // id by name
}

// Start is the clock of a new salon: a Monday morning in summer time.
var Start = time.Date(2026, 6, 8, 7, 30, 0, 0, time.UTC)

const asksForNothing = `{"hold_minutes": 10, "needs": {"consultation_for": "nothing", "skin_test_for": "nothing", "strand_test_for": "nothing",
	"deposit_for": "nothing", "guardian_for": "nothing", "consent_for": "nothing"},
	"money": {"deposit_chemical": {}, "deposit_after_missed": {}}}`

// New makes a salon over a fresh database. mount registers the pages that are
// tested. The clock stands still at Start until At moves it. The salon is filled once
// for all tests of a process, which get copies of its database.
func New(t testing.TB, mount ...func(*web.Site)) *Salon {
	t.Helper()
	s := serve(t, storetest.Filled(t, "london", func(url string) error {
		st, err := store.Open(t.Context(), url, 2)
		if err != nil {
			return err
		}
		defer st.Close()
		london.Store, london.Services = st, map[string]string{}
		return london.open(t.Context())
	}), mount...)
	s.Row, s.Token, s.Ada, s.Noor, s.Ben, s.Mina = london.Row, london.Token, london.Ada, london.Noor, london.Ben, london.Mina
	s.Chairs, s.Basins, s.Services = slices.Clone(london.Chairs), slices.Clone(london.Basins), maps.Clone(london.Services)
	return s
}

// london is the salon that New gives copies of.
var london Salon

// NewOn is New over a database that the test may take away.
func NewOn(t testing.TB, database string, mount ...func(*web.Site)) *Salon {
	t.Helper()
	s := serve(t, database, mount...)
	require.NoError(t, s.open(t.Context()))
	return s
}

// serve starts a server over a database, without a salon.
func serve(t testing.TB, database string, mount ...func(*web.Site)) *Salon {
	t.Helper()
	st, err := store.Open(t.Context(), database, 20)
	require.NoError(t, err)
	t.Cleanup(st.Close)
	key := sha256.Sum256([]byte("a test"))
	seal, err := store.NewSealer(key[:])
	require.NoError(t, err)
	st.SealWith(seal)
	s := &Salon{t: t, Store: st, database: database, Services: map[string]string{}, clock: &atomic.Pointer[time.Time]{}, since: &atomic.Pointer[time.Time]{}}
	s.At(Start)
	// The address has to be known before the server is made: it stands in links.
	h := httptest.NewUnstartedServer(nil)
	s.URL = "http://" + h.Listener.Addr().String()
	s.Server = api.New(st, s.URL, s.Now)
	s.Server.HashWith(passwords.New(64, 1)) // thousandths of what the service spends
	s.Server.Reach(outbound.NewClient(outbound.Options{Loopback: true}))
	s.Server.MountPages()
	site := web.New(s.Server)
	for _, m := range mount {
		m(site)
	}
	h.Config = s.Server.HTTPServer()
	server := h.Config.Handler
	h.Config.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if f := s.between.Load(); f != nil && *f != nil {
			(*f)(w, r, server)
			return
		}
		server.ServeHTTP(w, r)
	})
	h.Start()
	t.Cleanup(h.Close)
	return s
}

// Between puts f between browsers and the server, such as a network that loses
// answers; nil takes it away.
func (s *Salon) Between(f func(w http.ResponseWriter, r *http.Request, server http.Handler)) {
	s.between.Store(&f)
}

// At sets the clock of the server.
func (s *Salon) At(t time.Time) {
	if s.since.Load() != nil {
		s.Run()
	}
	s.clock.Store(&t)
}

// Run lets the clock go on from where it is: what a page notes by its own, which does
// so, would else lie ahead of it.
func (s *Salon) Run() {
	now := time.Now()
	s.since.Store(&now)
}

// Now is the time by that clock.
func (s *Salon) Now() time.Time {
	now := *s.clock.Load()
	if since := s.since.Load(); since != nil {
		now = now.Add(time.Since(*since))
	}
	return now
}

func (s *Salon) open(ctx context.Context) error {
	var err error
	s.Row, err = s.Store.AddSalon(ctx, store.Salon{Name: "Harbour Chairs", Zone: "Europe/London", Mail: "desk@harbour.example", Phone: "+442079460018", Emergency: "112",
		Booking: json.RawMessage(asksForNothing)})
	if err != nil {
		return err
	}
	return s.Store.InTx(ctx, s.Row.ID, func(tx *store.Tx) (err error) {
		if _, s.Token, err = tx.AddToken(ctx, store.Owner, "", "test", nil); err != nil {
			return err
		}
		return s.fill(ctx, tx)
	})
}

func (s *Salon) fill(ctx context.Context, t *store.Tx) error {
	var week, work []store.Window
	for d := 1; d <= 6; d++ {
		week = append(week, store.Window{Weekday: d, Kind: "open", From: 540, To: 1140})
		work = append(work, store.Window{Weekday: d, Kind: "work", From: 540, To: 1140})
	}
	if err := t.SetOpeningHours(ctx, week); err != nil {
		return err
	}
	for _, p := range []struct {
		id         *string
		name, init string
		lead       bool
		can        []string
	}{
		{&s.Ada, "Ada Birch", "AB", true, []string{scheduling.SkillStraightening, scheduling.SkillCut}},
		{&s.Noor, "Noor Vale", "NV", true, []string{scheduling.SkillStraightening, scheduling.SkillCut}},
		{&s.Ben, "Ben Reed", "BR", true, []string{scheduling.SkillColour, scheduling.SkillCut}},
		{&s.Mina, "Mina Frost", "MF", false, nil},
	} {
		row, err := t.AddStaff(ctx, store.Staff{Unit: store.Unit{Name: p.name}, Initials: p.init, MayLead: p.lead, Skills: p.can})
		if err != nil {
			return err
		}
		*p.id = row.ID
		if err := t.SetStaffHours(ctx, row.ID, work); err != nil {
			return err
		}
	}
	return s.fillRooms(ctx, t)
}

func (s *Salon) fillRooms(ctx context.Context, t *store.Tx) error {
	for i := range 5 {
		u := store.Unit{Kind: "chair", Name: fmt.Sprintf("Chair %d", i+1), Changeover: 3}
		if i >= 3 {
			u = store.Unit{Kind: "basin", Name: fmt.Sprintf("Basin %d", i-2), Changeover: 2}
		}
		row, err := t.AddStation(ctx, u)
		if err != nil {
			return err
		}
		if i >= 3 {
			s.Basins = append(s.Basins, row.ID)
		} else {
			s.Chairs = append(s.Chairs, row.ID)
		}
	}
	for _, x := range scheduling.StandardServices() {
		row, err := t.AddService(ctx, x)
		if err != nil {
			return err
		}
		s.Services[x.Name] = row.ID
	}
	return nil
}

// Object is a JSON object.
type Object = map[string]any

// Hair is shoulder-length hair of medium density.
func Hair() Object {
	return Object{"length_cm": 35, "density": "medium", "strand": "medium", "porosity": "normal", "damaged": false,
		"new_client": false, "regrowth_cm": 0, "sections": 4, "plate_depth_cm": 3, "hands": 1}
}

var keys atomic.Int64

// Ask makes a request of the REST interface as the owner and demands status. The
// answer is read into out unless that is nil. A POST carries a key of its own.
func (s *Salon) Ask(method, path string, body any, status int, out any, headers ...string) http.Header {
	s.t.Helper()
	var b bytes.Buffer
	if body != nil {
		require.NoError(s.t, json.NewEncoder(&b).Encode(body))
	}
	r, err := http.NewRequestWithContext(s.t.Context(), method, s.URL+"/v1"+path, &b)
	require.NoError(s.t, err)
	r.Header.Set("Authorization", "Bearer "+s.Token)
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	if method == http.MethodPost {
		r.Header.Set("Idempotency-Key", fmt.Sprintf("test-%d", keys.Add(1)))
	}
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	a, err := http.DefaultClient.Do(r)
	require.NoError(s.t, err)
	defer a.Body.Close()
	text, err := io.ReadAll(a.Body)
	require.NoError(s.t, err)
	require.Equal(s.t, status, a.StatusCode, "%s %s: %s", method, path, text)
	if out != nil {
		require.NoError(s.t, json.Unmarshal(text, out), "%s", text)
	}
	return a.Header
}

// Client adds a client who wishes mail.
func (s *Salon) Client(given, family string) string {
	s.t.Helper()
	var c api.ClientBody
	s.Ask(http.MethodPost, "/clients", Object{"given_name": given, "family_name": family, "mail": fmt.Sprintf("c%d@example.org", keys.Add(1))}, http.StatusCreated, &c)
	return c.ID
}

// Straightening books the long service for a client with a stylist in charge.
func (s *Salon) Straightening(client, lead string, start time.Time) api.VisitBody {
	s.t.Helper()
	var v api.VisitBody
	s.Ask(http.MethodPost, "/visits", Object{"client_id": client, "start": start, "approved_by": "Ada Birch",
		"services": []Object{{"service_id": s.Services["Straightening"], "lead_id": lead, "hair": Hair()}}}, http.StatusCreated, &v)
	return v
}

// Link is an address that signs a browser in, once. staff names the person, or is
// empty for somebody who is not on the staff.
func (s *Salon) Link(role store.Role, staff string) string {
	s.t.Helper()
	var link string
	expires := time.Now().Add(time.Hour)
	if s.Now().After(time.Now()) { // by the clock of the server, which a test may have moved on
		expires = s.Now().Add(time.Hour)
	}
	require.NoError(s.t, s.Store.InTx(s.t.Context(), s.Row.ID, func(tx *store.Tx) (err error) {
		link, err = tx.AddSessionLink(s.t.Context(), role, staff, expires)
		return err
	}))
	return s.Server.SessionURL(link)
}

// Exec runs one statement in the database of the salon, for what nothing else lets
// happen.
func (s *Salon) Exec(statement string, args ...any) {
	s.t.Helper()
	storetest.Exec(s.t, s.database, statement, args...)
}

// Crowd gives the salon a typical Tuesday, the day after Start, and as many days
// like it as make about n visits: ten weeks to come, the rest past. It returns
// how many there are.
func (s *Salon) Crowd(n int) int {
	s.t.Helper()
	day := Start.Add(24*time.Hour + 30*time.Minute) // nine o'clock
	s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, day)
	s.Straightening(s.Client("Orla", "Finch"), s.Noor, day)
	s.Straightening(s.Client("Mara", "Lind"), s.Ada, day.Add(5*time.Hour))
	booked := 3
	for i := range 10 {
		var v api.VisitBody
		s.Ask(http.MethodPost, "/visits", Object{"client_id": s.Client(fmt.Sprintf("Ines%d", i), "Wren"), "start": day.Add(time.Duration(i) * 45 * time.Minute),
			"services": []Object{{"service_id": s.Services["Dry cut"], "lead_id": s.Ben}}}, http.StatusCreated, &v)
		booked++
	}
	var later []int
	for d, weekday := 1, 2; d <= 70; d++ {
		if weekday = (weekday + 1) % 7; weekday != 0 {
			later = append(later, d)
		}
	}
	for d := -1; (1+len(later))*booked < n; d-- {
		later = append(later, d)
	}
	storetest.Repeat(s.t, s.database, s.Row.ID, "2026-06-09", later...)
	return (1 + len(later)) * booked
}
