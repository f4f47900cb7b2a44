package api

import (
	"context"

	"chairblock/scheduling"
	"chairblock/store"
)

// ClosuresBody are stretches of days on which the salon stays shut.
type ClosuresBody struct {
	Items     []ClosureBody `json:"items" nullable:"false" minItems:"1" maxItems:"100" doc:"All of them are noted, or none"`
	Conflicts []string      `json:"visits_in_conflict,omitempty" readOnly:"true" required:"false" doc:"Visits that do not fit any more"`
}

type closuresInput struct {
	Repeatable
	Body ClosuresBody
}

// addClosures shuts the salon on several stretches, or on none where one of them
// cannot be right.
func (s *Server) addClosures(ctx context.Context, in *closuresInput) (*created[ClosuresBody], error) {
	var f scheduling.Faults
	rows := make([]store.Closure, len(in.Body.Items))
	for i, b := range in.Body.Items {
		var err error
		rows[i], err = b.row()
		if err := f.Join(index("items", i), err); err != nil {
			return nil, err
		}
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	return once(s, ctx, in.Repeatable, "/closures/several", in.Body, func(t *store.Tx) (*created[ClosuresBody], error) {
		out := &created[ClosuresBody]{Location: "/v1/closures"}
		for _, c := range rows {
			added, err := t.AddClosure(ctx, c)
			if err != nil {
				return nil, err
			}
			out.Body.Items = append(out.Body.Items, writeClosure(added))
		}
		var err error
		out.Body.Conflicts, err = s.misfits(ctx, t)
		return out, err
	})
}
