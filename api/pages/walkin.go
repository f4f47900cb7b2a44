package pages

import (
	"net/url"
	"strings"
)

// Names of the fields of the walk-in form.
const (
	FieldWalkService = "walk_service"
	FieldWalkName    = "walk_name"
	FieldWalkKey     = "walk_key"
)

// WalkIn is the form on the board that books somebody who is here: a service and
// a first name, nothing else.
type WalkIn struct {
	Action   string   // path that the form posts to
	Services []Option // those that take the same time on any hair
	Tested   []string // names of services that need a skin test beforehand, which are booked by name
	Key      string   // idempotency key
	// Service and Name are what was typed, Error why it was not booked.
	Service, Name, Error string
	// Done says what was booked.
	Done string
}

// ReadWalkIn takes the form's values as they were typed.
func ReadWalkIn(v url.Values) WalkIn {
	return WalkIn{Service: v.Get(FieldWalkService), Name: v.Get(FieldWalkName), Key: v.Get(FieldWalkKey)}
}

func (w *WalkIn) action() string {
	if w == nil {
		return ""
	}
	return w.Action
}

// TestedWords says what is not in the list and why, "" when all is.
func (w *WalkIn) TestedWords() string {
	if len(w.Tested) == 0 {
		return ""
	}
	return "Not without a skin test: " + strings.Join(w.Tested, ", ") + ". Book these under her name."
}

// Fields are the controls of the form.
func (w *WalkIn) Fields() []Field {
	return []Field{
		Select(FieldWalkService, "Walked in for", "", w.Service, w.Services, "choose"),
		Input(FieldWalkName, "First name", "", "text", w.Name),
	}
}
