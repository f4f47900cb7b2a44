package openings

// Minute is a whole real minute counted from the origin instant of a horizon.
// A day on which clocks change has 1380 or 1500 of them.
type Minute int32

// Span is the half-open interval [From, To).
type Span struct{ From, To Minute }

// UnitKind is the kind of a person or station, one of the constants below or
// a kind that the salon added.
type UnitKind string

// Kinds that every salon has.
const (
	Stylist   UnitKind = "stylist"
	Assistant UnitKind = "assistant"
	Chair     UnitKind = "chair"
	Basin     UnitKind = "basin"
)

// Booking is time that another visit uses on a unit, followed by Clear minutes
// of clearing during which no other visit may use it.
type Booking struct {
	From, To Minute
	Clear    Minute
	// Leads is true when the unit is in charge of that visit, Estimated when the
	// visit's minutes come from an estimate; Visit is its id, "" when it does not
	// matter. No search looks at the three, see VisitPlan.Shared.
	Leads, Estimated bool
	Visit            string
}

// Unit is one person or station over the horizon.
type Unit struct {
	ID     string
	Kind   UnitKind
	Skills []string
	// LeavesOut are the kinds of steps that a person does not do. No search looks
	// at them, see VisitPlan.LeaveOut.
	LeavesOut []string
	// Open are the windows in which the unit may be used, Breaks the times
	// inside them in which it may not (breaks, absences, closures). No clearing
	// time is kept next to either.
	Open, Breaks []Span
	// Bookings are the uses by other visits.
	Bookings []Booking
	// Bays are the stretches in which the unit is away from a visit that it
	// leads, see Bays. No search looks at them.
	Bays []Bay
	// Changeover is the clearing that a visit keeps free after its own use of
	// the unit, in minutes, unless the visit says otherwise (VisitSpec.Clear).
	Changeover Minute
}

// Shop is what a search looks at: the salon's opening windows and its units,
// from minute 0 to Minutes. Touching premises windows count as one.
type Shop struct {
	Minutes  Minute
	Premises []Span
	Units    []Unit
}

// Need says which units can do a job: any of Kinds, with all of Skills, one of
// Only when that is not empty, and none of Except. The order of Kinds is the
// order of preference when several fit equally well.
type Need struct {
	Kinds  []UnitKind
	Skills []string
	Only   []string
	Except []string
}

// Role is one unit for the whole visit. Two roles of a visit are never the
// same unit.
type Role struct {
	Name string
	Need
}

// Phase is one step of a visit as the search sees it: a length, the roles it
// uses, and one extra unit per entry of Pool. All units of a phase differ; a
// unit bound to a role that the phase does not use may be taken for the pool.
type Phase struct {
	Name    string
	Minutes Minute // at least 1
	Roles   []string
	Pool    []Need
}

// Gap lies between phase i and phase i+1: the wait is between Min and Max
// minutes, and the units of the roles in Hold stay in use meanwhile.
type Gap struct {
	Min, Max Minute
	Hold     []string
}

// VisitSpec is a visit to be placed: len(Gaps) is len(Phases)-1.
type VisitSpec struct {
	Roles  []Role
	Phases []Phase
	Gaps   []Gap
	// Clear overrides the changeover of units of a kind after this visit.
	Clear map[UnitKind]Minute
	// ClearLeast keeps at least so many minutes free after this visit, more
	// where the unit's changeover is longer. Clear goes before it.
	ClearLeast map[UnitKind]Minute
}

// Clearing returns the minutes that the visit keeps free after its own use of
// a unit of kind whose changeover is given.
func (v *VisitSpec) Clearing(kind UnitKind, changeover Minute) Minute {
	if m, ok := v.Clear[kind]; ok {
		return m
	}
	return max(changeover, v.ClearLeast[kind])
}

// Query bounds a search: the start of the first phase lies within From..To,
// both included, and is a multiple of Grid; the end of the last phase is not
// after EndBy when that is given.
type Query struct {
	From, To Minute
	Grid     Minute // 1 to 1440
	EndBy    *Minute
}

// Schedule is one way to carry out a visit.
type Schedule struct {
	Roles  map[string]string // role name to unit id
	Phases []Placed
}

// Placed is one phase at its time; Pool holds the unit ids for Phase.Pool in
// the same order.
type Placed struct {
	Phase      string
	Start, End Minute
	Pool       []string
}
