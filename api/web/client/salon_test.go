package client_test

import (
	"encoding/json"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web/webtest"
	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestMain(m *testing.M) {
	os.Exit(chromium.Shared(func() int { return storetest.Main(m, store.Migrate, migrations.Hash()) }))
}

type object = webtest.Object

// own makes a link to the pages of a client, as the desk does.
func own(s *webtest.Salon, client string) api.OwnLinkBody {
	var l api.OwnLinkBody
	s.Ask(http.MethodPost, "/clients/"+client+"/own-links", object{"label": "her phone"}, http.StatusCreated, &l)
	return l
}

// visitor is a browser without eyes: it keeps cookies and sends forms as they stand.
type visitor struct {
	t testing.TB
	s *webtest.Salon
	v *webtest.Visitor
}

// page is what a visitor was answered.
type page struct {
	t      testing.TB
	status int
	header http.Header
	path   string
	text   string
}

func visit(t testing.TB, s *webtest.Salon) *visitor {
	return &visitor{t, s, s.Visitor(t)}
}

// enter opens a client's own pages by a new link.
func enter(t testing.TB, s *webtest.Salon, client string) *visitor {
	v := visit(t, s)
	p := v.open(own(s, client).URL)
	require.Equal(t, http.StatusOK, p.status, p.text)
	require.Equal(t, "/own", p.path)
	return v
}

// open opens a link and presses its button.
func (v *visitor) open(address string) page {
	v.t.Helper()
	p := v.get(strings.TrimPrefix(address, v.s.URL))
	if p.status != http.StatusOK || !strings.Contains(p.text, "Open my pages") {
		return p
	}
	return v.send(p, "Open my pages")
}

// enterByMessage opens a client's own pages by a message about a visit of hers, as it
// came to her own address.
func enterByMessage(t testing.TB, s *webtest.Salon, visitID string) *visitor {
	t.Helper()
	ctx := t.Context()
	var id string
	require.NoError(t, s.Store.Read(ctx, s.Row.ID, func(tx *store.Tx) error {
		list, err := tx.MessagesOfVisits(ctx, []string{visitID})
		require.NotEmpty(t, list)
		id = list[0].ID
		return err
	}))
	s.Exec(`UPDATE reminder SET state = 'sent', done_at = $2, sending_at = NULL, next_at = NULL WHERE reminder_id = $1`, id, s.Now())
	link, err := s.Store.MessageLink(ctx, s.Row, id)
	require.NoError(t, err)
	v := visit(t, s)
	v.get("/m/"+link).says(http.StatusOK, `action="/m/`+link+`/own"`)
	v.post("/m/"+link+"/own", nil).says(http.StatusOK)
	return v
}

func (v *visitor) sees(a webtest.Answer) page { return page{v.t, a.Status, a.Header, a.Path, a.Body} }

func (v *visitor) get(path string) page {
	v.t.Helper()
	return v.sees(v.v.Get(path))
}

func (v *visitor) post(path string, form url.Values) page {
	v.t.Helper()
	return v.sees(v.v.Post(path, form))
}

var (
	formTag  = regexp.MustCompile(`(?s)<form method="(post|get)" action="([^"]*)".*?</form>`)
	inputTag = regexp.MustCompile(`<input type="hidden" name="([^"]*)" value="([^"]*)">`)
)

// send sends the form of p whose button says something, with other values besides.
func (v *visitor) send(p page, button string, more ...string) page {
	v.t.Helper()
	for _, m := range formTag.FindAllStringSubmatch(p.text, -1) {
		if !strings.Contains(m[0], ">"+button+"</button>") {
			continue
		}
		form := url.Values{}
		for _, in := range inputTag.FindAllStringSubmatch(m[0], -1) {
			form.Set(in[1], in[2])
		}
		for i := 0; i+1 < len(more); i += 2 {
			form.Add(more[i], more[i+1])
		}
		if m[1] == "get" {
			return v.get(m[2] + "?" + form.Encode())
		}
		return v.post(m[2], form)
	}
	require.Fail(v.t, "no such form", "%s on %s:\n%s", button, p.path, p.text)
	return page{}
}

// href is where the link leads whose text contains words.
func (p page) href(words string) string {
	p.t.Helper()
	for _, m := range regexp.MustCompile(`<a class="go[^"]*" href="([^"]*)"[^>]*>([^<]*)</a>`).FindAllStringSubmatch(p.text, -1) {
		if strings.Contains(m[2], words) {
			return strings.ReplaceAll(m[1], "&amp;", "&")
		}
	}
	require.Fail(p.t, "no such link", "%s on %s:\n%s", words, p.path, p.text)
	return ""
}

// says demands a status and words of a page.
func (p page) says(status int, words ...string) page {
	p.t.Helper()
	require.Equal(p.t, status, p.status, p.text)
	for _, w := range words {
		require.Contains(p.t, p.text, w, p.path)
	}
	return p
}

// visitOf reads a visit.
func visitOf(s *webtest.Salon, id string) (v api.VisitBody) {
	s.Ask(http.MethodGet, "/visits/"+id, nil, http.StatusOK, &v)
	return v
}

// rules sets rules of booking over those that ask for nothing.
func rules(t testing.TB, s *webtest.Salon, more object) {
	t.Helper()
	var have map[string]json.RawMessage
	h := s.Ask(http.MethodGet, "/booking-rules", nil, http.StatusOK, &have)
	delete(have, "assisted_against_rule")
	body := object{}
	for k, v := range have {
		body[k] = v
	}
	for k, v := range more {
		body[k] = v
	}
	s.Ask(http.MethodPut, "/booking-rules", body, http.StatusOK, nil, "If-Match", h.Get("ETag"))
}

// over lets a straightening of a client end at a time, in the past of the clock.
func over(t testing.TB, s *webtest.Salon, client string, start, end time.Time) api.VisitBody {
	t.Helper()
	now := s.Now()
	s.At(start.Add(-14 * 24 * time.Hour))
	v := s.Straightening(client, s.Ada, start)
	s.At(start)
	h := s.Ask(http.MethodPost, "/visits/"+v.ID+"/arrive", object{}, http.StatusOK, nil, "If-Match", `"v1"`)
	s.At(end)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/finish", object{"ended_at": end}, http.StatusOK, &v, "If-Match", h.Get("ETag"))
	s.At(now)
	return v
}

// raw is JSON as it stands.
func raw(s string) json.RawMessage { return json.RawMessage(s) }

// click is a press of the mouse.
func click(css string) chromedp.Action[chromedp.Void] { return chromedp.Click(chromedp.CSS(css)) }

// pressed opens a link in a browser and presses its button.
func pressed(b *chromium.Browser, address string) {
	b.T.Helper()
	b.Open(address)
	b.Press("main button")
}
