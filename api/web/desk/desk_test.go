package desk_test

import (
	"html"
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
	"chairblock/api/web/desk"
	"chairblock/api/web/webtest"
	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestMain(m *testing.M) {
	os.Exit(chromium.Shared(func() int { return storetest.Main(m, store.Migrate, migrations.Hash()) }))
}

// monday is the day of the salon's clock, at a time of it.
func monday(hour, minute int) time.Time {
	return time.Date(2026, 6, 8, hour-1, minute, 0, 0, time.UTC)
}

func tuesday(hour, minute int) time.Time { return monday(hour, minute).AddDate(0, 0, 1) }

// person is somebody with a browser that has no scripts.
type person struct {
	t      testing.TB
	s      *webtest.Salon
	v      *webtest.Visitor
	page   string
	status int
}

func newSalon(t testing.TB) *webtest.Salon { return webtest.New(t, desk.Mount) }

// at is somebody who is signed in with a role.
func at(t testing.TB, s *webtest.Salon, role store.Role, staff string) *person {
	p := &person{t: t, s: s, v: s.Visitor(t)}
	p.sees(p.v.Get(s.Link(role, staff)))
	return p
}

func (p *person) sees(a webtest.Answer) { p.page, p.status = a.Body, a.Status }

// get opens a page.
func (p *person) get(path string) *person {
	p.t.Helper()
	p.sees(p.v.Get(path))
	require.Equal(p.t, http.StatusOK, p.status, "%s: %s", path, p.text())
	return p
}

// text is the page without its tags.
func (p *person) text() string { return webtest.Answer{Body: p.page}.Text() }

// says demands that the page reads so.
func (p *person) says(words ...string) *person {
	p.t.Helper()
	text := p.text()
	for _, w := range words {
		if !strings.Contains(text, w) {
			require.Fail(p.t, "the page lacks "+w, text)
		}
	}
	return p
}

func (p *person) lacks(words ...string) *person {
	p.t.Helper()
	text := p.text()
	for _, w := range words {
		require.NotContains(p.t, text, w)
	}
	return p
}

var attrs = regexp.MustCompile(`([a-z-]+)="([^"]*)"`)

func attributes(tag string) map[string]string {
	out := map[string]string{}
	for _, m := range attrs.FindAllStringSubmatch(tag, -1) {
		out[m[1]] = html.UnescapeString(m[2])
	}
	return out
}

// form is what the form with that action, whose text has all of with, would send.
func (p *person) form(action string, with ...string) url.Values {
	p.t.Helper()
	for _, m := range regexp.MustCompile(`(?s)<form([^>]*)>(.*?)</form>`).FindAllStringSubmatch(p.page, -1) {
		if a := attributes(m[1]); a["action"] != action || a["method"] != "post" {
			continue
		}
		fits := true
		for _, w := range with {
			fits = fits && strings.Contains(m[2], w)
		}
		if fits {
			return valuesOf(m[2])
		}
	}
	require.Fail(p.t, "no form "+action, p.text())
	return nil
}

func valuesOf(form string) url.Values {
	v := url.Values{}
	for _, tag := range regexp.MustCompile(`<input [^>]*>`).FindAllString(form, -1) {
		a := attributes(tag)
		if a["name"] != "" && (a["type"] != "checkbox" || strings.Contains(tag, " checked")) {
			v.Add(a["name"], a["value"])
		}
	}
	for _, m := range regexp.MustCompile(`(?s)<textarea ([^>]*)>(.*?)</textarea>`).FindAllStringSubmatch(form, -1) {
		v.Add(attributes(m[1])["name"], html.UnescapeString(m[2]))
	}
	for _, m := range regexp.MustCompile(`(?s)<select ([^>]*)>(.*?)</select>`).FindAllStringSubmatch(form, -1) {
		if o := regexp.MustCompile(`<option [^>]*selected[^>]*>`).FindString(m[2]); o != "" {
			v.Set(attributes(m[1])["name"], attributes(o)["value"])
		}
	}
	return v
}

// send sends a form of the page with what is typed, in pairs of name and value,
// and demands a status of the page that comes of it.
func (p *person) send(status int, action string, typed ...string) *person {
	p.t.Helper()
	v := p.form(action)
	for i := 0; i+1 < len(typed); i += 2 {
		v.Set(typed[i], typed[i+1])
	}
	p.sees(p.v.Post(action, v))
	require.Equal(p.t, status, p.status, "%s: %s", action, p.text())
	return p
}

// hasForm reports whether the page has a form with that action.
func (p *person) hasForm(action string) bool {
	return strings.Contains(p.page, `action="`+action+`"`)
}

// cut books a dry cut with Ben.
func cut(s *webtest.Salon, client string, start time.Time) api.VisitBody {
	var v api.VisitBody
	s.Ask(http.MethodPost, "/visits", webtest.Object{"client_id": client, "start": start, "services": []webtest.Object{{"service_id": s.Services["Dry cut"], "lead_id": s.Ben}}}, http.StatusCreated, &v)
	return v
}

// visitNow is a visit as it stands.
func visitNow(s *webtest.Salon, id string) (v api.VisitBody, tag string) {
	tag = s.Ask(http.MethodGet, "/visits/"+id, nil, http.StatusOK, &v).Get("ETag")
	return v, tag
}
