package openings

import "chairblock/scheduling"

// Limits of what the search takes, for those who read shops and visits from
// elsewhere.
const (
	MaxHorizon  = maxHorizon  // two years, in minutes
	MaxClearing = maxClearing // a day, in minutes
	MaxUnits    = maxUnits
	MaxSpans    = maxSpans // windows, breaks and bookings of a shop
	MaxPhases   = maxPhases
	MaxRoles    = maxRoles
	MaxPool     = maxPool // extra units of a phase
)

// Validate returns Faults that name the fields when the shop could not be
// searched, such as "units[3].bookings[2]".
func (shop *Shop) Validate() error {
	var f scheduling.Faults
	shop.check(&f)
	return f.Err()
}

// Validate returns Faults that name the fields when the visit could not be
// placed in any shop, such as "phases[1].roles[0]". Whether a shop has the
// units that it needs is for Compile to say.
func (v *VisitSpec) Validate() error {
	var f scheduling.Faults
	v.check(&f)
	return f.Err()
}

// Validate returns Faults that name the fields when nothing could be asked
// with q.
func (q Query) Validate() error { return q.check() }
