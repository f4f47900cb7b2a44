package pages

import (
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// HairDrawing is hair as seen from behind, drawn from its numbers alone: how
// far it reaches, the partings that make the sections, the panels, and the new
// growth of a retouch. It shows nobody: no face, no skin, no colour of hair.
type HairDrawing struct {
	LengthCM   float64           // pulled straight, from the crown to the ends, 8 to 120
	RegrowthCM float64           // new growth, 0 to LengthCM; hatched when Retouch is set
	Retouch    bool              // only the new growth is treated
	Density    chairtime.Density // "" draws a usual amount and says none
	Sections   int               // 2 to 8
	Panels     int               // of the whole head, 0 when not known, at most 5000
	Inches     bool              // say lengths in inches
}

// Bounds of a drawing of hair (the range of chairtime.Head; panels judgement).
const (
	leastHairCM = 8.0
	mostHairCM  = 120.0
	mostPanels  = 5000
)

// Validate returns scheduling.Faults for every number out of its range.
func (h HairDrawing) Validate() error {
	var f scheduling.Faults
	f.Between("length_cm", h.LengthCM, leastHairCM, mostHairCM, "cm")
	f.Between("regrowth_cm", h.RegrowthCM, 0, max(0, min(h.LengthCM, mostHairCM)), "cm")
	f.Count("sections", h.Sections, 2, 8)
	f.Count("panels", h.Panels, 0, mostPanels)
	switch h.Density {
	case "", chairtime.DensityLow, chairtime.DensityMedium, chairtime.DensityHigh:
	default:
		f.Addf("density", "low, medium or high, or nothing", "is %q", string(h.Density))
	}
	return f.Err()
}

// SVG returns the drawing, an image whose name says the same in words. It
// returns scheduling.Faults; see Validate.
func (h HairDrawing) SVG() (string, error) {
	if err := h.Validate(); err != nil {
		return "", err
	}
	return h.draw(), nil
}
