// Package problemfile reads the JSON files in which problems of openings,
// packing and delays are asked without a database.
//
// Every file is one object of schema openings/1 whose member task says what is
// asked. Times are whole real minutes since origin, intervals are [from, to).
// Lists that are null or absent are empty. The answer that a file may carry, in
// expect, is not looked at, nor are members that the schema does not know,
// unless they look like a misspelling of one that it does.
//
// The bookings of a file are promises that were made: two of one unit that
// overlap are a fault. The changeover of a unit is also the clearing after each
// of its bookings.
package problemfile
