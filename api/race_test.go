package api_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// atOnce sends n requests at the same moment and returns the answers.
func (s *salon) atOnce(n int, f func(i int) request) []answer {
	s.t.Helper()
	answers, faults := make([]answer, n), make([]error, n)
	var ready, done sync.WaitGroup
	ready.Add(1)
	for i := range n {
		r := f(i)
		done.Go(func() {
			ready.Wait()
			answers[i], faults[i] = s.try(r.method, r.path, r.body, r.headers...)
		})
	}
	ready.Done()
	done.Wait()
	for _, err := range faults {
		require.NoError(s.t, err)
	}
	return answers
}

// sorted counts the answers by status.
func sorted(answers []answer) map[int]int {
	out := map[int]int{}
	for _, a := range answers {
		out[a.status]++
	}
	return out
}

func TestOfManyBookersOfOneStartOneGetsItAndTheOthersAnAlternative(t *testing.T) {
	t.Parallel()
	for _, bookers := range []int{2, 2, 2, 2, 2, 2, 2, 2, 16, 16} {
		s := newSalon(t)
		clients := make([]string, bookers)
		for i := range clients {
			clients[i] = s.client(fmt.Sprintf("Client%d", i))
		}
		open := s.openings(s.straightening(), object{"first_date": "2026-06-09", "last_date": "2026-06-09"})
		book := func(i int, at time.Time, key string) request {
			return request{"POST", "/v1/visits", object{"client_id": clients[i], "start": at, "approved_by": "Ada", "services": s.straightening()}, []string{"Idempotency-Key", key}}
		}
		answers := s.atOnce(bookers, func(i int) request { return book(i, open.Openings[0].Start, fmt.Sprint(i)) })
		require.Equal(t, map[int]int{201: 1, 409: bookers - 1}, sorted(answers))
		for i, a := range answers {
			if a.status == 201 {
				continue
			}
			p := a.refused(409, "taken")
			require.Len(t, p.Alternatives, 3)
			if bookers > 2 {
				continue
			}
			var v api.VisitBody
			s.send(book(i, p.Alternatives[0].Start, "again")).is(201, &v)
			require.True(t, p.Alternatives[0].Start.Equal(v.Start))
			require.True(t, p.Alternatives[0].End.Equal(v.End))
			require.Equal(t, p.Alternatives[0].LeadID, v.Services[0].LeadID)
		}
	}
}

func TestTwoWhoMoveToTheSameTimeDoNotBothGetIt(t *testing.T) {
	t.Parallel()
	for range 5 {
		s := newSalon(t)
		a, _ := s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
		b, _ := s.book(s.client("Nora"), start.Add(49*time.Hour), s.straightening())
		answers := s.atOnce(2, func(i int) request {
			return request{"POST", "/v1/visits/" + []string{a.ID, b.ID}[i] + "/move", object{"start": start.Add(73 * time.Hour)}, []string{"If-Match", `"v1"`}}
		})
		require.Equal(t, map[int]int{200: 1, 409: 1}, sorted(answers))
		for _, x := range answers {
			if x.status == 409 {
				require.NotEmpty(t, x.refused(409, "taken").Alternatives)
			}
		}
	}
}

func TestOfTwoDesksThatChangeOneVisitOneWins(t *testing.T) {
	t.Parallel()
	for range 5 {
		s := newSalon(t)
		v, tag := s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
		answers := s.atOnce(4, func(i int) request {
			if i%2 == 0 {
				return request{"POST", "/v1/visits/" + v.ID + "/cancel", nil, []string{"If-Match", tag}}
			}
			return request{"POST", "/v1/visits/" + v.ID + "/move", object{"start": v.Start.Add(time.Duration(23+i) * time.Hour)}, []string{"If-Match", tag}}
		})
		require.Equal(t, map[int]int{200: 1, 412: 3}, sorted(answers))
		client := s.client("Ines")
		answers = s.atOnce(4, func(i int) request {
			return request{"PUT", "/v1/clients/" + client, object{"given_name": fmt.Sprint("Ines", i)}, []string{"If-Match", `"v1"`}}
		})
		require.Equal(t, map[int]int{200: 1, 412: 3}, sorted(answers))
	}
}

func TestAClientIsNotBookedIntoTwoChairsAtOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	first, _ := s.book(client, start.Add(25*time.Hour), s.straightening())
	cut := []object{{"service_id": s.services["Dry cut"], "lead_id": s.ben}}
	p := s.call("POST", "/v1/visits", object{"client_id": client, "start": first.Start.Add(time.Hour), "approved_by": "Ada", "services": cut}, "Idempotency-Key", "two").refused(409, "taken")
	require.Contains(t, p.Detail, "client")
	require.Len(t, p.Alternatives, 3)
	require.False(t, p.Alternatives[0].Start.Before(first.End), "the client sits in the other chair until then")
	v, _ := s.book(client, p.Alternatives[0].Start, cut)

	open := s.openings(cut, object{"client_id": client, "first_date": "2026-06-09", "last_date": "2026-06-09", "limit": 200})
	for _, o := range open.Openings {
		for _, v := range []api.VisitBody{first, v} {
			require.False(t, o.Start.Before(v.End) && v.Start.Before(o.End), o.Words)
		}
	}
	p = s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": first.Start}, "If-Match", `"v1"`).refused(409, "taken")
	require.NotEmpty(t, p.Alternatives)
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": p.Alternatives[0].Start}, "If-Match", `"v1"`).is(200, nil)

	other := s.client("Nora")
	answers := s.atOnce(4, func(i int) request {
		return request{"POST", "/v1/visits", object{"client_id": other, "start": start.Add(49 * time.Hour), "approved_by": "Ada", "services": []object{{"service_id": s.services["Patch test"], "lead_id": []string{s.ada, s.ben}[i%2]}}},
			[]string{"Idempotency-Key", fmt.Sprint("o", i)}}
	})
	require.Equal(t, map[int]int{201: 1, 409: 3}, sorted(answers))
}
