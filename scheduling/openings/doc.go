// Package openings finds every start at which a whole visit fits around
// everything that is already promised, and turns a start into a schedule.
//
// A visit is a chain of phases with waits between them; the other visits are
// fixed in time. So a backward pass over sets of start minutes is exact. Check
// is independent of the search and is held against every schedule before it is
// stored.
package openings
