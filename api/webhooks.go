package api

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/api/notify"
	"chairblock/api/outbound"
	"chairblock/scheduling"
	"chairblock/store"
)

// WebhookBody is the gateway that turns messages of the salon into text messages.
type WebhookBody struct {
	Address  string     `json:"address" maxLength:"500" doc:"Where messages are posted; https, and not within a private network" example:"https://texts.example/in"`
	Enabled  bool       `json:"enabled" doc:"Whether messages go there"`
	Secret   string     `json:"secret,omitempty" readOnly:"true" required:"false" doc:"Signs what is posted; shown once, when it is made"`
	OldUntil *time.Time `json:"old_secret_until,omitempty" readOnly:"true" required:"false" doc:"Until when the secret before this one signs beside it"`
	Problem  string     `json:"problem,omitempty" readOnly:"true" required:"false" doc:"Why it was switched off by itself"`
}

// WebhookTestBody is what came of asking the gateway.
type WebhookTestBody struct {
	Accepted bool   `json:"accepted"`
	Problem  string `json:"problem,omitempty" doc:"Why it was not accepted"`
}

type webhookInput struct{ Body WebhookBody }

type webhookChange struct {
	Precondition
	Body WebhookBody
}

type webhookVersion struct{ Precondition }

// oldSecretLasts is how long the secret before the present one signs beside it:
// time enough to change it at the gateway (judgement).
const oldSecretLasts = 24 * time.Hour

func (s *Server) webhookRoutes() {
	route(s, huma.Operation{OperationID: "get-webhook", Method: http.MethodGet, Path: "/webhook",
		Summary: "Where text messages go", Errors: []int{http.StatusNotFound}}, s.getWebhook)
	route(s, huma.Operation{OperationID: "add-webhook", Method: http.MethodPost, Path: "/webhook",
		Summary: "Name the gateway for text messages; shows its secret", DefaultStatus: http.StatusCreated, Errors: []int{http.StatusConflict}}, s.addWebhook)
	route(s, huma.Operation{OperationID: "update-webhook", Method: http.MethodPut, Path: "/webhook",
		Summary: "Change the gateway's address or switch it", Errors: []int{http.StatusNotFound}}, s.updateWebhook)
	route(s, huma.Operation{OperationID: "delete-webhook", Method: http.MethodDelete, Path: "/webhook",
		Summary: "Send no text messages any more", Errors: []int{http.StatusNotFound}}, s.deleteWebhook)
	route(s, huma.Operation{OperationID: "rotate-webhook-secret", Method: http.MethodPost, Path: "/webhook/secret",
		Summary: "Make a new secret; the old one signs beside it for a day", Errors: []int{http.StatusNotFound}}, s.rotateWebhook)
	route(s, huma.Operation{OperationID: "test-webhook", Method: http.MethodPost, Path: "/webhook/test",
		Summary: "Ask the gateway whether it hears and believes the salon; nobody gets a message", Errors: []int{http.StatusNotFound}}, s.testWebhook)
}

func writeWebhook(g store.TextGateway, secret string, now time.Time) *found[WebhookBody] {
	b := WebhookBody{Address: g.Address, Enabled: g.Enabled, Secret: secret, Problem: g.Problem}
	if g.OldUntil != nil && g.OldUntil.After(now) {
		b.OldUntil = g.OldUntil
	}
	return &found[WebhookBody]{ETag: etag(g.Version), Body: b}
}

// gatewayAddress checks where text messages are to go.
func (s *Server) gatewayAddress(b WebhookBody) (store.TextGateway, error) {
	if s.outbound == nil {
		return store.TextGateway{}, errNoOutbound
	}
	g := store.TextGateway{Address: strings.TrimSpace(b.Address), Enabled: b.Enabled}
	var f scheduling.Faults
	g.Address = text(&f, "address", g.Address, 1, 500)
	if len(f) == 0 {
		if err := s.outbound.Check(g.Address); err != nil {
			f.Add("address", "cannot be used: "+err.Error(), "a public address that begins with https://")
		}
	}
	return g, f.Err()
}

// errNoOutbound means that the service was set up to reach nobody.
var errNoOutbound = newProblem(http.StatusServiceUnavailable, "unavailable", "the service may not reach other servers")

// sealedAway words the want of a key for somebody who thinks of text messages.
func sealedAway(err error) error {
	if errors.Is(err, store.ErrNoHealthKey) {
		return newProblem(http.StatusServiceUnavailable, "health-key",
			"the gateway's secret is kept sealed, and the service was started without the key for that, which is the one for what is said about health")
	}
	return err
}

func (s *Server) getWebhook(ctx context.Context, _ *empty) (out *found[WebhookBody], err error) {
	err = s.read(ctx, func(t *store.Tx) error {
		g, err := t.TextGateway(ctx)
		out = writeWebhook(g, "", s.now())
		return err
	})
	return out, err
}

func (s *Server) addWebhook(ctx context.Context, in *webhookInput) (*created[WebhookBody], error) {
	g, err := s.gatewayAddress(in.Body)
	if err != nil {
		return nil, err
	}
	secret := notify.NewSecret()
	err = s.inTx(ctx, func(t *store.Tx) (err error) { g, err = t.AddTextGateway(ctx, g, secret); return err })
	if is(err, scheduling.ErrStale) {
		return nil, conflict("there is a gateway already: change that one")
	}
	if err != nil {
		return nil, sealedAway(err)
	}
	w := writeWebhook(g, secret, s.now())
	return &created[WebhookBody]{Location: "/v1/webhook", ETag: w.ETag, Body: w.Body}, nil
}

func (s *Server) updateWebhook(ctx context.Context, in *webhookChange) (*found[WebhookBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	g, err := s.gatewayAddress(in.Body)
	if err != nil {
		return nil, err
	}
	g.Version = version
	err = s.inTx(ctx, func(t *store.Tx) (err error) { g, err = t.UpdateTextGateway(ctx, g); return err })
	return writeWebhook(g, "", s.now()), err
}

func (s *Server) deleteWebhook(ctx context.Context, in *webhookVersion) (*empty, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.DeleteTextGateway(ctx, version) })
}

func (s *Server) rotateWebhook(ctx context.Context, in *webhookVersion) (out *found[WebhookBody], err error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	secret := notify.NewSecret()
	err = s.inTx(ctx, func(t *store.Tx) error {
		g, err := t.RotateTextGateway(ctx, version, secret, s.now().Add(oldSecretLasts))
		out = writeWebhook(g, secret, s.now())
		return err
	})
	return out, sealedAway(err)
}

func (s *Server) testWebhook(ctx context.Context, _ *empty) (*found[WebhookTestBody], error) {
	if s.outbound == nil {
		return nil, errNoOutbound
	}
	var way *gateway
	var g store.TextGateway
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if g, err = t.TextGateway(ctx); err != nil {
			return err
		}
		way, err = s.wayTo(ctx, t, g)
		return err
	})
	if err != nil {
		return nil, sealedAway(err)
	}
	out := &found[WebhookTestBody]{ETag: etag(g.Version)}
	// Somebody waits at a screen, and so does the limit on requests.
	ctx, cancel := context.WithTimeout(ctx, handlerLimit-2*time.Second)
	defer cancel()
	err = way.webhook.Test(ctx)
	out.Body.Accepted = err == nil
	if err != nil {
		out.Body.Problem = strings.TrimPrefix(err.Error(), "notify: send: ")
		if e, ok := errors.AsType[*outbound.Error](err); ok {
			out.Body.Problem = e.Error()
		}
	}
	return out, nil
}
