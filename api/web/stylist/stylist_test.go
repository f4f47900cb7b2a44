package stylist_test

import (
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web"
	"chairblock/api/web/stylist"
	"chairblock/api/web/webtest"
	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestMain(m *testing.M) { os.Exit(storetest.Main(m, store.Migrate, migrations.Hash())) }

// nine is nine o'clock by the salon's clock on the day of the tests.
var nine = time.Date(2026, 6, 9, 8, 0, 0, 0, time.UTC)

func at(hour, minute int) time.Time { return nine.Add(time.Duration((hour-9)*60+minute) * time.Minute) }

// booked is a salon with a straightening visit of Juna at nine, with Ada in charge.
// more are pages beside the stylist's.
func booked(t *testing.T, more ...func(*web.Site)) (*webtest.Salon, api.VisitBody) {
	t.Helper()
	s := webtest.New(t, append(more, mount)...)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, nine)
	s.Run()
	s.At(nine)
	return s, v
}

func run(s *webtest.Salon, id string) (r api.RunBody) {
	s.Ask(http.MethodGet, "/visits/"+id+"/run", nil, http.StatusOK, &r)
	return r
}

var mount = stylist.Mount

// phone is a browser of the size of one, signed in as somebody.
func phone(t *testing.T, s *webtest.Salon, role store.Role, staff string) *chromium.Browser {
	t.Helper()
	b := chromium.New(t)
	b.Window(390, 844)
	b.Open(s.Link(role, staff))
	return b
}

func step(r api.RunBody, kind string) api.RunStepBody {
	for _, st := range r.Steps {
		if st.Kind == kind {
			return st
		}
	}
	return api.RunStepBody{}
}

// quietClock lets the browser's clock be moved on as that of a phone that slept.
const quietClock = `(() => { if (!window.slept) { const real = Date.now; window.slept = 0; Date.now = () => real() + window.slept; } return ""; })()`

func TestAVisitIsRunWithFiveTaps(t *testing.T) {
	s, v := booked(t)
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Open(s.URL + "/my-day")
	require.Equal(t, "/my-day/", b.Eval(`location.pathname`))
	require.Contains(t, b.Text(), "Next: Juna K. at 09:00")
	b.OpenToAll()
	b.Fits()
	b.Window(390, 844)
	view(b, "day-phone")
	b.Press(`.upright a`)
	b.Until("the page counts", `!!document.getElementById("sound") && !document.getElementById("sound").hidden`)
	view(b, "visit-arrive")
	tap := func(at time.Time, button string, until func(api.RunBody) bool) {
		t.Helper()
		s.At(at)
		// The clock of the server is found anew when a page is loaded.
		b.Open(s.URL + "/my-day/visits/" + v.ID)
		b.Until(button, `[...document.querySelectorAll(".nextbar:not([hidden]) button")].some((e) => e.innerText.includes(`+quote(button)+`))`)
		b.Click(".nextbar:not([hidden]) button")
		require.Eventually(t, func() bool { return until(run(s, v.ID)) }, time.Minute, 20*time.Millisecond, button)
	}
	tap(at(9, 0), "The client is here", func(r api.RunBody) bool { return r.State == "arrived" })
	b.Until("the hair is asked for", `document.getElementById("hair-title") !== null`)
	view(b, "visit-hair")
	b.Press(`.ask .second`)
	require.Contains(t, b.Text(), "Hair as seen is noted")
	tap(at(9, 39), "Solution on", func(r api.RunBody) bool { return r.Now.Product == "solution" })
	b.Until("the clock is shown", `!document.getElementById("clock").hidden && document.getElementById("check").innerText === "09:49"`)
	require.Contains(t, b.Eval(`document.getElementById("clock").innerText`), "no later than 09:52")
	require.Equal(t, "false", b.Eval(`String(document.getElementById("rinsebar").hidden)`))
	b.OpenToAll()
	b.Fits()
	b.Window(390, 844)
	view(b, "visit-solution")
	tap(at(10, 24), "Solution off", func(r api.RunBody) bool { return r.Now.Product == "none" })
	tap(at(10, 50), "Start the iron", func(r api.RunBody) bool { return r.Next.Tap == "neutralizer_on" })
	view(b, "visit-iron")
	tap(at(12, 22), "Neutralizer on", func(r api.RunBody) bool { return r.Now.Product == "neutralizer" })
	s.At(at(13, 30))
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Click("#later summary")
	b.Click("#later button")
	b.Until("it can be taken back", `!document.getElementById("undo-here").hidden`)
	require.Eventually(t, func() bool { return run(s, v.ID).State == "finished" }, time.Minute, 50*time.Millisecond)
	r := run(s, v.ID)
	for _, st := range r.Steps {
		require.NotNil(t, st.RealEnd, st.Label)
	}
	require.Less(t, step(r, "apply").RealStart.Sub(at(9, 39)).Abs(), 3*time.Second)
	require.NotEmpty(t, step(r, "dry_1").Inferred)
	b.Until("it is over", `!!document.getElementById("over") && !document.getElementById("over").hidden`)
	view(b, "visit-over")
	b.Quiet()
	b.Light(s.URL + "/my-day/visits/" + v.ID)
}

// view keeps a picture of what a phone shows without scrolling.
func view(b *chromium.Browser, name string) {
	b.T.Helper()
	dir := os.Getenv("CHAIRBLOCK_SHOTS")
	if dir == "" {
		return
	}
	b.Window(390, 844)
	png, err := chromedp.Run(b.Ctx, chromedp.CaptureScreenshot())
	require.NoError(b.T, err)
	require.NoError(b.T, os.MkdirAll(dir, 0o755))
	require.NoError(b.T, os.WriteFile(filepath.Join(dir, "stylist-"+name+".png"), png, 0o644))
}

func itoa(n int64) string { return strconv.FormatInt(n, 10) }

func quote(s string) string { return `"` + strings.ReplaceAll(s, `"`, `\"`) + `"` }
