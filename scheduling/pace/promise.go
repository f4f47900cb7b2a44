package pace

import (
	"cmp"
	"math"
	"slices"
	"time"

	"chairblock/scheduling"
)

// Promise is what was promised of one finished visit, and how long it took.
type Promise struct {
	Visit, Staff string
	At           time.Time
	// Quantile is the share of visits that was to end within Minutes, which is
	// not rounded; Block is what was kept in the book for it.
	Quantile       float64
	Minutes, Block float64
	// Real is how long the visit took from its real start, in minutes.
	Real float64
	Out  Reason // why it does not count
}

// Validate returns Faults naming every field, as in JSON, that is outside its
// range.
func (p Promise) Validate() error {
	var f scheduling.Faults
	f.Between("quantile", p.Quantile, 0.5, 0.99, "")
	f.Between("promise_minutes", p.Minutes, 1, mostMinutes, "minutes")
	f.Between("block_minutes", p.Block, 1, mostMinutes, "minutes")
	f.Between("real_minutes", p.Real, 0.1, mostMinutes, "minutes")
	if p.At.IsZero() {
		f.Add("at", "is missing", "when it was, as 2026-05-07T09:00:00+01:00")
	}
	if !factsOfVisits[p.Out] {
		f.Addf("left_out", "stopped_early, interrupted, goodwill, correction, not_noted or nothing", "is %q", string(p.Out))
	}
	return f.Err()
}

// Share is how many of so many visits kept a promise, with the interval that
// holds the true share in 95 of 100 cases.
type Share struct {
	Kept, Of  int
	Low, High float64
}

func shareOf(kept, of int) Share {
	low, high := Wilson(kept, of)
	return Share{kept, of, low, high}
}

// Value is the share itself, 0 without visits.
func (s Share) Value() float64 {
	if s.Of == 0 {
		return 0
	}
	return float64(s.Kept) / float64(s.Of)
}

// Kept is how promises of one quantile were kept: within the minutes that were
// worked out, and within the whole block that was booked.
type Kept struct {
	Quantile        float64
	Minutes, Booked Share
}

// Bin counts visits whose real over promised minutes lie from From to below To.
// The first one has no lower end, the last one no upper end.
type Bin struct {
	From, To float64
	Visits   int
}

// Week is the visits of one week from its Monday on.
type Week struct {
	Monday time.Time
	Visits int
	// Kept is how many ended within the promised minutes, InBlock within the
	// block; Ratio is the middle of real over promised minutes.
	Kept, InBlock int
	Ratio         float64
}

// PromiseReport is how promises were kept.
type PromiseReport struct {
	ByQuantile []Kept // rising
	Bins       []Bin
	Weeks      []Week // those with visits, oldest first
	LeftOut    map[Reason]int
}

// Bins are a twentieth wide, from half the promise to half as much again (judgement).
const (
	binWidth           = 0.05
	firstBin, manyBins = 0.5, 20
)

// Promises works out how promises were kept; weeks are those of loc.
func Promises(list []Promise, loc *time.Location) PromiseReport {
	out := PromiseReport{LeftOut: map[Reason]int{}, Bins: make([]Bin, manyBins+2)}
	for i := range out.Bins {
		from := firstBin + binWidth*float64(i-1)
		out.Bins[i] = Bin{From: math.Round(100*from) / 100, To: math.Round(100*(from+binWidth)) / 100}
	}
	out.Bins[0].From, out.Bins[manyBins+1].To = 0, math.Inf(1)
	counted := make([]Promise, 0, len(list))
	for _, p := range list {
		if p.Out != "" {
			out.LeftOut[p.Out]++
			continue
		}
		counted = append(counted, p)
		i := int(math.Floor((p.Real/p.Minutes-firstBin)/binWidth+1e-9)) + 1
		out.Bins[min(max(i, 0), manyBins+1)].Visits++
	}
	out.ByQuantile = byQuantile(counted)
	out.Weeks = weeks(counted, loc)
	return out
}

// within reports whether minutes did not exceed limit; a second is not counted.
func within(minutes, limit float64) bool { return minutes <= limit+1.0/60 }

// KeptMinutes reports whether the visit took no longer than was promised, not
// rounded up.
func (p Promise) KeptMinutes() bool { return within(p.Real, p.Minutes) }

// KeptBlock reports whether it took no longer than was booked.
func (p Promise) KeptBlock() bool { return within(p.Real, p.Block) }

func byQuantile(list []Promise) []Kept {
	type count struct{ of, minutes, block int }
	counts := map[float64]*count{}
	for _, p := range list {
		q := math.Round(100*p.Quantile) / 100
		if counts[q] == nil {
			counts[q] = &count{}
		}
		c := counts[q]
		c.of++
		if within(p.Real, p.Minutes) {
			c.minutes++
		}
		if within(p.Real, p.Block) {
			c.block++
		}
	}
	out := make([]Kept, 0, len(counts))
	for q, c := range counts {
		out = append(out, Kept{q, shareOf(c.minutes, c.of), shareOf(c.block, c.of)})
	}
	slices.SortFunc(out, func(a, b Kept) int { return cmp.Compare(a.Quantile, b.Quantile) })
	return out
}

func weeks(list []Promise, loc *time.Location) []Week {
	ratios := map[time.Time][]float64{}
	at := map[time.Time]*Week{}
	for _, p := range list {
		day := p.At.In(loc)
		back := (int(day.Weekday()) + 6) % 7
		monday := time.Date(day.Year(), day.Month(), day.Day()-back, 0, 0, 0, 0, loc)
		w := at[monday]
		if w == nil {
			w = &Week{Monday: monday}
			at[monday] = w
		}
		w.Visits++
		if within(p.Real, p.Minutes) {
			w.Kept++
		}
		if within(p.Real, p.Block) {
			w.InBlock++
		}
		ratios[monday] = append(ratios[monday], p.Real/p.Minutes)
	}
	out := make([]Week, 0, len(at))
	for monday, w := range at {
		r := ratios[monday]
		slices.Sort(r)
		w.Ratio = (r[(len(r)-1)/2] + r[len(r)/2]) / 2
		out = append(out, *w)
	}
	slices.SortFunc(out, func(a, b Week) int { return a.Monday.Compare(b.Monday) })
	return out
}
