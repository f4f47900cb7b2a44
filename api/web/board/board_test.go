package board_test

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web/board"
	"chairblock/api/web/desk"
	"chairblock/api/web/webtest"
	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestMain(m *testing.M) {
	os.Exit(chromium.Shared(func() int { return storetest.Main(m, store.Migrate, migrations.Hash()) }))
}

// person is somebody who uses the pages without a script.
type person struct {
	t    *testing.T
	v    *webtest.Visitor
	page string // what she sees
}

func at(t *testing.T, s *webtest.Salon, role store.Role, staff string) *person {
	t.Helper()
	p := &person{t: t, v: s.Visitor(t)}
	p.sees(p.v.Get(s.Link(role, staff)))
	return p
}

func (p *person) sees(a webtest.Answer) webtest.Answer {
	p.page = a.Body
	return a
}

func (p *person) get(path string) *person {
	p.t.Helper()
	require.Equal(p.t, http.StatusOK, p.sees(p.v.Get(path)).Status, "%s: %s", path, p.page)
	return p
}

func (p *person) send(status int, path string, form url.Values) *person {
	p.t.Helper()
	require.Equal(p.t, status, p.sees(p.v.Post(path, form)).Status, "%s: %s", path, p.page)
	return p
}

// text is what can be read.
func (p *person) text() string { return webtest.Answer{Body: p.page}.Text() }

func (p *person) says(words ...string) {
	p.t.Helper()
	for _, w := range words {
		require.Contains(p.t, p.text(), w)
	}
}

var hiddenID = regexp.MustCompile(`action="/undo"><input type="hidden" name="id" value="([^"]+)"><input type="hidden" name="back" value="([^"]*)"`)

// undoes presses the button that takes back what was done last.
func (p *person) undoes(status int) *person {
	p.t.Helper()
	m := hiddenID.FindStringSubmatch(p.page)
	require.NotNil(p.t, m, "no button: %s", p.text())
	return p.send(status, "/undo", url.Values{"id": {m[1]}, "back": {strings.ReplaceAll(m[2], "&amp;", "&")}})
}

func salon(t *testing.T) *webtest.Salon {
	t.Helper()
	return webtest.New(t, board.Mount, desk.Mount)
}

// monday is a time of the first day by the clock of the salon.
func monday(hour, minute int) time.Time {
	return time.Date(2026, 6, 8, hour-1, minute, 0, 0, time.UTC)
}

// cut books a dry cut.
func cut(t *testing.T, s *webtest.Salon, client, lead string, start time.Time) api.VisitBody {
	t.Helper()
	var v api.VisitBody
	s.Ask(http.MethodPost, "/visits", webtest.Object{"client_id": client, "start": start,
		"services": []webtest.Object{{"service_id": s.Services["Dry cut"], "lead_id": lead}}}, http.StatusCreated, &v)
	return v
}

func TestTheBoardSaysWhoComesUpAndWhoIsLate(t *testing.T) {
	s := salon(t)
	v := cut(t, s, s.Client("Juna", "Kestrel"), s.Ben, monday(9, 0))
	cut(t, s, s.Client("Mara", "Quist"), s.Ben, monday(9, 45))
	cut(t, s, s.Client("Ines", "Vale"), s.Ben, monday(14, 0))
	d := at(t, s, store.Desk, "")
	s.At(monday(8, 50))
	d.get("/").says("Coming up", "09:00 Juna K. Dry cut with Ben Reed", "can start until", "next client of Ben Reed at 09:45", "as of 08:50")
	require.NotContains(t, d.text(), "Ines")
	s.At(monday(9, 25))
	d.get("/").says("25 min late, is she coming?")
	s.At(monday(9, 12))
	d.get("/").says("09:00 Juna K. Dry cut with Ben Reed: 12 min late")
	d.send(http.StatusOK, "/visits/"+v.ID+"/arrive", url.Values{"version": {`"v1"`}, "key": {"k"}})
	d.get("/").says("Juna K. will be done about 09:42: 12 min late")
	d.get("/?date=2026-06-09")
	require.NotContains(t, d.text(), "Coming up")
}

func TestTheWeekSaysWhoIsFreeWhen(t *testing.T) {
	s := salon(t)
	cut(t, s, s.Client("Juna", "Kestrel"), s.Ben, monday(11, 0))
	s.Straightening(s.Client("Mara", "Quist"), s.Ada, monday(34, 0))
	d := at(t, s, store.AssistantRole, s.Mina)
	d.get("/week?from=2026-06-08").says("Monday 8 June", "today", "open 09:00 to 19:00, one visit", "Ben Reed : 30 min booked, free 09:00 to 11:00, 11:30 to 19:00", "Sunday 14 June closed, no visits",
		"Noor Vale : nothing booked, free 09:00 to 19:00")
	require.Contains(t, d.page, `href="/?date=2026-06-09"`)
	require.Contains(t, d.page, `href="/week?from=2026-06-15"`)
	d.get("/week?from=2026-06-08&person=" + s.Ada).says("Ada Birch")
	require.Equal(t, 7, strings.Count(d.page, "<svg"), "a strip for each day")
	require.Contains(t, d.page, `class="taken"`)
	require.Less(t, len(d.page), 60<<10)
	require.Equal(t, http.StatusUnprocessableEntity, d.v.Get("/week?from=soon").Status)
	var w api.SevenDaysBody
	s.Ask(http.MethodGet, "/weeks/2026-06-08", nil, http.StatusOK, &w)
	require.Len(t, w.Days, 7)
	require.Equal(t, 1, w.Days[0].Visits)
}

// A day is as long as it really is, and says so.
func TestTheBoardAndTheWeekHoldOnDaysOnWhichTheClocksChange(t *testing.T) {
	s := salon(t)
	s.Ask(http.MethodPut, "/hours", webtest.Object{"open": []webtest.Object{{"weekday": 7, "from": "00:00", "to": "06:00"}}}, http.StatusOK, nil,
		"If-Match", s.Ask(http.MethodGet, "/hours", nil, http.StatusOK, nil).Get("ETag"))
	for _, p := range []string{s.Ben} {
		path := "/staff/" + p + "/hours"
		s.Ask(http.MethodPut, path, webtest.Object{"work": []webtest.Object{{"weekday": 7, "from": "00:00", "to": "06:00"}}, "breaks": []webtest.Object{}}, http.StatusOK, nil,
			"If-Match", s.Ask(http.MethodGet, path, nil, http.StatusOK, nil).Get("ETag"))
	}
	for _, x := range []struct {
		day, hours, words string
		free              time.Duration
	}{{"2026-10-25", "7", "Clocks go back", 7 * time.Hour}, {"2027-03-28", "5", "Clocks go forward", 5 * time.Hour}} {
		on, err := time.Parse(time.DateOnly, x.day)
		require.NoError(t, err)
		s.At(on.Add(30 * time.Minute))
		d := at(t, s, store.Desk, "")
		d.get("/").says(on.Format("Monday 2 January 2006"), x.words)
		d.get("/week").says(on.Format("Monday 2 January"))
		var w api.SevenDaysBody
		s.Ask(http.MethodGet, "/weeks/"+x.day, nil, http.StatusOK, &w)
		require.Len(t, w.Days[0].People, 1)
		require.Equal(t, x.free, w.Days[0].People[0].Free[0].To.Sub(w.Days[0].People[0].Free[0].From), x.day)
		d.get("/week?from=" + x.day + "&person=" + s.Ben)
		require.Equal(t, 7, strings.Count(d.page, "<svg"))
	}
}

func TestQuickAnswersFindClients(t *testing.T) {
	s := salon(t)
	cut(t, s, s.Client("Juna", "Kestrel"), s.Ben, monday(11, 0))
	s.Client("<script>alert(1)</script>", "Ort\u202eiz")
	s.Client("نور", "شاهين")
	d := at(t, s, store.Desk, "")
	d.send(http.StatusOK, "/find", url.Values{"q": {"jun"}}).says("Juna Kestrel · comes Mon 8 June, 11:00")
	d.send(http.StatusOK, "/find", url.Values{"q": {"نور"}})
	require.Contains(t, d.page, "<bdi>نور شاهين</bdi>")
	d.send(http.StatusOK, "/find", url.Values{"q": {"<scr"}})
	require.NotContains(t, d.page, "<script>")
	require.NotContains(t, d.page, "\u202e")
	d.send(http.StatusOK, "/find", url.Values{"q": {"zzz"}}).says("Nobody is found by that.")
	d.send(http.StatusOK, "/find", url.Values{"q": {strings.Repeat("ö", 5000)}})
}

func TestThePartsOfTheBoardAreSentOnlyWhenTheyChange(t *testing.T) {
	s := salon(t)
	cut(t, s, s.Client("Juna", "Kestrel"), s.Ben, monday(12, 0))
	s.At(monday(9, 0))
	d := at(t, s, store.Desk, "")
	part := func(path, tag string) webtest.Answer {
		return d.sees(d.v.Get(path, "If-None-Match", tag))
	}
	a := part("/?part=day", "")
	tag := a.Header.Get("ETag")
	require.Equal(t, http.StatusOK, a.Status)
	require.Equal(t, "2026-06-08T09:00:00+01:00", a.Header.Get("As-Of"))
	for _, name := range []string{"date", "ways", "days", "top", "drawing", "list", "notes"} {
		require.Contains(t, d.page, `data-part="`+name+`"`)
	}
	require.NotContains(t, d.page, "<html")
	require.NotContains(t, d.page, "walk_key", "what is typed into is not sent")
	require.NotContains(t, d.page, "Book a visit on this day", "every page leads to the booking of today")
	d.get("/")
	require.Contains(t, d.page, `data-tag="`+strings.ReplaceAll(tag, `"`, "&#34;")+`"`, "the page is what the parts would be")
	s.At(monday(9, 4))
	a = part("/?part=day", tag)
	require.Equal(t, http.StatusNotModified, a.Status)
	require.Equal(t, "2026-06-08T09:04:00+01:00", a.Header.Get("As-Of"), "but it is still true")
	require.Empty(t, d.page)
	cut(t, s, s.Client("Mara", "Quist"), s.Ben, monday(14, 0))
	require.Equal(t, http.StatusOK, part("/?part=day", tag).Status)
	require.Contains(t, d.page, "M. Q.")
	other := part("/?part=day&date=2026-06-09", "")
	require.NotEqual(t, tag, other.Header.Get("ETag"))
	require.Contains(t, d.page, `<a href="/book?date_from=2026-06-09" data-key="book">Book a visit on this day</a>`)
	require.Equal(t, http.StatusUnauthorized, func() int {
		r, _ := http.NewRequestWithContext(t.Context(), http.MethodGet, s.URL+"/events", nil)
		r.Header.Set("Sec-Fetch-Dest", "empty")
		a, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		a.Body.Close()
		return a.StatusCode
	}())
}

func TestAVisitLeadsBackToItsOwnDay(t *testing.T) {
	s := salon(t)
	today, later := cut(t, s, s.Client("Juna", "Kestrel"), s.Ben, monday(11, 0)), cut(t, s, s.Client("Mara", "Quist"), s.Ben, monday(24+11, 0))
	d := at(t, s, store.Desk, "")
	d.get("/visits/" + later.ID)
	require.Contains(t, d.page, `<a href="/?date=2026-06-09" rel="up">Tue 9 June on the board</a>`)
	d.get("/?date=2026-06-09")
	require.Contains(t, d.page, `href="/visits/`+later.ID+`"`)
	d.get("/visits/" + today.ID)
	require.Contains(t, d.page, `<a href="/" rel="up">Today on the board</a>`, "where walk-ins are taken")
	s.At(monday(24+9, 0))
	d = at(t, s, store.Desk, "")
	d.get("/visits/" + today.ID)
	require.Contains(t, d.page, `<a href="/?date=2026-06-08" rel="up">Mon 8 June on the board</a>`, "a day that is over")
}

func TestTheBoardSaysEverythingOnce(t *testing.T) {
	s := salon(t)
	s.At(monday(9, 0))
	d := at(t, s, store.Desk, "")
	for _, path := range []string{"/", "/?date=2026-06-08", "/?date=2026-06-05"} { // of what is over nothing is booked
		d.get(path)
		require.Equal(t, 1, strings.Count(d.page, `href="/book`), path)
		require.NotContains(t, d.text(), "Book a visit on this day", path)
	}
	d.get("/")
	require.NotContains(t, d.page, `href="#f-walk_service"`)
	require.Equal(t, 1, strings.Count(d.page, `id="f-walk_service"`))
	d.get("/?date=2026-06-10").says("Book a visit on this day")
	require.Equal(t, 2, strings.Count(d.page, `href="/book`))
	d.get("/book?date_from=2026-06-10")
	require.Contains(t, d.page, `name="date_from" value="2026-06-10"`)
	for _, day := range []string{"2026-06-05", "soon", "", "0000-00-00"} {
		d.get("/book?" + url.Values{"date_from": {day}}.Encode())
		require.Contains(t, d.page, `name="date_from" value="2026-06-08"`, day)
	}
}

func TestTheWalkInListLeavesOutWhatNeedsASkinTest(t *testing.T) {
	s := webtest.New(t)
	d := at(t, s, store.Desk, "").get("/")
	require.Contains(t, d.page, ">Root colour</option>", "a salon that asks for none")
	tag := s.Ask(http.MethodGet, "/booking-rules", nil, http.StatusOK, nil).Get("ETag")
	s.Ask(http.MethodPut, "/booking-rules", webtest.Object{"hold_minutes": 10, "needs": webtest.Object{"skin_test_for": "chemical"}}, http.StatusOK, nil, "If-Match", tag)
	d.get("/").says("Not without a skin test: ", "Root colour")
	require.NotContains(t, d.page, ">Root colour</option>")
	require.Contains(t, d.page, ">Dry cut</option>")
}

func TestRinseNowIsFirstOnTheBoard(t *testing.T) {
	s := salon(t)
	v := s.Straightening(s.Client("Mara", "Quist"), s.Ada, monday(10, 0))
	s.At(v.Start)
	path := "/visits/" + v.ID
	tag := s.Ask(http.MethodGet, path, nil, http.StatusOK, nil).Get("ETag")
	s.Ask(http.MethodPost, path+"/arrive", webtest.Object{}, http.StatusOK, nil, "If-Match", tag)
	s.Ask(http.MethodPost, path+"/hair-as-seen", webtest.Object{"unchanged": true}, http.StatusCreated, nil)
	i := 0
	for v.Steps[i].Kind != "apply" {
		i++
	}
	s.At(v.Start.Add(40 * time.Minute))
	tag = s.Ask(http.MethodGet, path, nil, http.StatusOK, nil).Get("ETag")
	s.Ask(http.MethodPost, fmt.Sprintf("%s/steps/%d/start", path, i), webtest.Object{}, http.StatusOK, nil, "If-Match", tag)
	d := at(t, s, store.Desk, "").get("/")
	require.NotContains(t, d.page, "Rinse now")
	s.At(v.Start.Add(55 * time.Minute))
	s.Ask(http.MethodPost, path+"/rinse-now", nil, http.StatusCreated, nil)
	d.get("/").says("“Rinse now” was pressed at", "go and see whether help has to be called", "rinse now")
	d.get("/to-do").says("Mara Q.", "go and see whether help has to be called")
	d.get(path).says("“rinse now” was pressed")
	s.Ask(http.MethodPost, path+"/rinse-now/undo", nil, http.StatusOK, nil)
	require.NotContains(t, d.get("/").page, "rinse now")
}
