package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// planBasis is everything that a plan was worked out from, to see whether it is
// still so.
type planBasis struct {
	Salon    int64                // version of its row
	Rota     string               // print of hours, absences, people and stations on the day
	Away     []awaySpan           // beside the absences that were noted
	Visits   map[string]visitMark // by id
	Wishes   map[string]int64     // version by id
	Services map[string]int       // version by id, of the services that requests ask for
}

// visitMark says how a visit stood.
type visitMark struct {
	Print  string // of its time and everybody and everything at work in it
	Who    string // first name, initial and start
	Pencil bool   // it may lapse, which is in nobody's way
}

// planReach is how long after midnight a visit of the day may last so that a
// plan takes notice (judgement).
const planReach = 12 * time.Hour

// basis notes what p was worked out from.
func (p *packer) basis(ctx context.Context, t *store.Tx, away []awaySpan) (planBasis, error) {
	b := planBasis{Salon: p.n.row.Version, Away: away, Wishes: map[string]int64{}, Services: map[string]int{}}
	var err error
	if b.Visits, err = p.marks(ctx, t); err != nil {
		return b, err
	}
	b.Rota = p.rota()
	for _, j := range p.jobs {
		if j.wish == nil {
			continue
		}
		b.Wishes[j.id] = j.wish.Version
		if j.c == nil {
			continue
		}
		for _, x := range j.c.services {
			b.Services[x.Service] = x.Version
		}
	}
	return b, nil
}

// marks are those of the visits on the day.
func (p *packer) marks(ctx context.Context, t *store.Tx) (map[string]visitMark, error) {
	from, to := scheduling.DayBounds(p.n.loc, p.days.First)
	to = to.Add(planReach)
	out := map[string]visitMark{}
	for _, v := range p.visits {
		if !v.Start.Before(to) || !v.End.After(from) {
			continue
		}
		c, err := clientOf(ctx, t, v)
		if err != nil {
			return nil, err
		}
		h := sha256.New()
		fmt.Fprintln(h, v.Client, v.Start.Unix(), v.End.Unix(), v.Chair)
		if v.Group != nil {
			fmt.Fprintln(h, *v.Group)
		}
		for _, st := range v.Steps {
			fmt.Fprintln(h, st.Start.Unix(), st.End.Unix(), st.HandsOn)
			for _, u := range st.Units {
				fmt.Fprintln(h, u.Unit, u.Role)
			}
		}
		for _, x := range v.Services {
			fmt.Fprintln(h, x.Service, x.Version, x.Lead)
		}
		out[v.ID] = visitMark{hex.EncodeToString(h.Sum(nil)[:12]), shortName(c) + " at " + v.Start.In(p.n.loc).Format("15:04"), v.State == store.Held}
	}
	return out, nil
}

// rota is a print of who and what is there when on the day: an absence that was
// only thought of and is noted now leaves it as it is.
func (p *packer) rota() string {
	from, to := scheduling.DayBounds(p.n.loc, p.days.First)
	first, last := max(0, p.h.Minute(from)), min(p.h.Length, p.h.Minute(to.Add(planReach)))
	there := func(open, breaks []openings.Span) []byte {
		out := make([]byte, last-first)
		mark := func(list []openings.Span, b byte) {
			for _, s := range list {
				for m := max(s.From, first); m < min(s.To, last); m++ {
					out[m-first] = b
				}
			}
		}
		mark(open, 1)
		mark(breaks, 0)
		return out
	}
	h := sha256.New()
	premises := there(p.shop.Premises, nil)
	h.Write(premises)
	units := slices.Clone(p.shop.Units)
	slices.SortFunc(units, func(a, b openings.Unit) int { return strings.Compare(a.ID, b.ID) })
	for _, u := range units {
		skills := slices.Sorted(slices.Values(u.Skills))
		fmt.Fprintln(h, u.ID, u.Kind, skills, u.Changeover)
		free := there(u.Open, u.Breaks)
		for i := range free {
			free[i] &= premises[i]
		}
		h.Write(free)
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
}

// stillHolds locks the requests of a plan and looks whether everything is as it
// was when the plan was made. It returns the requests that get a place.
func (s *Server) stillHolds(ctx context.Context, t *store.Tx, n salonDay, row store.DayPlan, x proposal) (map[string]store.Wish, error) {
	if n.row.Version != x.Basis.Salon {
		return nil, staleplan("the salon's settings have changed")
	}
	wishes, services := map[string]store.Wish{}, map[string]bool{}
	for _, id := range slices.Sorted(maps.Keys(x.Basis.Wishes)) {
		placed := slices.ContainsFunc(x.Changes, func(c plannedChange) bool { return c.Wish == id })
		if !placed { // what stays out may have changed: it only was to compete
			continue
		}
		w, err := t.LockWish(ctx, id)
		switch {
		case is(err, scheduling.ErrNotFound):
			return nil, staleplan("a waiting-list request has gone")
		case err != nil:
			return nil, err
		case w.Version != x.Basis.Wishes[id] || w.State != store.WishWaiting:
			return nil, staleplan("a waiting-list request has changed")
		}
		wishes[id] = w
		list, err := servicesOf(w)
		if err != nil {
			return nil, err
		}
		for _, r := range list {
			services[r.ServiceID] = true
		}
	}
	for _, id := range slices.Sorted(maps.Keys(services)) {
		r, err := t.ServiceByID(ctx, id)
		if err != nil && !is(err, scheduling.ErrNotFound) {
			return nil, err
		}
		if err != nil || !r.Active || r.Version != x.Basis.Services[id] {
			return nil, staleplan("a service has changed")
		}
	}
	p, err := s.newPacker(ctx, t, n, openings.DateRange{First: row.Day, Last: row.Day}, 1)
	if err != nil {
		return nil, err
	}
	if err := p.read(ctx, t); err != nil {
		return nil, err
	}
	p.without(x.Basis.Away)
	if p.rota() != x.Basis.Rota {
		return nil, staleplan("hours, absences, people or stations have changed")
	}
	now, err := p.marks(ctx, t)
	if err != nil {
		return nil, err
	}
	return wishes, x.Basis.differs(now)
}

// differs says which visit is not as it was.
func (b planBasis) differs(now map[string]visitMark) error {
	for _, id := range slices.Sorted(maps.Keys(now)) {
		switch was, ok := b.Visits[id]; {
		case !ok:
			return staleplan(now[id].Who + " has been added")
		case was.Print != now[id].Print:
			return staleplan(was.Who + " has changed")
		}
	}
	for _, id := range slices.Sorted(maps.Keys(b.Visits)) {
		if _, ok := now[id]; !ok && !b.Visits[id].Pencil {
			return staleplan(b.Visits[id].Who + " takes place no more")
		}
	}
	return nil
}
