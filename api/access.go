package api

import (
	"context"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// TokenBody is a bearer token.
type TokenBody struct {
	ID       string     `json:"id" readOnly:"true" required:"false"`
	Role     string     `json:"role" enum:"owner,desk,lead,assistant"`
	StaffID  string     `json:"staff_id,omitempty" maxLength:"64" doc:"Whose token it is"`
	Account  string     `json:"account_id,omitempty" readOnly:"true" required:"false" doc:"Who has signed in by the interface with it; left out for a token that was made for a program"`
	Label    string     `json:"label" doc:"What it is for"`
	Token    string     `json:"token,omitempty" readOnly:"true" required:"false" doc:"Shown once, when the token is made"`
	Created  time.Time  `json:"created_at" readOnly:"true" required:"false"`
	Expires  *time.Time `json:"expires_at,omitempty"`
	Revoked  *time.Time `json:"revoked_at,omitempty" readOnly:"true" required:"false"`
	LastUsed *time.Time `json:"last_used_at,omitempty" readOnly:"true" required:"false"`
}

type tokenInput struct {
	Repeatable
	Body TokenBody
}

func (s *Server) accessRoutes() {
	route(s, huma.Operation{OperationID: "list-tokens", Method: http.MethodGet, Path: "/tokens", Summary: "Bearer tokens, without their secret"}, s.listTokens)
	route(s, huma.Operation{OperationID: "add-token", Method: http.MethodPost, Path: "/tokens", Summary: "Make a bearer token",
		Description: "A repetition with the same Idempotency-Key makes no second token: as long as nobody has used the first one it gets another secret, which is answered.", DefaultStatus: http.StatusCreated}, s.addToken)
	route(s, huma.Operation{OperationID: "revoke-token", Method: http.MethodDelete, Path: "/tokens/{id}", Summary: "End a bearer token"}, s.revokeToken)
}

func writeToken(k store.AccessToken) TokenBody {
	b := TokenBody{ID: k.ID, Role: string(k.Role), Label: k.Label, Created: k.Created, Expires: k.Expires, Revoked: k.Revoked, LastUsed: k.LastUsed}
	if k.StaffID != nil {
		b.StaffID = *k.StaffID
	}
	if k.Account != nil {
		b.Account = *k.Account
	}
	return b
}

func (s *Server) listTokens(ctx context.Context, _ *empty) (*listBody[TokenBody], error) {
	var rows []store.AccessToken
	err := s.inTx(ctx, func(t *store.Tx) (err error) { rows, err = t.Tokens(ctx); return err })
	return listOf(rows, writeToken), err
}

func (s *Server) addToken(ctx context.Context, in *tokenInput) (*created[TokenBody], error) {
	var f scheduling.Faults
	b := in.Body
	b.Label = text(&f, "label", b.Label, 0, 80)
	if b.Expires != nil && b.Expires.Before(s.now()) {
		f.Add("expires_at", "lies in the past", "a time that is still to come, or nothing")
	}
	var secret string
	out, err := once(s, ctx, in.Repeatable, "/tokens", in.Body, func(t *store.Tx) (*created[TokenBody], error) {
		f := slices.Clone(f) // a transaction may run twice
		if b.StaffID != "" {
			if _, err := t.StaffByID(ctx, b.StaffID); is(err, scheduling.ErrNotFound) {
				f.Add("staff_id", "is not known", "the id of a person of this salon")
			} else if err != nil {
				return nil, err
			}
		}
		if err := f.Err(); err != nil {
			return nil, err
		}
		var err error
		b.ID, secret, err = t.AddToken(ctx, store.Role(b.Role), b.StaffID, b.Label, b.Expires)
		b.Created = s.now()
		return &created[TokenBody]{Location: "/v1/tokens/" + b.ID, Body: b}, err // the answer is kept: no secret in it
	})
	if err != nil {
		return nil, err
	}
	if out.Replayed != "" {
		err = s.inTx(ctx, func(t *store.Tx) (err error) { secret, err = t.RenewToken(ctx, out.Body.ID); return err })
		if is(err, scheduling.ErrNotFound) { // somebody uses it already, or it has ended
			err = nil
		}
	}
	out.Body.Token = secret
	return out, err
}

func (s *Server) revokeToken(ctx context.Context, in *ByID) (*empty, error) {
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.RevokeToken(ctx, in.ID) })
}
