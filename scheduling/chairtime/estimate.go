package chairtime

import (
	"math"
	"sync"

	"chairblock/scheduling"
)

// Estimate is a visit worked out for one head: minutes per step with their
// spread, what they add up to, products, cautions, and other ways to go about
// it where the plain way leaves product on for too long.
type Estimate struct {
	Head  Head
	Steps []StepTime

	// Mean, P50, P80 and P90 are totals in minutes: the mean, and the times that
	// 5, 8 and 9 of 10 visits do not exceed.
	Mean, P50, P80, P90 float64
	// Quantile is the share of visits that the salon promises to end in time,
	// Promise the unrounded total that belongs to it.
	Quantile, Promise float64
	// Block is Promise rounded up to the salon's step: the minutes to book. The
	// Booked minutes of the steps add up to it.
	Block int

	// FirstStrandExposure is how long product stays on the first section of a
	// batch until the end of its last wait, in minutes on means, further looks
	// among them; BookedExposure is the same on the booked minutes until the
	// rinse, with the longest allowed wait and the walk to the basin, but without
	// further looks, which end at the limit by themselves. The limits are held
	// against the latter.
	FirstStrandExposure, BookedExposure float64
	// ExposureWorking is the count behind BookedExposure, for people.
	ExposureWorking string
	// Unbreakable is the mean from the application to the end of the second
	// rinse, which may not be interrupted.
	Unbreakable float64
	// AssistantMinutes is the mean of what an assistant may do: wash, rinse, dry.
	AssistantMinutes float64

	SolutionML, NeutralizerML       float64
	SolutionPacks, NeutralizerPacks int // 0 when the salon does not count packs
	Strips, Panels                  int
	PressesPerPanel, Presses        int
	HairGrams, TreatedGrams         float64
	Hairs                           float64

	Cautions []Caution
	// Alternatives are the plans of Settings.Plans; nil unless the booked
	// exposure reaches the limit at which to warn.
	Alternatives []PlanOption

	correlation float64
}

// Estimate works h out. The result is the same for the same h and c.
//
// It returns Faults naming every field of h, or else every setting of c below
// "settings", that is outside its range.
func (c Settings) Estimate(h Head) (Estimate, error) {
	if err := c.ready(h); err != nil {
		return Estimate{}, err
	}
	e, w := c.estimate(h)
	c.describe(&w, &e)
	e.Cautions = c.cautions(&w, &e)
	if c.exposureLevel(h, e.BookedExposure) != "" {
		e.Alternatives = c.plans(h)
	}
	return e, nil
}

func (c *Settings) ready(h Head) error {
	if err := c.settled(h).Validate(); err != nil {
		return err
	}
	if err := c.checked(); err != nil {
		return err
	}
	return c.stagesOf(h)
}

// checking keeps settings to be checked, which would otherwise be copied onto the
// heap for every estimate.
var checking = sync.Pool{New: func() any { return new(Settings) }}

// checked is Validate with the faults below "settings".
func (c *Settings) checked() error {
	var f scheduling.Faults
	p := checking.Get().(*Settings)
	*p = *c
	err := p.faults().Err()
	checking.Put(p)
	if err := f.Join("settings", err); err != nil {
		return err
	}
	return f.Err()
}

// estimate does the arithmetic, without words and cautions.
func (c *Settings) estimate(h Head) (Estimate, work) { return c.estimateIn(nil, h) }

// estimateIn is estimate with the steps in room, as far as that is large enough.
func (c *Settings) estimateIn(room []StepTime, h Head) (Estimate, work) {
	w := c.measure(h)
	e := Estimate{
		Head:     w.head,
		Steps:    c.stepsIn(room, &w),
		Quantile: c.Quantile,
		Strips:   w.strips, Panels: w.panels,
		PressesPerPanel: w.pressesPerPanel,
		Presses:         w.panels * w.pressesPerPanel * h.passes(),
		HairGrams:       w.hairGrams, TreatedGrams: w.treatedGrams,
		Hairs:       w.hairs,
		correlation: c.Correlation,
	}
	t := totalOf(e.Steps, c.Correlation)
	for i := range e.Steps {
		e.Mean += e.Steps[i].Mean
	}
	e.P50, e.P80, e.P90 = t.at(0), t.quantile(0.8), t.quantile(0.9)
	e.Promise = t.quantile(c.Quantile)
	c.book(&e)
	c.mix(&w, &e)
	e.AssistantMinutes = sumOf(e.Steps, scheduling.Wash, scheduling.RinseShort, scheduling.Rinse1, scheduling.Dry1, scheduling.Rinse2, scheduling.Dry2)
	for _, s := range unbroken(e.Steps) {
		e.Unbreakable += s.Mean
	}
	return e, w
}

// book rounds the promise up, shares it out and follows the product through
// the booked minutes.
func (c *Settings) book(e *Estimate) {
	step := int(c.BlockStep)
	e.Block = step * ceil(e.Promise/c.BlockStep)
	var room [mostSteps]int
	shares := room[:len(e.Steps)]
	for shareOut(shares, e.Steps, e.Block) != nil { // so short a block that some step would get less than a minute
		e.Block += step
	}
	for i, n := range shares {
		e.Steps[i].Booked = n
	}
	for i := range e.Steps {
		if !e.Steps[i].Kind.FirstStrand() {
			continue
		}
		mean, _, booked := exposed(e.Steps[i:])
		e.FirstStrandExposure = max(e.FirstStrandExposure, mean)
		e.BookedExposure = max(e.BookedExposure, float64(booked)+c.ExposureWait+c.BasinWalk)
	}
}

// mix works out the products.
func (c *Settings) mix(w *work, e *Estimate) {
	waste := 1 + c.BowlWaste
	e.SolutionML = waste * max(c.SolutionFloor, c.SolutionPerGram*w.treatedGrams)
	e.NeutralizerML = waste * max(c.NeutralizerFloor, c.NeutralizerPerGram*w.treatedGrams)
	if c.PackML > 0 {
		e.SolutionPacks = int(math.Ceil(e.SolutionML/c.PackML - ceilSlack))
		e.NeutralizerPacks = int(math.Ceil(e.NeutralizerML/c.PackML - ceilSlack))
	}
}

// Share divides any other block of whole minutes among the steps of e, as
// ShareOut does.
func (e Estimate) Share(block int) ([]int, error) { return ShareOut(e.Steps, block) }

// Within returns the share of visits that take no longer than minutes.
func (e Estimate) Within(minutes float64) float64 {
	return totalOf(e.Steps, e.correlation).below(minutes)
}

// Booked returns the booked minutes by kind, in order where a kind occurs more
// than once.
func (e Estimate) Booked() map[scheduling.StepKind][]int {
	out := make(map[scheduling.StepKind][]int, len(e.Steps))
	for _, s := range e.Steps {
		out[s.Kind] = append(out[s.Kind], s.Booked)
	}
	return out
}

// unbroken returns the steps from the first strand to the second rinse.
func unbroken(steps []StepTime) []StepTime {
	for i := range steps {
		if !steps[i].Kind.FirstStrand() {
			continue
		}
		for k := i; k < len(steps); k++ {
			if steps[k].Kind == scheduling.Rinse2 {
				return steps[i : k+1]
			}
		}
		return steps[i:]
	}
	return nil
}

func sumOf(steps []StepTime, kinds ...scheduling.StepKind) float64 {
	var sum float64
	for _, s := range steps {
		for _, k := range kinds {
			if s.Kind == k {
				sum += s.Mean
			}
		}
	}
	return sum
}
