package api_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// booker is a request to book Ben at a start.
func (s *salon) booker(client string, at time.Time) request {
	return request{"POST", "/v1/visits", object{"client_id": client, "start": at, "services": s.trim(s.ben)}, []string{"Idempotency-Key", fmt.Sprintf("r%d", bookings.Add(1))}}
}

func TestAHoldThatRunsOutGoesToOneOfThoseWhoWantItsTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var clients []string
	for i := range 6 {
		clients = append(clients, s.client(fmt.Sprintf("Client%d", i)))
	}
	won := map[string]int{}
	now := start
	for round := range 24 {
		at := time.Date(2026, 6, 15+7*(round/6)+round%6, 10, 0, 0, 0, start.Location())
		s.at(now)
		v, tag := s.pencil(at, s.trim(s.ben), object{"title": "a caller"})
		now = now.Add(11 * time.Minute)
		s.at(now)
		answers := s.atOnce(5, func(i int) request {
			switch i {
			case 0:
				return request{"POST", "/v1/visits/" + v.ID + "/book", object{"client_id": clients[0]}, []string{"If-Match", tag}}
			case 1: // elsewhere, which notes that the time is over
				return s.booker(clients[1], at.Add(3*time.Hour))
			}
			return s.booker(clients[i], at)
		})
		answers[1].is(201, nil)
		var winner []string
		for i, a := range answers {
			switch {
			case i == 1:
			case a.status == 409:
				p := a.refused(409, "taken")
				require.NotEmpty(t, p.Alternatives, "round %d", round)
			default:
				require.Equal(t, map[bool]int{true: 200, false: 201}[i == 0], a.status, "round %d: %s", round, a.body)
				winner = append(winner, clients[i])
			}
		}
		require.LessOrEqual(t, len(winner), 1, "round %d: two have the same time", round)
		standing := s.column(`SELECT client_id FROM visit WHERE starts_at = $1 AND state = 'booked'`, at)
		require.Equal(t, winner, standing, "round %d: what was answered stands, and nothing else", round)
		if len(winner) == 1 {
			won[map[bool]string{true: "who held it", false: "another"}[winner[0] == clients[0]]]++
		} else {
			won["nobody"]++
			require.NotEmpty(t, s.blocks(v.ID), "round %d: nobody got it, so it must still be held", round)
			s.bookHeld(v.ID, tag, object{"client_id": clients[0]}).is(200, nil)
		}
	}
	t.Logf("won by %v", won)
}

func TestNobodyGetsTheTimeOfAHoldThatStands(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var clients []string
	for i := range 5 {
		clients = append(clients, s.client(fmt.Sprintf("Client%d", i)))
	}
	for round := range 12 {
		at := time.Date(2026, 6, 15+7*(round/6)+round%6, 10, 0, 0, 0, start.Location())
		v, tag := s.pencil(at, s.trim(s.ben), nil)
		answers := s.atOnce(5, func(i int) request {
			if i == 0 {
				return request{"POST", "/v1/visits/" + v.ID + "/book", object{"client_id": clients[0]}, []string{"If-Match", tag}}
			}
			return s.booker(clients[i], at)
		})
		require.Equal(t, map[int]int{200: 1, 409: 4}, sorted(answers))
		answers[0].is(200, nil)
	}
}

func TestOfTwoDesksThatDecideAboutAHoldOneDoes(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for round := range 8 {
		v, tag := s.pencil(time.Date(2026, 6, 15+round%6, 9+round/6, 0, 0, 0, start.Location()), s.trim(s.ben), nil)
		clients := []string{s.client("Mara"), s.client("Nora")}
		answers := s.atOnce(4, func(i int) request {
			if i < 2 {
				return request{"POST", "/v1/visits/" + v.ID + "/book", object{"client_id": clients[i]}, []string{"If-Match", tag}}
			}
			return request{"POST", "/v1/visits/" + v.ID + "/" + []string{"release", "hold"}[i-2], []any{nil, object{"minutes": 20}}[i-2], []string{"If-Match", tag}}
		})
		require.Equal(t, map[int]int{200: 1, 412: 3}, sorted(answers))
	}
}

func TestOfManyWhoPencilOneStartOneGetsIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for range 4 {
		at := start.Add(25 * time.Hour)
		answers := s.atOnce(6, func(i int) request {
			return request{"POST", "/v1/holds", object{"start": at, "services": s.trim(s.ben)}, []string{"Idempotency-Key", fmt.Sprintf("p%d", bookings.Add(1))}}
		})
		require.Equal(t, map[int]int{201: 1, 409: 5}, sorted(answers))
		var v api.VisitBody
		for _, a := range answers {
			if a.status == 201 {
				a.is(201, &v)
				s.call("POST", "/v1/visits/"+v.ID+"/release", nil, "If-Match", a.header.Get("ETag")).is(200, nil)
			}
		}
	}
}
