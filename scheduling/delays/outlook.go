package delays

import (
	"slices"

	"chairblock/scheduling/openings"
)

// DayProjection is how the day goes on when nothing is changed.
type DayProjection struct {
	Visits []VisitProjection // in the order of Day.Visits
	// Broken are the rules that will not be kept, the gravest first, then those
	// that were not kept already. It is empty on a day that goes well.
	Broken []Broken
	// LateMinutes is the sum over all visits of the minutes by which they end
	// late, WaitingMinutes the sum of those that clients wait, from when they
	// are there until their visit begins.
	LateMinutes, WaitingMinutes openings.Minute
}

// VisitProjection is how one visit goes on.
type VisitProjection struct {
	ID         string
	Start, End openings.Minute // of what happened and will happen
	// StartLate and EndLate are minutes after the booked start and end, negative
	// when earlier.
	StartLate, EndLate openings.Minute
	Phases             []PhaseProjection
	// Schedule has the units and times of all phases, those of the past as they
	// were, and those that were passed over where they were booked.
	Schedule openings.Schedule
	// OpenUntil is the last minute at which the visit can still be put off: when
	// product goes on, or the visit begins. Nil once it is too late.
	OpenUntil *openings.Minute
	// InSolution is true while product is on the hair.
	InSolution bool
}

// PhaseState says where a phase stands.
type PhaseState string

// States of a phase.
const (
	PhaseDone   PhaseState = "done"
	PhaseRuns   PhaseState = "runs"
	PhaseToCome PhaseState = "to_come"
	PhaseNever  PhaseState = "never" // passed over, or the visit ended before
)

// PhaseProjection is one phase of a visit: where it was, is or will be.
type PhaseProjection struct {
	Phase      string
	State      PhaseState
	Start, End openings.Minute
	Late       openings.Minute // minutes after the booked start, negative when earlier
}

// Project works out how the day goes on with everybody at the same chair and
// basin and in the same order as booked: every phase as early as the rules
// allow, but nothing before it was promised unless the rules ask for it.
//
// When the rules cannot all be kept, those that cost least are given up until
// the others can: first a break, then closing time, then a wait, then a wait
// with product on. The answer names each with what forced it; what is not named
// is kept.
//
// Project returns Faults that name the faulty fields of d, and ErrTangled.
func (d Day) Project() (DayProjection, error) {
	units, err := d.check()
	if err != nil {
		return DayProjection{}, err
	}
	o, err := newDraft(&d, units).look(new(solver))
	if err != nil {
		return DayProjection{}, err
	}
	return o.projection(), nil
}

// outlook is a draft with its times.
type outlook struct {
	dr     *draft
	starts [][]openings.Minute // by visit and phase
	broken []Broken
	late   openings.Minute
	waits  openings.Minute
}

// given is a rule that was given up and why.
type given struct {
	limit
	chain []string
	cause string
}

// look finds the times of the draft.
func (dr *draft) look(s *solver) (*outlook, error) {
	b := dr.net()
	var up []given
	for {
		starts, c, ok := s.solve(&b.network)
		if !ok {
			return nil, ErrTangled
		}
		if c == nil {
			o := &outlook{dr: dr, starts: b.times(starts)}
			o.audit(b, up)
			return o, nil
		}
		r, is := b.mildest(c)
		if is.severity == hard {
			return nil, ErrTangled // steps of a visit are in order, so this cannot be
		}
		if is.severity != softWish {
			g := given{limit: is}
			if !dr.mute {
				g.chain, g.cause = b.chain(c), b.cause(c)
			}
			up = append(up, g)
		}
		b.giveUp(r, is)
	}
}

// times puts the starts in order by visit and phase; phases without a piece
// stay where they were booked.
func (b *dayNet) times(starts []int32) [][]openings.Minute {
	out := make([][]openings.Minute, len(b.dr.visits))
	for v, p := range b.dr.visits {
		out[v] = make([]openings.Minute, len(p.v.Spec.Phases))
		for i, ph := range p.v.Booked.Phases {
			out[v][i] = ph.Start
		}
		for i, id := range b.piece[v] {
			if id >= 0 {
				out[v][i] = openings.Minute(starts[id])
			}
		}
	}
	return out
}

// mildest returns the step of c whose rule costs least to give up, of equal
// ones the first.
func (b *dayNet) mildest(c *clash) (raise, limit) {
	best, is := c.chain[0], limit{severity: hard}
	for k, r := range c.chain {
		if c.loop && k == 0 {
			continue
		}
		if l := b.limitOf(r); l.severity < is.severity {
			best, is = r, l
		}
	}
	return best, is
}

func (b *dayNet) limitOf(r raise) limit {
	switch r.cause {
	case byLow:
		if b.low[r.piece] > b.floor[r.piece] {
			l := b.owner[r.piece]
			l.severity = softWish
			return l
		}
	case byMax:
		return b.behind[r.index]
	case byMin:
		if l := b.behind[r.index]; l.severity == softOrder {
			return l
		}
	case byWindow:
		l := b.tags[b.closed[r.piece][r.index].tag]
		l.visit, l.phase = b.owner[r.piece].visit, b.owner[r.piece].phase
		return l
	}
	return limit{severity: hard}
}

// giveUp takes the rule behind r out of the network.
func (b *dayNet) giveUp(r raise, is limit) {
	switch r.cause {
	case byLow: // all of what the client was promised
		for _, id := range b.piece[is.visit] {
			if id >= 0 && !b.fixed[id] {
				b.low[id] = b.floor[id]
			}
		}
	case byMax:
		b.links[r.index].max = noLimit
	case byMin:
		b.links[r.index].min = dropped
	case byWindow:
		tag := b.closed[r.piece][r.index].tag
		drop := func(piece int32) {
			b.closed[piece] = slices.DeleteFunc(b.closed[piece], func(w window) bool { return w.tag == tag })
		}
		if is.severity != softClosing { // of one step, others may keep it
			drop(r.piece)
			return
		}
		for i := range b.closed {
			drop(int32(i))
		}
	}
}

// projection writes the outlook for the caller.
func (o *outlook) projection() DayProjection {
	out := DayProjection{Broken: o.broken, LateMinutes: o.late, WaitingMinutes: o.waits}
	for _, p := range o.dr.visits {
		out.Visits = append(out.Visits, o.visit(p))
	}
	return out
}

func (o *outlook) visit(p *visitDraft) VisitProjection {
	at := o.starts[p.index]
	out := VisitProjection{ID: p.v.ID, Schedule: o.schedule(p), InSolution: p.inSolution()}
	first := true
	for i, ph := range out.Schedule.Phases {
		pp := PhaseProjection{Phase: ph.Phase, State: PhaseToCome, Start: ph.Start, End: ph.End, Late: ph.Start - p.v.Booked.Phases[i].Start}
		switch {
		case !p.known[i] || i >= p.n:
			pp.State = PhaseNever
		case p.runs && i == p.begun-1:
			pp.State = PhaseRuns
		case i < p.begun:
			pp.State = PhaseDone
		}
		out.Phases = append(out.Phases, pp)
		if pp.State == PhaseNever {
			continue
		}
		if first {
			out.Start, first = pp.Start, false
		}
		out.End = pp.End
	}
	if !first {
		out.StartLate, out.EndLate = out.Start-p.v.bookedStart(), out.End-p.v.bookedEnd()
	}
	if p.canWait() {
		until := at[p.begun]
		for i := p.begun; i < p.n; i++ {
			if p.v.care(i).Product {
				until = at[i]
				break
			}
		}
		out.OpenUntil = &until
	}
	return out
}

// schedule writes down all phases of a visit. A phase that a helper shares has
// the helper at the end of its pool when the helper is there from its start.
func (o *outlook) schedule(p *visitDraft) openings.Schedule {
	out := openings.Schedule{Roles: p.sch.Roles, Phases: make([]openings.Placed, len(p.sch.Phases))}
	for i, ph := range p.sch.Phases {
		from := o.starts[p.index][i]
		out.Phases[i] = openings.Placed{Phase: ph.Phase, Start: from, End: from + p.length[i], Pool: ph.Pool}
		if h := p.helper[i]; h >= 0 && i >= p.begun {
			out.Phases[i].Pool = append(slices.Clone(ph.Pool), o.dr.d.Shop.Units[h].ID)
		}
	}
	return out
}
