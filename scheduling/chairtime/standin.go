package chairtime

// standInStep is how finely lengths of hair are tried for a stand-in, in cm
// (judgement: nobody measures hair more finely).
const standInStep = 0.5

// StandIn is hair to book for somebody of whom only the answers on the telephone
// are known: sound hair that would answer q, as long as it has to be for one
// stylist without batches to need the minutes that Phone keeps, or the longest
// of the band where none needs so many. What was done to the hair before is left
// to the consultation. Errors are those of Phone.
func (c Settings) StandIn(q PhoneQuestions) (Head, error) {
	a, err := c.Phone(q)
	if err != nil {
		return Head{}, err
	}
	return c.StandInFor(q, a)
}

// StandInFor is StandIn for whoever has the answer of Phone already, which takes
// most of the time.
func (c Settings) StandInFor(q PhoneQuestions, a PhoneAnswer) (Head, error) {
	if err := q.Validate(); err != nil {
		return Head{}, err
	}
	h := Head{PlateWidth: phonePlateCM, Hands: 1, Density: c.likelyDensity(q.Ponytail), Strand: StrandMedium, Porosity: PorosityNormal,
		NewClient: len(q.History) != 1 || q.History[0] != HistoryStraightenedHere}
	h.Sections = phoneSections(h.Density)
	band := reachBands[q.Reach]
	for h.Length = band[0]; h.Length < band[1]; h.Length += standInStep {
		e, err := c.Estimate(h)
		if err != nil {
			return Head{}, err
		}
		if e.Block >= a.Keep {
			return h, nil
		}
	}
	h.Length = band[1]
	return h, nil
}

// likelyDensity is how much hair most people with such a ponytail have.
func (c *Settings) likelyDensity(p Ponytail) Density {
	var out weighed[Density]
	for _, d := range c.densities(p) {
		if d.weight > out.weight {
			out = d
		}
	}
	return out.value
}
