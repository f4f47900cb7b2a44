package api_test

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/outbound"
	"chairblock/scheduling"
	"chairblock/store"
	"chairblock/store/storetest"
)

// start is the clock of most tests: a Monday morning in Berlin.
var start = time.Date(2026, 6, 8, 8, 0, 0, 0, time.FixedZone("", 2*3600))

// salon is one salon in a database, seen through a server.
type salon struct {
	t      testing.TB
	url    string // of the database
	store  *store.Store
	server *api.Server
	http   *httptest.Server
	door   http.RoundTripper // checks the traffic against the description
	token  string            // the owner's
	row    store.Salon
	beside *beside
	clock  *atomic.Pointer[time.Time]

	ada, ben, mina string            // stylist, stylist, assistant
	chairs, basins []string          // station ids
	services       map[string]string // id by name
}

// newSalon makes a salon in Berlin over a fresh database: Ada straightens, Ben
// cuts and colours, Mina assists; two chairs and a basin; open Monday to
// Saturday 9 to 18.
//
// It is filled once for all tests, which get copies of its database: filling it takes
// longer than most tests do.
func newSalon(t testing.TB) *salon {
	t.Helper()
	s := serve(t, storetest.Filled(t, "berlin", func(url string) error {
		st, err := store.Open(t.Context(), url, 2)
		if err != nil {
			return err
		}
		defer st.Close()
		filled = salon{t: t, store: st}
		if err := filled.add(t.Context(), "Europe/Berlin"); err != nil {
			return err
		}
		return st.InTx(t.Context(), filled.row.ID, func(tx *store.Tx) error { return filled.fill(t.Context(), tx) })
	}))
	s.row, s.token, s.ada, s.ben, s.mina = filled.row, filled.token, filled.ada, filled.ben, filled.mina
	s.chairs, s.basins, s.services = slices.Clone(filled.chairs), slices.Clone(filled.basins), maps.Clone(filled.services)
	return s
}

// filled is the salon that newSalon gives copies of.
var filled salon

// emptySalon makes a salon with nothing in it but the owner's token.
func emptySalon(t testing.TB, zone string) *salon {
	t.Helper()
	s := serve(t, storetest.URL(t))
	s.open(zone)
	return s
}

// serve starts a server over a database, without a salon.
func serve(t testing.TB, url string) *salon {
	t.Helper()
	st, err := store.Open(t.Context(), url, 20)
	require.NoError(t, err)
	after(t, st.Close)
	st.SealWith(healthKey(t, 1))
	s := &salon{t: t, url: url, store: st, clock: &atomic.Pointer[time.Time]{}, beside: &beside{}}
	after(t, s.beside.close)
	s.at(start)
	s.server = api.New(st, "http://127.0.0.1", func() time.Time { return *s.clock.Load() })
	s.server.Reach(outbound.NewClient(outbound.Options{Loopback: true}))
	s.http = httptest.NewServer(s.server.Handler())
	after(t, s.http.Close)
	s.door = door(t)
	return s
}

// after runs f when the test is over, and lets go of it: what the clean-up of a
// parallel test holds would otherwise stay until all tests are over, a server of
// several megabytes each.
func after(t testing.TB, f func()) {
	held := &f
	t.Cleanup(func() {
		(*held)()
		*held = nil
	})
}

// asksForNothing are rules by which visits need nothing before they begin: tests
// of what visits need set others, see strict.
const asksForNothing = `{"hold_minutes": 10, "needs": {"consultation_for": "nothing", "skin_test_for": "nothing", "strand_test_for": "nothing",
	"deposit_for": "nothing", "guardian_for": "nothing", "consent_for": "nothing"},
	"money": {"deposit_chemical": {}, "deposit_after_missed": {}}}`

// open adds a salon to the database and makes it the one that s is.
func (s *salon) open(zone string) {
	s.t.Helper()
	require.NoError(s.t, s.add(s.t.Context(), zone))
}

func (s *salon) add(ctx context.Context, zone string) error {
	s.services, s.chairs, s.basins = map[string]string{}, nil, nil
	var err error
	s.row, err = s.store.AddSalon(ctx, store.Salon{Name: "Harbour Chairs", Zone: zone, Mail: "desk@harbour.example", Phone: "+4930901820", Emergency: "112", Booking: json.RawMessage(asksForNothing)})
	if err != nil {
		return err
	}
	return s.store.InTx(ctx, s.row.ID, func(tx *store.Tx) (err error) {
		_, s.token, err = tx.AddToken(ctx, store.Owner, "", "test", nil)
		return err
	})
}

// testsSkin makes visits of the salon need a skin test and nothing else.
func (s *salon) testsSkin() {
	s.t.Helper()
	require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(tx *store.Tx) error {
		n, err := tx.SalonRow(s.t.Context())
		if err != nil {
			return err
		}
		_, err = tx.SetBookingRules(s.t.Context(), n.Version, json.RawMessage(strings.ReplaceAll(asksForNothing, `"skin_test_for": "nothing"`, `"skin_test_for": "straightening"`)))
		return err
	}))
}

// neighbour is another salon in the same database, behind the same server.
func (s *salon) neighbour() *salon {
	s.t.Helper()
	n := *s
	n.open("Europe/Berlin")
	require.NoError(s.t, s.store.InTx(s.t.Context(), n.row.ID, func(tx *store.Tx) error { return n.fill(s.t.Context(), tx) }))
	return &n
}

// copy is a salon with all that s has in a database and a server of its own. The
// server of s must have let go of its database.
func (s *salon) copy(t testing.TB) *salon {
	t.Helper()
	c := *s
	s.beside.close()
	own := serve(t, storetest.Copy(t, s.url))
	c.t, c.url, c.store, c.server, c.http, c.clock, c.beside = t, own.url, own.store, own.server, own.http, own.clock, own.beside
	return &c
}

// as is the same salon seen by somebody with a token of their own.
func (s *salon) as(role store.Role) *salon {
	s.t.Helper()
	c := *s
	require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(tx *store.Tx) (err error) {
		_, c.token, err = tx.AddToken(s.t.Context(), role, "", string(role), nil)
		return err
	}))
	return &c
}

func (s *salon) at(t time.Time) { s.clock.Store(&t) }

func (s *salon) fill(ctx context.Context, t *store.Tx) error {
	var week, work []store.Window
	for d := 1; d <= 6; d++ {
		week = append(week, store.Window{Weekday: d, Kind: "open", From: 540, To: 1080})
		work = append(work, store.Window{Weekday: d, Kind: "work", From: 540, To: 1080})
	}
	if err := t.SetOpeningHours(ctx, week); err != nil {
		return err
	}
	for _, p := range []struct {
		id   *string
		name string
		lead bool
		can  []string
	}{
		{&s.ada, "Ada", true, []string{scheduling.SkillStraightening, scheduling.SkillCut}},
		{&s.ben, "Ben", true, []string{scheduling.SkillColour, scheduling.SkillCut}},
		{&s.mina, "Mina", false, nil},
	} {
		row, err := t.AddStaff(ctx, store.Staff{Unit: store.Unit{Name: p.name}, Initials: p.name[:1], MayLead: p.lead, Skills: p.can})
		if err != nil {
			return err
		}
		*p.id = row.ID
		if err := t.SetStaffHours(ctx, row.ID, work); err != nil {
			return err
		}
	}
	for i, kind := range []string{"chair", "chair", "basin"} {
		u, err := t.AddStation(ctx, store.Unit{Kind: kind, Name: fmt.Sprintf("%s %d", kind, i+1), Changeover: map[string]int{"chair": 3, "basin": 2}[kind]})
		if err != nil {
			return err
		}
		if kind == "chair" {
			s.chairs = append(s.chairs, u.ID)
		} else {
			s.basins = append(s.basins, u.ID)
		}
	}
	for _, x := range scheduling.StandardServices() {
		row, err := t.AddService(ctx, x)
		if err != nil {
			return err
		}
		s.services[x.Name] = row.ID
	}
	return nil
}

type object = map[string]any

// hair is shoulder-length hair of medium density on a new client.
func hair() object {
	return object{"length_cm": 35, "density": "medium", "strand": "medium", "porosity": "normal", "damaged": false,
		"new_client": true, "regrowth_cm": 0, "sections": 4, "plate_depth_cm": 3, "hands": 1}
}

// client adds a client who wishes mail.
func (s *salon) client(name string) string {
	s.t.Helper()
	var c api.ClientBody
	s.call("POST", "/v1/clients", object{"given_name": name, "family_name": "Quist", "mail": strings.ToLower(name) + "@example.org"}).is(201, &c)
	return c.ID
}

// straightening is a request for the long service on that hair.
func (s *salon) straightening() []object {
	return []object{{"service_id": s.services["Straightening"], "hair": hair()}}
}

// openings asks for openings of services on some days.
func (s *salon) openings(services []object, more object) api.OpeningsAnswer {
	s.t.Helper()
	body := object{"services": services}
	for k, v := range more {
		body[k] = v
	}
	var out api.OpeningsAnswer
	s.call("POST", "/v1/openings", body).is(200, &out)
	return out
}

var bookings atomic.Int64

// book books services for client at a start and returns the visit and its ETag.
func (s *salon) book(client string, at time.Time, services []object) (api.VisitBody, string) {
	s.t.Helper()
	var v api.VisitBody
	a := s.call("POST", "/v1/visits", object{"client_id": client, "start": at, "services": services, "approved_by": "Ada"},
		"Idempotency-Key", fmt.Sprintf("k%d", bookings.Add(1))).is(201, &v)
	return v, a.header.Get("ETag")
}

// hairSeen notes that the hair of the client, who is here, is as it was booked:
// solution cannot go on before.
func (s *salon) hairSeen(visit string) {
	s.t.Helper()
	s.call("POST", "/v1/visits/"+visit+"/hair-as-seen", object{"unchanged": true}).is(201, nil)
}

// fact writes something on the card of a visit at its start and returns its id.
func (s *salon) fact(v api.VisitBody) string {
	s.t.Helper()
	now := *s.clock.Load()
	defer s.at(now)
	s.at(v.Start)
	var f api.FactAnswer
	s.call("POST", "/v1/visits/"+v.ID+"/card/facts", object{"kind": "iron", "iron": object{"setting": 170}}).is(201, &f)
	return f.Fact.ID
}
