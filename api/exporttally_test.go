package api

import (
	"time"

	"chairblock/store"
)

// Tally is a tally for tests.
type Tally struct{ t tally }

// NewTally makes one.
func NewTally(within time.Duration) *Tally { return &Tally{tally{within: within}} }

// Try counts one for a key, or says that it was as often as it may be.
func (t *Tally) Try(key string, most int, now time.Time) bool {
	return t.t.begin(now, counted{key, most}) == 0
}

// TryFrom counts one for an address.
func (t *Tally) TryFrom(address string, most int, now time.Time) bool {
	return t.t.begin(now, fromAddress(address, most)...) == 0
}

// Forget forgets all of a key, TakeBack the latest.
func (t *Tally) Forget(key string)   { t.t.forget(key) }
func (t *Tally) TakeBack(key string) { t.t.takeBack(counted{key: key}) }

// Size is for how many it counts.
func (t *Tally) Size() int { return len(t.t.by) }

// TallyRoom is for how many it counts apart.
const TallyRoom = tallyRoom

// CountCode counts a try with a code.
func CountCode(w *store.WrongCodes, now time.Time) time.Duration { return countCode(w, now) }
