package delays

import (
	"cmp"
	"context"
	"slices"

	"chairblock/scheduling/openings"
)

// RemedyKind says what a remedy does.
type RemedyKind string

// Kinds of remedies, in the order in which they are tried and listed: what asks
// least of clients comes first.
const (
	RemedyHelper     RemedyKind = "helper"        // a second person shares a step, or does it instead of an assistant
	RemedyStation    RemedyKind = "other_station" // another basin or chair for a step that has not begun
	RemedyRearrange  RemedyKind = "rearrange"     // other times, order or units for what has not begun
	RemedyLater      RemedyKind = "ask_later"     // one client is asked to come later
	RemedyRebook     RemedyKind = "rebook"        // a visit is not started
	RemedyLastResort RemedyKind = "last_resort"   // what is left when nothing else helps
)

var remedyOrder = []RemedyKind{RemedyHelper, RemedyStation, RemedyRearrange, RemedyLater, RemedyRebook, RemedyLastResort}

// Remedy is a change to the day that helps. It never changes how long a phase
// takes that Care keeps, nor how long product stays on beyond what is allowed,
// and asks nobody to work faster.
type Remedy struct {
	Kind  RemedyKind
	Words string // what to do, for the person at the desk
	Asks  []Ask  // who has to agree
	// Changes are the visits whose phases to come differ from the plan that is
	// booked, in the order of Day.Visits.
	Changes []Change
	// Moved are the clients, by visit, whose visit begins at another minute, has
	// another stylist in charge or is put off.
	Moved []string
	// Removes are rules that would be broken without the remedy and are kept with
	// it, Left those that stay broken. Both leave out what has happened already.
	Removes, Left []Broken
	// LateMinutes and WaitingMinutes are those of After. Visits that are put off
	// are not counted.
	LateMinutes, WaitingMinutes openings.Minute
	// OpenUntil is the last minute for RemedyRebook; nil otherwise.
	OpenUntil *openings.Minute
	After     DayProjection
}

// finder looks for remedies for one day.
type finder struct {
	d    *Day
	o    Options
	s    *solver
	base *outlook
	left []Broken                  // of base
	solo map[int][]openings.Minute // starts by visit; see alone
	out  []Remedy
}

// Remedies returns what helps on a day on which rules would be broken, or which
// runs late: kind by kind in the order of the constants, inside a kind what
// leaves fewer rules broken, moves fewer clients and costs fewer minutes first.
// It is empty on a day that needs nothing.
//
// Every remedy has been projected anew and held against openings.Check; none
// breaks a rule that is kept without it, except that RemedyLastResort may ask
// people to stay past closing or to lose a break. The same day, options and seed
// give the same remedies unless ctx ends before.
//
// Remedies returns Faults that name the faulty fields of d or o, ErrTangled, and
// ctx's error together with what was found before ctx ended.
func (d Day) Remedies(ctx context.Context, o Options) ([]Remedy, error) {
	units, err := d.check()
	if err != nil {
		return nil, err
	}
	if o, err = o.check(); err != nil {
		return nil, err
	}
	f := &finder{d: &d, o: o, s: new(solver), solo: map[int][]openings.Minute{}}
	if f.base, err = newDraft(&d, units).look(f.s); err != nil {
		return nil, err
	}
	f.left = toCome(f.base.broken)
	if len(f.left) == 0 && f.base.late+f.base.waits < o.MinGain {
		return nil, nil
	}
	for _, look := range []func(context.Context) error{f.helpers, f.stations, f.rearrange, f.later, f.rebook, f.lastResort} {
		if err := ctx.Err(); err != nil {
			return f.sorted(), err
		}
		if err := look(ctx); err != nil {
			return nil, err
		}
	}
	return f.sorted(), nil
}

// toCome leaves out what has happened already.
func toCome(l []Broken) []Broken {
	return slices.DeleteFunc(slices.Clone(l), func(b Broken) bool { return b.Past })
}

// sorted orders the remedies and keeps the best of each kind.
func (f *finder) sorted() []Remedy {
	slices.SortStableFunc(f.out, func(a, b Remedy) int {
		return cmp.Or(cmp.Compare(slices.Index(remedyOrder, a.Kind), slices.Index(remedyOrder, b.Kind)),
			compareBroken(a.Left, b.Left), cmp.Compare(len(a.Moved), len(b.Moved)),
			cmp.Compare(a.LateMinutes+a.WaitingMinutes, b.LateMinutes+b.WaitingMinutes), cmp.Compare(a.Words, b.Words))
	})
	count := map[RemedyKind]int{}
	var out []Remedy
	for _, r := range f.out {
		if count[r.Kind] < f.o.Each && !slices.ContainsFunc(out, func(o Remedy) bool { return o.Kind == r.Kind && o.Words == r.Words }) {
			count[r.Kind]++
			out = append(out, r)
		}
	}
	return out
}

// compareBroken orders lists of broken rules: kind by kind from the gravest on,
// fewer minutes are better.
func compareBroken(a, b []Broken) int {
	for _, k := range gravity {
		if c := cmp.Compare(minutesOf(a, k), minutesOf(b, k)); c != 0 {
			return c
		}
	}
	return 0
}

func minutesOf(l []Broken, k BrokenKind) (n openings.Minute) {
	for i := range l {
		if l[i].Kind == k {
			n += l[i].Minutes
		}
	}
	return n
}

// try projects a changed day and returns its outlook when that is worth
// offering: no rule more is broken or broken by more, nobody is asked to be
// faster than by her own record, and something is better.
func (f *finder) try(dr *draft) (*outlook, error) {
	if f.hurries(dr) {
		return nil, nil
	}
	quick := *dr
	quick.mute = true
	o, err := quick.look(f.s)
	if err != nil {
		return nil, err
	}
	left := toCome(o.broken)
	if f.worse(left) {
		return nil, nil
	}
	better := compareBroken(left, f.left) < 0
	if len(f.left) == 0 {
		better = o.late+o.waits+f.o.MinGain <= f.base.late+f.base.waits
	}
	if !better || len(left) == 0 && !o.sound(false) {
		return nil, nil
	}
	return dr.look(f.s)
}

// worse reports whether left has a rule that is kept without the remedy, or
// breaks one by more.
func (f *finder) worse(left []Broken) bool {
	return slices.ContainsFunc(left, func(b Broken) bool {
		return !slices.ContainsFunc(f.left, func(a Broken) bool { return a.same(&b) && a.Minutes >= b.Minutes })
	})
}

// offer adds a remedy that try has found worth it.
func (f *finder) offer(kind RemedyKind, o *outlook, words string, asks []Ask) *Remedy {
	r := Remedy{Kind: kind, Words: words, Asks: asks, Left: toCome(o.broken), LateMinutes: o.late, WaitingMinutes: o.waits,
		After: o.projection()}
	for _, b := range f.left {
		if !slices.ContainsFunc(r.Left, func(a Broken) bool { return a.same(&b) }) {
			r.Removes = append(r.Removes, b)
		}
	}
	for _, p := range o.dr.visits {
		if p.moved(o) {
			r.Moved = append(r.Moved, p.v.ID)
		}
		if c, ok := o.change(p); ok {
			r.Changes = append(r.Changes, c)
		}
	}
	f.out = append(f.out, r)
	return &f.out[len(f.out)-1]
}
