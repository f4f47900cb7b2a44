package api_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// reads lists who read what, newest last, as "about what who".
func (s *salon) reads() []string {
	s.t.Helper()
	var list struct{ Items []api.HealthReadBody }
	s.call("GET", "/v1/health-reads?limit=200", nil).is(200, &list)
	var out []string
	for _, r := range list.Items {
		require.NotEmpty(s.t, r.ClientID)
		out = append(out, r.About+" "+r.What+" "+map[string]string{s.ada: "Ada", s.ben: "Ben", "": r.Role}[r.StaffID])
	}
	slices.Reverse(out)
	return out
}

func TestTestsReactionsAndReasonsAreReadByTheStylistOfTheClientAndTheReadingIsNoted(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing", "skin_test_override": true})
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(73*time.Hour), s.straightening()) // Ada's
	s.complete(client)
	s.readTest(s.skinTest(client, start.Add(-time.Hour)), "positive", nil).is(201, nil)
	s.call("POST", "/v1/clients/"+client+"/reactions", object{"note": "zqitch"}).is(201, nil)
	paths := []string{"/v1/clients/" + client + "/skin-tests", "/v1/clients/" + client + "/strand-tests", "/v1/clients/" + client + "/reactions", "/v1/visits/" + v.ID + "/overrides"}
	ada, ben, nobody := s.asPerson(store.LeadRole, s.ada), s.asPerson(store.LeadRole, s.ben), s.as(store.LeadRole)
	made := s.reads()
	for _, path := range paths {
		ben.call("GET", path, nil).refused(403, "forbidden")
		nobody.call("GET", path, nil).refused(403, "forbidden")
		ada.call("GET", path, nil).is(200, nil)
		s.call("GET", path, nil).is(200, nil)
	}
	require.Equal(t, []string{"skin_tests read Ada", "skin_tests read owner", "strand_tests read Ada", "strand_tests read owner",
		"reactions read Ada", "reactions read owner", "overrides read Ada", "overrides read owner"}, s.reads()[len(made):], "refusals read nothing")

	why := func(who *salon) string {
		var b api.VisitBody
		who.call("GET", "/v1/visits/"+v.ID, nil).is(200, &b)
		i := slices.IndexFunc(b.StillNeeded, func(x api.NeedBody) bool { return x.Kind == "patch_test" })
		return b.StillNeeded[i].State + " " + b.StillNeeded[i].Why
	}
	made = s.reads()
	for range 2 {
		require.Equal(t, "refused a skin test was positive", why(ada))
		require.Equal(t, "ask ", why(ben))
		require.Equal(t, "ask ", why(nobody))
	}
	require.Equal(t, []string{"needs read Ada"}, s.reads()[len(made):], "once an hour")
	s.at(start.Add(2 * time.Hour))
	why(ada)
	require.Len(t, s.reads(), len(made)+2)
	var list struct{ Items []api.ToDoBody }
	ben.call("GET", "/v1/to-do", nil).is(200, &list)
	require.Equal(t, []string{"ask"}, stateOf(list.Items, "patch_test"))
	ada.call("GET", "/v1/to-do", nil).is(200, &list)
	require.Equal(t, []string{"refused"}, stateOf(list.Items, "patch_test"))
}

// stateOf lists the states of a kind.
func stateOf(list []api.ToDoBody, kind string) (out []string) {
	for _, x := range list {
		if x.Kind == kind {
			out = append(out, x.State)
		}
	}
	return out
}

func TestTheDeskCannotTellAQuestionFromARefusal(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing", "lapse_when_overdue": []string{"consultation", "patch_test"}})
	desk := s.as(store.Desk)
	colour := []object{{"service_id": s.services["Root colour"]}}
	var seen [2]map[string]any
	for i, answers := range []map[string]string{{"pregnancy": "yes", "colour": "yes", "coloured_on": "2026-06-05"}, {"lice_ringworm": "yes", "colour": "yes", "coloured_on": "2026-06-05"}} {
		client := s.client("Mara")
		at := start.Add(73*time.Hour + time.Duration(i)*24*time.Hour)
		v, _ := s.book(client, at, s.straightening())
		s.screened(client, answers)
		s.readTest(s.skinTest(client, start.Add(-48*time.Hour)), "negative", nil).is(201, nil)
		got := map[string]any{}
		for _, kind := range []string{"consultation"} {
			p := desk.call("POST", "/v1/visits/"+v.ID+"/needs/"+kind+"/override", object{"by": "Ada", "reason": "she says so"}).refused(403, "forbidden")
			p.StillNeeded[0].Latest = time.Time{}
			got["override"] = []any{p.Detail, p.StillNeeded}
		}
		var list struct{ Items []api.ToDoBody }
		desk.call("GET", "/v1/to-do", nil).is(200, &list)
		for _, x := range list.Items {
			if x.VisitID == v.ID && x.Kind == "consultation" {
				got["to do"] = []any{x.State, x.Lapses, x.Overdue, x.Words, x.Right, x.Owner, x.Overridable}
			}
		}
		p := desk.call("POST", "/v1/visits", object{"client_id": client, "start": at.Add(14 * 24 * time.Hour), "services": colour}, "Idempotency-Key", client).refused(422, "refused")
		require.NotContains(t, p.Detail, "2026")
		got["booking"] = []any{p.Detail, p.Cautions, pointers(p)}
		s.at(at)
		desk.arrived(v.ID)
		p = desk.step(v.ID, 3).refused(409, "not-ready")
		var kinds []string
		for _, x := range p.StillNeeded {
			kinds = append(kinds, x.Kind+" "+x.State)
		}
		got["start"] = []any{p.Detail, kinds}
		s.at(start)
		seen[i] = got
	}
	require.Equal(t, false, seen[0]["to do"].([]any)[1])
	require.Equal(t, seen[0], seen[1])
}

func TestWhoHasATokenOfHerOwnReadsTestsInHerOwnNameOnly(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	test := s.skinTest(client, start.Add(-48*time.Hour))
	ben := s.asPerson(store.LeadRole, s.ben)
	require.Equal(t, []string{"body /by"}, pointers(ben.readTest(test, "positive", object{"by": "Ada"}).refused(422, "invalid")))
	ben.readTest(test, "positive", object{"by": ""}).is(201, nil)
	require.Contains(t, ben.readTest(test, "positive", object{"by": ""}).refused(409, "conflict").Detail, "ask the stylist in charge")
	require.Contains(t, ben.readTest(test, "negative", object{"by": ""}).refused(409, "conflict").Detail, "ask the stylist in charge")
	require.Equal(t, []string{"body /by"}, pointers(ben.readTest(test, "negative", object{"by": "Ada", "correction": "not hers"}).refused(422, "invalid")))
	ben.readTest(test, "negative", object{"by": "", "correction": "another client's"}).is(201, nil)
	var list struct{ Items []api.SkinTestBody }
	s.call("GET", "/v1/clients/"+client+"/skin-tests", nil).is(200, &list)
	require.Equal(t, []string{"Ben", "Ben"}, []string{list.Items[0].Readings[0].By, list.Items[0].Readings[1].By})
}
