package api_test

import (
	"html"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// desk is a browser without script that is signed in.
type desk struct {
	s    *salon
	http *http.Client
	at   *url.URL // where it is
	page string
	code int
}

// desk opens the pages of the salon for a role.
func (s *salon) desk(role store.Role) *desk {
	s.t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(s.t, err)
	d := &desk{s: s, http: &http.Client{Jar: jar, Transport: s.http.Client().Transport}}
	var link string
	require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(tx *store.Tx) (err error) {
		link, err = tx.AddSessionLink(s.t.Context(), role, "", time.Now().Add(time.Hour))
		return err
	}))
	d.post("/open/"+link+"/enter", nil)
	return d
}

func (d *desk) take(r *http.Response, err error) *desk {
	d.s.t.Helper()
	require.NoError(d.s.t, err)
	defer r.Body.Close()
	raw, err := io.ReadAll(r.Body)
	require.NoError(d.s.t, err)
	d.page, d.code, d.at = string(raw), r.StatusCode, r.Request.URL
	require.Less(d.s.t, d.code, 500, d.page)
	return d
}

func (d *desk) get(path string) *desk {
	d.s.t.Helper()
	return d.take(d.http.Get(d.s.http.URL + path))
}

// form is what the page would post if nothing were touched.
func (d *desk) form() url.Values {
	v := url.Values{}
	attr := func(tag, name string) string {
		m := regexp.MustCompile(` ` + name + `="([^"]*)"`).FindStringSubmatch(tag)
		if m == nil {
			return ""
		}
		return html.UnescapeString(m[1])
	}
	for _, tag := range regexp.MustCompile(`<input [^>]*>`).FindAllString(d.page, -1) {
		kind := attr(tag, "type")
		if name := attr(tag, "name"); name != "" && (kind != "checkbox" && kind != "radio" || strings.Contains(tag, " checked")) {
			v.Add(name, attr(tag, "value"))
		}
	}
	for _, m := range regexp.MustCompile(`(?s)<select ([^>]*)>(.*?)</select>`).FindAllStringSubmatch(d.page, -1) {
		if o := regexp.MustCompile(`<option [^>]*selected[^>]*>`).FindString(m[2]); o != "" {
			v.Add(attr(" "+m[1], "name"), attr(o, "value"))
		}
	}
	return v
}

// press posts the form of the page with what was typed and one of its buttons,
// named by how its value begins.
func (d *desk) press(button string, typed map[string]string) *desk {
	d.s.t.Helper()
	v := d.form()
	for name, value := range typed {
		v.Set(name, value)
	}
	m := regexp.MustCompile(`name="do" value="(` + regexp.QuoteMeta(button) + `[^"]*)"`).FindStringSubmatch(d.page)
	require.NotNil(d.s.t, m, "no button %s on the page\n%s", button, d.page)
	v.Set("do", html.UnescapeString(m[1]))
	return d.post("/book", v)
}

func (d *desk) post(path string, v url.Values) *desk {
	d.s.t.Helper()
	return d.take(d.http.PostForm(d.s.http.URL+path, v))
}

// says demands words on the page, whatever stands between them.
func (d *desk) says(words ...string) *desk {
	d.s.t.Helper()
	text := html.UnescapeString(regexp.MustCompile(`\s+`).ReplaceAllString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(d.page, ""), " "))
	for _, w := range words {
		require.Contains(d.s.t, text, w)
	}
	return d
}

// cutTomorrow is what is typed for a cut on the next day.
func (s *salon) cutTomorrow(more map[string]string) map[string]string {
	v := map[string]string{"service": s.services["Dry cut"], "stylist": s.ben, "date_from": "2026-06-09"}
	for k, x := range more {
		v[k] = x
	}
	return v
}

// visitsAt lists the states of the visits that begin at a time.
func (s *salon) visitsAt(at time.Time) []string {
	s.t.Helper()
	return s.column(`SELECT state FROM visit WHERE starts_at = $1 ORDER BY created_at`, at)
}

func TestTheBookingPagePencilsAndBooks(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.server.MountPages()
	d := s.desk(store.Desk)
	at := start.Add(25 * time.Hour)
	d.get("/book").press("estimate", s.cutTomorrow(map[string]string{"first_name": "Lena", "phone": "12"})).press("openings", nil)
	d.says("A press books at once. Pencilled, a time is kept for 10 minutes while the client decides.")
	d.press("pencil:", nil)
	require.Equal(t, 200, d.code)
	d.says("Pencilled until 08:10", "Tue 9 June 09:00 with Ben", "Dry cut, 39.00 EUR.")
	require.Contains(t, d.page, `data-seconds="600"`)
	require.Equal(t, []string{"held"}, s.visitsAt(at))
	require.Equal(t, "Lena", s.holds()[0].Title, "who is asking")
	require.Empty(t, s.column(`SELECT given_name FROM client`), "nobody is added yet")

	// What was typed is still there, and what is wrong in it is said.
	require.Equal(t, "12", d.form().Get("phone"))
	d.press("firm", nil)
	require.Equal(t, 422, d.code)
	d.says("Phone: with its country code", "Pencilled until 08:10")
	require.Equal(t, []string{"held"}, s.visitsAt(at))
	s.at(start.Add(4 * time.Minute))
	d.press("longer", nil).says("Pencilled until 08:14")
	form := d.form()
	d.press("firm", map[string]string{"phone": "+49 30 901821"})
	require.Equal(t, 200, d.code)
	d.says("Lena, Dry cut", "Messages that are due")
	require.Equal(t, "/book", d.at.Path)
	require.NotEmpty(t, d.at.Query().Get("booked"))
	require.Equal(t, []string{"booked"}, s.visitsAt(at))
	booked := d.at.String()
	form.Set("phone", "+49 30 901821")
	form.Set("do", "firm")
	require.Equal(t, booked, d.post("/book", form).at.String(), "a second press gives what the first did")
	require.Len(t, s.column(`SELECT given_name FROM client`), 1)
	require.Equal(t, booked, d.get("/book?pencilled="+d.at.Query().Get("booked")).at.String(), "it is not pencilled any more")
}

func TestAPencilledVisitIsFoundAgainAndGivenUp(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.testsSkin()
	s.server.MountPages()
	d := s.desk(store.LeadRole)
	h := hair()
	h["curl"] = "wavy"
	v, _ := s.pencil(start.Add(25*time.Hour), []object{{"service_id": s.services["Straightening"], "hair": h}}, object{"title": "Lena", "minutes": 1440})
	d.get("/?date=2026-06-09")
	require.Contains(t, d.page, "pencilled until 08:00 for Lena, not booked yet")
	soon, _ := s.pencil(start.Add(26*time.Hour), s.trim(s.ben), nil)
	require.Contains(t, d.get("/?date=2026-06-09").page, "10:00 to 10:30, 30 minutes, pencilled until Mon 08:10, not booked yet, Dry cut")
	s.call("POST", "/v1/visits/"+soon.ID+"/release", nil, "If-Match", `"v1"`).is(200, nil)
	require.Contains(t, d.page, `href="/visits/`+v.ID+`"`)
	d.get("/book?pencilled="+v.ID).says("Pencilled until Tue 9 June 08:00", "Licensed person who said yes")
	f := d.form()
	require.Equal(t, []string{"Lena", "35", "medium", "true", "4"}, []string{f.Get("first_name"), f.Get("length_cm"), f.Get("density"), f.Get("new_client"), f.Get("sections")})
	d.press("firm", nil)
	require.Equal(t, 422, d.code)
	d.says("Licensed person who said yes: choose the licensed person who said yes")
	require.Empty(t, s.column(`SELECT given_name FROM client`))
	d.press("give_up", nil)
	require.Equal(t, 200, d.code)
	d.says("Times that fit", "Mon 8 June 09:00 with Ada")
	require.Equal(t, []string{"cancelled"}, s.visitsAt(v.Start))
	require.Empty(t, s.holds())

	two, _ := s.pencil(start.Add(25*time.Hour), []object{s.by(s.ada, "Dry cut"), s.by(s.ben, "Dry cut")}, nil)
	d.get("/book?pencilled="+two.ID).press("give_up", nil)
	require.Equal(t, 200, d.code)
	require.Empty(t, s.holds())
	d.get("/book?pencilled=none")
	require.Equal(t, 404, d.code)
}

func TestAPressOnThePageAfterTheEndBooksOrOffersOtherTimes(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.server.MountPages()
	d, other := s.desk(store.Desk), s.desk(store.Desk)
	at := start.Add(25 * time.Hour)
	pencilled := func() {
		d.get("/book").press("estimate", s.cutTomorrow(map[string]string{"first_name": "Lena"})).press("openings", nil).press("pencil:", nil)
		require.Equal(t, "held", s.visitsAt(at)[len(s.visitsAt(at))-1])
	}
	pencilled()
	s.at(start.Add(11 * time.Minute))
	d.get("/book?pencilled="+d.form().Get("held")).says("It was pencilled until 08:10.").press("firm", nil).says("Lena, Dry cut")
	require.Equal(t, []string{"booked"}, s.visitsAt(at))

	// The other desk gives it up, and the next one finds it taken.
	at = at.Add(30 * time.Minute)
	pencilled()
	other.get("/book?pencilled="+d.form().Get("held")).press("give_up", nil)
	d.press("firm", nil)
	require.Equal(t, 409, d.code)
	d.says("somebody else has changed it in the meantime", "Times that fit")
	pencilled()
	s.at(start.Add(22 * time.Minute))
	s.book(s.client("Nora"), at, s.trim(s.ben))
	d.press("firm", nil)
	require.Equal(t, 409, d.code)
	d.says("Times that fit", "Tue 9 June 10:00 with Ben")
	require.Equal(t, "Lena", d.form().Get("first_name"))
	d.press("book:", nil).says("Lena, Dry cut")
}

func TestHostileFormsAboutPencilledVisitsAreAnswered(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.server.MountPages()
	d := s.desk(store.Desk)
	n := s.neighbour()
	theirs, _ := n.pencil(start.Add(25*time.Hour), n.trim(n.ben), nil)
	v, _ := s.pencil(start.Add(25*time.Hour), s.trim(s.ben), nil)
	for _, do := range []string{"firm", "longer", "give_up"} {
		for _, x := range []url.Values{
			{}, {"held": {v.ID}}, {"held": {v.ID}, "held_version": {"x"}}, {"held": {"\x00"}, "held_version": {"1"}},
			{"held": {strings.Repeat("v", 9000)}, "held_version": {"1"}}, {"held": {"none"}, "held_version": {"1"}}, {"held": {v.ID}, "held_version": {"99999999999999999999"}},
			{"held": {v.ID}, "held_version": {"7"}, "first_name": {"Lena"}}, {"held": {theirs.ID}, "held_version": {"1"}, "first_name": {"Lena"}},
		} {
			x.Set("do", do)
			d.post("/book", x)
			require.GreaterOrEqual(t, d.code, 400, "%s %v", do, x)
		}
	}
	require.Equal(t, []string{"held", "held"}, s.visitsAt(v.Start), "theirs and ours")
	require.Empty(t, s.column(`SELECT given_name FROM client`))
	require.Equal(t, 403, s.desk(store.AssistantRole).get("/book").code)
}

func TestTheBoardTakesAWalkInWithTwoAnswers(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.server.MountPages()
	s.at(start.Add(2 * time.Hour))
	d := s.desk(store.Desk)
	d.get("/")
	form := d.form()
	require.NotEmpty(t, form.Get("walk_key"))
	require.NotContains(t, d.page, ">Straightening</option>", "a service for which the hair has to be looked at")
	walk := func(service, name string) *desk {
		v := d.form()
		v.Set("walk_service", service)
		v.Set("walk_name", name)
		return d.post("/walk-in", v)
	}
	walk(s.services["Dry cut"], "")
	require.Equal(t, 422, d.code)
	d.says("Type a first name")
	walk("", "Vida").says("Choose what she walked in for.")
	require.Equal(t, "Vida", d.form().Get("walk_name"))
	walk(s.services["Dry cut"], "Vida")
	require.Equal(t, 200, d.code)
	require.Equal(t, "/", d.at.Path)
	d.says("Vida is here: Dry cut from 10:00 with ")
	require.Contains(t, d.page, "V., cut, hands on")
	require.Contains(t, d.page, ", arrived")
	again := d.at.String()
	form.Set("walk_service", s.services["Dry cut"])
	form.Set("walk_name", "Vida")
	require.Equal(t, again, d.post("/walk-in", form).at.String(), "a second press of the same form")
	form.Set("walk_name", "Ula")
	require.Equal(t, 409, d.post("/walk-in", form).code, "the same form for somebody else")
	walk(s.services["Dry cut"], "Ula").says("Ula is here")
	walk(s.services["Dry cut"], "Ora")
	require.Equal(t, 409, d.code)
	d.says("nobody is free for this now; the first start today is at 10:33 with ")
	require.Len(t, s.column(`SELECT visit_id FROM visit`), 2)

	require.NotContains(t, d.get("/?date=2026-06-09").page, "walk_key", "only today")
	helper := s.desk(store.AssistantRole)
	require.NotContains(t, helper.get("/").page, "walk_key")
	require.Equal(t, 403, helper.post("/walk-in", form).code)
	require.Equal(t, 422, d.post("/walk-in", url.Values{"walk_service": {s.services["Dry cut"]}, "walk_name": {"Eva"}}).code, "no key")
}

func TestTheBoardShowsKeptTimeByItsTitle(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.server.MountPages()
	d := s.desk(store.AssistantRole)
	var v api.VisitBody
	tag := s.keep("one", object{"unit_ids": []string{s.mina, s.chairs[0]}, "start": start.Add(2 * time.Hour), "minutes": 20, "title": "the new dryer"}).is(201, &v).header.Get("ETag")
	d.get("/")
	require.Equal(t, 2, strings.Count(d.page, "<title>10:00 to 10:20, 20 minutes, the new dryer, kept, no client</title>"))
	v, _ = s.read(v.ID)
	require.Equal(t, []string{"the new dryer", "Mina", "chair 1"}, append([]string{v.ClientName}, v.Kept...))
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	require.NotContains(t, d.get("/").page, "the new dryer")
}
