package chairtime

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func TestTheReferenceHeadsAreTheSeven(t *testing.T) {
	// Derived twice by independent programs that agreed.
	means := []float64{148.07867, 184.04257, 231.13565, 221.26593, 344.32804, 434.60489, 195.87206}
	list := ReferenceHeads()
	require.Len(t, list, len(means))
	for i, x := range list {
		require.NotEmpty(t, x.Name)
		require.InDelta(t, means[i], estimated(t, Default(), x.Head).Mean, 5e-6, x.Name)
	}
}

func TestEveryPlaceholderIsFilledInTheUnitsOfTheSalon(t *testing.T) {
	cm, in := Default().Figures(Units{}), Default().Figures(Units{Inches: true, Fahrenheit: true})
	require.Equal(t, "2.5 cm", cm[scheduling.FigureOffScalp])
	require.Equal(t, "0.98 in", in[scheduling.FigureOffScalp])
	require.Equal(t, []string{"180 °C", "356 °F"}, []string{cm[scheduling.FigureIronMax], in[scheduling.FigureIronMax]})
	require.Equal(t, "80 %", cm[scheduling.FigureDry])
	for _, s := range scheduling.StandardServices() {
		for _, st := range s.Steps {
			require.False(t, strings.ContainsAny(strings.Join(scheduling.Fill(st.WatchFor, cm), ""), "{}"), st.Kind)
		}
	}
}
