package pace

import (
	"cmp"
	"math"
	"slices"

	"chairblock/scheduling"
)

// kindOrder is the order in which a visit goes.
var kindOrder = []scheduling.StepKind{scheduling.Talk, scheduling.Wash, scheduling.Prep, scheduling.Apply, scheduling.Rinse1,
	scheduling.Dry1, scheduling.Iron, scheduling.Neutral, scheduling.Rinse2, scheduling.Dry2, scheduling.Finish, scheduling.Close}

// Kinds lists the kinds of steps that have a pace, in the order of a visit.
func Kinds() []scheduling.StepKind { return slices.Clone(kindOrder) }

func order(k scheduling.StepKind) int {
	if i := slices.Index(kindOrder, k); i >= 0 {
		return i
	}
	return len(kindOrder)
}

// kind adds the rows of one kind of step, alone or in pairs, whose points are
// given in the order of people.
func (x *Fitter) kind(rows []Row, points []point) []Row {
	c := &x.Settings
	var people [][]point
	var groups []Group
	for rest := points; len(rest) > 0; {
		own := run(rest, func(a, b *point) bool { return a.key == b.key })
		people = append(people, own)
		g := Group{}
		for i := range own {
			g.Weight += own[i].w
			g.Mean += own[i].w * own[i].y
		}
		if g.Weight > 0 {
			g.Mean /= g.Weight
		}
		groups = append(groups, g)
		rest = rest[len(own):]
	}
	top, each := TwoLevels(groups, Normal{0, c.salonVar()}, c.staffVar(), c.Noise*c.Noise)
	salon := Row{Pair: points[0].pair, Kind: points[0].kind}
	rows = append(rows, c.row(salon, points, top))
	for i, own := range people {
		rows = append(rows, c.row(Row{Staff: own[0].staff, With: own[0].with, Pair: own[0].pair, Kind: own[0].kind}, own, each[i]))
	}
	return rows
}

// row fills in what points say, believed being what is believed of the
// logarithm of the factor.
func (c *Settings) row(r Row, points []point, believed Normal) Row {
	var weight, sum, prior float64
	var alone, aloneSum float64
	singles := 0
	for i := range points {
		p := &points[i]
		weight += p.w
		sum += p.w * p.y
		if r.Visits == 0 || p.at.Before(r.Since) {
			r.Since = p.at
		}
		r.Visits++
		if p.steps == 1 {
			singles++
			alone += p.w
			aloneSum += p.w * p.y
			prior += p.w * p.vari
		}
	}
	r.Weight = weight
	if weight > 0 {
		r.Bias = sum / weight
	}
	extra := 0.0
	if singles >= 2 && alone > 0 {
		squares := 0.0
		for i := range points {
			if p := &points[i]; p.steps == 1 {
				d := p.y - aloneSum/alone
				squares += p.w * d * d
			}
		}
		own := squares / alone * float64(singles) / float64(singles-1)
		r.CV = math.Sqrt(math.Expm1(own))
		if prior /= alone; singles >= int(c.SpreadFrom) && prior > 0 {
			// what the records say counts as much as they weigh, the sheet's as many visits as set
			v := (c.SpreadPrior*prior + alone*own) / (c.SpreadPrior + alone)
			r.Spread = math.Sqrt(math.Expm1(v))
			extra = (v - prior) / 2 // the mean lies above the middle by so much more
		}
	}
	at := func(z float64) float64 {
		return min(max(math.Exp(believed.Mean+z*believed.SD()+extra), leastFactor), mostFactor)
	}
	r.Factor, r.Low, r.High = at(0), at(-intervalZ), at(intervalZ)
	return r
}

// Sort puts rows into the order of Fit.
func Sort(rows []Row) {
	slices.SortFunc(rows, func(a, b Row) int {
		pair := func(r *Row) int {
			if r.Pair {
				return 1
			}
			return 0
		}
		return cmp.Or(order(a.Kind)-order(b.Kind), cmp.Compare(a.Kind, b.Kind), pair(&a)-pair(&b), cmp.Compare(a.Staff, b.Staff),
			cmp.Compare(a.With, b.With))
	})
}
