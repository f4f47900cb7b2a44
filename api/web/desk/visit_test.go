package desk_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

func TestAVisitIsWorkedOnFromItsPage(t *testing.T) {
	s := newSalon(t)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, tuesday(9, 0))
	d := at(t, s, store.Desk, "")
	page := "/visits/" + v.ID
	d.get(page).says("Juna K., Tue 9 June, 09:00 to 13:15", "Straightening with Ada Birch in charge", "The visit is booked.", "Can start until", "Dry and untied until Thu 11 June, 13:15",
		"Price as booked:", "Never slide a closed iron").
		lacks("Did not come", "Arrived", "Ask the stylist")
	// Nothing that its state does not allow is offered, and nothing is asked twice.
	d.send(http.StatusOK, page+"/yes", "yes_how", "call").says("Noted: she is coming.", "She said on Mon 8 June, 08:30 that she comes")
	d.send(http.StatusOK, page+"/no-yes").says("Taken back").lacks("She said on")
	s.At(tuesday(9, 10))
	d = at(t, s, store.Desk, "")
	d.get(page).send(http.StatusOK, page+"/arrive").says("Noted: the client is here.", "The client is here since 09:10.", "What was noted", "arrived, noted by desk")
	d.send(http.StatusUnprocessableEntity, page+"/extend", "extend_minutes", "soon").says("One thing to put right", "Minutes more: this is not a whole number")
	require.Contains(t, d.page, `value="soon"`)
	d.send(http.StatusUnprocessableEntity, page+"/extend", "extend_minutes", "900").says("1 to 240", "put right")
	require.Contains(t, d.page, `value="900"`)
	require.Contains(t, d.page, `<details open><summary>It takes longer`)
	d.send(http.StatusOK, page+"/extend", "extend_minutes", "10").says("The visit lasts longer now.", "09:00 to 13:25")
}

func TestWhatSomebodyElseHasChangedIsSaidInWords(t *testing.T) {
	s := newSalon(t)
	v := cut(s, s.Client("Juna", "Kestrel"), tuesday(9, 0))
	d := at(t, s, store.Desk, "").get("/visits/" + v.ID)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/move", webtest.Object{"start": tuesday(11, 0)}, http.StatusOK, nil, "If-Match", `"v1"`)
	d.send(http.StatusPreconditionFailed, "/visits/"+v.ID+"/cancel").says("Somebody else changed it in the meantime", "11:00 to 11:30", "The visit is booked.")
	d.send(http.StatusOK, "/visits/"+v.ID+"/cancel").says("The visit is cancelled. Its time is free again.", "The visit is cancelled.")
	require.False(t, d.hasForm("/visits/"+v.ID+"/cancel"))
}

func TestWhoDidNotComeMayStillCome(t *testing.T) {
	s := newSalon(t)
	v := cut(s, s.Client("Juna", "Kestrel"), tuesday(9, 0))
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/money", webtest.Object{"kind": "received", "amount_cents": 1000, "how": "cash"}, http.StatusCreated, nil)
	s.At(tuesday(9, 25))
	page := "/visits/" + v.ID
	d := at(t, s, store.Desk, "").get(page)
	d.says("Did not come", "It counts on the client’s file", "10.00 EUR are here for it: you are asked what becomes of them")
	d.send(http.StatusOK, page+"/miss").says("Noted: did not come. The time is free again.", "10.00 EUR are here for a visit that does not take place", "Who of the waiting list fits into the freed time")
	d.send(http.StatusOK, page+"/money", "money_kind", "kept").says("The money is noted.", "kept").lacks("are here for a visit that does not take place")
	d.send(http.StatusOK, page+"/undo-miss").says("Taken back: the visit is booked again.", "The visit is booked.")
	// Meanwhile somebody else may have got the time.
	d.send(http.StatusOK, page+"/miss")
	taken := cut(s, s.Client("Orla", "Finch"), tuesday(9, 25))
	d.send(http.StatusConflict, page+"/undo-miss").says("somebody or something it needs is taken", "marked “did not come”")
	s.Ask(http.MethodPost, "/visits/"+taken.ID+"/cancel", nil, http.StatusOK, nil, "If-Match", `"v1"`)
	s.At(tuesday(9, 31))
	require.False(t, d.get(page).hasForm(page+"/undo-miss"), "its time is over")
}

func TestMoneyIsNotedAndTakenBack(t *testing.T) {
	s := newSalon(t)
	v := cut(s, s.Client("Juna", "Kestrel"), tuesday(9, 0))
	page := "/visits/" + v.ID
	d := at(t, s, store.Desk, "").get(page)
	d.send(http.StatusUnprocessableEntity, page+"/money", "money_kind", "received", "money_amount", "ten").says("“ten” is no amount. Right would be: a number such as 50.00.")
	require.Contains(t, d.page, `value="ten"`)
	d.send(http.StatusUnprocessableEntity, page+"/money", "money_kind", "received", "money_amount", "10").says("How: choose how it was received.")
	d.get(page).send(http.StatusUnprocessableEntity, page+"/money", "money_amount", "10").says("choose one of the list.")
	d.send(http.StatusOK, page+"/money", "money_kind", "received", "money_amount", "10,5", "money_how", "card").says("10.50 EUR received, card", "Here for it: 10.50 EUR")
	d.send(http.StatusOK, page+"/money-back").says("Taken back.").lacks("Here for it")
	for text, cents := range map[string]int64{"25": 2500, "25.5": 2550, "0.05": 5, " 1,00 ": 100} {
		d.get(page).send(http.StatusOK, page+"/money", "money_kind", "goodwill", "money_amount", text, "money_note", "waited")
		var m api.MoneyBody
		s.Ask(http.MethodGet, "/visits/"+v.ID+"/money", nil, http.StatusOK, &m)
		require.Equal(t, cents, m.Entries[len(m.Entries)-1].Amount, text)
	}
	for _, text := range []string{"1.234", "-3", "1e3", "1.2.3", "٣", ""} {
		d.get(page).send(http.StatusUnprocessableEntity, page+"/money", "money_kind", "deposit_asked", "money_amount", text)
	}
}

func TestTwoVisitsChangePlacesAfterALook(t *testing.T) {
	s := newSalon(t)
	v, o := cut(s, s.Client("Juna", "Kestrel"), tuesday(9, 0)), cut(s, s.Client("Orla", "Finch"), tuesday(11, 0))
	far := s.Straightening(s.Client("Mara", "Lind"), s.Ada, tuesday(14, 0))
	d := at(t, s, store.Desk, "").get("/visits/"+v.ID+"/swap").says("Orla F., 11:00 to 11:30", "Mara L., 14:00 to 18:15")
	d.get("/visits/"+v.ID+"/swap?other="+o.ID).says("Juna K.: from 09:00 to 11:00, until 11:30, with Ben Reed. She is told by mail.", "Orla F.: from 11:00 to 09:00")
	now, _ := visitNow(s, v.ID)
	require.True(t, now.Start.Equal(tuesday(9, 0)), "only looked at")
	d.send(http.StatusOK, "/visits/"+v.ID+"/swap").says("Both visits have changed places.", "11:00 to 11:30")
	now, _ = visitNow(s, o.ID)
	require.True(t, now.Start.Equal(tuesday(9, 0)))
	// What does not fit is said before anybody presses.
	s.Ask(http.MethodPost, "/kept-times", webtest.Object{"unit_ids": []string{s.Ada}, "start": tuesday(12, 0), "minutes": 60, "title": "a talk"}, http.StatusCreated, nil)
	d.get("/visits/"+v.ID+"/swap?other="+far.ID).says("Mara L. does not fit", "Ada Birch is booked")
}

func TestAnotherStylistAndVisitsThatBelongTogether(t *testing.T) {
	s := newSalon(t)
	v, o := cut(s, s.Client("Juna", "Kestrel"), tuesday(9, 0)), cut(s, s.Client("Orla", "Finch"), tuesday(9, 30))
	page := "/visits/" + v.ID
	d := at(t, s, store.Desk, "").get(page + "/lead")
	d.send(http.StatusUnprocessableEntity, page+"/lead").says("choose one of the list.")
	s.Ask(http.MethodPost, "/kept-times", webtest.Object{"unit_ids": []string{s.Noor}, "start": tuesday(9, 0), "minutes": 30, "title": "a talk"}, http.StatusCreated, nil)
	d.send(http.StatusConflict, page+"/lead", "lead", s.Noor).says("Times at which it fits", "9:30 to 10:00 with Noor Vale")
	d.send(http.StatusOK, page+"/at").says("The visit has another time now.", "with Noor Vale in charge")
	now, tag := visitNow(s, v.ID)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/move", webtest.Object{"start": tuesday(9, 0), "lead_id": s.Ben}, http.StatusOK, nil, "If-Match", tag)
	require.True(t, now.Start.After(tuesday(9, 0)))
	s.Ask(http.MethodPost, "/visits/"+o.ID+"/move", webtest.Object{"start": tuesday(9, 30), "lead_id": s.Ada}, http.StatusOK, nil, "If-Match", `"v1"`)
	d.get(page+"/lead").send(http.StatusOK, page+"/lead", "lead", s.Ada).says("Another stylist is in charge now.", "with Ada Birch in charge")
	d.get(page+"/together").send(http.StatusUnprocessableEntity, page+"/together").says("2 things to put right")
	d.send(http.StatusConflict, page+"/together", "together_with", o.ID+" 2", "together_how", "side_by_side").says("cannot belong together")
	d.send(http.StatusOK, page+"/together", "together_with", o.ID+" 2", "together_how", "one_after_other").says("The visits belong together now.", "Juna K. and Orla F.")
	d.send(http.StatusConflict, page+"/cancel").says("are the others to stay, or to be cancelled, too?")
	d.send(http.StatusOK, page+"/unlink").says("The visit stands alone now.")
	d.send(http.StatusOK, page+"/cancel").says("The visit is cancelled.")
}

func TestAWalkInIsPutOnAFile(t *testing.T) {
	s := newSalon(t)
	s.At(monday(10, 0))
	known := s.Client("Juna", "Kestrel")
	d := at(t, s, store.Desk, "").get("/walk-in").lacks("Straightening")
	d.send(http.StatusUnprocessableEntity, "/walk-in/now", "name", "Vida").says("choose one of the list.")
	require.Contains(t, d.page, `value="Vida"`)
	// When nobody is free, the first time today is offered and pencilled.
	for _, who := range []string{s.Ada, s.Noor, s.Ben} {
		s.Ask(http.MethodPost, "/kept-times", webtest.Object{"unit_ids": []string{who}, "start": monday(11, 0), "minutes": 60, "title": "a talk"}, http.StatusCreated, nil)
	}
	s.At(monday(10, 45))
	d.send(http.StatusConflict, "/walk-in/now", "service", s.Services["Dry cut"]).says("the first start today is at 12:00", "Times at which it fits")
	d.send(http.StatusOK, "/walk-in/later").says("Pencilled.", "Vida, Mon 8 June, 12:00 to 12:30")
	s.At(monday(10, 0))
	d.get("/walk-in").send(http.StatusOK, "/walk-in/now", "service", s.Services["Dry cut"], "name", "Vida").says("Vida, Mon 8 June, 10:00 to 10:30", "Noted: the client is here.", "Say which client it is")
	id := strings.TrimSuffix(strings.SplitN(strings.SplitN(d.page, `action="/visits/`, 2)[1], `"`, 2)[0], "/extend")
	id = strings.SplitN(id, "/", 2)[0]
	d.get("/visits/" + id + "/client?q=kes").says("Juna Kestrel")
	d.send(http.StatusOK, "/visits/"+id+"/client", "client", known).says("The visit is on the client’s file now.", "Juna K.’s page")
}

func TestAWalkInIsNotSeatedForWhatNeedsASkinTest(t *testing.T) {
	s := newSalon(t)
	s.At(monday(10, 0))
	tag := s.Ask(http.MethodGet, "/booking-rules", nil, http.StatusOK, nil).Get("ETag")
	s.Ask(http.MethodPut, "/booking-rules", webtest.Object{"hold_minutes": 10, "needs": webtest.Object{"skin_test_for": "chemical"}}, http.StatusOK, nil, "If-Match", tag)
	d := at(t, s, store.Desk, "").get("/walk-in")
	d.send(http.StatusUnprocessableEntity, "/walk-in/now", "service", s.Services["Root colour"], "name", "Vida").says("This needs a skin test beforehand: book it under her name")
	d.get("/walk-in").send(http.StatusOK, "/walk-in/now", "service", s.Services["Dry cut"], "name", "Vida").says("Noted: the client is here.")
}

func TestWhatIsStillNeededIsBroughtFromThePage(t *testing.T) {
	s := newSalon(t)
	client := s.Client("Juna", "Kestrel")
	var rules map[string]any
	tag := s.Ask(http.MethodGet, "/booking-rules", nil, http.StatusOK, &rules).Get("ETag")
	delete(rules, "assisted_against_rule")
	rules["needs"] = map[string]any{"consultation_for": "chemical", "skin_test_for": "chemical", "strand_test_for": "nothing", "deposit_for": "nothing", "guardian_for": "nothing", "consent_for": "chemical"}
	s.Ask(http.MethodPut, "/booking-rules", rules, http.StatusOK, nil, "If-Match", tag)
	v := s.Straightening(client, s.Ada, monday(9, 0).AddDate(0, 0, 8))
	page := "/visits/" + v.ID
	d := at(t, s, store.Desk, "").get(page).says("Still needed", "A skin test", "Note the consent", "A skin test was put on", "The licensed person lets it begin without")
	d.send(http.StatusUnprocessableEntity, page+"/skin-test", "test_product", "Soft Wave", "test_strength", "N", "test_place", "inner_elbow").says("is missing, and the token is nobody's own")
	require.Contains(t, d.page, `value="Soft Wave"`)
	d.send(http.StatusOK, page+"/skin-test", "test_by", "Mina Frost").says("Noted.")
	d.get(page + "/consent").says("I agree to the treatment")
	d.send(http.StatusUnprocessableEntity, page+"/consent", "consent_by", "Juna Kestrel").says("choose one of the list.")
	pressed := d.form(page + "/consent")
	pressed.Set("consent_by", "Juna Kestrel")
	pressed.Set("consent_how", "present")
	pressed.Set("consent_taken_by", "Ada Birch")
	for range 2 { // a double press
		d.sees(d.v.Post(page+"/consent", pressed))
		d.says("The consent is noted.")
	}
	var consents struct{ Items []any }
	s.Ask(http.MethodGet, "/clients/"+v.ClientID+"/consents", nil, http.StatusOK, &consents)
	require.Len(t, consents.Items, 1)
	d.send(http.StatusUnprocessableEntity, page+"/override", "override_by", "Ada Birch").says("choose one of the list.")
	d.send(http.StatusOK, page+"/override", "override_kind", "consultation", "override_by", "Ada Birch", "override_reason", "tested last month").says("the visit may begin without it", "let go by Ada Birch")
	require.NotContains(t, d.page, "tested last month", "reasons are the stylist's and the owner's to read")
}

func TestAMessageOfAVisitIsNotSent(t *testing.T) {
	s := newSalon(t)
	v := cut(s, s.Client("Juna", "Kestrel"), monday(9, 0).AddDate(0, 0, 9))
	d := at(t, s, store.Desk, "").get("/visits/"+v.ID).says("Messages", "waits for its time")
	d.send(http.StatusOK, "/visits/"+v.ID+"/lay-aside").says("The message is laid aside.", "laid aside by desk: not to be sent")
	require.False(t, at(t, s, store.LeadRole, s.Ben).get("/visits/"+v.ID).hasForm("/visits/"+v.ID+"/lay-aside"), "the desk's to decide")
}

func TestEverybodySeesOfAVisitWhatTheirRoleMay(t *testing.T) {
	s := newSalon(t)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, tuesday(9, 0))
	page := "/visits/" + v.ID
	s.At(tuesday(9, 5))
	d := at(t, s, store.AssistantRole, s.Mina).get(page).says("Juna K.", "Steps").lacks("Money", "Price as booked", "Cancel", "What was noted")
	require.True(t, d.hasForm(page+"/arrive"))
	require.False(t, d.hasForm(page+"/miss"))
	d.sees(d.v.Post(page+"/cancel", map[string][]string{"version": {`"v1"`}}))
	require.Equal(t, http.StatusForbidden, d.status)
	require.True(t, at(t, s, store.LeadRole, s.Ada).get(page).hasForm(page+"/cancel"))
	now, _ := visitNow(s, v.ID)
	require.Equal(t, "booked", now.State)
	d.sees(d.v.Get("/visits/none"))
	require.Equal(t, http.StatusNotFound, d.status)
}

func TestATimeOfAClockChangeDayIsSaidToThePerson(t *testing.T) {
	s := newSalon(t)
	var week []webtest.Object
	for day := 1; day <= 7; day++ {
		week = append(week, webtest.Object{"weekday": day, "from": "00:00", "to": "24:00"})
	}
	tag := s.Ask(http.MethodGet, "/hours", nil, http.StatusOK, nil).Get("ETag")
	s.Ask(http.MethodPut, "/hours", webtest.Object{"open": week}, http.StatusOK, nil, "If-Match", tag)
	tag = s.Ask(http.MethodGet, "/staff/"+s.Mina+"/hours", nil, http.StatusOK, nil).Get("ETag")
	s.Ask(http.MethodPut, "/staff/"+s.Mina+"/hours", webtest.Object{"work": week, "breaks": []webtest.Object{}}, http.StatusOK, nil, "If-Match", tag)
	s.At(time.Date(2026, 10, 23, 9, 0, 0, 0, time.UTC))
	d := at(t, s, store.Desk, "").get("/keep")
	d.send(http.StatusUnprocessableEntity, "/keep", "title", "the new dryer", "minutes", "20", "date", "2027-03-28", "from", "01:30", "units", s.Mina).
		says("There is no 01:30 on Sun 28 March 2027: the clocks go from 01:00 to 02:00.")
	d.send(http.StatusOK, "/keep", "date", "2026-10-25", "from", "01:30", "units", s.Mina).
		says("The time is kept. That time comes twice on that day, because the clocks go back: the first of the two is meant.")
	var visits struct{ Items []api.VisitBody }
	s.Ask(http.MethodGet, "/visits?first_date=2026-10-25&last_date=2026-10-25", nil, http.StatusOK, &visits)
	require.Len(t, visits.Items, 1)
	require.Equal(t, "2026-10-25T00:30:00Z", visits.Items[0].Start.UTC().Format(time.RFC3339))
}

func TestKeptTimeIsNamedAndCancelled(t *testing.T) {
	s := newSalon(t)
	d := at(t, s, store.Desk, "").get("/keep")
	d.send(http.StatusUnprocessableEntity, "/keep", "title", "the new dryer", "from", "").says("Tick at least one person or place.", "Day or time is missing")
	require.Contains(t, d.page, `value="the new dryer"`)
	d.send(http.StatusOK, "/keep", "from", "14:00", "units", s.Mina).says("The time is kept.", "the new dryer, Mon 8 June, 14:00 to 14:20", "Kept: Mina Frost.").lacks("Steps", "Money", "Messages")
	at := d.page
	id := strings.SplitN(strings.SplitN(at, `action="/visits/`, 2)[1], "/", 2)[0]
	d.get("/keep").send(http.StatusConflict, "/keep", "title", "again", "from", "14:10", "units", s.Mina).says("Mina Frost is booked")
	d.get("/visits/"+id).send(http.StatusOK, "/visits/"+id+"/cancel").says("It is cancelled.")
}

var hostile = []string{`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, "' style='x' onmouseover='y", "\u202eevil\u202c", "<!-- -->"}

func TestHostileWordsStayText(t *testing.T) {
	s := newSalon(t)
	s.At(tuesday(8, 0))
	for _, word := range hostile {
		client := s.Client(word, word)
		v := cut(s, client, tuesday(9, 0))
		s.Ask(http.MethodPut, "/clients/"+client, webtest.Object{"given_name": word, "family_name": word, "note": word, "phone": "+442079460018", "contact_by": "call"}, http.StatusOK, nil, "If-Match", `"v1"`)
		d := at(t, s, store.Desk, "")
		for _, path := range []string{"/visits/" + v.ID, "/to-do", "/late", "/clients/" + client, "/clients/" + client + "/edit", "/waiting/new?client=" + client, "/rearrange"} {
			d.get(path)
			for _, bad := range []string{"<script>", "<img", "<!-- -->", "onmouseover='y'", "\u202e"} {
				if bad == "\u202e" && strings.HasSuffix(path, "/edit") {
					continue // what was typed stands in its field as it was
				}
				require.NotContains(t, d.page, bad, "%s with %q", path, word)
			}
		}
		d.get("/visits/"+v.ID).send(http.StatusUnprocessableEntity, "/visits/"+v.ID+"/money", "money_kind", "goodwill", "money_amount", "1", "money_note", strings.Repeat("é", 600)+word)
		require.NotContains(t, d.page, "<script>")
		s.Ask(http.MethodPost, "/visits/"+v.ID+"/cancel", nil, http.StatusOK, nil, "If-Match", `"v1"`)
	}
}
