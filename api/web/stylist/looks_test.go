package stylist_test

import (
	"net/http"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"chairblock/api/web/signin"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

func TestTheOtherPagesAreOpenToAllAndFitAPhone(t *testing.T) {
	s, v := looked(t)
	s.Straightening(s.Client("ليلى", "Kestrel"), s.Noor, nine)
	s.At(at(9, 39))
	b := phone(t, s, store.LeadRole, s.Ada)
	visit := s.URL + "/my-day/visits/" + v.ID
	for _, p := range []struct{ name, path string }{
		{"hair", visit + "/hair"}, {"stop", visit + "/stop"}, {"card", visit + "/card"}, {"told", visit + "/told"}, {"told-form", visit + "/told?look=form"},
		{"told-tests", visit + "/told?look=tests"}, {"calendar", s.URL + "/my-day/calendar"}, {"pace", s.URL + "/my-day/pace"}, {"away", s.URL + "/my-day/away"},
	} {
		b.Open(p.path)
		b.OpenToAll()
		b.Fits()
		view(b, p.name)
		b.Light(p.path)
	}
	b.Open(visit + "/hair")
	b.Fill(map[string]string{"length": "48"})
	b.Press("form .main")
	b.OpenToAll()
	b.Fits()
	view(b, "hair-choices")
	b.Open(s.URL + "/my-day/calendar")
	b.Fill(map[string]string{"label": "my telephone"})
	b.Press(`form[action$="/make"] button`)
	require.Contains(t, b.Text(), "It is shown this once")
	b.OpenToAll()
	b.Fits()
	view(b, "calendar-made")
	b.Open(visit + "/card")
	b.Eval(`[...document.querySelectorAll("details")].forEach((d) => { d.open = true; }); ""`)
	b.OpenToAll()
	b.Fits()
	b.Open(visit)
	b.Eval(`[...document.querySelectorAll("details")].forEach((d) => { d.open = true; }); ""`)
	b.OpenToAll()
	b.Fits()
	require.GreaterOrEqual(t, b.Number(`Math.min(...[...document.querySelectorAll(".bigtap, .rinse")].filter((e) => e.offsetParent).map((e) => e.getBoundingClientRect().height))`), 64.0)
	require.GreaterOrEqual(t, b.Number(`Math.min(...[...document.querySelectorAll("main button, main summary, main .way, main input:not([type=hidden])")].filter((e) => e.offsetParent && e.getBoundingClientRect().height > 0).map((e) => e.getBoundingClientRect().height))`), 44.0)
	b.Quiet()
}

func TestWhenTheSessionIsOverTheTapsAreKeptUntilSheSignsIn(t *testing.T) {
	s, v := looked(t)
	s.At(at(9, 39))
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Open(s.URL + "/my-day/")
	b.Until("the day is kept", dayIsKept)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Until("the page counts", `!document.getElementById("sound").hidden`)
	_, err := chromedp.Call(b.Ctx, network.ClearBrowserCookies, cdp.Empty{})
	require.NoError(t, err)
	b.Click(`.nextbar:not([hidden]) button`)
	waits(b, "You are not signed in any more")
	waits(b, "1 tap waits to be sent")
	require.Equal(t, "none", run(s, v.ID).Now.Product)
	b.OpenToAll()
	b.Press("#outbox a")
	b.Until("the plan is thrown away", `window.gone = window.gone || "", caches.has("my-day-plan").then((y) => { window.gone = y ? "no" : "yes"; }), window.gone === "yes"`)

	// Somebody else who signs in on this phone does not send them in her name.
	b.Open(s.Link(store.LeadRole, s.Noor))
	b.Open(s.URL + "/my-day/")
	waits(b, "1 tap of somebody else waits")
	require.NotContains(t, b.Text(), "Juna")
	require.Equal(t, "none", run(s, v.ID).Now.Product)
	b.Open(s.Link(store.LeadRole, s.Ada))
	b.Open(s.URL + "/my-day/")
	require.Eventually(t, func() bool { return run(s, v.ID).Now.Product == "solution" }, time.Minute, 30*time.Millisecond)
	require.Equal(t, 1, noted(s, v.ID)["start"])
	b.Forget("status of 401")
	b.Quiet()
}

func TestWhoSignsOutLeavesNoPlanBehindAndAnotherDayShowsNone(t *testing.T) {
	s, v := looked(t, signin.Mount)
	s.At(at(9, 39))
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Open(s.URL + "/my-day/")
	b.Until("the day is kept", dayIsKept)
	const plan = `window.kept = "", caches.open("my-day-plan").then((c) => c.keys()).then((l) => { window.kept = "n" + l.length; }), ""`
	b.Eval(plan)
	b.Until("two pages are kept", `window.kept === "n2"`)
	s.Between(lost)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	require.Equal(t, "Juna", b.Eval(`document.querySelector("h1").innerText`))
	// The next morning.
	b.Eval(`caches.open("my-day-plan").then(async (c) => { for (const r of await c.keys()) { const a = await c.match(r), t = await a.text();
		await c.put(r, new Response(t, { headers: { "Content-Type": "text/html", "X-Kept-Until": String(Date.now() - 1) } })); } window.aged = true; }); ""`)
	b.Until("a night is over", `window.aged === true`)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	require.Contains(t, b.Text(), "Nothing of this day is kept")
	s.Between(nil)
	b.Open(s.URL + "/my-day/")
	b.Until("the day is kept", dayIsKept)
	b.Press(`form[action="/sign-out"] button`)
	b.Until("she is out", `location.pathname === "/sign-in" && document.readyState === "complete"`)
	b.Eval(`window.left = ""; caches.has("my-day-plan").then((y) => { window.left = String(y); }); ""`)
	b.Until("nothing is left", `window.left === "false"`)
	b.Forget("net::ERR_EMPTY_RESPONSE")
	b.Forget("Failed to load resource")
	b.Quiet()
}

func TestAnAssistantsPhoneShowsHerPart(t *testing.T) {
	s, v := looked(t)
	s.At(at(9, 39))
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/taps", webtest.Object{"kind": "start", "step": step(run(s, v.ID), "apply").Ordinal}, http.StatusCreated, nil)
	b := phone(t, s, store.AssistantRole, s.Mina)
	b.Open(s.URL + "/my-day/")
	require.Contains(t, b.Text(), "at the basin")
	view(b, "assistant-day")
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Until("the page counts", `!document.getElementById("rinsebar").hidden`)
	b.Click("#rinsebar button")
	require.Eventually(t, func() bool { return run(s, v.ID).Now.Rinsed != nil }, time.Minute, 20*time.Millisecond)
	b.Until("it says whom to tell", `document.getElementById("rinsed").innerText.includes("tell Ada Birch")`)
	b.OpenToAll()
	b.Quiet()
}
