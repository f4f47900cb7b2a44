package api

import "time"

// QuietUntil is MessageRules.quietUntil for tests, over the defaults.
func (b MessageRules) QuietUntil(now time.Time, loc *time.Location) (time.Time, bool) {
	return b.filled().quietUntil(now, loc)
}

// Network is the part of an address that misses are counted by.
func Network(address string) string { return network(address).String() }

// Misses counts n misses of one address after another in one minute and returns how
// many the last of them has.
func Misses(n int, addresses ...string) (last int) {
	var m missCounter
	now := time.Now()
	for _, a := range addresses {
		for range n {
			last = m.count(a, 1, now)
		}
	}
	return last
}

// MissesLater is how many misses of an address still count after a while.
func MissesLater(n int, after time.Duration) int {
	var m missCounter
	now := time.Now()
	for range n {
		m.count("192.0.2.1", 1, now)
	}
	return m.count("192.0.2.1", 0, now.Add(after))
}
