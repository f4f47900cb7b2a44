package owner_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// everyPage are the pages that need nothing but a salon.
var everyPage = []string{"/set-up", "/set-up/hours", "/set-up/people", "/set-up/stations", "/set-up/absences", "/set-up/services", "/set-up/products",
	"/set-up/chair-time", "/set-up/rules", "/set-up/keeping", "/set-up/consultation", "/set-up/messages", "/set-up/messages/languages/en", "/set-up/messages/languages/de", "/set-up/pace", "/set-up/access", "/set-up/changes"}

func TestEveryPageIsTheOwnersAlone(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	for _, path := range append(everyPage, "/set-up/people/"+s.Ada, "/set-up/stations/"+s.Chairs[0], "/set-up/services/"+s.Services["Straightening"],
		"/set-up/services/"+s.Services["Straightening"]+"/versions/1") {
		p := d.see(path)
		require.NotContains(t, p.body, "ZgotmplZ", path)
	}
	for _, role := range []store.Role{store.Desk, store.LeadRole, store.AssistantRole} {
		other := open(t, s, role)
		for _, path := range everyPage {
			want := http.StatusForbidden
			if role == store.Desk && path == "/set-up/absences" {
				want = http.StatusOK
			}
			require.Equal(t, want, other.get(path).status, "%s as %s", path, role)
		}
	}
	require.Equal(t, http.StatusNotFound, d.get("/set-up/people/nobody").status)
	require.Equal(t, http.StatusNotFound, d.get("/set-up/services/none").status)
}
