package booktest

import (
	"fmt"
	"net/http"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web/signin"
	"chairblock/api/web/webtest"
	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestMain(m *testing.M) {
	os.Exit(chromium.Shared(func() int { return storetest.Main(m, store.Migrate, migrations.Hash()) }))
}

// at signs the desk in.
func at(t *testing.T, s *webtest.Salon) *chromium.Browser {
	t.Helper()
	b := chromium.New(t)
	b.Open(s.Link(store.Desk, ""))
	return b
}

// visitsOf lists the visits of every client of a given name.
func visitsOf(s *webtest.Salon, given string) (out []api.VisitBody) {
	var clients struct{ Items []api.ClientBody }
	s.Ask(http.MethodGet, "/clients?name="+given, nil, http.StatusOK, &clients)
	for _, c := range clients.Items {
		var list struct{ Items []api.VisitBody }
		s.Ask(http.MethodGet, "/visits?client_id="+c.ID, nil, http.StatusOK, &list)
		out = append(out, list.Items...)
	}
	return out
}

// Keys as the browser's protocol names them.
const (
	tab   = "\t"
	enter = "\r"
	space = " "
	down  = "\u0301"
)

// keyboard counts the keys that are pressed besides what is typed.
type keyboard struct {
	*chromium.Browser
	keys int
}

func (k *keyboard) press(key string) { k.keys++; k.Keys(key) }

// to goes on by Tab until the control of a name or value has the focus.
func (k *keyboard) to(what string) {
	k.T.Helper()
	for n := 0; ; n++ {
		at := k.Eval(`(() => { const e = document.activeElement; return e.name + " " + e.value; })()`)
		if strings.HasPrefix(at, what+" ") || strings.HasPrefix(at, "do "+what) {
			return
		}
		require.Less(k.T, n, 30, "looking for %s, at %s", what, at)
		k.press(tab)
	}
}

func (k *keyboard) leave(key string) {
	k.T.Helper()
	k.keys++
	k.Leaves(chromedp.KeyEvent(key))
}

func TestALongVisitOfAStrangerIsBookedByKeyboard(t *testing.T) {
	for _, scripts := range []bool{true, false} {
		t.Run(fmt.Sprintf("scripts %v", scripts), func(t *testing.T) {
			s := webtest.New(t)
			b := at(t, s)
			b.Scripts(scripts)
			b.Open(s.URL + "/book")
			k := &keyboard{Browser: b}
			b.Until("one types at once", `document.activeElement.id === "f-who"`)
			k.Keys("Juna Kestrel")
			if scripts {
				k.press(enter)
				b.Until("nobody is called so", `document.activeElement.id === "f-first_name"`)
			} else {
				k.leave(enter)
			}
			require.Contains(t, b.Text(), "Nobody found: fill in who is new.")
			require.Equal(t, "Juna", b.Value("first_name"))
			require.Equal(t, "Kestrel", b.Value("initial"))
			k.to("service")
			k.Keys("Straight")
			k.to("reach")
			k.Keys("shoulder")
			k.to("ponytail")
			k.Keys("a finger")
			k.to("history")
			k.press(space)
			k.leave(enter)
			require.Contains(t, b.Text(), "Between 3¼ hours and 4½ hours; we keep 4¾ hours.")
			require.Equal(t, "openings", b.Eval(`document.activeElement.id`), "what is new has the focus")
			k.to("book:")
			said := b.Eval(`document.activeElement.innerText`)
			require.Contains(t, said, "does that suit?")
			k.leave(enter)
			when, _, _ := strings.Cut(said, ";")
			require.Contains(t, b.Text(), when)
			require.Contains(t, b.Text(), "Juna Kestrel, Straightening")
			require.Contains(t, b.Eval(`location.search`), "booked=")
			require.Len(t, visitsOf(s, "Juna"), 1)
			t.Logf("%d keys besides what is typed", k.keys)
			require.LessOrEqual(t, k.keys, 25)
			b.Quiet()
		})
	}
}

func TestALongVisitOfAKnownClientIsBookedByKeyboard(t *testing.T) {
	for _, scripts := range []bool{true, false} {
		t.Run(fmt.Sprintf("scripts %v", scripts), func(t *testing.T) {
			s := webtest.New(t)
			id := s.Client("Mara", "Quinn")
			s.Client("Marek", "Vale")
			hair := webtest.Hair()
			hair["curl"] = "wavy"
			s.Ask(http.MethodPost, "/clients/"+id+"/heads", webtest.Object{"measured_on": "2026-06-01", "hair": hair}, http.StatusCreated, nil)
			b := at(t, s)
			b.Scripts(scripts)
			b.Open(s.URL + "/book")
			b.Until("one types at once", `document.activeElement.id === "f-who"`)
			k := &keyboard{Browser: b}
			k.Keys("Mara")
			if scripts {
				k.press(down)
				b.Until("she is found", `document.activeElement.name === "client"`)
			} else {
				k.leave(enter)
			}
			require.Contains(t, b.Text(), "Mara Q.")
			require.NotContains(t, b.Text(), "Marek")
			k.to("service")
			require.Equal(t, id, b.Eval(`document.querySelector("[name=client]:checked").value`))
			k.Keys("Straight")
			k.to("note")
			k.leave(enter)
			require.Contains(t, b.Text(), "Length: 35 cm measured on 1 June 2026")
			k.to("book:")
			k.leave(enter)
			require.Contains(t, b.Text(), "Mara Quinn, Straightening")
			t.Logf("%d keys besides what is typed", k.keys)
			require.LessOrEqual(t, k.keys, 25)
			b.Quiet()
		})
	}
}

// look demands that a page can be read by everybody and at every size.
func look(b *chromium.Browser, name string) {
	b.T.Helper()
	b.OpenToAll()
	b.Fits()
	b.Window(640, 800) // as at twice the size
	require.LessOrEqual(b.T, b.Number(`document.documentElement.scrollWidth`), 640.0)
	b.Window(1280, 900)
	b.Shots(name)
}

func TestEveryStepOfBookingIsOpenToAll(t *testing.T) {
	s := webtest.New(t)
	s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, webtest.Start.Add(26*time.Hour))
	b := at(t, s)
	b.Light(s.URL + "/book")
	look(b, "book-1-form")
	b.Fill(map[string]string{"who": "juna"})
	b.Until("somebody is found", `document.querySelector("#matches").innerText.includes("Juna K.")`)
	require.Contains(t, b.Text(), "comes Tue 9 June 10:30")
	look(b, "book-2-found")
	b.Fill(map[string]string{"who": "", "first_name": "Rosa", "service": "Straightening", "reach": "shoulder", "ponytail": "a finger"})
	b.Click(`input[name="history"][value="nothing"]`)
	b.Until("the hair is drawn", `document.querySelector("#hairdrawing svg") !== null`)
	b.Press(`button[value="estimate"]`)
	look(b, "book-3-estimate")
	b.Press(`button[value="openings"]`)
	require.Contains(t, b.Text(), "dry and untied until")
	require.GreaterOrEqual(t, b.Number(`document.querySelectorAll(".small svg").length`), 3.0)
	look(b, "book-4-openings")
	b.Quiet()
}

func TestEveryStepOfDecidingIsOpenToAll(t *testing.T) {
	s := webtest.New(t)
	b := at(t, s)
	b.Open(s.URL + "/book")
	b.Fill(map[string]string{"first_name": "Rosa", "service": "Straightening", "reach": "shoulder", "ponytail": "a finger"})
	b.Click(`input[name="history"][value="nothing"]`)
	b.Press(`button[value="openings"]`)
	b.Press(`button[value="more"]`)
	require.Greater(t, b.Number(`document.querySelectorAll('button[value^="book:"]').length`), 8.0)
	b.Press(`button[value="only:` + s.Noor + `"]`)
	require.NotContains(t, b.Eval(`[...document.querySelectorAll('button[value^="book:"]')].map((e) => e.innerText).join()`), "Ada")
	b.Press(`button[value="only:"]`)
	b.Press(`button[value^="later:"]`)
	b.Press(`button[value^="pencil:"]`)
	b.Until("the time left is counted", `document.querySelector("main").innerText.includes(" left")`)
	look(b, "book-5-pencilled")
	b.Press(`button[value="longer"]`)
	b.Press(`button[value="firm"]`)
	require.Contains(t, b.Text(), "Rosa, Straightening")
	look(b, "book-6-booked")
	b.Quiet()
}

func TestHairThatWasBleachedIsSeenFirst(t *testing.T) {
	s := webtest.New(t)
	b := at(t, s)
	b.Open(s.URL + "/book")
	b.Fill(map[string]string{"first_name": "Lena", "service": "Straightening", "reach": "middle of the back", "ponytail": "two fingers"})
	b.Click(`input[name="history"][value="bleached_or_highlighted"]`)
	b.Press(`button[value="openings"]`)
	require.Contains(t, b.Text(), "First a consultation")
	require.Contains(t, b.Text(), "Consultation with strand test first, 45 minutes")
	require.Equal(t, 0.0, b.Number(`document.querySelectorAll('button[value^="book:"], button[value^="pencil:"]').length`), "nothing else is offered")
	b.OpenToAll()
	b.Fits()
	b.Shots("book-consultation")
	b.Click(`.consultation label:nth-of-type(2) input`)
	b.Press(`button[value^="consult:"]`)
	require.Contains(t, b.Text(), "choose an earlier consultation or a later day")
	b.Press(`button[value^="consult:"]`)
	require.Contains(t, b.Text(), "Lena, Consultation with strand test")
	require.Contains(t, b.Text(), "Pencilled behind it: Straightening on")
	b.OpenToAll()
	b.Shots("book-consultation-booked")
	visits := visitsOf(s, "Lena")
	require.Len(t, visits, 2)
	states := map[string]api.VisitBody{}
	for _, v := range visits {
		states[v.State] = v
	}
	require.Contains(t, states, "booked")
	require.Contains(t, states, "held")
	require.False(t, states["held"].Start.Before(states["booked"].End))
	b.Press(`a[href^="/book?pencilled="]`)
	b.Press(`button[value="firm"]`)
	require.Contains(t, b.Text(), "Lena, Straightening")
	b.Quiet("422", "409")
}

func TestWhatWasTypedOutlivesANetworkThatFails(t *testing.T) {
	s := webtest.New(t)
	b := at(t, s)
	b.Open(s.URL + "/book")
	typed := map[string]string{"first_name": "Nia", "initial": "שׁ", "service": "Dry cut", "stylist": "Ben Reed", "note": "brings <b>a child</b>"}
	b.Fill(typed)
	b.Offline(true)
	b.Click(`button[value="openings"]`)
	b.Until("it is said", `document.getElementById("sending").innerText.startsWith("No connection. Nothing is lost; trying again")`)
	require.Equal(t, "Nia", b.Value("first_name"))
	b.OpenToAll()
	b.Offline(false)
	b.Until("it goes on by itself", `document.querySelector("main").innerText.includes("Times that fit")`)
	require.Equal(t, "brings <b>a child</b>", b.Value("note"))
	b.Offline(true)
	b.Click(`button[value^="book:"]`)
	b.Until("it is said", `document.getElementById("sending").innerText.startsWith("No connection.")`)
	b.Click(`button[value^="book:"]`)
	b.Until("a second press waits", `document.getElementById("sending").innerText.startsWith("Still waiting") || document.getElementById("sending").innerText.startsWith("No connection")`)
	b.Offline(false)
	b.Until("it is booked", `location.search.startsWith("?booked=") && document.querySelector("main").innerText.includes("Nia")`)
	visits := visitsOf(s, "Nia")
	require.Len(t, visits, 1)
	require.Equal(t, "brings <b>a child</b>", visits[0].Note)
	require.Equal(t, "0", b.Eval(`String(localStorage.length + sessionStorage.length)`), "nothing stays in the browser")
}

func TestAServiceThatCannotAnswerIsAskedAgainWhenSomebodySaysSo(t *testing.T) {
	s := webtest.New(t)
	b := at(t, s)
	b.Open(s.URL + "/book")
	b.Fill(map[string]string{"first_name": "Nia", "initial": "S", "service": "Dry cut", "stylist": "Ben Reed"})
	b.Press(`button[value="openings"]`)
	b.Until("times are there", `document.querySelector("main").innerText.includes("Times that fit")`)
	var asked atomic.Int64
	s.Between(func(w http.ResponseWriter, r *http.Request, server http.Handler) {
		if r.Method == http.MethodPost && r.URL.Path == "/book" {
			asked.Add(1)
			http.Error(w, "broken", http.StatusInternalServerError)
			return
		}
		server.ServeHTTP(w, r)
	})
	b.Click(`button[value^="book:"]`)
	b.Until("it is tried no more", `document.getElementById("sending").innerText.includes("trying again") && dispatchEvent(new Event("online")), document.querySelector("#sending button") !== null`)
	require.Contains(t, b.Eval(`document.getElementById("sending").innerText`), "The service cannot answer now. Nothing is lost")
	b.OpenToAll()
	require.EqualValues(t, 6, asked.Load())
	require.Equal(t, "Nia", b.Value("first_name"))
	s.Between(nil)
	b.Click(`#sending button`)
	b.Until("it is booked", `location.search.startsWith("?booked=") && document.querySelector("main").innerText.includes("Nia")`)
	require.Len(t, visitsOf(s, "Nia"), 1)
	b.Quiet("500")
}

func TestSeveralServicesWithWordsOfEveryKind(t *testing.T) {
	s := webtest.New(t)
	b := at(t, s)
	b.Scripts(false)
	b.Open(s.URL + "/book")
	hostile := `<script>alert(1)</script>"'&`
	b.Fill(map[string]string{"first_name": hostile, "initial": "أحمد", "phone": hostile, "service": "Straightening", "reach": "chin", "ponytail": "a pencil",
		"note": strings.Repeat("long ", 200)})
	b.Click(`input[name="history"][value="nothing"]`)
	b.Press(`button[value="add"]`)
	require.Equal(t, hostile, b.Value("first_name"))
	b.Fill(map[string]string{"service_2": "Dry cut"})
	b.Press(`button[value="openings"]`)
	require.Contains(t, b.Text(), "Time for Straightening and Dry cut")
	b.Press(`button[value^="book:"]`)
	require.Contains(t, b.Text(), "Phone: with its country code")
	require.Equal(t, hostile, b.Value("phone"))
	b.Fill(map[string]string{"phone": ""})
	b.Press(`button[value^="book:"]`)
	require.Contains(t, b.Text(), "Note for the day: at most 500 characters")
	require.Len(t, b.Value("note"), 1000, "what was typed is kept")
	b.Scripts(true) // for who looks, not for the page
	b.OpenToAll()
	b.Fits()
	b.Shots("book-wrong")
	b.Fill(map[string]string{"note": "after the trim: tea", "first_name": "Ira"})
	b.Press(`button[value^="book:"]`)
	require.Contains(t, b.Text(), "Straightening, Dry cut")
	visits := visitsOf(s, "Ira")
	require.Len(t, visits, 1)
	require.Len(t, visits[0].Services, 2)
	b.Quiet("422")
}

func TestAClientIsFoundByTheEndOfANumberAndNeverInAnAddress(t *testing.T) {
	s := webtest.New(t)
	s.Ask(http.MethodPost, "/clients", webtest.Object{"given_name": "Omar", "family_name": "Vale", "phone": "+442079460018"}, http.StatusCreated, nil)
	b := at(t, s)
	b.Open(s.URL + "/book")
	b.Fill(map[string]string{"who": "020 7946 0018"})
	b.Until("he is found", `document.querySelector("#matches").innerText.includes("Omar V.")`)
	require.NotContains(t, b.Text(), "7946", "the number itself stays away")
	require.Contains(t, b.Text(), "number ends 0018")
	b.Fill(map[string]string{"who": "nobody 7"})
	b.Until("nobody is", `document.querySelector("#found").innerText.startsWith("Nobody found")`)
	// One number may serve many: it is said, and hinders nothing.
	b.Fill(map[string]string{"who": "", "first_name": "Noa", "phone": "+44 20 7946 0018", "service": "Dry cut"})
	b.Press(`button[value="openings"]`)
	require.Contains(t, b.Text(), "Perhaps she is here already; one telephone number may serve many.")
	require.Contains(t, b.Text(), "Omar V.")
	b.Press(`button[value^="book:"]`)
	require.Contains(t, b.Text(), "Noa, Dry cut")
	b.Quiet()
}

func TestTheDayOnWhichClocksGoBackIsBooked(t *testing.T) {
	s := webtest.New(t)
	s.At(time.Date(2026, 10, 22, 8, 0, 0, 0, time.UTC))
	b := at(t, s)
	b.Open(s.URL + "/book")
	b.Fill(map[string]string{"first_name": "Ula", "service": "Straightening", "reach": "chin", "ponytail": "a pencil", "date_from": "2026-10-24"})
	b.Click(`input[name="history"][value="nothing"]`)
	b.Press(`button[value="openings"]`)
	said := b.Eval(`[...document.querySelectorAll('button[value^="book:"]')].map((e) => e.innerText).find((x) => x.startsWith("Sat 24 October")) || "none"`)
	require.Contains(t, said, "dry and untied until Mon", "48 hours are two nights by the clock and an hour less")
	b.Quiet()
}

func TestWhatWasTypedOutlivesASessionThatEnds(t *testing.T) {
	for _, scripts := range []bool{true, false} {
		t.Run(fmt.Sprintf("scripts %v", scripts), func(t *testing.T) {
			s := webtest.New(t, signin.Mount)
			var account api.AccountBody
			s.Ask("POST", "/accounts", webtest.Object{"mail": "dora@example.org", "name": "Dora", "roles": []string{"desk"}}, 201, &account)
			b := chromium.New(t)
			const password = "lamp river nine toast"
			b.Open(account.Link)
			b.Fill(map[string]string{"password": password, "again": password})
			b.Press("main button.main")
			b.Scripts(scripts)
			b.Open(s.URL + "/book")
			b.Fill(map[string]string{"first_name": "Nia", "service": "Dry cut", "note": "brings a child"})
			s.At(s.Now().Add(3 * time.Hour))
			b.Press(`button[value="openings"]`)
			require.NotContains(t, b.Eval(`document.documentElement.innerHTML`), "brings a child", "nobody reads it before she is known")
			b.Fill(map[string]string{"mail": "dora@example.org", "password": password})
			b.Press("main button.main")
			require.Equal(t, "Nia", b.Eval(`document.querySelector('[name="first_name"]').value`))
			require.Equal(t, "brings a child", b.Eval(`document.querySelector('[name="note"]').value`))
			require.Equal(t, "openings", b.Eval(`document.querySelector('[name="do"]').value`))
			b.Press("main button.main")
			require.Equal(t, "Nia", b.Value("first_name"))
			b.Quiet("401")
		})
	}
}

func TestWhatIsStillNeededIsSaidWhileTheCallerIsOnTheTelephone(t *testing.T) {
	s := webtest.New(t)
	tag := s.Ask(http.MethodGet, "/booking-rules", nil, http.StatusOK, nil).Get("ETag")
	s.Ask(http.MethodPut, "/booking-rules", webtest.Object{"hold_minutes": 10}, http.StatusOK, nil, "If-Match", tag) // all else by the program's own rules
	b := at(t, s)
	b.Scripts(false)
	b.Open(s.URL + "/book?date_from=2026-06-22")
	b.Fill(map[string]string{"first_name": "Juna", "service": "Straightening", "reach": "shoulder", "ponytail": "a finger"})
	b.Click(`input[name="history"][value="nothing"]`)
	b.Press(`button[value="openings"]`)
	for _, line := range []string{"a consultation, at least 24 hours before", "a skin test, at least 48 hours before", "a strand test, at least 24 hours before", "consent", "a deposit of "} {
		require.Contains(t, b.Text(), line, "with the estimate")
	}
	b.Press(`button[value^="pencil:"]`)
	for _, line := range []string{"Still needed before the visit", "a consultation, ", "a skin test, ", "a strand test, ", "a deposit of ", "consent"} {
		require.Contains(t, b.Text(), line, "on the pencilled page")
	}
	b.Press(`button[value="firm"]`)
	require.Contains(t, b.Text(), "Still needed before the visit")
	require.Contains(t, b.Text(), "Book: Consultation")
	test := b.Eval(`[...document.querySelectorAll("a.go")].filter(a => a.innerText.includes("Patch test"))[0].getAttribute("href")`)
	v := visitsOf(s, "Juna")[0]
	b.Open(s.URL + test)
	require.Equal(t, v.ClientID, b.Eval(`document.querySelector("[name=client]").value`))
	require.Contains(t, b.Eval(`document.querySelector("[name=service]").selectedOptions[0].innerText`), "Patch test")
	b.Quiet("422")
}
