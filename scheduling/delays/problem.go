// Package delays works out what a late day still allows: the least starts of
// everything that has not begun, the rules that cannot be kept with the chain
// that forces them, and remedies that leave chemistry alone. It proposes and
// never acts, and knows no clock.
package delays

import "chairblock/scheduling/openings"

// Piece is a piece of work or of waiting in the order that is planned.
type Piece struct {
	ID      string
	Minutes openings.Minute // at least 1
	// Planned is the start of the plan, for messages only; nil when there is none.
	Planned *openings.Minute
	// NotBefore is the earliest start: a client who was asked for ten is not
	// there at nine.
	NotBefore openings.Minute
	// Fixed is the start of a piece that has begun and cannot move.
	Fixed *openings.Minute
	// Closed are windows that the piece may not touch.
	Closed []openings.Span
}

// Link is the rule Min <= start(After) - end(Before) <= Max between two pieces;
// Max nil is no limit. Why says in words where it comes from.
type Link struct {
	Before, After string
	Min           openings.Minute
	Max           *openings.Minute
	Why           string
}

// Problem is a day in progress.
type Problem struct {
	Minutes openings.Minute // length of the horizon; no piece ends later
	Now     openings.Minute
	Pieces  []Piece
	Links   []Link
}
