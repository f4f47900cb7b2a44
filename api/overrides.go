package api

import (
	"context"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// KindPath is the path of one thing that a visit needs.
type KindPath struct {
	Kind string `path:"kind" enum:"consultation,patch_test,strand_test,deposit,guardian,consent" doc:"What the visit needs"`
}

// OverrideInput is the licensed person's word that a visit may begin without
// something.
type OverrideInput struct {
	By     string `json:"by,omitempty" maxLength:"80" doc:"The licensed person, by name or id; left out: whose token it is"`
	Reason string `json:"reason" doc:"Encrypted, and read by the stylist in charge and the owner only"`
}

// OverrideBody is such a word, taken back or not.
type OverrideBody struct {
	Kind        string     `json:"kind" enum:"consultation,patch_test,strand_test,deposit,guardian,consent"`
	By          string     `json:"by" doc:"The licensed person"`
	NotedBy     string     `json:"noted_by"`
	Made        time.Time  `json:"made_at"`
	Reason      string     `json:"reason"`
	Withdrawn   *time.Time `json:"withdrawn_at,omitempty"`
	WithdrawnBy string     `json:"withdrawn_by,omitempty"`
}

type overrideInput struct {
	ByID
	KindPath
	Body OverrideInput
}
type overridePath struct {
	ByID
	KindPath
}

func (s *Server) overrideRoutes() {
	route(s, huma.Operation{OperationID: "override-need", Method: http.MethodPost, Path: "/visits/{id}/needs/{kind}/override",
		Summary: "The licensed person lets a visit begin without something", Errors: []int{http.StatusConflict}}, s.overrideNeed)
	route(s, huma.Operation{OperationID: "withdraw-override", Method: http.MethodDelete, Path: "/visits/{id}/needs/{kind}/override",
		Summary: "Take that back", Errors: []int{http.StatusConflict}}, s.withdrawOverride)
	route(s, huma.Operation{OperationID: "list-overrides", Method: http.MethodGet, Path: "/visits/{id}/overrides",
		Summary: "What the licensed person let a visit begin without, and why"}, s.listOverrides)
}

func (s *Server) overrideNeed(ctx context.Context, in *overrideInput) (*found[VisitBody], error) {
	return s.answerVisit(ctx, func(t *store.Tx, n salonDay) (store.Visit, error) {
		v, err := t.LockVisit(ctx, in.ID, 0)
		if err != nil {
			return v, err
		}
		var f scheduling.Faults
		o := store.NeedOverride{Visit: v.ID, Kind: in.Kind, Made: s.now(), Reason: text(&f, "reason", in.Body.Reason, 3, 300)}
		by, err := licensedPerson(ctx, t, &f, "by", in.Body.By)
		if err != nil {
			return v, err
		}
		if err := f.Err(); err != nil {
			return v, err
		}
		o.SaidBy = by.Name
		if o.Basis, err = s.mayOverride(ctx, t, n, v, needs.Kind(in.Kind)); err != nil {
			return v, err
		}
		if o.NotedBy, err = whoNotes(ctx, t); err != nil {
			return v, err
		}
		// One that was said of other facts counts no more.
		if err := t.WithdrawNeedOverride(ctx, v.ID, in.Kind, o.NotedBy, o.Made); err != nil && !is(err, scheduling.ErrNotFound) {
			return v, err
		}
		_, err = t.AddNeedOverride(ctx, o)
		return v, err
	})
}

// mayOverride refuses what nobody can say yes to, and what is not open, and
// returns what a yes would be said of.
func (s *Server) mayOverride(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, k needs.Kind) (basis string, err error) {
	if !toCome(v) {
		return "", conflict("the visit is " + words(v.State))
	}
	of, err := needsOf(ctx, t, n, v)
	if err != nil {
		return "", err
	}
	i := slices.IndexFunc(of[v.ID], func(x needs.Need) bool { return x.Kind == k })
	if i < 0 {
		return "", conflict("the visit does not need it")
	}
	x := of[v.ID][i]
	if ctx, err = healthOf(ctx, t, v.Client); err != nil {
		return "", err
	}
	switch {
	case x.Hidden() && !seesHealth(ctx): // what the answer would be tells where it stands
		p := newProblem(http.StatusForbidden, "forbidden", "ask the stylist: this needs the own token of a stylist who leads or led a visit of the client, or the owner")
		p.StillNeeded = s.writeNeeds(ctx, n, []needs.Need{x})
		return "", p
	case x.State == needs.Overridden:
		return "", conflict(x.By + " has said so already")
	case !x.Open():
		return "", conflict("it is there already")
	case x.State == needs.Refused:
		return "", s.never(ctx, n, x, "nobody can let the visit begin like this: "+x.Words())
	case k == needs.Guardian:
		return "", s.never(ctx, n, x, "nobody can say yes in the guardian's place: note the guardian's yes, and the licensed person's")
	case k == needs.Consent:
		return "", s.never(ctx, n, x, "nobody can consent in the client's place: note her consent")
	case k == needs.PatchTest && x.Final && !n.needRules().PatchTestOverride:
		return "", s.never(ctx, n, x, "the salon has no written rule that allows a visit without a skin test (needs.skin_test_override of the rules of booking)")
	case x.Final:
		return "", s.never(ctx, n, x, "nobody can let the visit begin like this: what is on record cannot be read now")
	}
	return x.Basis, nil
}

// never refuses an override for good.
func (s *Server) never(ctx context.Context, n salonDay, x needs.Need, detail string) error {
	p := newProblem(http.StatusUnprocessableEntity, "refused", detail)
	p.StillNeeded = s.writeNeeds(ctx, n, []needs.Need{x})
	return p
}

func (s *Server) withdrawOverride(ctx context.Context, in *overridePath) (*found[VisitBody], error) {
	return s.answerVisit(ctx, func(t *store.Tx, _ salonDay) (store.Visit, error) {
		v, err := t.LockVisit(ctx, in.ID, 0)
		if err != nil {
			return v, err
		}
		by, err := whoNotes(ctx, t)
		if err != nil {
			return v, err
		}
		return v, t.WithdrawNeedOverride(ctx, v.ID, in.Kind, by, s.now())
	})
}

func (s *Server) listOverrides(ctx context.Context, in *ByID) (*listBody[OverrideBody], error) {
	var rows []store.NeedOverride
	var loc *time.Location
	err := s.inTx(ctx, func(t *store.Tx) (err error) {
		if loc, err = zone(ctx, t); err != nil {
			return err
		}
		v, err := t.VisitByID(ctx, in.ID)
		if err != nil {
			return err
		}
		if err := s.needsHealthOf(ctx, t, v.Client, "overrides"); err != nil {
			return err
		}
		rows, err = t.NeedOverrides(ctx, in.ID)
		return err
	})
	return listOf(rows, func(o store.NeedOverride) OverrideBody { return writeOverride(o, loc) }), err
}

func writeOverride(o store.NeedOverride, loc *time.Location) OverrideBody {
	return OverrideBody{o.Kind, o.SaidBy, o.NotedBy, o.Made.In(loc), o.Reason, localTime(o.Withdrawn, loc), o.WithdrawnBy}
}
