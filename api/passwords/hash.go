package passwords

import (
	"context"
	"fmt"
	"sync"

	"github.com/alexedwards/argon2id"
)

// What one hash costs: 19 MiB and two passes, the least that OWASP's cheat sheet on
// password storage advises for argon2id with one lane.
const (
	Memory = 19 << 10 // KiB
	Passes = 2
)

// atOnce is how many hashes are worked out at the same time: two of 19 MiB are
// little beside the rest of the service, and who guesses passwords must not be able
// to fill the memory (judgement).
const atOnce = 2

// Hasher works out hashes, a few at a time. It is safe for use by many goroutines.
type Hasher struct {
	params argon2id.Params
	turns  chan struct{}
	nobody func() (string, error)
}

// New makes a hasher; memory is in KiB. What the service keeps is hashed with
// Memory and Passes.
func New(memory, passes uint32) *Hasher {
	h := &Hasher{params: argon2id.Params{Memory: memory, Iterations: passes, Parallelism: 1, SaltLength: 16, KeyLength: 32},
		turns: make(chan struct{}, atOnce)}
	h.nobody = sync.OnceValues(func() (string, error) { return argon2id.CreateHash("nobody's", &h.params) })
	return h
}

// turn waits until a hash may be worked out, or until ctx ends.
func (h *Hasher) turn(ctx context.Context) (done func(), err error) {
	select {
	case h.turns <- struct{}{}:
		return func() { <-h.turns }, nil
	case <-ctx.Done():
		return nil, fmt.Errorf("passwords: wait for a turn: %w", ctx.Err())
	}
}

// Hash is what is kept of a secret: algorithm, cost, salt and hash in one text. It
// waits for a turn and returns the error of ctx when that ends first.
func (h *Hasher) Hash(ctx context.Context, secret string) (string, error) {
	done, err := h.turn(ctx)
	if err != nil {
		return "", err
	}
	defer done()
	out, err := argon2id.CreateHash(secret, &h.params)
	if err != nil {
		return "", fmt.Errorf("passwords: hash: %w", err)
	}
	return out, nil
}

// Matches reports whether hash was made of secret. An empty hash stands for
// somebody who has no password or is not known: nothing matches it, and finding
// that out takes as long. It waits for a turn and returns the error of ctx when that
// ends first, and an error for a hash that cannot be read.
func (h *Hasher) Matches(ctx context.Context, secret, hash string) (bool, error) {
	known := hash != ""
	if !known {
		var err error
		if hash, err = h.nobody(); err != nil {
			return false, fmt.Errorf("passwords: compare: %w", err)
		}
	}
	done, err := h.turn(ctx)
	if err != nil {
		return false, err
	}
	defer done()
	same, err := argon2id.ComparePasswordAndHash(secret, hash)
	if err != nil {
		return false, fmt.Errorf("passwords: compare: %w", err)
	}
	return same && known, nil
}
