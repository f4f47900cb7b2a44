package api

import (
	"context"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"chairblock/store"
)

// Who may do what. Every operation of the interface stands here once, by its
// operation id; an operation that is missing makes the server refuse to start.
var (
	everybody = []store.Role{store.Owner, store.Desk, store.LeadRole, store.AssistantRole}
	working   = []store.Role{store.Owner, store.Desk, store.LeadRole}
	desk      = []store.Role{store.Owner, store.Desk}
	owner     = []store.Role{store.Owner}
	// ownerOrLead is for what a stylist may know of herself; the handler leaves out
	// the rest.
	ownerOrLead = []store.Role{store.Owner, store.LeadRole}
	health      = []store.Role{store.Owner, store.LeadRole}                      // may see answers about health
	atChair     = []store.Role{store.Owner, store.LeadRole, store.AssistantRole} // who write and read record cards
)

var allowed = map[string][]store.Role{
	"get-pace-settings": owner, "set-pace-settings": owner, "report-pace": ownerOrLead,
	"report-salon": owner, "preview-change": desk, "read-closing-days": owner, "preview-service": owner, "get-set-up": owner, "add-usual-services": owner,
	"get-maker-figures": owner, "set-maker-figures": owner,
	"get-booking-rules": everybody, "set-booking-rules": owner,
	"get-care-rules": everybody, "set-care-rules": owner,
	"get-salon": everybody, "update-salon": owner, "list-chair-time-settings": working,
	"set-chair-time-settings": owner, "reset-chair-time-settings": owner, "preview-chair-time-settings": owner,
	"list-staff": everybody, "get-staff": everybody, "add-staff": owner, "update-staff": owner, "delete-staff": owner,
	"get-staff-hours": everybody, "set-staff-hours": owner, "list-working-days": everybody,
	"list-staff-rotas": everybody, "add-staff-rota": owner, "get-staff-rota": everybody, "set-staff-rota": owner, "delete-staff-rota": owner,
	"list-single-days": everybody, "add-single-day": owner, "get-single-day": everybody, "set-single-day": owner, "delete-single-day": owner,
	"list-stations": everybody, "get-station": everybody, "add-station": owner, "add-stations": owner, "update-station": owner,
	"delete-station": owner,
	"get-hours":      everybody, "set-hours": owner,
	"list-opening-days": everybody, "add-opening-day": owner, "get-opening-day": everybody, "set-opening-day": owner, "delete-opening-day": owner,
	"list-closures": everybody, "add-closure": owner, "add-closures": owner, "delete-closure": owner,
	"list-absences": everybody, "add-absence": desk, "delete-absence": desk,
	"list-private-calendars": working, "add-private-calendar": working, "add-private-file": working, "get-private-calendar": working,
	"update-private-calendar": working, "replace-private-file": working, "fetch-private-calendar": working, "delete-private-calendar": working,
	"list-services": everybody, "get-service": everybody, "add-service": owner, "update-service": owner,
	"delete-service": owner, "copy-service": owner, "list-service-versions": everybody, "get-service-version": everybody,
	"list-products": everybody, "get-product": everybody, "add-product": owner, "update-product": owner, "delete-product": owner,
	"get-stock": everybody, "add-stock-movement": everybody, "list-stock-movements": working, "set-visit-product": working,
	"make-quote": working, "get-quote": working, "list-quotes": working, "list-money": working, "note-money": working,
	"list-clients": working, "get-client": working, "add-client": working, "update-client": working,
	"delete-client": owner, "preview-merge": desk, "merge-clients": desk, "export-client": desk, "export-client-files": desk, "look-at-erasure": owner, "erase-client": owner, "list-changes": owner,
	"list-heads": working, "add-head": working, "expect-hair": working,
	"get-hair-map": health, "list-hair-treatments": health, "add-hair-treatment": health, "delete-hair-treatment": health,
	"make-estimate": working, "get-estimate": working, "phone-estimate": working,
	"find-openings": working,
	"book-visit":    working, "get-visit": everybody, "list-visits": everybody, "move-visit": working,
	"cancel-visit": working, "arrive-visit": everybody, "finish-visit": working, "miss-visit": desk,
	"start-step": everybody, "finish-step": everybody, "undo-step": everybody, "list-visit-events": working,
	"get-person-day": everybody, "get-visit-run": atChair, "tap-visit": everybody,
	"get-card": atChair, "get-visit-now": everybody, "add-card-fact": atChair, "correct-card-fact": atChair,
	"hair-as-seen": working, "rinse-now": everybody, "undo-rinse-now": everybody, "stop-visit": health, "clear-follow-up": health,
	"book-first-wash-check": working, "book-correction": working, "get-last-card": health, "export-cards": health,
	"swap-visit": working, "extend-visit": working, "set-visit-group": working,
	"add-hold": working, "list-holds": working, "book-held-visit": working, "release-visit": working, "hold-visit": working,
	"add-walk-in": working, "keep-time": working,
	"find-group-openings": working, "book-group": working, "get-group": working,
	"get-day": everybody, "watch-salon": everybody, "get-week": everybody,
	"get-undo": everybody, "undo-last": everybody, "undo-arrival": everybody,
	"get-delays": working, "apply-remedy": working, "tell-running-late": working,
	"list-calls": working, "add-call-try": working,
	"list-waiting": working, "add-waiting": working, "get-waiting": working, "update-waiting": working, "withdraw-waiting": working,
	"match-waiting": working, "plan-day": working, "get-day-plan": working, "apply-day-plan": working,
	"get-invitation-settings": owner, "set-invitation-settings": owner, "list-invitation-replies": working,
	"list-reminders": working, "list-messages": desk, "send-message-again": desk,
	"get-webhook": owner, "add-webhook": owner, "update-webhook": owner, "delete-webhook": owner,
	"rotate-webhook-secret": owner, "test-webhook": owner,
	"get-consultation-form": working, "set-consultation-form": owner, "list-screenings": working, "add-screening": health,
	"get-screening": health, "delete-screening": health, "decide-screening": health,
	"get-privacy": working, "set-privacy": owner, "list-health-reads": owner,
	"get-retention": owner, "set-retention": owner, "preview-retention": owner,
	"add-skin-test": everybody, "read-skin-test": health, "list-skin-tests": health, "add-strand-test": health, "list-strand-tests": health,
	"add-reaction": everybody, "list-reactions": health,
	"get-minor": working, "set-minor": working, "delete-minor": working, "add-guardian-yes": working,
	"list-consents": working, "add-consent": working, "withdraw-consent": working, "list-consent-wordings": everybody, "add-consent-wording": owner,
	"override-need": working, "withdraw-override": working, "list-overrides": health, "list-to-do": working,
	"name-client": working, "undo-miss": desk, "find-clients": working, "get-client-overview": working, "lay-aside-message": desk,
	"get-message-rules": everybody, "set-message-rules": owner, "get-message-wishes": working, "set-message-wishes": working,
	"list-languages": everybody, "get-language": everybody, "set-language": owner, "delete-language": owner, "preview-message": working,
	"note-yes": working, "take-back-yes": working,
	"list-own-links": working, "add-own-link": working, "rotate-own-link": working, "revoke-own-link": working, "close-own-pages": working,
	"list-client-requests": working, "settle-client-request": working,
	"list-feeds":    working,
	"add-feed":      working,
	"rotate-feed":   working,
	"revoke-feed":   working,
	"list-accounts": owner, "get-account": owner, "add-account": owner, "update-account": owner, "add-account-link": owner,
	"end-account-sessions":  owner,
	"get-own-second-factor": everybody, "begin-own-second-factor": everybody, "confirm-own-second-factor": everybody, "end-own-second-factor": everybody,
	"new-recovery-codes": everybody, "reset-second-factor": owner, "get-access-rules": owner, "set-access-rules": owner, "sign-out": everybody,
	"list-tokens":  owner,
	"add-token":    owner,
	"revoke-token": owner,
}

type principalKey struct{}

func withPrincipal(ctx context.Context, p store.Principal) context.Context {
	return context.WithValue(store.As(ctx, p.TokenID), principalKey{}, p)
}

func principal(ctx context.Context) store.Principal {
	p, _ := ctx.Value(principalKey{}).(store.Principal)
	return p
}

// mayDo checks the roles of the caller for one operation and says what it
// needs, or nothing when the caller may.
func mayDo(ctx context.Context, operation string) string {
	_, refusal := actFor(ctx, operation)
	return refusal
}

// actFor is the context in which the caller carries out an operation: in the role,
// of all that she holds, that may do most of those that may do this one. Whoever is
// at the desk and a stylist acts as a stylist where the desk may do nothing, and may
// then speak for nobody but herself. Otherwise it says what the operation needs.
func actFor(ctx context.Context, operation string) (context.Context, string) {
	p := principal(ctx)
	role, ok := p.Among(allowed[operation])
	if !ok {
		return ctx, "this needs the role " + rolesInWords(allowed[operation])
	}
	if role != p.Role {
		p.Role = role
		ctx = withPrincipal(ctx, p)
	}
	return ctx, ""
}

// readOnlyWords say what whoever uses a shared screen has to do first.
const readOnlyWords = "this screen is shared: say who you are before you change something"

func rolesInWords(list []store.Role) string {
	words := make([]string, len(list))
	for i, r := range list {
		words[i] = string(r)
		if r == store.LeadRole {
			words[i] = "lead (stylist in charge)"
		}
	}
	return strings.Join(words, " or ")
}

// bearer finds the principal of a request below /v1.
func (s *Server) bearer(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if fromAsk(c) {
			return next(c)
		}
		ctx := c.Request().Context()
		if c.Request().URL.Path == "/v1"+signInPath {
			c.SetRequest(c.Request().WithContext(context.WithValue(ctx, addressKey{}, c.RealIP())))
			hit(c)
			return next(c)
		}
		scheme, token, _ := strings.Cut(c.Request().Header.Get("Authorization"), " ")
		if !strings.EqualFold(scheme, "Bearer") || token == "" {
			return newProblem(http.StatusUnauthorized, "unauthorized", "send the header Authorization: Bearer with a token of this salon")
		}
		token = strings.TrimSpace(token)
		if !couldBeSecret(token) {
			return newProblem(http.StatusUnauthorized, "unauthorized", "the token is unknown, expired or revoked")
		}
		p, err := s.store.Principal(ctx, token)
		if err != nil {
			if pr := problem(ctx, err); pr.Status != http.StatusNotFound {
				return pr
			}
			if miss(c) {
				return tooManyMissed(c)
			}
			return newProblem(http.StatusUnauthorized, "unauthorized", "the token is unknown, expired or revoked")
		}
		hit(c)
		if err := s.within(c, p); err != nil {
			return err
		}
		c.SetRequest(c.Request().WithContext(withPrincipal(ctx, p)))
		return next(c)
	}
}

// couldBeSecret reports whether s has only characters that tokens, links and
// calendar addresses have.
func couldBeSecret(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool {
		return r != '_' && r != '-' && (r < '0' || r > '9') && (r < 'a' || r > 'z') && (r < 'A' || r > 'Z')
	})
}
