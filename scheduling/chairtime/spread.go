package chairtime

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"chairblock/scheduling"
)

// logNormal is the distribution of a duration whose logarithm is normal with
// mean mu and standard deviation sigma. Of surgical cases it is known to fit
// better than the normal (Strum, May et al., Anesthesiology 98(1), 2003); for
// work on hair it is assumed.
type logNormal struct{ mu, sigma float64 }

// logNormalOf returns the distribution with the given mean (above 0) and
// standard deviation.
func logNormalOf(mean, sd float64) logNormal {
	cv := sd / mean
	v := math.Log1p(cv * cv)
	return logNormal{math.Log(mean) - v/2, math.Sqrt(v)}
}

func (l logNormal) mean() float64 { return math.Exp(l.mu + l.sigma*l.sigma/2) }

func (l logNormal) sd() float64 {
	return l.mean() * math.Sqrt(math.Expm1(l.sigma*l.sigma))
}

// at returns the value z standard deviations from the middle of the logarithm.
func (l logNormal) at(z float64) float64 { return math.Exp(l.mu + z*l.sigma) }

func (l logNormal) quantile(p float64) float64 { return l.at(normalQuantile(p)) }

// below returns the probability of a value of at most x.
func (l logNormal) below(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return math.Erfc(-(math.Log(x)-l.mu)/(l.sigma*math.Sqrt2)) / 2
}

// normalQuantile returns the standard normal value that is exceeded with
// probability 1-p.
func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// alike is the mean of all parts of a sum whose logarithms have the same sigma,
// and the squares of their means.
type alike struct{ sigma, mean, squares float64 }

// sumAlike returns the log-normal with the mean and the variance of the sum of parts
// (Fenton–Wilkinson moment matching), rho being the correlation of the logarithms of
// any two. Steps have few different spreads, so parts that share theirs are counted together: with the
// squares set apart, any two of them add the same.
func sumAlike(parts []logNormal, rho float64) logNormal {
	var room [mostSteps]alike
	groups := room[:0]
	var sum float64
	for _, p := range parts {
		m := p.mean()
		sum += m
		i := slices.IndexFunc(groups, func(g alike) bool { return math.Abs(g.sigma-p.sigma) <= sameSigma })
		if i < 0 {
			i = len(groups)
			groups = append(groups, alike{sigma: p.sigma})
		}
		groups[i].mean += m
		groups[i].squares += m * m
	}
	var variance float64
	for i, g := range groups {
		v := g.sigma * g.sigma
		variance += g.squares*math.Expm1(v) + (g.mean*g.mean-g.squares)*math.Expm1(rho*v)
		for _, h := range groups[:i] {
			variance += 2 * g.mean * h.mean * math.Expm1(rho*g.sigma*h.sigma)
		}
	}
	return logNormalOf(sum, math.Sqrt(variance))
}

// sameSigma is the difference that the last bits of a spread make.
const sameSigma = 1e-12

// total is the distribution of a whole visit: a fixed part plus hands-on work.
type total struct {
	fixed float64
	work  logNormal
}

// totalOf adds up steps; the logarithms of any two have the correlation rho,
// because one head and one pair of hands make them slow or quick together.
// Further looks depend on the hair alone: their mean and their variance are
// added without any correlation.
func totalOf(steps []StepTime, rho float64) total {
	var t total
	var room [mostSteps]logNormal
	parts := room[:0]
	var looks, variance float64
	for i := range steps {
		s := &steps[i]
		if !s.Fixed {
			parts = append(parts, logNormalOf(s.Mean, s.SD))
			continue
		}
		t.fixed += s.planned()
		if s.Further != nil {
			looks += s.Further.Mean
			variance += s.Further.SD * s.Further.SD
		}
	}
	t.work = sumAlike(parts, rho)
	if variance > 0 {
		sd := t.work.sd()
		t.work = logNormalOf(t.work.mean()+looks, math.Sqrt(sd*sd+variance))
	}
	return t
}

func (t total) at(z float64) float64         { return t.fixed + t.work.at(z) }
func (t total) quantile(p float64) float64   { return t.fixed + t.work.quantile(p) }
func (t total) below(minute float64) float64 { return t.work.below(minute - t.fixed) }

// ShareOut divides block whole minutes among steps: fixed steps keep their
// planned length, further looks being part of the room that the others get,
// every other step gets its value at one common distance z from its
// middle, so that all are equally likely to be kept. The parts are cut to whole
// minutes and what is left over goes to the largest fractions, ties in the
// order of the steps; no step gets less than a minute.
//
// It returns an *InvalidError for block_minutes when the block is too short for
// that or when there is no hands-on step to fill it, and for steps when one of
// them has no length or no spread.
func ShareOut(steps []StepTime, block int) ([]int, error) {
	out := make([]int, len(steps))
	if err := shareOut(out, steps, block); err != nil {
		return nil, err
	}
	return out, nil
}

// shareOut is ShareOut into out, which has a place for each step.
func shareOut(out []int, steps []StepTime, block int) error {
	var room [mostSteps]logNormal
	parts := room[:0]
	fixed := 0
	for i := range steps {
		switch s := &steps[i]; {
		case s.Fixed:
			out[i] = max(ceil(s.planned()), 1)
			fixed += out[i]
		case !(s.Mean > 0 && s.SD > 0) || math.IsInf(s.Mean, 0) || math.IsInf(s.SD, 0):
			return &scheduling.InvalidError{
				Field: "steps", Problem: "contain " + string(s.Kind) + " without length or spread",
				Want: "a mean and a spread above 0",
			}
		default:
			parts = append(parts, logNormalOf(s.Mean, s.SD))
		}
	}
	least := fixed + len(parts)
	if block < least || len(parts) == 0 && block > least {
		return &scheduling.InvalidError{
			Field: "block_minutes", Problem: "is " + scheduling.Number(float64(block)),
			Want: "at least " + scheduling.Number(float64(least)) + " minutes for these steps",
		}
	}
	var places [mostSteps]int
	shares := wholeMinutes(places[:0], parts, block-fixed)
	for i := range steps {
		if !steps[i].Fixed {
			out[i], shares = shares[0], shares[1:]
		}
	}
	return nil
}

// rest is what cutting a length to whole minutes leaves over.
type rest struct {
	part     int
	fraction float64
}

// wholeMinutes shares room, at least a minute for each, out over parts, and
// appends the lengths to out.
func wholeMinutes(out []int, parts []logNormal, room int) []int {
	z := commonZ(parts, float64(room))
	var places [mostSteps]rest
	rests := places[:0]
	left := room
	for j, p := range parts {
		v := max(p.at(z), 1)
		out = append(out, int(v))
		rests = append(rests, rest{j, v - math.Floor(v)})
		left -= int(v)
	}
	slices.SortStableFunc(rests, func(a, b rest) int { return cmp.Compare(b.fraction, a.fraction) })
	for j := 0; left > 0; j = (j + 1) % len(rests) {
		out[rests[j].part]++
		left--
	}
	return out
}

// commonZ returns z such that the parts at z, each at least a minute, add up to
// room; room must be at least a minute for each.
func commonZ(parts []logNormal, room float64) float64 {
	sum := func(z float64) (v, slope float64) {
		for _, p := range parts {
			if x := p.at(z); x > 1 {
				v += x
				slope += p.sigma * x
			} else {
				v++
			}
		}
		return v, slope
	}
	lo, hi := -1.0, 1.0
	for v, _ := sum(lo); v > room; v, _ = sum(lo) {
		lo *= 2
	}
	for v, _ := sum(hi); v < room; v, _ = sum(hi) {
		hi *= 2
	}
	z := (lo + hi) / 2
	for range 200 {
		v, slope := sum(z)
		if math.Abs(v-room) <= 1e-10*room || hi-lo < 1e-15 {
			break
		}
		if v > room {
			hi = z
		} else {
			lo = z
		}
		if z += (room - v) / slope; !(z > lo && z < hi) {
			z = (lo + hi) / 2
		}
	}
	return z
}

// Draw returns one possible course of the visit in minutes per step, with the
// spreads of the steps, the correlation rho between their logarithms, and the
// further looks that hair which is not ready asks for.
func Draw(r *rand.Rand, steps []StepTime, rho float64) []float64 {
	out := make([]float64, len(steps))
	common := r.NormFloat64()
	for i, s := range steps {
		if s.Fixed {
			out[i] = s.planned()
			if s.Further != nil {
				out[i] += s.Further.draw(r)
			}
			continue
		}
		z := math.Sqrt(rho)*common + math.Sqrt(1-rho)*r.NormFloat64()
		out[i] = logNormalOf(s.Mean, s.SD).at(z)
	}
	return out
}
