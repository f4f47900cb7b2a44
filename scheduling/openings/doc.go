// Package openings finds every start at which a whole visit fits around
// everything that is already promised, and turns a start into a schedule.
//
// A visit is a chain of phases with waits between them; the other visits are
// fixed in time. So a backward pass over sets of start minutes is exact. It is
// made with bit sets as wide as the free runs that are long enough, by blocks of
// the visit that move as a whole; interval lists find the least stay from a
// start. A Snapshot holds the free time of every unit, worked out beforehand, and
// is meant to be kept: With replaces one unit in microseconds. Check
// is independent of the search and is held against every schedule before it is
// stored.
package openings
