package api_test

import (
	"bytes"
	"encoding/json"
	"net/http"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"chairblock/api"
)

const specFile = "../testdata/openapi.json"

func TestTheDescriptionIsTheOneThatIsKept(t *testing.T) {
	spec, err := api.New(nil, "", nil).Spec()
	require.NoError(t, err)
	var pretty bytes.Buffer
	require.NoError(t, json.Indent(&pretty, spec, "", "  "))
	pretty.WriteByte('\n')
	if *update {
		require.NoError(t, os.WriteFile(specFile, pretty.Bytes(), 0o644))
	}
	kept, err := os.ReadFile(specFile)
	require.NoError(t, err)
	require.Equal(t, string(kept), pretty.String(), "the interface changed: read the difference, then run the tests of this package with -update")
}

func TestTheDescriptionIsValidOpenAPI31(t *testing.T) {
	v, err := description()
	require.NoError(t, err)
	ok, errs := v.ValidateDocument()
	require.True(t, ok, "%v", errs)
	require.Equal(t, "3.1.0", readSpec(t).OpenAPI)
}

// spec is as much of the description as the tests go through.
type spec struct {
	OpenAPI string                          `json:"openapi"`
	Paths   map[string]map[string]operation `json:"paths"`

	Components struct {
		Schemas map[string]schema `json:"schemas"`
	} `json:"components"`
}

type operation struct {
	ID         string `json:"operationId"`
	Summary    string `json:"summary"`
	Parameters []struct {
		Name     string `json:"name"`
		In       string `json:"in"`
		Required bool   `json:"required"`
	} `json:"parameters"`
	RequestBody *struct {
		Content map[string]struct {
			Schema schema `json:"schema"`
		} `json:"content"`
	} `json:"requestBody"`
	Responses map[string]json.RawMessage `json:"responses"`
}

func readSpec(t testing.TB) spec {
	t.Helper()
	raw, err := api.New(nil, "", nil).Spec()
	require.NoError(t, err)
	var s spec
	require.NoError(t, json.Unmarshal(raw, &s))
	return s
}

var pathParameter = regexp.MustCompile(`:([a-z_]+)`)

func TestEveryRouteIsDescribedAndEveryDescriptionIsARoute(t *testing.T) {
	described := map[string]bool{}
	for path, ops := range readSpec(t).Paths {
		for method, op := range ops {
			require.NotEmpty(t, op.ID, "%s %s", method, path)
			require.NotEmpty(t, op.Summary, op.ID)
			described[strings.ToUpper(method)+" /v1"+path] = true
		}
	}
	// Open to everybody, not JSON, or about the service itself.
	outside := map[string]bool{"GET /healthz": true, "GET /readyz": true, "GET /robots.txt": true, "GET /openapi.json": true,
		"GET /problems/{kind}": true}
	for _, r := range api.New(nil, "", nil).Handler().(*echo.Echo).Routes() {
		path := pathParameter.ReplaceAllString(r.Path, "{$1}")
		if path == "/cal/{file}" || strings.HasPrefix(path, "/m/{link}") || path == "/c/{secret}" || path == "/own" || strings.HasPrefix(path, "/own/") { // pages and calendars
			continue
		}
		name := r.Method + " " + path
		require.True(t, described[name] || outside[name], "%s is not described", name)
		delete(described, name)
	}
	require.Empty(t, described, "described, but no route")
}

func TestTheDescriptionIsServedWithoutAToken(t *testing.T) {
	t.Parallel()
	s := emptySalon(t, "Europe/Berlin")
	a := s.call("GET", "/openapi.json", nil, "Authorization", "").is(http.StatusOK, nil)
	require.Equal(t, "application/openapi+json", a.header.Get("Content-Type"))
	var kept, served any
	raw, err := os.ReadFile(specFile)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, &kept))
	require.NoError(t, json.Unmarshal(a.body, &served))
	require.Equal(t, kept, served)
}

// Servers share what they know of types, and read it without a lock.
func TestAFurtherServerAddsNothingToTheSchemas(t *testing.T) {
	api.New(nil, "http://127.0.0.1", time.Now)
	known := api.KnownSchemas()
	require.NotZero(t, known)
	api.New(nil, "http://127.0.0.1", time.Now)
	require.Equal(t, known, api.KnownSchemas())
}
