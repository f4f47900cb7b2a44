// Package screening is the consultation: what a client is asked before a
// service with chemicals, what can be answered, and what follows for booking.
//
// Nothing here approves anything. An outcome says that nothing in the answers
// speaks against booking, that the licensed person has to be asked, or that
// nothing may be booked; the product maker's directions, local rules and the
// judgement of the licensed person come first. No question asks for anybody's
// origin. Answers are health data: this package keeps none and writes none
// into an error.
package screening

// Level says what an outcome asks for, in rising order.
type Level string

// Levels of outcomes.
const (
	Clear     Level = "clear"       // nothing in the answers speaks against booking
	Ask       Level = "ask"         // the licensed person has to agree first
	DoNotBook Level = "do_not_book" // not to be booked
)

func (l Level) rank() int {
	switch l {
	case Clear:
		return 0
	case Ask:
		return 1
	case DoNotBook:
	}
	return 2 // what is not known counts as the strictest
}
