package scheduling

import (
	"cmp"
	"math"
	"slices"

	"github.com/rickb777/date"
)

// HairWork says what was done to hair.
type HairWork string

// Kinds of work. Straightened, Retouched and RelaxedOrPermed break and close the
// bonds of the hair and are counted as treatments; the others are only noted.
const (
	Straightened    HairWork = "straightened" // all of the hair
	Retouched       HairWork = "retouched"    // new hair only
	RelaxedOrPermed HairWork = "relaxer_or_perm"
	Bleached        HairWork = "bleached_or_highlighted"
	Coloured        HairWork = "coloured"
	HennaOrOther    HairWork = "henna_or_other"
	NotSure         HairWork = "not_sure"  // something may have been done up to that day
	Untreated       HairWork = "untreated" // nothing had been done up to that day
)

// treats reports whether the work counts as a treatment.
func (w HairWork) treats() bool { return w == Straightened || w == Retouched || w == RelaxedOrPermed }

// HairDone is one piece of work on a client's hair.
type HairDone struct {
	On   date.Date
	Work HairWork
	// NewCM is the new hair in cm that a retouch treated; OverlapCM how far
	// beyond it product or heat reached.
	NewCM, OverlapCM float64
}

// HairMeasured is the stretched length in cm on one day, before any work of that
// day, and the new hair since the last treatment where it was measured, else 0.
type HairMeasured struct {
	On              date.Date
	LengthCM, NewCM float64
}

// HairHistory is what is known of a client's hair.
type HairHistory struct {
	// Measured must have at least one entry.
	Measured []HairMeasured
	Done     []HairDone
	// Told is true when the client was asked what was done elsewhere. What grew
	// before the salon first saw the hair is unknown otherwise.
	Told bool
	// CutCM is what was cut since the last measurement, as told; 0 when nothing
	// was, or nobody knows.
	CutCM float64
}

// HairZone is a stretch of hair with one history.
type HairZone struct {
	// From and To are distances from the scalp in cm.
	From, To float64
	// Times is how often it was treated, Overlaps how often product or heat of a
	// retouch reached it beyond the new hair.
	Times, Overlaps int
	// Unknown is true when more may have been done than Times says.
	Unknown  bool
	Bleached bool
	// By names the work that reached it, as places in HairHistory.Done.
	By []int
}

// HairCut is hair that was cut between two measurements: what should have been
// there and was not.
type HairCut struct {
	From, To date.Date
	CM       float64
}

// HairMap is a client's hair from scalp to ends.
type HairMap struct {
	LengthCM float64
	Zones    []HairZone
	// Cuts are in order of days; the last one is what was told.
	Cuts []HairCut
	// New is the hair in cm that grew since the last treatment that reached the
	// scalp, all of it where there was none.
	New float64
}

// cutFromCM is how much shorter than expected hair has to be to count as cut:
// less lies within what growth and tape measure leave open (judgement).
const cutFromCM = 0.5

// thinnestCM is the thinnest zone, in cm: whatever lies nearer together is one place,
// since nobody measures hair to half a millimetre (judgement).
const thinnestCM = 0.05

// MapHair lays h out along the hair as it is on a day. Hair keeps what was done
// to it while growth pushes it outwards and cuts take the ends away; what was
// measured as new hair counts instead of the rate of growth. The stretch that
// solution keeps off the scalp counts as treated, so that the map errs towards
// more treatments.
//
// It returns Faults when there is no measurement, when work or a measurement
// lies after the day, or when more was cut than there is.
func MapHair(h HairHistory, g Growth, on date.Date) (HairMap, error) {
	if err := h.check(on); err != nil {
		return HairMap{}, err
	}
	m := slices.Clone(h.Measured)
	slices.SortStableFunc(m, func(a, b HairMeasured) int { return int(a.On.Sub(b.On)) })
	k := newGrowing(h, g)
	var out HairMap
	for i := 1; i < len(m); i++ {
		if cut := m[i-1].LengthCM + k.between(m[i-1].On, m[i].On) - m[i].LengthCM; cut >= cutFromCM {
			out.Cuts = append(out.Cuts, HairCut{m[i-1].On, m[i].On, cut})
		}
	}
	last := m[len(m)-1]
	out.LengthCM = last.LengthCM + k.between(last.On, on) - h.CutCM
	if !(out.LengthCM > 0) {
		return HairMap{}, Faults{{Field: "cut_cm", Problem: "is " + Number(h.CutCM), Want: "less than the hair that there is, about " + Number(math.Round(10*(out.LengthCM+h.CutCM))/10) + " cm"}}
	}
	if h.CutCM > 0 {
		out.Cuts = append(out.Cuts, HairCut{last.On, on, h.CutCM})
	}
	out.Zones = zones(h, k, out.LengthCM, m[0].On, on)
	out.New = out.LengthCM
	for _, d := range h.Done {
		if d.Work.treats() {
			out.New = min(out.New, k.between(d.On, on))
		}
	}
	return out, nil
}

func (h HairHistory) check(on date.Date) error {
	var f Faults
	if len(h.Measured) == 0 {
		f.Add("", "nobody has measured this hair yet", "a measurement")
	}
	for _, m := range h.Measured {
		if m.On.After(on) {
			f.Add("on", "is "+on.String()+", before the hair was measured on "+m.On.String(), "that day or later")
		}
	}
	for _, d := range h.Done {
		if d.On.After(on) {
			f.Add("on", "is "+on.String()+", before the work of "+d.On.String(), "that day or later")
		}
	}
	f.Between("cut_cm", h.CutCM, 0, 120, "cm")
	return f.Err()
}

// growing is how quickly hair grew from one day to the next.
type growing struct {
	rate float64    // cm a day
	seen []measured // measured stretches, in order, not lying over each other
}

type measured struct {
	from, to date.Date
	rate     float64 // cm a day
}

// newGrowing finds the stretches in which growth was measured: from a treatment,
// or from the measurement before, to the next measurement of new hair.
func newGrowing(h HairHistory, g Growth) growing {
	k := growing{rate: g.Rate / daysPerMonth}
	m := h.newHair()
	for i, x := range m {
		since, ok := h.treatedBefore(x.On)
		if !ok {
			continue
		}
		from, cm := since, x.NewCM
		for _, y := range m[:i] {
			if y.On.After(since) {
				from, cm = y.On, x.NewCM-y.NewCM
			}
		}
		if days := float64(x.On.Sub(from)); days > 0 && plausible(cm/days*daysPerMonth) {
			k.seen = append(k.seen, measured{from, x.On, cm / days})
		}
	}
	return k
}

// newHair lists where new hair was measured, one entry a day in order of days. A
// retouch measures what it treats.
func (h HairHistory) newHair() []HairMeasured {
	var out []HairMeasured
	for _, d := range h.Done {
		if d.Work == Retouched && d.NewCM > 0 {
			out = append(out, HairMeasured{On: d.On, NewCM: d.NewCM})
		}
	}
	for _, m := range h.Measured {
		if m.NewCM > 0 && !slices.ContainsFunc(out, func(o HairMeasured) bool { return o.On.Equal(m.On) }) {
			out = append(out, m)
		}
	}
	slices.SortFunc(out, func(a, b HairMeasured) int { return int(a.On.Sub(b.On)) })
	return out
}

// treatedBefore returns the last treatment before d.
func (h HairHistory) treatedBefore(d date.Date) (date.Date, bool) {
	var last date.Date
	found := false
	for _, x := range h.Done {
		if x.Work.treats() && x.On.Before(d) && (!found || x.On.After(last)) {
			last, found = x.On, true
		}
	}
	return last, found
}

// between returns the growth in cm from one day to a later one.
func (k growing) between(from, to date.Date) float64 {
	if !to.After(from) {
		return 0
	}
	left, sum := float64(to.Sub(from)), 0.0
	for _, x := range k.seen {
		if a, b := x.from.Max(from), x.to.Min(to); b.After(a) {
			days := float64(b.Sub(a))
			sum, left = sum+days*x.rate, left-days
		}
	}
	return sum + left*k.rate
}

// reach is the stretch of today's hair that a piece of work reached, and how far
// the overlap of a retouch reached beyond it.
type reach struct{ from, to, overlap float64 }

func (k growing) reach(d HairDone, length float64, on date.Date) reach {
	from := min(k.between(d.On, on), length)
	if d.Work != Retouched {
		return reach{from, length, length}
	}
	to := min(from+d.NewCM, length)
	return reach{from, to, min(to+d.OverlapCM, length)}
}

// zones cuts the hair where its history changes.
func zones(h HairHistory, k growing, length float64, first, on date.Date) []HairZone {
	reaches := make([]reach, len(h.Done))
	known := min(k.between(first, on), length) // what grew since the salon first saw the hair
	ends := []float64{0, length, known}
	for i, d := range h.Done {
		reaches[i] = k.reach(d, length, on)
		ends = append(ends, reaches[i].from, reaches[i].to, reaches[i].overlap)
	}
	slices.Sort(ends)
	ends = slices.CompactFunc(ends, func(a, b float64) bool { return math.Abs(a-b) < thinnestCM })
	ends[len(ends)-1] = length
	var out []HairZone
	for i := 1; i < len(ends); i++ {
		z := h.zone(reaches, ends[i-1], ends[i], known)
		if n := len(out) - 1; n >= 0 && out[n].same(z) {
			out[n].To = z.To
			continue
		}
		out = append(out, z)
	}
	return out
}

func (h HairHistory) zone(reaches []reach, from, to, known float64) HairZone {
	z := HairZone{From: from, To: to, Unknown: !h.Told && (from+to)/2 >= known}
	middle := (from + to) / 2
	var sure, unsure *date.Date
	for i, d := range h.Done {
		r := reaches[i]
		switch {
		case middle < r.from || middle > r.overlap:
			continue
		case middle > r.to:
			z.Overlaps++
		case d.Work.treats():
			z.Times++
		}
		switch d.Work {
		case Bleached:
			z.Bleached = true
		case NotSure:
			unsure = later(unsure, d.On)
		case Untreated:
			sure = later(sure, d.On)
		case Straightened, Retouched, RelaxedOrPermed, Coloured, HennaOrOther:
		}
		z.By = append(z.By, i)
	}
	switch {
	case sure != nil && (unsure == nil || !unsure.After(*sure)):
		z.Unknown = false
	case unsure != nil:
		z.Unknown = true
	}
	slices.SortFunc(z.By, func(a, b int) int { return cmp.Or(int(h.Done[a].On.Sub(h.Done[b].On)), cmp.Compare(a, b)) })
	return z
}

func later(old *date.Date, d date.Date) *date.Date {
	if old != nil && old.After(d) {
		return old
	}
	return &d
}

// same reports whether two zones have the same history.
func (z HairZone) same(o HairZone) bool {
	return z.Times == o.Times && z.Overlaps == o.Overlaps && z.Unknown == o.Unknown && z.Bleached == o.Bleached && slices.Equal(z.By, o.By)
}
