package api

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// ChangeBody is a line of the log of changes.
type ChangeBody struct {
	ID      int64     `json:"id"`
	At      time.Time `json:"at"`
	By      string    `json:"by" doc:"Who asked for it: an account, session, token or a client's link, by id; empty: the program itself"`
	Name    string    `json:"name,omitempty" doc:"Name of the account or label of the token, where it is still there"`
	What    string    `json:"what" doc:"Kind of thing: client, visit, service_version and so on"`
	Done    string    `json:"done" enum:"added,changed,removed"`
	Subject string    `json:"subject" doc:"Id of the thing"`
	Called  string    `json:"subject_name,omitempty" doc:"What a client, somebody or something of the salon, a service or a product is called now, where it is still there"`
	Fields  []string  `json:"fields" nullable:"false" doc:"What of it was changed, without what it said"`
	Place   *int64    `json:"place,omitempty" doc:"In the salon's chain; left out for a minute or so"`
}

type changesInput struct {
	Subject string `query:"subject" maxLength:"120" doc:"Id of a client, visit, person, service and so on; left out: all"`
	What    string `query:"what" maxLength:"40" doc:"Kind of thing, as in the answer; left out: all"`
	By      string `query:"by" maxLength:"120" doc:"As in the answer, or program for the program itself, or clients for clients on their own pages; left out: everybody"`
	Day     string `query:"day" format:"date" doc:"By the salon's clock; left out: all"`
	Before  int64  `query:"before" minimum:"0" doc:"Go on below this id; left out: from the newest"`
	Limit   int    `query:"limit" minimum:"1" maximum:"500" default:"100"`
}

type changesOutput struct {
	Body struct {
		Changes []ChangeBody `json:"changes" nullable:"false" doc:"The newest first"`
	}
}

func (s *Server) changeRoutes() {
	route(s, huma.Operation{OperationID: "list-changes", Method: http.MethodGet, Path: "/changes", Summary: "Who changed what, and when",
		Description: "What things said before and after is not kept. Lines cannot be changed or removed by anybody."}, s.listChanges)
}

func (s *Server) listChanges(ctx context.Context, in *changesInput) (*changesOutput, error) {
	var out changesOutput
	out.Body.Changes = []ChangeBody{}
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		q, err := in.query(n)
		if err != nil {
			return err
		}
		list, err := t.Log(ctx, q)
		if err != nil {
			return err
		}
		names, err := actorNames(ctx, t)
		if err != nil {
			return err
		}
		called, err := subjectNames(ctx, t, list)
		for _, x := range list {
			out.Body.Changes = append(out.Body.Changes, ChangeBody{x.ID, x.At.In(n.loc), x.Actor, names[x.Actor], x.What, x.Done, x.Subject, called[x.Subject], x.Columns, x.Place})
		}
		return err
	})
	return &out, err
}

// query is what is asked for; the day is one by the salon's clock.
func (in *changesInput) query(n salonDay) (store.LogQuery, error) {
	q := store.LogQuery{Subject: in.Subject, What: in.What, Actor: in.By, Before: in.Before, Limit: in.Limit}
	if in.Day == "" {
		return q, nil
	}
	var f scheduling.Faults
	on := day(&f, "day", in.Day)
	if err := f.Err(); err != nil {
		return q, err
	}
	q.From, q.To = scheduling.DayBounds(n.loc, on)
	return q, nil
}

// subjectNames are what clients, people, places, services and products of some lines
// are called, by id.
func subjectNames(ctx context.Context, t *store.Tx, list []store.Noted) (map[string]string, error) {
	var clients []string
	for _, x := range list {
		switch x.What {
		case "client", "hair_treatment", "message_wish", "minor": // of one client each
			clients = append(clients, x.Subject)
		}
	}
	out, err := unitNames(ctx, t)
	if err != nil {
		return nil, err
	}
	found, err := t.ClientsByID(ctx, clients...)
	if err != nil {
		return nil, err
	}
	for id, c := range found {
		out[id] = clientName(c)
	}
	services, err := t.Services(ctx)
	if err != nil {
		return nil, err
	}
	for _, x := range services {
		out[x.ID] = x.Name
	}
	products, err := t.Products(ctx)
	for _, x := range products {
		out[x.ID] = x.Name
	}
	return out, err
}

// actorNames are the names of accounts and the labels of tokens, by how they stand
// in the log.
func actorNames(ctx context.Context, t *store.Tx) (map[string]string, error) {
	out := map[string]string{}
	accounts, err := t.Accounts(ctx)
	if err != nil {
		return nil, err
	}
	for _, a := range accounts {
		out["account:"+a.ID] = strings.TrimSpace(a.Name)
	}
	tokens, err := t.Tokens(ctx)
	for _, k := range tokens {
		out[k.ID] = k.Label
	}
	return out, err
}
