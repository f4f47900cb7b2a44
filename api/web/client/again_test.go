package client_test

import (
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
)

// treated is a client whose hair was straightened in June, seen from December.
func treated(t testing.TB, s *webtest.Salon) (client string) {
	t.Helper()
	client = s.Client("Mara", "Quist")
	end := time.Date(2026, 6, 9, 13, 0, 0, 0, time.UTC)
	s.At(end)
	over(t, s, client, end.Add(-5*time.Hour), end)
	s.At(time.Date(2026, 12, 14, 9, 0, 0, 0, time.UTC))
	return client
}

func TestAClientBooksHerRetouchAsTheDeskWould(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := treated(t, s)
	v := enter(t, s, mara)
	p := v.get("/own/again").says(http.StatusOK, "Enough new hair for a retouch is expected between ", "We measure before we start", "We last saw your hair on Tuesday 9 June")
	p = v.send(p, "Look for times", "cut", "nothing", "done_since", "nothing").says(http.StatusOK, "Choose a time", "with Ada Birch", "Dry and untied until ")
	p = v.get(p.href("with Ada Birch")).says(http.StatusOK, "What you get", "Regrowth retouch", "210.00", "Hair dry and untied until ")
	v.send(p, "Book this time").says(http.StatusOK, "Booked. We look forward to seeing you", "Regrowth retouch")
	var list struct{ Items []api.VisitBody }
	s.Ask(http.MethodGet, "/visits?client_id="+mara, nil, http.StatusOK, &list)
	require.Len(t, list.Items, 2)
	require.Equal(t, "booked", list.Items[0].State)
	require.Empty(t, list.Items[0].ApprovedBy)
	require.Equal(t, s.Ada, list.Items[0].Services[0].LeadID)
	v.get("/own/again").says(http.StatusOK, "Your next treatment is booked")
}

func TestWhatNeedsALookIsARequestForACall(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := treated(t, s)
	v := enter(t, s, mara)
	p := v.get("/own/again")
	p = v.send(p, "Look for times", "cut", "nothing", "done_since", "more").says(http.StatusOK, "changes what suits it", "Ask for a call")
	v.send(p, "Ask for a call", "words", "I coloured it").says(http.StatusOK, "We have got your request", "you asked us for a call")
	var list struct{ Items []api.ClientRequestBody }
	s.Ask(http.MethodGet, "/client-requests", nil, http.StatusOK, &list)
	require.Len(t, list.Items, 1)
	require.Equal(t, "retouch", list.Items[0].Kind)
	require.Equal(t, "I coloured it", list.Items[0].Words)

	// A consultation is needed, and she has had none.
	rules(t, s, object{"needs": object{"consultation_for": "straightening", "skin_test_for": "nothing", "strand_test_for": "nothing", "consent_for": "nothing"}})
	v.send(v.get("/own/again"), "Look for times", "cut", "nothing", "done_since", "nothing").says(http.StatusOK, "Your stylist says first what suits your hair")

	// Hair that was not seen for long.
	s.At(time.Date(2027, 9, 14, 9, 0, 0, 0, time.UTC))
	v = enter(t, s, mara)
	v.get("/own/again").says(http.StatusOK, "It is long since we saw your hair")
	// Somebody new.
	visitor := enter(t, s, s.Client("Nora", "Vale"))
	visitor.get("/own/again").says(http.StatusOK, "Tell us what you would like")
}

func TestANeedThatSheCanStillMeetIsNamedBeforeBooking(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := treated(t, s)
	rules(t, s, object{"needs": object{"consultation_for": "nothing", "strand_test_for": "nothing"}, "money": object{}})
	v := enter(t, s, mara)
	p := v.send(v.get("/own/again"), "Look for times", "cut", "ends", "done_since", "nothing")
	p = v.get(p.href("Later times"))
	v.get(p.href("with Ada Birch")).says(http.StatusOK, "A deposit of 105.00", "will be asked by", "A skin test at the salon", "you give it at the salon", "until 48 hours before")
}
