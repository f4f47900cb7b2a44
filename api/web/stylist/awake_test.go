package stylist_test

import (
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api/chromium"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// counters stand in for what a phone does, and count it: a browser on a server has
// no screen that sleeps, no motor and no loudspeaker.
const counters = `(() => {
	window.calls = { lock: 0, release: 0, vibrate: 0, resume: 0, tone: 0 };
	Object.defineProperty(navigator, "wakeLock", { value: { request: async (what) => {
		if (what !== "screen") throw new TypeError(what);
		calls.lock++;
		const l = new EventTarget();
		l.release = async () => { calls.release++; l.dispatchEvent(new Event("release")); };
		window.held = l;
		await new Promise((done) => setTimeout(done, 50));
		return l;
	} } });
	navigator.vibrate = () => { calls.vibrate++; return true; };
	const through = () => ({ connect: (x) => x });
	window.AudioContext = class {
		state = "suspended"; currentTime = 0; destination = {};
		resume() { calls.resume++; this.state = "running"; return Promise.resolve(); }
		createOscillator() { return { ...through(), frequency: {}, start() { calls.tone++; }, stop() {} }; }
		createGain() { return { ...through(), gain: { setValueAtTime() {}, exponentialRampToValueAtTime() {} } }; }
	};
})();`

func calls(b *chromium.Browser, what string) float64 { return b.Number(`calls.` + what) }

// slept moves the clocks of server and phone on, as when the phone lay there.
func slept(s *webtest.Salon, b *chromium.Browser, d time.Duration) {
	b.T.Helper()
	s.At(s.Now().Add(d))
	b.Eval(`window.slept += ` + durationMS(d) + `; document.dispatchEvent(new Event("visibilitychange")); ""`)
}

func TestTheScreenStaysOnWhileAVisitRuns(t *testing.T) {
	s, v := booked(t)
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Before(counters)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Until("the page counts", `!document.getElementById("sound").hidden`)
	require.Zero(t, calls(b, "lock"), "nobody is here")
	b.Click(`.nextbar:not([hidden]) button`)
	b.Until("the screen stays on", `calls.lock === 1`)
	require.Eventually(t, func() bool { return run(s, v.ID).State == "arrived" }, time.Minute, 30*time.Millisecond)
	b.Until("the page was read anew", `document.getElementById("state").innerText !== "Booked"`)
	b.Eval(`document.dispatchEvent(new CustomEvent("queue", { detail: {} })); document.dispatchEvent(new CustomEvent("queue", { detail: {} })); ""`)
	time.Sleep(200 * time.Millisecond)
	require.Equal(t, 1.0, calls(b, "lock"), "once is enough")

	// A browser lets go of it when the page is put away, and is asked again.
	b.Eval(`held.dispatchEvent(new Event("release")); document.dispatchEvent(new Event("visibilitychange")); ""`)
	b.Until("asked again", `calls.lock === 2`)

	// What ends lets the phone sleep.
	time.Sleep(200 * time.Millisecond)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/hair-as-seen", webtest.Object{"unchanged": true}, http.StatusCreated, nil)
	s.At(at(13, 15))
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/taps", webtest.Object{"kind": "done"}, http.StatusCreated, nil)
	b.Eval(`document.activeElement.blur(); document.dispatchEvent(new Event("visibilitychange")); ""`)
	b.Until("let go", `calls.release === 1`)
	require.Equal(t, 2.0, calls(b, "lock"))
	b.Quiet()
}

func TestACheckThatIsDueIsHeardOnceTheStylistHasTouchedThePage(t *testing.T) {
	s, v := looked(t)
	s.At(at(9, 39))
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/taps", webtest.Object{"kind": "start", "step": step(run(s, v.ID), "apply").Ordinal}, http.StatusCreated, nil)
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Before(counters)
	open := func() {
		b.Open(s.URL + "/my-day/visits/" + v.ID)
		b.Eval(quietClock)
		b.Until("the clock counts", `document.getElementById("check").innerText === "09:49"`)
	}
	const due = `document.getElementById("alert").innerText.includes("Check now, no later than 09:52")`
	open()
	slept(s, b, 11*time.Minute)
	b.Until("a check is due", due)
	require.Zero(t, calls(b, "tone"), "a page that nobody has touched is still")
	require.Zero(t, calls(b, "vibrate"))

	s.At(at(9, 41))
	open()
	b.Click("h1") // a touch, which allows it
	require.Equal(t, 1.0, calls(b, "resume"))
	require.Zero(t, calls(b, "tone"), "nothing is due")
	slept(s, b, 9*time.Minute)
	b.Until("a check is due", due)
	b.Until("heard", `calls.tone === 2 && calls.vibrate === 1`)
	time.Sleep(1200 * time.Millisecond) // a tick more
	require.Equal(t, 2.0, calls(b, "tone"), "once")
	slept(s, b, 4*time.Minute)
	b.Until("late", `document.getElementById("alert").innerText.includes("check now")`)
	b.Until("heard again, and longer", `calls.tone === 4 && calls.vibrate === 2`)
	slept(s, b, 30*time.Second)
	b.Until("until somebody looks", `calls.tone === 8 && calls.vibrate === 3`)

	// Whoever switches it off hears nothing any more.
	b.Eval(`document.getElementById("sound").click(); ""`)
	require.Equal(t, "Sound and vibration are off", b.Eval(`document.getElementById("sound").innerText`))
	slept(s, b, 45*time.Minute)
	b.Until("at the maximum", `document.getElementById("alert").innerText.includes("Rinse now")`)
	time.Sleep(1200 * time.Millisecond)
	require.Equal(t, 8.0, calls(b, "tone"))
	require.Equal(t, 3.0, calls(b, "vibrate"))
	b.Quiet()
}

func TestAPhoneThatCanNeitherSoundNorStayOnRunsAVisitAllTheSame(t *testing.T) {
	for name, without := range map[string]string{
		"they are missing": `delete Navigator.prototype.wakeLock; delete Navigator.prototype.vibrate; delete Navigator.prototype.userActivation; delete window.AudioContext; delete window.webkitAudioContext;`,
		"they refuse": counters + `navigator.wakeLock.request = async () => { throw new DOMException("the battery is low", "NotAllowedError"); };
			navigator.vibrate = () => false; window.AudioContext.prototype.resume = function () { return Promise.resolve(); };`,
	} {
		t.Run(name, func(t *testing.T) {
			s, v := looked(t)
			s.At(at(9, 39))
			b := phone(t, s, store.LeadRole, s.Ada)
			b.Before(without)
			b.Open(s.URL + "/my-day/visits/" + v.ID)
			b.Eval(quietClock)
			b.Until("the page counts", `!document.getElementById("sound").hidden`)
			b.Click(`.nextbar:not([hidden]) button`)
			require.Eventually(t, func() bool { return run(s, v.ID).Now.Product == "solution" }, time.Minute, 30*time.Millisecond)
			b.Until("the clock counts", `document.getElementById("check").innerText === "09:49"`)
			slept(s, b, 11*time.Minute)
			b.Until("a check is due", `document.getElementById("alert").innerText.includes("Check now")`)
			b.Quiet()
		})
	}
}
