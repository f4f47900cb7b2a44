package allpages_test

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

var anyHref = regexp.MustCompile(`\shref="([^"]*)"`)

// crawl opens a page of each kind that links lead to from where somebody enters,
// and demands that it is there. It gives the kinds.
func crawl(t *testing.T, s *webtest.Salon, enter string) []string {
	v := s.Visitor(t)
	first := v.Get(enter)
	require.Equal(t, http.StatusOK, first.Status, first.Text())
	known := map[string]bool{}
	queue := []string{s.URL + first.Path}
	var seen []string
	for len(queue) > 0 {
		at := queue[0]
		queue = queue[1:]
		a := v.Enter(at)
		kind := kindOf(at)
		seen = append(seen, kind)
		require.Equal(t, http.StatusOK, a.Status, "%s: %s", at, a.Text())
		base, err := url.Parse(s.URL + a.Path)
		require.NoError(t, err)
		for _, m := range anyHref.FindAllStringSubmatch(a.Body, -1) {
			u, err := base.Parse(html.UnescapeString(m[1]))
			require.NoError(t, err, "%s on %s", m[1], at)
			u.Fragment = ""
			if l := u.String(); leadsOn(l, s.URL) && !known[kindOf(l)] {
				known[kindOf(l)] = true
				queue = append(queue, l)
			}
		}
	}
	slices.Sort(seen)
	return slices.Compact(seen)
}

// TestNoLinkLeadsNowhere follows every kind of link as each who may enter: a page
// offers nobody what she may not open.
func TestNoLinkLeadsNowhere(t *testing.T) {
	s := busy(t)
	for _, x := range []struct {
		name  string
		role  store.Role
		staff string
		must  []string
	}{
		{"owner", store.Owner, "", []string{"/", "/set-up", "/visits/:id"}},
		{"owner in charge of visits", store.Owner, s.Ada, []string{"/", "/my-day/", "/set-up/people/:id"}},
		{"desk", store.Desk, "", []string{"/", "/book", "/clients/:id", "/to-do"}},
		{"lead", store.LeadRole, s.Noor, []string{"/my-day/", "/my-day/visits/:id"}},
		{"assistant", store.AssistantRole, s.Mina, []string{"/my-day/"}},
	} {
		t.Run(x.name, func(t *testing.T) {
			seen := crawl(t, s, s.Link(x.role, x.staff))
			t.Logf("%d kinds of pages: %s", len(seen), strings.Join(seen, " "))
			for _, kind := range x.must {
				require.Contains(t, seen, kind)
			}
		})
	}
	t.Run("client", func(t *testing.T) {
		var day api.DayBody
		s.Ask(http.MethodGet, "/days/2026-06-10", nil, http.StatusOK, &day)
		require.NotEmpty(t, day.Visits)
		var link api.OwnLinkBody
		s.Ask(http.MethodPost, "/clients/"+day.Visits[0].ClientID+"/own-links", webtest.Object{"label": "her phone"}, http.StatusCreated, &link)
		seen := crawl(t, s, link.URL)
		t.Logf("%d kinds of pages: %s", len(seen), strings.Join(seen, " "))
		for _, kind := range []string{"/own", "/own/about", "/own/calendar", "/own/messages"} {
			require.Contains(t, seen, kind)
		}
	})
}
