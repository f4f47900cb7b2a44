// Package needs says what a visit still needs before it may begin: a
// consultation, a skin test, a strand test, a deposit, a guardian's yes, consent;
// each with the latest time for it and whose turn it is.
//
// The list is worked out from what is on record, every time it is asked for:
// nothing that was listed once stays listed when it is done. What is not known
// counts as needed, so that more facts never make a list longer, but for those
// that speak against the visit: a positive skin test, a strand that stretched or
// snapped, a reaction, a consultation that says no. The licensed person's word that
// a visit may begin without something counts for what was on record when it was
// said: with other facts, on another day or with another product it has to be said
// again.
//
// Nothing here approves anything. The product maker's directions, local rules
// and the judgement of the licensed person come first.
package needs

import "time"

// Kind is what is needed.
type Kind string

// Kinds, in the order in which they are listed.
const (
	Consultation Kind = "consultation"
	PatchTest    Kind = "patch_test"  // the test on the skin, put on and read
	StrandTest   Kind = "strand_test" // the test on a strand of hair
	Deposit      Kind = "deposit"
	Guardian     Kind = "guardian" // a guardian's yes, and the licensed person's, for a minor
	Consent      Kind = "consent"
)

// Kinds lists every kind in its order.
func Kinds() []Kind { return []Kind{Consultation, PatchTest, StrandTest, Deposit, Guardian, Consent} }

// State says how far a need is.
type State string

// States of a need.
const (
	Missing    State = "missing"
	Waiting    State = "waiting"    // begun: somebody has to read it or to say a word
	Done       State = "done"       //
	Overridden State = "overridden" // the licensed person lets the visit begin without it
	Refused    State = "refused"    // the visit cannot begin, whoever says yes
)

// Owner is whose turn it is.
type Owner string

// Owners.
const (
	Desk         Owner = "desk"
	Stylist      Owner = "stylist"  // in charge of the visit
	Licensed     Owner = "licensed" // the licensed person has to decide
	ByClient     Owner = "client"
	ByGuardian   Owner = "guardian"
	nobodysTurn  Owner = ""
	askTheOwners       = "ask the stylist"
)

// Need is one thing that a visit needs.
type Need struct {
	Kind   Kind
	State  State
	Owner  Owner     // "" when it is done
	Latest time.Time // by when it has to be there
	// Why says in words for the stylist in charge and the owner where it stands.
	// It may speak of health.
	Why string
	// Basis stands for what the need was worked out from. As long as it is the
	// same, nothing has been noted and nothing has changed that an override could
	// not have known.
	Basis string
	// Final is set when no override may stand in for it.
	Final bool
	// Unreadable is set when it is open only because what is on record cannot be
	// read now: no reason to do anything to the visit by itself.
	Unreadable bool
	// By and At are those of an override.
	By string
	At time.Time
}

// Open reports whether the visit cannot begin because of the need.
func (n Need) Open() bool { return n.State != Done && n.State != Overridden }

// Overdue reports whether the need is open at now although its latest time is
// over.
func (n Need) Overdue(now time.Time) bool { return n.Open() && now.After(n.Latest) }

// Hidden reports whether those who do not see anybody's health hear no more of
// the need than that the stylist is to be asked.
func (n Need) Hidden() bool {
	health := n.Kind == Consultation || n.Kind == PatchTest || n.Kind == StrandTest
	return health && (n.State == Refused || n.State == Waiting && n.Owner == Licensed)
}

// Words names the need for anybody, without a word about health.
func (n Need) Words() string {
	if n.Hidden() {
		return askTheOwners
	}
	switch n.Kind {
	case Consultation:
		return "a consultation"
	case PatchTest:
		if n.State == Waiting {
			return "a look at the skin test"
		}
		return "a skin test"
	case StrandTest:
		return "a strand test"
	case Deposit:
		return "the deposit"
	case Guardian:
		if n.State == Waiting {
			return "the licensed person's yes, since the client is a minor"
		}
		return "the guardian's yes"
	case Consent:
		return "consent"
	}
	return string(n.Kind)
}

// Right says what has to happen for the need to be met, without a word about
// health. at writes a time for people.
func (n Need) Right(at func(time.Time) string) string {
	if n.Hidden() {
		return "the licensed person decides"
	}
	switch n.Kind {
	case Consultation:
		return "held and noted before anything else is done"
	case PatchTest:
		if n.State == Waiting {
			return "read and noted before the visit begins"
		}
		return "put on by " + at(n.Latest) + " and read before the visit begins"
	case StrandTest:
		return "made and noted before product is put on"
	case Deposit:
		return "received, carried over or waived"
	case Guardian:
		if n.State == Waiting {
			return "the name of the licensed person who agrees"
		}
		return "noted with who took it, when and how"
	case Consent:
		return "noted for the wording in use"
	}
	return "noted"
}

// FirstOpen lists what is open of a list, what can never be overridden first.
func FirstOpen(list []Need) []Need {
	var refused, open []Need
	for _, n := range list {
		switch {
		case n.State == Refused:
			refused = append(refused, n)
		case n.Open():
			open = append(open, n)
		}
	}
	return append(refused, open...)
}
