// Package board holds what goes with the day board: the week at a glance, quick
// answers of the search for clients, the keys, and undoing what was done last. The
// board itself is drawn by package api.
package board
