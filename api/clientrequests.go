package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// ClientRequestBody is something that a client asked for on her own pages and could
// not do by herself.
type ClientRequestBody struct {
	ID      string    `json:"id"`
	Kind    string    `json:"kind" enum:"move,cancel,deposit,retouch,erase" doc:"move, cancel: a visit, later than she may by herself; deposit: what becomes of what she paid; retouch: a call about coming again; erase: of everything about her"`
	Text    string    `json:"text" doc:"The request for people" example:"asks to move the visit of Tue 9 June 10:00"`
	Words   string    `json:"words,omitempty" doc:"As she put it"`
	Made    time.Time `json:"made_at"`
	VisitID string    `json:"visit_id,omitempty"`

	ClientID  string `json:"client_id"`
	Name      string `json:"name" doc:"Of the client"`
	Minor     bool   `json:"minor,omitempty" doc:"The person to speak to is the guardian"`
	Contact   string `json:"contact" doc:"Whom to reach: the client, or a minor's guardian"`
	ContactBy string `json:"contact_by" enum:"mail,call,text,none,not_asked"`
	Phone     string `json:"phone,omitempty"`

	Settled   *time.Time `json:"settled_at,omitempty"`
	Outcome   string     `json:"outcome,omitempty" enum:"done,declined,void" doc:"void: what it was about has changed"`
	SettledBy string     `json:"settled_by,omitempty"`
	Note      string     `json:"note,omitempty"`
}

// SettleRequest says what became of a request.
type SettleRequest struct {
	Outcome string `json:"outcome" enum:"done,declined,void"`
	Note    string `json:"note,omitempty" maxLength:"300" doc:"At most 300 characters; the client reads it when she asks for everything about her"`
}

type settleInput struct {
	ByID
	Body SettleRequest
}

func (s *Server) clientRequestRoutes() {
	route(s, huma.Operation{OperationID: "list-client-requests", Method: http.MethodGet, Path: "/client-requests",
		Summary: "What clients asked for on their own pages and nobody has settled, oldest first"}, s.listClientRequests)
	route(s, huma.Operation{OperationID: "settle-client-request", Method: http.MethodPost, Path: "/client-requests/{id}/settle",
		Summary: "Note what became of a request of a client", Errors: []int{http.StatusConflict}}, s.settleClientRequest)
}

func (s *Server) listClientRequests(ctx context.Context, _ *empty) (*listBody[ClientRequestBody], error) {
	var out listBody[ClientRequestBody]
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		rows, err := t.OpenRequests(ctx)
		if err != nil {
			return err
		}
		out.Body.Items, err = s.writeRequests(ctx, t, n, rows)
		return err
	})
	return &out, err
}

// writeRequests writes requests with whom to speak to.
func (s *Server) writeRequests(ctx context.Context, t *store.Tx, n salonDay, rows []store.ClientRequest) ([]ClientRequestBody, error) {
	out := []ClientRequestBody{}
	var clients, visits []string
	for _, r := range rows {
		clients = append(clients, r.Client)
		if r.Visit != "" {
			visits = append(visits, r.Visit)
		}
	}
	of, err := t.ClientsByID(ctx, clients...)
	if err != nil {
		return nil, err
	}
	minors, err := t.MinorsOf(ctx, clients...)
	if err != nil {
		return nil, err
	}
	list, err := t.VisitsByID(ctx, visits)
	if err != nil {
		return nil, err
	}
	start := map[string]time.Time{}
	for _, v := range list {
		start[v.ID] = v.Start
	}
	for _, r := range rows {
		to := s.spokenTo(n, of[r.Client], minors)
		out = append(out, ClientRequestBody{ID: r.ID, Kind: string(r.Kind), Text: n.requestText(r, start[r.Visit]), Words: r.Words, Made: r.Made.In(n.loc),
			VisitID: r.Visit, ClientID: r.Client, Name: clientName(to.client), Minor: to.minor, Contact: to.name, ContactBy: to.by, Phone: to.phone,
			Settled: localTime(r.Settled, n.loc), Outcome: r.Outcome, SettledBy: r.SettledBy, Note: r.Note})
	}
	return out, nil
}

// requestText says for the desk what is asked for.
func (n salonDay) requestText(r store.ClientRequest, start time.Time) string {
	of := ""
	if !start.IsZero() {
		of = " of " + n.atWords(start)
	}
	switch r.Kind {
	case store.AskMove:
		return "asks to move the visit" + of
	case store.AskCancel:
		return "asks to cancel the visit" + of
	case store.AskDeposit:
		return "cancelled the visit" + of + ": decide about the deposit"
	case store.AskRetouch:
		return "asks for a call about a retouch"
	case store.AskErase:
	}
	return "asks to have everything about her deleted"
}

func (s *Server) settleClientRequest(ctx context.Context, in *settleInput) (*found[ClientRequestBody], error) {
	var f scheduling.Faults
	note := text(&f, "note", in.Body.Note, 0, 300)
	if err := f.Err(); err != nil {
		return nil, err
	}
	var out found[ClientRequestBody]
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		by, err := whoNotes(ctx, t)
		if err != nil {
			return err
		}
		r, err := t.SettleRequest(ctx, store.ClientRequest{ID: in.ID, Settled: new(s.now()), Outcome: in.Body.Outcome, SettledBy: by, Note: note})
		if is(err, scheduling.ErrStale) {
			return conflict("the request was settled already")
		}
		if err != nil {
			return err
		}
		list, err := s.writeRequests(ctx, t, n, []store.ClientRequest{r})
		if err == nil {
			out.Body = list[0]
		}
		return err
	})
	return &out, err
}
