package allpages_test

import (
	"context"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/passwords"
	"chairblock/api/web"
	"chairblock/api/web/webtest"
)

// encrypted is the same salon behind an https address, with all pages.
type encrypted struct {
	t       testing.TB
	handler http.Handler
	cookies map[string]*http.Cookie
}

func (e *encrypted) do(method, path string, form url.Values) answered {
	e.t.Helper()
	r := httptest.NewRequest(method, "https://salon.example"+path, strings.NewReader(form.Encode()))
	r.Header.Set("Accept", "text/html")
	r.Header.Set("Sec-Fetch-Mode", "navigate")
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for _, c := range e.cookies {
		r.AddCookie(c)
	}
	ctx, stop := context.WithCancel(e.t.Context())
	defer stop()
	w := httptest.NewRecorder()
	e.handler.ServeHTTP(w, r.WithContext(ctx))
	a := w.Result()
	require.NoError(e.t, a.Body.Close())
	for _, c := range a.Cookies() {
		at := method + " " + path
		require.True(e.t, strings.HasPrefix(c.Name, "__Host-"), "%s sets %s", at, c.Name)
		require.True(e.t, c.Secure && c.HttpOnly && c.Path == "/" && c.Domain == "", "%s: %v", at, c)
		require.Contains(e.t, []http.SameSite{http.SameSiteLaxMode, http.SameSiteStrictMode}, c.SameSite, at)
		e.cookies[c.Name] = c
	}
	return answered{a.StatusCode, a.Header}
}

// answered is what an answer says of itself.
type answered struct {
	StatusCode int
	Header     http.Header
}

// changing are the tables that looking at a page may write to: when somebody was seen
// last, and who has read something about health.
var changing = []string{"sessions", "browser_session", "health_read", "river_leader", "river_queue", "river_client", "goose_db_version", "unit_change_seen"}

// ofNobody are pages that tell nothing of anybody, which a telephone keeps.
var ofNobody = []string{"/my-day/away", "/my-day/manifest.webmanifest", "/my-day/sw.js"}

var inPath = regexp.MustCompile(`:[a-z_]+`)

func TestEveryPageHasItsHeadersAndLookingChangesNothing(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	var a api.AccountBody
	s.Ask("POST", "/accounts", webtest.Object{"mail": "sue@example.org", "name": "Sue", "staff_id": s.Ada, "roles": []string{"owner", "lead"}}, 201, &a)
	client := s.Client("Mara", "Quist")
	v := s.Straightening(client, s.Ada, webtest.Start.Add(25*time.Hour))
	server := api.New(s.Store, "https://salon.example", s.Now)
	server.HashWith(passwords.New(64, 1))
	site := web.New(server)
	server.MountPages()
	for _, mount := range everything {
		mount(site)
	}
	e := &encrypted{t, server.Handler(), map[string]*http.Cookie{}}
	const password = "lamp river nine toast"
	link := strings.TrimPrefix(a.Link, s.URL)
	require.Equal(t, http.StatusSeeOther, e.do("POST", link, url.Values{"password": {password}, "again": {password}}).StatusCode)
	require.Contains(t, slices.Collect(maps.Keys(e.cookies)), "__Host-session")

	var paths []string
	for _, r := range server.Handler().(*echo.Echo).Routes() {
		if r.Method == http.MethodGet && !strings.HasPrefix(r.Path, "/v1") && !strings.Contains(r.Path, "*") && !strings.Contains(r.Path, "events") {
			for _, id := range []string{v.ID, client, s.Ada} {
				paths = append(paths, inPath.ReplaceAllString(r.Path, id))
			}
		}
	}
	slices.Sort(paths)
	paths = slices.Compact(paths)
	require.Greater(t, len(paths), 60)
	e.do("GET", "/", nil)
	before := s.Contents(changing...)
	shown := 0
	for range 2 {
		for _, path := range paths {
			resp := e.do("GET", path, nil)
			h := resp.Header
			require.Less(t, resp.StatusCode, 500, path)
			if resp.StatusCode == http.StatusOK {
				shown++
			}
			require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"), path)
			require.Equal(t, "DENY", h.Get("X-Frame-Options"), path)
			require.Contains(t, []string{"no-referrer", "same-origin"}, h.Get("Referrer-Policy"), path)
			require.Contains(t, h.Get("Strict-Transport-Security"), "max-age=31536000", path)
			require.Empty(t, h.Get("Access-Control-Allow-Origin"), path)
			if !slices.Contains(ofNobody, path) {
				require.Contains(t, h.Get("Cache-Control"), "no-store", path)
			}
			if strings.HasPrefix(h.Get("Content-Type"), "text/") {
				require.Contains(t, strings.ToLower(h.Get("Content-Type")), "charset=utf-8", path)
			}
			if csp := h.Get("Content-Security-Policy"); strings.HasPrefix(h.Get("Content-Type"), "text/html") {
				require.NotContains(t, csp, "unsafe", path)
				for _, part := range []string{"default-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"} {
					require.Contains(t, csp, part, path)
				}
			}
		}
	}
	require.Greater(t, shown, 80, "most pages were really shown")
	require.Equal(t, before, s.Contents(changing...))
	for _, path := range append(paths, "/v1/salon") {
		resp := e.do("TRACE", path, nil)
		require.Contains(t, []int{http.StatusUnauthorized, http.StatusNotFound, http.StatusMethodNotAllowed}, resp.StatusCode, path)
	}
	require.Equal(t, http.StatusSeeOther, e.do("POST", "/sign-out", nil).StatusCode)
}
