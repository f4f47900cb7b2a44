package api

import (
	"time"

	"chairblock/api/notify"
)

// messageDetail is what a message has to know beside its visit, as it is kept with
// the message that waits. It holds ids and times only: names are read when the
// message is sent, and nothing about health belongs here.
type messageDetail struct {
	LateMinutes int             `json:"late_minutes,omitempty"` // running_late
	Starts      *time.Time      `json:"new_start_at,omitempty"` // running_late: when it will begin
	Leads       []string        `json:"leads,omitempty"`        // moved: stylists in charge before
	Changes     []messageChange `json:"changes,omitempty"`      // day_changed
	Helper      string          `json:"helper_id,omitempty"`    // helper_away: who is away
	Visits      []string        `json:"visit_ids,omitempty"`    // helper_away: visits that the absence hits
	CheckAt     *time.Time      `json:"check_at,omitempty"`     // check_due
	CheckBy     *time.Time      `json:"check_by,omitempty"`     // check_due: the last moment for it
	Station     string          `json:"station_id,omitempty"`   // check_due: the chair or basin
}

// messageChange is one visit of a day that has changed.
type messageChange struct {
	Visit  string            `json:"visit_id"`
	What   notify.ChangeWhat `json:"what"`
	Before *time.Time        `json:"before_at,omitempty"` // the start it had, when it was moved
}
