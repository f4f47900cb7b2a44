package ranking

import (
	"fmt"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// Standard is a visit of the salon's usual mix.
type Standard struct {
	Name   string // of one, for example "root colour"
	Plural string // of several; "" for Name with an s
	Spec   openings.VisitSpec
	// PerDay is how many of it a usual day asks for, 1 to 60. More room than
	// that is worth nothing.
	PerDay int
	// Worth is the weight of one, above 0, in one measure for all (price,
	// minutes). Dearer visits are placed first.
	Worth float64
}

// Day is a stretch of minutes on which the loss is counted, usually from local
// midnight to the next. Candidates that start on no day are left out.
type Day struct {
	openings.Span
	// Wish is the wished time of that day, both ends included; nil when none.
	Wish *openings.StartRange
}

// Input is a question for a ranking.
type Input struct {
	Snapshot *openings.Snapshot
	// Visit is the specification that the plan of Starts was compiled from.
	Visit openings.VisitSpec
	// Starts are all starts of the visit in Snapshot, Grid the grid of the
	// query that found them.
	Starts *openings.StartSet
	Grid   openings.Minute
	// Offer is the distance of the starts that are offered inside a range, in
	// minutes from the beginning of the day, 0 to 1440. Both ends of every
	// range and the starts nearest to the wish are offered whatever it is; 0
	// offers nothing else.
	Offer openings.Minute
	// Mix is the usual mix; empty counts no loss.
	Mix     []Standard
	Weights Weights
	// Days are sorted and do not overlap.
	Days []Day
	// Lead is the id of the wished stylist in charge, "" when none is wished.
	Lead string
}

// Limits of a question. Judgement: far beyond any salon.
const (
	maxMix      = 20
	maxPerDay   = 60
	maxBindings = 2000
	maxDays     = 800
	maxBest     = 1000
)

// validate returns Faults that name the faulty fields of in.
func (in *Input) validate(n int) error {
	var f scheduling.Faults
	if in.Snapshot == nil || in.Starts == nil {
		f.Add("starts", "or snapshot is missing", "the starts found in a snapshot, and that snapshot")
		return f.Err()
	}
	f.Count("n", n, 1, maxBest)
	f.Count("grid", int(in.Grid), 1, 1440)
	f.Count("offer", int(in.Offer), 0, 1440)
	_ = f.Join("weights", in.Weights.Validate())
	if len(in.Mix) > maxMix {
		f.Addf("mix", fmt.Sprintf("at most %d", maxMix), "has %d entries", len(in.Mix))
	}
	for i := range in.Mix {
		in.Mix[i].validate(&f, fmt.Sprintf("mix[%d]", i), in.Snapshot)
	}
	in.validateDays(&f)
	if err := f.Join("visit", specError(in.Visit, in.Snapshot)); err != nil {
		return fmt.Errorf("ranking: visit: %w", err)
	}
	return f.Err()
}

func (s *Standard) validate(f *scheduling.Faults, at string, snap *openings.Snapshot) {
	if s.Name == "" {
		f.Add(at+".name", "is empty", "what one is called, such as root colour")
	}
	f.Count(at+".per_day", s.PerDay, 1, maxPerDay)
	if !(s.Worth > 0) || !finite(s.Worth) || s.Worth > 1e9 {
		f.Addf(at+".worth", "above 0, at most a thousand million", "is %s", scheduling.Number(s.Worth))
	}
	_ = f.Join(at+".spec", specError(s.Spec, snap))
}

// specError returns the faults of spec.
func specError(spec openings.VisitSpec, snap *openings.Snapshot) error {
	_, err := openings.Compile(spec, snap)
	return err
}

func (in *Input) validateDays(f *scheduling.Faults) {
	if n := len(in.Days); n < 1 || n > maxDays {
		f.Addf("days", fmt.Sprintf("1 to %d", maxDays), "has %d entries", n)
	}
	minutes := in.Snapshot.Shop().Minutes
	for i, d := range in.Days {
		at := fmt.Sprintf("days[%d]", i)
		if d.From < 0 || d.From >= d.To || d.To > minutes {
			f.Addf(at, fmt.Sprintf("from before to, within 0 to %d", minutes), "is %d to %d", d.From, d.To)
		}
		if i > 0 && d.From < in.Days[i-1].To {
			f.Addf(at, "days in order without overlap", "begins at %d before the day before it ends at %d", d.From, in.Days[i-1].To)
		}
		if d.Wish != nil && d.Wish.From > d.Wish.To {
			f.Addf(at+".wish", "from not after to", "is %d to %d", d.Wish.From, d.Wish.To)
		}
	}
}

// dearest returns the positions of the mix by worth, dearest first; equal worth
// keeps the order of the mix.
func dearest(mix []Standard) []int {
	order := make([]int, len(mix))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case mix[a].Worth > mix[b].Worth:
			return -1
		case mix[a].Worth < mix[b].Worth:
			return 1
		}
		return 0
	})
	return order
}

// oneVisit is the average worth of a visit of a usual day: what a loss of 1
// stands for.
func oneVisit(mix []Standard) float64 {
	var worth float64
	n := 0
	for _, s := range mix {
		worth += s.Worth * float64(s.PerDay)
		n += s.PerDay
	}
	if n == 0 {
		return 1
	}
	return worth / float64(n)
}
