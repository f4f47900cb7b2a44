package owner_test

import (
	"bytes"
	"html"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api/chromium"
	"chairblock/api/web/owner"
	"chairblock/api/web/webtest"
	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestMain(m *testing.M) {
	os.Exit(chromium.Shared(func() int { return storetest.Main(m, store.Migrate, migrations.Hash()) }))
}

// door is a browser without a screen: it keeps cookies and fills forms in.
type door struct {
	t testing.TB
	s *webtest.Salon
	v *webtest.Visitor
}

// sheet is a page that came back.
type sheet struct {
	status int
	path   string
	body   string
}

// open signs somebody in.
func open(t testing.TB, s *webtest.Salon, role store.Role) *door {
	t.Helper()
	d := &door{t: t, s: s, v: s.Visitor(t)}
	page := d.get(s.Link(role, ""))
	if strings.Contains(page.body, `action="/open/`) { // a button says yes to it
		d.send(http.MethodPost, regexp.MustCompile(`action="(/open/[^"]*)"`).FindStringSubmatch(page.body)[1], nil)
	}
	return d
}

// set makes a salon with the owner's pages and signs the owner in.
func set(t testing.TB) (*webtest.Salon, *door) {
	t.Helper()
	s := webtest.New(t, owner.Mount)
	return s, open(t, s, store.Owner)
}

func (d *door) send(method, path string, form url.Values) sheet {
	d.t.Helper()
	return sheetOf(d.v.Do(method, path, strings.NewReader(form.Encode()), "Content-Type", "application/x-www-form-urlencoded", "Sec-Fetch-Site", "same-origin"))
}

func sheetOf(a webtest.Answer) sheet { return sheet{a.Status, a.Path, a.Body} }

func (d *door) get(path string) sheet {
	d.t.Helper()
	return d.send(http.MethodGet, path, nil)
}

// see demands a page.
func (d *door) see(path string) sheet {
	d.t.Helper()
	p := d.get(path)
	require.Equal(d.t, http.StatusOK, p.status, "%s: %s", path, p.text())
	return p
}

// fill sends the form with an id of a page, with some of its fields as told.
func (d *door) fill(p sheet, id string, fields map[string]string) sheet {
	d.t.Helper()
	form, action := p.form(d.t, id)
	for name, value := range fields {
		switch {
		case name == "do": // a button
			form.Set(name, value)
		case value == "off":
			form.Del(id + "-" + name)
		default:
			form.Set(id+"-"+name, value)
		}
	}
	return d.send(http.MethodPost, action, form)
}

var (
	aForm     = regexp.MustCompile(`(?s)<form method="post" action="([^"]*)"[^>]*>(.*?)</form>`)
	anInput   = regexp.MustCompile(`<input type="([^"]*)"([^>]*)>`)
	aSelect   = regexp.MustCompile(`(?s)<select id="[^"]*" name="([^"]*)"[^>]*>(.*?)</select>`)
	anOption  = regexp.MustCompile(`<option value="([^"]*)"([^>]*)>`)
	anArea    = regexp.MustCompile(`(?s)<textarea id="[^"]*" name="([^"]*)"[^>]*>(.*?)</textarea>`)
	aName     = regexp.MustCompile(`\bname="([^"]*)"`)
	aValue    = regexp.MustCompile(`\bvalue="([^"]*)"`)
	aTag      = regexp.MustCompile(`(?s)<[^>]*>`)
	manyBlank = regexp.MustCompile(`\s+`)
)

// form reads what a browser would send of a form, and where to. The last of
// several with the id is taken.
func (p sheet) form(t testing.TB, id string) (url.Values, string) {
	t.Helper()
	for _, m := range aForm.FindAllStringSubmatch(p.body, -1) {
		if !strings.Contains(m[2], `name="form" value="`+id+`"`) {
			continue
		}
		out := url.Values{}
		for _, x := range anInput.FindAllStringSubmatch(m[2], -1) {
			name, value := "", ""
			if n := aName.FindStringSubmatch(x[2]); n != nil {
				name = n[1]
			}
			if v := aValue.FindStringSubmatch(x[2]); v != nil {
				value = html.UnescapeString(v[1])
			}
			if x[1] != "checkbox" || strings.Contains(x[2], " checked") {
				out.Add(name, value)
			}
		}
		for _, x := range aSelect.FindAllStringSubmatch(m[2], -1) {
			value := ""
			for i, o := range anOption.FindAllStringSubmatch(x[2], -1) {
				if i == 0 || strings.Contains(o[2], " selected") {
					value = html.UnescapeString(o[1])
				}
			}
			out.Set(x[1], value)
		}
		for _, x := range anArea.FindAllStringSubmatch(m[2], -1) {
			out.Set(x[1], html.UnescapeString(x[2]))
		}
		return out, html.UnescapeString(m[1])
	}
	require.Fail(t, "no such form", "%s at %s: %s", id, p.path, p.text())
	return nil, ""
}

// text is what a page says.
func (p sheet) text() string {
	body := p.body
	if i := strings.Index(body, "<main"); i >= 0 {
		body = body[i:]
	}
	return strings.TrimSpace(manyBlank.ReplaceAllString(html.UnescapeString(aTag.ReplaceAllString(body, " ")), " "))
}

// says demands words on a page.
func (p sheet) says(t testing.TB, words ...string) sheet {
	t.Helper()
	for _, w := range words {
		require.Contains(t, p.text(), w, "%d %s", p.status, p.path)
	}
	return p
}

// upload sends a form with a file.
func (d *door) upload(path, id, field, content string) sheet {
	d.t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	require.NoError(d.t, w.WriteField("form", id))
	f, err := w.CreateFormFile(id+"-"+field, "days.ics")
	require.NoError(d.t, err)
	_, err = io.WriteString(f, content)
	require.NoError(d.t, err)
	require.NoError(d.t, w.Close())
	return sheetOf(d.v.Do(http.MethodPost, path, &body, "Content-Type", w.FormDataContentType(), "Sec-Fetch-Site", "same-origin"))
}
