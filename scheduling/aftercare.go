package scheduling

import (
	"time"
)

// Aftercare says for how long treated hair has to be left alone. Both lengths
// are elapsed time, not calendar days: over a change of clocks 48 hours end at
// another time of the day.
type Aftercare struct {
	// KeepDry is 48 h by default (48 to 72: common practice, salon trade pages).
	KeepDry time.Duration
	// NoTie is how long hair is not tied, tucked or clipped: 48 h by default
	// (48 to 168, from the same pages).
	NoTie time.Duration
}

// DefaultAftercare returns 48 hours of each.
func DefaultAftercare() Aftercare {
	return Aftercare{KeepDry: 48 * time.Hour, NoTie: 48 * time.Hour}
}

// Validate returns Faults for keep_dry_hours and no_tie_hours.
func (a Aftercare) Validate() error {
	var f Faults
	f.Between("keep_dry_hours", a.KeepDry.Hours(), 48, 72, "hours")
	f.Between("no_tie_hours", a.NoTie.Hours(), 48, 168, "hours")
	return f.Err()
}

// DryUntil returns the instant until which hair stays dry when the visit
// really ended at end, in the location of end.
func (a Aftercare) DryUntil(end time.Time) time.Time { return end.Add(a.KeepDry) }

// UntiedUntil is the same for ties, clips and hats.
func (a Aftercare) UntiedUntil(end time.Time) time.Time { return end.Add(a.NoTie) }

// Words says until when, in the location of end: "dry until Sun 14:05, untied
// until Mon 14:05", or "dry and untied until Sun 14:05". From six days on the
// date is added.
func (a Aftercare) Words(end time.Time) string {
	dry, untied := a.DryUntil(end), a.UntiedUntil(end)
	if dry.Equal(untied) {
		return "dry and untied until " + dayAndTime(end, dry)
	}
	return "dry until " + dayAndTime(end, dry) + ", untied until " + dayAndTime(end, untied)
}

func dayAndTime(from, t time.Time) string {
	if t.Sub(from) < 6*24*time.Hour {
		return t.Format("Mon 15:04")
	}
	return t.Format("Mon 2 Jan 15:04")
}
