// Package ranking says what an opening costs: the visits of the salon's usual
// mix that no longer fit beside it, the distance to the wish, the stay, the slack
// that is left. It is pure and deterministic.
//
// The winner is exact: every candidate has a bound that its cost cannot be
// below, and none is left out while its bound is not above the cost of the
// worst that is returned. So the answer never depends on a short list.
//
// It places visits with a small engine of its own, because it has to place
// thousands of standard visits for one answer; its placements are those of
// openings.StartSet.Assign and openings.Settle.
package ranking
