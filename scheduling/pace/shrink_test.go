package pace

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func meanOf(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// The published rows of the normal model with known variance.
func TestUpdateAgreesWithTextbooks(t *testing.T) {
	midges := []float64{1.64, 1.70, 1.72, 1.74, 1.82, 1.82, 1.82, 1.90, 2.08}
	for _, tt := range []struct {
		name         string
		prior        Normal
		mean         float64
		n, noise     float64
		want, sd     float64
		varOf, delta float64
	}{
		// Hoff, A First Course in Bayesian Statistical Methods, section 5.2: N(1.805, .002).
		{"midge wings as printed", Normal{1.9, 0.95 * 0.95}, 1.804, 9, 0.017, 1.805, 0, 0.002, 1e-3},
		// The same from the raw data: derived by independent programs.
		{"midge wings, raw", Normal{1.9, 0.95 * 0.95}, meanOf(midges), 9, 0.0168778, 1.8046426, 0, 0.0018714, 5e-8},
		{"midge wings, rounded mean first", Normal{1.9, 0.95 * 0.95}, 1.804, 9, 0.017, 1.8042005, 0, 0.0018849, 5e-8},
		// Output of the package that goes with Bolstad, Introduction to Bayesian Statistics.
		{"five from N(30, 4²)", Normal{30, 16}, meanOf([]float64{31.1, 28.2, 34.2, 35, 31.5}), 5, 7.335, 31.8320261, 1.1592201, 0, 5e-8},
		// Textbook exercise.
		{"one from N(69, 3²)", Normal{69, 9}, 71, 1, 16, 69.72, 2.4, 0, 1e-12},
	} {
		got := tt.prior.Update(tt.mean, tt.n, tt.noise)
		require.InDelta(t, tt.want, got.Mean, tt.delta, tt.name)
		if tt.sd > 0 {
			require.InDelta(t, tt.sd, got.SD(), tt.delta, tt.name)
		} else {
			require.InDelta(t, tt.varOf, got.Var, tt.delta, tt.name)
		}
	}
}

// Derived twice by independent programs: prior 0 ± .15, noise .20, an observed
// mean of ln 1.15 after so many visits.
var paceFactors = map[int]float64{1: 1.05160, 3: 1.09172, 5: 1.10861, 10: 1.12599, 30: 1.14104}

func TestPaceIsShrunkByTheNumberOfVisits(t *testing.T) {
	for n, want := range paceFactors {
		got := Normal{0, 0.15 * 0.15}.Update(math.Log(1.15), float64(n), 0.2*0.2)
		require.InDelta(t, want, math.Exp(got.Mean), 5e-6, "%d visits", n)
		require.InDelta(t, float64(n)/(float64(n)+1.77778)*math.Log(1.15), got.Mean, 1e-6, "%d visits", n)
	}
}

// The eight schools of Gelman et al., Bayesian Data Analysis, table 5.2; the
// results were derived twice by independent programs.
func TestTwoLevelsAgreeWithTheEightSchools(t *testing.T) {
	y := []float64{28, 8, -3, 7, -1, 1, 18, 12}
	se := []float64{15, 10, 16, 11, 9, 11, 10, 18}
	groups := make([]Group, len(y))
	for i := range y {
		groups[i] = Group{Weight: 1 / (se[i] * se[i]), Mean: y[i]} // noise 1
	}
	flat := Normal{0, 1e12}

	pooled, _ := TwoLevels(groups, flat, 1e-12, 1)
	require.InDelta(t, 7.6856, pooled.Mean, 5e-5)
	require.InDelta(t, 4.0719, pooled.SD(), 5e-5)

	top, each := TwoLevels(groups, flat, 100, 1)
	require.InDelta(t, 8.12647, top.Mean, 5e-6)
	for i, want := range []float64{14.241, 8.063, 5.001, 7.617, 3.084, 4.902, 13.063, 9.040} {
		require.InDelta(t, want, each[i].Mean, 5e-4, "school %d", i+1)
	}
}

// The slow way: the posterior on a grid of the centre and of one group, the
// others being integrated out on the grid of the centre.
func TestTwoLevelsAgreeWithAGrid(t *testing.T) {
	groups := []Group{{3, 0.12}, {1.5, -0.2}, {0, 0}, {8, 0.05}}
	centre, between, noise := Normal{0.01, 0.011}, 0.0112, 0.04
	top, each := TwoLevels(groups, centre, between, noise)
	normal := func(x, mean, v float64) float64 { return math.Exp(-(x-mean)*(x-mean)/(2*v)) / math.Sqrt(v) }
	const steps, reach = 1201, 1.2
	at := func(i int) float64 { return -reach + 2*reach*float64(i)/(steps-1) }
	for k := range groups {
		var mass, s1, s2, a1, a2 float64
		for i := range steps {
			s := at(i)
			rest := normal(s, centre.Mean, centre.Var)
			for j, g := range groups {
				if j != k && g.Weight > 0 {
					rest *= normal(g.Mean, s, between+noise/g.Weight)
				}
			}
			for j := range steps {
				a := at(j)
				p := rest * normal(a, s, between)
				if g := groups[k]; g.Weight > 0 {
					p *= normal(g.Mean, a, noise/g.Weight)
				}
				mass += p
				s1, s2, a1, a2 = s1+p*s, s2+p*s*s, a1+p*a, a2+p*a*a
			}
		}
		s1, s2, a1, a2 = s1/mass, s2/mass, a1/mass, a2/mass
		require.InDelta(t, s1, top.Mean, 1e-6)
		require.InDelta(t, s2-s1*s1, top.Var, 1e-6)
		require.InDelta(t, a1, each[k].Mean, 1e-6, "group %d", k)
		require.InDelta(t, a2-a1*a1, each[k].Var, 1e-6, "group %d", k)
	}
}

// One person alone has the whole prior, whatever is shared with the salon.
func TestOnePersonHasThePlainPrior(t *testing.T) {
	for _, shared := range []float64{0.1, 0.5, 0.9} {
		c := Default()
		c.Shared = shared
		for n, want := range paceFactors {
			_, each := TwoLevels([]Group{{float64(n), math.Log(1.15)}}, Normal{0, c.salonVar()}, c.staffVar(), c.Noise*c.Noise)
			require.InDelta(t, want, math.Exp(each[0].Mean), 5e-6)
		}
	}
}

// Newcombe, Statistics in Medicine 17:857–72 (1998), table I, method 3; from
// memory.
func TestWilsonAgreesWithNewcombe(t *testing.T) {
	for _, tt := range []struct {
		k, n      int
		low, high float64
	}{{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611}, {1, 29, 0.0061, 0.1718}} {
		low, high := Wilson(tt.k, tt.n)
		require.InDelta(t, tt.low, low, 5e-5)
		require.InDelta(t, tt.high, high, 5e-5)
	}
	low, high := Wilson(0, 0)
	require.Equal(t, []float64{0, 1}, []float64{low, high})
}
