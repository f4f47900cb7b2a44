package openings

import "slices"

// Settle moves the waits of a schedule towards its beginning, as far as the
// same units allow it: a client would rather wait before any product is on than
// between two steps after it. Start, end and units stay; the schedule that
// Assign returns waits as late as it can instead, because it takes every step
// at its earliest.
//
// The result passes Check whenever sch does.
func Settle(sch Schedule, spec VisitSpec, shop Shop) Schedule {
	out := sch
	out.Phases = slices.Clone(sch.Phases)
	for last := len(out.Phases) - 2; last > 0; {
		first := last // phases between which there may be no other wait move together
		for first > 0 && spec.Gaps[first-1].Min == spec.Gaps[first-1].Max {
			first--
		}
		if first == 0 {
			break
		}
		room := min(out.Phases[last+1].Start-out.Phases[last].End-spec.Gaps[last].Min,
			out.Phases[first-1].End+spec.Gaps[first-1].Max-out.Phases[first].Start)
		for by := room; by > 0; by-- {
			shift(out.Phases[first:last+1], by)
			if len(Check(out, spec, shop)) == 0 {
				break
			}
			shift(out.Phases[first:last+1], -by)
		}
		last = first - 1
	}
	return out
}

func shift(phases []Placed, by Minute) {
	for i := range phases {
		phases[i].Start += by
		phases[i].End += by
	}
}
