package board_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web"
	"chairblock/api/web/board"
	"chairblock/api/web/desk"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

func TestWhoeverIsLostFindsTheWayOn(t *testing.T) {
	fails := func(s *web.Site) {
		s.GET("/fails", "list-calls", func(echo.Context) error { panic("on purpose") })
	}
	s := webtest.New(t, board.Mount, desk.Mount, fails)
	browser := []string{"Accept", "text/html,application/xhtml+xml;q=0.9,*/*;q=0.8"}
	owner := at(t, s, store.Owner, "")
	for path, want := range map[string]struct {
		status int
		title  string
	}{
		"/nowhere":          {http.StatusNotFound, "There is no such page"},
		"/visits/xyz":       {http.StatusNotFound, "There is no such thing in this salon"},
		"/visits/xyz/move":  {http.StatusNotFound, "There is no such thing in this salon"},
		"/?date=2026-13-99": {http.StatusUnprocessableEntity, "The request holds values that cannot be right"},
		"/fails":            {http.StatusInternalServerError, "Something went wrong on our side"},
	} {
		a := owner.v.Get(path, browser...)
		require.Equal(t, want.status, a.Status, path)
		require.Contains(t, a.Header.Get("Content-Type"), "text/html", path)
		require.Contains(t, a.Body, "<h1>"+want.title+"</h1>", path)
		require.Regexp(t, `<nav class="ways" aria-label="Pages">.*href="/book"`, a.Body, path)
		require.Contains(t, a.Body, `action="/sign-out"`, path)
		require.Regexp(t, `<p class="big">\S`, a.Body, path)
		require.NotEmpty(t, a.Header.Get("Content-Security-Policy"), path)
	}
	a := owner.v.Post("/nowhere", url.Values{"a": {"b"}}, browser...)
	require.Equal(t, http.StatusNotFound, a.Status)
	require.Contains(t, a.Body, `href="/book"`)

	// Programs, and scripts of pages, get problems.
	for path, headers := range map[string][]string{
		"/nowhere": {"Accept", "application/json"}, "/fails": {"Accept", "*/*"}, "/v1/nowhere": browser,
		"/nowhere?script": append([]string{"Sec-Fetch-Mode", "cors"}, browser...),
	} {
		require.Equal(t, "application/problem+json", owner.v.Get(path, headers...).Header.Get("Content-Type"), path)
	}

	// Who is not signed in is shown no menu, and a way on.
	a = s.Visitor(t).Get("/nowhere", browser...)
	require.Equal(t, http.StatusNotFound, a.Status)
	require.Contains(t, a.Body, `<a href="/">To the first page</a>`)
	require.NotContains(t, a.Body, `href="/book"`)
	a = s.Visitor(t).Get("/own/nowhere", browser...)
	require.Contains(t, a.Body, `<a href="/own">Your visits</a>`)
}

func TestASalonThatIsNotSetUpSaysSoWithTheWayThere(t *testing.T) {
	s := salon(t)
	full := at(t, s, store.Owner, "").get("/")
	require.NotRegexp(t, `<p class="big"><a href="/set-up"`, full.page)
	row, err := s.Store.AddSalon(t.Context(), store.Salon{Name: "New Chairs", Zone: "Europe/London"})
	require.NoError(t, err)
	s.Row = row
	require.NoError(t, s.Store.InTx(t.Context(), row.ID, func(tx *store.Tx) (err error) {
		_, s.Token, err = tx.AddToken(t.Context(), store.Owner, "", "test", nil)
		return err
	}))
	var added struct{ Items []api.ServiceBody }
	s.Ask(http.MethodPost, "/services/usual", nil, http.StatusOK, &added)
	owner, desk := at(t, s, store.Owner, ""), at(t, s, store.Desk, "")
	require.Regexp(t, `<p class="big"><a href="/set-up"`, owner.get("/").page)
	require.NotContains(t, desk.get("/").page, `href="/set-up"`)
	cut := ""
	for _, x := range added.Items {
		if x.Name == "Dry cut" {
			cut = x.ID
		}
	}
	walk := desk.send(http.StatusUnprocessableEntity, "/walk-in", url.Values{"walk_key": {"k"}, "walk_service": {cut}, "walk_name": {"Vida"}})
	walk.says("Nothing can be booked yet. The salon lacks: no stylist; no chair")
	require.NotContains(t, walk.text(), "expected")
	book := url.Values{"service": {cut}, "first_name": {"Vida"}, "date_from": {"2026-06-09"}, "do": {"openings"}}
	owner.v.Post("/book", book)
	owner.page = owner.v.Post("/book", book).Body
	require.Contains(t, owner.text(), "The salon lacks: no stylist; no chair")
	require.Contains(t, owner.page, `<a href="/set-up">Enter it under Set-up</a>`)
	desk.page = desk.v.Post("/book", book).Body
	require.Contains(t, desk.text(), "The owner enters that under Set-up.")
}

var undoForm = regexp.MustCompile(`action="/undo"><input type="hidden" name="id" value="([^"]*)"><input type="hidden" name="back" value="([^"]*)">`)

func TestThePageSaysWhatWasUndone(t *testing.T) {
	s := salon(t)
	desk := at(t, s, store.Desk, "")
	for _, from := range []string{"/", "/?date=2026-06-09"} {
		desk.send(http.StatusOK, "/keep", url.Values{"title": {"the laundry"}, "units": {s.Mina}, "date": {"2026-06-08"}, "from": {"13:00"}, "minutes": {"30"}, "key": {from}})
		m := undoForm.FindStringSubmatch(desk.get(from).page)
		require.NotNil(t, m, "%s: %s", from, desk.text())
		a := desk.v.Post("/undo", url.Values{"id": {m[1]}, "back": {strings.ReplaceAll(m[2], "&amp;", "&")}})
		require.NotContains(t, a.Path, "laundry", "addresses name nobody")
		require.Contains(t, a.Text(), "Undone: kept 13:00 for the laundry")
		require.NotRegexp(t, `(?s)data-part="top">.*Undone`, a.Body, "what is drawn anew with the day does not take it away")

		require.NotContains(t, at(t, s, store.Owner, "").get(a.Path).text(), "laundry", "nobody else is told by the address")
		s.At(s.Now().Add(3 * time.Minute))
		require.NotContains(t, desk.get(a.Path).text(), "Undone")
	}
}
