package api

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

const signInPath = "/sign-in"

// addressKey is under what a request that needs no token keeps where it comes from.
type addressKey struct{}

// SignInBody is what somebody sends to sign in by the interface.
type SignInBody struct {
	Mail     string `json:"mail" maxLength:"254" doc:"Address with which she signs in" example:"ada@example.org"`
	Password string `json:"password" maxLength:"128" example:"lamp river nine toast"`
	Code     string `json:"code" maxLength:"60" required:"false" doc:"For an account with a second step: the code that is shown now, or a recovery code" example:"123456"`
	SalonID  string `json:"salon_id" maxLength:"64" required:"false" doc:"For somebody who works in several salons with the same password"`
}

// SignedInBody is the token of somebody who has signed in.
type SignedInBody struct {
	Token      string    `json:"token" doc:"To be sent as a bearer token; it does what the account may do"`
	Expires    time.Time `json:"expires_at" doc:"It ends before when it is not used for two hours, and when she signs out"`
	SalonID    string    `json:"salon_id"`
	AccountID  string    `json:"account_id"`
	NeedsSetUp bool      `json:"second_factor_needed" doc:"The salon asks her for a second step: until it is set up nothing else is open"`
}

type signInInput struct{ Body SignInBody }

// tokenLabel is what tokens of people who sign in by the interface are called.
const tokenLabel = "signed in"

func (s *Server) signInRoutes() {
	op := huma.Operation{OperationID: "sign-in", Method: http.MethodPost, Path: signInPath, Summary: "Sign in with a password, and a code where there is a second step",
		Description:   "Needs no token. Answers 401 with /problems/code-needed when the password is right and the code is missing.",
		DefaultStatus: http.StatusCreated, MaxBodyBytes: maxBody + 1, BodyReadTimeout: hasBeenRead, Security: []map[string][]string{},
		Errors: []int{http.StatusNotFound, http.StatusUnauthorized, http.StatusTooManyRequests, http.StatusUnprocessableEntity, http.StatusServiceUnavailable,
			http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType}}
	huma.Register(s.api, op, func(ctx context.Context, in *signInInput) (*created[SignedInBody], error) {
		out, err := s.signInByREST(ctx, in.Body)
		if err != nil {
			return nil, problem(ctx, err)
		}
		return out, nil
	})
	route(s, huma.Operation{OperationID: "sign-out", Errors: stateAnswers, Method: http.MethodPost, Path: "/sign-out", Summary: "End the token with which somebody signed in"}, s.signOutByREST)
}

func (s *Server) signInByREST(ctx context.Context, b SignInBody) (*created[SignedInBody], error) {
	var f scheduling.Faults
	text(&f, "mail", b.Mail, 0, 254)
	text(&f, "code", b.Code, 0, 60)
	text(&f, "salon_id", b.SalonID, 0, 64)
	if err := f.Err(); err != nil {
		return nil, err
	}
	if err := (SignInForm{Mail: b.Mail, Password: b.Password}).check(); err != nil {
		return nil, err
	}
	address, _ := ctx.Value(addressKey{}).(string)
	found, err := s.matching(ctx, address, knownBrowser{}, b.Mail, b.Password)
	if err != nil {
		return nil, err
	}
	k, err := oneSalon(found, b.SalonID)
	if err != nil {
		return nil, err
	}
	if k.Factor {
		if strings.TrimSpace(b.Code) == "" {
			return nil, newProblem(http.StatusUnauthorized, "code-needed", "send the code of the second step, too")
		}
		if err := s.secondStep(ctx, k.Salon, k.Account, b.Code); is(err, errWrongStep) {
			return nil, newProblem(http.StatusUnauthorized, "unauthorized", "the code "+errWrongStep.Problem)
		} else if err != nil {
			return nil, err
		}
	}
	return s.signedInBody(ctx, k)
}

// oneSalon is that of an account that a password opens.
func oneSalon(found []store.Credentials, salon string) (store.Credentials, error) {
	if salon == "" && len(found) == 1 {
		return found[0], nil
	}
	var list []string
	for _, k := range found {
		if k.Salon == salon {
			return k, nil
		}
		list = append(list, fmt.Sprintf("%s for %s", k.Salon, k.SalonName))
	}
	return store.Credentials{}, &scheduling.InvalidError{Field: "salon_id", Problem: "names none of the salons that this password opens", Want: strings.Join(list, ", ")}
}

func (s *Server) signedInBody(ctx context.Context, k store.Credentials) (*created[SignedInBody], error) {
	out := SignedInBody{SalonID: k.Salon, AccountID: k.Account}
	err := s.store.InTx(ctx, k.Salon, func(t *store.Tx) error {
		a, err := t.AccountByID(ctx, k.Account)
		if err != nil {
			return err
		}
		_, asks, _, err := s.asksStep(ctx, t, a.Roles)
		if err != nil {
			return err
		}
		out.NeedsSetUp = asks && !k.Factor
		out.Token, out.Expires, err = t.AddAccountToken(ctx, k.Account, tokenLabel, ownMachine.most)
		return err
	})
	if err != nil {
		return nil, err
	}
	slog.InfoContext(ctx, "signed in", "salon", k.Salon, "account", k.Account, "kind", "interface")
	return &created[SignedInBody]{Location: "/v1/me/second-factor", Body: out}, nil
}

func (s *Server) signOutByREST(ctx context.Context, _ *empty) (*empty, error) {
	token := principal(ctx).Token
	if token == "" {
		return nil, newProblem(http.StatusConflict, "conflict", "this token was made for a program, by nobody who signed in: an owner revokes it")
	}
	err := s.inTx(ctx, func(t *store.Tx) error { return t.RevokeToken(ctx, token) })
	if err == nil {
		s.accessNoted(ctx, slog.LevelInfo, "signed out", "account", principal(ctx).Account)
	}
	return nil, err
}
