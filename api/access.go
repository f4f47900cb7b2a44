package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// FeedBody is a secret calendar address of one person.
type FeedBody struct {
	ID       string     `json:"id" readOnly:"true" required:"false"`
	Kind     string     `json:"kind" enum:"staff,client"`
	Subject  string     `json:"subject_id" maxLength:"64" doc:"Whose calendar it is"`
	URL      string     `json:"url,omitempty" readOnly:"true" required:"false" doc:"Shown once, when the feed is made: whoever has it can read the calendar"`
	Created  time.Time  `json:"created_at" readOnly:"true" required:"false"`
	Revoked  *time.Time `json:"revoked_at,omitempty" readOnly:"true" required:"false"`
	LastUsed *time.Time `json:"last_used_at,omitempty" readOnly:"true" required:"false"`
}

// TokenBody is a bearer token.
type TokenBody struct {
	ID       string     `json:"id" readOnly:"true" required:"false"`
	Role     string     `json:"role" enum:"owner,desk,lead,assistant"`
	StaffID  string     `json:"staff_id,omitempty" maxLength:"64" doc:"Whose token it is"`
	Label    string     `json:"label" doc:"What it is for"`
	Token    string     `json:"token,omitempty" readOnly:"true" required:"false" doc:"Shown once, when the token is made"`
	Created  time.Time  `json:"created_at" readOnly:"true" required:"false"`
	Expires  *time.Time `json:"expires_at,omitempty"`
	Revoked  *time.Time `json:"revoked_at,omitempty" readOnly:"true" required:"false"`
	LastUsed *time.Time `json:"last_used_at,omitempty" readOnly:"true" required:"false"`
}

type feedInput struct{ Body FeedBody }
type tokenInput struct{ Body TokenBody }

func (s *Server) accessRoutes() {
	route(s, huma.Operation{OperationID: "list-feeds", Method: http.MethodGet, Path: "/feeds", Summary: "Calendar addresses, without their secret"}, s.listFeeds)
	route(s, huma.Operation{OperationID: "add-feed", Method: http.MethodPost, Path: "/feeds", Summary: "Make a calendar address for a person", DefaultStatus: http.StatusCreated}, s.addFeed)
	route(s, huma.Operation{OperationID: "revoke-feed", Method: http.MethodDelete, Path: "/feeds/{id}", Summary: "End a calendar address"}, s.revokeFeed)
	route(s, huma.Operation{OperationID: "list-tokens", Method: http.MethodGet, Path: "/tokens", Summary: "Bearer tokens, without their secret"}, s.listTokens)
	route(s, huma.Operation{OperationID: "add-token", Method: http.MethodPost, Path: "/tokens", Summary: "Make a bearer token", DefaultStatus: http.StatusCreated}, s.addToken)
	route(s, huma.Operation{OperationID: "revoke-token", Method: http.MethodDelete, Path: "/tokens/{id}", Summary: "End a bearer token"}, s.revokeToken)
}

func writeFeed(f store.Feed) FeedBody {
	return FeedBody{ID: f.ID, Kind: f.Kind, Subject: f.Subject, Created: f.Created, Revoked: f.Revoked, LastUsed: f.LastUsed}
}

func (s *Server) listFeeds(ctx context.Context, _ *empty) (*listBody[FeedBody], error) {
	var rows []store.Feed
	err := s.inTx(ctx, func(t *store.Tx) (err error) { rows, err = t.Feeds(ctx); return err })
	return listOf(rows, writeFeed), err
}

func (s *Server) addFeed(ctx context.Context, in *feedInput) (*created[FeedBody], error) {
	var out FeedBody
	err := s.inTx(ctx, func(t *store.Tx) error {
		f, secret, err := t.AddFeed(ctx, in.Body.Kind, in.Body.Subject)
		if is(err, scheduling.ErrNotFound) {
			who := map[string]string{"staff": "somebody who works in", "client": "a client of"}[in.Body.Kind]
			return &scheduling.InvalidError{Field: "subject_id", Problem: "is not known", Want: "the id of " + who + " this salon"}
		}
		if err != nil {
			return err
		}
		out = writeFeed(f)
		out.URL = s.FeedURL(secret)
		return nil
	})
	return &created[FeedBody]{Location: "/v1/feeds/" + out.ID, Body: out}, err
}

func (s *Server) revokeFeed(ctx context.Context, in *ByID) (*empty, error) {
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.RevokeFeed(ctx, in.ID) })
}

func writeToken(k store.AccessToken) TokenBody {
	b := TokenBody{ID: k.ID, Role: string(k.Role), Label: k.Label, Created: k.Created, Expires: k.Expires, Revoked: k.Revoked, LastUsed: k.LastUsed}
	if k.StaffID != nil {
		b.StaffID = *k.StaffID
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
	err := s.inTx(ctx, func(t *store.Tx) error {
		if b.StaffID != "" {
			if _, err := t.StaffByID(ctx, b.StaffID); is(err, scheduling.ErrNotFound) {
				f.Add("staff_id", "is not known", "the id of a person of this salon")
			} else if err != nil {
				return err
			}
		}
		if err := f.Err(); err != nil {
			return err
		}
		var err error
		b.ID, b.Token, err = t.AddToken(ctx, store.Role(b.Role), b.StaffID, b.Label, b.Expires)
		b.Created = s.now()
		return err
	})
	return &created[TokenBody]{Location: "/v1/tokens/" + b.ID, Body: b}, err
}

func (s *Server) revokeToken(ctx context.Context, in *ByID) (*empty, error) {
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.RevokeToken(ctx, in.ID) })
}
