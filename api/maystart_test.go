package api_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// skinOnly makes visits of the salon need a skin test for straightening.
func (s *salon) skinOnly() {
	s.t.Helper()
	s.strict(object{"deposit_for": "nothing", "consultation_for": "nothing", "strand_test_for": "nothing", "consent_for": "nothing", "skin_test_for": "straightening"})
}

// finishNow ends a visit at this moment.
func (s *salon) finishNow(visit string) answer {
	s.t.Helper()
	tag := s.call("GET", "/v1/visits/"+visit, nil).is(200, nil).header.Get("ETag")
	return s.call("POST", "/v1/visits/"+visit+"/finish", object{}, "If-Match", tag)
}

func TestProductOfTheNextServiceIsAskedAboutAnew(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.skinOnly()
	client := s.client("Mara")
	now := start.Add(25 * time.Hour)
	s.at(now)
	v, _ := s.book(client, start.Add(73*time.Hour), []object{s.by(s.ada, "Straightening"), s.by(s.ben, "Root colour")})
	test := s.skinTest(client, start)
	s.readTest(test, "negative", nil).is(201, nil)
	s.at(v.Start)
	s.arrived(v.ID)
	s.hairSeen(v.ID)
	for i := range 4 {
		s.step(v.ID, i).is(200, nil)
		s.at(v.Start.Add(time.Duration(i+1) * 10 * time.Minute))
	}
	s.readTest(test, "positive", nil).is(201, nil)
	require.Contains(t, s.needed(v.ID), "patch_test refused")
	s.step(v.ID, 4).is(200, nil) // what is on the hair is rinsed, and worked on to its end
	s.at(v.Start.Add(time.Hour))
	s.step(v.ID, 5).is(200, nil)
	s.at(v.Start.Add(4 * time.Hour))
	s.step(v.ID, 9).is(200, nil)
	require.Equal(t, "colour", v.Steps[14].Kind)
	s.step(v.ID, 14).refused(409, "not-ready")
	s.step(v.ID, 16).refused(409, "not-ready") // of which it would follow
}

func TestATalkBetweenServicesOpensNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.skinOnly()
	v, _ := s.book(s.client("Mara"), start.Add(73*time.Hour), []object{s.by(s.ben, "Root colour"), s.by(s.ada, "Straightening")})
	require.Equal(t, "talk", v.Steps[4].Kind)
	s.at(v.Start)
	s.arrived(v.ID)
	s.hairSeen(v.ID)
	s.step(v.ID, 4).refused(409, "not-ready")
	s.step(v.ID, 0).refused(409, "not-ready")
}

func TestAVisitThatMustNotBeginIsNotFinishedAndLaterFactsAreFlagged(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.skinOnly()
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(73*time.Hour), s.straightening())
	s.at(v.End)
	s.finishNow(v.ID).refused(409, "not-ready")
	test := s.skinTest(client, start)
	s.readTest(test, "negative", nil).is(201, nil)
	s.finishNow(v.ID).is(200, nil)
	s.readTest(test, "positive", nil).is(201, nil)
	tag := s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag")
	a := s.call("POST", fmt.Sprintf("/v1/visits/%s/steps/3/start", v.ID), object{"at": v.Start.Add(time.Hour)}, "If-Match", tag).is(200, nil)
	var c api.CardBody
	card := s.call("GET", "/v1/visits/"+v.ID+"/card", nil).is(200, &c)
	require.Equal(t, "begun_unready", c.Flags[0].Code)
	require.True(t, c.Flags[0].AsksReason)
	require.NotContains(t, string(card.body), "positive")
	tag = a.header.Get("ETag")
	s.call("POST", fmt.Sprintf("/v1/visits/%s/steps/4/start", v.ID), object{"at": v.Start.Add(2 * time.Hour)}, "If-Match", tag).is(200, nil)
	s.call("GET", "/v1/visits/"+v.ID+"/card", nil).is(200, &c)
	flagged := 0
	for _, x := range c.Flags {
		if x.Code == "begun_unready" {
			flagged++
		}
	}
	require.Equal(t, 1, flagged, "what follows from the first is not flagged again")
}

func TestTheSkinTestIsCountedToTheTimeAtWhichItReallyBegins(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.skinOnly()
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(74*time.Hour), s.straightening())
	s.at(v.Start.Add(-20 * time.Minute))
	s.readTest(s.skinTest(client, v.Start.Add(-48*time.Hour)), "negative", nil).is(201, nil)
	require.Equal(t, "patch_test done", s.needed(v.ID))
	s.arrived(v.ID)
	s.hairSeen(v.ID)
	s.step(v.ID, 0).is(200, nil)
	p := s.step(v.ID, 1).refused(409, "not-ready")
	require.Equal(t, "patch_test", p.StillNeeded[0].Kind)
	s.at(v.Start)
	s.step(v.ID, 1).is(200, nil)
}

func TestAnOverrideOfOtherFactsIsSaidAgain(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(73*time.Hour), s.straightening())
	say := func() answer {
		return s.call("POST", "/v1/visits/"+v.ID+"/needs/strand_test/override", object{"by": "Ada", "reason": "seen and agreed"})
	}
	say().is(200, nil)
	require.Contains(t, s.needed(v.ID), "strand_test overridden")
	say().refused(409, "conflict")
	s.call("POST", "/v1/clients/"+client+"/strand-tests", object{"product": "Soft Wave", "strength": "N", "result": "stretched_too_far", "by": "Ada"}).is(201, nil)
	require.Contains(t, s.needed(v.ID), "strand_test waiting")
	say().is(200, nil)
	require.Contains(t, s.needed(v.ID), "strand_test overridden")
	tag := s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag")
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": start.Add(97 * time.Hour), "approved_by": "Ada"}, "If-Match", tag).is(200, nil)
	require.Contains(t, s.needed(v.ID), "strand_test waiting")
}

func TestAMoveAsksWhatABookingAsks(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(73*time.Hour), s.straightening())
	later := start.Add(97 * time.Hour)
	move := func(more object) answer {
		body := object{"start": later}
		for k, x := range more {
			body[k] = x
		}
		tag := s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag")
		return s.call("POST", "/v1/visits/"+v.ID+"/move", body, "If-Match", tag)
	}
	s.screened(client, map[string]string{"sore_scalp": "yes"}) // do not book
	move(object{"approved_by": "Ada"}).refused(422, "refused")
	s.call("PUT", "/v1/clients/"+client+"/minor", object{"minor_until": "2028-03-01"}).is(200, nil)
	require.Equal(t, []string{"body /client_id"}, pointers(move(object{"approved_by": "Ada"}).refused(422, "invalid")))
	s.call("DELETE", "/v1/clients/"+client+"/minor?approved_by=Ada&reason=noted+by+mistake", nil).is(204, nil)
}

func TestWhatIsReservedDecidesWhichSkinTestCounts(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.testsSkin()
	s.priced("Straightening", 32000, nil, object{"product_id": s.product("solution", "N", 0, nil), "ml": 100})
	client := s.client("Mara")
	ask := object{"client_id": client, "start": start.Add(26 * time.Hour), "services": s.straightening()}
	test := func(product string) {
		var x struct{ ID string }
		s.call("POST", "/v1/clients/"+client+"/skin-tests", object{"product": product, "strength": "N", "place": "inner_elbow", "by": "Mina", "put_on_at": start.Add(-72 * time.Hour)}).is(201, &x)
		s.readTest(x.ID, "negative", nil).is(201, nil)
	}
	test("Firm Wave")
	s.call("POST", "/v1/visits", ask, "Idempotency-Key", "a").refused(422, "refused")
	test("Solution")
	var v api.VisitBody
	s.call("POST", "/v1/visits", ask, "Idempotency-Key", "b").is(201, &v)
	tag := s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag")
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": start.Add(25 * time.Hour)}, "If-Match", tag).is(200, nil)
}

func TestAStepWaitsForWhatIsBeingNotedOfItsClient(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.skinOnly()
	client := s.client("Mara")
	test := s.skinTest(client, start.Add(-72*time.Hour))
	s.readTest(test, "negative", nil).is(201, nil)
	v, _ := s.book(client, start.Add(73*time.Hour), s.straightening())
	s.at(v.Start)
	s.arrived(v.ID)
	tag := s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag")
	got := make(chan answer, 1)
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
		if err := tx.LockClient(t.Context(), client); err != nil {
			return err
		}
		go func() {
			a, err := s.try("POST", "/v1/visits/"+v.ID+"/steps/1/start", object{}, "If-Match", tag)
			if err != nil {
				a.body = []byte(err.Error())
			}
			got <- a
		}()
		select {
		case a := <-got:
			got <- a
		case <-time.After(300 * time.Millisecond):
		}
		_, err := tx.AddTestNote(t.Context(), store.TestNote{Client: client, Noted: v.Start,
			TestFacts: store.TestFacts{What: store.PatchRead, Of: test, Result: "positive", At: v.Start, By: "Ada"}})
		return err
	}))
	a := <-got
	require.Equal(t, 409, a.status, string(a.body))
}
