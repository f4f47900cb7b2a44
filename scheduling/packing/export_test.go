package packing

import "math/rand/v2"

// PackExactly packs by the exact search alone, without anything that could find
// what that one leaves out.
func PackExactly(p Problem) (*Result, error) {
	snap, plans, err := p.check(Options{})
	if err != nil {
		return nil, err
	}
	h := newHunt(newPacker(newModel(&p, snap, plans), rand.New(rand.NewPCG(1, 1))))
	for range h.x.all() {
		continue
	}
	h.proven = true
	return h.result(snap, plans), nil
}
