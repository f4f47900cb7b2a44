package api

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"chairblock/store"
)

// standing keeps what was worked out for requests, and hands it out again while a
// request would work out the same: nothing of the salon has changed that it was read
// from, which the database is asked for each time, and the minute is still the one in
// which it was read, since much of it goes by the clock. Whoever asks has been let in
// before. What was asked for in the longest time goes when there is too much, and all goes
// by itself after a minute.
type standing[T any] struct {
	most int // bytes; 0 keeps nothing

	kept  lastAsked[standingKey, *stood[T]]
	mu    sync.Mutex
	turns map[standingKey]*standingTurn
}

// mostStanding is how many answers are kept, however small (judgement).
const mostStanding = 2000

// standingAtMost is how long an answer can hold, since it ends with its minute (derived);
// then what it takes in memory is free, whether anybody asks again or not.
const standingAtMost = time.Minute

// standingKey names an answer: what of a salon, and whatever of the caller changes it.
type standingKey struct{ salon, what string }

// standingTurn is held by who works an answer out, so that a crowd does not do the same.
type standingTurn struct {
	held  chan struct{}
	users int
}

// stood is an answer that is never changed, and what it holds by.
type stood[T any] struct {
	value T
	terms
}

// terms are what an answer holds by.
type terms struct {
	about       store.Stretch
	moment      store.Moment
	later       *atomic.Pointer[store.Moment] // at which it was found to stand still
	read, until time.Time                     // by the clock
}

// workedOut is what was worked out in a transaction.
type workedOut[T any] struct {
	value  T
	weight int // bytes, about
	about  store.Stretch
}

// stillStanding is what read gives, or gave before. Its transaction is of one moment,
// and kinds are those of changes under which is noted what it reads.
func stillStanding[T any](ctx context.Context, s *Server, a *standing[T], what string, kinds []store.ChangeKind, read func(*store.Tx) (workedOut[T], error)) (T, error) {
	key := standingKey{principal(ctx).Salon, what}
	last := a.find(key)
	if last != nil && s.stand(ctx, key.salon, last.terms, kinds) {
		return last.value, nil
	}
	var none T
	done, err := a.turn(ctx, key)
	if err != nil {
		return none, err
	}
	defer done()
	// Who had the turn before may have worked it out.
	if next := a.find(key); next != nil && next != last && s.stand(ctx, key.salon, next.terms, kinds) {
		return next.value, nil
	}
	return a.anew(ctx, s, key, read)
}

// anew works an answer out, in a transaction of its own, and keeps it.
func (a *standing[T]) anew(ctx context.Context, s *Server, key standingKey, read func(*store.Tx) (workedOut[T], error)) (T, error) {
	var k terms
	var w workedOut[T]
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if k, err = a.begin(ctx, s, t); err != nil {
			return err
		}
		w, err = read(t)
		return err
	})
	if err == nil {
		a.finish(s, key, k, w)
	}
	return w.value, err
}

// begin notes what an answer will hold by that is worked out in t from now on.
func (a *standing[T]) begin(ctx context.Context, s *Server, t *store.Tx) (terms, error) {
	k := terms{read: s.now(), later: new(atomic.Pointer[store.Moment])}
	if a.most == 0 {
		return k, nil
	}
	var lapse *time.Time
	var err error
	k.moment, lapse, err = t.Moment(ctx, k.read)
	k.until = k.read.Truncate(time.Minute).Add(time.Minute)
	if lapse != nil && lapse.Before(k.until) {
		k.until = *lapse
	}
	return k, err
}

// finish keeps an answer unless the clock has gone on since begin or nobody could tell
// what changes.
func (a *standing[T]) finish(s *Server, key standingKey, k terms, w workedOut[T]) {
	if k.about = w.about; w.weight <= a.most && k.moment != (store.Moment{}) && k.at(s.now()) {
		a.hold(key, &stood[T]{w.value, k}, w.weight)
	}
}

func (a *standing[T]) hold(key standingKey, x *stood[T], weight int) {
	a.kept.keepFor(standingAtMost, key, x, weight, mostStanding, a.most)
}

// at reports whether the clock changes nothing between the reading and now. At a whole
// minute things may be neither before nor after it, so that holds for no longer.
func (k terms) at(now time.Time) bool {
	if k.read.Equal(k.read.Truncate(time.Minute)) {
		return now.Equal(k.read)
	}
	return !now.Before(k.read) && now.Before(k.until)
}

// stand reports whether a request would work out the same. Where nobody can tell, it is
// worked out anew.
func (s *Server) stand(ctx context.Context, salon string, k terms, kinds []store.ChangeKind) bool {
	if !k.at(s.now()) {
		return false
	}
	now, same, err := s.store.Unchanged(ctx, salon, k.since(), k.about, kinds...)
	if err != nil || !same {
		return false
	}
	k.stands(now)
	return k.at(s.now())
}

// since is the last moment at which the answer is known to stand.
func (k terms) since() store.Moment {
	if m := k.later.Load(); m != nil {
		return *m
	}
	return k.moment
}

// stands notes that it still stood at now: who asks next looks at what came after that.
func (k terms) stands(now store.Moment) { k.later.Store(&now) }

// find is what is kept, nil for nothing.
func (a *standing[T]) find(key standingKey) *stood[T] {
	if v := a.kept.find(key); v != nil {
		return *v
	}
	return nil
}

// turn waits until nobody else works the answer out. Where nothing is kept nobody waits.
func (a *standing[T]) turn(ctx context.Context, key standingKey) (done func(), err error) {
	if a.most == 0 {
		return func() {}, nil
	}
	x := a.join(key)
	select {
	case x.held <- struct{}{}:
		return a.end(key, x), nil
	case <-ctx.Done():
		a.leave(key, x)
		return nil, ctx.Err()
	}
}

// freeTurn takes the turn if nobody has it.
func (a *standing[T]) freeTurn(key standingKey) (done func(), ok bool) {
	if a.most == 0 {
		return func() {}, true
	}
	x := a.join(key)
	select {
	case x.held <- struct{}{}:
		return a.end(key, x), true
	default:
		a.leave(key, x)
		return nil, false
	}
}

// end gives a turn on, however often it is called.
func (a *standing[T]) end(key standingKey, x *standingTurn) func() {
	return sync.OnceFunc(func() {
		<-x.held
		a.leave(key, x)
	})
}

func (a *standing[T]) join(key standingKey) *standingTurn {
	a.mu.Lock()
	defer a.mu.Unlock()
	x := a.turns[key]
	if x == nil {
		if a.turns == nil {
			a.turns = map[standingKey]*standingTurn{}
		}
		x = &standingTurn{held: make(chan struct{}, 1)}
		a.turns[key] = x
	}
	x.users++
	return x
}

func (a *standing[T]) leave(key standingKey, x *standingTurn) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if x.users--; x.users == 0 {
		delete(a.turns, key)
	}
}
