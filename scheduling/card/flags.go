package card

import (
	"fmt"
	"math"

	"chairblock/scheduling"
)

// slack forgives what floating point adds to a sum or a change of unit.
const slack = 1e-6

// Iron judges the setting of the iron in °C.
func (l Limits) Iron(celsius float64) []Flag {
	switch {
	case l.IronMax > 0 && celsius > l.IronMax+slack:
		return []Flag{{LevelOver, FlagIronTooHot, fmt.Sprintf("The iron was set to %s; never above %s.", l.degrees(celsius), l.degrees(l.IronMax))}}
	case l.IronWarn > 0 && celsius > l.IronWarn+slack:
		return []Flag{{LevelWarn, FlagIronDamaged, fmt.Sprintf("The iron was set to %s; stay at or below %s on damaged hair.",
			l.degrees(celsius), l.degrees(l.IronWarn))}}
	}
	return nil
}

// Press judges how long the iron closed on one spot, in seconds, and how often.
func (l Limits) Press(seconds float64, passes int) []Flag {
	var out []Flag
	if contact := seconds * float64(passes); l.ContactMax > 0 && contact > l.ContactMax+slack {
		out = append(out, Flag{LevelOver, FlagContact, fmt.Sprintf("The iron rested %s seconds on one spot over all passes; never more than %s.",
			brief(contact), brief(l.ContactMax))})
	}
	if l.PressWarn > 0 && seconds > l.PressWarn+slack {
		out = append(out, Flag{LevelWarn, FlagPress, fmt.Sprintf("One press lasted %s seconds; stay at or below %s.", brief(seconds), brief(l.PressWarn))})
	}
	return out
}

// Dryness judges how dry the hair was before the iron, 0 to 1.
func (l Limits) Dryness(dry float64) []Flag {
	if l.DryLeast <= 0 || dry >= l.DryLeast-slack {
		return nil
	}
	hair := "hair"
	if l.Damaged {
		hair = "damaged hair"
	}
	return []Flag{{LevelOver, FlagWet, fmt.Sprintf("The hair was %s %% dry before the iron; %s has to be %s %% dry at least. Steam or a hiss: stop, dry more.",
		brief(dry*100), hair, brief(l.DryLeast*100))}}
}

// Elasticity judges how far a wet strand stretched, in times its length, and
// whether it returned; nil is not told.
func (l Limits) Elasticity(stretch float64, returned *bool) []Flag {
	var out []Flag
	const then = "Too weak: stop, rinse, and ask the licensed person."
	if l.StretchMax > 0 && stretch > l.StretchMax+slack {
		out = append(out, Flag{LevelStop, FlagTooWeak, fmt.Sprintf("The strand stretched to %s times its length, sound hair to %s at most. %s",
			brief(stretch), brief(l.StretchMax), then)})
	}
	if returned != nil && !*returned {
		out = append(out, Flag{LevelStop, FlagNoReturn, "The strand did not return after it was stretched. " + then})
	}
	return out
}

// Exposure judges how long product was on the strand that it touched first, in
// minutes.
func (l Limits) Exposure(minutes float64) []Flag {
	hair := "this hair"
	if l.Tender {
		hair = "porous or damaged hair"
	}
	switch {
	case l.OffAfter > 0 && minutes >= l.OffAfter-slack:
		return []Flag{{LevelOver, FlagExposure, fmt.Sprintf("Product was on the first strand for %.0f minutes; from %s it has to be off before %s.",
			math.Floor(minutes+slack), hair, brief(l.OffAfter))}}
	case l.WarnAfter > 0 && minutes >= l.WarnAfter-slack:
		return []Flag{{LevelWarn, FlagExposureWarn, fmt.Sprintf("Product was on the first strand for %.0f minutes; for %s stay below %s.",
			math.Floor(minutes+slack), hair, brief(l.WarnAfter))}}
	}
	return nil
}

// Neutralizer judges how long the neutralizer worked, in minutes.
func (l Limits) Neutralizer(minutes float64) []Flag {
	if l.NeutralizerLeast <= 0 || minutes >= l.NeutralizerLeast-slack {
		return nil
	}
	return []Flag{{LevelOver, FlagNeutralizer, fmt.Sprintf("The neutralizer worked for %s minutes; %s are asked for at least.",
		brief(minutes), brief(l.NeutralizerLeast))}}
}

// IronedAfterRinse says that the iron was taken up although somebody had noted
// that the hair had to be rinsed at once.
func IronedAfterRinse() Flag {
	return Flag{LevelOver, FlagIronedAfter, "The iron was taken up after “rinse now” was noted; such hair is not ironed."}
}

// BegunUnready says that a step was noted although by what was on record then the
// visit must not have begun. What was missing may touch health and is not said.
func BegunUnready() Flag {
	return Flag{LevelOver, FlagUnready, "This was noted although something that the visit needs was missing: the licensed person says why."}
}

// brief writes a number without decimals that mean nothing.
func brief(v float64) string { return scheduling.Number(math.Round(v*10) / 10) }
