// Package card judges what is written on the record card of a visit: an iron
// setting, how dry the hair was, how long product stayed on, how far a strand
// stretched. It never refuses a fact: a card that refuses facts breeds false
// cards. It says what lies outside a limit, how grave that is, and whether a
// reason is asked for. While product is on it says when the next look is due
// and when the product has to be off.
//
// Nothing here approves anything. The product maker's directions, local rules
// and the licensed person's judgement come before every figure, and where the
// maker's figure is known it takes the place of the salon's.
package card
