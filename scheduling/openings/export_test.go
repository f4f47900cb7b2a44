package openings

import "chairblock/scheduling/timeline"

// SearchByLists is Search by interval lists. The two share no search: each is
// the other's oracle.
func (p *Plan) SearchByLists(s *Snapshot, q Query) (*StartSet, error) {
	if err := p.ready(s, q); err != nil {
		return nil, err
	}
	x := new(StartSet)
	return x, p.searchByLists(x, s, q)
}

// SearchByListsInto is SearchInto by interval lists.
func (p *Plan) searchByLists(x *StartSet, s *Snapshot, q Query) error {
	x.begin(p, s, q)
	if len(p.missing) > 0 {
		return nil
	}
	w := newSolver(p, s)
	defer w.release()
	w.search(s.premises, q, false)
	w.union = w.union[:0]
	for u := range w.found {
		w.found[u] = timeline.Normalize(w.found[u])
		w.union = append(w.union, w.found[u]...)
	}
	w.union = timeline.Normalize(w.union)
	x.collect(w.found, w.union)
	return nil
}

// SoonestByLists is Soonest by interval lists.
func (p *Plan) SoonestByLists(s *Snapshot, q Query) (Minute, bool, error) {
	if err := p.ready(s, q); err != nil || len(p.missing) > 0 {
		return 0, false, err
	}
	w := newSolver(p, s)
	defer w.release()
	w.search(s.premises, q, true)
	at, ok := w.soonest(q.Grid)
	return at, ok, nil
}
