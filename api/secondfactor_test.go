package api_test

import (
	"encoding/base32"
	"encoding/hex"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/passwords"
	"chairblock/store"
)

const herPassword = "lamp river nine toast"

// sue adds an owner's account with a password.
func (s *salon) sue() string {
	s.t.Helper()
	var a api.AccountBody
	s.call("POST", "/v1/accounts", object{"mail": "sue@example.org", "name": "Sue", "roles": []string{"owner"}}).is(201, &a)
	hash, err := passwords.New(64, 1).Hash(s.t.Context(), herPassword)
	require.NoError(s.t, err)
	require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(t *store.Tx) error { return t.SetPassword(s.t.Context(), a.ID, "", hash, "") }))
	return a.ID
}

// signsIn signs Sue in; code may be empty.
func (s *salon) signsIn(code string) (api.SignedInBody, []string) {
	s.t.Helper()
	var in api.SignedInBody
	s.call("POST", "/v1/sign-in", object{"mail": "sue@example.org", "password": herPassword, "code": code}, "Authorization", "").is(201, &in)
	return in, []string{"Authorization", "Bearer " + in.Token}
}

// typed is the secret that somebody types into a telephone.
func (s *salon) typed(secret string) []byte {
	s.t.Helper()
	raw, err := base32.StdEncoding.DecodeString(strings.ReplaceAll(secret, "-", ""))
	require.NoError(s.t, err)
	return raw
}

// code is what a telephone with a secret shows.
func (s *salon) code(secret string) string {
	s.t.Helper()
	return passwords.CodeAt(s.typed(secret), *s.clock.Load())
}

// setsUp sets a second step up for whoever holds a token.
func (s *salon) setsUp(hers []string) (secret string, codes []string) {
	s.t.Helper()
	var begun api.FactorSetUpBody
	s.call("POST", "/v1/me/second-factor", nil, hers...).is(201, &begun)
	var done api.RecoveryCodesBody
	s.call("POST", "/v1/me/second-factor/confirmation", object{"code": s.code(begun.Secret)}, hers...).is(200, &done)
	return begun.Secret, done.Codes
}

// stepFor brings about what an operation about signing in needs.
func (s *salon) stepFor(id string, r *request) {
	account := s.sue()
	if id == "sign-in" {
		return
	}
	_, hers := s.signsIn("")
	switch id {
	case "confirm-own-second-factor":
		var begun api.FactorSetUpBody
		s.call("POST", "/v1/me/second-factor", nil, hers...).is(201, &begun)
		r.body = object{"code": s.code(begun.Secret)}
	case "end-own-second-factor", "new-recovery-codes", "reset-second-factor":
		s.setsUp(hers)
	}
	if id == "reset-second-factor" {
		r.path = "/v1/accounts/" + account + "/second-factor"
		return
	}
	r.headers = hers
}

// sql carries out a statement.
func (s *salon) sql(statement string) {
	s.t.Helper()
	_, err := s.db().Exec(statement)
	require.NoError(s.t, err)
}

func TestSomebodySignsInByTheInterfaceWithASecondStep(t *testing.T) {
	t.Parallel()
	s := emptySalon(t, "Europe/Berlin")
	account := s.sue()
	s.call("POST", "/v1/sign-in", object{"mail": "sue@example.org", "password": "something else"}, "Authorization", "").refused(401, "unauthorized")
	in, hers := s.signsIn("")
	require.Equal(t, account, in.AccountID)
	s.call("GET", "/v1/accounts", nil, hers...).is(200, nil)
	other, elsewhere := s.signsIn("")
	require.NotEqual(t, in.Token, other.Token)
	secret, codes := s.setsUp(hers)
	s.call("GET", "/v1/salon", nil, elsewhere...).refused(401, "unauthorized") // signed out everywhere else
	s.call("POST", "/v1/me/second-factor", nil, hers...).refused(409, "conflict")
	var of api.SecondFactorBody
	s.call("GET", "/v1/me/second-factor", nil, hers...).is(200, &of)
	require.Equal(t, 10, of.Codes)
	require.NotNil(t, of.Since)
	s.call("GET", "/v1/me/second-factor", nil).is(200, &of)

	body := object{"mail": "SUE@example.org", "password": herPassword}
	s.call("POST", "/v1/sign-in", body, "Authorization", "").refused(401, "code-needed")
	body["code"] = "000000"
	s.call("POST", "/v1/sign-in", body, "Authorization", "").refused(401, "unauthorized")
	body["code"] = s.code(secret)
	s.call("POST", "/v1/sign-in", body, "Authorization", "").refused(401, "unauthorized") // it has confirmed the step already
	s.at(start.Add(30 * time.Second))
	_, again := s.signsIn(s.code(secret))
	_, byCode := s.signsIn(codes[9])
	var tokens struct{ Items []api.TokenBody }
	s.call("GET", "/v1/tokens", nil, again...).is(200, &tokens)
	require.Equal(t, account, tokens.Items[0].Account)

	// What changes who gets in needs a sign-in of these minutes, and is no token's for ever.
	s.sql(`UPDATE access_token SET created_at = created_at - interval '15 minutes' WHERE account_id IS NOT NULL`)
	s.call("POST", "/v1/tokens", object{"role": "owner", "label": ""}, again...).refused(403, "password-needed")
	s.call("DELETE", "/v1/me/second-factor", nil, again...).refused(403, "password-needed")
	s.sql(`UPDATE access_token SET created_at = created_at + interval '1 hour' WHERE account_id IS NOT NULL`) // the clock was set back since
	s.call("POST", "/v1/tokens", object{"role": "owner", "label": ""}, again...).refused(403, "password-needed")
	s.call("GET", "/v1/accounts", nil, again...).is(200, nil)
	s.call("POST", "/v1/sign-out", nil, byCode...).is(204, nil)
	s.call("GET", "/v1/salon", nil, byCode...).refused(401, "unauthorized")
	s.sql(`UPDATE access_token SET last_used_at = last_used_at - interval '2 hours' WHERE account_id IS NOT NULL`)
	s.call("GET", "/v1/salon", nil, again...).refused(401, "unauthorized")
	s.call("POST", "/v1/sign-out", nil).refused(409, "conflict")
	for _, secret := range []string{hex.EncodeToString(s.typed(secret)), strings.ReplaceAll(codes[0], "-", ""), in.Token} {
		require.False(t, s.dumpHolds(secret), "the database keeps no code, no secret and no token")
	}
}

func TestAnOwnerWithoutASecondStepDoesNothingElseWhereTheSalonAsksForIt(t *testing.T) {
	t.Parallel()
	s := emptySalon(t, "Europe/Berlin")
	account := s.sue()
	tag := s.call("GET", "/v1/access-rules", nil).is(200, nil).header.Get("ETag")
	s.call("PUT", "/v1/access-rules", object{"owners_second_factor": true}, "If-Match", tag).is(200, nil)
	s.call("PUT", "/v1/access-rules", object{"owners_second_factor": false}, "If-Match", tag).refused(412, "stale")
	in, hers := s.signsIn("")
	require.True(t, in.NeedsSetUp)
	s.call("GET", "/v1/accounts", nil, hers...).refused(403, "second-step-needed")
	s.call("POST", "/v1/clients", object{"given_name": "X"}, hers...).refused(403, "second-step-needed")
	s.call("GET", "/v1/salon", nil, hers...).is(200, nil)
	secret, _ := s.setsUp(hers)
	s.call("GET", "/v1/accounts", nil, hers...).is(200, nil)
	s.call("DELETE", "/v1/me/second-factor", nil, hers...).refused(409, "conflict")
	s.call("GET", "/v1/accounts", nil).is(200, nil) // a program's token is nobody's
	s.call("DELETE", "/v1/accounts/"+account+"/second-factor", nil).is(204, nil)
	s.call("GET", "/v1/salon", nil, hers...).refused(401, "unauthorized")
	in, _ = s.signsIn("")
	require.True(t, in.NeedsSetUp)
	_ = secret
}
