package delays

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"chairblock/scheduling"
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

// Ask is somebody who has to agree: a unit or the client of a visit.
type Ask struct{ Unit, Visit string }

// Change is what becomes of one visit. Schedule keeps every rule of Spec; both
// hold the whole visit, the past as it was.
type Change struct {
	Visit    string
	Spec     openings.VisitSpec
	Schedule openings.Schedule
	Help     *Help // who joins, in RemedyHelper
	Rebook   bool  // what has not begun is taken out of the day
}

// Options bound the search for remedies. The zero value is usable.
type Options struct {
	// Seed and Rounds are those of packing.Options. 0 rounds are 300.
	Seed   uint64
	Rounds int
	// PairFactor divides the rest of a step that a second person shares, 1.5 to
	// 2; 0 is 2, two equal pairs of hands (derived; less is judgement).
	PairFactor float64
	// MoveCost is what moving a client weighs against minutes late; 0 is 15
	// (judgement).
	MoveCost openings.Minute
	// MinGain is the least sum of minutes, late and waiting, that a remedy has
	// to save on a day on which no rule breaks; 0 is 5 (judgement).
	MinGain openings.Minute
	// LaterAtMost is by how many minutes a client may be asked to come later,
	// beyond which rebooking is the honest word; 0 is 120 (judgement).
	LaterAtMost openings.Minute
	// Overtime is how long past closing RemedyLastResort may ask people to stay;
	// 0 is 120 minutes (judgement).
	Overtime openings.Minute
	// Each is the largest number of remedies of a kind; 0 is 3.
	Each int
}

func (o Options) check() (Options, error) {
	var f scheduling.Faults
	if o.PairFactor != 0 {
		f.Between("pair_factor", o.PairFactor, 1.5, 2, "")
	}
	f.Count("rounds", o.Rounds, 0, 1_000_000)
	f.Count("move_cost", int(o.MoveCost), 0, 100_000)
	f.Count("min_gain", int(o.MinGain), 0, 1440)
	f.Count("later_at_most", int(o.LaterAtMost), 0, 1440)
	f.Count("overtime", int(o.Overtime), 0, 1440)
	f.Count("each", o.Each, 0, 100)
	o.PairFactor = cmp.Or(o.PairFactor, 2)
	o.Rounds, o.Each = cmp.Or(o.Rounds, 300), cmp.Or(o.Each, 3)
	o.MoveCost, o.MinGain = cmp.Or(o.MoveCost, 15), cmp.Or(o.MinGain, 5)
	o.LaterAtMost, o.Overtime = cmp.Or(o.LaterAtMost, 120), cmp.Or(o.Overtime, 120)
	return o, f.Err()
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
// Remedies returns Faults that name the faulty fields of d or o, and ctx's
// error.
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
		if err := cmp.Or(ctx.Err(), look(ctx)); err != nil {
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
// offering: no rule more is broken or broken by more, and something is better.
func (f *finder) try(dr *draft) (*outlook, error) {
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

// moved reports whether the client has to be asked or told: the visit is put
// off, begins at another minute than promised, or somebody else is in charge.
func (p *visitDraft) moved(o *outlook) bool {
	if p.rebooked {
		return true
	}
	if p.begun > 0 || p.n == 0 {
		return false
	}
	return p.told != nil && *p.told != p.v.bookedStart() || len(p.newPeople(o)) > 0
}

// newPeople lists the people who have a role in the visit that they did not
// have in the plan.
func (p *visitDraft) newPeople(o *outlook) []string {
	var out []string
	for _, r := range p.v.Spec.Roles {
		id := p.sch.Roles[r.Name]
		if id != p.v.Booked.Roles[r.Name] && person(o.dr.d.Shop.Units[o.dr.units[id]].Kind) {
			out = append(out, id)
		}
	}
	return out
}

// change writes down what becomes of the visit, and reports whether it differs
// from the plan.
func (o *outlook) change(p *visitDraft) (Change, bool) {
	c := Change{Visit: p.v.ID, Schedule: o.schedule(p), Rebook: p.rebooked}
	differs := p.rebooked
	c.Spec = p.v.Spec
	c.Spec.Phases, c.Spec.Gaps = slices.Clone(c.Spec.Phases), slices.Clone(c.Spec.Gaps)
	for i := range p.n {
		was, is := p.v.Booked.Phases[i], c.Schedule.Phases[i]
		c.Spec.Phases[i].Minutes = p.length[i]
		if h := p.helper[i]; h >= 0 {
			u := o.dr.d.Shop.Units[h]
			if i >= p.begun {
				c.Spec.Phases[i].Pool = append(slices.Clone(c.Spec.Phases[i].Pool), openings.Need{Kinds: []openings.UnitKind{u.Kind}, Only: []string{u.ID}})
			}
			c.Help = &Help{Phase: i, Unit: u.ID, From: max(p.helpFrom[i], is.Start), Minutes: p.length[i]}
			differs = true
		}
		if i > 0 {
			wait := is.Start - c.Schedule.Phases[i-1].End
			g := &c.Spec.Gaps[i-1]
			if i < p.begun { // whatever it was
				g.Min, g.Max = min(g.Min, max(wait, 0)), max(g.Max, wait)
			}
		}
		if i >= p.begun {
			differs = differs || was.Start != is.Start || was.End != is.End || !slices.Equal(was.Pool, is.Pool)
		}
	}
	if p.n > p.begun && p.begun == 0 {
		for _, r := range p.v.Spec.Roles {
			differs = differs || p.sch.Roles[r.Name] != p.v.Booked.Roles[r.Name]
		}
	}
	return c, differs
}

// says is what the remedy says of one visit: when it begins, with whom, where.
func (o *outlook) says(p *visitDraft) string {
	d := o.dr.d
	var parts []string
	if p.begun == 0 {
		if at := o.starts[p.index][0]; at != p.v.bookedStart() {
			parts = append(parts, fmt.Sprintf("begins at %s instead of %s", d.clock(at), d.clock(p.v.bookedStart())))
		}
		for _, id := range p.newPeople(o) {
			parts = append(parts, "is with "+d.unit(o.dr.units[id]))
		}
	}
	for i := p.begun; i < p.n; i++ {
		for k, id := range p.sch.Phases[i].Pool {
			if was := p.v.Booked.Phases[i].Pool[k]; was != id {
				parts = append(parts, fmt.Sprintf("has “%s” with %s instead of %s", p.v.phase(i), d.unit(o.dr.units[id]), d.unit(o.dr.units[was])))
			}
		}
	}
	for _, r := range p.v.Spec.Roles {
		id, was := p.sch.Roles[r.Name], p.v.Booked.Roles[r.Name]
		if u := o.dr.units[id]; id != was && !person(d.Shop.Units[u].Kind) {
			parts = append(parts, fmt.Sprintf("has %s instead of %s", d.unit(u), d.unit(o.dr.units[was])))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return p.v.words() + " " + list(parts)
}

// saysAll joins what is new for all visits.
func (o *outlook) saysAll() string {
	var parts []string
	for _, p := range o.dr.visits {
		if s := o.says(p); s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, "; ")
}
