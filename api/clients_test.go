package api_test

import (
	"fmt"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

var nextPage = regexp.MustCompile(`^<(/v1/clients\?[^>]*)>; rel="next"$`)

// walk follows the Link header from path on and lists the given names.
func (s *salon) walk(path string, between func()) []string {
	s.t.Helper()
	var names []string
	for pages := 0; path != ""; pages++ {
		require.Less(s.t, pages, 100)
		var list struct{ Items []api.ClientBody }
		a := s.call("GET", path, nil).is(200, &list)
		if u, err := url.Parse(path); err == nil && u.Query().Has("limit") {
			limit, err := strconv.Atoi(u.Query().Get("limit"))
			require.NoError(s.t, err)
			require.LessOrEqual(s.t, len(list.Items), limit)
		}
		for _, c := range list.Items {
			names = append(names, c.GivenName)
		}
		path = ""
		if link := a.header.Get("Link"); link != "" {
			m := nextPage.FindStringSubmatch(link)
			require.NotNil(s.t, m, link)
			path = m[1]
		}
		between()
	}
	return names
}

func TestPagesOfClientsMeetEveryoneOnceWhileSomeAreAdded(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var want []string
	for i := range 25 {
		name := fmt.Sprintf("Name%02d", i)
		s.client(name)
		want = append(want, name)
	}
	require.Equal(t, want, s.walk("/v1/clients?limit=25", func() {}), "one page without a next one")
	n := 0
	got := s.walk("/v1/clients?limit=7", func() { n++; s.client(fmt.Sprint("Added", n)) })
	require.Equal(t, want, got[:25])
	require.Equal(t, want[20:], s.walk("/v1/clients?limit=2&name=nAmE2", func() {}), "by the beginning of a name, in any case")
	require.Len(t, s.walk("/v1/clients?name=quist&limit=200", func() {}), 25+n, "or of the family name")
	for _, none := range []string{"ame01", "%25", "_", "Name01%25", "'"} {
		require.Empty(t, s.walk("/v1/clients?name="+none, func() {}), none)
	}
	require.Empty(t, s.walk("/v1/clients?cursor=zzz", func() {}))
}

func TestTextComesBackAsItWasSent(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for _, text := range []string{"<script>alert(1)</script>", `"quoted" & 'single'`, "Zoë 静か 👩🏽‍🦱", "שלום", "%s %d {{.}}", "a\\nb", "\u202eabc", "'; DROP TABLE client; --", strings.Repeat("ß", 80)} {
		var c, again api.ClientBody
		a := s.call("POST", "/v1/clients", object{"given_name": text, "note": text}).is(201, &c)
		require.Equal(t, text, c.GivenName)
		require.Equal(t, "application/json", a.header.Get("Content-Type"))
		s.call("GET", "/v1/clients/"+c.ID, nil).is(200, &again)
		require.Equal(t, c, again)
	}
	var c api.ClientBody
	s.call("POST", "/v1/clients", object{"given_name": "  Mara ", "phone": " +49 (0)30 901820 ", "mail": " mara@example.org "}).is(201, &c)
	require.Equal(t, api.ClientBody{ID: c.ID, GivenName: "Mara", Phone: "+4930901820", Mail: "mara@example.org", ContactBy: "mail"}, c)
	s.call("POST", "/v1/clients", object{"given_name": strings.Repeat("ß", 81)}).refused(422, "invalid")
	for _, mail := range []string{"zoë@example.org", "zoe@straße.example"} { // mail goes to neither
		p := s.call("POST", "/v1/clients", object{"given_name": "Zoë", "mail": mail}).refused(422, "invalid")
		require.Equal(t, []string{"body /mail"}, pointers(p))
	}
}

func TestMeasurementsAreAddedAndNeverOverwritten(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	path := "/v1/clients/" + client + "/heads"
	for i, day := range []string{"2026-06-01", "2026-06-08", "2026-06-08", "2025-12-01"} {
		h := hair()
		h["length_cm"] = 30 + i
		s.call("POST", path, object{"measured_on": day, "hair": h}).is(201, nil)
	}
	var list struct {
		Items []struct {
			MeasuredOn string `json:"measured_on"`
			Hair       api.HeadBody
		}
	}
	s.call("GET", path, nil).is(200, &list)
	var got []string
	for _, x := range list.Items {
		got = append(got, fmt.Sprint(x.MeasuredOn, " ", x.Hair.LengthCM))
	}
	require.Equal(t, []string{"2026-06-08 32", "2026-06-08 31", "2026-06-01 30", "2025-12-01 33"}, got, "newest first")
}
