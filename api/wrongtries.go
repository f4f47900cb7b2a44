package api

import (
	"fmt"
	"math"
	"net/http"
	"sync"
	"time"
)

// How often somebody may be wrong before nothing is looked at for a while: for one
// account, and from one address (judgement; people who mistype need three or four).
const (
	triesWithin     = 15 * time.Minute
	triesOfAccount  = 10
	triesOfAddress  = 30
	triesRemembered = 20000 // accounts and addresses; beyond that half are forgotten
)

// tryCounter counts tries to sign in. A try counts from its beginning, so that many
// at once are not more than many one after the other, and is taken back when it was
// right. The zero value is ready.
type tryCounter struct {
	mu sync.Mutex
	by map[string][]time.Time // the oldest first, never more than allowed
}

// begin notes a try, or returns how long to wait when there were most already.
func (t *tryCounter) begin(key string, most int, now time.Time) time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	list := t.by[key]
	for len(list) > 0 && now.Sub(list[0]) >= triesWithin {
		list = list[1:]
	}
	if len(list) >= most {
		return list[0].Add(triesWithin).Sub(now)
	}
	t.makeRoom(now)
	t.by[key] = append(list, now)
	return 0
}

// makeRoom forgets what is over and, when that is not enough, half of the rest.
func (t *tryCounter) makeRoom(now time.Time) {
	if t.by == nil {
		t.by = map[string][]time.Time{}
	}
	if len(t.by) < triesRemembered {
		return
	}
	for key, list := range t.by {
		if now.Sub(list[len(list)-1]) >= triesWithin {
			delete(t.by, key)
		}
	}
	for key := range t.by {
		if len(t.by) <= triesRemembered/2 {
			break
		}
		delete(t.by, key)
	}
}

// takeBack forgets the latest try of a key, and forget all of them.
func (t *tryCounter) takeBack(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if list := t.by[key]; len(list) > 1 {
		t.by[key] = list[:len(list)-1]
	} else {
		delete(t.by, key)
	}
}

func (t *tryCounter) forget(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.by, key)
}

// tooManyTries says how long to wait.
func tooManyTries(wait time.Duration) *Problem {
	p := newProblem(http.StatusTooManyRequests, "too-many-tries", "there were too many wrong tries: wait "+minutesWords(wait)+", then try again")
	p.retryAfter = max(1, int(math.Ceil(wait.Seconds())))
	return p
}

// minutesWords is a wait in words, rounded up.
func minutesWords(wait time.Duration) string {
	if n := int(math.Ceil(wait.Minutes())); n > 1 {
		return fmt.Sprintf("%d minutes", n)
	}
	return "a minute"
}
