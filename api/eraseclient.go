package api

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// ErasureBody says what erasing a client takes away, and what stays.
type ErasureBody struct {
	Version    int64 `json:"version" doc:"Of the client as she is now; send it as If-Match to erase her"`
	Coming     int   `json:"coming" doc:"Visits that are pencilled, booked or going on. While there are any, nobody can be erased"`
	Visits     int   `json:"visits" doc:"Visits that stay without her: time, services, price and who worked, for accounts and for how quickly people work"`
	Messages   int   `json:"messages" doc:"Messages to her or about her visits that are taken away; those in mailboxes are out of reach"`
	Cards      int   `json:"cards" doc:"Visits whose record card is taken away"`
	Screenings int   `json:"screenings" doc:"Consultations that are taken away"`
	Links      int   `json:"links" doc:"Links to her pages that lead nowhere from then on"`
	Feeds      int   `json:"feeds" doc:"Calendars that lead nowhere from then on"`
	Waiting    int   `json:"waiting" doc:"Requests on the waiting list that are taken away"`
}

type erasureOutput struct{ Body ErasureBody }

func (s *Server) eraseRoutes() {
	route(s, huma.Operation{OperationID: "look-at-erasure", Method: http.MethodGet, Path: "/clients/{id}/erasure", Summary: "What erasing a client takes away",
		Description: "Changes nothing."}, s.lookAtErasure)
	route(s, huma.Operation{OperationID: "erase-client", Method: http.MethodPost, Path: "/clients/{id}/erase", Summary: "Take everything about a client away, for good",
		Description: "Her name, number, address, hair, consultations, record cards, messages, links and calendars are gone afterwards and nobody can bring them back; her visits stay without her. Words about her that stand elsewhere, such as in another client's note, are not found. A backup from before still holds her: when it is read back, she is erased once more."}, s.eraseClient)
}

func (s *Server) lookAtErasure(ctx context.Context, in *ByID) (*erasureOutput, error) {
	var out erasureOutput
	err := s.read(ctx, func(t *store.Tx) error {
		c, err := t.ClientByID(ctx, in.ID)
		if err != nil {
			return err
		}
		hit, err := t.ErasureOf(ctx, in.ID)
		out.Body = writeErasure(hit)
		out.Body.Version = c.Version
		return err
	})
	return &out, err
}

func writeErasure(e store.Erasure) ErasureBody {
	return ErasureBody{Coming: e.Coming, Visits: e.Visits, Messages: e.Messages, Cards: e.Cards, Screenings: e.Screenings, Links: e.Links, Feeds: e.Feeds, Waiting: e.Wishes}
}

func (s *Server) eraseClient(ctx context.Context, in *removal) (*erasureOutput, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var out erasureOutput
	err = s.inTx(ctx, func(t *store.Tx) error {
		c, err := t.ClientByID(ctx, in.ID)
		if err != nil {
			return err
		}
		if c.Version != version {
			return scheduling.ErrStale
		}
		hit, err := t.EraseClient(ctx, in.ID, principal(ctx).TokenID, s.now())
		if e, ok := errors.AsType[*scheduling.ConflictError](err); ok {
			return newProblem(http.StatusConflict, "conflict", e.Reason)
		}
		out.Body = writeErasure(hit)
		return err
	})
	if err != nil {
		return nil, err
	}
	s.accessNoted(ctx, slog.LevelInfo, "client erased", "client", in.ID)
	s.listErased(ctx)
	return &out, nil
}

// ErasedTo has every erasure noted by list, outside the database: before this
// process listens, and soon after each. list is given all that were erased since a
// moment and notes those that it does not know.
func (s *Server) ErasedTo(ctx context.Context, list func([]store.Erased) error) error {
	s.erased = list
	// By age once a day: all of them, which makes good for what could not be noted.
	s.store.ErasedWith(func(ctx context.Context) error { return s.noteErased(ctx, time.Time{}) })
	return s.noteErased(ctx, time.Time{})
}

// lookBack is how far back erasures are looked for after each: those of other
// processes, and clocks that are apart (judgement: far more than they are).
const lookBack = 24 * time.Hour

func (s *Server) listErased(ctx context.Context) {
	if err := s.noteErased(ctx, s.now().Add(-lookBack)); err != nil {
		// The next one, or the next start, makes good for it.
		slog.ErrorContext(ctx, "an erasure is not on the list outside the database yet", "err", err)
	}
}

func (s *Server) noteErased(ctx context.Context, since time.Time) error {
	if s.erased == nil {
		return nil
	}
	// It is asked although the request may have been called off, but not for ever.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), handlerLimit)
	defer cancel()
	list, err := s.store.ErasedClients(ctx, since)
	if err != nil {
		return err
	}
	return s.erased(list)
}
