package api

import (
	"time"

	"chairblock/store"
)

// facts are what people noted of a visit and did not take back. Everything else
// that is said of its real times is inferred from them.
type facts struct {
	arrived, done *time.Time
	stopped       *time.Time   // early
	starts, ends  []*time.Time // by step
	last          *store.Event // what was noted last; nil when nothing was
}

// factsOf reads the events of a visit.
func factsOf(v store.Visit) *facts {
	var presses []store.Event
	came := v.ArrivedAt
	var stopped *time.Time
	for _, e := range v.Events {
		if e.Kind == store.EventArrive || e.Kind == store.EventArriveInferred {
			came = nil
		}
		switch e.Kind {
		case store.EventArrive, store.EventStart, store.EventFinish, store.EventDone:
			presses = append(presses, e)
		case store.EventUndo:
			presses = presses[:max(0, len(presses)-1)]
		case store.EventStop:
			at := e.At
			stopped = &at
		case store.EventArriveInferred, store.EventStartInferred, store.EventFinishInferred, store.EventRemedy:
		}
	}
	f := &facts{arrived: came, stopped: stopped, starts: make([]*time.Time, len(v.Steps)), ends: make([]*time.Time, len(v.Steps))}
	for i := range presses {
		e := &presses[i]
		f.last = e
		switch at := e.At; {
		case e.Kind == store.EventArrive:
			f.arrived = &at
		case e.Kind == store.EventDone:
			f.done = &at
		case e.Ordinal == nil || *e.Ordinal >= len(v.Steps): // of a plan with more steps
		case e.Kind == store.EventStart:
			f.starts[*e.Ordinal] = &at
		default:
			f.ends[*e.Ordinal] = &at
		}
	}
	return f
}

// begun reports whether anything of a step was noted.
func (f *facts) begun() bool {
	for i := range f.starts {
		if f.starts[i] != nil || f.ends[i] != nil {
			return true
		}
	}
	return false
}

// mark is the beginning or the end of a step at the time that was noted.
type mark struct {
	step int
	end  bool
	at   time.Time
}

// marks lists what was noted of steps, in their order, with the end of the
// visit behind it.
func (f *facts) marks() []mark {
	var out []mark
	for i := range f.starts {
		if f.starts[i] != nil {
			out = append(out, mark{i, false, *f.starts[i]})
		}
		if f.ends[i] != nil {
			out = append(out, mark{i, true, *f.ends[i]})
		}
	}
	if last := len(f.ends) - 1; f.done != nil && len(out) > 0 && f.ends[last] == nil {
		out = append(out, mark{last, true, *f.done})
	}
	return out
}

// infer writes the real times of a visit: what was noted, and what follows from
// it. Of the steps that lie between two times that were noted each has taken its
// part of them, as much as it was planned for. Steps for which there was no time
// were passed over.
func (f *facts) infer(v *store.Visit) {
	for i := range v.Steps {
		v.Steps[i].RealStart, v.Steps[i].RealEnd = f.starts[i], f.ends[i]
	}
	marks := f.marks()
	if len(marks) == 0 {
		return
	}
	came := f.came(*v, marks[0])
	before := mark{-1, true, laterWithin(came, v.Start, marks[0].at)}
	for _, m := range marks {
		share(v.Steps, before, m)
		before = m
	}
	if f.stopped != nil { // whatever went on then, and nothing after it
		for i := range v.Steps {
			if st := &v.Steps[i]; st.RealStart != nil && st.RealEnd == nil {
				st.RealEnd = f.stopped
			}
		}
	}
}

// laterWithin is the later of a and b as long as it is not after limit, else the
// earlier of a and limit.
func laterWithin(a, b, limit time.Time) time.Time {
	switch {
	case b.After(a) && !b.After(limit):
		return b
	case a.After(limit):
		return limit
	}
	return a
}

// came is when the client came, at the latest: as it was noted, or else early
// enough for what had to be done before the first time that was noted.
func (f *facts) came(v store.Visit, first mark) time.Time {
	if f.arrived != nil {
		return *f.arrived
	}
	at := first.at
	for i, st := range v.Steps {
		if i < first.step || i == first.step && first.end {
			at = at.Add(-st.End.Sub(st.Start))
		}
	}
	return laterWithin(at, v.Start, first.at)
}

// share gives the steps between two marks their parts of the time between them.
func share(steps []store.VisitStep, a, z mark) {
	lo, hi := a.step, z.step
	if a.end {
		lo++
	}
	if !z.end {
		hi--
	}
	if lo > hi {
		return
	}
	room, planned := z.at.Sub(a.at), time.Duration(0)
	for _, st := range steps[lo : hi+1] {
		planned += st.End.Sub(st.Start)
	}
	at, gone := a.at, time.Duration(0)
	if lo < hi && room < time.Duration(hi-lo+1)*time.Minute { // nobody does a step in no time
		if !a.end {
			at = z.at
			happened(&steps[lo], a.at, at)
		}
		if z.end {
			happened(&steps[hi], at, z.at)
		}
		return
	}
	for i := lo; i <= hi; i++ {
		from := at
		gone += steps[i].End.Sub(steps[i].Start)
		at = a.at.Add(time.Duration(float64(room) * (float64(gone) / float64(planned)))).Truncate(time.Second)
		if i == hi {
			at = z.at
		}
		happened(&steps[i], from, at)
	}
}

// happened fills in what nobody noted of a step.
func happened(st *store.VisitStep, from, to time.Time) {
	if st.RealStart == nil {
		st.RealStart = &from
	}
	if st.RealEnd == nil {
		st.RealEnd = &to
	}
}

// guessed names the real times of step i that nobody noted.
func (f *facts) guessed(i int, st store.VisitStep) []string {
	var out []string
	if st.RealStart != nil && f.starts[i] == nil {
		out = append(out, "real_start")
	}
	if st.RealEnd != nil && f.ends[i] == nil {
		out = append(out, "real_end")
	}
	return out
}
