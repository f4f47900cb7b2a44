package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func (s *salon) walkIn(key string, body object) answer {
	s.t.Helper()
	return s.call("POST", "/v1/walk-ins", body, "Idempotency-Key", key)
}

func TestAWalkInSitsDownAtTheNextMinuteWithWhoeverIsFree(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.at(start.Add(2*time.Hour + 10*time.Minute + 20*time.Second))
	cut := object{"service_id": s.services["Dry cut"], "given_name": "Vida"}
	var v, second api.VisitBody
	a := s.walkIn("one", cut).is(201, &v)
	require.Equal(t, "arrived", v.State)
	require.Equal(t, "10:11", v.Start.Format("15:04"))
	require.Equal(t, "Vida", v.Title)
	require.Empty(t, v.ClientID)
	require.Empty(t, v.Reminders)
	require.NotNil(t, v.ArrivedAt)
	require.Equal(t, "/v1/visits/"+v.ID, a.header.Get("Location"))
	s.walkIn("one", cut).is(201, &second)
	require.Equal(t, v.ID, second.ID)

	s.walkIn("two", object{"service_id": s.services["Dry cut"], "given_name": "Ula"}).is(201, &second)
	require.NotEqual(t, v.Services[0].LeadID, second.Services[0].LeadID, "the other one is free")
	require.True(t, v.Start.Equal(second.Start))

	p := s.walkIn("three", cut).refused(409, "taken")
	require.Contains(t, p.Detail, "the first start today is at 10:44 with ", "30 minutes, and 3 to clear the chair")
	require.Len(t, p.Alternatives, 1)
	require.Equal(t, "10:44", p.Alternatives[0].Start.Format("15:04"))
	require.Equal(t, p.Detail, s.walkIn("three", cut).refused(409, "taken").Detail, "said again when it is asked again")

	tag := a.header.Get("ETag")
	s.at(start.Add(2*time.Hour + 50*time.Minute))
	s.call("POST", "/v1/visits/"+v.ID+"/finish", object{}, "If-Match", tag).is(200, &v)
	require.Equal(t, "finished", v.State)
}

func TestAWalkInWithSomebodyInParticular(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.at(start.Add(2 * time.Hour))
	feed := s.feed("staff", s.ben)
	body := object{"service_id": s.services["Dry cut"], "given_name": "Vida", "lead_id": s.ben}
	var v api.VisitBody
	s.walkIn("one", body).is(201, &v)
	require.Equal(t, s.ben, v.Services[0].LeadID)
	require.Equal(t, "10:00", v.Start.Format("15:04"), "a whole minute is the next one")
	p := s.walkIn("two", body).refused(409, "taken")
	require.Contains(t, p.Detail, "at 10:30 with Ben", "in the other chair")
	require.Contains(t, string(feed.ask("GET").body), "V.", "by the initial")
	require.NotContains(t, string(feed.ask("GET").body), "Vida")
}

func TestWhoCannotWalkIn(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	n := s.neighbour()
	s.at(start.Add(2 * time.Hour))
	for name, x := range map[string]struct {
		body object
		want []string
	}{
		"hair is needed":            {object{"service_id": s.services["Straightening"], "given_name": "Vida"}, []string{"body /service_id"}},
		"no name":                   {object{"service_id": s.services["Dry cut"], "given_name": " "}, []string{"body /given_name"}},
		"two lines":                 {object{"service_id": s.services["Dry cut"], "given_name": "a\nb"}, []string{"body /given_name"}},
		"another salon's service":   {object{"service_id": n.services["Dry cut"], "given_name": "Vida"}, []string{"body /service_id"}},
		"another salon's stylist":   {object{"service_id": s.services["Dry cut"], "given_name": "Vida", "lead_id": n.ben}, []string{"body /lead_id"}},
		"an assistant in charge":    {object{"service_id": s.services["Dry cut"], "given_name": "Vida", "lead_id": s.mina}, []string{"body /lead_id"}},
		"all that can be is faulty": {object{"service_id": "x", "given_name": "", "lead_id": "y"}, []string{"body /given_name", "body /service_id", "body /lead_id"}},
	} {
		before := s.tables()()
		require.Equal(t, x.want, pointers(s.walkIn("key", x.body).refused(422, "invalid")), name)
		require.Equal(t, before, s.tables()(), name)
	}
	p := s.walkIn("key", object{"service_id": s.services["Straightening"], "given_name": "Vida"}).refused(422, "invalid")
	require.Contains(t, p.Detail, "takes as long as the hair needs")

	s.at(start.Add(10*time.Hour - 20*time.Minute))
	p = s.walkIn("late", object{"service_id": s.services["Dry cut"], "given_name": "Vida"}).refused(409, "taken")
	require.Contains(t, p.Detail, "nor later today")
	require.Empty(t, p.Alternatives)
	s.at(start)
	p = s.walkIn("early", object{"service_id": s.services["Dry cut"], "given_name": "Vida"}).refused(409, "taken")
	require.Contains(t, p.Detail, "at 09:00")
}

func TestOfTwoWhoWalkInAtOnceEachGetsAStylistAndTheThirdATime(t *testing.T) {
	t.Parallel()
	for range 4 {
		s := newSalon(t)
		s.at(start.Add(2 * time.Hour))
		answers := s.atOnce(4, func(i int) request {
			return request{"POST", "/v1/walk-ins", object{"service_id": s.services["Dry cut"], "given_name": string(rune('A' + i)), "lead_id": []string{s.ada, s.ben}[i%2]}, []string{"Idempotency-Key", string(rune('a' + i))}}
		})
		require.Equal(t, map[int]int{201: 2, 409: 2}, sorted(answers))
	}
}
