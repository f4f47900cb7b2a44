package api

import (
	"context"
	"log/slog"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// AccountBody is somebody who may sign in to the pages.
type AccountBody struct {
	ID      string   `json:"id" readOnly:"true" required:"false"`
	Mail    string   `json:"mail" maxLength:"254" doc:"Address with which she signs in; capital letters count as small ones. Empty only until she names one herself" example:"ada@example.org"`
	Name    string   `json:"name" maxLength:"120" required:"false" doc:"What she is called; for somebody of the staff it is the name there" example:"Ada"`
	StaffID string   `json:"staff_id" maxLength:"64" required:"false" doc:"Who of the staff she is, empty for nobody on the rota"`
	Roles   []string `json:"roles" nullable:"false" maxItems:"4" enum:"owner,desk,lead,assistant" doc:"All that she may be without signing in again" example:"[\"desk\", \"lead\"]"`
	// What an account has is written by the service alone.
	Disabled    bool       `json:"disabled" required:"false" doc:"She may not sign in; setting it signs her out everywhere"`
	HasPassword bool       `json:"has_password" readOnly:"true" required:"false" doc:"She has chosen one"`
	HasCode     bool       `json:"has_code" readOnly:"true" required:"false" doc:"She has a short code for shared screens"`
	Factor      *time.Time `json:"second_factor_since,omitempty" readOnly:"true" required:"false" doc:"Since when she signs in with a second step, a code that changes with time; left out for none"`
	Left        bool       `json:"left_staff" readOnly:"true" required:"false" doc:"She is on the staff no more; only an owner may then still sign in"`
	Browsers    int        `json:"browsers" readOnly:"true" required:"false" doc:"In how many browsers she is signed in"`
	SignedIn    *time.Time `json:"signed_in_at,omitempty" readOnly:"true" required:"false" doc:"When she signed in last"`
	Created     time.Time  `json:"created_at" readOnly:"true" required:"false"`
	Link        string     `json:"link,omitempty" readOnly:"true" required:"false" doc:"Address at which she chooses her password, shown once, when the account is made"`
}

// AccountLink is an address at which somebody chooses a password.
type AccountLink struct {
	Link    string    `json:"link" doc:"Works once; it is shown only now, and earlier ones end"`
	Expires time.Time `json:"expires_at"`
}

type accountInput struct{ Body AccountBody }
type accountChange struct {
	ByID
	Precondition
	Body AccountBody
}

func (s *Server) accountRoutes() {
	route(s, huma.Operation{OperationID: "list-accounts", Method: http.MethodGet, Path: "/accounts", Summary: "Who may sign in to the pages"}, s.listAccounts)
	route(s, huma.Operation{OperationID: "get-account", Method: http.MethodGet, Path: "/accounts/{id}", Summary: "One who may sign in"}, s.getAccount)
	route(s, huma.Operation{OperationID: "add-account", Method: http.MethodPost, Path: "/accounts", Summary: "Invite somebody to sign in", DefaultStatus: http.StatusCreated}, s.addAccount)
	route(s, huma.Operation{OperationID: "update-account", Method: http.MethodPut, Path: "/accounts/{id}", Summary: "Change who signs in, her roles, or that she may not any more"}, s.updateAccount)
	route(s, huma.Operation{OperationID: "add-account-link", Method: http.MethodPost, Path: "/accounts/{id}/link", Summary: "Make a new address at which somebody chooses her password", DefaultStatus: http.StatusCreated}, s.addAccountLink)
	route(s, huma.Operation{OperationID: "end-account-sessions", Method: http.MethodDelete, Path: "/accounts/{id}/sessions", Summary: "Sign somebody out everywhere"}, s.endAccountSessions)
}

func writeAccount(a store.Account, browsers int) AccountBody {
	b := AccountBody{ID: a.ID, Mail: a.Login, Name: a.Name, StaffID: a.Staff, Disabled: a.Disabled != nil, HasPassword: a.Password, HasCode: a.Code,
		Factor: a.Factor, Left: a.Left, Browsers: browsers, SignedIn: a.SignedIn, Created: a.Created}
	for _, r := range a.Roles {
		b.Roles = append(b.Roles, string(r))
	}
	return b
}

func (s *Server) listAccounts(ctx context.Context, _ *empty) (*listBody[AccountBody], error) {
	var rows []store.Account
	var browsers map[string]int
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if rows, err = t.Accounts(ctx); err == nil {
			browsers, err = t.Browsers(ctx, s.now())
		}
		return err
	})
	return listOf(rows, func(a store.Account) AccountBody { return writeAccount(a, browsers[a.ID]) }), err
}

func (s *Server) getAccount(ctx context.Context, in *ByID) (*found[AccountBody], error) {
	var out *found[AccountBody]
	err := s.read(ctx, func(t *store.Tx) error {
		a, err := t.AccountByID(ctx, in.ID)
		if err != nil {
			return err
		}
		list, err := t.BrowsersOf(ctx, in.ID, s.now())
		out = &found[AccountBody]{etag(a.Version), writeAccount(a, len(list))}
		return err
	})
	return out, err
}

// row checks what was sent of an account. Who works at the chair is somebody of the
// staff; everybody else needs a name.
func (b AccountBody) row(ctx context.Context, t *store.Tx) (store.Account, error) {
	var f scheduling.Faults
	a := store.Account{Login: foldMail(address(&f, "mail", b.Mail)), Staff: b.StaffID}
	least := 1
	if b.StaffID != "" {
		least = 0
		if p, err := t.StaffByID(ctx, b.StaffID); is(err, scheduling.ErrNotFound) || err == nil && !p.Active {
			f.Add("staff_id", "is not known", "the id of a person who works in this salon")
		} else if err != nil {
			return a, err
		}
	}
	a.Name = text(&f, "name", b.Name, least, 120)
	if len(b.Roles) == 0 {
		f.Add("roles", "is missing", "at least one of owner, desk, lead and assistant")
	}
	for i, r := range b.Roles {
		switch role := store.Role(r); {
		case roleWords[role] == "":
			f.Addf(index("roles", i), "owner, desk, lead or assistant", "is %q", r)
		case slices.Contains(a.Roles, role):
			f.Add(index("roles", i), "stands there twice", "each role once")
		default:
			a.Roles = append(a.Roles, role)
		}
	}
	if b.StaffID == "" && (slices.Contains(a.Roles, store.LeadRole) || slices.Contains(a.Roles, store.AssistantRole)) {
		f.Add("staff_id", "is missing for a stylist or an assistant", "who of the staff she is, or only the roles owner and desk")
	}
	return a, f.Err()
}

func (s *Server) addAccount(ctx context.Context, in *accountInput) (*created[AccountBody], error) {
	var out AccountBody
	var version int64
	err := s.inTx(ctx, func(t *store.Tx) error {
		a, err := in.Body.row(ctx, t)
		if err != nil {
			return err
		}
		if a, err = t.AddAccount(ctx, a); err != nil {
			return err
		}
		link, err := t.AddPasswordLink(ctx, a.ID, s.now().Add(PasswordLinkLife))
		out, version = writeAccount(a, 0), a.Version
		out.Link = s.SessionURL(link)
		return err
	})
	if err == nil {
		s.accessNoted(ctx, slog.LevelInfo, "invited", "account", out.ID, "roles", out.Roles)
	}
	return &created[AccountBody]{Location: "/v1/accounts/" + out.ID, ETag: etag(version), Body: out}, err
}

func (s *Server) updateAccount(ctx context.Context, in *accountChange) (*found[AccountBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var out *found[AccountBody]
	var was store.Account
	err = s.inTx(ctx, func(t *store.Tx) error {
		if err := t.LockAccounts(ctx); err != nil {
			return err
		}
		old, err := t.AccountByID(ctx, in.ID)
		if err != nil {
			return err
		}
		b := in.Body
		if b.StaffID == old.Staff && old.Left {
			b.StaffID = "" // who has left is not looked for on the staff
		}
		a, err := b.row(ctx, t)
		if err != nil {
			return err
		}
		a.ID, a.Version, a.Staff = in.ID, version, in.Body.StaffID
		if in.Body.Disabled {
			now := s.now()
			a.Disabled = &now
		}
		if a, err = t.UpdateAccount(ctx, a); err != nil {
			return err
		}
		out = &found[AccountBody]{etag(a.Version), writeAccount(a, 0)}
		was = old
		return s.ownerRemains(ctx, t, old, out)
	})
	if err == nil {
		s.noteChanged(ctx, was, out.Body)
	}
	return out, err
}

// noteChanged writes into the log what has changed of what somebody may do.
func (s *Server) noteChanged(ctx context.Context, was store.Account, b AccountBody) {
	before := writeAccount(was, 0)
	if !slices.Equal(before.Roles, b.Roles) {
		s.accessNoted(ctx, slog.LevelInfo, "roles changed", "account", b.ID, "from", before.Roles, "to", b.Roles)
	}
	if before.Disabled != b.Disabled {
		s.accessNoted(ctx, slog.LevelInfo, "let in or kept out", "account", b.ID, "disabled", b.Disabled)
	}
	if before.Mail != b.Mail {
		s.accessNoted(ctx, slog.LevelInfo, "mail address to sign in with changed", "account", b.ID)
	}
}

// ownerRemains refuses a change after which nobody could change it back, and counts
// the browsers.
func (s *Server) ownerRemains(ctx context.Context, t *store.Tx, old store.Account, out *found[AccountBody]) error {
	list, err := t.Accounts(ctx)
	if err != nil {
		return err
	}
	isOwner := func(a store.Account) bool { return a.Disabled == nil && slices.Contains(a.Roles, store.Owner) }
	if isOwner(old) && !slices.ContainsFunc(list, isOwner) {
		return newProblem(http.StatusConflict, "conflict", "this is the last owner who may sign in: make somebody else an owner first")
	}
	browsers, err := t.Browsers(ctx, s.now())
	out.Body.Browsers = browsers[out.Body.ID]
	return err
}

func (s *Server) addAccountLink(ctx context.Context, in *ByID) (*created[AccountLink], error) {
	out := AccountLink{Expires: s.now().Add(PasswordLinkLife)}
	err := s.inTx(ctx, func(t *store.Tx) error {
		a, err := t.AccountByID(ctx, in.ID)
		if err != nil {
			return err
		}
		if !mayStillEnter(a) {
			return newProblem(http.StatusConflict, "conflict", "this account may not sign in: let it first")
		}
		link, err := t.AddPasswordLink(ctx, in.ID, out.Expires)
		out.Link = s.SessionURL(link)
		return err
	})
	if err == nil {
		s.accessNoted(ctx, slog.LevelInfo, "link to choose a password made", "account", in.ID)
	}
	return &created[AccountLink]{Location: "/v1/accounts/" + in.ID, Body: out}, err
}

func (s *Server) endAccountSessions(ctx context.Context, in *ByID) (*empty, error) {
	err := s.inTx(ctx, func(t *store.Tx) error {
		if _, err := t.AccountByID(ctx, in.ID); err != nil {
			return err
		}
		return t.EndSessions(ctx, in.ID, "")
	})
	if err == nil {
		s.accessNoted(ctx, slog.LevelInfo, "signed out everywhere", "account", in.ID)
	}
	return nil, err
}
