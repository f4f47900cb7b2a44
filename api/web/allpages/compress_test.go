package allpages_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api/web/webtest"
	"chairblock/store"
)

func TestNoPageThatRepeatsWhatItsAddressSaysIsCompressed(t *testing.T) {
	s := webtest.New(t, everything...)
	client := s.Client("Juna", "Kestrel")
	v := s.Visitor(t)
	v.Get(s.Link(store.Owner, s.Ada))
	encoding := func(path string) string {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.URL+path, nil)
		require.NoError(t, err)
		r.Header.Set("Accept-Encoding", "gzip")
		a, err := v.HTTP.Do(r)
		require.NoError(t, err)
		require.NoError(t, a.Body.Close())
		require.Equal(t, http.StatusOK, a.StatusCode, path)
		return a.Header.Get("Content-Encoding")
	}
	for _, path := range []string{"/", "/?date=2026-06-09", "/book", "/book?start=2026-06-09T10%3A00", "/to-do?done=saved", "/set-up"} {
		require.Equal(t, "gzip", encoding(path), path)
	}
	for _, path := range []string{"/clients?q=zqq", "/clients/" + client, "/book?first_name=zqq", "/to-do?x=zqq", "/set-up/access", "/me"} {
		require.Empty(t, encoding(path), path)
	}
}
