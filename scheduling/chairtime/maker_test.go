package chairtime

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func TestTheMakersFiguresTakeThePlaceOfTheSalons(t *testing.T) {
	of := func(e Estimate, k scheduling.StepKind) StepTime {
		for _, s := range e.Steps {
			if s.Kind == k {
				return s
			}
		}
		return StepTime{}
	}
	head := func(p Porosity, damaged bool) Head {
		return Head{Length: 35, Density: DensityMedium, Strand: StrandMedium, Porosity: p, Damaged: damaged, NewClient: true, Sections: 4, PlateWidth: 3, Hands: 1}
	}
	estimate := func(c Settings, h Head) Estimate {
		e, err := c.Estimate(h)
		require.NoError(t, err)
		return e
	}
	own := Default()
	made := own.By(Maker{Processing: new(25.0), Neutralizer: new(7.0), DryBefore: new(0.85)})
	require.NoError(t, made.Validate())
	for _, x := range []struct {
		porosity          Porosity
		damaged           bool
		own, processing   int
		dryOwn, dryBefore float64
	}{
		{PorosityNormal, false, 15, 25, 0.8, 0.85},
		{PorosityLow, false, 18, 25, 0.8, 0.85},
		{PorosityHigh, false, 10, 10, 0.8, 0.85}, // the salon's own for porous hair is shorter
		{PorosityHigh, true, 10, 10, 0.9, 0.9},   // and for damaged hair drier
	} {
		h := head(x.porosity, x.damaged)
		before, after := estimate(own, h), estimate(made, h)
		require.Equal(t, []int{x.own, 5}, []int{of(before, scheduling.Process).Booked, of(before, scheduling.Dwell).Booked})
		require.Equal(t, []int{x.processing, 7}, []int{of(after, scheduling.Process).Booked, of(after, scheduling.Dwell).Booked})
		require.InDelta(t, x.dryOwn, own.DryBefore(x.damaged), 1e-12)
		require.InDelta(t, x.dryBefore, made.DryBefore(x.damaged), 1e-12)
		require.Equal(t, x.processing > x.own, after.BookedExposure > before.BookedExposure, "and the clock from the first strand")
		require.Equal(t, x.dryBefore > x.dryOwn, of(after, scheduling.Dry1).Mean > of(before, scheduling.Dry1).Mean)
	}
	require.Equal(t, "normal porosity, by the maker = 25.0 min", estimate(made, head(PorosityNormal, false)).Steps[4].Working)
	figures := made.Figures(Units{})
	require.Equal(t, []string{"7 minutes", "85 %", "90 %"},
		[]string{figures[scheduling.FigureDwell], figures[scheduling.FigureDry], figures[scheduling.FigureDryDamaged]})

	// A label does not divide its minutes between two stages.
	h := head(PorosityNormal, false)
	h.TwoStage = true
	require.Equal(t, 15, of(estimate(made, h), scheduling.Process1).Booked)

	// What a label may say goes beyond what a setting may.
	require.Equal(t, 60, of(estimate(own.By(Maker{Processing: new(60.0)}), head(PorosityNormal, false)), scheduling.Process).Booked)
	require.Equal(t, own.Figures(Units{}), own.By(Maker{}).Figures(Units{}))
}
