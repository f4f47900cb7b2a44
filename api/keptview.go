package api

import (
	"context"
	"time"

	"github.com/rickb777/date"

	"chairblock/api/pages"
	"chairblock/store"
)

// keptViewBytes is how much of what boards are drawn from a process keeps (judgement).
const keptViewBytes = 32 << 20

// What a day that was read takes in memory, about: for a visit, a step and a block, and
// for the rest (judgement from the size of their fields).
const (
	bytesOfVisit = 3000
	bytesOfStep  = 500
	bytesOfBlock = 200
	bytesOfDay   = 20_000
)

// dayRead is a day as boards are drawn from it. Nobody changes it.
type dayRead struct {
	dayView
	until map[string]*StartUntilBody // by visit; of today
}

// now is the day for one request.
func (r *dayRead) now(at time.Time) (*dayView, map[string]*StartUntilBody) {
	x := r.dayView
	x.asOf = at
	return &x, r.until
}

func (r *dayRead) weight() int {
	out := bytesOfDay
	for _, v := range r.visits {
		out += bytesOfVisit + bytesOfStep*len(v.Steps)
	}
	for _, list := range r.blocks {
		out += bytesOfBlock * len(list)
	}
	return out
}

// turnTakenError is that of a day which somebody else reads just now.
type turnTakenError struct{ key standingKey }

func (*turnTakenError) Error() string { return "api: somebody else reads the day just now" }

// viewIn is the day that text names, today when it is empty, and how late visits of today
// can begin: read in t, or kept from before and then at least as new as what t sees. Where
// it has to be read, that is done by one at a time: unless the caller holds the turn, it is
// taken, and a turnTakenError tells that another has it. Nobody waits for a turn within a
// transaction, since whoever has it may need the connection.
func (s *Server) viewIn(ctx context.Context, t *store.Tx, text string, held bool) (*dayView, map[string]*StartUntilBody, error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return nil, nil, err
	}
	d, err := s.dayNamed(n, text)
	if err != nil {
		return nil, nil, err
	}
	key := standingKey{t.Salon(), d.String()}
	if last := s.views.find(key); last != nil && last.at(s.now()) {
		now := s.now()
		if seen, same, err := t.Unchanged(ctx, last.since(), last.about, dayKinds...); err != nil {
			return nil, nil, err
		} else if same && last.at(now) {
			last.stands(seen)
			x, until := last.value.now(now)
			return x, until, nil
		}
	}
	if !held {
		done, ok := s.views.freeTurn(key)
		if !ok {
			return nil, nil, &turnTakenError{key}
		}
		defer done()
	}
	return s.viewAnew(ctx, t, n, d, key)
}

// viewAnew reads a day and keeps it.
func (s *Server) viewAnew(ctx context.Context, t *store.Tx, n salonDay, d date.Date, key standingKey) (*dayView, map[string]*StartUntilBody, error) {
	k, err := s.views.begin(ctx, s, t)
	if err != nil {
		return nil, nil, err
	}
	x, err := s.loadDay(ctx, t, n, d)
	if err != nil {
		return nil, nil, err
	}
	r := &dayRead{dayView: *x}
	if d.Equal(n.today(x.asOf)) {
		if r.until, err = x.startsUntil(ctx, t); err != nil {
			return nil, nil, err
		}
	}
	s.views.finish(s, key, k, workedOut[*dayRead]{r, r.weight(), x.about()})
	return x, r.until, nil
}

// How many drawings a process keeps, and how many bytes (judgement).
const (
	mostDrawings  = 300
	keptDrawBytes = 16 << 20
)

// useDrawing gives a board of another day than today, whose Live.Tag tells what it shows,
// the drawing of one that shows the same in the same minute.
func (s *Server) useDrawing(ctx context.Context, b *pages.Board) {
	if b.Now != nil || s.views.most == 0 { // the line of the present moment moves
		return
	}
	key := principal(ctx).Salon + b.Live.Tag + b.AsOf.Format(time.RFC3339[:16])
	if kept := s.drawings.find(key); kept != nil {
		b.Drawing = *kept
		return
	}
	if drawing, err := b.SVG(); err == nil { // who renders it meets the error again
		b.Drawing = drawing
		s.drawings.keepFor(standingAtMost, key, drawing, len(drawing), mostDrawings, keptDrawBytes)
	}
}
