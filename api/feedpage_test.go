package api_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/pages"
)

// page is the page of a calendar's address.
func (c calendar) page() calendar {
	return calendar{c.s, strings.TrimSuffix(c.path, ".ics"), c.id}
}

func TestThePageOfACalendarHelpsToSubscribe(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	s.book(client, start.Add(25*time.Hour), s.straightening())
	for kind, x := range map[string]struct{ subject, name, late string }{
		"staff":   {s.ada, "Ada at Harbour Chairs", "the day page of the salon counts"},
		"station": {s.basins[0], "basin 3 at Harbour Chairs", "the day page of the salon counts"},
		"client":  {client, "Your appointments at Harbour Chairs", "count on our message"},
		"salon":   {"", "All visits at Harbour Chairs", "the day page of the salon counts"},
	} {
		c := s.feed(kind, x.subject)
		a := c.page().ask("GET").is(200, nil)
		body := string(a.body)
		require.Contains(t, body, "<h1>"+x.name+"</h1>")
		require.Contains(t, body, x.late)
		require.Contains(t, body, `href="webcal://127.0.0.1`+c.path+`"`)
		require.Contains(t, body, `value="http://127.0.0.1`+c.path+`"`)
		for _, private := range []string{"Mara", "Quist", "M. Q."} {
			require.NotContains(t, body, private)
		}
		for name, want := range map[string]string{"Content-Type": "text/html; charset=UTF-8", "Cache-Control": "no-store", "X-Robots-Tag": "noindex, nofollow",
			"Referrer-Policy": "no-referrer", "Content-Security-Policy": pages.ContentSecurityPolicy, "X-Content-Type-Options": "nosniff"} {
			require.Equal(t, want, a.header.Get(name), name)
		}
		require.Empty(t, a.header.Values("Set-Cookie"))
		head := c.page().ask("HEAD").is(200, nil)
		require.Empty(t, head.body)
		for _, method := range []string{"POST", "PUT", "DELETE"} {
			refused := c.page().ask(method)
			refused.refused(405, "method")
			require.Equal(t, "GET, HEAD", refused.header.Get("Allow"))
		}
	}
	var list struct{ Items []api.FeedBody }
	s.call("GET", "/v1/feeds", nil).is(200, &list)
	for _, f := range list.Items {
		require.Nil(t, f.LastUsed, "to look at the page is not to read the calendar")
	}
}

func TestThePageOfAnEndedAddressIsThatOfAnUnknownOne(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	c := s.feed("client", s.client("Mara"))
	s.call("DELETE", "/v1/feeds/"+c.id, nil).is(204, nil)
	ended := c.page().ask("GET").is(404, nil)
	require.Contains(t, string(ended.body), "Ask the salon for a new one.")
	require.Equal(t, "no-store", ended.header.Get("Cache-Control"))
	for _, path := range []string{"/cal/f_" + s.row.Key + "_" + strings.Repeat("A", 43), "/cal/x", "/cal/" + s.token, "/cal/%00", "/cal/" + strings.Repeat("x", 3000)} {
		unknown := calendar{s, path, ""}.ask("GET").is(404, nil)
		require.Equal(t, string(ended.body), string(unknown.body), path)
	}
}
