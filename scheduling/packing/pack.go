package packing

import (
	"context"
	"iter"
	"math/rand/v2"

	"chairblock/scheduling/openings"
)

// Options bound the search for a packing.
type Options struct {
	// Seed starts the random numbers: the same problem, seed and number of
	// rounds give the same packing on every machine.
	Seed uint64
	// Rounds is how many improvements are tried, each with a part of the exact
	// search; for a day of a dozen visits a round takes up to a millisecond. 0
	// means until the context ends, or 2000 for a context that never does.
	Rounds int
}

// Result is a packing.
type Result struct {
	// Placed are the requests with a place, Unplaced all others, both in the
	// order of the problem.
	Placed   []Placement
	Unplaced []Unplaced
	// Value is the value of the requests placed less what moving costs.
	Value int
	// Makespan is the last end, 0 when nothing is placed.
	Makespan openings.Minute
	// Bound is a proven limit of what the objective counts: no packing has a
	// greater value, or none of all requests ends sooner.
	Bound int
	// Complete is whether every request that has to be served is. If not, the
	// packing serves as many of them as could be found.
	Complete bool
	// Proven is true when no packing is better, or, with Complete false, when
	// no packing serves all that have to be.
	Proven bool
	// Moved are the placed requests that are not where they were.
	Moved []Moved
}

// Placement is a request with its place.
type Placement struct {
	Request  string // id
	Schedule openings.Schedule
}

// Unplaced is a request without a place, and the reason in words.
type Unplaced struct {
	Request string // id
	Why     string
}

// Moved is what became of a request that had a place before.
type Moved struct {
	Request  string          // id
	From, To openings.Minute // start before and after
	Units    []UnitChange    // who or what is another one now
	Cost     int
}

// UnitChange is a job of a visit that another unit does now.
type UnitChange struct {
	Job      string // name of the role, or of the phase that takes an extra unit
	From, To string // ids of units
}

// defaultRounds is the number of rounds when nothing else ends the search (judgement).
const defaultRounds = 2000

// Pack looks for the best packing of p. It improves a first packing until it is
// proven the best, until ctx is done, or until the rounds are used up, and
// returns the best one found; that ctx is done is no error. When it is done
// from the start, visits that can stay stay, and a single way is tried for each
// of the others. As long as ctx does not end the search, the result is the same
// every time and on every machine.
//
// Every schedule of the result keeps every rule of openings.Check beside the
// other visits placed, the limits of its request and its links. A place that a
// visit has today may be kept even where it does not lie on the grid.
//
// With MinMakespan the cost of moving only decides between packings that end
// equally soon, and is not proven to be the least.
//
// Pack returns Faults that name the faulty fields of p or o.
func Pack(ctx context.Context, p Problem, o Options) (*Result, error) {
	snap, plans, err := p.check(o)
	if err != nil {
		return nil, err
	}
	m := newModel(&p, snap, plans)
	if err := m.check(); err != nil {
		return nil, err
	}
	k := newPacker(m, rand.New(rand.NewPCG(o.Seed, 0x9e3779b97f4a7c15)))
	if ctx.Done() != nil {
		k.ins.stop = func() bool { return ctx.Err() != nil }
	}
	h := newHunt(k)
	if o.Rounds == 0 && ctx.Done() == nil {
		o.Rounds = defaultRounds
	}
	h.run(ctx, o.Rounds)
	return h.result(snap, plans), nil
}

// hunt is one run of all the searches together.
type hunt struct {
	k      *packer
	o      *orders // nil when orders do not tell all
	b      *bounds
	x      *exact // nil when there is too much to look through
	bound  int
	proven bool
}

func newHunt(k *packer) *hunt {
	h := &hunt{k: k, b: newBounds(k.m)}
	if k.m.orderly && len(k.m.visits) > 0 {
		h.o = newOrders(k.m)
		h.o.over = k.ins.over
	}
	h.x = newExact(k, h.b)
	if k.m.p.Objective == MaxValue {
		h.bound = h.b.highest()
	} else {
		h.bound = int(h.b.soonest())
	}
	return h
}

// run improves the packing until there is a reason to stop.
func (h *hunt) run(ctx context.Context, rounds int) {
	h.k.greedy()
	h.sharpen()
	var slices func() (struct{}, bool)
	if h.x != nil {
		next, stop := iter.Pull(h.x.all())
		defer stop()
		slices = next
	}
	for n := 1; !h.done() && (rounds == 0 || n <= rounds) && ctx.Err() == nil; n++ {
		if h.o != nil && n%2 == 0 {
			h.k.reorder(h.o)
		} else {
			h.k.round()
		}
		if slices == nil || h.done() || !h.x.due(n) {
			continue
		}
		if _, more := slices(); !more {
			h.proven, slices = !h.x.cut, nil
		}
	}
}

// done reports whether nothing better is possible, and notes that it is proven.
func (h *hunt) done() bool {
	top := h.k.top
	if top.missing == 0 && !h.proven {
		h.proven = top.main == h.bound
		if h.k.m.p.Objective == MinMakespan {
			h.proven = -top.main == h.bound
		}
	}
	return h.proven && top.missing == 0 && top.tie == 0
}

// sharpen raises the bound of the last end as far as the first conclusions from
// it show that it is too low.
func (h *hunt) sharpen() {
	if h.o == nil || h.k.m.p.Objective != MinMakespan || h.k.top.missing > 0 {
		return
	}
	lo, hi := int32(h.bound), int32(-h.k.top.main)
	for lo < hi {
		mid := (lo + hi) / 2
		fits := h.o.begin(func(int) bool { return true }) && h.o.endBy(mid) && h.o.spread()
		switch {
		case h.k.ins.over():
			return
		case fits:
			hi = mid
		default:
			lo = mid + 1
		}
	}
	h.bound = int(lo)
}
