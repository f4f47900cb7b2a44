package api

import (
	"cmp"
	"context"
	"log/slog"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// ownPath is where secret links to a client's own pages lead.
const ownPath = "/c/"

// OwnDays is how long a link to a client's own pages lives unused (judgement: a
// retouch comes after a year at the latest, and the link should still be there).
const OwnDays = 400

// OwnLinkBody is a secret link to a client's own pages.
type OwnLinkBody struct {
	ID       string     `json:"id" readOnly:"true" required:"false"`
	Label    string     `json:"label,omitempty" doc:"What it is for, such as whose phone; it is shown in this list only"`
	Days     int        `json:"days_unused,omitempty" minimum:"1" maximum:"1095" doc:"It ends so many days after it was used last; left out: 400"`
	URL      string     `json:"url,omitempty" readOnly:"true" required:"false" doc:"Shown once, when the link is made or changed: whoever has it sees everything that is hers but what is about health, which only a message to her own address leads to"`
	Guardian bool       `json:"guardian,omitempty" readOnly:"true" required:"false" doc:"Made for who answers for her: it ends when she is a minor no more, as one of her own does when she is noted as one"`
	Works    bool       `json:"works" readOnly:"true" required:"false" doc:"It leads somewhere now"`
	Created  time.Time  `json:"created_at" readOnly:"true" required:"false"`
	Rotated  *time.Time `json:"rotated_at,omitempty" readOnly:"true" required:"false" doc:"When it was changed last"`
	Revoked  *time.Time `json:"revoked_at,omitempty" readOnly:"true" required:"false"`
	MadeBy   string     `json:"made_by,omitempty" readOnly:"true" required:"false" doc:"Who made or last changed it, and so may have seen it: what is about health is not shown by it"`
	LastUsed *time.Time `json:"last_used_at,omitempty" readOnly:"true" required:"false" doc:"When the present link was used last, to within five minutes"`
	Expires  *time.Time `json:"expires_at,omitempty" readOnly:"true" required:"false" doc:"Unless it is used before"`
}

// OwnURL is the address of a client's own pages behind the secret of a link.
func (s *Server) OwnURL(secret string) string { return s.base + ownPath + secret }

type ownLinkInput struct {
	ByID
	Repeatable
	Body OwnLinkBody
}

func (s *Server) ownLinkRoutes() {
	route(s, huma.Operation{OperationID: "list-own-links", Method: http.MethodGet, Path: "/clients/{id}/own-links",
		Summary: "Links to a client's own pages, without their secret"}, s.listOwnLinks)
	route(s, huma.Operation{OperationID: "add-own-link", Method: http.MethodPost, Path: "/clients/{id}/own-links",
		Summary: "Make a link to a client's own pages; of a minor, for who answers for her", DefaultStatus: http.StatusCreated,
		Errors: []int{http.StatusConflict}}, s.addOwnLink)
	route(s, huma.Operation{OperationID: "rotate-own-link", Method: http.MethodPost, Path: "/own-links/{id}/rotate",
		Summary: "Change a link: the old one and the pages that it has opened end at once", Errors: []int{http.StatusConflict}}, s.rotateOwnLink)
	route(s, huma.Operation{OperationID: "revoke-own-link", Method: http.MethodDelete, Path: "/own-links/{id}",
		Summary: "End a link and the pages that it has opened"}, s.revokeOwnLink)
	route(s, huma.Operation{OperationID: "close-own-pages", Method: http.MethodPost, Path: "/clients/{id}/close-own-pages",
		Summary:     "End every link to a client's own pages and all pages that are open",
		Description: "Messages that have gone out lead to them no more either; they still say yes to a visit and stop messages. For when her phone or her mail has got into other hands.",
	}, s.closeOwnPages)
	s.clientRequestRoutes()
}

func (s *Server) writeOwnLink(n salonDay, l store.OwnLink, minor bool) OwnLinkBody {
	b := OwnLinkBody{ID: l.ID, Label: l.Label, Days: l.Days, Guardian: l.Guardian, MadeBy: l.MadeBy, Created: l.Created.In(n.loc), Rotated: localTime(l.Rotated, n.loc),
		Revoked: localTime(l.Revoked, n.loc), LastUsed: localTime(l.LastUsed, n.loc)}
	if l.Revoked == nil {
		b.Expires = new(l.Expires().In(n.loc))
		b.Works = s.now().Before(*b.Expires) && l.Guardian == minor
	}
	return b
}

// isMinor reports whether a client is a minor now.
func (s *Server) isMinor(ctx context.Context, t *store.Tx, n salonDay, client string) (bool, error) {
	minors, err := t.MinorsOf(ctx, client)
	m, ok := minors[client]
	return ok && n.minorAt(m, s.now()), err
}

func (s *Server) listOwnLinks(ctx context.Context, in *ByID) (*listBody[OwnLinkBody], error) {
	var rows []store.OwnLink
	var n salonDay
	var minor bool
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if n, err = loadSalon(ctx, t); err != nil {
			return err
		}
		if _, err = t.ClientByID(ctx, in.ID); err != nil {
			return err
		}
		if minor, err = s.isMinor(ctx, t, n, in.ID); err != nil {
			return err
		}
		rows, err = t.OwnLinks(ctx, in.ID)
		return err
	})
	return listOf(rows, func(l store.OwnLink) OwnLinkBody { return s.writeOwnLink(n, l, minor) }), err
}

// mostOwnLinks is how many links of a client lead somewhere at a time (judgement:
// hers and that of somebody who helps her, on some devices).
const mostOwnLinks = 10

func (s *Server) addOwnLink(ctx context.Context, in *ownLinkInput) (*created[OwnLinkBody], error) {
	var f scheduling.Faults
	l := store.OwnLink{Client: in.ID, Label: text(&f, "label", in.Body.Label, 0, 80), Days: cmp.Or(in.Body.Days, OwnDays)}
	f.Count("days_unused", l.Days, 1, 1095)
	if err := f.Err(); err != nil {
		return nil, err
	}
	url := ""
	out, err := once(s, ctx, in.Repeatable, "/clients/"+in.ID+"/own-links", in.Body, func(t *store.Tx) (*created[OwnLinkBody], error) {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		row, secret, err := s.newOwnLink(ctx, t, n, l)
		if err != nil {
			return nil, err
		}
		url = s.OwnURL(secret) // the answer is kept: no secret in it
		return &created[OwnLinkBody]{Location: "/v1/own-links/" + row.ID, Body: s.writeOwnLink(n, row, row.Guardian)}, nil
	})
	if err != nil {
		return nil, err
	}
	if out.Replayed != "" {
		return out, s.inTx(ctx, func(t *store.Tx) error { return s.showOwnLinkAgain(ctx, t, &out.Body) })
	}
	out.Body.URL = url
	s.accessNoted(ctx, slog.LevelInfo, "link to a client's pages made", "client", in.ID, "link", out.Body.ID)
	return out, nil
}

// newOwnLink adds a link for a client who has not too many.
func (s *Server) newOwnLink(ctx context.Context, t *store.Tx, n salonDay, l store.OwnLink) (store.OwnLink, string, error) {
	err := t.LockClient(ctx, l.Client)
	if err != nil {
		return l, "", err
	}
	if l.Guardian, err = s.isMinor(ctx, t, n, l.Client); err != nil {
		return l, "", err
	}
	list, err := t.OwnLinks(ctx, l.Client)
	if err != nil {
		return l, "", err
	}
	live := 0
	for _, x := range list {
		if s.writeOwnLink(n, x, l.Guardian).Works {
			live++
		}
	}
	if live >= mostOwnLinks {
		return l, "", conflict("the client has ten links that work: end one of them first")
	}
	if l.MadeBy, err = whoMakes(ctx, t); err != nil {
		return l, "", err
	}
	return t.AddOwnLink(ctx, l, s.now())
}

// showOwnLinkAgain gives a link whose first answer may have been lost another
// address, as long as nobody has opened the first one.
func (s *Server) showOwnLinkAgain(ctx context.Context, t *store.Tx, b *OwnLinkBody) error {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return err
	}
	l, err := t.OwnLinkByID(ctx, b.ID)
	if is(err, scheduling.ErrNotFound) || err == nil && (l.Revoked != nil || l.LastUsed != nil) {
		return nil
	}
	if err != nil {
		return err
	}
	by, err := whoMakes(ctx, t)
	if err != nil {
		return err
	}
	minor, err := s.isMinor(ctx, t, n, l.Client)
	if err != nil {
		return err
	}
	l, secret, err := t.RotateOwnLink(ctx, l.ID, minor, by, s.now())
	if err == nil {
		*b = s.writeOwnLink(n, l, minor)
		b.URL = s.OwnURL(secret)
	}
	return err
}

func (s *Server) rotateOwnLink(ctx context.Context, in *ByID) (*found[OwnLinkBody], error) {
	var out found[OwnLinkBody]
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		l, err := t.OwnLinkByID(ctx, in.ID)
		if err != nil {
			return err
		}
		if l.Revoked != nil {
			return conflict("the link has ended: make a new one")
		}
		minor, err := s.isMinor(ctx, t, n, l.Client)
		if err != nil {
			return err
		}
		by, err := whoMakes(ctx, t)
		if err != nil {
			return err
		}
		l, secret, err := t.RotateOwnLink(ctx, in.ID, minor, by, s.now())
		if err != nil {
			return err
		}
		out.Body = s.writeOwnLink(n, l, minor)
		out.Body.URL = s.OwnURL(secret)
		return nil
	})
	if err == nil {
		s.accessNoted(ctx, slog.LevelInfo, "link to a client's pages changed", "link", in.ID)
	}
	return &out, err
}

// whoMakes is who makes something that lets somebody in: her name, or what she may do
// where nobody knows one.
func whoMakes(ctx context.Context, t *store.Tx) (string, error) {
	p := principal(ctx)
	if p.StaffID != "" || p.Account == "" {
		return whoNotes(ctx, t)
	}
	a, err := t.AccountByID(ctx, p.Account)
	return cmp.Or(a.Name, string(p.Role)), err
}

func (s *Server) revokeOwnLink(ctx context.Context, in *ByID) (*empty, error) {
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.RevokeOwnLink(ctx, in.ID, s.now()) })
}

func (s *Server) closeOwnPages(ctx context.Context, in *ByID) (*empty, error) {
	return nil, s.inTx(ctx, func(t *store.Tx) error {
		list, err := t.OwnLinks(ctx, in.ID)
		if err != nil {
			return err
		}
		for _, l := range list {
			if err := t.RevokeOwnLink(ctx, l.ID, s.now()); err != nil {
				return err
			}
		}
		return t.CloseOwnPages(ctx, in.ID, true, s.now())
	})
}
