package card

import (
	"fmt"
	"math"
	"time"
)

// Run is one stretch of time in which product is on the hair: a batch of
// solution, or the neutralizer.
type Run struct {
	Neutralizer bool
	First       time.Time  // when the first strand was wetted
	Applied     *time.Time // when the last strand was, nil while that is not known
	Off         *time.Time // when it was rinsed, nil while product is on
	Looks       []Look     // in the order of time
}

// Look is somebody looking at a strand.
type Look struct {
	At       time.Time
	Stretch  float64 // times its length, 0 when it was not stretched
	Returned *bool   // nil when nobody said
	Ready    bool
	Next     float64 // minutes until the next look, 0 for the salon's own
}

// State says what there is to do while product is on.
type State string

// States of a run.
const (
	StateOff        State = "off"         // rinsed
	StateWorking    State = "working"     // the next look is to come
	StateLookDue    State = "look_due"    // somebody has to look now
	StateLookLate   State = "look_late"   // somebody should have looked
	StateReady      State = "ready"       // it was found ready: rinse
	StateAtMaximum  State = "at_maximum"  // it has been on for as long as it may: rinse now
	StateTooWeak    State = "too_weak"    // stop, rinse, ask the licensed person
	StateWorkedLong State = "worked_long" // the neutralizer has worked for as long as it has to
)

// Watch is what to do next about a run. Times that do not apply are nil.
type Watch struct {
	State    State
	Minutes  int        // whole minutes since the first strand
	Next     *time.Time // the next look; of a neutralizer, when it may be rinsed
	Latest   *time.Time // no later than that
	AtMax    bool       // the next look is no look any more: rinse then, at the maximum
	WarnFrom *time.Time
	OffBy    *time.Time
	Flags    []Flag
}

// Watch says what to do about r at now. A look that found the hair not ready
// asks for the next one, but never past the maximum, at which it is rinsed
// instead.
func (l Limits) Watch(r Run, now time.Time) Watch {
	end := now
	if r.Off != nil && r.Off.Before(now) {
		end = *r.Off
	}
	w := Watch{State: StateWorking, Minutes: int(math.Floor(max(0, end.Sub(r.First).Minutes())))}
	if r.Off != nil && !now.Before(*r.Off) {
		w.State = StateOff
		return w
	}
	if r.Neutralizer {
		return l.neutralizing(w, r, now)
	}
	w.WarnFrom, w.OffBy = after(r.First, l.WarnAfter), after(r.First, l.OffAfter)
	w.Flags = l.Exposure(now.Sub(r.First).Minutes())
	due := l.nextLook(&w, r)
	if due == nil {
		if w.OffBy != nil && !now.Before(*w.OffBy) {
			w.State = StateAtMaximum
		}
		return w
	}
	latest := due.Add(minutes(l.LookGrace))
	w.Next, w.Latest = earlier(*due, w.OffBy), earlier(latest, w.OffBy)
	w.AtMax = w.OffBy != nil && !due.Before(*w.OffBy)
	switch {
	case w.State == StateTooWeak:
	case w.OffBy != nil && !now.Before(*w.OffBy):
		w.State = StateAtMaximum
	case w.State == StateReady:
	case now.After(*w.Latest):
		w.State = StateLookLate
	case !now.Before(*w.Next):
		w.State = StateLookDue
	}
	return w
}

// nextLook is when somebody looks next, not held against the maximum yet, or nil
// when no looks are asked for. Of hair that was found ready or too weak it is
// when that was.
func (l Limits) nextLook(w *Watch, r Run) *time.Time {
	if len(r.Looks) == 0 {
		return after(r.First, l.FirstLook)
	}
	last := r.Looks[len(r.Looks)-1]
	if weak := l.Elasticity(last.Stretch, last.Returned); len(weak) > 0 {
		w.State, w.Flags = StateTooWeak, append(weak, w.Flags...)
		return &last.At
	}
	if last.Ready {
		w.State = StateReady
		return &last.At
	}
	if last.Next > 0 {
		return after(last.At, last.Next)
	}
	return after(last.At, l.NextLook)
}

// neutralizing is Watch for a neutralizer, which nobody looks at. Before it is
// known that all of it is on, nothing is said of when it may be rinsed.
func (l Limits) neutralizing(w Watch, r Run, now time.Time) Watch {
	if r.Applied == nil {
		return w
	}
	if w.Next = after(*r.Applied, l.NeutralizerLeast); w.Next != nil && !now.Before(*w.Next) {
		w.State = StateWorkedLong
	}
	return w
}

// Words says a watch for people; clock writes a time as on the wall.
func (w Watch) Words(neutralizer bool, clock func(time.Time) string) []string {
	if neutralizer {
		return w.neutralizerWords(clock)
	}
	var out []string
	switch w.State {
	case StateOff:
		return []string{"Product is off."}
	case StateTooWeak:
		out = append(out, "Too weak: stop, rinse now, and ask the licensed person.")
	case StateAtMaximum:
		out = append(out, "Rinse now: product has been on for as long as it may.")
	case StateReady:
		out = append(out, "Ready: rinse now, no later than "+clock(*w.Latest)+".")
	case StateLookLate:
		out = append(out, "The check was due at "+clock(*w.Next)+", no later than "+clock(*w.Latest)+": check now.")
	case StateLookDue:
		out = append(out, "Check now, no later than "+clock(*w.Latest)+".")
	case StateWorking, StateWorkedLong:
		if w.Next != nil {
			out = append(out, "Check at "+clock(*w.Next)+", no later than "+clock(*w.Latest)+".")
		}
	}
	if w.AtMax && w.OffBy != nil && (w.State == StateWorking || w.State == StateLookDue || w.State == StateLookLate) {
		out = []string{"Rinse at " + clock(*w.OffBy) + ", at the maximum, ready or not."}
	}
	out = append(out, fmt.Sprintf("Product on first section %d min.", w.Minutes))
	if w.OffBy != nil && w.State != StateAtMaximum {
		out = append(out, "Off by "+clock(*w.OffBy)+" at the latest.")
	}
	return out
}

func (w Watch) neutralizerWords(clock func(time.Time) string) []string {
	switch {
	case w.State == StateOff:
		return []string{"Neutralizer is rinsed out."}
	case w.Next == nil:
		return []string{fmt.Sprintf("Neutralizer on for %d min.", w.Minutes)}
	case w.State == StateWorkedLong:
		return []string{"Neutralizer has worked since " + clock(*w.Next) + ": it may be rinsed."}
	}
	return []string{"Neutralizer working: rinse at " + clock(*w.Next) + ", not before."}
}

// after is so many minutes after t, nil for none.
func after(t time.Time, m float64) *time.Time {
	if m <= 0 {
		return nil
	}
	at := t.Add(minutes(m))
	return &at
}

func minutes(m float64) time.Duration { return time.Duration(m * float64(time.Minute)) }

func earlier(t time.Time, limit *time.Time) *time.Time {
	if limit != nil && limit.Before(t) {
		t = *limit
	}
	return &t
}
