package api

import (
	"encoding/json"
	"fmt"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// HoursOrAsk is until how many hours before a visit a client may do something by
// herself; null means that she asks the salon. The zero value is left out.
type HoursOrAsk struct {
	hours    int
	ask, set bool
}

// ownHours is a sensible notice to begin with, that of the deposit (judgement).
const ownHours = 48

// mostOwnHours is a year of 365 days (judgement).
const mostOwnHours = 8760

// HoursBefore lets clients do it until n hours before a visit; with nil they ask the
// salon.
func HoursBefore(n *int) HoursOrAsk {
	if n == nil {
		return HoursOrAsk{ask: true, set: true}
	}
	return HoursOrAsk{hours: *n, set: true}
}

// Hours are those before a visit, nil where clients ask the salon or nothing was
// said.
func (h HoursOrAsk) Hours() *int {
	if h.ask || !h.set {
		return nil
	}
	return &h.hours
}

// IsZero reports that nothing was said.
func (h HoursOrAsk) IsZero() bool { return !h.set }

// MarshalJSON writes the hours or null.
func (h HoursOrAsk) MarshalJSON() ([]byte, error) {
	if h.ask || !h.set {
		return []byte("null"), nil
	}
	return json.Marshal(h.hours)
}

// UnmarshalJSON reads whole hours or null.
func (h *HoursOrAsk) UnmarshalJSON(doc []byte) error {
	*h = HoursOrAsk{set: true, ask: string(doc) == "null"}
	if h.ask {
		return nil
	}
	if err := json.Unmarshal(doc, &h.hours); err != nil {
		return fmt.Errorf("hours or null: %w", err)
	}
	return nil
}

// Schema describes the hours.
func (h HoursOrAsk) Schema(huma.Registry) *huma.Schema {
	least, most := 0.0, float64(mostOwnHours)
	return &huma.Schema{Type: huma.TypeInteger, Nullable: true, Minimum: &least, Maximum: &most}
}

// check notes hours that no salon can mean.
func (h HoursOrAsk) check(f *scheduling.Faults, field string) {
	if h.set && !h.ask {
		f.Count(field, h.hours, 0, mostOwnHours)
	}
}

// allows reports whether a client may do by herself what h is about, at now with a
// visit at start.
func (h HoursOrAsk) allows(start, now time.Time) bool {
	return h.set && !h.ask && start.Sub(now) >= time.Duration(h.hours)*time.Hour && start.After(now)
}

// mayCancel reports whether the client may call v off by herself at now. Visits
// that belong together are the salon's to part.
func (n salonDay) mayCancel(v store.Visit, now time.Time) bool {
	if v.State == store.Held { // is nobody's yet
		return v.Group == nil && now.Before(v.Start)
	}
	return v.State == store.Booked && v.Group == nil && n.rules.ClientCancels.allows(v.Start, now)
}

// mayMoveHerself reports the same for another time.
func (n salonDay) mayMoveHerself(v store.Visit, now time.Time) bool {
	return v.State == store.Booked && v.Group == nil && n.rules.ClientMoves.allows(v.Start, now)
}
