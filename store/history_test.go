package store_test

import (
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// held is a block that a visit held between two moments: from the answer that
// it has it until before it asked to give it back. free is zero while it holds.
type held struct {
	visit, unit string
	from, to    time.Time // clearing included
	got, free   time.Time
}

// history is what the bookers of a load were told.
type history struct {
	mu   sync.Mutex
	list []held
}

// acknowledge notes the blocks of a visit and says where to note their end.
func (h *history) acknowledge(visit string, blocks []store.Block) (free func()) {
	h.mu.Lock()
	defer h.mu.Unlock()
	first, now := len(h.list), time.Now()
	for _, b := range blocks {
		h.list = append(h.list, held{visit: visit, unit: b.Unit, from: b.Start, to: b.End.Add(minutes(b.Clear)), got: now})
	}
	return func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		end := time.Now()
		for i := first; i < first+len(blocks); i++ {
			h.list[i].free = end
		}
	}
}

// clashes counts the pairs of visits that wanted a unit for the same minutes,
// and how many of these pairs held it at the same moment, which must be none.
func (h *history) clashes() (pairs, both int) {
	byUnit := map[string][]held{}
	for _, x := range h.list {
		byUnit[x.unit] = append(byUnit[x.unit], x)
	}
	for _, list := range byUnit {
		for i, a := range list {
			for _, b := range list[i+1:] {
				if a.visit == b.visit || !a.from.Before(b.to) || !b.from.Before(a.to) {
					continue
				}
				pairs++
				if (b.free.IsZero() || a.got.Before(b.free)) && (a.free.IsZero() || b.got.Before(a.free)) {
					both++
				}
			}
		}
	}
	return pairs, both
}

// standing are the visits that were acknowledged and not given back.
func (h *history) standing() []string {
	var ids []string
	for _, x := range h.list {
		if x.free.IsZero() && !slices.Contains(ids, x.visit) {
			ids = append(ids, x.visit)
		}
	}
	slices.Sort(ids)
	return ids
}

func TestTheHistoryCheckSeesWhatItShould(t *testing.T) {
	t.Parallel()
	block := func(from, to, clear int) []store.Block {
		return []store.Block{{Unit: "chair", Start: at(10, from), End: at(10, to), Clear: clear}}
	}
	for _, x := range []struct {
		name        string
		first, next []store.Block
		freed       bool // the first is given back before the next
		pairs, both int
	}{
		{"one after the other", block(0, 10, 5), block(15, 20, 0), false, 0, 0},
		{"in the clearing", block(0, 10, 6), block(15, 20, 0), false, 1, 1},
		{"the first was given back", block(0, 10, 6), block(15, 20, 0), true, 1, 0},
	} {
		var h history
		free := h.acknowledge("a", x.first)
		if x.freed {
			free()
		}
		h.acknowledge("b", x.next)
		pairs, both := h.clashes()
		require.Equal(t, []int{x.pairs, x.both}, []int{pairs, both}, x.name)
	}
}
