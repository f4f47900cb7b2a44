package delays

import (
	"cmp"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// Options bound the search for remedies. The zero value is usable.
type Options struct {
	// Seed and Rounds are those of packing.Options. 0 rounds are 300.
	Seed   uint64
	Rounds int
	// PairFactor divides the rest of a step that a second person shares, 1.5 to
	// 2; 0 is 2, two equal pairs of hands (derived; less is judgement).
	PairFactor float64
	// MoveCost is what moving a client weighs against minutes late; 0 is 15
	// (judgement).
	MoveCost openings.Minute
	// MinGain is the least sum of minutes, late and waiting, that a remedy has
	// to save on a day on which no rule breaks; 0 is 5 (judgement).
	MinGain openings.Minute
	// LaterAtMost is by how many minutes a client may be asked to come later,
	// beyond which rebooking is the honest word; 0 is 120 (judgement).
	LaterAtMost openings.Minute
	// Overtime is how long past closing RemedyLastResort may ask people to stay;
	// 0 is 120 minutes (judgement).
	Overtime openings.Minute
	// Each is the largest number of remedies of a kind; 0 is 3.
	Each int
}

func (o Options) check() (Options, error) {
	var f scheduling.Faults
	if o.PairFactor != 0 {
		f.Between("pair_factor", o.PairFactor, 1.5, 2, "")
	}
	f.Count("rounds", o.Rounds, 0, 1_000_000)
	f.Count("move_cost", int(o.MoveCost), 0, 100_000)
	f.Count("min_gain", int(o.MinGain), 0, 1440)
	f.Count("later_at_most", int(o.LaterAtMost), 0, 1440)
	f.Count("overtime", int(o.Overtime), 0, 1440)
	f.Count("each", o.Each, 0, 100)
	o.PairFactor = cmp.Or(o.PairFactor, 2)
	o.Rounds, o.Each = cmp.Or(o.Rounds, 300), cmp.Or(o.Each, 3)
	o.MoveCost, o.MinGain = cmp.Or(o.MoveCost, 15), cmp.Or(o.MinGain, 5)
	o.LaterAtMost, o.Overtime = cmp.Or(o.LaterAtMost, 120), cmp.Or(o.Overtime, 120)
	return o, f.Err()
}
