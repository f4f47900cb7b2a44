package store

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"
)

// ChangeKind says what has changed in a salon.
type ChangeKind string

// Kinds of changes.
const (
	ChangeVisit      ChangeKind = "visit"      // a visit, or time that is pencilled or kept
	ChangeDay        ChangeKind = "day"        // hours, absences, people, stations, names
	ChangeMessage    ChangeKind = "message"    // a message failed or is settled, or a client answered
	ChangeWaiting    ChangeKind = "waiting"    // the waiting list
	ChangeCall       ChangeKind = "call"       // the list of clients to call
	ChangeAccess     ChangeKind = "access"     // somebody may do something no more, or is signed out
	ChangeQuiet      ChangeKind = "quiet"      // what is kept of days is worked out anew; nobody is told
	ChangeEverything ChangeKind = "everything" // what has changed cannot be told any more: read all of it anew
)

// Change is something that was committed. It says where to look, not what is
// there.
type Change struct {
	Kind     ChangeKind
	Visit    string     // "" for none
	From, To *time.Time // what it is about; nil: any day
	// After is where to go on: Watch gives what came later.
	After string
}

// ErrBehind means that a watcher did not take its changes away and was let go. It
// goes on where it was by the After of the last change it got.
var ErrBehind = errors.New("the watcher is too far behind")

const (
	// mostWaiting is how many changes wait for one watcher (judgement: a busy salon
	// makes a few in a second, and a screen takes each in milliseconds).
	mostWaiting = 256
	// mostMissed is how many rows are looked at for changes that were missed. Where
	// more has happened, reading everything anew is less work (judgement).
	mostMissed = 1000
	// livePoll is how often changes are looked for although nobody called: by
	// programs that do not call, and while there is no connection to hear calls on
	// (judgement).
	livePoll = 2 * time.Second
	// liveRest is the least time between two looks (judgement: no eye sees it, and many
	// changes share one look).
	liveRest = 15 * time.Millisecond
	// liveKept is for how long changes are known to be kept: the hourly job forgets what
	// is older than 48 hours (judgement), and an hour is left for it.
	liveKept = 47 * time.Hour
)

// liveHub hands changes out to the watchers of a process. It asks the database
// once for all of them, and rests while there are none.
type liveHub struct {
	store *Store
	turn  chan struct{} // held by who asks the database, and who joins
	ring  chan struct{}

	mu       sync.Mutex
	watchers map[string]map[*Watch]bool // by salon
	at       cursor                     // what was handed out; zero while it rests
	stop     context.CancelFunc         // nil while it rests
	running  sync.WaitGroup
}

func newLiveHub(s *Store) *liveHub {
	return &liveHub{store: s, turn: make(chan struct{}, 1), ring: make(chan struct{}, 1), watchers: map[string]map[*Watch]bool{}}
}

// Watch is somebody who is told of the changes of one salon. Close it.
type Watch struct {
	hub   *liveHub
	salon string
	ready chan struct{} // has a value when something is there

	mu      sync.Mutex
	waiting []Change
	seen    cursor // what is handed over with the last of waiting
	behind  bool
}

// Watch begins to tell of the salon's changes: of all that are committed after it
// has returned (and maybe of some that were committed a moment before), and, with
// the After of an earlier change, of all that were committed since, each once,
// whatever the order in which transactions began and ended. An after of another database, or older than two days, gives
// ChangeEverything first. It holds no connection.
//
// It returns an *scheduling.InvalidError for an after that is none, and
// ErrUnavailable.
func (s *Store) Watch(ctx context.Context, salon, after string) (*Watch, error) {
	var since cursor
	if after != "" {
		var err error
		if since, err = readCursor(after); err != nil {
			return nil, err
		}
	}
	w := &Watch{hub: s.live, salon: salon, ready: make(chan struct{}, 1)}
	joined, err := s.live.join(ctx, w)
	if err != nil || after == "" {
		return w, err
	}
	missed, err := s.missed(ctx, salon, since, joined)
	if err != nil {
		w.Close()
		return nil, err
	}
	w.first(missed)
	return w, nil
}

// Close ends it.
func (w *Watch) Close() { w.hub.leave(w) }

// Next waits for changes and returns them in order, with where to go on after the
// last. It returns the error of ctx, or ErrBehind.
func (w *Watch) Next(ctx context.Context) ([]Change, error) {
	for {
		w.mu.Lock()
		list, behind := w.waiting, w.behind
		w.waiting = nil
		w.mu.Unlock()
		switch {
		case behind:
			return nil, ErrBehind
		case len(list) > 0:
			return list, nil
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-w.ready:
		}
	}
}

// Seen is where to go on when all changes that Next has returned, and none that
// wait, are dealt with.
func (w *Watch) Seen() (after string, ok bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if len(w.waiting) > 0 {
		return "", false
	}
	return w.seen.String(), true
}

// first puts what was missed in front of what has come since.
func (w *Watch) first(list []Change) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.waiting = append(list, w.waiting...)
	w.wake()
}

// add hands changes over; upTo is what w has seen with them.
func (w *Watch) add(list []Change, upTo cursor) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.seen = upTo
	if len(list) == 0 {
		return
	}
	if len(w.waiting)+len(list) > mostWaiting {
		w.behind, w.waiting = true, nil
	} else {
		w.waiting = append(w.waiting, list...)
	}
	w.wake()
}

func (w *Watch) wake() {
	select {
	case w.ready <- struct{}{}:
	default: // awake already
	}
}

// join adds a watcher, who is told of what is committed after the moment that it
// returns.
func (h *liveHub) join(ctx context.Context, w *Watch) (cursor, error) {
	select {
	case h.turn <- struct{}{}:
		defer func() { <-h.turn }()
	case <-ctx.Done():
		return cursor{}, ctx.Err()
	}
	if at, ok := h.add(w); ok {
		return at, nil
	}
	at, _, err := h.store.changesSince(ctx, nil, nil)
	if err != nil {
		return cursor{}, err
	}
	h.mu.Lock()
	run, stop := context.WithCancel(context.Background())
	h.at, h.stop = at, stop
	h.running.Go(func() { h.run(run) })
	h.mu.Unlock()
	at, _ = h.add(w)
	return at, nil
}

// add is join while the hub does not rest.
func (h *liveHub) add(w *Watch) (cursor, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.stop == nil {
		return cursor{}, false
	}
	w.seen = h.at
	if h.watchers[w.salon] == nil {
		h.watchers[w.salon] = map[*Watch]bool{}
	}
	h.watchers[w.salon][w] = true
	return h.at, true
}

// leave lets a watcher go; with the last one the hub rests.
func (h *liveHub) leave(w *Watch) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.watchers[w.salon], w)
	if len(h.watchers[w.salon]) == 0 {
		delete(h.watchers, w.salon)
	}
	if len(h.watchers) == 0 && h.stop != nil {
		h.stop()
		h.stop = nil
	}
}

// close ends it for good and waits until it has ended.
func (h *liveHub) close() {
	h.mu.Lock()
	if h.stop != nil {
		h.stop()
		h.stop = nil
	}
	h.mu.Unlock()
	h.running.Wait()
}

// changed calls for a look because something of a salon was committed, here or by
// another process.
func (h *liveHub) changed(salon string) {
	h.mu.Lock()
	watched := len(h.watchers[salon]) > 0
	h.mu.Unlock()
	if watched {
		h.call()
	}
}

func (h *liveHub) call() {
	select {
	case h.ring <- struct{}{}:
	default: // called already
	}
}

func (h *liveHub) run(ctx context.Context) {
	tick := time.NewTicker(livePoll)
	defer tick.Stop()
	failing := false
	for {
		select {
		case <-ctx.Done():
			return
		case <-h.ring:
		case <-tick.C:
		}
		err := h.look(ctx)
		if err != nil && ctx.Err() == nil && !failing {
			// Nothing is lost: the next look begins where this one did.
			slog.WarnContext(ctx, "changes cannot be read for those who watch", "err", err)
		}
		failing = err != nil
		pause(ctx, liveRest)
	}
}

// look asks what has changed and hands it out.
func (h *liveHub) look(ctx context.Context) error {
	select {
	case h.turn <- struct{}{}:
		defer func() { <-h.turn }()
	case <-ctx.Done():
		return ctx.Err()
	}
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	h.mu.Lock()
	salons, since := make([]string, 0, len(h.watchers)), h.at
	for id := range h.watchers {
		salons = append(salons, id)
	}
	h.mu.Unlock()
	at, rows, err := h.store.changesSince(ctx, salons, &since)
	if err != nil {
		return err
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if ctx.Err() != nil { // it rests, and may have begun anew
		return ctx.Err()
	}
	h.at = at
	told := inOrder(rows, at)
	for salon, ws := range h.watchers {
		list := told[salon]
		if len(rows) >= mostMissed*len(salons) { // and there may be more
			list = []Change{{Kind: ChangeEverything, After: at.String()}}
		}
		for w := range ws {
			w.add(list, at)
		}
	}
	return nil
}
