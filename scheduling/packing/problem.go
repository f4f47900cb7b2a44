// Package packing puts a set of visits into the time that a shop has left: as
// much value as fits, or everything as early as it can end. It proposes and
// never acts, and knows no clock and no clients.
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
