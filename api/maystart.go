package api

import (
	"context"
	"encoding/json"
	"net/http"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/card"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// mayStart refuses to note at a time a step of a locked visit that must not begin
// yet, with a conflict that says what is missing and what would be right. The
// consultation at the beginning of a visit may begin: what is missing may come to
// light in it. What has really happened already is a fact and is not asked about
// again: once product of a service is on the hair, nothing here keeps the other
// steps of that service, or a rinse, from being noted. Product of the next
// service is asked about anew.
func (s *Server) mayStart(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, step int, at time.Time) error {
	r, err := readReadiness(ctx, t, n, v, at)
	if err != nil || len(r.open) == 0 || r.goesOn(step) {
		return err
	}
	return s.cannotBegin(ctx, t, n, v, r.open)
}

// mayFinish refuses to finish a visit that must not begin and of which nothing
// was noted but talk: that it was held says that product was on. One that is held
// all the same, or not held at all, is stopped early or cancelled.
func (s *Server) mayFinish(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, ended *time.Time) error {
	if !v.State.Open() {
		return nil // which is said elsewhere
	}
	at := s.now()
	if ended != nil {
		at = *ended
	}
	r, err := readReadiness(ctx, t, n, v, at)
	switch last := len(v.Steps) - 1; {
	case err != nil, len(r.open) == 0:
		return err
	case !r.begun():
		return s.cannotBegin(ctx, t, n, v, r.open)
	case !r.goesOn(last): // whose product, by this, was on
		return s.addUnready(ctx, t, v, last, at)
	}
	return nil
}

// readiness is what a visit lacks, and how far it is.
type readiness struct {
	v       store.Visit
	open    []needs.Need
	product []bool // by step: product is on, or may be
	noted   []bool // by step: somebody noted that it began or ended
}

// readReadiness reads it for product that goes on at a time, which may be before
// the planned start.
func readReadiness(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, at time.Time) (*readiness, error) {
	r := &readiness{v: v}
	records, err := t.NeedRecords(ctx, []store.Visit{v})
	if err != nil {
		return nil, err
	}
	early := v
	if at.Before(v.Start) {
		early.Start = at
	}
	need := neededBy(early, records)
	if err := n.readTreated(ctx, t, &records, map[string][]needs.Service{v.Client: need.Services}); err != nil {
		return nil, err
	}
	r.open = needs.FirstOpen(needs.List(need, n.onRecord(v.Client, early.Start, records), n.needRules(), n.loc))
	if len(r.open) == 0 {
		return r, nil
	}
	c, err := recompose(ctx, t, v, newLead{})
	if err != nil {
		return nil, err
	}
	f := factsOf(v)
	care := delays.CareOf(c.plan)
	known := map[int]bool{} // services of which it is known when product is on
	for i, st := range v.Steps {
		r.product = append(r.product, i < len(care) && care[i].Product)
		r.noted = append(r.noted, f.starts[i] != nil || f.ends[i] != nil)
		known[st.Service] = known[st.Service] || r.product[i]
	}
	for i, st := range v.Steps {
		chemical := st.Service < len(records.Services[v.ID]) && records.Services[v.ID][st.Service].Chemical
		if chemical && !known[st.Service] {
			r.product[i] = !r.talk(i)
		}
	}
	return r, nil
}

func (r *readiness) talk(step int) bool { return r.v.Steps[step].Kind == string(scheduling.Talk) }

// on lists the services of which somebody noted that product was on.
func (r *readiness) on() map[int]bool {
	out := map[int]bool{}
	for i, st := range r.v.Steps {
		if r.product[i] && r.noted[i] {
			out[st.Service] = true
		}
	}
	return out
}

// begun reports whether it is too late to keep the visit from beginning: product
// was on or, where none is used, a step but the consultation has begun.
func (r *readiness) begun() bool {
	used, begun := false, false
	for i := range r.v.Steps {
		used = used || r.product[i]
		begun = begun || r.noted[i] && !r.talk(i)
	}
	return len(r.on()) > 0 || begun && !used
}

// goesOn reports whether a step may be noted although something is missing: it
// puts nothing on the hair that is not on it, and neither does any step before it
// that would be taken to have begun with it.
func (r *readiness) goesOn(step int) bool {
	on, onlyTalk := r.on(), r.talk(step)
	for i, st := range r.v.Steps[:step+1] {
		if r.product[i] && !on[st.Service] {
			return false
		}
		onlyTalk = onlyTalk && (r.talk(i) || r.noted[i])
	}
	return onlyTalk || r.begun()
}

// noteUnready writes on the record card that a step of a visit that is over was
// noted afterwards although by what is on record it must not have begun. It
// refuses nothing.
func (s *Server) noteUnready(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, step int, at time.Time) error {
	r, err := readReadiness(ctx, t, n, v, at)
	if err != nil || len(r.open) == 0 || r.goesOn(step) {
		return err
	}
	return s.addUnready(ctx, t, v, step, at)
}

func (s *Server) addUnready(ctx context.Context, t *store.Tx, v store.Visit, step int, at time.Time) error {
	row, err := t.CardOf(ctx, v.ID)
	if err != nil {
		return err
	}
	by, err := whoNotes(ctx, t)
	if err != nil {
		return err
	}
	_, err = t.AddCardFact(ctx, &row, store.CardFact{Kind: string(card.KindUnready), Step: &step, At: at, Value: json.RawMessage(`{}`), By: by, Noted: s.now()})
	return err
}

// cannotBegin says what is missing. In which order tells who may not know nothing.
func (s *Server) cannotBegin(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, open []needs.Need) error {
	ctx, err := healthOf(ctx, t, v.Client)
	if err != nil {
		return err
	}
	if !seesHealth(ctx) {
		open = inKindOrder(open)
	}
	said := make([]string, len(open))
	for i, x := range open {
		said[i] = x.Words() + " (" + x.Right(n.atWords) + ")"
		if seesHealth(ctx) && x.Hidden() {
			said[i] = x.Why + " (" + x.Right(n.atWords) + ")"
		}
	}
	p := newProblem(http.StatusConflict, "not-ready", "the visit cannot begin yet. Still needed: "+strings.Join(said, "; "))
	p.StillNeeded = s.writeNeeds(ctx, n, open)
	return p
}
