package api

import (
	"context"
	"net/http"
	"slices"

	"chairblock/scheduling/needs"
	"chairblock/store"
)

// Who may read what is on record of a client's health: answers of consultations,
// tests, reactions, reasons of overrides, why visits were stopped, and where a need
// stands.
//
// The owner reads everybody's. A stylist reads that of clients of whom she leads or
// led a visit that was not called off, and consultations that she held herself. A
// stylists' token that is nobody's own reads nobody's: it could not be said later
// who has read, nor whether it was her client. Such a token may still note what
// happened. Everybody else hears only what is there, what is missing, or whom to
// ask.

type noHealthKey struct{}
type herClientKey struct{}

// withoutHealth is a context in which nobody sees anything about health, whoever
// asks: for what is kept or sent.
func withoutHealth(ctx context.Context) context.Context {
	return context.WithValue(ctx, noHealthKey{}, true)
}

// seesHealth reports whether the caller may read what is on record about the
// health of the client whose context it is, which healthOf makes.
func seesHealth(ctx context.Context) bool {
	return ctx.Value(noHealthKey{}) == nil && (principal(ctx).Role == store.Owner || ctx.Value(herClientKey{}) != nil)
}

// readableOf lists those of some clients whose health a stylist may read.
func readableOf(ctx context.Context, t *store.Tx, clients ...string) ([]string, error) {
	p := principal(ctx)
	clients = slices.DeleteFunc(slices.Clone(clients), func(id string) bool { return id == "" })
	if !p.Has(store.LeadRole) || p.StaffID == "" || len(clients) == 0 {
		return nil, nil
	}
	return t.Led(ctx, p.StaffID, clients)
}

// herClient is a context in which the caller sees the health of one client, whom
// readableOf lists.
func herClient(ctx context.Context, yes bool) context.Context {
	if !yes {
		return ctx
	}
	return context.WithValue(ctx, herClientKey{}, true)
}

// healthOf is the context of a client, in which seesHealth answers for her.
func healthOf(ctx context.Context, t *store.Tx, client string) (context.Context, error) {
	list, err := readableOf(ctx, t, client)
	return herClient(ctx, len(list) > 0), err
}

// needsHealthOf refuses who may not read what is on record of a client's health,
// and notes the reading otherwise.
func (s *Server) needsHealthOf(ctx context.Context, t *store.Tx, client, about string) error {
	ctx, err := healthOf(ctx, t, client)
	if err != nil {
		return err
	}
	if !seesHealth(ctx) {
		return newProblem(http.StatusForbidden, "forbidden", "this needs the own token of a stylist who leads or led a visit of the client, or the owner")
	}
	return t.NoteHealthRead(ctx, s.healthRead(ctx, client, about))
}

// healthRead is that the caller read something about a client now.
func (s *Server) healthRead(ctx context.Context, client, about string) store.HealthRead {
	p := principal(ctx)
	return store.HealthRead{About: about, Client: client, At: s.now(), What: "read", Role: string(p.Role), Staff: p.StaffID, Token: p.TokenID}
}

// speaks reports whether a need as it was written for the caller tells that
// something about health speaks against the visit.
func (b NeedBody) speaks() bool {
	hidden := needs.Need{Kind: needs.Kind(b.Kind), State: needs.State(b.State), Owner: needs.Owner(b.Owner)}.Hidden()
	return b.Why != "" && hidden
}

// noteNeeds notes that the caller was told what speaks against a visit of the
// client, once an hour at most.
func (s *Server) noteNeeds(ctx context.Context, t *store.Tx, client string, list []NeedBody) error {
	if client == "" || !slices.ContainsFunc(list, NeedBody.speaks) {
		return nil
	}
	return t.NoteHealthReadOnce(ctx, s.healthRead(ctx, client, "needs"))
}

// noteStops notes that the caller read why visits of a client were stopped early,
// once an hour at most.
func (s *Server) noteStops(ctx context.Context, client string) error {
	if client == "" {
		return nil
	}
	return s.inTx(ctx, func(t *store.Tx) error { return t.NoteHealthReadOnce(ctx, s.healthRead(ctx, client, "stops")) })
}

// inKindOrder sorts needs so that their order tells nothing about them.
func inKindOrder(list []needs.Need) []needs.Need {
	kinds := needs.Kinds()
	out := slices.Clone(list)
	slices.SortStableFunc(out, func(a, b needs.Need) int { return slices.Index(kinds, a.Kind) - slices.Index(kinds, b.Kind) })
	return out
}
