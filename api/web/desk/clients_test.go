package desk_test

import (
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

func TestAClientIsFoundAddedAndChanged(t *testing.T) {
	s := newSalon(t)
	d := at(t, s, store.Desk, "").get("/clients").says("Name or telephone number", "New client")
	d.get("/clients/new").send(http.StatusUnprocessableEntity, "/clients/new", "given_name", "Juna", "phone", "12", "note", strings.Repeat("z", 600)).says("2 things to put right", "Telephone: ", "Good to know: has 600 characters")
	require.Contains(t, d.page, strings.Repeat("z", 600), "what was typed stays")
	d.send(http.StatusOK, "/clients/new", "family_name", "Kestrel", "phone", "+44 20 7946 0018", "note", "brings\na child", "contact_by", "call").says("Added.", "Juna Kestrel", "+44 20 7946 0018", "Good to know: brings a child", "She is reached by telephone")
	id := strings.SplitN(strings.SplitN(d.page, `href="/clients/`, 2)[1], "/", 2)[0]
	for _, q := range []string{"kes", "Juna K", "946 0018", "+442079460018"} {
		d.get("/clients").send(http.StatusOK, "/clients", "q", q).says("Juna Kestrel")
	}
	d.get("/clients").send(http.StatusOK, "/clients", "q", "nobody").says("Nobody is found by that.")
	// Two at once: the later one hears of the other and keeps what she typed.
	d.get("/clients/" + id + "/edit")
	s.Ask(http.MethodPut, "/clients/"+id, webtest.Object{"given_name": "Juna", "family_name": "Kestrel-Finch"}, http.StatusOK, nil, "If-Match", `"v1"`)
	d.send(http.StatusPreconditionFailed, "/clients/"+id+"/edit", "note", "prefers quiet").says("Somebody else changed it in the meantime")
	require.Contains(t, d.page, "prefers quiet")
	d.send(http.StatusOK, "/clients/"+id+"/edit").says("Saved.", "prefers quiet")
	other := s.Client("Juna", "Kestrel")
	d.get("/clients/" + other).says("Perhaps the same person: Juna Kestrel (same name)")
	require.False(t, d.hasForm("/clients/"+other+"/delete"), "the owner's")
	at(t, s, store.Owner, "").get("/clients/"+other).send(http.StatusOK, "/clients/"+other+"/delete").says("Name or telephone number")
}

func TestAClientPageTellsVisitsMoneyAndHair(t *testing.T) {
	s := newSalon(t)
	client := s.Client("Juna", "Kestrel")
	v := s.Straightening(client, s.Ada, tuesday(9, 0).AddDate(0, 0, 7))
	gone := cut(s, client, tuesday(9, 0))
	s.Ask(http.MethodPost, "/visits/"+gone.ID+"/money", webtest.Object{"kind": "received", "amount_cents": 1500, "how": "cash"}, http.StatusCreated, nil)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/money", webtest.Object{"kind": "deposit_asked", "amount_cents": 5000}, http.StatusCreated, nil)
	s.Ask(http.MethodPost, "/visits/"+gone.ID+"/cancel", nil, http.StatusOK, nil, "If-Match", `"v1"`)
	s.Ask(http.MethodPost, "/clients/"+client+"/heads", webtest.Object{"measured_on": "2026-06-01", "hair": webtest.Hair()}, http.StatusCreated, nil)
	d := at(t, s, store.Desk, "").get("/clients/"+client).says("15.00 EUR are here for visits that did not take place", "Deposits of 50.00 EUR are asked and not here", "Tue 16 June 2026, 09:00",
		"Straightening, with Ada Birch", "deposit of 50.00 EUR not here", "15.00 EUR are here: decide", "Mon 1 June 2026: stretched 35 cm, average amount, each hair medium, takes up liquid as usual").lacks("thick")
	require.Contains(t, d.page, `href="/visits/`+v.ID+`"`)
	require.NotContains(t, at(t, s, store.Desk, "").get("/clients/"+client).page, "cards.html", "the desk exports no cards")
	require.Contains(t, at(t, s, store.Owner, "").get("/clients/"+client).page, "cards.html")
	p := at(t, s, store.AssistantRole, s.Mina)
	p.sees(p.v.Get("/clients/" + client))
	require.Equal(t, http.StatusForbidden, p.status)
}

func TestThatAnAddressWasChangedStandsOnTheClientsPage(t *testing.T) {
	s := newSalon(t)
	client := caller(s, "Juna", "Kestrel")
	page := "/clients/" + client
	d := at(t, s, store.LeadRole, s.Ada).get(page).lacks("Where messages go was changed")
	d.get(page+"/edit").send(http.StatusOK, page+"/edit", "mail", "other@example.org").says("Saved.",
		"Where messages go was changed (1)", "mail address, by Ada Birch; nobody was told at the one before.")
}

func TestAMinorAndHerGuardian(t *testing.T) {
	s := newSalon(t)
	client := s.Client("Juna", "Kestrel")
	page := "/clients/" + client + "/minor"
	d := at(t, s, store.Desk, "").get(page).says("Nothing is noted: she counts as an adult.")
	d.send(http.StatusUnprocessableEntity, page, "guardian_name", "Mara Kestrel").says("A minor until: ")
	require.Contains(t, d.page, "Mara Kestrel")
	d.send(http.StatusOK, page, "minor_until", "2028-01-01", "guardian_phone", "+442079460018", "contact_by", "call").says("A minor until Sat 1 January 2028. Guardian: Mara Kestrel")
	other := at(t, s, store.Desk, "").get(page) // has the page of before
	d.get(page).send(http.StatusOK, page, "guardian_phone", "+442079460019")
	other.send(http.StatusPreconditionFailed, page, "guardian_name", "M. Kestrel").says("Somebody else changed it in the meantime")
	require.Equal(t, "+442079460019", other.form(page).Get("guardian_phone"), "it shows what stands there now")
	other.send(http.StatusOK, page, "guardian_name", "M. Kestrel").says("Guardian: M. Kestrel", "+44 20 7946 0019")
	d.get(page).send(http.StatusUnprocessableEntity, page+"-back", "back_reason", "typed by mistake").says("Yes by the licensed person: ")
	require.Contains(t, d.page, "typed by mistake")
	d.send(http.StatusOK, page+"-back", "back_approved", "Ada Birch").says("Taken back.").lacks("A minor until")
}

func TestHowAClientWishesToBeWrittenTo(t *testing.T) {
	s := newSalon(t)
	client := s.Client("Juna", "Kestrel")
	page := "/clients/" + client + "/messages"
	d := at(t, s, store.Desk, "").get(page).says("What comes of it", "Reminder", "by mail")
	d.send(http.StatusUnprocessableEntity, page, "language", "not a language!").says("Language: ")
	require.Contains(t, d.page, "not a language!")
	d.send(http.StatusOK, page, "language", "de", "voice", "true", "stopped", "retouch").says("Saved.", "language de", "word may be left on an answering machine", "Does not wish: retouch due")
	d.get(page).says("What was said of it", "retouch due: not wished, noted by desk")
}

func TestHerPageSaysUntilWhenHerHairStaysDry(t *testing.T) {
	s := newSalon(t)
	client := s.Client("Juna", "Kestrel")
	v := s.Straightening(client, s.Ada, tuesday(9, 0))
	page := "/clients/" + client
	at(t, s, store.Desk, "").get(page).lacks("Her hair stays")
	s.Exec(`UPDATE visit SET state = 'finished', arrived_at = starts_at, finished_at = ends_at - interval '15 minutes' WHERE visit_id = $1`, v.ID)
	s.At(tuesday(20, 0))
	at(t, s, store.Desk, "").get(page).says("Her hair stays dry and untied until Thu 11 June, 13:00.")
	s.At(tuesday(13, 0).AddDate(0, 0, 2))
	at(t, s, store.Desk, "").get(page).says("She can be told so: her hair was to stay dry and untied until Thu 11 June, 13:00, which is over.")
}

func TestWhoWasNotAskedIsAskedWhereItSaysSo(t *testing.T) {
	s := newSalon(t)
	const unasked, said = "nobody has asked", "Ask her now: how may we say when a time changes, and remind?"
	var who api.ClientBody
	s.Ask(http.MethodPost, "/clients", webtest.Object{"given_name": "Juna", "family_name": "Kestrel"}, http.StatusCreated, &who)
	page := "/clients/" + who.ID
	d := at(t, s, store.Desk, "").get(page).says("Neither a mail address nor a telephone number is noted: nothing is sent", "how can we reach her?").lacks(said)
	d.get(page+"/edit").send(http.StatusOK, page+"/edit", "phone", "020 7946 0018").says("+44 20 7946 0018", "She is not told of anything yet: "+unasked, said)
	v := cut(s, who.ID, tuesday(9, 0))
	visit := "/visits/" + v.ID
	d.get(visit).says(said, "not sent: "+unasked+" her yet how she wants to hear of it").lacks("waits for its time", "wishes no messages")
	d.get("/book?booked="+v.ID).says("No message goes out: "+unasked+" her yet", said)
	d.get(visit).send(http.StatusOK, page+"/way", "way", "call").says("Noted how she is told.").lacks(unasked, said)
	d.get(page).says("She is reached by telephone").lacks(said)
	d.sees(d.v.Post(page+"/way", url.Values{"way": {"pigeon"}}))
	require.Equal(t, http.StatusUnprocessableEntity, d.status)

	s.Ask(http.MethodPost, "/clients", webtest.Object{"given_name": "Lio", "phone": "+442079460018"}, http.StatusCreated, &who)
	page = "/clients/" + who.ID
	d.get(page+"/minor").send(http.StatusOK, page+"/minor", "minor_until", "2028-01-01", "guardian_name", "Mara Kestrel", "guardian_phone", "+442079460018")
	d.says("Her guardian is not told of anything yet: "+unasked, "Ask the guardian now")
	d.send(http.StatusOK, page+"/way", "way", "none").says("Her guardian wishes no messages").lacks("Ask the guardian now")
}

func TestSecretAddressesAreShownOnce(t *testing.T) {
	s := newSalon(t)
	client := s.Client("Juna", "Kestrel")
	page := "/clients/" + client
	d := at(t, s, store.Desk, "").get(page)
	pressed := d.form(page + "/feed")
	d.sees(d.v.Post(page+"/feed", pressed))
	d.says("This is shown once.")
	d.sees(d.v.Post(page+"/feed", pressed)) // a double press
	d.says("This is shown once.")
	var feeds struct{ Items []any }
	s.Ask(http.MethodGet, "/feeds", nil, http.StatusOK, &feeds)
	require.Len(t, feeds.Items, 1)
	address := attributes(regexp.MustCompile(`<input id="f-address"[^>]*>`).FindString(d.page))["value"]
	require.Contains(t, address, "/cal/")
	require.NotContains(t, d.get(page).page, address)
	d.send(http.StatusOK, page+"/feed-new").says("This is shown once.")
	require.NotContains(t, d.page, address)
	pressed = d.get(page).form(page + "/link")
	address = ""
	for range 2 {
		d.sees(d.v.Post(page+"/link", pressed))
		d.says("This is shown once.")
		now := attributes(regexp.MustCompile(`<input id="f-address"[^>]*>`).FindString(d.page))["value"]
		require.Contains(t, now, "/c/")
		require.NotEqual(t, address, now, "what is kept of the answer has no secret in it")
		address = now
	}
	var links struct{ Items []api.OwnLinkBody }
	s.Ask(http.MethodGet, "/clients/"+client+"/own-links", nil, http.StatusOK, &links)
	require.Len(t, links.Items, 1)
	require.Equal(t, http.StatusOK, s.Visitor(t).Get(address).Status, "the one that was shown last works")
	d.get(page).send(http.StatusOK, page+"/feed-end").says("The calendar address has ended.", "Make an address for her calendar")
	d.sees(d.v.Post(page+"/feed-end", url.Values{"feed": {"none"}}))
	require.Equal(t, http.StatusNotFound, d.status)
	require.False(t, at(t, s, store.LeadRole, s.Ada).get(page).hasForm(page+"/feed"))
}

func TestTheWaitingListIsFilledAndServed(t *testing.T) {
	s := newSalon(t)
	client := caller(s, "Juna", "Kestrel")
	d := at(t, s, store.Desk, "").get("/waiting").says("Nobody waits.")
	form := "/waiting/new"
	d.get(form + "?client=" + client).says("Never measured here")
	d.send(http.StatusUnprocessableEntity, form, "note", "mornings please").says("Service: choose one of the list.")
	require.Contains(t, d.page, "mornings please")
	d.send(http.StatusUnprocessableEntity, form, "service", s.Services["Straightening"], "last_date", "2026-06-12").says("Her hair was never measured here")
	d.send(http.StatusUnprocessableEntity, form, "notice", "a day").says("Hours of notice: this is not a whole number")
	d.send(http.StatusUnprocessableEntity, form, "notice", "2", "service", s.Services["Dry cut"], "first_date", "2026-06-12", "last_date", "2026-06-09").says("Last day that suits: does not lie within 366 days from first_date")
	d.send(http.StatusOK, form, "first_date", "2026-06-09", "last_date", "2026-06-10", "from", "09:00", "to", "12:00").says("The request is on the waiting list.", "Juna K.", "Dry cut", "not before 09:00, over by 12:00", "hears of it at least 2 h before", "2 days left", "less than a day")
	d.get("/waiting?first=2026-06-09&last=2026-06-09").says("Who fits", "1 looked at", "Juna K.: ", "worth")
	d.sees(d.v.Get("/waiting?first=2026-07-09&last=2026-06-09"))
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	d.says("Until: does not lie within 13 days")
}

func TestATimeThatIsFreedIsOffered(t *testing.T) {
	s := newSalon(t)
	v := cut(s, s.Client("Orla", "Finch"), tuesday(9, 0))
	client := caller(s, "Juna", "Kestrel")
	wish := func() api.WishBody {
		var w api.WishBody
		s.Ask(http.MethodPost, "/waiting-list", webtest.Object{"client_id": client, "services": []webtest.Object{{"service_id": s.Services["Dry cut"]}}, "first_date": "2026-06-09", "last_date": "2026-06-09", "note": "fringe only"}, http.StatusCreated, &w)
		return w
	}
	w := wish()
	d := at(t, s, store.Desk, "").get("/visits/"+v.ID).send(http.StatusOK, "/visits/"+v.ID+"/cancel").says("Who of the waiting list fits into the freed time")
	d.get("/waiting?visit="+v.ID).says("Into the time that the visit frees", "Juna K.: ")
	f := d.form("/waiting/offer")
	f.Set("do", "book")
	d.sees(d.v.Post("/waiting/offer", f))
	require.Equal(t, http.StatusOK, d.status, d.text())
	d.says("Booked.", "Juna K., Tue 9 June, 09:00 to 09:30", "fringe only")
	s.Ask(http.MethodGet, "/waiting-list/"+w.ID, nil, http.StatusOK, &w)
	require.Equal(t, "booked", w.State)
	d.sees(d.v.Post("/waiting/offer", f)) // pressed twice
	d.says("Booked.", "Juna K., Tue 9 June, 09:00 to 09:30")
	f.Set("key", "another")
	d.sees(d.v.Post("/waiting/offer", f)) // from a page of before
	require.Equal(t, http.StatusConflict, d.status)
	d.says("The request is booked and does not wait any more")
	wish()
	d.get("/waiting?first=2026-06-09&last=2026-06-09")
	f = d.form("/waiting/offer")
	f.Set("do", "pencil")
	d.sees(d.v.Post("/waiting/offer", f))
	require.Equal(t, http.StatusOK, d.status, d.text())
	d.says("Pencilled. Call her, then book it or give it up.", "The visit is pencilled until", "Give it up")
	d.get("/waiting?first=2026-06-09&last=2026-06-09").says("A time is pencilled", "Nobody of the waiting list fits.")
	d.get("/waiting").send(http.StatusOK, "/waiting/"+lastWish(d)+"/off").says("The request is off the waiting list.", "Nobody waits.")
}

// lastWish is the id of a request on the page.
func TestARequestThatNeedsAYesIsBookedFromTheList(t *testing.T) {
	s := newSalon(t)
	client := caller(s, "Juna", "Kestrel")
	hair := webtest.Hair()
	hair["damaged"], hair["hands"], hair["length_cm"] = true, 2, 20
	var w api.WishBody
	s.Ask(http.MethodPost, "/waiting-list", webtest.Object{"client_id": client, "services": []webtest.Object{{"service_id": s.Services["Straightening"], "hair": hair}},
		"first_date": "2026-06-09", "last_date": "2026-06-09"}, http.StatusCreated, &w)
	s.Ask(http.MethodPost, "/waiting-list", webtest.Object{"client_id": caller(s, "Orla", "Finch"), "services": []webtest.Object{{"service_id": s.Services["Dry cut"]}},
		"first_date": "2026-06-09", "last_date": "2026-06-09"}, http.StatusCreated, nil)
	d := at(t, s, store.Desk, "").get("/waiting?first=2026-06-09&last=2026-06-09")
	d.says("Juna K.: ", "Needs the licensed person's yes: Damaged hair: a strand test first", "Licensed person who said yes", "Orla F.: ")
	require.Equal(t, 1, strings.Count(d.page, "Licensed person who said yes"), "asked of her alone")
	yes := "approved-" + w.ID
	require.Contains(t, d.page, `id="f-`+yes+`"`)
	f := formOf(d, w.ID)
	f.Set("do", "book")
	d.sees(d.v.Post("/waiting/offer", f))
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	d.says("One thing to put right", "Licensed person who said yes: choose the licensed person who said yes", "Orla F.: ")
	require.Contains(t, d.page, `<a href="#f-`+yes+`">`)
	f = formOf(d, w.ID)
	f.Set("do", "book")
	f.Set(yes, s.Ada)
	d.sees(d.v.Post("/waiting/offer", f))
	require.Equal(t, http.StatusOK, d.status, d.text())
	d.says("Booked.", "Juna K., Tue 9 June")
	s.Ask(http.MethodGet, "/waiting-list/"+w.ID, nil, http.StatusOK, &w)
	require.Equal(t, "booked", w.State)
	var list struct{ Items []api.VisitBody }
	s.Ask(http.MethodGet, "/visits?client_id="+client, nil, http.StatusOK, &list)
	require.Len(t, list.Items, 1)
	require.Equal(t, "Ada Birch", list.Items[0].ApprovedBy)
}

// formOf is the form of the list that offers a time to a request.
func formOf(d *person, wish string) url.Values {
	d.t.Helper()
	for _, part := range strings.Split(d.page, `<form method="post" action="/waiting/offer">`)[1:] {
		part, _, _ = strings.Cut(part, "</form>")
		if f := valuesOf(part); f.Get("wish") == wish {
			return f
		}
	}
	require.Fail(d.t, "nothing is offered to it", d.text())
	return nil
}

func lastWish(d *person) string {
	for _, part := range strings.Split(d.page, `action="/waiting/`)[1:] {
		if id, rest, ok := strings.Cut(part, "/off"); ok && rest != "" && !strings.Contains(id, `"`) {
			return id
		}
	}
	return ""
}

func TestADayIsRearrangedAfterEverybodyAgreed(t *testing.T) {
	s := newSalon(t)
	v := cut(s, caller(s, "Juna", "Kestrel"), tuesday(9, 0))
	d := at(t, s, store.Desk, "").get("/rearrange?date=2026-06-09").says("What has happened?", "Ben Reed")
	d.send(http.StatusUnprocessableEntity, "/rearrange", "date", "2026-06-01").says("Day: is not one of the days to come")
	d.get("/rearrange?date=2026-06-09").send(http.StatusOK, "/rearrange", "away", s.Ben, "any_lead", "true").says("Proposal for Tue 9 June 2026", "Nothing has been changed by it.", "Juna K. stays at 09:00", "instead of Ben Reed", "Tell the client that another stylist is in charge")
	apply := strings.SplitN(strings.SplitN(d.page, `action="/rearrange/`, 2)[1], `"`, 2)[0]
	d.send(http.StatusUnprocessableEntity, "/rearrange/"+apply, "plan_approved", "Ada Birch").says("Nobody’s time is changed before she has said yes")
	require.Contains(t, d.page, `value="Ada Birch"`)
	d.send(http.StatusOK, "/rearrange/"+apply, "agreed", "true").says("The day is rearranged.", "Carried out for Tue 9 June 2026")
	now, _ := visitNow(s, v.ID)
	require.NotEqual(t, s.Ben, now.Services[0].LeadID)
	// A proposal that somebody has overtaken says so.
	d.get("/rearrange?date=2026-06-09").send(http.StatusOK, "/rearrange", "away", now.Services[0].LeadID, "any_lead", "true")
	plan := strings.SplitN(strings.SplitN(d.page, `action="/rearrange/`, 2)[1], "/", 2)[0]
	cut(s, s.Client("Orla", "Finch"), tuesday(15, 0))
	d.get("/rearrange?plan=" + plan).says("It cannot be carried out any more: Orla F. at 15:00 has been added")
	require.False(t, d.hasForm("/rearrange/"+plan+"/apply"))
}

func TestStockIsNoted(t *testing.T) {
	s := newSalon(t)
	d := at(t, s, store.Desk, "").get("/stock").says("No product is counted.")
	var p struct{ ID string }
	s.Ask(http.MethodPost, "/products", webtest.Object{"name": "Lotion", "kind": "solution", "strength": "normal", "pack_ml": 500}, http.StatusCreated, &p)
	d.get("/stock").send(http.StatusUnprocessableEntity, "/stock/"+p.ID, "ml-"+p.ID, "a pack").says("ml: this is not a whole number")
	require.Contains(t, d.page, `value="a pack"`)
	d.send(http.StatusOK, "/stock/"+p.ID, "ml-"+p.ID, "1000").says("The stock is noted.", "1000 ml on hand", "2 whole packs")
}

func TestAQuoteIsPrinted(t *testing.T) {
	s := newSalon(t)
	var q api.QuoteBody
	s.Ask(http.MethodPost, "/quotes", webtest.Object{"client_id": s.Client("Juna", "Kestrel"), "services": []webtest.Object{{"service_id": s.Services["Straightening"], "lead_id": s.Ada, "hair": webtest.Hair()}}}, http.StatusCreated, &q)
	at(t, s, store.Desk, "").get("/quotes/"+q.ID).says("For Juna Kestrel", "holds until", "Straightening", "Altogether", q.Total, "Length of stay: 4 h 15 min")
}

func TestARequestSaysHowManyDaysAreLeft(t *testing.T) {
	s := newSalon(t)
	client := caller(s, "Juna", "Kestrel")
	s.Ask(http.MethodPost, "/waiting-list", webtest.Object{"client_id": client, "services": []webtest.Object{{"service_id": s.Services["Dry cut"]}}, "first_date": "2026-06-09", "last_date": "2026-06-12"}, http.StatusCreated, nil)
	for day, words := range map[string]string{"2026-06-09": "3 days left", "2026-06-11": "1 day left", "2026-06-12": "today is the last day", "2026-06-13": "its days are over", "2026-06-14": "its days are over"} {
		now, err := time.Parse("2006-01-02 15:04", day+" 20:30")
		require.NoError(t, err)
		s.At(now)
		at(t, s, store.Desk, "").get("/waiting").says(words)
	}
}

func TestTwoFilesOfOnePersonAreSeenBeforeTheyAreOne(t *testing.T) {
	s := newSalon(t)
	keep, other := caller(s, "Juna", "Kestrel"), caller(s, "Juna", "Kestrel")
	v := cut(s, other, tuesday(9, 0))
	page := "/clients/" + keep
	d := at(t, s, store.Desk, "").get(page).says("Perhaps the same person: Juna Kestrel", "Put both files together")
	twin := s.Straightening(keep, s.Ada, tuesday(9, 0))
	d.get(page+"/same?other="+other).says("This cannot be done yet:", "Both files have a visit at one time, from 9 June 09:00 and from 9 June 09:00. Move or cancel one of them first.")
	require.False(t, d.hasForm(page+"/same"))
	d.get("/visits/"+twin.ID).send(http.StatusOK, "/visits/"+twin.ID+"/cancel")
	d.get(page+"/same?other="+other).says("This file stays: Juna Kestrel", "This one is erased: Juna Kestrel", "Onto this file come: 1 visit to come.",
		"The other file is erased, and nothing of this can be undone.", "Afterwards she is reached by telephone", "Keep the other file instead")
	pressed := d.form(page + "/same")
	s.Ask(http.MethodPut, page, webtest.Object{"given_name": "Juna", "family_name": "Kestrel", "phone": "+442079460018", "contact_by": "call", "note": "new"}, http.StatusOK, nil, "If-Match", `"v1"`)
	d.sees(d.v.Post(page+"/same", pressed))
	require.Equal(t, http.StatusPreconditionFailed, d.status)
	d.says("Somebody else changed it in the meantime")
	pressed = d.form(page + "/same")
	for range 2 {
		d.sees(d.v.Post(page+"/same", pressed))
		require.Equal(t, http.StatusOK, d.status, d.text())
		d.says("Both files are one now.", "Tue 9 June").lacks("Perhaps the same person")
	}
	require.Contains(t, d.get("/visits/"+v.ID).page, `href="`+page+`"`)
	d.sees(d.v.Get(page + "/same?other=" + other))
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	at(t, s, store.LeadRole, s.Ada).get(page).lacks("Put both files together")
}
