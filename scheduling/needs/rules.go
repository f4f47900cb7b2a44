package needs

import (
	"time"

	"chairblock/scheduling"
)

// Scope says for which services something is asked.
type Scope string

// Scopes, from the narrowest to the widest.
const (
	ForNothing      Scope = "nothing"
	ForStraightener Scope = "straightening" // services that need aftercare
	ForChemical     Scope = "chemical"      // services with chemicals, straightening among them
	ForEverything   Scope = "everything"
)

// Rules are a salon's own. DefaultRules gives those to begin with.
type Rules struct {
	ConsultationFor Scope
	// ConsultationHours before the start is the latest time for a consultation,
	// 0 to 336; a retouch for somebody who was treated here before may have it on
	// the day.
	ConsultationHours     float64
	ConsultationValidDays int // 1 to 1095

	PatchTestFor Scope
	// PatchTestHours before the start is the latest time at which a skin test is
	// put on, 0 to 168.
	PatchTestHours     float64
	PatchTestValidDays int // from the day on which it was put on, 1 to 1095
	// PatchTestReadHours after it was put on is the first time at which a negative
	// reading counts, 0 to 96.
	PatchTestReadHours float64
	// PatchTestOverride is the salon's written rule that the licensed person may
	// let a visit begin without a skin test.
	PatchTestOverride bool

	StrandTestFor Scope
	// StrandTestForNew asks for one from everybody who was not treated here
	// before, whatever the consultation says.
	StrandTestForNew    bool
	StrandTestHours     float64 // before the start, 0 to 336
	StrandTestValidDays int     // 1 to 1095; so long after a strand snapped a new test says nothing else

	// DepositFor says which services do not begin before a deposit that was asked
	// for them is there.
	DepositFor  Scope
	GuardianFor Scope
	ConsentFor  Scope
}

// DefaultRules returns the rules to begin with. All of them are judgement but
// the 48 hours of the skin test (trade pages; 24 to 48 are in use).
func DefaultRules() Rules {
	return Rules{
		ConsultationFor: ForStraightener, ConsultationHours: 24, ConsultationValidDays: 365,
		PatchTestFor: ForChemical, PatchTestHours: 48, PatchTestValidDays: 180, PatchTestReadHours: 24,
		StrandTestFor: ForStraightener, StrandTestHours: 24, StrandTestValidDays: 90,
		DepositFor: ForEverything, GuardianFor: ForChemical, ConsentFor: ForChemical,
	}
}

// Nothing returns rules that ask for nothing.
func Nothing() Rules {
	r := DefaultRules()
	r.ConsultationFor, r.PatchTestFor, r.StrandTestFor = ForNothing, ForNothing, ForNothing
	r.DepositFor, r.GuardianFor, r.ConsentFor = ForNothing, ForNothing, ForNothing
	return r
}

// Validate returns Faults with every rule that is out of its range.
func (r Rules) Validate() error {
	var f scheduling.Faults
	scope := func(field string, s Scope) {
		switch s {
		case ForNothing, ForStraightener, ForChemical, ForEverything:
		default:
			f.Addf(field, "nothing, straightening, chemical or everything", "is %.40q", string(s))
		}
	}
	scope("consultation_for", r.ConsultationFor)
	f.Between("consultation_hours", r.ConsultationHours, 0, 336, "hours")
	f.Count("consultation_valid_days", r.ConsultationValidDays, 1, 1095)
	scope("patch_test_for", r.PatchTestFor)
	f.Between("patch_test_hours", r.PatchTestHours, 0, 168, "hours")
	f.Count("patch_test_valid_days", r.PatchTestValidDays, 1, 1095)
	f.Between("patch_test_read_hours", r.PatchTestReadHours, 0, 96, "hours")
	scope("strand_test_for", r.StrandTestFor)
	f.Between("strand_test_hours", r.StrandTestHours, 0, 336, "hours")
	f.Count("strand_test_valid_days", r.StrandTestValidDays, 1, 1095)
	scope("deposit_for", r.DepositFor)
	scope("guardian_for", r.GuardianFor)
	scope("consent_for", r.ConsentFor)
	return f.Err()
}

// before is so many elapsed hours before t, whatever clocks do meanwhile.
func before(t time.Time, hours float64) time.Time {
	return t.Add(-time.Duration(hours * float64(time.Hour)))
}
