package needs

import (
	"slices"
	"time"
)

// worse orders states by how far they keep a visit from beginning.
func worse(a, b Need) bool {
	rank := func(n Need) int {
		return slices.Index([]State{Done, Overridden, Waiting, Missing, Refused}, n.State)
	}
	return rank(a) > rank(b)
}

// patchTest is the worst of the tests that the products of the visit ask for.
func (l *list) patchTest() (Need, bool) {
	asked := l.asked(l.r.PatchTestFor)
	scope := l.r.PatchTestFor
	if !asked { // a test that spoke against the product counts all the same
		scope = ForChemical
	}
	return l.worstOf(scope, asked, l.patchTestOf)
}

// worstOf is the worst of the tests of the products used in scope, and whether
// there is one that counts: a test that nobody asks for does only when it refuses.
func (l *list) worstOf(scope Scope, asked bool, test func(use) Need) (Need, bool) {
	var worst Need
	for i, u := range l.uses(scope) {
		if n := test(u); i == 0 || worse(n, worst) {
			worst = n
		}
	}
	return worst, worst.Kind != "" && (asked || worst.State == Refused)
}

// patchTestOf is the skin test for u. A positive one counts for ever, an unclear
// one until it is read again or a later test was negative.
func (l *list) patchTestOf(u use) Need {
	n := Need{Kind: PatchTest, State: Missing, Owner: Stylist, Latest: before(l.v.Start, l.r.PatchTestHours),
		Final: !l.r.PatchTestOverride, Why: "no skin test with " + u.words() + " counts for the visit"}
	tests := slices.DeleteFunc(slices.Clone(l.c.PatchTests), func(t Patch) bool {
		if t.Result == Positive || t.Result == Unclear { // speaks against all that it may have been made with
			return !u.mayBe(t)
		}
		return !u.is(t.Product) || u.family != "" && t.Family != "" && u.family != t.Family
	})
	slices.SortStableFunc(tests, func(a, b Patch) int { return a.PutOn.Compare(b.PutOn) })
	if l.c.Unreadable {
		n.Final, n.Unreadable, n.Why = true, true, unreadable
	}
	base := n
	for _, t := range tests {
		switch m := l.read(t, base); {
		case t.Result == Positive:
			return m
		case m.State == Done, m.State == Refused, m.State == Waiting && n.State == Missing:
			n = m
		case m.State == Missing && n.State == Missing:
			n.Why = m.Why
		}
	}
	return n
}

// read is what n becomes by test t alone.
func (l *list) read(t Patch, n Need) Need {
	voided := !t.PutOn.After(l.reacted())
	switch {
	case t.Result == Positive:
		n.State, n.Owner, n.Latest, n.Final, n.Why = Refused, Licensed, l.v.Start, true, "a skin test was positive"
	case t.Result == Unclear: // a reaction since makes it no better
		n.State, n.Owner, n.Latest, n.Final, n.Why = Refused, Licensed, l.v.Start, true, "a skin test was unclear and has to be read again"
	case voided:
		n.Why = "the skin test was made before a reaction and counts no more"
	case !l.within(t.PutOn, l.r.PatchTestValidDays):
		n.Why = "the skin test is too old for the visit"
	case t.PutOn.After(before(l.v.Start, l.r.PatchTestHours)):
		n.Why = "the skin test was put on too late for the visit"
	case t.Result == Unread:
		n.State, n.Latest, n.Final, n.Why = Waiting, l.v.Start, !l.r.PatchTestOverride, "the skin test has to be read"
	case t.Result == Negative && t.Read.Before(t.PutOn.Add(hours(l.r.PatchTestReadHours))):
		n.State, n.Latest, n.Why = Waiting, l.v.Start, "the skin test was read too soon and has to be read again"
	case t.Result == Negative:
		n.State, n.Owner, n.Why = Done, nobodysTurn, "a skin test with "+t.Name+" counts"
	}
	return n
}

// strandTest is needed when the consultation says so or does not say no, for
// damaged hair whatever it says, which does not ask about that, for a correction,
// and for new clients when the salon wants it. A strand that snapped counts whether one
// was needed or not, until a later test, made long enough afterwards, was fine.
func (l *list) strandTest() (Need, bool) {
	c := l.consulted()
	asked := l.asked(l.r.StrandTestFor) && (c == nil || !c.allows() || c.StrandTest || l.damaged() || l.r.StrandTestForNew && !l.c.Treated)
	scope := l.r.StrandTestFor
	if corrects := !l.v.Corrects.IsZero() && l.asked(ForChemical); corrects && !asked {
		asked, scope = true, ForChemical
	}
	if !asked {
		scope = ForChemical
	}
	return l.worstOf(scope, asked, l.strandTestOf)
}

// damaged reports whether hair that a strand test is asked for is damaged.
func (l *list) damaged() bool {
	return slices.ContainsFunc(l.v.Services, func(s Service) bool { return s.Damaged && s.in(l.r.StrandTestFor) })
}

// strandTestOf is the strand test for u.
func (l *list) strandTestOf(u use) Need {
	n := Need{Kind: StrandTest, State: Missing, Owner: Stylist, Latest: before(l.v.Start, l.r.StrandTestHours),
		Why: "no strand test with " + u.words() + " counts for the visit"}
	if l.c.Unreadable {
		n.Final, n.Unreadable, n.Why = true, true, unreadable
	}
	tests := slices.DeleteFunc(slices.Clone(l.c.StrandTests), func(t Strand) bool { return t.Result != Snapped && !u.is(t.Product) })
	slices.SortStableFunc(tests, func(a, b Strand) int { return a.Made.Compare(b.Made) })
	var snapped time.Time
	for _, t := range tests {
		switch {
		case t.Result == Snapped:
			snapped = t.Made
		case t.Result == Fine && !snapped.IsZero() && t.Made.Sub(snapped) >= hours(24*float64(l.r.StrandTestValidDays)):
			snapped = time.Time{}
		}
	}
	if !snapped.IsZero() {
		n.State, n.Owner, n.Latest, n.Final, n.Why = Refused, Licensed, l.v.Start, true, "a strand snapped in the test"
		return n
	}
	if len(tests) == 0 {
		return n
	}
	switch t := tests[len(tests)-1]; {
	case !l.within(t.Made, l.r.StrandTestValidDays):
		n.Why = "the strand test is too old for the visit"
	case t.Made.Before(l.v.Corrects):
		n.Why = "the strand test was made before the visit that is corrected"
	case t.Result == Fine:
		n.State, n.Owner, n.Why = Done, nobodysTurn, "a strand test with "+t.Name+" was fine"
	case t.Result == Stretched:
		n.State, n.Owner, n.Latest, n.Why = Waiting, Licensed, l.v.Start, "a strand stretched too far: the licensed person decides"
	}
	return n
}

const unreadable = "tests are on record that cannot be read now"

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
