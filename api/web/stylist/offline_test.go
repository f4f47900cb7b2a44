package stylist_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// lost is a network that answers nothing.
func lost(w http.ResponseWriter, _ *http.Request, _ http.Handler) {
	conn, _, err := w.(http.Hijacker).Hijack()
	if err == nil {
		_ = conn.Close()
	}
}

// looked is the visit with its client here and her hair seen.
func looked(t *testing.T, more ...func(*web.Site)) (*webtest.Salon, api.VisitBody) {
	t.Helper()
	s, v := booked(t, more...)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/taps", webtest.Object{"kind": "arrive"}, http.StatusCreated, nil)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/hair-as-seen", webtest.Object{"unchanged": true}, http.StatusCreated, nil)
	return s, v
}

// noted counts what somebody noted of a visit, by kind.
func noted(s *webtest.Salon, id string) map[string]int {
	var list struct{ Items []api.EventBody }
	s.Ask(http.MethodGet, "/visits/"+id+"/events", nil, http.StatusOK, &list)
	out := map[string]int{}
	for _, e := range list.Items {
		if !e.Inferred {
			out[e.Kind]++
		}
	}
	return out
}

func waits(b *chromium.Browser, words string) {
	b.T.Helper()
	b.Until(words, `document.getElementById("outbox").innerText.includes(`+quote(words)+`)`)
}

const dayIsKept = `document.documentElement.dataset.keeping === "done" && !!navigator.serviceWorker.controller`

func TestWithoutANetworkTapsWaitAndAreSentOnce(t *testing.T) {
	s, v := looked(t)
	s.At(at(9, 39))
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Open(s.URL + "/my-day/")
	b.Until("the day is kept", dayIsKept)
	visit := s.URL + "/my-day/visits/" + v.ID
	b.Open(visit)
	b.Until("the visit is kept", dayIsKept)
	b.Quiet()

	s.Between(lost)
	b.Click(`.nextbar:not([hidden]) button`)
	waits(b, "1 tap waits to be sent")
	b.Until("the clock counts", `document.getElementById("check").innerText === "09:49"`)
	b.Click("#rinsebar button")
	waits(b, "2 taps wait to be sent")
	require.Contains(t, b.Eval(`document.getElementById("rinsed").innerText`), "Do not iron.")
	require.Equal(t, "false", b.Eval(`String(document.getElementById("rinsed").hidden)`))
	b.OpenToAll()
	view(b, "rinse-offline")
	b.Until("a press counts again", `!document.getElementById("bar").classList.contains("quiet")`)
	b.Click("#undo-here button")
	waits(b, "1 tap waits to be sent")
	b.Until("the rinse is taken back", `document.getElementById("rinsed").hidden && !document.getElementById("rinsebar").hidden`)

	// The page is opened anew, still without a network.
	b.Open(visit)
	b.Until("the kept page counts on", `document.getElementById("check") !== null && document.getElementById("check").innerText === "09:49"`)
	waits(b, "1 tap waits to be sent")
	waits(b, "No connection. This is as of 09:39.")
	require.Equal(t, "72px", b.Eval(`getComputedStyle(document.querySelector(".bigtap")).minHeight`), "it is styled")
	require.Equal(t, "Juna", b.Eval(`document.querySelector("h1").innerText`))
	view(b, "visit-offline")
	b.Open(s.URL + "/my-day/")
	require.Contains(t, b.Text(), "Juna is with Mina Frost")
	require.NotContains(t, b.Eval(`document.documentElement.outerHTML`), "Juna K")
	view(b, "day-offline")
	b.Open(s.URL + "/my-day/pace")
	require.Contains(t, b.Text(), "Nothing of this day is kept")

	s.At(at(9, 39).Add(40 * time.Second))
	s.Between(nil)
	b.Open(visit)
	require.Eventually(t, func() bool { return run(s, v.ID).Now.Product == "solution" }, time.Minute, 30*time.Millisecond)
	b.Until("nothing waits", `!document.getElementById("outbox").innerText.includes("wait")`)
	require.Equal(t, 1, noted(s, v.ID)["start"])
	require.Less(t, run(s, v.ID).Now.FirstStrand.Sub(at(9, 39)), 30*time.Second, "the time is that of the tap")
	b.Forget("net::ERR_EMPTY_RESPONSE")
	b.Forget("Failed to load resource")
	b.Quiet()
}

func TestATapWhoseAnswerIsLostIsNotedOnce(t *testing.T) {
	s, v := looked(t)
	s.At(at(9, 39))
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Until("the page counts", `!document.getElementById("sound").hidden`)
	var tries atomic.Int32
	s.Between(func(w http.ResponseWriter, r *http.Request, server http.Handler) {
		if r.URL.Path != "/my-day/taps" || tries.Add(1) > 5 {
			server.ServeHTTP(w, r)
			return
		}
		server.ServeHTTP(httptest.NewRecorder(), r) // carried out, and never heard of
		lost(w, r, server)
	})
	b.Click(`.nextbar:not([hidden]) button`)
	require.Eventually(t, func() bool { return tries.Load() == 6 }, time.Minute, 20*time.Millisecond)
	b.Until("it was answered", `document.getElementById("outbox").innerText.includes("began at 09:39")`)
	require.Equal(t, 1, noted(s, v.ID)["start"])

	// A second press within two seconds does nothing, a later one is a tap of its own.
	time.Sleep(2100 * time.Millisecond)
	b.Eval(`document.querySelector("#undo button").click(); document.querySelector("#undo button").click(); ""`)
	require.Eventually(t, func() bool { return noted(s, v.ID)["undo"] == 1 }, time.Minute, 20*time.Millisecond)
	time.Sleep(300 * time.Millisecond)
	require.Equal(t, 1, noted(s, v.ID)["undo"])
}

func TestARefusedTapStandsInWordsUntilSomebodyDecides(t *testing.T) {
	s, v := booked(t)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/taps", webtest.Object{"kind": "arrive"}, http.StatusCreated, nil)
	s.At(at(9, 39))
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Until("the page counts", `!document.getElementById("sound").hidden`)
	b.Click(`.nextbar:not([hidden]) button`) // solution, before anybody has looked at the hair
	waits(b, "was not taken")
	waits(b, "before somebody has looked at the hair")
	b.OpenToAll()
	view(b, "refused")
	b.Open(s.URL + "/my-day/")
	waits(b, "was not taken")
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/hair-as-seen", webtest.Object{"unchanged": true}, http.StatusCreated, nil)
	b.Eval(`[...document.querySelectorAll("#outbox button")].find((e) => e.innerText === "Try again").click(); ""`)
	require.Eventually(t, func() bool { return run(s, v.ID).Now.Product == "solution" }, time.Minute, 20*time.Millisecond)

	// What somebody else has noted meanwhile is not written over.
	s.At(at(10, 30))
	iron := step(run(s, v.ID), "rinse_1").Ordinal
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Until("the page counts", `!document.getElementById("sound").hidden`)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/taps", webtest.Object{"kind": "start", "step": iron, "at": at(10, 20)}, http.StatusCreated, nil)
	b.Click(`.nextbar:not([hidden]) button`)
	waits(b, "began at 10:20 already")
	b.Eval(`[...document.querySelectorAll("#outbox button")].find((e) => e.innerText.startsWith("Correct it")).click(); ""`)
	require.Eventually(t, func() bool { return run(s, v.ID).Steps[iron].RealStart.After(at(10, 29)) }, time.Minute, 20*time.Millisecond)
	b.Forget("the server responded with a status of 409")
	b.Quiet()
}

func TestASleepingPhoneKnowsWhatIsDueWhenItWakes(t *testing.T) {
	s, v := looked(t)
	s.At(at(9, 39))
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/taps", webtest.Object{"kind": "start", "step": step(run(s, v.ID), "apply").Ordinal}, http.StatusCreated, nil)
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Eval(quietClock)
	b.Until("the clock counts", `document.getElementById("check").innerText === "09:49"`)
	sleep := func(d time.Duration) {
		t.Helper()
		s.At(s.Now().Add(d))
		b.Eval(`window.slept += ` + durationMS(d) + `; document.dispatchEvent(new Event("visibilitychange")); ""`)
	}
	sleep(11 * time.Minute)
	b.Until("a look is due", `document.getElementById("alert").innerText.includes("Check now, no later than 09:52")`)
	require.True(t, strings.HasPrefix(b.Eval(`document.title`), "11 min"), b.Eval(`document.title`))
	view(b, "look-due")
	b.OpenToAll()
	b.Window(390, 844)
	b.Eval(`document.getElementById("f-next").value = "4"; ""`)
	b.Eval(`[...document.querySelectorAll("#looks button")].find((e) => e.innerText === "Not yet").click(); ""`)
	b.Until("the next look", `document.getElementById("check").innerText === "09:54"`)
	require.Eventually(t, func() bool { return len(run(s, v.ID).Looks) == 1 }, time.Minute, 20*time.Millisecond)
	sleep(9 * time.Minute)
	b.Until("it is late", `document.getElementById("alert").innerText.includes("check now")`)
	sleep(45 * time.Minute)
	b.Until("it is at the maximum", `document.getElementById("alert").innerText.includes("Rinse now")`)
	view(b, "at-maximum")
	b.Quiet()
}

func durationMS(d time.Duration) string { return itoa(d.Milliseconds()) }
