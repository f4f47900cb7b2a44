package api_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestSecretsAreShownOnceAndKeptAsHashes(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var token api.TokenBody
	s.call("POST", "/v1/tokens", object{"role": "desk", "label": "front"}).is(201, &token)
	feed := s.feed("staff", s.ada)
	secrets := []string{token.Token, strings.TrimSuffix(strings.TrimPrefix(feed.path, "/cal/"), ".ics"), s.token}
	for _, secret := range secrets {
		parts := strings.SplitN(secret, "_", 3)
		require.Len(t, parts, 3)
		require.Equal(t, s.row.Key, parts[1])
		require.Len(t, parts[2], 43, "256 bits")
	}
	for _, path := range []string{"/v1/tokens", "/v1/feeds"} {
		a := s.call("GET", path, nil).is(200, nil)
		for _, secret := range secrets {
			require.NotContains(t, string(a.body), strings.SplitN(secret, "_", 3)[2], path)
		}
	}
	db := s.db()
	for _, table := range []string{"access_token", "feed", "idempotency", "river_job", "salon", "session", "session_link"} {
		var all string
		require.NoError(t, db.QueryRow(`SELECT coalesce(string_agg(to_jsonb(x)::text, ' '), '') FROM `+table+` x`).Scan(&all))
		for _, secret := range secrets {
			require.NotContains(t, all, strings.SplitN(secret, "_", 3)[2], table)
		}
	}
}

func TestATokenSaysWhoseItIsAndWhenItWasUsed(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var made api.TokenBody
	s.call("POST", "/v1/tokens", object{"role": "lead", "staff_id": s.ada, "label": "phone", "expires_at": "2199-01-01T00:00:00Z"}).is(201, &made)
	s.call("GET", "/v1/staff", nil, "Authorization", "Bearer "+made.Token).is(200, nil)
	var list struct{ Items []api.TokenBody }
	s.call("GET", "/v1/tokens", nil).is(200, &list)
	require.Len(t, list.Items, 2)
	got := list.Items[0]
	require.Equal(t, made.ID, got.ID)
	require.Equal(t, "lead "+s.ada+" phone", got.Role+" "+got.StaffID+" "+got.Label)
	require.NotNil(t, got.LastUsed)
	require.NotNil(t, got.Expires)
	require.Nil(t, got.Revoked)
	s.call("DELETE", "/v1/tokens/"+made.ID, nil).is(204, nil)
	s.call("GET", "/v1/tokens", nil).is(200, &list)
	require.NotNil(t, list.Items[0].Revoked)
}
