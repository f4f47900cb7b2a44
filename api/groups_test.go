package api_test

import (
	"fmt"
	"time"

	"chairblock/api"
)

// visitOf is an entry of a group: a visit of a new client.
func (s *salon) visitOf(name string, at time.Time, services ...object) object {
	s.t.Helper()
	return object{"book": object{"client_id": s.client(name), "start": at, "services": services, "approved_by": "Ada"}}
}

// visit books straightening for a new client and returns the id.
func (s *salon) visit(name string, at time.Time) string {
	s.t.Helper()
	v, _ := s.book(s.client(name), at, s.straightening())
	return v.ID
}

// group books visits that belong together.
func (s *salon) group(how string, visits ...object) api.GroupBody {
	s.t.Helper()
	var g api.GroupBody
	s.call("POST", "/v1/visit-groups", object{"how": how, "visits": visits}, "Idempotency-Key", fmt.Sprintf("k%d", bookings.Add(1))).is(201, &g)
	return g
}
