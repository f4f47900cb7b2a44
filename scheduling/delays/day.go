package delays

import (
	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// Day is a day in progress: what was booked, what really happened, and what the
// shop has. All minutes count from the origin of one horizon of a day; nothing
// here looks at a clock.
type Day struct {
	// Shop has breaks, absences and opening windows. The visits below must not
	// be among the bookings of its units; any other booking stays where it is.
	Shop openings.Shop
	// Clock gives minutes their time of day in words; the zero value counts
	// them from midnight.
	Clock openings.Horizon
	Now   openings.Minute
	// Visits are those of the day, whatever has become of them.
	Visits []Visit
	Names  map[string]string // of units, for words; the id where there is none
}

// Visit is one client's day.
type Visit struct {
	ID   string
	Name string // for words, such as a first name and an initial
	Spec openings.VisitSpec
	// Booked is where the visit stands in the plan.
	Booked openings.Schedule
	// Care and Labels are by phase, both empty for a visit that has nothing to
	// be careful about; see CareOf. An empty label is the name of the phase.
	Care   []Care
	Labels []string
	// NotBefore is the earliest minute at which the client can be there; nil is
	// the booked start.
	NotBefore *openings.Minute
	Arrived   *openings.Minute // nil when the client is not there yet
	// Happened is what really happened, by phase, empty when nothing did. A
	// phase without start before one that has begun was passed over; one without
	// end before another that has begun ended when that began.
	Happened []Happened
	// Ended is true when nothing more will happen: finished, stopped early,
	// cancelled, did not come.
	Ended bool
	// Helps are second pairs of hands that were found on the day.
	Helps []Help
}

// Happened is when a phase really began and ended, nil where it did not yet.
type Happened struct {
	Start, End *openings.Minute
	// Until is before when a phase that is going on does not end, whatever it was
	// booked for: somebody looked and found the hair not ready. Nil when nothing
	// is known.
	Until *openings.Minute
}

// Help is a second person who shares a phase from a minute on, the beginning of
// the phase or later. Minutes is how long the whole phase takes with that help.
type Help struct {
	Phase   int
	Unit    string
	From    openings.Minute
	Minutes openings.Minute
}

// VisitOf returns a visit of the day from the plan that it was booked with.
func VisitOf(id, name string, plan *openings.VisitPlan, booked openings.Schedule) Visit {
	v := Visit{ID: id, Name: name, Spec: plan.Spec, Booked: booked, Care: CareOf(plan)}
	for _, st := range plan.Steps {
		v.Labels = append(v.Labels, st.Label)
	}
	return v
}

// phase names phase i in words.
func (v *Visit) phase(i int) string {
	if i < len(v.Labels) && v.Labels[i] != "" {
		return v.Labels[i]
	}
	return scheduling.StepKind(v.Spec.Phases[i].Name).Words()
}

func (v *Visit) care(i int) Care {
	if i < len(v.Care) {
		return v.Care[i]
	}
	return Care{}
}

// bookedStart and bookedEnd are those of the whole visit.
func (v *Visit) bookedStart() openings.Minute { return v.Booked.Phases[0].Start }
func (v *Visit) bookedEnd() openings.Minute   { return v.Booked.Phases[len(v.Booked.Phases)-1].End }

// notBefore is the earliest minute at which the client can be there.
func (v *Visit) notBefore() openings.Minute {
	if v.NotBefore != nil {
		return *v.NotBefore
	}
	return v.bookedStart()
}

// words names the visit by its client.
func (v *Visit) words() string {
	if v.Name != "" {
		return v.Name
	}
	return "visit " + v.ID
}
