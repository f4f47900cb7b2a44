package api

import "time"

// QuietUntil is MessageRules.quietUntil for tests, over the defaults.
func (b MessageRules) QuietUntil(now time.Time, loc *time.Location) (time.Time, bool) {
	return b.filled().quietUntil(now, loc)
}

// Network is the part of an address that misses are counted by.
func Network(address string) string { return network(address).String() }
