package chairtime

import "chairblock/scheduling"

// quickest is the least share of the sheet's time that hands-on work is taken to
// need, whatever the pace of the stylist (judgement).
const quickest = 0.5

// Least returns, by kind of step, a number of minutes below which no estimate of
// any hair books the step: processing and what else product times in full, and
// half of the hands-on work on the least hair. It is what a service takes at the
// very least, and says nothing about what a head takes.
//
// It returns Faults as Estimate does.
func (c Settings) Least() (map[scheduling.StepKind]int, error) {
	if err := c.checked(); err != nil {
		return nil, err
	}
	least := map[scheduling.StepKind]int{}
	for _, h := range leastHeads() {
		e, _ := c.estimate(h)
		for _, s := range e.Steps {
			n := float64(s.Booked)
			if !s.Fixed {
				n *= quickest
			}
			if was, ok := least[s.Kind]; !ok || int(n) < was {
				least[s.Kind] = int(n)
			}
		}
	}
	return least, nil
}

// leastHeads are the heads of which one needs least in each kind of step: every
// step takes no less for more length, more of the scalp, more sections, narrower
// plates or damaged hair.
func leastHeads() []Head {
	var out []Head
	for _, d := range []Density{DensityLow, DensityMedium, DensityHigh} {
		for _, s := range []Strand{StrandFine, StrandMedium, StrandCoarse} {
			for _, p := range []Porosity{PorosityLow, PorosityNormal, PorosityHigh} {
				for _, two := range []bool{false, true} {
					for _, newClient := range []bool{false, true} {
						h := Head{Length: minLengthCM, Density: d, Strand: s, Porosity: p, NewClient: newClient, Sections: 2,
							PlateWidth: maxPlateCM, Hands: maxHands, Batches: 1, Curl: CurlStraight, AreaShare: minAreaShare, TwoStage: two}
						out = append(out, h)
						h.ConsultationHeld = true
						out = append(out, h)
					}
				}
			}
		}
	}
	return out
}
