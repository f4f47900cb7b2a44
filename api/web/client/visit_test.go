package client_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
)

func TestTheFirstPageSaysWhatWhenWhereAndWhy(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	start := time.Date(2026, 6, 16, 8, 0, 0, 0, time.UTC) // nine in London
	x := s.Straightening(mara, s.Ada, start)
	s.Ask(http.MethodPost, "/visits/"+x.ID+"/money", object{"kind": "deposit_asked", "amount_cents": 5000, "by": "2026-06-14T09:00:00+01:00"}, http.StatusCreated, nil)
	v := enter(t, s, mara)
	p := v.get("/own").says(http.StatusOK, "Your next visit", "Tuesday 16 June, 09:00 to about ", "Harbour Chairs", "Straightening", "Ada Birch",
		"50.00 ", "please by Sunday 14 June, 09:00", "Hair dry and untied until Thursday 18 June, ", "How to prepare", "no hair tie",
		"How long it takes, and why", "your hair is 35 cm long", "thin layers for the iron", "Most such visits take between ", "Drying and ironing: ",
		"All times are those of the salon (Europe/London)", "442079460018")
	require.NotContains(t, p.text, "Chair 1", "which chair is no matter for her")
	require.NotContains(t, p.text, "Mina")
	p = v.send(p, "Yes, I am coming").says(http.StatusOK, "we look forward to seeing you", "you told us that you are coming")
	require.NotNil(t, visitOf(s, x.ID).SaidYesAt)
	require.Equal(t, "/own?done=yes", p.path)
	v.get("/own?done=%3Cscript%3E").says(http.StatusOK)
}

func TestAYesToAnOldTimeIsNone(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	x := s.Straightening(mara, s.Ada, time.Date(2026, 6, 16, 8, 0, 0, 0, time.UTC))
	v := enter(t, s, mara)
	v.post("/own/visits/"+x.ID+"/yes", url.Values{"start": {"2026-06-15T08:00:00Z"}}).says(http.StatusUnprocessableEntity, "your visit has another time now")
	require.Nil(t, visitOf(s, x.ID).SaidYesAt)
}

func TestAClientCancelsByTheSalonsRules(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	early := s.Straightening(mara, s.Ada, webtest.Start.Add(8*24*time.Hour+time.Hour))
	late := s.Straightening(mara, s.Ada, webtest.Start.Add(25*time.Hour))
	for _, x := range []api.VisitBody{early, late} {
		s.Ask(http.MethodPost, "/visits/"+x.ID+"/money", object{"kind": "received", "how": "card", "amount_cents": 4000}, http.StatusCreated, nil)
	}
	v := enter(t, s, mara)

	p := v.get("/own/visits/"+early.ID+"/cancel").says(http.StatusOK, "You paid 40.00", "more than 48 hours before", "I would like it back")
	v.post("/own/visits/"+early.ID+"/cancel", url.Values{"start": {early.Start.UTC().Format(time.RFC3339)}}).says(http.StatusUnprocessableEntity, "Choose what becomes of what you paid")
	require.Equal(t, "booked", visitOf(s, early.ID).State, "nothing is half done")
	v.send(p, "Cancel this visit", "deposit", "carried_over").says(http.StatusOK, "Cancelled.")
	require.Equal(t, "cancelled", visitOf(s, early.ID).State)
	v.get("/own/visits/"+early.ID+"/cancel").says(http.StatusOK, "Nothing can be changed")

	p = v.get("/own/visits/"+late.ID+"/cancel").says(http.StatusOK, "until 48 hours before", "Ask to cancel")
	v.post("/own/visits/"+late.ID+"/cancel", url.Values{"start": {late.Start.UTC().Format(time.RFC3339)}}).says(http.StatusConflict, "too late for that by yourself")
	v.send(p, "Ask to cancel", "words", "a fever <script>alert(1)</script>").says(http.StatusOK, "you asked us to cancel this visit")
	require.Equal(t, "booked", visitOf(s, late.ID).State)

	var list api.ToDoList
	s.Ask(http.MethodGet, "/to-do", nil, http.StatusOK, &list)
	require.Len(t, list.Requests, 2)
	require.Equal(t, "deposit", list.Requests[0].Kind)
	require.Contains(t, list.Requests[0].Words, "kept for another visit")
	require.Equal(t, "cancel", list.Requests[1].Kind)
	require.Equal(t, "a fever <script>alert(1)</script>", list.Requests[1].Words)
	require.Equal(t, "Mara Quist", list.Requests[1].Name)
	require.Equal(t, "asks to cancel the visit of Tue 9 June 09:30", list.Requests[1].Text)
	var r api.ClientRequestBody
	s.Ask(http.MethodPost, "/client-requests/"+list.Requests[1].ID+"/settle", object{"outcome": "declined", "note": "she comes after all"}, http.StatusOK, &r)
	require.Equal(t, "declined", r.Outcome)
	s.Ask(http.MethodPost, "/client-requests/"+r.ID+"/settle", object{"outcome": "done"}, http.StatusConflict, nil)
	require.NotContains(t, v.get("/own").text, "asked us to cancel")
}

func TestAPencilledTimeIsGivenBack(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	var x api.VisitBody
	s.Ask(http.MethodPost, "/holds", object{"client_id": mara, "start": webtest.Start.Add(26 * time.Hour), "minutes": 600,
		"services": []object{{"service_id": s.Services["Dry cut"], "lead_id": s.Ben}}}, http.StatusCreated, &x)
	v := enter(t, s, mara)
	p := v.get("/own").says(http.StatusOK, "Pencilled in for you", "We keep this time for you until Monday 8 June, 18:30")
	p = v.get(p.href("Give this time back"))
	v.send(p, "Give this time back").says(http.StatusOK, "Cancelled.", "No visit is booked")
	require.Equal(t, "cancelled", visitOf(s, x.ID).State)
}

func TestTheSalonSaysWhoChangesVisits(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	x := s.Straightening(mara, s.Ada, webtest.Start.Add(25*time.Hour))
	v := enter(t, s, mara)
	rules(t, s, object{"client_may_cancel_hours": 12, "client_may_move_hours": nil})
	v.get("/own/visits/"+x.ID+"/cancel").says(http.StatusOK, "Cancel this visit")
	v.get("/own/visits/"+x.ID+"/move").says(http.StatusOK, "Tell us, and we will get in touch")
	var have struct {
		Cancel *int `json:"client_may_cancel_hours"`
		Move   *int `json:"client_may_move_hours"`
	}
	s.Ask(http.MethodGet, "/booking-rules", nil, http.StatusOK, &have)
	require.Equal(t, 12, *have.Cancel)
	require.Nil(t, have.Move)
}

func TestARequestThatIsTooLongComesBackWithItsFormAndItsWords(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	x := s.Straightening(mara, s.Ada, webtest.Start.Add(25*time.Hour))
	v := enter(t, s, mara)
	rules(t, s, object{"client_may_cancel_hours": nil, "client_may_move_hours": nil})
	for page, button := range map[string]string{"move": "Ask for another time", "cancel": "Ask to cancel"} {
		p := v.get("/own/visits/"+x.ID+"/"+page).says(http.StatusOK, button)
		require.Contains(t, p.text, `maxlength="500"`, "a browser takes no more")
		back := v.send(p, button, "words", strings.Repeat("mornings ", 70)).says(http.StatusUnprocessableEntity, "This is too long: at most 500 characters", button)
		require.Contains(t, back.text, strings.Repeat("mornings ", 60), "what was written is there to be cut")
		v.send(back, button, "words", page+" please").says(http.StatusOK, "you asked us")
	}
}

func TestAClientMovesHerVisitAndSeesFirstWhatFollows(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	x := s.Straightening(mara, s.Ada, webtest.Start.Add(8*24*time.Hour+time.Hour))
	s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, webtest.Start.Add(25*time.Hour))
	v := enter(t, s, mara)
	p := v.get("/own/visits/"+x.ID+"/move").says(http.StatusOK, "Choose a time", "with Ada Birch", "Dry and untied until ")
	require.NotContains(t, p.text, "Noor", "she keeps her stylist")
	require.NotContains(t, p.text, "Monday 8 June", "nothing of today")
	any := v.send(p, "Look again", "any", "true").says(http.StatusOK, "with Noor Vale")
	p = v.get(any.href("with Noor Vale")).says(http.StatusOK, "What you get", "Noor Vale", "The price stays at 320.00", "Hair dry and untied until ")
	require.Equal(t, x.Start.UTC(), visitOf(s, x.ID).Start.UTC(), "looking changes nothing")
	v.send(p, "Take this time instead").says(http.StatusOK, "Moved.", "Noor Vale")
	moved := visitOf(s, x.ID)
	require.NotEqual(t, x.Start.UTC(), moved.Start.UTC())
	require.Equal(t, s.Noor, moved.Services[0].LeadID)
	// The same once more: the page was about another time.
	v.send(p, "Take this time instead").says(http.StatusUnprocessableEntity, "your visit has another time now")
}

func TestATimeThatIsTakenMeanwhileIsSaidSo(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	x := s.Straightening(mara, s.Ada, webtest.Start.Add(8*24*time.Hour+time.Hour))
	v := enter(t, s, mara)
	p := v.get("/own/visits/" + x.ID + "/move")
	p = v.get(p.href("with Ada Birch")).says(http.StatusOK, "Take this time instead")
	u, err := url.Parse(p.path)
	require.NoError(t, err)
	start, err := time.Parse(time.RFC3339, u.Query().Get("start"))
	require.NoError(t, err)
	s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, start)
	v.send(p, "Take this time instead").says(http.StatusConflict, "That time has just been taken", "Choose a time")
	require.Equal(t, x.Start.UTC(), visitOf(s, x.ID).Start.UTC())
	v.get(p.path).says(http.StatusOK, "That time has just been taken")
}

func TestVisitsThatBelongTogetherAreTheSalonsToPart(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara, juna := s.Client("Mara", "Quist"), s.Client("Juna", "Kestrel")
	var g struct{ Visits []api.VisitBody }
	s.Ask(http.MethodPost, "/visit-groups", object{"how": "side_by_side", "visits": []object{
		{"book": object{"client_id": mara, "start": webtest.Start.Add(8*24*time.Hour + time.Hour), "services": []object{{"service_id": s.Services["Dry cut"], "lead_id": s.Ben}}}},
		{"book": object{"client_id": juna, "start": webtest.Start.Add(8*24*time.Hour + time.Hour), "services": []object{{"service_id": s.Services["Dry cut"], "lead_id": s.Ada}}}}}}, http.StatusCreated, &g)
	v := enter(t, s, mara)
	id := g.Visits[0].ID
	v.get("/own/visits/"+id+"/cancel").says(http.StatusOK, "belongs together with another one")
	v.post("/own/visits/"+id+"/cancel", url.Values{"start": {g.Visits[0].Start.UTC().Format(time.RFC3339)}}).says(http.StatusConflict)
}

func TestWhatIsStillNeededIsSaidWithWhatToDo(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	rules(t, s, object{"needs": object{"consultation_for": "nothing", "strand_test_for": "nothing"}})
	x := s.Straightening(mara, s.Ada, webtest.Start.Add(8*24*time.Hour+time.Hour))
	v := enter(t, s, mara)
	v.get("/own").says(http.StatusOK, "Still needed before we can start", "A skin test at the salon, by ", "it takes five minutes",
		"you give it at the salon before we begin", "I agree to the treatment")
	s.Ask(http.MethodPost, "/clients/"+mara+"/skin-tests", object{"product": "Soft Wave", "strength": "N", "place": "inner_elbow", "by": s.Ada}, http.StatusCreated, nil)
	p := v.get("/own").says(http.StatusOK, "Your skin test is on these pages when you open them by the link in a message")
	require.NotContains(t, p.text, "Soft Wave", "the salon has made the link")
	enterByMessage(t, s, x.ID).get("/own").says(http.StatusOK, "Your skin test with Soft Wave N was put on your skin on Monday 8 June, 08:30. It can be read from Tuesday 9 June, 08:30 on")
}
