package api

import (
	"cmp"
	"maps"
	"slices"
	"sync"
	"time"
)

// lastAsked keeps what was worked out for those that were asked for last. Its zero
// value is ready; it is safe for many goroutines. What it gives out is never changed,
// only replaced.
type lastAsked[K comparable, V any] struct {
	mu   sync.Mutex
	kept map[K]*keptAnswer[V]
	uses uint64
}

type keptAnswer[V any] struct {
	value  V
	weight int
	used   uint64
	ends   *time.Timer // nil for never
}

func (x *keptAnswer[V]) gone() {
	if x != nil && x.ends != nil {
		x.ends.Stop()
	}
}

// find is what is kept for k, nil when there is nothing.
func (c *lastAsked[K, V]) find(k K) *V {
	c.mu.Lock()
	defer c.mu.Unlock()
	x := c.kept[k]
	if x == nil {
		return nil
	}
	c.uses++
	x.used = c.uses
	return &x.value
}

// keep takes v in place of what was kept for k, and forgets those that were not asked
// for in the longest time while there are more than most, or all weigh more than
// heaviest.
func (c *lastAsked[K, V]) keep(k K, v V, weight, most, heaviest int) {
	c.keepFor(0, k, v, weight, most, heaviest)
}

// keepFor is keep of what goes by itself, so long after; 0 is never.
func (c *lastAsked[K, V]) keepFor(long time.Duration, k K, v V, weight, most, heaviest int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.kept == nil {
		c.kept = map[K]*keptAnswer[V]{}
	}
	c.uses++
	x := &keptAnswer[V]{value: v, weight: weight, used: c.uses}
	if long > 0 {
		x.ends = time.AfterFunc(long, func() { c.forget(k, x) })
	}
	c.kept[k].gone()
	c.kept[k] = x
	all := 0
	for _, x := range c.kept {
		all += x.weight
	}
	for len(c.kept) > most || all > heaviest {
		oldest := slices.MinFunc(slices.Collect(maps.Keys(c.kept)), func(a, b K) int { return cmp.Compare(c.kept[a].used, c.kept[b].used) })
		all -= c.kept[oldest].weight
		c.kept[oldest].gone()
		delete(c.kept, oldest)
	}
}

// forget drops x, unless something else is kept for k by now.
func (c *lastAsked[K, V]) forget(k K, x *keptAnswer[V]) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.kept[k] == x {
		delete(c.kept, k)
	}
}
