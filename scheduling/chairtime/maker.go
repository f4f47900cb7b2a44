package chairtime

// Maker is what the makers of a service's products say; nil is what nobody has
// noted. The salon's settings stand where nothing is noted.
type Maker struct {
	Processing  *float64 // minutes that solution works
	Neutralizer *float64 // minutes that neutralizer works
	DryBefore   *float64 // dryness before the iron, 0 to 1
}

// By returns c with the maker's figures in the place of the salon's settings, for
// the estimates that it makes and the figures that it names. Two settings of the
// salon are for hair that a maker's single figure does not speak of, and stand
// where they are the more careful ones: the shorter processing of porous hair, and
// the drier iron of damaged hair (judgement). Solution in two stages keeps the
// salon's settings, because no label divides its processing time between them.
// The zero value leaves the salon's settings.
func (c Settings) By(m Maker) Settings {
	c.maker = m
	return c
}

// Maker returns what c goes by instead of its settings.
func (c Settings) Maker() Maker { return c.maker }

// Processing returns for how many minutes solution works on hair of a porosity,
// in one stage.
func (c Settings) Processing(p Porosity) float64 {
	own, said := c.ProcessMin.of(p), c.maker.Processing
	switch {
	case said == nil:
		return own
	case p == PorosityHigh:
		return min(own, *said)
	}
	return *said
}

// NeutralizerWorks returns for how many minutes neutralizer works.
func (c Settings) NeutralizerWorks() float64 {
	if said := c.maker.Neutralizer; said != nil {
		return *said
	}
	return c.DwellMin
}

// DryBefore returns how dry hair has to be before the iron, 0 to 1.
func (c Settings) DryBefore(damaged bool) float64 {
	own, said := c.DryFraction, c.maker.DryBefore
	if damaged {
		own = c.DryFractionDamaged
	}
	switch {
	case said == nil:
		return own
	case damaged:
		return max(own, *said)
	}
	return *said
}
