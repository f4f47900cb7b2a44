// Package scheduling is the vocabulary of the pure core of chairblock: services
// and their steps, faults of input, civil dates and clock times as instants,
// and the dates that follow from a visit. Its sub-packages do the work:
// chairtime turns a head of hair into minutes, openings fits a visit around
// everything already promised.
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
