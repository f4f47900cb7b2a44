package chairtime

import (
	"math"

	"chairblock/scheduling"
)

// Pace is how quickly somebody works beside the sheet, by kind of step, as
// records show it. What a record says nothing about keeps the sheet's time.
type Pace struct {
	// Alone are the steps done by one pair of hands, Pair those that two pairs
	// of hands share. Look a kind up by its PaceKind.
	Alone, Pair map[scheduling.StepKind]StepPace
}

// StepPace is the pace of one kind of step.
type StepPace struct {
	// Factor is real minutes over the sheet's; 0 counts as 1.
	Factor float64
	// Spread is the standard deviation as a share of the mean that the records
	// show; 0 keeps the setting.
	Spread float64
	// Visits is the number of visits behind Factor, Staff whose they are; "" is
	// the whole salon.
	Visits int
	Staff  string
	// Words name whose pace it is in the working: "pace of the last 14 visits".
	Words string
}

// PaceKind is the kind under which the pace of k is kept: work of the same sort
// on another part of the hair shares it. It is "" for steps that have no pace,
// because the product sets their length or because they are a look of a minute
// or two.
func PaceKind(k scheduling.StepKind) scheduling.StepKind {
	switch k {
	case scheduling.Apply1, scheduling.Apply2:
		return scheduling.Apply
	case scheduling.RinseShort:
		return scheduling.Rinse1
	case scheduling.Process, scheduling.Process1, scheduling.Process2, scheduling.Check1, scheduling.Check2, scheduling.Dwell:
		return ""
	default:
		return k
	}
}

// Shareable reports whether a second pair of hands makes the step shorter.
func Shareable(k scheduling.StepKind) bool {
	switch PaceKind(k) {
	case scheduling.Apply, scheduling.Iron, scheduling.Neutral, scheduling.Finish, scheduling.Dry1, scheduling.Dry2:
		return true
	default:
		return false
	}
}

// At returns c with the pace p laid over its hands-on steps, for the estimates
// that it makes. A nil p leaves the sheet's own times; p must not change while
// the result is in use.
func (c Settings) At(p *Pace) Settings {
	c.pace = p
	return c
}

// of is the pace of a step by so many pairs of hands, and whether there is one.
func (p *Pace) of(k scheduling.StepKind, hands int) (StepPace, bool) {
	if p == nil {
		return StepPace{}, false
	}
	list := p.Alone
	if hands > 1 && Shareable(k) {
		list = p.Pair
	}
	kept := PaceKind(k)
	if kept == "" {
		return StepPace{}, false
	}
	s, ok := list[kept]
	if s.Factor == 0 {
		s.Factor = 1
	}
	return s, ok
}

// paced is the mean and the standard deviation of a hands-on step of kind k
// whose mean is by the sheet, and the factor between the two means.
func (c *Settings) paced(k scheduling.StepKind, hands int, sheet float64) (mean, sd, factor float64) {
	spread := c.Spread.of(k)
	s, ok := c.pace.of(k, hands)
	if !ok {
		return sheet, sheet * spread, 1
	}
	if s.Spread > 0 {
		spread = s.Spread
	}
	return sheet * s.Factor, sheet * s.Factor * spread, s.Factor
}

// PaceOf is the pace laid over the steps of kind k by so many pairs of hands, and
// whether there is one.
func (c Settings) PaceOf(k scheduling.StepKind, hands int) (StepPace, bool) {
	return c.pace.of(k, hands)
}

// factorShown is the least change of a factor that is put in words: less than
// half a hundredth would read × 1.
const factorShown = 0.005

// paceShown is the pace that belongs into the working of a step, and whether
// there is one.
func (c *Settings) paceShown(k scheduling.StepKind, hands int) (StepPace, bool) {
	s, ok := c.pace.of(k, hands)
	return s, ok && (s.Factor <= 1-factorShown || s.Factor >= 1+factorShown)
}

// Sum is the mean and the standard deviation in minutes of hands-on steps done
// one after the other, the logarithms of any two having the correlation rho. A
// step of fixed length adds to the mean only.
func Sum(steps []StepTime, rho float64) (mean, sd float64) {
	t := totalOf(steps, rho)
	m := t.work.mean()
	return t.fixed + m, m * math.Sqrt(math.Expm1(t.work.sigma*t.work.sigma))
}

// Expect is a step that an estimate gave mean minutes to by the sheet, with the
// spread of these settings.
func (c Settings) Expect(k scheduling.StepKind, mean float64) StepTime {
	return StepTime{Kind: k, Mean: mean, SD: mean * c.Spread.of(k), Fixed: PaceKind(k) == ""}
}
