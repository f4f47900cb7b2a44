package api

import (
	"context"
	"errors"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// SwapRequest lets two visits change places.
type SwapRequest struct {
	OtherID      string `json:"other_id" minLength:"1" maxLength:"64" doc:"The visit to change places with"`
	OtherVersion int64  `json:"other_version" minimum:"1" maximum:"1000000000" doc:"The number in the ETag of that visit"`
	KeepLeads    *bool  `json:"keep_leads,omitempty" doc:"Each client stays with the stylist in charge that was booked; left out: true. If false they change stylists, too, when both can do the other's services"`
	ApprovedBy   string `json:"approved_by,omitempty" doc:"Licensed person who said yes when the earlier start is too soon for a new skin test"`
	BreakLink    bool   `json:"break_link,omitempty" doc:"Let either visit leave the visits that it belongs to when the new time does not suit them"`
	Preview      bool   `json:"preview,omitempty" doc:"Only answer what would become of both; nothing is changed"`
}

// SwapAnswer is both visits at their new times.
type SwapAnswer struct {
	Visit        VisitBody `json:"visit"`
	Other        VisitBody `json:"other"`
	OtherVersion int64     `json:"other_version" doc:"The number in the ETag of the other visit"`
}

// errPreview ends a transaction that was only to be looked at.
var errPreview = errors.New("api: only a preview")

type swapInput struct {
	ByID
	Precondition
	Body SwapRequest
}

func (s *Server) swapRoutes() {
	route(s, huma.Operation{OperationID: "swap-visit", Method: http.MethodPost, Path: "/visits/{id}/swap",
		Summary: "Let two visits take each other's start"}, s.swapVisits)
}

func (s *Server) swapVisits(ctx context.Context, in *swapInput) (*found[SwapAnswer], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	if in.Body.OtherID == in.ID {
		return nil, &scheduling.InvalidError{Field: "other_id", Problem: "is the same visit", Want: "the id of another one"}
	}
	var out found[SwapAnswer]
	err = s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		list, err := s.swap(ctx, t, n, in.ID, version, in.Body)
		if err != nil {
			return err
		}
		mine, err := s.visitBody(ctx, t, n, list[0])
		if err != nil {
			return err
		}
		theirs, err := s.visitBody(ctx, t, n, list[1])
		out = found[SwapAnswer]{etag(list[0].Version), SwapAnswer{Visit: mine, Other: theirs, OtherVersion: list[1].Version}}
		if err != nil || !in.Body.Preview {
			return err
		}
		return errPreview
	})
	if is(err, errPreview) {
		err = nil
	}
	return &out, err
}

// swap gives two visits each other's start. It returns both, the one with id
// first.
func (s *Server) swap(ctx context.Context, t *store.Tx, n salonDay, id string, version int64, b SwapRequest) ([]store.Visit, error) {
	v, err := t.VisitByID(ctx, id)
	if err != nil {
		return nil, err
	}
	other, err := t.VisitByID(ctx, b.OtherID)
	if is(err, scheduling.ErrNotFound) {
		return nil, &scheduling.InvalidError{Field: "other_id", Problem: "is not known", Want: "the id of a visit of this salon"}
	}
	if err != nil {
		return nil, err
	}
	keep := b.KeepLeads == nil || *b.KeepLeads
	if keep && v.Start.Equal(other.Start) {
		return nil, conflict("both visits begin at " + v.Start.In(n.loc).Format("15:04") + " already")
	}
	// The versions say that both are still as they were read.
	mine := change{id: id, version: version, start: other.Start, approvedBy: b.ApprovedBy}
	theirs := change{id: other.ID, version: b.OtherVersion, start: v.Start, approvedBy: b.ApprovedBy}
	if b.BreakLink {
		mine.link, theirs.link = breakLink, breakLink
	}
	if keep {
		return s.rearrange(ctx, t, n, []change{mine, theirs})
	}
	var out []store.Visit
	err = t.Savepoint(ctx, func(t *store.Tx) (err error) {
		a, b := mine, theirs
		a.lead.ID, b.lead.ID = other.Lead(), v.Lead()
		out, err = s.rearrange(ctx, t, n, []change{a, b})
		return err
	})
	if err == nil || !unfit(err) || v.Start.Equal(other.Start) {
		return out, err
	}
	return s.rearrange(ctx, t, n, []change{mine, theirs})
}

// unfit reports whether err says that what was asked for cannot be placed.
func unfit(err error) bool {
	_, taken := errors.AsType[*scheduling.ConflictError](err)
	_, never := errors.AsType[scheduling.Faults](err)
	return taken || never
}
