package api

import (
	"context"
	"time"

	"chairblock/scheduling"
	"chairblock/store"
)

// StrandTestBody is a test on a strand of hair.
type StrandTestBody struct {
	ID       string     `json:"id" readOnly:"true" required:"false"`
	Product  string     `json:"product" doc:"Name of the product" example:"Soft Wave"`
	Strength string     `json:"strength" example:"N"`
	Result   string     `json:"result" enum:"fine,stretched_too_far,snapped" doc:"A strand that snapped keeps every visit with chemicals from beginning"`
	Made     *time.Time `json:"made_at,omitempty" doc:"Left out: now"`
	By       string     `json:"by,omitempty" maxLength:"80" doc:"Who made it, by name or id; left out: whose token it is"`
	Note     string     `json:"note,omitempty"`
}

// ReactionBody is a reaction to a product.
type ReactionBody struct {
	ID      string     `json:"id" readOnly:"true" required:"false"`
	Product string     `json:"product,omitempty" doc:"As far as it is known"`
	At      *time.Time `json:"at,omitempty" doc:"When it showed; left out: now"`
	Note    string     `json:"note,omitempty" doc:"What was seen; encrypted, and read by the stylist in charge and the owner only"`
	NotedBy string     `json:"noted_by,omitempty" readOnly:"true"`
}

// ReactionNoted is the answer to whoever noted a reaction.
type ReactionNoted struct {
	ID    string `json:"id"`
	Words string `json:"words"`
}

type strandTestInput struct {
	ByID
	Repeatable
	Body StrandTestBody
}
type reactionInput struct {
	ByID
	Repeatable
	Body ReactionBody
}

func (s *Server) addStrandTest(ctx context.Context, in *strandTestInput) (*created[StrandTestBody], error) {
	b := in.Body
	path := "/clients/" + in.ID + "/strand-tests"
	x, replayed, err := s.note(ctx, in.Repeatable, path, b, in.ID, func(t *store.Tx, x *store.TestFacts) error {
		var f scheduling.Faults
		*x = store.TestFacts{What: store.StrandMade, NotedBy: x.NotedBy, Result: b.Result, At: s.happened(&f, "made_at", b.Made),
			Product: text(&f, "product", b.Product, 1, 80), Strength: text(&f, "strength", b.Strength, 0, 40), Words: text(&f, "note", b.Note, 0, 300)}
		if err := s.by(ctx, t, &f, x, b.By); err != nil {
			return err
		}
		if err := inList(ctx, t, x); err != nil {
			return err
		}
		return f.Err()
	})
	if err != nil {
		return nil, err
	}
	return &created[StrandTestBody]{Location: "/v1" + path, Replayed: replayed, Body: writeStrandTest(x, time.UTC)}, nil
}

func writeStrandTest(x store.TestNote, loc *time.Location) StrandTestBody {
	at := x.At.In(loc)
	return StrandTestBody{ID: x.ID, Product: x.Product, Strength: x.Strength, Result: x.Result, Made: &at, By: x.By, Note: x.Words}
}

func (s *Server) listStrandTests(ctx context.Context, in *ByID) (*listBody[StrandTestBody], error) {
	notes, n, err := s.tests(ctx, in.ID, "strand_tests")
	return listOf(only(notes, store.StrandMade), func(x store.TestNote) StrandTestBody { return writeStrandTest(x, n.loc) }), err
}

func only(list []store.TestNote, what store.TestWhat) []store.TestNote {
	var out []store.TestNote
	for _, x := range list {
		if x.What == what {
			out = append(out, x)
		}
	}
	return out
}

// addReaction takes the word of whoever hears of it first, which may be the desk
// on the telephone. Who cannot read health hears nothing back.
func (s *Server) addReaction(ctx context.Context, in *reactionInput) (*created[ReactionNoted], error) {
	b := in.Body
	path := "/clients/" + in.ID + "/reactions"
	x, replayed, err := s.note(ctx, in.Repeatable, path, b, in.ID, func(_ *store.Tx, x *store.TestFacts) error {
		var f scheduling.Faults
		*x = store.TestFacts{What: store.Reaction, NotedBy: x.NotedBy, At: s.happened(&f, "at", b.At),
			Product: text(&f, "product", b.Product, 0, 80), Words: text(&f, "note", b.Note, 0, 300)}
		return f.Err()
	})
	if err != nil {
		return nil, err
	}
	return &created[ReactionNoted]{Location: "/v1" + path, Replayed: replayed,
		Body: ReactionNoted{x.ID, "Noted. No skin test made before it counts any more; tell the stylist in charge."}}, nil
}

func (s *Server) listReactions(ctx context.Context, in *ByID) (*listBody[ReactionBody], error) {
	notes, n, err := s.tests(ctx, in.ID, "reactions")
	return listOf(only(notes, store.Reaction), func(x store.TestNote) ReactionBody {
		at := x.At.In(n.loc)
		return ReactionBody{ID: x.ID, Product: x.Product, At: &at, Note: x.Words, NotedBy: x.NotedBy}
	}), err
}
