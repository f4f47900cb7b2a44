package api_test

import (
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// tap notes something as whoever s is, with a key where one is given.
func (x *noting) tap(body object, key ...string) answer {
	x.t.Helper()
	if len(key) > 0 {
		return x.call("POST", "/v1/visits/"+x.id+"/taps", body, "Idempotency-Key", key[0])
	}
	return x.call("POST", "/v1/visits/"+x.id+"/taps", body)
}

func (x *noting) run() (b api.RunBody) {
	x.t.Helper()
	x.call("GET", "/v1/visits/"+x.id+"/run", nil).is(200, &b)
	return b
}

func TestFiveTapsTellAWholeVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	require.Equal(t, "arrive", x.run().Next.Tap)
	s.at(monday(9, 0))
	x.tap(object{"kind": "arrive"}).is(201, nil)
	require.Equal(t, "Solution on", x.run().Next.Words)
	require.True(t, x.run().AsksHair)
	s.hairSeen(x.id)
	require.False(t, x.run().AsksHair)
	for _, tap := range []struct {
		at   time.Time
		next string
		then string
	}{
		{monday(9, 39), "solution_on", "solution_off"},
		{monday(10, 24), "solution_off", "iron"},
		{monday(10, 50), "iron", "neutralizer_on"},
		{monday(12, 22), "neutralizer_on", "neutralizer_off"},
	} {
		s.at(tap.at)
		next := x.run().Next
		require.Equal(t, tap.next, next.Tap)
		x.tap(object{"kind": "start", "step": *next.Step}).is(201, nil)
		require.Equal(t, tap.then, x.run().Next.Tap)
	}
	s.at(monday(13, 30))
	var done api.TapAnswer
	x.tap(object{"kind": "done"}).is(201, &done)
	require.Equal(t, "finished", done.State)
	b := x.run()
	require.Equal(t, "none", b.Next.Tap)
	for _, st := range b.Steps {
		require.NotNil(t, st.RealStart, st.Label)
		require.NotNil(t, st.RealEnd, st.Label)
	}
	require.Equal(t, []string{"real_start", "real_end"}, b.Steps[1].Inferred)
}

func TestATapThatArrivesTwiceHasOneEffectAlsoFromANewSignIn(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	s.at(monday(9, 0))
	ada := &noting{s.asPerson(store.LeadRole, s.ada), x.id, "", x.v}
	again := &noting{s.asPerson(store.LeadRole, s.ada), x.id, "", x.v} // another token of hers
	step := 1
	body := object{"kind": "start", "step": step, "at": monday(9, 0)}
	ada.tap(body, "first").is(201, nil)
	a := again.tap(body, "first").is(201, nil)
	require.Equal(t, "true", a.header.Get("Idempotent-Replayed"))
	ada.tap(object{"kind": "undo", "step": step}, "second").is(201, nil)
	again.tap(body, "first").is(201, nil)
	require.Nil(t, ada.run().Steps[step].RealStart, "what was taken back does not come again")
	mina := &noting{s.asPerson(store.AssistantRole, s.mina), x.id, "", x.v}
	mina.tap(body, "first").is(201, nil)
	require.NotNil(t, ada.run().Steps[step].RealStart, "another person's key is another key")
}

func TestATapDoesNotChangeWhatSomebodyElseNotedUnlessItSaysSo(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	s.at(monday(9, 20))
	x.tap(object{"kind": "start", "step": 1, "at": monday(9, 12)}).is(201, nil)
	p := x.tap(object{"kind": "start", "step": 1, "at": monday(9, 15)}).refused(http.StatusConflict, "conflict")
	require.Contains(t, p.Detail, "began at 09:12 already")
	x.tap(object{"kind": "start", "step": 1, "at": monday(9, 15), "correct": true}).is(201, nil)
	require.True(t, x.run().Steps[1].RealStart.Equal(monday(9, 15)))
	require.Equal(t, []string{"body /step"}, pointers(x.tap(object{"kind": "start"}).refused(422, "invalid")))
	require.Equal(t, []string{"body /fact"}, pointers(x.tap(object{"kind": "fact"}).refused(422, "invalid")))
	require.Equal(t, []string{"body /step"}, pointers(x.tap(object{"kind": "done", "step": 2}).refused(422, "invalid")))
	bad := x.tap(object{"kind": "fact", "fact": object{"kind": "iron", "iron": object{"setting": 5000, "unit": "C"}}}).refused(422, "invalid")
	require.Equal(t, []string{"body /fact/iron/setting"}, pointers(bad))
	mina := &noting{s.asPerson(store.AssistantRole, s.mina), x.id, "", x.v}
	mina.tap(object{"kind": "done"}).refused(http.StatusForbidden, "forbidden")
}

func TestRinseNowAndLooksGoByTapsToo(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	s.at(monday(9, 50))
	x.tap(object{"kind": "fact", "fact": object{"kind": "check", "check": object{"ready": false, "next_minutes": 5}}}).is(201, nil)
	b := x.run()
	require.Len(t, b.Looks, 1)
	require.True(t, b.Now.NextCheck.Equal(monday(9, 55)))
	require.Equal(t, 10.0, b.Limits.FirstLook)
	x.tap(object{"kind": "rinse_now", "at": monday(9, 49)}).is(201, nil)
	require.NotNil(t, x.run().Now.Rinsed)
	x.tap(object{"kind": "undo_rinse_now"}).is(201, nil)
	require.Nil(t, x.run().Now.Rinsed)
}

func TestAPersonsDaySaysWhatIsFreeAndWithWhomTheClientIs(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	var d api.PersonDayBody
	s.call("GET", "/v1/staff/"+s.ada+"/days/2026-06-08", nil).is(200, &d)
	require.Len(t, d.Visits, 1)
	require.True(t, d.Visits[0].InCharge)
	kinds := map[string]int{}
	for i, it := range d.Items {
		kinds[it.Kind]++
		require.True(t, it.From.Before(it.To))
		if i > 0 && it.Kind != "free" && d.Items[i-1].Kind != "free" {
			require.False(t, it.From.Before(d.Items[i-1].To), "%v", d.Items)
		}
		switch it.Kind {
		case "watched":
			require.NotNil(t, it.BackBy)
		case "free":
			require.NotEmpty(t, it.With, "who is with the client meanwhile")
		}
	}
	require.Positive(t, kinds["hands_on"])
	require.Positive(t, kinds["watched"])
	require.Positive(t, kinds["free"])
	require.Positive(t, kinds["gap"])
	s.call("GET", "/v1/staff/"+s.mina+"/days/2026-06-08", nil).is(200, &d)
	require.Len(t, d.Visits, 1)
	require.False(t, d.Visits[0].InCharge)
	require.Equal(t, x.id, d.Visits[0].ID)
	s.call("GET", "/v1/staff/"+s.ada+"/days/2026-06-07", nil).is(200, &d)
	require.Empty(t, d.Items)
	require.Equal(t, []api.PersonNextBody{{Date: "2026-06-08", First: d.Next[0].First, Last: d.Next[0].Last, Visits: 1}}, d.Next)
	s.call("GET", "/v1/staff/"+s.chairs[0]+"/days/2026-06-08", nil).refused(404, "not-found")
}
