package pages

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/chairtime"
)

func TestHairIsSaidInWords(t *testing.T) {
	for want, h := range map[string]HairDrawing{
		"Hair from behind: 35 cm, reaches the shoulder, 4 sections, 88 panels":                                     {LengthCM: 35, Sections: 4, Panels: 88},
		"Hair from behind: 15 cm, reaches the ear, little hair, 2 sections, 1 panel":                               {LengthCM: 15, Sections: 2, Panels: 1, Density: chairtime.DensityLow},
		"Hair from behind: 15.1 cm, reaches the chin, a lot of hair, 8 sections":                                   {LengthCM: 15.1, Sections: 8, Density: chairtime.DensityHigh},
		"Hair from behind: 60 cm, reaches the middle of the back, an average amount of hair, 3 sections":           {LengthCM: 60, Sections: 3, Density: chairtime.DensityMedium},
		"Hair from behind: 31.5 in, reaches the waist, 5 sections, retouch of 1.6 in of new growth":                {LengthCM: 80, Sections: 5, Retouch: true, RegrowthCM: 4, Inches: true},
		"Hair from behind: 120 cm, reaches below the waist, 7 sections, 900 panels, retouch of 0 cm of new growth": {LengthCM: 120, Sections: 7, Panels: 900, Retouch: true},
	} {
		svg, err := h.SVG()
		require.NoError(t, err)
		require.Equal(t, want, readPicture(t, svg).name)
	}
}

func TestHairOfAnyMeasureKeepsItsWordsApart(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	for i := range 500 {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		h := HairDrawing{
			LengthCM: 8 + r.Float64()*112, Sections: 2 + r.IntN(7), Panels: r.IntN(mostPanels + 1), Inches: r.IntN(2) == 0, Retouch: r.IntN(2) == 0,
			Density: []chairtime.Density{"", chairtime.DensityLow, chairtime.DensityMedium, chairtime.DensityHigh}[r.IntN(4)],
		}
		h.RegrowthCM = r.Float64() * h.LengthCM
		svg, err := h.SVG()
		name := fmt.Sprintf("seed %d/%d: %+v", seed, i, h)
		require.NoError(t, err, name)
		p := readPicture(t, svg)
		p.requireClean(t, name)
		require.Less(t, len(svg), 8<<10, name)
		require.NotContains(t, svg, "NaN", name)
	}
}

// lines counts the pieces of the path of a class.
func lines(svg, class string) int {
	_, rest, found := strings.Cut(svg, `<path class="`+class+`" d="`)
	if !found {
		return 0
	}
	d, _, _ := strings.Cut(rest, `"`)
	return strings.Count(d, "M")
}

func TestTheDrawingChangesWithItsNumbers(t *testing.T) {
	draw := mustDraw(t)
	base := HairDrawing{LengthCM: 35, Sections: 4, Panels: 40}
	require.Equal(t, 40, lines(draw(base.SVG()), "panel"), "one line for each panel while there is room")
	many := base
	many.Panels = 88
	require.Equal(t, 44, lines(draw(many.SVG()), "panel"))
	require.Contains(t, draw(many.SVG()), ">1 line for 2</text>")
	require.Contains(t, draw(many.SVG()), ">88 panels</text>")
	for sections := 2; sections <= 8; sections++ {
		h := base
		h.Sections = sections
		require.Len(t, h.sections(), sections)
		sum := 0
		for _, n := range h.panelLines() {
			sum += n
		}
		require.Equal(t, 40, sum*h.panelStep(), sections)
	}
	seen := map[string]string{}
	for name, change := range map[string]func(*HairDrawing){
		"as it is": func(*HairDrawing) {}, "longer": func(h *HairDrawing) { h.LengthCM = 50 }, "little hair": func(h *HairDrawing) { h.Density = chairtime.DensityLow },
		"a lot": func(h *HairDrawing) { h.Density = chairtime.DensityHigh }, "five sections": func(h *HairDrawing) { h.Sections = 5 },
		"no panels": func(h *HairDrawing) { h.Panels = 0 }, "retouch": func(h *HairDrawing) { h.Retouch, h.RegrowthCM = true, 4 },
		"more growth": func(h *HairDrawing) { h.Retouch, h.RegrowthCM = true, 6 }, "inches": func(h *HairDrawing) { h.Inches = true },
	} {
		h := base
		change(&h)
		svg := draw(h.SVG())
		require.Empty(t, seen[svg], "%s looks like %s", name, seen[svg])
		seen[svg] = name
	}
	base.RegrowthCM = 4
	require.Zero(t, lines(draw(base.SVG()), "regrowth"), "new growth is hatched when it is what is treated")
}

func TestHairOutOfRangeIsRefusedByField(t *testing.T) {
	for field, h := range map[string]HairDrawing{
		"length_cm is 7.9":    {LengthCM: 7.9, Sections: 4},
		"length_cm is NaN":    {LengthCM: math.NaN(), Sections: 4},
		"length_cm is +Inf":   {LengthCM: math.Inf(1), Sections: 4},
		"regrowth_cm is 36":   {LengthCM: 35, RegrowthCM: 36, Sections: 4},
		"regrowth_cm is -1":   {LengthCM: 35, RegrowthCM: -1, Sections: 4},
		"regrowth_cm is NaN":  {LengthCM: 35, RegrowthCM: math.NaN(), Sections: 4},
		"sections is 1":       {LengthCM: 35, Sections: 1},
		"sections is 9":       {LengthCM: 35, Sections: 9},
		"panels is 5001":      {LengthCM: 35, Sections: 4, Panels: 5001},
		"panels is -1":        {LengthCM: 35, Sections: 4, Panels: -1},
		`density is "fluffy"`: {LengthCM: 35, Sections: 4, Density: "fluffy"},
	} {
		_, err := h.SVG()
		require.ErrorContains(t, err, field)
	}
}
