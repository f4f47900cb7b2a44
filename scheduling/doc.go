// Package scheduling is the pure core of chairblock: it works out chair time
// from a head of hair, finds the openings at which a whole visit fits around
// everything already promised, and derives the dates of aftercare and retouch.
//
// It knows no database, no clock and no network. Callers hand in values and
// get values back. Where a number is a fact of the trade, its source stands
// beside it; "common practice" means that no source was found, "derived" that
// it follows from other numbers, "judgement" that it is a default which the
// salon may change.
//
// Nothing here is medical, legal or product advice: the product maker's
// directions, local codes and the licensed person's judgement come first.
package scheduling
