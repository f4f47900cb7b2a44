package pages

import (
	"math"
	"strconv"

	"chairblock/scheduling/chairtime"
)

// Sizes of a drawing of hair in its own units. The figure is of no one: its
// proportions are round numbers around those of the length bands, ear to 15 cm
// below the crown, chin 25, shoulder 40, mid-back 60, waist 80 (common practice;
// charts disagree). The head stands beside it once more, larger, with the
// partings.
const (
	hairWidth  = 372.0
	hairTop    = 12.0
	figureUnit = 2.2 // units per cm
	figureAt   = 58.0
	figureCM   = 88.0  // how far down the figure is drawn
	hairScale  = 148.0 // x of the scale
	largeUnit  = 4.2
	largeAt    = 316.0
	largeLeft  = 264.0

	domeCM     = 11.0 // height of the upper half of the head
	headHalfCM = 9.0  // half its width
	napeCM     = 21.0 // lowest parting
	lineGap    = 2.4  // least distance between two panel lines
	hairText   = 12.0
)

// hairMarks are where hair of that length reaches, the lower end of each band
// of lengths from the crown.
var hairMarks = []struct {
	cm    float64
	words string
	where string
}{{15, "ear", "the ear"}, {25, "chin", "the chin"}, {40, "shoulder", "the shoulder"}, {60, "mid-back", "the middle of the back"}, {80, "waist", "the waist"}}

// reachWords says where hair of h reaches.
func (h HairDrawing) reachWords() string {
	for _, m := range hairMarks {
		if h.LengthCM <= m.cm {
			return "reaches " + m.where
		}
	}
	return "reaches below the waist"
}

// length says a length in the unit wanted, to a tenth.
func (h HairDrawing) length(cm float64) string {
	u := chairtime.Units{Inches: h.Inches}
	return shortNumber(u.InLength(cm)) + " " + u.LengthUnit()
}

// name says all of the drawing in one sentence.
func (h HairDrawing) name() string {
	words := []string{h.length(h.LengthCM), h.reachWords(), h.amountWords(), counted(h.Sections, "section")}
	if h.Panels > 0 {
		words = append(words, counted(h.Panels, "panel"))
	}
	if h.Retouch {
		words = append(words, "retouch of "+h.length(h.RegrowthCM)+" of new growth")
	}
	return "Hair from behind: " + sentence(words...)
}

func (h HairDrawing) amountWords() string {
	switch h.Density {
	case chairtime.DensityLow:
		return "little hair"
	case chairtime.DensityMedium:
		return "an average amount of hair"
	case chairtime.DensityHigh:
		return "a lot of hair"
	}
	return ""
}

// rows are the words below the figure.
func (h HairDrawing) rows() []string {
	rows := []string{sentence(h.length(h.LengthCM), h.reachWords())}
	if w := h.amountWords(); w != "" {
		rows = append(rows, w)
	}
	if h.Retouch {
		rows = append(rows, "hatched: "+h.length(h.RegrowthCM)+" of new growth")
	}
	return rows
}

// captions are the words below the large head.
func (h HairDrawing) captions() []string {
	rows := []string{counted(h.Sections, "section")}
	if h.Panels > 0 {
		rows = append(rows, counted(h.Panels, "panel"))
		if n := h.panelStep(); n > 1 {
			rows = append(rows, "1 line for "+strconv.Itoa(n))
		}
	}
	return rows
}

// volume is how far the hair stands out from the head, in cm.
func (h HairDrawing) volume() float64 {
	switch h.Density {
	case chairtime.DensityLow:
		return 0.8
	case chairtime.DensityHigh:
		return 3.4
	default:
		return 2
	}
}

// half is half the width of the hair d cm below its top, in cm.
func (h HairDrawing) half(d float64) float64 {
	a := headHalfCM + h.volume()
	if d < domeCM {
		u := (domeCM - d) / domeCM
		return a * math.Sqrt(max(0, 1-u*u))
	}
	return a + (d-domeCM)*0.01*h.volume()
}

// hairSection is one area between partings: top and bottom in cm below the
// crown, left and right as a share of the half width from -1 to 1.
type hairSection struct{ top, bottom, left, right float64 }

// sections divides the scalp: two beside each other in every row, an odd one
// alone at the top. Their number counts, not the exact place of a parting.
func (h HairDrawing) sections() []hairSection {
	const from = 0.4
	rows := (h.Sections + 1) / 2
	step := (napeCM - from) / float64(rows)
	var out []hairSection
	for r := range rows {
		top := from + float64(r)*step
		if r == 0 && h.Sections%2 == 1 {
			out = append(out, hairSection{top, top + step, -1, 1})
			continue
		}
		out = append(out, hairSection{top, top + step, -1, 0}, hairSection{top, top + step, 0, 1})
	}
	return out
}

// lineSteps are the numbers of panels that one line may stand for.
var lineSteps = []int{1, 2, 3, 4, 5, 6, 8, 10, 15, 20, 25, 30, 40, 50, 75, 100, 150, 200, 300, 500, 1000}

// panelStep is how many panels one line stands for: 1 while there is room.
func (h HairDrawing) panelStep() int {
	all := h.sections()
	room := (all[0].bottom - all[0].top) * largeUnit
	lines := max(1, int(room/lineGap)-1) * len(all)
	for _, step := range lineSteps {
		if (h.Panels+step-1)/step <= lines {
			return step
		}
	}
	return mostPanels
}

// panelLines is how many lines each section gets: as even a share as there is.
func (h HairDrawing) panelLines() []int {
	n := len(h.sections())
	out := make([]int, n)
	step := h.panelStep()
	lines := (h.Panels + step - 1) / step
	for i := range out {
		out[i] = lines*(i+1)/n - lines*i/n
	}
	return out
}
