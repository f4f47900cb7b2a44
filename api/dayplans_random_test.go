package api_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// busyDay books a day at random: cuts, colours and long visits by two stylists
// who straighten, two who colour and an assistant, in four chairs with two basins.
func (s *salon) busyDay(r *rand.Rand, day, tries int) {
	s.t.Helper()
	names := 0
	for range tries {
		service := []string{"Dry cut", "Cut and dry", "Root colour", "Wash and dry", "Straightening", "Care treatment"}[r.IntN(6)]
		x := s.service(service)
		if service == "Straightening" {
			h := hair()
			h["hands"] = 1 + r.IntN(2)
			x["hair"] = h
		}
		names++
		s.call("POST", "/v1/visits", object{"client_id": s.client(fmt.Sprintf("Guest%d-%d", day, names)), "start": june(day, 9+r.IntN(8), 15*r.IntN(4)), "services": []object{x}, "approved_by": "Ada"},
			"Idempotency-Key", fmt.Sprintf("busy %d %d", day, names))
	}
}

// larger gives the salon of the other tests two more stylists, chairs and a basin.
func (s *salon) larger() (cleo, dora string) {
	s.t.Helper()
	cleo, dora = s.colleague("Cleo", "straightening", "cut"), s.colleague("Dora", "colour", "cut")
	for _, kind := range []string{"chair", "chair", "basin"} {
		s.call("POST", "/v1/stations", object{"kind": kind, "name": "more " + kind, "changeover_minutes": 3}).is(201, nil)
	}
	return cleo, dora
}

// TestAnyPlanThatIsCarriedOutLeavesASoundDay plans random days with somebody ill,
// a chair or a basin out, and requests of every sort, and carries the plans out.
func TestAnyPlanThatIsCarriedOutLeavesASoundDay(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 3))
	s := newSalon(t)
	cleo, dora := s.larger()
	var done, moved, booked, stuck int
	for day := 15; day <= 20; day++ {
		s.busyDay(r, day, 18)
		date := fmt.Sprintf("2026-06-%d", day)
		for i := range 6 {
			from := 9 + r.IntN(6)
			s.waits(s.client(fmt.Sprintf("Wish%d-%d", day, i)), object{"services": []object{s.service([]string{"Dry cut", "Root colour", "Care treatment", "Wash and dry"}[r.IntN(4)])},
				"first_date": date, "last_date": date, "from": fmt.Sprintf("%02d:00", from), "to": fmt.Sprintf("%02d:00", from+3)})
		}
		away := []object{{"unit_id": []string{s.ada, s.ben, cleo, dora, s.mina, s.basins[0], s.chairs[0]}[r.IntN(7)], "from": june(day, 9+r.IntN(4), 0)}}
		before := map[string]api.VisitBody{}
		for _, v := range s.day(date).Visits {
			before[v.ID] = v
		}
		p := s.plan(object{"date": date, "waiting_list": []string{"all"}, "movable": []string{"all_not_started"}, "away": away, "any_lead": r.IntN(2) == 0, "rounds": 60, "seed": r.IntN(1000)})
		said := fmt.Sprintf("seed %d, %s: %v", seed, date, p.Words)
		require.NotEmpty(t, p.Words, said)
		for _, c := range p.Changes {
			for _, x := range c.Shares {
				if v, ok := before[c.VisitID]; !ok || !v.Start.Equal(c.Start) {
					require.LessOrEqual(t, x.Chance, 0.05, said)
				}
			}
		}
		a := s.carryOut(p.ID, object{"approved_by": "Ada"})
		require.Equal(t, 200, a.status, "%s\n%s", said, a.body)
		s.sound()
		a.is(200, &p)
		changed := map[string]bool{}
		for _, c := range p.Changes {
			v, _ := s.read(c.VisitID)
			require.True(t, v.Start.Equal(c.Start) && v.End.Equal(c.End), said)
			changed[c.VisitID] = true
			if c.Kind == "book" {
				booked++
			} else {
				moved++
			}
		}
		out := map[string]bool{}
		for _, x := range p.CannotStay {
			out[x.VisitID] = true
			stuck++
		}
		from, unit := away[0]["from"].(time.Time), away[0]["unit_id"].(string)
		for _, v := range s.day(date).Visits {
			if b, ok := before[v.ID]; ok && !changed[v.ID] {
				require.Equal(t, b.Steps, v.Steps, "what the plan does not name is as it was; %s", said)
			}
			for _, st := range v.Steps {
				for _, u := range st.Units {
					require.False(t, !out[v.ID] && u.UnitID == unit && st.End.After(from), "%s is needed while away; %s", v.ID, said)
				}
			}
		}
		done++
	}
	t.Logf("seed %d: %d plans, %d visits changed, %d booked, %d cannot stay", seed, done, moved, booked, stuck)
}
