package api_test

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// tellLate asks to tell the client of x that she will wait.
func (x *noting) tellLate() answer {
	x.t.Helper()
	return x.call("POST", "/v1/visits/"+x.id+"/tell-running-late", nil)
}

// tagOf is the ETag of x as it is now.
func tagOf(x *noting) string {
	_, tag := x.read(x.id)
	return tag
}

func TestALateStartIsToldOnceUntilItIsMuchLaterStill(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	before, x := lateMorning(s)
	var first, again api.LateTold
	x.tellLate().is(200, &first)
	require.GreaterOrEqual(t, first.Minutes, 15)
	require.False(t, first.Already)
	require.True(t, first.Start.Equal(x.v.Start.Add(time.Duration(first.Minutes)*time.Minute)))
	x.tellLate().is(200, &again)
	require.Equal(t, []any{true, first.MessageID, first.Minutes}, []any{again.Already, again.MessageID, again.Minutes})
	s.sendDue()
	x.tellLate().is(200, &again)
	require.Equal(t, []any{true, first.MessageID}, []any{again.Already, again.MessageID}, "also when it has gone out")

	s.call("PUT", "/v1/message-rules", object{"late_minutes": 5}, "If-Match", `"v1"`).is(200, nil)
	begun := func(minute int) {
		s.at(monday(10, minute))
		before.call("POST", "/v1/visits/"+before.id+"/steps/0/start", object{"at": monday(10, minute)}, "If-Match", tagOf(before)).is(200, nil)
	}
	begun(32)
	x.tellLate().is(200, &again)
	require.Equal(t, []any{true, first.Minutes}, []any{again.Already, again.Minutes}, "four minutes more are no news")
	begun(33)
	x.tellLate().is(200, &again)
	require.Equal(t, []any{false, first.Minutes + 5}, []any{again.Already, again.Minutes})
	require.NotEqual(t, first.MessageID, again.MessageID)
	require.Equal(t, []string{"sent", "waiting"}, s.column(`SELECT state FROM reminder WHERE kind = 'running_late' ORDER BY state`))
}

func TestNobodyIsToldOfAStartThatIsNotLate(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.client("Mara"), monday(10, 0), s.trim(s.ada))
	x := s.upon(v, tag)
	require.Contains(t, x.tellLate().refused(409, "conflict").Detail, "less than 15 minutes late")
	tomorrow := s.upon(s.book(s.client("Nora"), tuesday(10, 0), s.trim(s.ada)))
	require.Contains(t, tomorrow.tellLate().refused(409, "conflict").Detail, "Tuesday 9 June")
	s.at(monday(10, 1))
	require.Contains(t, x.tellLate().refused(409, "conflict").Detail, "its client is not here")
	x.after("arrive")
	require.Contains(t, x.tellLate().refused(409, "conflict").Detail, "arrived")
	s.call("POST", "/v1/visits/"+store.NewID()+"/tell-running-late", nil).refused(404, "not-found")
	walk := s.walkIn("w", object{"service_id": s.services["Dry cut"], "given_name": "Rosa", "lead_id": s.ben}).is(201, nil)
	var w api.VisitBody
	require.NoError(t, json.Unmarshal(walk.body, &w))
	(&noting{salon: s, id: w.ID}).tellLate().refused(409, "conflict")
}

func TestTenDesksTellALateClientOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	_, x := lateMorning(s)
	answers := s.atOnce(10, func(int) request { return request{"POST", "/v1/visits/" + x.id + "/tell-running-late", nil, nil} })
	require.Equal(t, map[int]int{200: 10}, sorted(answers))
	require.Equal(t, []string{"waiting"}, s.column(`SELECT state FROM reminder WHERE kind = 'running_late'`))
}

func TestASalonMayLetLateClientsBeToldByItself(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	_, x := lateMorning(s)
	tell := func() { require.NoError(t, s.server.TellLate(t.Context(), s.row.ID)) }
	tell()
	require.Empty(t, s.column(`SELECT kind FROM reminder WHERE kind = 'running_late'`), "nobody has asked for it")
	s.call("PUT", "/v1/message-rules", object{"late_by_itself": true}, "If-Match", `"v1"`).is(200, nil)
	for range 3 {
		tell()
	}
	require.Equal(t, []string{x.id}, s.column(`SELECT visit_id FROM reminder WHERE kind = 'running_late'`))
}

func TestAStylistIsToldOfChangesToHerDayInOneMessage(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	news := func() string {
		list := s.column(`SELECT jsonb_path_query_array(detail, '$.changes[*].what')::text FROM reminder WHERE kind = 'day_changed' AND staff_id = $1 AND state = 'waiting'`, s.ben)
		if len(list) == 0 {
			return ""
		}
		require.Len(t, list, 1)
		return list[0]
	}
	first := s.upon(s.book(s.client("Mara"), tuesday(10, 0), s.trim(s.ben)))
	second := s.upon(s.book(s.client("Nora"), tuesday(12, 0), s.trim(s.ben)))
	require.Equal(t, `["booked", "booked"]`, news())
	second.to(tuesday(14, 0))
	require.Equal(t, `["booked", "booked"]`, news(), "she did not know of noon")
	second.after("cancel")
	require.Equal(t, `["booked"]`, news(), "and not of the visit")
	s.at(monday(8, 10))
	s.sendDue()
	require.Empty(t, news())

	first.to(tuesday(11, 0))
	require.Equal(t, `["moved"]`, news())
	first.to(tuesday(10, 0))
	require.Empty(t, news(), "all is as she knows it")
	s.extend(first.id, first.tag, object{"minutes": 10}).is(200, nil)
	_, first.tag = s.read(first.id)
	require.Equal(t, `["changed"]`, news())
	first.to(tuesday(10, 0).AddDate(0, 0, 4)) // a Saturday, too far to be news of that day
	require.Equal(t, `["moved"]`, news())
	require.Equal(t, []string{"day 2026-06-09"}, s.column(`SELECT DISTINCT reason FROM reminder WHERE kind = 'day_changed' AND staff_id = $1`, s.ben))

	// Her own doing is no news to her, and mends what others did.
	mine := s.asPerson(store.LeadRole, s.ben)
	a := mine.call("POST", "/v1/visits/"+first.id+"/cancel", nil, "If-Match", first.tag).is(200, nil)
	require.Equal(t, `["cancelled"]`, news(), a.header)
	own := mine.upon(mine.book(s.client("Ines"), tuesday(16, 0), s.trim(s.ben)))
	own.after("cancel")
	require.Equal(t, `["cancelled"]`, news())
}

func TestManyDesksAtOnceMakeOneMessageOfADay(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	clients := make([]string, 6)
	for i := range clients {
		clients[i] = s.client(fmt.Sprintf("Client%d", i))
	}
	answers := s.atOnce(6, func(i int) request {
		return request{"POST", "/v1/visits", object{"client_id": clients[i], "start": tuesday(9+i, 0), "services": s.trim(s.ben)}, []string{"Idempotency-Key", fmt.Sprint(i)}}
	})
	require.Equal(t, map[int]int{201: 6}, sorted(answers))
	require.Equal(t, []string{"6"}, s.column(`SELECT jsonb_array_length(detail->'changes')::text FROM reminder WHERE kind = 'day_changed' AND staff_id = $1`, s.ben))
}

func TestBookingTwiceWithOneKeyOrMovingFromTwoDesksTellsOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	answers := s.atOnce(8, func(int) request {
		return request{"POST", "/v1/visits", object{"client_id": client, "start": friday(10, 0), "services": s.trim(s.ben)}, []string{"Idempotency-Key", "one"}}
	})
	for status := range sorted(answers) {
		require.Contains(t, []int{201, 409}, status)
	}
	kinds := func() []string { return s.column(`SELECT kind FROM reminder ORDER BY kind`) }
	require.Equal(t, []string{"client_late", "confirmation", "reminder"}, kinds())
	s.sendDue()
	visit := s.column(`SELECT visit_id FROM visit`)[0]
	answers = s.atOnce(8, func(i int) request {
		return request{"POST", "/v1/visits/" + visit + "/move", object{"start": friday(11+i%4, 0)}, []string{"If-Match", `"v1"`}}
	})
	require.Equal(t, 1, sorted(answers)[200])
	require.Equal(t, []string{"moved"}, s.column(`SELECT kind FROM reminder WHERE kind = 'moved'`))
	answers = s.atOnce(8, func(int) request {
		return request{"POST", "/v1/visits/" + visit + "/cancel", nil, []string{"If-Match", `"v2"`}}
	})
	require.Equal(t, 1, sorted(answers)[200])
	require.Equal(t, []string{"cancelled"}, s.column(`SELECT kind FROM reminder WHERE state = 'waiting'`))
}

func TestEveryMessageIDIsItsOwn(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := onFriday(s)
	for i := range 5 {
		s.sendDue()
		x.to(friday(10, 0).AddDate(0, 0, 1))
		s.sendDue()
		x.to(friday(10, 15*i))
	}
	require.Empty(t, s.column(`SELECT message_id FROM reminder GROUP BY message_id HAVING count(*) > 1`))
	require.Equal(t, []string{"10"}, s.column(`SELECT count(*)::text FROM reminder WHERE kind = 'moved'`))
}

func TestWhoWatchesIsToldOfTheNextLookWhereTheSalonWantsIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	looks := func() []string {
		return s.column(`SELECT staff_id || ' ' || to_char(due_at AT TIME ZONE 'Europe/Berlin', 'HH24:MI') FROM reminder WHERE kind = 'check_due' AND state = 'waiting'`)
	}
	inSolution(s)
	require.Empty(t, looks(), "off where nothing is said")

	s = newSalon(t)
	s.call("PUT", "/v1/message-rules", object{"tell_checks": true}, "If-Match", `"v1"`).is(200, nil)
	x := inSolution(s)
	list := looks()
	require.Len(t, list, 1)
	require.Contains(t, list[0], s.ada)
	now := x.now()
	require.Equal(t, s.ada+" "+now.NextCheck.In(berlin(t)).Format("15:04"), list[0], "as her page says")
	s.at(*now.NextCheck)
	x.call("POST", "/v1/visits/"+x.id+"/card/facts", object{"kind": "look", "look": object{"result": "not_ready"}}, "Idempotency-Key", "look")
	x.call("POST", "/v1/visits/"+x.id+"/stop", object{"reason": "skin", "outcome": "rinsed", "licensed": "Ada"}, "Idempotency-Key", "stop").is(201, nil)
	require.Empty(t, looks())
}
