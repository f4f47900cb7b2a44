package chairtime

import "math"

// ceilSlack keeps a count from jumping up because of the last bit of a float.
const ceilSlack = 1e-9

// work is everything that is counted on a head before it is turned into
// minutes: areas, hairs, grams, strips, panels and presses.
type work struct {
	head      Head
	untreated bool // all of the hair is treated, not only regrowth
	overGrown bool // regrowth was given but is so long that all is treated
	hands     float64
	batches   float64
	looks     int // while applying one batch, or its first stage
	looksEnds int // while applying the second stage of a batch

	area                    float64 // cm²
	sectionArea             float64 // cm²
	hairs                   float64
	hairGrams, treatedGrams float64
	treatedLength           float64 // cm, without the stretch kept off the scalp
	ends                    float64 // cm of it left for the second stage
	ironLength              float64 // cm

	strips, panels, finishPanels int
	pressesPerPanel              int
	press                        float64 // s

	stripHandling, strandWork float64
	water                     float64 // g per g of hair after blotting
	dryFraction               float64
	care, careOther, curl     float64
}

// measure counts the work on h. It expects valid settings and a valid head.
func (c *Settings) measure(h Head) work {
	h = c.settled(h)
	w := work{
		head:       h,
		untreated:  h.Regrowth == 0,
		hands:      1,
		batches:    float64(h.batches()),
		ironLength: h.Length,
		strandWork: c.StrandWork.of(h.Strand),
		press:      c.Press.of(h.Strand),
		water:      c.WaterPerGram,
		care:       1, careOther: 1,
		curl:        c.CurlWork.of(h.Curl),
		dryFraction: c.DryBefore(h.Damaged),
	}
	if h.Hands > 1 {
		w.hands = c.PairFactor
	}
	if h.Regrowth > c.UntreatedShare*h.Length {
		w.untreated, w.overGrown = true, true
	}
	if h.Damaged {
		w.care, w.careOther = c.CareMain, c.CareOther
	}
	if h.Porosity == PorosityHigh {
		w.water *= c.WaterPorous
	}
	c.weigh(&w)
	c.divide(&w)
	return w
}

// weigh fills in lengths and grams.
func (c *Settings) weigh(w *work) {
	h := &w.head
	w.area = c.ScalpArea * c.share(*h)
	w.hairs = w.area * c.hairsPerCM2(h)
	const cmPerMicrometre = 1e-4
	d := c.Diameter.of(h.Strand) * cmPerMicrometre
	gramsPerCM := math.Pi * d * d / 4 * c.Matter
	profile := max(c.ProfileFloor, c.ProfileBase-c.ProfilePerCM*h.Length)
	w.hairGrams = w.hairs * gramsPerCM * h.Length * profile
	treated, treatedProfile := h.Length, profile
	w.stripHandling = c.StripUntreated
	if !w.untreated {
		treated, treatedProfile = h.Regrowth, 1
		w.stripHandling = c.StripRetouch
		w.ironLength = min(h.Length, h.Regrowth+c.RetouchOverlap)
	}
	w.treatedLength = max(treated-c.OffScalp, 0)
	c.splitStages(w)
	w.treatedGrams = w.hairs * gramsPerCM * w.treatedLength * treatedProfile
}

// divide fills in the counts of strips, panels and presses.
func (c *Settings) divide(w *work) {
	h := &w.head
	w.sectionArea = w.area / float64(h.Sections)
	w.strips = w.split(c.ApplyParting.of(h.Density), c.StripWidth)
	w.panels = w.split(c.IronParting.of(h.Density), c.PanelWidth)
	w.finishPanels = w.split(c.FinishParting, c.FinishWidth)
	w.pressesPerPanel = ceil(w.ironLength / ((1 - c.PlateOverlap) * h.PlateWidth))
}

// split returns how many pieces of parting × width cm cover the treated area
// when every section is rounded up on its own.
func (w *work) split(parting, width float64) int {
	return w.head.Sections * max(ceil(w.sectionArea/(parting*width)), 1)
}

// share returns the treated share of the scalp area.
func (c *Settings) share(h Head) float64 {
	if len(h.Areas) == 0 {
		if h.AreaShare == 0 {
			return 1
		}
		return h.AreaShare
	}
	var sum float64
	for _, a := range h.Areas {
		switch a {
		case AreaNape:
			sum += c.NapeShare
		case AreaSides:
			sum += c.SidesShare
		case AreaCrownBack:
			sum += c.CrownBackShare
		case AreaFrontTop:
			sum += c.FrontTopShare
		case AreaHairline:
			sum += c.HairlineShare
		case AreaFringe:
			sum += c.FringeShare
		}
	}
	return min(sum, 1)
}

func ceil(v float64) int { return int(math.Ceil(v - ceilSlack)) }
