package api

import (
	"context"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// ClientBody is a client. Nothing about health belongs here.
type ClientBody struct {
	ID         string `json:"id" readOnly:"true" required:"false"`
	GivenName  string `json:"given_name" example:"Mara"`
	FamilyName string `json:"family_name" required:"false"`
	Phone      string `json:"phone" required:"false" doc:"With country code, or as it is dialled in the country of the salon's own number; kept as E.164" example:"+49 30 901820"`
	Mail       string `json:"mail" required:"false" example:"mara@example.org"`
	ContactBy  string `json:"contact_by" required:"false" enum:"mail,call,text,none,not_asked" doc:"How messages should reach the client; left out or not_asked, which is nobody's answer: mail when there is an address, else not_asked"`
	Note       string `json:"note" required:"false" doc:"Good to know for the desk; never health"`
	Growth     string `json:"growth,omitempty" enum:"slow,usual,quick" doc:"How quickly the hair seems to grow, until it is measured on two visits; left out: the salon's usual"`
	Minor      bool   `json:"minor,omitempty" readOnly:"true" required:"false" doc:"A minor today, whose guardian is asked; only in the answer about one client"`
}

type clientInput struct {
	Repeatable
	Body ClientBody
}
type clientChange struct {
	ByID
	Precondition
	Body ClientBody
}
type clientQuery struct {
	Name   string `query:"name" maxLength:"80" doc:"Beginning of the given or family name"`
	Cursor string `query:"cursor" maxLength:"64" doc:"As in the Link header of the page before"`
	Limit  int    `query:"limit" minimum:"1" maximum:"200" default:"50"`
}
type clientPage struct {
	Link string `header:"Link"`
	Body struct {
		Items []ClientBody `json:"items" nullable:"false"`
	}
}

func (s *Server) clientRoutes() {
	route(s, huma.Operation{OperationID: "list-clients", Method: http.MethodGet, Path: "/clients", Summary: "Clients, a page at a time"}, s.listClients)
	route(s, huma.Operation{OperationID: "get-client", Method: http.MethodGet, Path: "/clients/{id}", Summary: "One client"}, s.getClient)
	route(s, huma.Operation{OperationID: "add-client", Method: http.MethodPost, Path: "/clients", Summary: "Add a client", DefaultStatus: http.StatusCreated}, s.addClient)
	route(s, huma.Operation{OperationID: "update-client", Method: http.MethodPut, Path: "/clients/{id}", Summary: "Change a client"}, s.updateClient)
	route(s, huma.Operation{OperationID: "delete-client", Method: http.MethodDelete, Path: "/clients/{id}", Summary: "Remove a client who has no visit"}, s.deleteClient)
	s.headRoutes()
}

// row reads b; telephone numbers without a country are those of region.
func (b ClientBody) row(region string) (store.Client, error) {
	var f scheduling.Faults
	c := store.Client{ContactBy: b.ContactBy, Growth: b.Growth}
	c.GivenName = text(&f, "given_name", b.GivenName, 1, 80)
	c.FamilyName = text(&f, "family_name", b.FamilyName, 0, 80)
	c.Note = text(&f, "note", b.Note, 0, 500)
	c.Mail = address(&f, "mail", b.Mail)
	c.Phone = phone(&f, "phone", b.Phone, region)
	c.ContactBy = contactBy(&f, c.ContactBy, "mail", c.Mail, "phone", c.Phone)
	return c, f.Err()
}

// contactBy is how messages reach somebody who has the address and the number in
// the fields named: by mail where nothing is wished and there is an address, else
// nobody has asked. A way for which there is neither is noted.
func contactBy(f *scheduling.Faults, wished, mailField, mail, phoneField, phone string) string {
	switch {
	case (wished == "" || wished == wayNotAsked) && mail != "":
		return wayMail
	case wished == "":
		return wayNotAsked
	case wished == wayMail && mail == "":
		f.Add("contact_by", "is mail, but there is no address", "an address in "+mailField+", or another way")
	case (wished == "call" || wished == "text") && phone == "":
		f.Add("contact_by", "is "+wished+", but there is no telephone number", "a number in "+phoneField+", or another way")
	}
	return wished
}

func writeClient(c store.Client) ClientBody {
	return ClientBody{ID: c.ID, GivenName: c.GivenName, FamilyName: c.FamilyName, Phone: c.Phone, Mail: c.Mail,
		ContactBy: c.ContactBy, Note: c.Note, Growth: c.Growth}
}

func (s *Server) listClients(ctx context.Context, in *clientQuery) (*clientPage, error) {
	var rows []store.Client
	err := s.inTx(ctx, func(t *store.Tx) (err error) { rows, err = t.Clients(ctx, in.Name, in.Cursor, in.Limit+1); return err })
	if err != nil {
		return nil, err
	}
	var out clientPage
	if len(rows) > in.Limit {
		rows = rows[:in.Limit]
		out.Link = nextLink("/v1/clients", "name", in.Name, rows[len(rows)-1].ID, in.Limit)
	}
	out.Body.Items = listOf(rows, writeClient).Body.Items
	return &out, nil
}

func (s *Server) getClient(ctx context.Context, in *ByID) (*found[ClientBody], error) {
	var out found[ClientBody]
	err := s.read(ctx, func(t *store.Tx) error {
		c, err := t.ClientByID(ctx, in.ID)
		if err != nil {
			return err
		}
		out = found[ClientBody]{etag(c.Version), writeClient(c)}
		m, err := t.MinorOf(ctx, in.ID)
		if is(err, scheduling.ErrNotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		n, err := loadSalon(ctx, t)
		out.Body.Minor = err == nil && n.minorAt(m, s.now())
		return err
	})
	return &out, err
}

func (s *Server) addClient(ctx context.Context, in *clientInput) (*created[ClientBody], error) {
	region, err := s.region(ctx)
	if err != nil {
		return nil, err
	}
	c, err := in.Body.row(region)
	if err != nil {
		return nil, err
	}
	out, err := once(s, ctx, in.Repeatable, "/clients", in.Body, func(t *store.Tx) (*created[ClientBody], error) {
		c, err := t.AddClient(ctx, c)
		return &created[ClientBody]{Location: "/v1/clients/" + c.ID, ETag: etag(c.Version), Body: writeClient(c)}, err
	})
	return out, err
}

func (s *Server) updateClient(ctx context.Context, in *clientChange) (*found[ClientBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	region, err := s.region(ctx)
	if err != nil {
		return nil, err
	}
	c, err := in.Body.row(region)
	if err != nil {
		return nil, err
	}
	c.ID, c.Version = in.ID, version
	var changed store.Client
	err = s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if err := t.LockClient(ctx, in.ID); err != nil { // clients are locked before their visits
			return err
		}
		if _, err := t.PartsInCare(ctx, in.ID, s.now()); err != nil { // visits are locked before calendars
			return err
		}
		was, err := t.ClientByID(ctx, in.ID)
		if err != nil {
			return err
		}
		change := func() (err error) { changed, err = t.UpdateClient(ctx, c); return err }
		if strings.EqualFold(was.Mail, c.Mail) && was.Phone == c.Phone {
			err = change()
		} else {
			err = s.withContact(ctx, t, n, in.ID, change)
		}
		if err != nil {
			return err
		}
		if err := s.noteKeptOf(ctx, t, n, changed, was); err != nil {
			return err
		}
		if was.ContactBy == wayNotAsked && c.ContactBy != wayNotAsked {
			if err := t.SendAnew(ctx, in.ID, nobodyAsked); err != nil {
				return err
			}
		}
		return followCare(ctx, t, n, in.ID, s.now())
	})
	return &found[ClientBody]{etag(changed.Version), writeClient(changed)}, err
}

func (s *Server) deleteClient(ctx context.Context, in *removal) (*empty, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return nil, s.inTx(ctx, func(t *store.Tx) error {
		c, err := t.ClientByID(ctx, in.ID)
		if err != nil {
			return err
		}
		if c.Version != version {
			return scheduling.ErrStale
		}
		visits, err := t.VisitsOfClient(ctx, in.ID)
		if err != nil {
			return err
		}
		if len(visits) > 0 {
			return newProblem(http.StatusConflict, "conflict", "the client has visits, whose record must stay")
		}
		return t.DeleteClient(ctx, in.ID, version)
	})
}
