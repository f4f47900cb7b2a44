package api_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// rinse presses “rinse now”.
func (x *noting) rinse(at ...time.Time) api.RinseBody {
	x.t.Helper()
	var body any
	if len(at) > 0 {
		body = object{"at": at[0]}
	}
	var b api.RinseBody
	x.call("POST", "/v1/visits/"+x.id+"/rinse-now", body).is(201, &b)
	return b
}

// stop stops the visit early as it is asked for, by Ada.
func (x *noting) stop(more object) answer {
	x.t.Helper()
	body := object{"reason": "skin", "detail": "red behind the left ear", "outcome": "rinsed", "told": []string{"owner", "client"}, "licensed": "Ada"}
	for k, v := range more {
		body[k] = v
	}
	return x.call("POST", "/v1/visits/"+x.id+"/stop", body)
}

// waiting lists the messages of the visit that still wait.
func (x *noting) waiting() []string {
	x.t.Helper()
	var v api.VisitBody
	a := x.call("GET", "/v1/visits/"+x.id, nil).is(200, &v)
	x.v, x.tag = v, a.header.Get("ETag")
	out := []string{}
	for _, r := range v.Reminders {
		if r.State == "waiting" && r.StaffID == "" {
			out = append(out, r.Kind)
		}
	}
	return out
}

func TestRinseNowIsOnePressHoweverOftenItIsSent(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	s.at(monday(9, 55))
	require.True(t, x.now().RinseNow)
	first := x.rinse()
	require.Equal(t, "09:55", first.At.Format("15:04"))
	require.Equal(t, "solution", first.Product)
	said := strings.Join(first.Words, " ")
	for _, want := range []string{"Rinse fully", "Do not iron", "maker's directions whether to neutralize", "medical help", "call 112"} {
		require.Contains(t, said, want)
	}
	s.at(monday(9, 58))
	for range 3 { // somebody presses again, or a telephone that was offline sends it late
		require.Equal(t, first, x.rinse())
		require.Equal(t, first, x.rinse(monday(9, 55)))
	}
	b := x.now()
	require.Equal(t, []any{"none", false}, []any{b.Product, b.RinseNow}, "the clock has stopped")
	require.Equal(t, first.Words, b.Rinsed.Words)
	c := x.card()
	require.Len(t, c.Facts, 2)
	require.InDelta(t, 15, c.Product[0].Minutes, 0)

	// Taken back, product is on again.
	for range 2 {
		b = api.NowBody{}
		x.call("POST", "/v1/visits/"+x.id+"/rinse-now/undo", nil).is(200, &b)
		require.Equal(t, []any{"solution", true, 18}, []any{b.Product, b.RinseNow, b.Minutes})
	}
	require.Nil(t, b.Rinsed)
	require.Len(t, x.card().Facts, 3)
	second := x.rinse(monday(9, 57))
	require.NotEqual(t, first.FactID, second.FactID)

	// It is noted for the minute in which product was on, and only then.
	s.at(monday(10, 30))
	x.ok(x.step("rinse_1") + "start")
	require.Equal(t, second, x.rinse(monday(9, 50)))
	require.Equal(t, []string{"body /at"}, pointers(x.call("POST", "/v1/visits/"+x.id+"/rinse-now", object{"at": monday(10, 32)}).refused(422, "invalid")))
	p := x.call("POST", "/v1/visits/"+x.id+"/rinse-now", nil).refused(409, "conflict")
	require.Contains(t, p.Detail, "no product was noted as on the hair at 10:30")
	require.Contains(t, p.Detail, "Rinse fully", "what to do is said all the same")
	x.ok(x.step("iron")+"start", monday(10, 30))
	require.Contains(t, flagged(x.card().Flags), "over ironed_after_rinse_now")
	s.at(monday(12, 30))
	x.ok(x.step("neutral") + "start")
	s.at(monday(12, 35))
	require.Equal(t, "neutralizer", x.rinse().Product)
}

func TestAKeyMakesRinseNowHaveOneAnswer(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	s.at(monday(9, 55))
	send := func() answer {
		return x.call("POST", "/v1/visits/"+x.id+"/rinse-now", object{"at": monday(9, 50)}, "Idempotency-Key", "press").is(201, nil)
	}
	first := send()
	x.call("POST", "/v1/visits/"+x.id+"/rinse-now/undo", nil).is(200, nil)
	again := send()
	require.Equal(t, string(first.body), string(again.body))
	require.Nil(t, x.now().Rinsed, "what was taken back stays so, when the same press arrives once more")
}

// “Rinse now” is not refused for the clock of the device that noted the solution.
func TestRinseNowIsTakenFromAClockThatIsABitBehind(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	since := *x.now().FirstStrand
	s.at(since.Add(-20 * time.Second))
	require.True(t, since.Equal(x.rinse().At))
	x.call("POST", "/v1/visits/"+x.id+"/rinse-now/undo", nil).is(200, nil)
	x.call("POST", "/v1/visits/"+x.id+"/rinse-now", object{"at": since.Add(-61 * time.Second)}).refused(409, "conflict")
}

func TestRinseNowNeedsProductOnTheHair(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	press := func() api.Problem {
		return x.call("POST", "/v1/visits/"+x.id+"/rinse-now", nil).refused(409, "conflict")
	}
	s.at(monday(9, 5))
	require.Contains(t, press().Detail, "no product")
	require.Contains(t, x.call("POST", "/v1/visits/"+x.id+"/rinse-now/undo", nil).refused(409, "conflict").Detail, "was not noted")
	x.ok("arrive")
	s.hairSeen(x.id)
	require.Contains(t, press().Detail, "no product")
	s.at(monday(9, 40))
	x.ok(x.step("apply") + "start")
	s.as(store.AssistantRole).call("POST", "/v1/visits/"+x.id+"/rinse-now", nil).is(201, nil)
	s.at(monday(13, 30))
	x.ok("finish")
	require.Contains(t, x.call("POST", "/v1/visits/"+x.id+"/rinse-now/undo", nil).refused(409, "conflict").Detail, "finished")
}

func TestAStoppedVisitFreesItsTimeAndNothingFollowsUntilItIsCleared(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	s.waits(s.client("Nora"), object{"services": []object{{"service_id": s.services["Dry cut"]}}, "first_date": "2026-06-08", "last_date": "2026-06-08"})
	at := func(h, m int) object {
		return object{"first_date": "2026-06-08", "last_date": "2026-06-08", "not_before": monday(h, m)}
	}
	cut := []object{s.by(s.ada, "Dry cut")}
	s.at(monday(9, 55))
	x.rinse()
	s.at(monday(10, 5))
	busy := s.openings(cut, at(10, 10)).Openings[0].Start
	require.Equal(t, x.v.End.Format("15:04"), busy.Format("15:04"), "Ada is busy until the end of the visit")

	var v api.VisitBody
	x.stop(object{"at": monday(10, 2)}).is(201, &v)
	require.Equal(t, []string{"stopped_early", "10:02"}, []string{v.State, v.FinishedAt.Format("15:04")})
	require.Nil(t, v.KeepDryUntil, "nobody can say yet")
	require.NotNil(t, v.WaitingFits)
	require.Equal(t, 1, *v.WaitingFits, "somebody can have the time")
	free := s.openings(cut, at(10, 6)).Openings[0].Start
	require.True(t, free.Before(monday(10, 16)), "%v", free)
	require.Equal(t, []string{"apply 09:40 10:02?"}, (&noting{s, x.id, "", v}).real()[3:], "what was going on ended then, nothing after it")
	require.Empty(t, x.waiting())
	c := x.card()
	require.True(t, c.OutOfPace)
	require.Equal(t, []any{"skin", "red behind the left ear", "rinsed", "Ada", s.ada}, []any{c.Stopped.Reason, c.Stopped.Detail, c.Stopped.Outcome, c.Stopped.Licensed, c.Stopped.LicensedID})
	require.Equal(t, []string{"client", "owner"}, c.Stopped.Told)
	require.Equal(t, []string{"client"}, s.clientParts(x.id))

	// The day is over: the licensed person has looked at it.
	s.at(monday(18, 0))
	clear := func(body object) answer {
		return x.call("POST", "/v1/visits/"+x.id+"/clear-follow-up", body, "If-Match", x.tag)
	}
	require.Equal(t, []string{"body /licensed"}, pointers(clear(object{"licensed": "Mina"}).refused(422, "invalid")))
	clear(object{"licensed": "Ada", "why": "skin is calm"}).is(200, &v)
	require.Equal(t, monday(10, 2).Add(48*time.Hour).Unix(), v.KeepDryUntil.Unix(), "it counts from the real end")
	require.Equal(t, []string{"aftercare", "day_after", "aftercare_end", "first_wash", "retouch", "retouch_again"}, x.waiting())
	require.Equal(t, []string{"aftercare", "client", "retouch"}, s.clientParts(x.id))
	c = x.card()
	require.Equal(t, []string{"Ada", "skin is calm"}, []string{c.Stopped.ClearedBy, c.Stopped.ClearedWhy})
	require.Contains(t, clear(object{"licensed": "Ada"}).refused(409, "conflict").Detail, "cleared already")
}

// clientParts lists what the client's calendar shows of a visit.
func (s *salon) clientParts(visit string) []string {
	s.t.Helper()
	out := []string{}
	require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(tx *store.Tx) error {
		v, err := tx.VisitByID(s.t.Context(), visit)
		require.NoError(s.t, err)
		list, err := tx.PartsOfClient(s.t.Context(), v.Client, monday(0, 0), monday(0, 0).AddDate(2, 0, 0))
		for _, p := range list {
			if p.Live {
				out = append(out, p.Kind)
			}
		}
		return err
	}))
	slices.Sort(out)
	return out
}

func TestAStopIsCheckedAndReadByFew(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	require.Contains(t, x.stop(nil).refused(409, "conflict").Detail, "only one whose client is here")
	s.at(monday(9, 0))
	x.ok("arrive")
	s.hairSeen(x.id)
	s.at(monday(9, 40))
	x.ok(x.step("apply") + "start")
	s.at(monday(9, 50))
	p := x.stop(object{"at": monday(9, 39), "detail": strings.Repeat("x", 301), "licensed": "Mina"}).refused(422, "invalid")
	require.ElementsMatch(t, []string{"body /at", "body /detail", "body /licensed"}, pointers(p))
	require.Equal(t, []string{"body /licensed"}, pointers(x.stop(object{"licensed": ""}).refused(422, "invalid")))
	require.Equal(t, []string{"body /at"}, pointers(x.stop(object{"at": monday(9, 52)}).refused(422, "invalid")))
	s.as(store.Desk).call("POST", "/v1/visits/"+x.id+"/stop", object{}).refused(403, "forbidden")
	require.Contains(t, x.call("POST", "/v1/visits/"+x.id+"/clear-follow-up", object{"licensed": "Ada"}, "If-Match", x.tag).refused(409, "conflict").Detail, "under way")

	// A stylist's own token speaks for herself.
	ada := *s
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) (err error) {
		_, ada.token, err = tx.AddToken(t.Context(), store.LeadRole, s.ada, "ada", nil)
		return err
	}))
	key := fmt.Sprintf("stop of %s", x.id)
	body := object{"reason": "hair_snapped", "outcome": "rinsed_and_neutralized", "detail": "snapped at once"}
	first := ada.call("POST", "/v1/visits/"+x.id+"/stop", body, "Idempotency-Key", key).is(201, nil)
	again := ada.call("POST", "/v1/visits/"+x.id+"/stop", body, "Idempotency-Key", key).is(201, nil)
	require.Equal(t, "true", again.header.Get("Idempotent-Replayed"))
	require.NotContains(t, string(first.body), "snapped at once")
	require.Contains(t, x.stop(nil).refused(409, "conflict").Detail, "stopped early")
	require.Equal(t, []string{"Ada", "Ada"}, []string{x.card().Stopped.Licensed, x.card().Stopped.NotedBy})

	// Neither the assistant's card nor any list, feed or message has a word of it.
	for _, role := range []store.Role{store.AssistantRole, store.Desk} {
		who := s.as(role)
		for _, path := range []string{"/v1/visits/" + x.id, "/v1/visits/" + x.id + "/now", "/v1/days/2026-06-08", "/v1/visits?first_date=2026-06-08&last_date=2026-06-08"} {
			a := who.call("GET", path, nil).is(200, nil)
			require.NotContains(t, string(a.body), "snapped at once", path)
			require.NotContains(t, string(a.body), "hair_snapped", path)
		}
	}
	a := s.as(store.AssistantRole).call("GET", "/v1/visits/"+x.id+"/card", nil).is(200, nil)
	require.NotContains(t, string(a.body), "hair_snapped")
	require.NotContains(t, string(a.body), "snapped at once")
}

func TestRinseNowIsToldToTheDeskAtOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	toDo := func() []api.RinseCallBody {
		var list api.ToDoList
		s.as(store.Desk).call("GET", "/v1/to-do", nil).is(200, &list)
		return list.Rinses
	}
	events := func() (kinds []string) {
		var list struct{ Items []api.EventBody }
		s.call("GET", "/v1/visits/"+x.id+"/events", nil).is(200, &list)
		for _, e := range list.Items {
			kinds = append(kinds, e.Kind)
		}
		return kinds
	}
	require.Empty(t, toDo())
	s.at(monday(9, 55))
	x.rinse()
	list := toDo()
	require.Len(t, list, 1)
	require.Equal(t, x.id, list[0].VisitID)
	require.Contains(t, list[0].Words, "“Rinse now” was pressed at 09:55, chair ")
	require.Contains(t, list[0].Words, "go and see whether help has to be called")
	require.Equal(t, "rinse_now", events()[len(events())-1])
	s.at(monday(9, 56))
	x.call("POST", "/v1/visits/"+x.id+"/rinse-now/undo", nil).is(200, nil)
	require.Empty(t, toDo())
	require.Equal(t, []string{"rinse_now", "undo_rinse_now"}, events()[len(events())-2:], "both stay in the log")
	x.rinse()
	require.Len(t, toDo(), 1)
	x.stop(nil).is(201, nil)
	require.Empty(t, toDo(), "the visit is over")
}
