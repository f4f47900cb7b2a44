package api

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

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
	Fields  []string  `json:"fields" nullable:"false" doc:"What of it was changed, without what it said"`
	Place   *int64    `json:"place,omitempty" doc:"In the salon's chain; left out for a minute or so"`
}

type changesInput struct {
	Subject string `query:"subject" maxLength:"120" doc:"Id of a client, visit, person, service and so on; left out: all"`
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
		list, err := t.Log(ctx, in.Subject, in.Before, in.Limit)
		if err != nil {
			return err
		}
		names, err := actorNames(ctx, t)
		if err != nil {
			return err
		}
		for _, x := range list {
			out.Body.Changes = append(out.Body.Changes, ChangeBody{x.ID, x.At.In(n.loc), x.Actor, names[x.Actor], x.What, x.Done, x.Subject, x.Columns, x.Place})
		}
		return nil
	})
	return &out, err
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
