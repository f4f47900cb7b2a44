package board_test

import (
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// visit asks for a visit and its ETag.
func visit(s *webtest.Salon, id string) (v api.VisitBody, tag string) {
	h := s.Ask(http.MethodGet, "/visits/"+id, nil, http.StatusOK, &v)
	return v, h.Get("ETag")
}

// last is what the owner did last.
func last(s *webtest.Salon) *api.LastActionBody {
	var u api.UndoBody
	s.Ask(http.MethodGet, "/undo", nil, http.StatusOK, &u)
	return u.Action
}

// undone takes back what the owner did last, which has to be words.
func undone(t *testing.T, s *webtest.Salon, words string) {
	t.Helper()
	a := last(s)
	require.NotNil(t, a, words)
	require.Equal(t, words, a.Words)
	require.Empty(t, a.Why, words)
	var u api.UndoneBody
	s.Ask(http.MethodPost, "/undo", webtest.Object{"id": a.ID}, http.StatusOK, &u)
	require.Equal(t, "undone: "+words, u.Words)
	require.Nil(t, last(s), "nothing is undone twice")
}

// refuses demands that what was done last cannot be taken back.
func refuses(t *testing.T, s *webtest.Salon, why string) {
	t.Helper()
	a := last(s)
	require.NotNil(t, a)
	require.False(t, a.Possible)
	require.Contains(t, a.Why, why)
	var p api.Problem
	s.Ask(http.MethodPost, "/undo", webtest.Object{"id": a.ID}, http.StatusConflict, &p)
	require.Contains(t, p.Detail, "cannot be undone: "+a.Words)
}

// messages are what the client of a visit hears, by kind and state.
func messages(s *webtest.Salon, id string) map[string]string {
	v, _ := visit(s, id)
	out := map[string]string{}
	for _, r := range v.Reminders {
		out[r.Kind] = r.State
	}
	return out
}

func TestABookingIsUndoneQuietlyAndAMoveGoesBackToTheVeryPlace(t *testing.T) {
	s := salon(t)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, monday(10, 0))
	before, tag := visit(s, v.ID)
	require.Equal(t, "waiting", messages(s, v.ID)["confirmation"])
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/move", webtest.Object{"start": monday(34, 0), "lead_id": s.Noor}, http.StatusOK, nil, "If-Match", tag)
	moved, _ := visit(s, v.ID)
	require.Equal(t, s.Noor, moved.Services[0].LeadID)
	undone(t, s, "moved Juna K. to Tue 9 June 10:00")
	back, _ := visit(s, v.ID)
	require.Equal(t, before.Steps, back.Steps, "the same people, basins and minutes")
	require.Equal(t, before.ChairID, back.ChairID)
	require.NotContains(t, messages(s, v.ID), "moved", "she never heard of it")

	w := cut(t, s, s.Client("Mara", "Quist"), s.Ben, monday(11, 0))
	undone(t, s, "booked Mara Q. for 11:00")
	off, _ := visit(s, w.ID)
	require.Equal(t, "cancelled", off.State)
	for kind, state := range messages(s, w.ID) {
		require.NotContains(t, []string{"waiting", "sent"}, state, kind)
	}
	cut(t, s, s.Client("Ines", "Vale"), s.Ben, monday(11, 0)) // its time is free

	w = cut(t, s, s.Client("Olga", "Reed"), s.Ben, monday(12, 0))
	s.Exec(`UPDATE reminder SET state = 'sent', done_at = now() WHERE visit_id = $1 AND kind = 'confirmation'`, w.ID)
	undone(t, s, "booked Olga R. for 12:00")
	require.Equal(t, "waiting", messages(s, w.ID)["cancelled"], "she has heard of it and hears that it is off")
}

func TestACancelledVisitIsBookedAgainWhereItWasIfThatIsFree(t *testing.T) {
	s := salon(t)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, monday(10, 0))
	before, tag := visit(s, v.ID)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/cancel", nil, http.StatusOK, nil, "If-Match", tag)
	undone(t, s, "cancelled Juna K., 10:00")
	back, tag := visit(s, v.ID)
	require.Equal(t, "booked", back.State)
	require.Equal(t, before.Steps, back.Steps)
	require.Equal(t, "waiting", messages(s, v.ID)["confirmation"])
	require.NotEqual(t, "waiting", messages(s, v.ID)["cancelled"])

	s.Ask(http.MethodPost, "/visits/"+v.ID+"/cancel", nil, http.StatusOK, nil, "If-Match", tag)
	a := last(s)
	s.At(s.Now().Add(time.Second))
	d := at(t, s, store.Desk, "")
	d.get("/") // somebody else's browser has nothing to undo
	require.NotContains(t, d.page, "/undo")
	s.Exec(`DELETE FROM last_action`) // so that the next booking is not the last of the same person
	s.Straightening(s.Client("Mara", "Quist"), s.Ada, monday(10, 0))
	s.Exec(`UPDATE last_action SET kind = 'cancel', subject_id = $1, version = (SELECT version FROM visit WHERE visit_id = $1), was = '{}'`, v.ID)
	var p api.Problem
	s.Ask(http.MethodPost, "/undo", webtest.Object{"id": a.ID}, http.StatusConflict, &p)
	require.Contains(t, p.Detail, "something else was done since")
	a = last(s)
	s.Ask(http.MethodPost, "/undo", webtest.Object{"id": a.ID}, http.StatusConflict, &p)
	require.NotEmpty(t, p.Detail)
	gone, _ := visit(s, v.ID)
	require.Equal(t, "cancelled", gone.State, "nothing of it is done")
}

func TestWhatIsNotedOfADayIsUndone(t *testing.T) {
	s := salon(t)
	v := cut(t, s, s.Client("Juna", "Kestrel"), s.Ben, monday(10, 0))
	s.At(monday(9, 55))
	_, tag := visit(s, v.ID)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/arrive", webtest.Object{}, http.StatusOK, nil, "If-Match", tag)
	undone(t, s, "Juna K. is here")
	now, tag := visit(s, v.ID)
	require.Equal(t, "booked", now.State)
	require.Nil(t, now.ArrivedAt)

	tag = s.Ask(http.MethodPost, "/visits/"+v.ID+"/arrive", webtest.Object{}, http.StatusOK, nil, "If-Match", tag).Get("ETag")
	tag = s.Ask(http.MethodPost, "/visits/"+v.ID+"/arrive/undo", nil, http.StatusOK, &now, "If-Match", tag).Get("ETag")
	require.Equal(t, "booked", now.State)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/arrive/undo", nil, http.StatusConflict, nil, "If-Match", tag)

	s.At(monday(10, 0))
	tag = s.Ask(http.MethodPost, "/visits/"+v.ID+"/steps/0/start", webtest.Object{}, http.StatusOK, nil, "If-Match", tag).Get("ETag")
	s.At(monday(10, 5))
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/steps/0/finish", webtest.Object{}, http.StatusOK, &now, "If-Match", tag)
	undone(t, s, "“"+now.Steps[0].Label+"” of Juna K. is over")
	now, tag = visit(s, v.ID)
	require.Nil(t, now.Steps[0].RealEnd)
	require.NotNil(t, now.Steps[0].RealStart)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/finish", webtest.Object{}, http.StatusOK, nil, "If-Match", tag)
	refuses(t, s, "a visit that is over stays over")

	w := cut(t, s, s.Client("Mara", "Quist"), s.Ada, monday(10, 10))
	s.At(monday(10, 20))
	_, tag = visit(s, w.ID)
	s.Ask(http.MethodPost, "/visits/"+w.ID+"/miss", nil, http.StatusOK, nil, "If-Match", tag)
	undone(t, s, "Mara Q. did not come")
	now, _ = visit(s, w.ID)
	require.Equal(t, "booked", now.State)
}

func TestTimeThatWasTakenIsGivenBack(t *testing.T) {
	s := salon(t)
	s.At(monday(10, 0))
	var v api.VisitBody
	s.Ask(http.MethodPost, "/walk-ins", webtest.Object{"service_id": s.Services["Dry cut"], "given_name": "Vida"}, http.StatusCreated, &v)
	undone(t, s, "Vida walked in at "+v.Start.Format("15:04"))
	s.Ask(http.MethodPost, "/holds", webtest.Object{"start": monday(12, 0), "services": []webtest.Object{{"service_id": s.Services["Dry cut"], "lead_id": s.Ben}}, "title": "a caller"},
		http.StatusCreated, &v)
	undone(t, s, "pencilled a caller for 12:00")
	require.Empty(t, messages(s, v.ID)["cancelled"])
	s.Ask(http.MethodPost, "/kept-times", webtest.Object{"unit_ids": []string{s.Mina, s.Chairs[0]}, "start": monday(13, 0), "minutes": 30, "title": "the laundry"}, http.StatusCreated, &v)
	undone(t, s, "kept 13:00 for the laundry")
	s.Ask(http.MethodPost, "/kept-times", webtest.Object{"unit_ids": []string{s.Mina, s.Chairs[0]}, "start": monday(13, 0), "minutes": 30, "title": "the laundry"}, http.StatusCreated, &v)
	_, tag := visit(s, v.ID)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/move", webtest.Object{"start": monday(15, 0)}, http.StatusOK, nil, "If-Match", tag)
	undone(t, s, "moved the laundry to 15:00")
	now, tag := visit(s, v.ID)
	require.True(t, now.Start.Equal(monday(13, 0)))
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/cancel", nil, http.StatusOK, nil, "If-Match", tag)
	undone(t, s, "cancelled the laundry, 13:00")
	s.Ask(http.MethodPost, "/kept-times", webtest.Object{"unit_ids": []string{s.Mina}, "start": monday(13, 10), "minutes": 5, "title": "a call"}, http.StatusConflict, nil)

	s.Ask(http.MethodPost, "/waiting-list", webtest.Object{"client_id": s.Client("Juna", "Kestrel"), "first_date": "2026-06-09", "last_date": "2026-06-12",
		"services": []webtest.Object{{"service_id": s.Services["Dry cut"]}}}, http.StatusCreated, nil)
	undone(t, s, "put Juna K. on the waiting list")
}

func TestNothingIsUndoneThatIsOldOrWasChangedSince(t *testing.T) {
	s := salon(t)
	v := cut(t, s, s.Client("Juna", "Kestrel"), s.Ben, monday(10, 0))
	_, tag := visit(s, v.ID)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/extend", webtest.Object{"minutes": 5}, http.StatusOK, nil, "If-Match", tag)
	refuses(t, s, "it was changed again since")
	w := cut(t, s, s.Client("Mara", "Quist"), s.Ben, monday(12, 0))
	id := last(s).ID
	s.At(s.Now().Add(11 * time.Minute))
	require.Nil(t, last(s))
	var p api.Problem
	s.Ask(http.MethodPost, "/undo", webtest.Object{"id": id}, http.StatusConflict, &p)
	require.Contains(t, p.Detail, "more than ten minutes ago")
	now, _ := visit(s, w.ID)
	require.Equal(t, "booked", now.State)
}

func TestThePagesOfferToUndoAndSayWhyNot(t *testing.T) {
	s := salon(t)
	v := cut(t, s, s.Client("Juna", "Kestrel"), s.Ben, monday(10, 0))
	s.At(monday(9, 50))
	d := at(t, s, store.Desk, "")
	d.get("/visits/" + v.ID)
	d.send(http.StatusOK, "/visits/"+v.ID+"/arrive", url.Values{"version": {`"v1"`}, "key": {"k"}}).says("Noted: the client is here.", "Done: Juna K. is here", "Undo")
	d.undoes(http.StatusOK).says("Undone: Juna K. is here")
	now, tag := visit(s, v.ID)
	require.Equal(t, "booked", now.State)
	d.get("/")
	require.NotContains(t, d.page, `action="/undo"`)
	d.send(http.StatusOK, "/visits/"+v.ID+"/arrive", url.Values{"version": {tag}, "key": {"k2"}})
	d.get("/").says("Done: Juna K. is here")
	page := d.page
	_, tag = visit(s, v.ID)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/steps/0/start", webtest.Object{}, http.StatusOK, nil, "If-Match", tag)
	d.page = page // which somebody still has open
	d.undoes(http.StatusConflict).says("cannot be undone: Juna K. is here, it was changed again since", "Nothing was changed.")
	d.get("/").says("It cannot be undone: it was changed again since.")
	d.send(http.StatusConflict, "/undo", url.Values{"id": {"nonsense"}, "back": {"https://elsewhere.example/"}})
	require.NotContains(t, d.page, "elsewhere")
}
