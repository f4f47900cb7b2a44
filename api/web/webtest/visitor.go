package webtest

import (
	"html"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

// Visitor is a browser without scripts or a screen: it keeps cookies and follows
// where it is sent.
type Visitor struct {
	T    testing.TB
	HTTP *http.Client
	URL  string // of the server
}

// Answer is what a visitor was answered.
type Answer struct {
	Status int
	Header http.Header
	Path   string // the address that answered, with its query
	Body   string
}

// Visitor is somebody who has not been here before.
func (s *Salon) Visitor(t testing.TB) *Visitor {
	t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	return &Visitor{T: t, HTTP: &http.Client{Jar: jar}, URL: s.URL}
}

// Get opens a path of the server, or one of its addresses. headers are names and values.
// The button of a link that signs somebody in is pressed, too.
func (v *Visitor) Get(path string, headers ...string) Answer {
	v.T.Helper()
	a := v.Do(http.MethodGet, path, nil, headers...)
	if strings.Contains(path, "/open/") && strings.Contains(a.Body, `/enter"`) {
		return v.Post(path+"/enter", nil, headers...)
	}
	return a
}

// Enter opens one of the addresses that let somebody in, and presses its button.
func (v *Visitor) Enter(address string) Answer {
	v.T.Helper()
	a := v.Get(address)
	if strings.Contains(address, "/c/") && strings.Contains(a.Body, `action="`+strings.TrimPrefix(address, v.URL)+`"`) {
		return v.Post(address, nil)
	}
	return a
}

// Post sends a form as a page of the server does.
func (v *Visitor) Post(path string, form url.Values, headers ...string) Answer {
	v.T.Helper()
	return v.Do(http.MethodPost, path, strings.NewReader(form.Encode()),
		append([]string{"Content-Type", "application/x-www-form-urlencoded", "Sec-Fetch-Site", "same-origin"}, headers...)...)
}

// Do makes any request and reads the whole answer.
func (v *Visitor) Do(method, path string, body io.Reader, headers ...string) Answer {
	v.T.Helper()
	r, err := http.NewRequestWithContext(v.T.Context(), method, v.URL+strings.TrimPrefix(path, v.URL), body)
	require.NoError(v.T, err)
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	a, err := v.HTTP.Do(r)
	require.NoError(v.T, err)
	defer a.Body.Close()
	text, err := io.ReadAll(a.Body)
	require.NoError(v.T, err)
	require.True(v.T, !strings.HasPrefix(a.Header.Get("Content-Type"), "text/") || utf8.Valid(text), "%s %s answers broken bytes", method, path)
	return Answer{a.StatusCode, a.Header, a.Request.URL.RequestURI(), string(text)}
}

var noText = regexp.MustCompile(`(?s)<head>.*?</head>|<[^>]*>`)

// Text is what can be read of a page.
func (a Answer) Text() string {
	return strings.Join(strings.Fields(html.UnescapeString(noText.ReplaceAllString(a.Body, " "))), " ")
}
