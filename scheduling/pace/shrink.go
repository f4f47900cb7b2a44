package pace

import "math"

// Normal is what is believed of a number: its mean and its variance.
type Normal struct{ Mean, Var float64 }

// SD is the standard deviation.
func (n Normal) SD() float64 { return math.Sqrt(n.Var) }

// Update returns what is believed after weight observations with the given
// mean, each with the known variance noise (above 0). Weight need not be whole;
// with 0 nothing changes.
func (n Normal) Update(mean, weight, noise float64) Normal {
	if weight <= 0 {
		return n
	}
	if n.Var == 0 {
		return n
	}
	precision := 1/n.Var + weight/noise
	return Normal{(n.Mean/n.Var + weight*mean/noise) / precision, 1 / precision}
}

// Group is the records of one person: a total weight and the weighted mean.
type Group struct{ Weight, Mean float64 }

// TwoLevels returns what is believed of the centre of a number of groups and of
// each of them. Before any record the centre is believed to be centre; a group
// lies about the centre with the variance between, an observation about its
// group with the variance noise.
//
// It is the known-variance normal hierarchy of Gelman et al., Bayesian Data
// Analysis (3rd ed.), section 5.4; its prior of the centre is flat, ours need not be.
func TwoLevels(groups []Group, centre Normal, between, noise float64) (Normal, []Normal) {
	precision, sum := 1/centre.Var, centre.Mean/centre.Var
	for _, g := range groups {
		if g.Weight <= 0 {
			continue
		}
		v := 1 / (between + noise/g.Weight)
		precision += v
		sum += v * g.Mean
	}
	top := Normal{sum / precision, 1 / precision}
	out := make([]Normal, len(groups))
	for i, g := range groups {
		own := Normal{top.Mean, between}.Update(g.Mean, g.Weight, noise)
		// the part of the centre in the mean of the group carries its doubt along
		part := own.Var / between
		own.Var += part * part * top.Var
		out[i] = own
	}
	return top, out
}

// quantileZ is the standard normal value that is exceeded with probability 1-p.
func quantileZ(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// Wilson is the score interval for a share of which k out of n were seen: 95 of
// 100 such intervals hold the true share (Wilson, J Am Stat Assoc 22:209, 1927). It is
// 0 to 1 when n is 0.
func Wilson(k, n int) (low, high float64) {
	if n <= 0 {
		return 0, 1
	}
	z := quantileZ(0.975)
	m, p := float64(n), float64(k)/float64(n)
	middle := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return max(middle-half, 0), min(middle+half, 1)
}
