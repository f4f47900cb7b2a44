package api_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/store"
)

// berlin is the zone of most salons.
func berlin(t testing.TB) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	return loc
}

// cut is a request for half an hour by anybody.
func (s *salon) cut() []object { return []object{{"service_id": s.services["Dry cut"]}} }

// starts lists the starts of openings by the salon's clock.
func starts(a api.OpeningsAnswer) []string {
	var out []string
	for _, o := range a.Openings {
		out = append(out, o.Start.Format("2 15:04"))
	}
	return out
}

func TestOpeningsKeepToTheGridAndToTheEnd(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	day := func(more object) api.OpeningsAnswer {
		ask := object{"first_date": "2026-06-09", "last_date": "2026-06-09", "limit": 200}
		for k, v := range more {
			ask[k] = v
		}
		return s.openings(s.cut(), ask)
	}
	every2 := []string{"9 10:00", "9 12:00", "9 14:00", "9 16:00"}
	require.Equal(t, every2, starts(day(object{"grid_minutes": 120})), "multiples of two hours after midnight")
	require.Equal(t, every2[:2], starts(day(object{"grid_minutes": 120, "end_by": "12:30"})))
	require.Equal(t, every2[:1], starts(day(object{"grid_minutes": 120, "end_by": "12:29"})))
	require.Equal(t, every2[1:], starts(day(object{"grid_minutes": 120, "not_before": "2026-06-09T10:00:30+02:00"})))
	require.Equal(t, every2[1:], starts(day(object{"grid_minutes": 120, "not_before": "2026-06-09T08:00:01Z"})))
	require.Empty(t, day(object{"not_before": "2026-06-10T00:00:00+02:00"}).Openings)
	require.Empty(t, day(object{"end_by": "00:00"}).Openings)
	require.Equal(t, 35, day(object{"end_by": "24:00"}).Count, "09:00 to 17:30 in quarters of an hour")
	require.Equal(t, 511, day(object{"grid_minutes": 1}).Count)
	s.at(time.Date(2026, 6, 9, 13, 59, 31, 0, time.FixedZone("", 2*3600)))
	require.Equal(t, every2[2:], starts(day(object{"grid_minutes": 120})), "from now on")
	s.at(start.AddDate(0, 0, 5).Add(10 * time.Hour))
	require.Empty(t, day(nil).Openings)
	require.Equal(t, "2026-06-15", s.openings(s.cut(), nil).Openings[0].Start.Format(time.DateOnly), "it is Saturday evening")
}

func TestOpeningsSayWhatEveryoneNeedsToKnow(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	a := s.openings(s.straightening(), object{"first_date": "2026-06-09", "last_date": "2026-06-09"})
	require.Equal(t, 270, a.Minutes)
	require.Equal(t, "Tue 9 June 09:00 to 13:30 with Ada, chair 1; dry and untied until Thu 13:30: does that suit?", a.Openings[0].Words)
	require.NotEmpty(t, a.Openings[0].LeadID)
	require.Nil(t, s.openings(s.cut(), nil).Openings[0].KeepDryUntil)
}

// TestWalkingThroughThePagesMeetsEveryOpeningOnce follows next_not_before
// through a busy month, over days without any opening.
func TestWalkingThroughThePagesMeetsEveryOpeningOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.busy(rand.New(rand.NewPCG(1, 2)), 20)
	s.call("POST", "/v1/closures", object{"first_date": "2026-06-12", "last_date": "2026-06-14"}).is(201, nil)
	for _, services := range [][]object{s.cut(), s.straightening()} {
		ask := object{"first_date": "2026-06-08", "last_date": "2026-06-20", "grid_minutes": 20, "limit": 200}
		var all []string
		whole := 0
		for page := 0; ; page++ {
			require.Less(t, page, 100)
			a := s.openings(services, ask)
			all = append(all, starts(a)...)
			if page == 0 {
				whole = a.Count
			}
			require.Equal(t, whole, len(all)+a.Count-len(a.Openings), "what is left is counted")
			if a.Next == nil {
				break
			}
			require.Len(t, a.Openings, ask["limit"].(int))
			ask["not_before"], ask["limit"] = a.Next, 7
		}
		require.Len(t, all, whole)
		sorted := slices.Clone(all)
		slices.Sort(sorted)
		require.Len(t, slices.Compact(sorted), whole, "none twice")
	}
}

// busy books n visits at random.
func (s *salon) busy(r *rand.Rand, n int) {
	s.t.Helper()
	services := []string{"Straightening", "Cut and dry", "Root colour", "Care treatment", "Dry cut"}
	for i := range n {
		x := object{"service_id": s.services[services[r.IntN(len(services))]]}
		if x["service_id"] == s.services["Straightening"] {
			x["hair"] = hair()
		}
		open := s.openings([]object{x}, object{"first_date": "2026-06-08", "last_date": "2026-06-20", "limit": 200})
		if len(open.Openings) > 0 {
			s.book(s.client(fmt.Sprint("Busy", i)), open.Openings[r.IntN(len(open.Openings))].Start, []object{x})
		}
	}
}

func TestAbsencesClosuresAndBreaksAreLeftFree(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.call("POST", "/v1/absences", object{"unit_id": s.ada, "from": "2026-06-09T09:00:00+02:00", "to": "2026-06-09T12:00:00+02:00"}).is(201, nil)
	s.call("POST", "/v1/closures", object{"first_date": "2026-06-10", "last_date": "2026-06-11"}).is(201, nil)
	tag := s.call("GET", "/v1/staff/"+s.ada+"/hours", nil).header.Get("ETag")
	work, breaks := []object{}, []object{}
	for d := 1; d <= 6; d++ {
		work = append(work, object{"weekday": d, "from": "09:00", "to": "18:00"})
		breaks = append(breaks, object{"weekday": d, "from": "13:00", "to": "13:30"})
	}
	s.call("PUT", "/v1/staff/"+s.ada+"/hours", object{"work": work, "breaks": breaks}, "If-Match", tag).is(200, nil)
	a := s.openings([]object{{"service_id": s.services["Dry cut"], "lead_id": s.ada}}, object{"first_date": "2026-06-09", "last_date": "2026-06-12", "grid_minutes": 30, "limit": 200})
	require.Equal(t, []string{"9 12:00", "9 12:30", "9 13:30", "9 14:00", "9 14:30", "9 15:00", "9 15:30", "9 16:00", "9 16:30", "9 17:00", "9 17:30",
		"12 09:00", "12 09:30", "12 10:00", "12 10:30", "12 11:00", "12 11:30", "12 12:00", "12 12:30", "12 13:30", "12 14:00", "12 14:30", "12 15:00",
		"12 15:30", "12 16:00", "12 16:30", "12 17:00", "12 17:30"}, starts(a))
	for _, o := range a.Openings {
		require.Equal(t, s.ada, o.LeadID)
	}
	s.call("POST", "/v1/absences", object{"unit_id": s.basins[0], "from": "2026-06-12T00:00:00+02:00", "to": "2026-06-13T00:00:00+02:00"}).is(201, nil)
	require.Zero(t, s.openings(s.straightening(), object{"first_date": "2026-06-12", "last_date": "2026-06-12"}).Count, "the only basin is out of order")
}

// TestOpeningsAreExactlyTheStartsThatCanBeBooked holds the openings of random
// busy days against trying to book every start of the grid and taking it back.
func TestOpeningsAreExactlyTheStartsThatCanBeBooked(t *testing.T) {
	t.Parallel()
	for seed := range uint64(3) {
		s := newSalon(t)
		r := rand.New(rand.NewPCG(seed, 7))
		s.busy(r, 25)
		client := s.client("Oracle")
		for _, services := range [][]object{s.cut(), s.straightening(), {{"service_id": s.services["Root colour"]}, {"service_id": s.services["Wash and dry"]}}} {
			d := scheduling.CivilDate(start, berlin(t)).Add(date.PeriodOfDays(r.IntN(5)))
			open := s.openings(services, object{"first_date": d.String(), "last_date": d.String(), "limit": 200, "grid_minutes": 30, "client_id": client})
			listed := map[string]api.OpeningBody{}
			for _, o := range open.Openings {
				listed[o.Start.Format("15:04")] = o
			}
			bookable := 0
			for at := d.UTC().Add(6 * time.Hour); at.Before(d.UTC().Add(18 * time.Hour)); at = at.Add(30 * time.Minute) {
				name := at.In(berlin(t)).Format("15:04")
				v, err := s.tryBooking(client, at, services)
				o, ok := listed[name]
				require.Equal(t, ok, err == nil, "seed %d, %s %s: %v", seed, d, name, err)
				if err != nil {
					continue
				}
				bookable++
				require.True(t, o.End.Equal(v.End))
				require.Equal(t, o.LeadID, v.Services[0].Lead)
				require.Equal(t, o.ChairID, v.Chair)
			}
			require.Equal(t, open.Count, bookable)
		}
	}
}

// tryBooking books by the server's own way and takes the visit back.
func (s *salon) tryBooking(client string, at time.Time, services []object) (store.Visit, error) {
	s.t.Helper()
	var list []api.ServiceRequest
	for _, x := range services {
		r := api.ServiceRequest{ServiceID: x["service_id"].(string)}
		if x["hair"] != nil {
			h := api.HeadBody{LengthCM: 35, Density: "medium", Strand: "medium", Porosity: "normal", NewClient: true, Sections: 4, PlateDepthCM: 3, Hands: 1}
			r.Hair = &h
		}
		list = append(list, r)
	}
	v, err := s.server.Book(s.t.Context(), s.row.ID, api.VisitRequest{ClientID: client, Start: at, Services: list, ApprovedBy: "Ada"})
	if err == nil {
		s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", `"v1"`).is(200, nil)
	}
	return v, err
}

func TestASalonWithNothingInItSaysWhatIsMissing(t *testing.T) {
	t.Parallel()
	s := emptySalon(t, "Europe/Berlin")
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
		for _, x := range scheduling.StandardServices() {
			row, err := tx.AddService(t.Context(), x)
			if err != nil {
				return err
			}
			s.services[x.Name] = row.ID
		}
		return nil
	}))
	a := s.openings(s.straightening(), nil)
	require.Zero(t, a.Count)
	require.NotNil(t, a.Openings)
	require.NotEmpty(t, a.Missing)
	client := s.client("Mara")
	refusal := s.call("POST", "/v1/visits", object{"client_id": client, "start": start.Add(73 * time.Hour), "services": s.straightening()}, "Idempotency-Key", "k")
	require.Contains(t, []int{409, 422}, refusal.status)
	var day api.DayBody
	s.call("GET", "/v1/days/2026-06-08", nil).is(200, &day)
	require.Empty(t, day.Units)
	require.Empty(t, day.Visits)
	require.Empty(t, day.Open)
	require.Empty(t, day.Conflicts)

	// With people, but without hours, nothing is missing and nothing is open.
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
		if _, err := tx.AddStaff(t.Context(), store.Staff{Unit: store.Unit{Name: "Ada"}, Initials: "A", MayLead: true, Skills: []string{"cut"}}); err != nil {
			return err
		}
		_, err := tx.AddStation(t.Context(), store.Unit{Kind: "chair", Name: "Chair"})
		return err
	}))
	a = s.openings(s.cut(), nil)
	require.Zero(t, a.Count)
}

func TestAVisitLongerThanADayCannotBePlaced(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	step := object{"kind": "cut", "label": "Cut", "who": "lead", "where": "chair", "minutes": 500, "hands_on": true}
	var long api.ServiceBody
	s.call("POST", "/v1/services", object{"name": "Long", "skill": "cut", "chemical": false, "aftercare": false, "price_cents": 1, "steps": []object{step}}).is(201, &long)
	three := []object{{"service_id": long.ID}, {"service_id": long.ID}, {"service_id": long.ID}}
	p := s.call("POST", "/v1/openings", object{"services": three}).refused(422, "invalid")
	require.Equal(t, []string{"body /services"}, pointers(p))
	require.Contains(t, p.Detail, "1500 minutes")
}
