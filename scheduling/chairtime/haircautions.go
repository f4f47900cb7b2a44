package chairtime

import (
	"fmt"

	"chairblock/scheduling"
)

// Codes of cautions about what was done to hair before.
const (
	CautionTreatedBefore = "treated_before"
	CautionOverlap       = "overlap"
	CautionHistory       = "history_unknown"
	CautionBleached      = "bleached"
	CautionRelaxed       = "relaxed_or_permed"
)

// strength is the work it takes to break hair after 0 to 3 permanent waves, as a
// share of that of untreated hair; of bleached hair in the second row (J Soc
// Cosmet Chem 44(6) 1993 p. 362 Table VI: 2.6, 1.4, 0.91, 0.69; bleached 2.2,
// 0.88, 0.76, 0.72).
var strength = map[bool][4]float64{
	false: {1, 1.4 / 2.6, 0.91 / 2.6, 0.69 / 2.6},
	true:  {2.2 / 2.6, 0.88 / 2.6, 0.76 / 2.6, 0.72 / 2.6},
}

// StrengthLeft returns the strength that a laboratory study found left in hair
// treated so many times, as a share of that of untreated hair. It knows no more
// than three treatments: beyond them the true share is lower.
func StrengthLeft(times int, bleached bool) float64 {
	return strength[bleached][min(max(times, 0), 3)]
}

// HairCautions says what to mind on hair with such a history, the gravest first.
// Caution grows with the number of treatments: once, the lengths are best
// shielded; from twice on it is said how much strength is left; from three times
// on, and wherever something is bleached, relaxed, permed or not known, the
// licensed person has to agree.
func HairCautions(h scheduling.HairHistory, m scheduling.HairMap, u Units) []Caution {
	var x hairNotes
	for _, z := range m.Zones {
		x.note(h, z)
	}
	var out []Caution
	say := func(level CautionLevel, code, text string, args ...any) {
		out = append(out, Caution{level, code, fmt.Sprintf(text, args...)})
	}
	if x.most.Times >= 2 {
		level := LevelWarn
		if x.most.Times >= 3 {
			level = LevelNeedsYes
		}
		say(level, CautionTreatedBefore, "From %s on the hair was treated %d times: in a laboratory study about %.0f %% of its strength was left after that. Shield it from solution and heat.",
			u.Length(roundTo(x.most.From, 1)), x.most.Times, 100*StrengthLeft(x.most.Times, x.most.Bleached))
	} else if x.most.Times == 1 {
		say(LevelWarn, CautionTreatedBefore, "From %s on the hair was treated once: a second treatment would take away more than the first. Shield it from solution and heat.",
			u.Length(roundTo(x.most.From, 1)))
	}
	if x.overlaps > 0 {
		level := LevelWarn
		if x.overlaps > 1 {
			level = LevelNeedsYes
		}
		say(level, CautionOverlap, "At %s from the scalp a retouch reached hair that had been treated before: overlap breaks hair.", u.Length(roundTo(x.overlapAt, 1)))
	}
	if x.unknown {
		say(LevelNeedsYes, CautionHistory, "From %s on nobody knows all that was done: not sure counts as yes. A strand test first, and the licensed person decides.", u.Length(roundTo(x.unknownFrom, 1)))
	}
	if x.bleached {
		say(LevelNeedsYes, CautionBleached, "Bleached or highlighted from %s on: a strand test first, and the licensed person decides.", u.Length(roundTo(x.bleachedFrom, 1)))
	}
	if x.relaxed {
		say(LevelNeedsYes, CautionRelaxed, "Relaxed or permed elsewhere: solution on top of a hydroxide relaxer breaks hair. A strand test first, and the licensed person decides.")
	}
	return gravestFirst(out)
}

func gravestFirst(list []Caution) []Caution {
	out := make([]Caution, 0, len(list))
	for _, level := range []CautionLevel{LevelRefuse, LevelNeedsYes, LevelWarn} {
		for _, k := range list {
			if k.Level == level {
				out = append(out, k)
			}
		}
	}
	return out
}

// hairNotes collects what stands out along the hair.
type hairNotes struct {
	most                       scheduling.HairZone // treated most often, the one nearest to the scalp
	overlaps                   int
	overlapAt                  float64
	unknown, bleached, relaxed bool
	unknownFrom, bleachedFrom  float64
}

func (x *hairNotes) note(h scheduling.HairHistory, z scheduling.HairZone) {
	if z.Times > x.most.Times {
		x.most = z
	}
	if z.Times > 0 && z.Overlaps > x.overlaps {
		x.overlaps, x.overlapAt = z.Overlaps, z.From
	}
	if z.Unknown && !x.unknown {
		x.unknown, x.unknownFrom = true, z.From
	}
	if z.Bleached && !x.bleached {
		x.bleached, x.bleachedFrom = true, z.From
	}
	for _, i := range z.By {
		x.relaxed = x.relaxed || h.Done[i].Work == scheduling.RelaxedOrPermed
	}
}
