package scheduling

import (
	"fmt"
	"slices"
)

// HeldAfter is what is kept for the client during the wait after step i: what
// the step says, and otherwise the chair as long as the client sits in it, that
// is until nothing but the desk follows.
func (s Service) HeldAfter(i int) []Held {
	if held := s.Steps[i].Held; len(held) > 0 {
		return held
	}
	return []Held{s.usuallyHeld(i)}
}

func (s Service) usuallyHeld(i int) Held {
	if s.mayLeave(i) {
		return HeldNothing
	}
	return HeldChair
}

// mayLeave reports whether the client may leave the chair after step i: all that
// follows, if only the step itself, takes place at the desk.
func (s Service) mayLeave(i int) bool {
	rest := s.Steps[i+1:]
	if len(rest) == 0 {
		rest = s.Steps[i:]
	}
	return !slices.ContainsFunc(rest, func(st Step) bool { return st.Where != AtDesk })
}

// TidyHeld leaves out of the steps of s what is held anyway, so that it follows
// when a later step moves to the desk.
func (s Service) TidyHeld() {
	for i := range s.Steps {
		if st := &s.Steps[i]; slices.Equal(st.Held, []Held{s.usuallyHeld(i)}) {
			st.Held = nil
		}
	}
}

// checkHeld notes what cannot be held after step i.
func (s Service) checkHeld(f *Faults, i int) {
	st := s.Steps[i]
	for k, h := range st.Held {
		at := fmt.Sprintf("steps[%d].held_while_waiting[%d]", i, k)
		switch {
		case slices.Contains(st.Held[:k], h):
			f.Addf(at, "each of them once", "is %q again", h)
		case h == HeldNothing && len(st.Held) > 1:
			f.Add(at, "is nothing beside something", "nothing alone, or what is held")
		case h == HeldNothing && !s.mayLeave(i):
			f.Add(at, "is nothing although the client still sits in the chair", "nothing only where all that follows is at the desk")
		case h == HeldBasin && st.Where != AtBasin:
			f.Addf(at, "basin only after a step at the basin", "is basin after a step at the %s", st.Where)
		case !slices.Contains([]Held{HeldChair, HeldBasin, HeldLead, HeldNothing}, h):
			f.Addf(at, "chair, basin, lead or nothing", "is %q", h)
		}
	}
}
