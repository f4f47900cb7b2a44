package api

import (
	"context"
	"errors"
	"log/slog"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// gateway is the way of a salon's text messages.
type gateway struct {
	server  *Server
	salon   string
	address string
	webhook *notify.Webhook // nil when the secret cannot be opened: see sealed
}

// sealed reports whether nothing can be signed for the gateway.
func (g *gateway) sealed() bool { return g.webhook == nil }

// texter returns the way of the salon's text messages, nil when it has no gateway
// that is switched on. It only reads. A gateway whose secret cannot be opened, for
// want of the key, is sealed: until somebody sees to it, clients are called.
func (s *Server) texter(ctx context.Context, t *store.Tx) (*gateway, error) {
	g, err := t.TextGateway(ctx)
	if is(err, scheduling.ErrNotFound) || err == nil && (!g.Enabled || s.outbound == nil) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	way, err := s.wayTo(ctx, t, g)
	if err != nil && lockedAway(err) {
		return &gateway{server: s, salon: t.Salon(), address: g.Address}, nil
	}
	return way, err
}

// wayTo makes the way to a gateway, whether it is switched on or not.
func (s *Server) wayTo(ctx context.Context, t *store.Tx, g store.TextGateway) (*gateway, error) {
	secrets, err := t.TextGatewaySecrets(ctx, s.now())
	if err != nil {
		return nil, err
	}
	w, err := notify.NewWebhook(s.outbound, g.Address, s.now, secrets...)
	if err != nil {
		return nil, err
	}
	return &gateway{s, t.Salon(), g.Address, w}, nil
}

// Send hands one text message to the gateway, outside any transaction; errors are
// those of notify.Webhook.Send. A gateway that says that it is gone is switched
// off.
func (g *gateway) Send(ctx context.Context, m notify.Text) error {
	err := g.webhook.Send(ctx, m)
	if errors.Is(err, notify.ErrGone) {
		if err := g.switchOff(ctx); err != nil {
			slog.WarnContext(ctx, "gateway not switched off", "salon", g.salon, "err", err)
		}
	}
	return err
}

func (g *gateway) switchOff(ctx context.Context) error {
	return g.server.store.InTx(ctx, g.salon, func(t *store.Tx) error {
		return t.SwitchOffTextGateway(ctx, g.address, notify.ErrGone.Error())
	})
}
