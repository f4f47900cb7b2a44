// Package packing puts a set of visits into the time that a shop has left: as
// much value as fits, or everything as early as it can end. It proposes and
// never acts, and knows no clock and no clients.
//
// Several searches share one best packing. A packer takes visits out and puts
// them back, each at the best of all places that others leave it (insert.go,
// recreate.go). A reordering frees a few visits and lets the others move aside
// in the order they have (orders.go, branch.go, reorder.go). For few visits an
// exact search goes through all choices (exact.go), cut short by what the
// working time allows (bound.go, crowd.go); when it ends, the best is proven.
//
// In the words of a general solver a problem is this. For every request r there
// is a bool served[r], and for every phase i a start t[r,i], for every role k a
// unit u[r,k], for every pool entry e of a phase a unit u[r,i,e]. If served[r]:
//
//   - t[r,0] is a multiple of Grid within From..To, and the last end is at most
//     EndBy; first start and last end lie in one opening window.
//   - Gap.Min <= t[r,i+1] - t[r,i] - Minutes <= Gap.Max.
//   - Units are candidates of their Need, u[r,0] one of LeadOnly; roles have
//     different units, and so have all that work in one phase.
//   - A unit is in use during the phases of its role, the waits that hold it, and
//     the phase of its pool entry: each use lies inside Open, outside Breaks, and
//     ends Clearing(kind, Changeover) before the next Booking and begins
//     Booking.Clear after the last one. A use that lasts no time counts for
//     nothing.
//   - Of two uses of one unit by different requests one comes after the other and
//     its clearing.
//
// Links hold if both are served, and both are or neither. The value is the sum
// over served requests of Value, less Move + PerMinute * |t[r,0] - start today|
// where Stay is given and anything differs from it; a place equal to Stay need
// not be on the grid. The makespan is the last end, all being served.
package packing

import "chairblock/scheduling/openings"

// Objective says which packing is best.
type Objective string

// Objectives of a packing.
const (
	// MaxValue takes any subset of the requests; the sum of their values, less
	// what moving costs, is to be as large as possible.
	MaxValue Objective = "max_value"
	// MinMakespan serves every request; the last end is to be as early as
	// possible.
	MinMakespan Objective = "min_makespan"
)

// Request is a visit that wants a place.
type Request struct {
	ID    string
	Name  string // of the visit's template in a problem file, for messages
	Visit openings.VisitSpec
	// Value is what serving the request is worth, at least 0, in one currency
	// for all requests (minutes, cents).
	Value int
	// Query bounds the start, its grid and the end.
	Query openings.Query
	// LeadOnly are the ids that the first role may have; empty means any.
	LeadOnly []string
	// Stay is where the request stands today, nil when it has no place yet. A
	// place that differs costs Move, and PerMinute for every minute between the
	// two starts.
	Stay            *openings.Schedule
	Move, PerMinute int
	// Must is true when no packing without the request counts.
	Must bool
}

// Link ties two requests together: both are served or neither, and with From
// "start" Min <= start(B) - start(A) <= Max, with From "end"
// Min <= start(B) - end(A) <= Max.
type Link struct {
	A, B     string // ids of requests
	From     string // start or end
	Min, Max openings.Minute
	// OtherLead is true when both may not have the same unit in their first role.
	OtherLead bool
}

// Problem is a set of requests for one shop.
type Problem struct {
	Shop      openings.Shop
	Requests  []Request
	Links     []Link
	Objective Objective
}
