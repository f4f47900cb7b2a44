package delays

import (
	"chairblock/scheduling/openings"
)

// BrokenKind says what sort of rule is not kept.
type BrokenKind string

// Kinds of broken rules, the gravest first.
const (
	BrokenOverrun BrokenKind = "overrun"      // a step that may not last longer than booked does
	BrokenProduct BrokenKind = "product_wait" // product stays on longer than allowed
	BrokenDouble  BrokenKind = "double_use"   // two clients need a unit at once
	BrokenStation BrokenKind = "station"      // a chair or basin is out of use or taken
	BrokenWait    BrokenKind = "wait"         // a client waits longer than allowed between two steps
	BrokenClosing BrokenKind = "closing"      // somebody works, or a client stays, past closing
	BrokenBreak   BrokenKind = "break"        // somebody loses a break or part of it
)

// Broken is a rule of the day that is not kept.
type Broken struct {
	Kind BrokenKind
	// Visit and Phase say whose step it is, of a wait the step before it; Unit is
	// the id of the unit, "" where it is none or the salon.
	Visit, Phase, Unit string
	// Minutes is by how much: minutes too many waited, worked past closing, lost
	// of the break, used together.
	Minutes openings.Minute
	// Past is true when it has happened already and nothing can mend it. That is
	// so of BrokenOverrun, too, about which somebody has to do something now.
	Past  bool
	Words string
	// Chain are the rules that forced it, in order, in words; empty when it is
	// only what happened.
	Chain []string
	is    limit
}

var gravity = []BrokenKind{BrokenOverrun, BrokenProduct, BrokenDouble, BrokenStation, BrokenWait, BrokenClosing, BrokenBreak}

// over reports whether nobody has to do anything about it any more.
func (x *Broken) over() bool { return x.Past && x.Kind != BrokenOverrun }

// same reports whether a and b are the same rule.
func (x *Broken) same(b *Broken) bool {
	return x.Kind == b.Kind && x.Visit == b.Visit && x.Phase == b.Phase && x.Unit == b.Unit && x.is.index == b.is.index && x.is.phase == b.is.phase
}

// explain adds what forced it.
func (x *Broken) explain(up []given) {
	for _, g := range up {
		match := g.severity == x.is.severity && g.unit == x.is.unit && g.index == x.is.index
		if x.Kind == BrokenWait || x.Kind == BrokenProduct {
			match = match && g.visit == x.is.visit && g.phase == x.is.phase
		}
		if !match {
			continue
		}
		x.Chain = g.chain
		if g.cause != "" && (x.Kind == BrokenWait || x.Kind == BrokenProduct) {
			x.Words += ": " + g.cause
		}
		return
	}
}
