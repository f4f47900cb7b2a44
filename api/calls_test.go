package api_test

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"sync"
	"testing"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// answer is what came back.
type answer struct {
	t      testing.TB
	status int
	header http.Header
	body   []byte
}

// call sends a request with the salon's token; headers come in pairs, and an
// empty one is left out.
func (s *salon) call(method, path string, body any, headers ...string) answer {
	s.t.Helper()
	a, err := s.try(method, path, body, headers...)
	require.NoError(s.t, err)
	return a
}

// patient calls again while the service says that it is too busy, as anybody should:
// a machine that tests share is at times.
func (s *salon) patient(method, path string, body any, headers ...string) answer {
	s.t.Helper()
	a := s.call(method, path, body, headers...)
	for range 5 {
		if a.status != http.StatusServiceUnavailable {
			break
		}
		a = s.call(method, path, body, headers...)
	}
	return a
}

func (s *salon) try(method, path string, body any, headers ...string) (answer, error) {
	var r io.Reader
	switch b := body.(type) {
	case nil:
	case string:
		r = strings.NewReader(b)
	default:
		raw, err := json.Marshal(b)
		if err != nil {
			return answer{}, err
		}
		r = bytes.NewReader(raw)
	}
	req, err := http.NewRequest(method, s.http.URL+path, r)
	if err != nil {
		return answer{}, err
	}
	req.Header.Set("Authorization", "Bearer "+s.token)
	if r != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		if req.Header.Set(headers[i], headers[i+1]); headers[i+1] == "" {
			req.Header.Del(headers[i])
		}
	}
	resp, err := s.door.RoundTrip(req)
	if err != nil {
		return answer{}, err
	}
	defer resp.Body.Close()
	raw, err := io.ReadAll(resp.Body)
	return answer{s.t, resp.StatusCode, resp.Header, raw}, err
}

// is fails the test unless the status is want, and reads the body into out.
func (a answer) is(want int, out any) answer {
	a.t.Helper()
	require.Equal(a.t, want, a.status, "%s", a.body)
	if out != nil {
		require.NoError(a.t, json.Unmarshal(a.body, out), "%s", a.body)
	}
	return a
}

// refused fails the test unless the answer is a problem document of status and
// kind, and returns it.
func (a answer) refused(status int, kind string) api.Problem {
	a.t.Helper()
	require.Equal(a.t, status, a.status, "%s", a.body)
	require.Equal(a.t, "application/problem+json", a.header.Get("Content-Type"))
	var p api.Problem
	require.NoError(a.t, json.Unmarshal(a.body, &p), "%s", a.body)
	require.Equal(a.t, "/problems/"+kind, p.Type, "%s", a.body)
	require.Equal(a.t, status, p.Status)
	require.NotEmpty(a.t, p.Title)
	return p
}

// pointers lists where a problem says that the request is wrong.
func pointers(p api.Problem) []string {
	var out []string
	for _, e := range p.Errors {
		out = append(out, e.In+" "+e.Pointer)
	}
	return out
}

// description is the published description of the interface, ready to hold
// traffic against.
var description = sync.OnceValues(func() (validator.Validator, error) {
	spec, err := api.New(nil, "", nil).Spec()
	if err != nil {
		return nil, err
	}
	doc, err := libopenapi.NewDocument(spec)
	if err != nil {
		return nil, err
	}
	v, errs := validator.NewValidator(doc)
	if len(errs) > 0 {
		return nil, errs[0]
	}
	return v, nil
})

// checked is a transport that fails the test when an answer below /v1 does not
// fit the description, or when a request does not fit it and yet succeeds.
type checked struct {
	t testing.TB
	v validator.Validator
}

// door is how tests reach the server; a benchmark does so unchecked.
func door(t testing.TB) http.RoundTripper {
	if _, measured := t.(*testing.B); measured {
		return http.DefaultTransport
	}
	v, err := description()
	require.NoError(t, err)
	return checked{t, v}
}

// RoundTrip sends a request and checks both directions.
func (c checked) RoundTrip(r *http.Request) (*http.Response, error) {
	var sent []byte
	if r.Body != nil {
		sent, _ = io.ReadAll(r.Body)
		r.Body = io.NopCloser(bytes.NewReader(sent))
	}
	resp, err := http.DefaultTransport.RoundTrip(r)
	if err != nil || !strings.HasPrefix(r.URL.Path, "/v1/") {
		return resp, err
	}
	got, err := io.ReadAll(resp.Body)
	resp.Body.Close()
	if err != nil {
		return resp, err
	}
	copied := func() *http.Request {
		again := r.Clone(r.Context())
		again.Body = io.NopCloser(bytes.NewReader(sent))
		return again
	}
	resp.Body = io.NopCloser(bytes.NewReader(got))
	if ok, errs := c.v.ValidateHttpResponse(copied(), resp); !ok && resp.StatusCode != http.StatusMethodNotAllowed {
		c.t.Errorf("%s %s: the answer %d does not fit the description: %v\n%s", r.Method, r.URL.Path, resp.StatusCode, errs, got)
	}
	if resp.StatusCode < 300 {
		if ok, errs := c.v.ValidateHttpRequestSync(copied()); !ok {
			c.t.Errorf("%s %s succeeds with a request that does not fit the description: %v\n%s", r.Method, r.URL.Path, errs, sent)
		}
	}
	resp.Body = io.NopCloser(bytes.NewReader(got))
	return resp, nil
}

func words(s string) []string { return strings.Fields(s) }
