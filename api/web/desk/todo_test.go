package desk_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// caller is a client who wishes to be called.
func caller(s *webtest.Salon, given, family string) string {
	var c api.ClientBody
	s.Ask(http.MethodPost, "/clients", webtest.Object{"given_name": given, "family_name": family, "phone": "+44 20 7946 0018", "contact_by": "call"}, http.StatusCreated, &c)
	return c.ID
}

// becomes makes the first message of a visit look as if it had been tried.
func becomes(s *webtest.Salon, v api.VisitBody, state store.ReminderState, problem string) string {
	id := v.Reminders[0].ID
	if state == store.ToCall { // who has waited for the visit does not know of it
		var w api.WishBody
		day := v.Start.Format(time.DateOnly)
		s.Ask(http.MethodPost, "/waiting-list", webtest.Object{"client_id": v.ClientID, "services": []webtest.Object{{"service_id": v.Services[0].ServiceID}}, "first_date": day, "last_date": day},
			http.StatusCreated, &w)
		s.Exec(`UPDATE wish SET visit_id = $1, state = 'booked' WHERE wish_id = $2`, v.ID, w.ID)
	}
	s.Exec(`UPDATE reminder SET state = $1, problem = $2, done_at = now(), due_at = least(due_at, now()) WHERE reminder_id = $3`, string(state), problem, id)
	return id
}

func TestCallsAreMadeFromTheList(t *testing.T) {
	s := newSalon(t)
	v := cut(s, caller(s, "Juna", "Kestrel"), tuesday(9, 0))
	id := becomes(s, v, store.ToCall, "")
	d := at(t, s, store.Desk, "").get("/to-do").says("Calls to make (1)", "Juna Kestrel +44 20 7946 0018", "Dry cut, Tue 9 June, 09:00, with Ben Reed", "Harbour Chairs")
	require.Contains(t, d.page, `href="tel:&#43;442079460018"`)
	try := func(status int, back, outcome string, typed ...string) *person {
		d.get(back)
		f := d.form("/calls/" + id + "/tries")
		f.Set("outcome", outcome)
		for i := 0; i+1 < len(typed); i += 2 {
			f.Set(typed[i], typed[i+1])
		}
		d.sees(d.v.Post("/calls/"+id+"/tries", f))
		require.Equal(t, status, d.status, d.text())
		return d
	}
	try(http.StatusUnprocessableEntity, "/calls", "no_answer", "note-"+id, strings.Repeat("x", 301)).says("Note: has 301 characters")
	require.Contains(t, d.page, strings.Repeat("x", 301), "what was typed stays")
	try(http.StatusOK, "/calls", "no_answer", "again-"+id, "14:30", "note-"+id, "rang out").says("Noted: no answer.", "Again at Mon 8 June, 14:30", "no answer, desk (rang out)")
	try(http.StatusOK, "/to-do", "no_answer", "again-"+id, "08:00").says("Again at Tue 9 June, 08:00")
	try(http.StatusOK, "/to-do", "reached").says("Noted: reached.", "Nobody is to be called.")
	d.sees(d.v.Post("/calls/"+id+"/tries", url.Values{"outcome": {"reached"}, "key": {"later"}}))
	require.Equal(t, http.StatusConflict, d.status)
	d.says("There is no call to make because of this message")
}

func TestMessagesThatFailedAreSentAgainOrLaidAside(t *testing.T) {
	s := newSalon(t)
	a, b := cut(s, s.Client("Juna", "Kestrel"), tuesday(9, 0)), cut(s, s.Client("Orla", "Finch"), tuesday(10, 0))
	s.Exec(`UPDATE reminder SET due_at = now() + interval '1 day' WHERE state = 'waiting'`)
	first, second := becomes(s, a, store.Failed, "the mailbox is full"), becomes(s, b, store.Failed, "there is no such address")
	d := at(t, s, store.Desk, "").get("/to-do").says("Messages that failed or hang (2)", "Booking confirmed for Juna K. , visit of Tue 9 June, 09:00", "The mailbox is full")
	d.send(http.StatusOK, "/messages/"+first+"/again").says("The message is in line again.", "Messages that failed or hang (1)")
	d.send(http.StatusUnprocessableEntity, "/messages/"+second+"/lay-aside").says("Why: say why it is laid aside.")
	d.send(http.StatusUnprocessableEntity, "/messages/"+second+"/lay-aside", "why-"+second, strings.Repeat("y", 121)).says("Why: ")
	require.Contains(t, d.page, strings.Repeat("y", 121))
	d.send(http.StatusOK, "/messages/"+second+"/lay-aside", "why-"+second, "told her on the telephone").says("The message is laid aside.", "Messages that failed or hang (0)")
	d.get("/messages?state=withdrawn").says("Laid aside by desk: told her on the telephone", "Taken back")
	d.sees(d.v.Get("/messages?first_date=2026-06-10&last_date=2026-06-09"))
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	d.says("Due until: lies before first_date")
	d.sees(d.v.Post("/messages/"+second+"/lay-aside", url.Values{"why-" + second: {"once more"}}))
	require.Equal(t, http.StatusConflict, d.status)
	require.NotContains(t, at(t, s, store.LeadRole, s.Ada).get("/to-do").page, "Messages that failed or hang")
}

func TestMessagesArePaged(t *testing.T) {
	s := newSalon(t)
	for i := range 14 {
		s.Straightening(s.Client(fmt.Sprintf("Ines%d", i), "Wren"), s.Ada, tuesday(9, 0).AddDate(0, 0, 7*i+7))
	}
	d := at(t, s, store.Desk, "").get("/messages?state=waiting")
	require.Equal(t, 50, strings.Count(d.page, `due `)-strings.Count(d.page, "due until"))
	d.get(attributes(regexp.MustCompile(`<a href="/messages\?cursor[^>]*>`).FindString(d.page))["href"]).says("First page")
}

func TestWhatIsStillNeededStandsOnTheList(t *testing.T) {
	s := newSalon(t)
	rules := map[string]any{}
	tag := s.Ask(http.MethodGet, "/booking-rules", nil, http.StatusOK, &rules).Get("ETag")
	delete(rules, "assisted_against_rule")
	rules["needs"] = map[string]any{"consultation_for": "nothing", "skin_test_for": "nothing", "strand_test_for": "nothing", "deposit_for": "nothing", "guardian_for": "nothing", "consent_for": "chemical"}
	s.Ask(http.MethodPut, "/booking-rules", rules, http.StatusOK, nil, "If-Match", tag)
	v := s.Straightening(caller(s, "Juna", "Kestrel"), s.Ada, tuesday(9, 0).AddDate(0, 0, 7))
	d := at(t, s, store.Desk, "").get("/to-do").says("Still needed (1)", "Juna Kestrel , Tue 16 June, 09:00", "+44 20 7946 0018")
	require.Contains(t, d.page, `href="/visits/`+v.ID+`"`)
}

func TestALateDayIsMendedFromThePage(t *testing.T) {
	s := newSalon(t)
	first := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, tuesday(9, 0))
	next := cut(s, s.Client("Orla", "Finch"), tuesday(13, 30))
	s.Ask(http.MethodPost, "/visits/"+next.ID+"/move", webtest.Object{"lead_id": s.Ada}, http.StatusOK, nil, "If-Match", `"v1"`)
	s.At(tuesday(10, 0))
	s.Ask(http.MethodPost, "/visits/"+first.ID+"/arrive", webtest.Object{}, http.StatusOK, nil, "If-Match", `"v1"`)
	d := at(t, s, store.Desk, "").get("/to-do").says("Late now", "Juna K. arrived", "begins 60 minutes late", "What would help").lacks("They agreed")
	d.get("/late").says("Late: Tue 9 June", "Orla F. booked 13:30 to 14:00", "What would help").lacks("They agreed")
	require.Contains(t, d.page, `href="/late?date=2026-06-09&amp;help=yes#help"`)
	d.get("/late?date=2026-06-10&help=yes").says("Nobody is late.").lacks("What would help")
	d.sees(d.v.Get("/late?date=2026-06-01"))
	d.says("Is over", "today or a later day")
	if d.get("/late"); d.hasForm("/late/tell") {
		d.send(http.StatusOK, "/late/tell").says("She will be told that the visit begins late.")
	}
	f := d.get("/late?help=yes").form("/late/apply", "They agreed: do it")
	d.sees(d.v.Post("/late/apply", f))
	require.Equal(t, http.StatusOK, d.status, d.text())
	d.says("Done.")
	// What was worked out for a day that has changed is not carried out.
	d.sees(d.v.Post("/late/apply", f))
	require.Equal(t, http.StatusConflict, d.status)
	d.says("The day has changed since the remedy was given")
	f.Set("as_of", "now")
	d.sees(d.v.Post("/late/apply", f))
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
}

func TestPagesOfADayNameADayThatIsNone(t *testing.T) {
	s := newSalon(t)
	d := at(t, s, store.Desk, "")
	for _, path := range []string{"/late?date=tomorrow", "/rearrange?date=tomorrow"} {
		d.sees(d.v.Get(path))
		require.Contains(t, []int{http.StatusOK, http.StatusUnprocessableEntity}, d.status, path)
		require.NotContains(t, d.text(), "went wrong", path)
	}
}

func TestTheOwnerIsToldFromWhenOnTermsCountThatNobodyHasSeenTo(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	const words = "From Wed 8 July 2026 on, what is older than your terms is erased for good"
	erasing := func() *api.ErasingToDo {
		var list api.ToDoList
		s.Ask(http.MethodGet, "/to-do", nil, http.StatusOK, &list)
		return list.Erasing
	}
	owner, atDesk := at(t, s, store.Owner, ""), at(t, s, store.Desk, "")
	require.Nil(t, erasing(), "of a new salon there is nothing to go")
	// As an upgrade leaves a salon that was there before.
	s.Exec(`INSERT INTO retention_rule SELECT salon_id, 36, 12, 120, 14, 12, 3, 12, 36, '2026-07-08', 2, NULL FROM salon`)
	require.Equal(t, &api.ErasingToDo{From: "2026-07-08", Words: words}, erasing())
	require.Contains(t, owner.get("/to-do").says(words).page, `href="/set-up/keeping"`)
	atDesk.get("/to-do").lacks(words)

	s.At(time.Date(2026, 7, 8, 1, 0, 0, 0, time.UTC))
	require.Nil(t, erasing(), "the day has come")
	s.At(webtest.Start)
	var terms json.RawMessage
	tag := s.Ask(http.MethodGet, "/retention", nil, http.StatusOK, &terms).Get("ETag")
	s.Ask(http.MethodPut, "/retention", terms, http.StatusOK, nil, "If-Match", tag)
	require.Nil(t, erasing(), "she has seen to them, without changing any")

	// After a backup was read back the terms may be old ones.
	s.Exec(`UPDATE salon SET erase_from = '2026-07-12'`)
	require.Equal(t, "2026-07-12", erasing().From)
}
