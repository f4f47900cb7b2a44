// Package ranking says what an opening costs: the visits of the salon's usual
// mix that no longer fit beside it, the distance to the wish, the stay, the slack
// that is left. It is pure and deterministic.
package ranking
