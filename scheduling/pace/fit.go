package pace

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// Row is what records say of one kind of step: of one person, of two people
// together, or of the whole salon.
type Row struct {
	// Staff is "" for the salon. With is the second person; Pair is true for
	// steps that two pairs of hands share, of the salon as well.
	Staff, With string
	Pair        bool
	Kind        scheduling.StepKind

	// Visits is the number of visits that count, Weight what they are worth
	// today: visits lose weight with age, and steps that shared a noted stretch
	// count their part of it. Since is the oldest of them.
	Visits int
	Weight float64
	Since  time.Time
	// Bias is the weighted mean of the logarithm of real over expected minutes,
	// measured against the middle of what the sheet expects; CV is the spread of
	// the records about it, as a share. Both are bare records, 0 without any; CV
	// also with fewer than two visits that have both ends noted.
	Bias, CV float64
	// Factor is what the sheet's mean is multiplied by, Low and High hold it
	// between them in 8 of 10 cases.
	Factor, Low, High float64
	// Spread is the standard deviation as a share of the mean that goes with
	// Factor; 0 as long as the sheet's own stands.
	Spread float64
}

// Fit is what all records say.
type Fit struct {
	// Rows are ordered by kind, alone before pair, the salon first, then by
	// person.
	Rows []Row
	// Counted is the number of observations that count, LeftOut that of the
	// others by reason.
	Counted int
	LeftOut map[Reason]int
	// Visits is the number of visits behind Rows.
	Visits int
}

// Bounds of a factor: what lies outside is not used as it stands. Nobody is twice as quick
// or as slow as the sheet at the same work (judgement).
const (
	leastFactor = 0.5
	mostFactor  = 2
)

// intervalZ is the half width of the interval that holds 8 of 10 cases.
var intervalZ = quantileZ(0.9)

// enoughForMiddle is the number of visits from which on the middle of somebody's
// own is what outliers are measured from.
const enoughForMiddle = 5

// key says where an observation belongs.
type key struct {
	kind        scheduling.StepKind
	pair        bool
	staff, with string
}

// point is what one visit says of one key.
type point struct {
	key
	visit  string
	at     time.Time
	sheet  float64
	real   float64
	vari   float64 // of the logarithm, by the sheet
	steps  int
	y, w   float64
	unfair bool // left out
}

// Fitter works records of one salon out. From and Off say what does not count.
type Fitter struct {
	Settings Settings
	// From is the date from which on records of everybody count, FromOf of one
	// person; the zero time counts all.
	From   time.Time
	FromOf map[string]time.Time
	// Off are people whose records are not used.
	Off map[string]bool
}

// Fit works the paces out as they are at now. Observations of one visit that are
// of the same kind and person are taken together. The order of list does not
// matter.
//
// It returns Faults for settings outside their range and an *InvalidError for
// observations that are more than a salon can have; single ones that cannot be
// are counted as Unlikely.
func (x Fitter) Fit(list []Observation, now time.Time) (Fit, error) {
	if err := x.Settings.Validate(); err != nil {
		return Fit{}, err
	}
	out := Fit{LeftOut: map[Reason]int{}}
	points, err := x.points(list, now, &out)
	if err != nil {
		return Fit{}, err
	}
	x.outliers(points)
	points = slices.DeleteFunc(points, func(p point) bool {
		if p.unfair {
			out.LeftOut[FarOff]++
		}
		return p.unfair
	})
	visits := make(map[string]struct{}, len(points)/8)
	for i := range points {
		visits[points[i].visit] = struct{}{}
	}
	out.Counted, out.Visits = len(points), len(visits)
	for len(points) > 0 { // one kind after the other
		n := 1
		for n < len(points) && points[n].kind == points[0].kind && points[n].pair == points[0].pair {
			n++
		}
		out.Rows = x.kind(out.Rows, points[:n])
		points = points[n:]
	}
	return out, nil
}

// why says whether an observation does not count before it is looked at.
func (x *Fitter) why(o *Observation) Reason {
	switch {
	case o.Out != "":
		return o.Out
	case x.Off[o.Staff] || x.Off[o.With]:
		return SwitchedOff
	case o.At.Before(x.From) || o.At.Before(x.FromOf[o.Staff]) || o.At.Before(x.FromOf[o.With]):
		return TooOld
	}
	return ""
}

// points takes what belongs together together, in the order of Fit.Rows, and
// leaves out what cannot be.
func (x *Fitter) points(list []Observation, now time.Time, out *Fit) ([]point, error) {
	sorted, err := x.inOrder(list, out)
	if err != nil {
		return nil, err
	}
	points := make([]point, 0, len(sorted))
	for i := 0; i < len(sorted); {
		p := pointOf(&list[sorted[i].at])
		for first := i; i < len(sorted) && sorted[i].code == sorted[first].code && (i == first || p.visit != ""); i++ {
			if i > first {
				more := pointOf(&list[sorted[i].at])
				p.merge(&more)
			}
		}
		if !x.weigh(&p, now) {
			out.LeftOut[Unlikely]++
			continue
		}
		points = append(points, p)
	}
	return points, nil
}

// coded is an observation by its place in the list, with what it is sorted by.
type coded struct {
	code uint64
	at   int32
}

// inOrder sorts what counts by kind, pair, people and visit. Names become
// numbers first, because comparing them over and over takes most of the time.
func (x *Fitter) inOrder(list []Observation, out *Fit) ([]coded, error) {
	kinds, people, visits := number(list)
	if len(visits) >= 1<<visitBits || len(people) >= 1<<peopleBits || len(kinds) >= 1<<kindBits {
		return nil, &scheduling.InvalidError{Field: "observations", Problem: fmt.Sprintf("name %d visits, %d people and %d kinds of steps",
			len(visits), len(people), len(kinds)), Want: "those of one salon"}
	}
	sorted := make([]coded, 0, len(list))
	for i := range list {
		o := &list[i]
		if why := x.why(o); why != "" {
			out.LeftOut[why]++
			continue
		}
		code := kinds[o.Kind] << 1
		a, b := people[o.Staff], uint64(0)
		if o.With != "" {
			code |= 1
			b = people[o.With]
			a, b = min(a, b), max(a, b) // the two are one pair, whoever leads
		}
		code = (code<<peopleBits|a)<<peopleBits | b
		sorted = append(sorted, coded{code<<visitBits | visits[o.Visit], int32(i)})
	}
	slices.SortFunc(sorted, func(a, b coded) int { return cmp.Or(cmp.Compare(a.code, b.code), cmp.Compare(a.at, b.at)) })
	return sorted, nil
}

// Bits of a code, one more being that of a pair.
const (
	kindBits   = 9
	peopleBits = 14
	visitBits  = 26
)

// number numbers kinds in the order of a visit, people by name, and visits.
func number(list []Observation) (kinds map[scheduling.StepKind]uint64, people, visits map[string]uint64) {
	kinds, people, visits = map[scheduling.StepKind]uint64{}, map[string]uint64{}, make(map[string]uint64, len(list)/8)
	var kindList []scheduling.StepKind
	var names []string
	last := ""
	for i := range list {
		o := &list[i]
		if _, ok := kinds[o.Kind]; !ok {
			kinds[o.Kind] = 0
			kindList = append(kindList, o.Kind)
		}
		for _, name := range [2]string{o.Staff, o.With} {
			if _, ok := people[name]; !ok {
				people[name] = 0
				names = append(names, name)
			}
		}
		if i == 0 || o.Visit != last {
			last = o.Visit
			if _, ok := visits[last]; !ok {
				visits[last] = uint64(len(visits))
			}
		}
	}
	slices.Sort(names)
	for i, name := range names {
		people[name] = uint64(i)
	}
	slices.SortFunc(kindList, func(a, b scheduling.StepKind) int {
		a, b = chairtime.PaceKind(a), chairtime.PaceKind(b)
		return cmp.Or(order(a)-order(b), cmp.Compare(a, b))
	})
	n, before := uint64(0), scheduling.StepKind("")
	for i, k := range kindList { // kinds that share a pace share a number
		if own := chairtime.PaceKind(k); i == 0 || own != before {
			n, before = n+1, own
		}
		kinds[k] = n
	}
	return kinds, people, visits
}

func pointOf(o *Observation) point {
	p := point{key: key{kind: chairtime.PaceKind(o.Kind), pair: o.With != "", staff: o.Staff, with: o.With}, visit: o.Visit, at: o.At,
		sheet: o.Sheet, real: o.Real, steps: max(o.Steps, 1)}
	if p.pair && p.with < p.staff {
		p.staff, p.with = p.with, p.staff
	}
	if o.Sheet > 0 {
		cv := o.SD / o.Sheet
		p.vari = math.Log1p(cv * cv)
	}
	return p
}

// merge adds another step of the same visit, such as a second batch.
func (p *point) merge(o *point) {
	p.vari = (p.vari*p.sheet + o.vari*o.sheet) / (p.sheet + o.sheet)
	p.sheet += o.sheet
	p.real += o.real
	p.steps = max(p.steps, o.steps)
}

// weigh works out what a point says and how much it counts, and reports whether
// it can be at all.
func (x *Fitter) weigh(p *point, now time.Time) bool {
	ratio := p.real / p.sheet
	if !(ratio >= x.Settings.LeastRatio && ratio <= x.Settings.MostRatio) || p.real > mostMinutes || math.IsNaN(p.vari) || math.IsInf(p.vari, 0) {
		return false
	}
	// The middle of what the sheet expects lies below its mean.
	p.y = math.Log(ratio) + p.vari/2
	age := max(now.Sub(p.at).Hours()/24, 0)
	p.w = math.Exp2(-age/x.Settings.HalfLife) / float64(p.steps)
	return true
}

// outliers marks points that lie too far from the middle of their person's, or
// of the salon's where a person has few.
func (x *Fitter) outliers(points []point) {
	var room []float64
	middle := func(list []point) (float64, bool) {
		if len(list) < enoughForMiddle {
			return 0, false
		}
		room = room[:0]
		for i := range list {
			room = append(room, list[i].y)
		}
		slices.Sort(room)
		n := len(room)
		return (room[(n-1)/2] + room[n/2]) / 2, true
	}
	for len(points) > 0 {
		kind := run(points, func(a, b *point) bool { return a.kind == b.kind && a.pair == b.pair })
		salon, _ := middle(kind)
		points = points[len(kind):]
		for len(kind) > 0 {
			own := run(kind, func(a, b *point) bool { return a.key == b.key })
			centre, ok := middle(own)
			if !ok {
				centre = salon
			}
			for i := range own {
				sd := max(x.Settings.Noise, math.Sqrt(own[i].vari))
				own[i].unfair = math.Abs(own[i].y-centre) > x.Settings.Outlier*sd
			}
			kind = kind[len(own):]
		}
	}
}

// run is the first points of list that are the same.
func run(list []point, same func(a, b *point) bool) []point {
	n := 1
	for n < len(list) && same(&list[0], &list[n]) {
		n++
	}
	return list[:n]
}
