package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// mostTogether is how many visits can belong together (judgement: more people
// than that are an event, for which a salon closes).
const mostTogether = 4

// GroupRequest books visits that belong together, all or none.
type GroupRequest struct {
	How    string              `json:"how" enum:"arrive_together,side_by_side,one_after_other" doc:"Start within some minutes of each other; start together with a stylist in charge each; or each starts when the one before it ends"`
	Visits []GroupVisitRequest `json:"visits" nullable:"false" minItems:"2" maxItems:"4"`
}

// GroupVisitRequest is one visit of a group: a new one, or one that is booked
// already and keeps its time.
type GroupVisitRequest struct {
	Book    *VisitRequest `json:"book,omitempty" doc:"A visit to be booked, at a start that POST /visit-groups/openings gave"`
	VisitID string        `json:"visit_id,omitempty" maxLength:"64" doc:"A visit that is booked already, instead"`
	Version int64         `json:"version,omitempty" minimum:"1" maximum:"1000000000" doc:"Of the visit that is booked already: the number in its ETag"`
}

// GroupBody is visits that belong together.
type GroupBody struct {
	ID     string      `json:"id"`
	How    string      `json:"how" enum:"arrive_together,side_by_side,one_after_other"`
	Kept   bool        `json:"kept" doc:"Whether the visits still stand as they were to"`
	Words  string      `json:"words" doc:"Who belongs together how, or what is not kept"`
	Visits []VisitBody `json:"visits" nullable:"false" doc:"By start, cancelled ones included"`
}

type groupInput struct {
	Repeatable
	Body GroupRequest
}
type groupOutput struct{ Body GroupBody }
type joinInput struct {
	ByID
	Precondition
	Body struct {
		GroupID string `json:"group_id" maxLength:"64" doc:"The group that the visit joins; empty: it leaves the one that it is in"`
	}
}

func (s *Server) groupRoutes() {
	route(s, huma.Operation{OperationID: "find-group-openings", Method: http.MethodPost, Path: "/visit-groups/openings",
		Summary: "When do visits that belong together fit?"}, s.findGroupOpenings)
	route(s, huma.Operation{OperationID: "book-group", Method: http.MethodPost, Path: "/visit-groups", Summary: "Book visits that belong together, all or none",
		DefaultStatus: http.StatusCreated, Errors: []int{http.StatusBadRequest, http.StatusConflict, http.StatusPreconditionFailed}}, s.bookGroup)
	route(s, huma.Operation{OperationID: "get-group", Method: http.MethodGet, Path: "/visit-groups/{id}", Summary: "Visits that belong together"}, s.getGroup)
	route(s, huma.Operation{OperationID: "set-visit-group", Method: http.MethodPut, Path: "/visits/{id}/group",
		Summary: "Let a visit that is booked join others or leave them"}, s.joinGroup)
}

func (s *Server) bookGroup(ctx context.Context, in *groupInput) (*created[GroupBody], error) {
	if in.key() == "" {
		return nil, needsKey()
	}
	return once(s, ctx, in.Repeatable, "/visit-groups", in.Body, func(t *store.Tx) (*created[GroupBody], error) {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		g, err := s.addGroup(ctx, t, n, in.Body)
		return &created[GroupBody]{Location: "/v1/visit-groups/" + g.ID, Body: g}, err
	})
}

// addGroup makes a group of visits that are there and books the others.
func (s *Server) addGroup(ctx context.Context, t *store.Tx, n salonDay, b GroupRequest) (GroupBody, error) {
	if err := b.check(); err != nil {
		return GroupBody{}, err
	}
	there, err := lockListed(ctx, t, b.Visits)
	if err != nil {
		return GroupBody{}, err
	}
	g, err := t.AddGroup(ctx, store.Group{How: b.How})
	if err != nil {
		return GroupBody{}, err
	}
	for i := range there {
		if err := mayJoin(there[i]); err != nil {
			return GroupBody{}, err
		}
		there[i].Group = &g.ID
		if err := t.SetVisitGroup(ctx, &there[i]); err != nil {
			return GroupBody{}, err
		}
	}
	if why := n.apart(b, there); why != "" {
		return GroupBody{}, conflict("the visits cannot belong together (" + groupWords(b.How) + "): " + why)
	}
	list := groupChanges(b, g.ID, there)
	if len(list) > 0 {
		if _, err := s.rearrange(ctx, t, n, list); err != nil {
			return GroupBody{}, err
		}
	}
	visits, err := t.VisitsOfGroup(ctx, g.ID)
	if err != nil {
		return GroupBody{}, err
	}
	if why := n.broken(g.How, visits); why != "" {
		return GroupBody{}, &scheduling.ConflictError{Reason: why}
	}
	return writeGroup(ctx, t, n, g)
}

// check notes entries that are neither a new visit nor one that is there.
func (b GroupRequest) check() error {
	var f scheduling.Faults
	ids := map[string]bool{}
	for i, v := range b.Visits {
		at := index("visits", i)
		switch {
		case v.Book != nil && (v.VisitID != "" || v.Version != 0):
			f.Add(at, "has book beside visit_id or version", "either a visit to be booked or one that is there")
		case v.Book == nil && v.VisitID == "":
			f.Add(at, "names no visit", "book, or visit_id with version")
		case v.Book == nil && v.Version == 0:
			f.Add(at+".version", "is missing", "the number in the visit's ETag")
		case v.Book == nil && ids[v.VisitID]:
			f.Add(at+".visit_id", "is there twice", "every visit once")
		}
		ids[v.VisitID] = true
	}
	return f.Err()
}

// lockListed locks the visits of the list that are there, in the order of
// their ids.
func lockListed(ctx context.Context, t *store.Tx, list []GroupVisitRequest) ([]store.Visit, error) {
	list = slices.DeleteFunc(slices.Clone(list), func(v GroupVisitRequest) bool { return v.Book != nil })
	slices.SortFunc(list, func(a, b GroupVisitRequest) int { return cmp.Compare(a.VisitID, b.VisitID) })
	var out []store.Visit
	for _, x := range list {
		v, err := t.LockVisit(ctx, x.VisitID, x.Version)
		if errors.Is(err, scheduling.ErrNotFound) {
			return nil, scheduling.Faults{{Field: "visits", Problem: "name a visit that is not known", Want: "ids of visits of this salon"}}
		}
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, nil
}

// mayJoin refuses visits that are over or belong elsewhere, and kept time.
func mayJoin(v store.Visit) error {
	if isKept(v) {
		return nobodyComes()
	}
	if !v.State.Open() && v.State != store.Held {
		return conflict("the visit is " + words(v.State) + " and cannot belong to others")
	}
	if v.Group != nil {
		return conflict("the visit belongs to others already: let it leave them before")
	}
	return nil
}

// groupChanges are the visits of a group that are to be booked. Where each has
// a stylist of its own, the ones of the visits that are there are taken; one
// after the other, each ends before the next begins.
func groupChanges(b GroupRequest, group string, there []store.Visit) []change {
	var starts []time.Time
	var taken []string
	for _, v := range there {
		starts = append(starts, v.Start)
		for _, x := range v.Services {
			taken = append(taken, x.Lead)
		}
	}
	for _, v := range b.Visits {
		if v.Book != nil {
			starts = append(starts, v.Book.Start)
		}
	}
	slices.SortFunc(starts, time.Time.Compare)
	var list []change
	for i, v := range b.Visits {
		if v.Book == nil {
			continue
		}
		c := change{book: v.Book, group: &group, at: scheduling.Under(index("visits", i), "book")}
		switch b.How {
		case sideBySide:
			c.apart, c.off = true, taken
		case oneAfterOther:
			if k := slices.IndexFunc(starts, v.Book.Start.Before); k >= 0 {
				c.endBy = starts[k]
			}
		}
		list = append(list, c)
	}
	return list
}

func (s *Server) getGroup(ctx context.Context, in *ByID) (*groupOutput, error) {
	var out groupOutput
	err := s.store.Read(ctx, principal(ctx).Salon, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		g, err := t.GroupByID(ctx, in.ID)
		if err != nil {
			return err
		}
		out.Body, err = writeGroup(ctx, t, n, g)
		return err
	})
	return &out, err
}

func writeGroup(ctx context.Context, t *store.Tx, n salonDay, g store.Group) (GroupBody, error) {
	b := GroupBody{ID: g.ID, How: g.How, Visits: []VisitBody{}}
	visits, err := t.VisitsOfGroup(ctx, g.ID)
	if err != nil {
		return b, err
	}
	clients, err := clientsOf(ctx, t, visits)
	if err != nil {
		return b, err
	}
	var who []string
	names, err := unitNames(ctx, t)
	if err != nil {
		return b, err
	}
	for _, v := range visits {
		x := writeVisit(v, n, nil)
		x.name(names, clients[v.ID])
		b.Visits = append(b.Visits, x)
		if stands(v) {
			who = append(who, shortName(clients[v.ID]))
		}
	}
	b.Words = strings.Join(who, " and ") + " " + groupWords(g.How)
	why := n.broken(g.How, visits)
	if b.Kept = why == ""; !b.Kept {
		b.Words += ": " + why
	}
	return b, nil
}

// joinGroup lets a visit join a group, or leave the one that it is in.
func (s *Server) joinGroup(ctx context.Context, in *joinInput) (*found[VisitBody], error) {
	return s.changeState(ctx, &visitChange{in.ByID, in.Precondition}, func(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
		if in.Body.GroupID == "" {
			if v.Group == nil {
				return conflict("the visit belongs to no others")
			}
			v.Group = nil
			return t.SetVisitGroup(ctx, v)
		}
		return s.join(ctx, t, n, v, in.Body.GroupID)
	})
}

// askOthers asks what becomes of the visits that a cancelled one belongs to.
func askOthers(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, others []store.Visit) error {
	g, err := t.GroupByID(ctx, *v.Group)
	if err != nil {
		return err
	}
	clients, err := clientsOf(ctx, t, others)
	if err != nil {
		return err
	}
	var who []string
	for _, o := range others {
		who = append(who, shortName(clients[o.ID])+" on "+o.Start.In(n.loc).Format("Mon 2 January at 15:04"))
	}
	p := newProblem(http.StatusConflict, "asks", fmt.Sprintf("the visit belongs to %s (%s): are the others to stay, or to be cancelled, too?",
		strings.Join(who, " and "), groupWords(g.How)))
	p.Errors = []FieldProblem{{In: "body", Pointer: "/others", Detail: "is missing", Expected: "keep or cancel"}}
	return p
}
