//go:build unix

package main

import (
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/store"
)

// pencil pencils a dry cut at the first start tomorrow.
func (d *demo) pencil(t *testing.T, until time.Time) api.VisitBody {
	t.Helper()
	return d.pencilOn(t, tomorrow(t), until)
}

// pencilOn is pencil for another day.
func (d *demo) pencilOn(t *testing.T, date string, until time.Time) api.VisitBody {
	t.Helper()
	cut := d.service(t, "Dry cut")
	ask := api.OpeningsRequest{Services: []api.ServiceRequest{{ServiceID: cut}}, FirstDate: date, Limit: 1}
	found := into[api.OpeningsAnswer](call(t, http.MethodPost, d.url+"/v1/openings", d.owner, ask))
	require.NotEmpty(t, found.Openings)
	o := found.Openings[0]
	body := api.HoldRequest{Start: o.Start, Services: []api.ServiceRequest{{ServiceID: cut, LeadID: o.LeadID}}, Title: "a caller", HoldFor: api.HoldFor{Until: &until}}
	r := call(t, http.MethodPost, d.url+"/v1/holds", d.owner, body, "Idempotency-Key", store.NewID())
	require.Equal(t, http.StatusCreated, r.status, r.body)
	return into[api.VisitBody](r)
}

func (d *demo) state(t *testing.T, id string) string {
	t.Helper()
	return into[api.VisitBody](get(t, d.url+"/v1/visits/"+id, d.owner)).State
}

func TestWhatIsPencilledSurvivesAKilledProgramAndEndsInTime(t *testing.T) {
	t.Parallel()
	dir := furnished(t)
	d := startDemo(t, dir)
	long := d.pencil(t, time.Now().Add(time.Hour))
	short := d.pencil(t, time.Now().Add(4*time.Second))
	d.signal(syscall.SIGKILL)
	require.Equal(t, -1, d.ended(), "killed by a signal")

	token := d.owner
	d = startDemo(t, dir)
	d.owner = token
	require.Equal(t, "held", d.state(t, long.ID))
	eventually(t, "the other one has ended by itself", func() bool { return d.state(t, short.ID) == "lapsed" })
	require.False(t, time.Now().Before(*short.HeldUntil))
	holds := into[struct{ Items []api.HoldBody }](get(t, d.url+"/v1/holds", d.owner)).Items
	require.Len(t, holds, 1)
	require.Equal(t, long.ID, holds[0].ID)
	require.True(t, long.HeldUntil.Equal(*holds[0].HeldUntil))

	// Its time is nobody else's, and whoever holds it books it.
	who := into[api.ClientBody](call(t, http.MethodPost, d.url+"/v1/clients", d.owner, map[string]string{"given_name": "Juna"}))
	other := api.VisitRequest{ClientID: who.ID, Start: long.Start, Services: []api.ServiceRequest{{ServiceID: long.Services[0].ServiceID, LeadID: long.Services[0].LeadID}}}
	require.Equal(t, http.StatusConflict, call(t, http.MethodPost, d.url+"/v1/visits", d.owner, other, "Idempotency-Key", store.NewID()).status)
	r := call(t, http.MethodPost, d.url+"/v1/visits/"+long.ID+"/book", d.owner, api.HeldBooking{ClientID: who.ID}, "If-Match", `"v1"`)
	require.Equal(t, http.StatusOK, r.status, r.body)
	require.Equal(t, "booked", d.state(t, long.ID))
	d.endBy(t, syscall.SIGINT)
}

func TestTheDeskPencilsAVisitInABrowser(t *testing.T) {
	d := startDemo(t, furnished(t))
	b := chromium.New(t)
	b.Open(d.open)
	d.estimate(b, map[string]string{"service": "Dry cut", "date_from": tomorrow(t)})
	b.Press(`button[value="openings"]`)
	b.Shot("openings-pencil")
	b.Press(`button[value^="pencil:"]`)
	eventually(t, "the time left is counted", func() bool { return strings.Contains(b.Text(), " left") })
	require.Regexp(t, `Pencilled until \d\d:\d\d, (10:00|9:\d\d) left`, b.Text())
	require.Contains(t, b.Text(), "Dry cut, 39.00 GBP.")
	b.Fits()
	b.Shot("pencilled")
	holds := into[struct{ Items []api.HoldBody }](get(t, d.url+"/v1/holds", d.owner)).Items
	require.Len(t, holds, 1)
	v := holds[0]

	b.Open(d.url + "/?date=" + v.Start.In(london(t)).Format(time.DateOnly))
	require.Contains(t, b.Eval(`document.querySelector("svg.board").textContent`), "pencilled until ")
	require.Equal(t, "none", b.Eval(`getComputedStyle(document.querySelector("a.pencilled .block")).fill`), "an outline")
	require.NotEqual(t, "none", b.Eval(`getComputedStyle(document.querySelector("a.pencilled .block")).strokeDasharray`), "of dashes, without any colour")
	require.Contains(t, b.Eval(`document.querySelector("a.pencilled title").textContent`), "not booked yet")
	b.Shot("board-pencilled")
	b.Open(d.url + "/visits/" + v.ID)
	b.Press(`a[href^="/book?pencilled="]`)
	b.Fill(map[string]string{"first_name": "Pia", "phone": "5"})
	b.Press(`button[value="firm"]`)
	require.Contains(t, b.Text(), "Phone: with its country code")
	require.Equal(t, "held", d.state(t, v.ID))
	b.Fill(map[string]string{"phone": ""})
	b.Leaves(chromedp.DoubleClick(chromedp.CSS(`button[value="firm"]`)))
	require.Contains(t, b.Text(), "Pia, Dry cut")
	require.Len(t, d.visitsOf(t, "Pia"), 1)
	require.Equal(t, "booked", d.state(t, v.ID))

	d.estimate(b, map[string]string{"service": "Dry cut", "date_from": tomorrow(t)})
	b.Press(`button[value="openings"]`)
	b.Press(`button[value^="pencil:"]`)
	b.Press(`button[value="give_up"]`)
	require.Contains(t, b.Text(), "Times that fit")
	require.Empty(t, into[struct{ Items []api.HoldBody }](get(t, d.url+"/v1/holds", d.owner)).Items)
	b.Quiet("422")

	// Whether anybody is free depends on the hour: both answers are right ones.
	b.Open(d.url + "/")
	b.Press(`a[href="/"]`)
	b.Fill(map[string]string{"walk_service": "Dry cut", "walk_name": "Vida"})
	b.Leaves(chromedp.KeyEvent("\r"))
	if text := b.Text(); !strings.Contains(text, "Vida is here: Dry cut from") {
		require.Contains(t, text, "nobody is free for this now")
	}
	b.Shot("board-walk-in")
	b.Fits()
	b.Quiet("409")
	d.endBy(t, syscall.SIGINT)
}
