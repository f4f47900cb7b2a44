package chairtime

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Derived: the two scales are defined against each other, so that every row can
// be worked out by hand.
func TestDegreesBothWays(t *testing.T) {
	for _, tt := range []struct{ f, c float64 }{
		{210, 98.889}, {250, 121.111}, {265, 129.444}, {302, 150}, {320, 160}, {355, 179.444}, {392, 200}, {410, 210},
		{428, 220}, {450, 232.222}, {356, 180}, {365, 185}, {446, 230},
	} {
		require.InDelta(t, tt.c, CelsiusOfFahrenheit(tt.f), 0.0005, "%v °F", tt.f)
		require.InDelta(t, tt.f, FahrenheitOfCelsius(tt.c), 0.001, "%v °C", tt.c)
	}
	for _, tt := range []struct{ c, f float64 }{{180, 356}, {185, 365}, {230, 446}, {160, 320}, {150, 302}} {
		require.InDelta(t, tt.f, FahrenheitOfCelsius(tt.c), 0)
		require.InDelta(t, tt.c, CelsiusOfFahrenheit(tt.f), 0)
	}
}

func TestWhatIsTypedInTheOtherUnitComesBack(t *testing.T) {
	require.InDelta(t, 14.0, InchesOfCM(CMOfInches(14)), 0)
	require.InDelta(t, 35.56, CMOfInches(14), 0)
	require.Equal(t, "14 in", Units{Inches: true}.Length(CMOfInches(14)))
	rapid.Check(t, func(t *rapid.T) {
		decimals := rapid.IntRange(0, 4).Draw(t, "decimals")
		v := roundTo(rapid.Float64Range(0, 600).Draw(t, "figure"), decimals)
		require.InDelta(t, v, InchesOfCM(CMOfInches(v)), 0)
		require.InDelta(t, v, FahrenheitOfCelsius(CelsiusOfFahrenheit(v)), 0)
		cm := CMOfInches(v)
		require.InDelta(t, cm, CMOfInches(InchesOfCM(cm)), 0, "not even after many turns")
	})
}

func TestFiguresAreWrittenInTheSalonsUnits(t *testing.T) {
	si, us := Units{}, Units{Inches: true, Fahrenheit: true}
	require.Equal(t, []string{"35 cm", "180 °C"}, []string{si.Length(35), si.Heat(180)})
	require.Equal(t, []string{"13.78 in", "356 °F"}, []string{us.Length(35), us.Heat(180)})
	require.InDelta(t, 35, us.OfLength(us.InLength(35)), 1e-4)
	require.Equal(t, []float64{35, 35}, []float64{si.InLength(35), si.OfLength(35)})
}
