package pace

import (
	"fmt"
	"math"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// saidFrom is the least difference from the sheet that an estimate mentions, as a share
// (judgement: less is a few minutes of a visit).
const saidFrom = 0.02

// doing names the work of a step in the middle of a sentence.
var doing = map[scheduling.StepKind]string{
	scheduling.Talk:    "the consultation",
	scheduling.Wash:    "washing",
	scheduling.Prep:    "detangling and parting",
	scheduling.Apply:   "applying solution",
	scheduling.Rinse1:  "rinsing solution out",
	scheduling.Dry1:    "drying before the iron",
	scheduling.Iron:    "ironing",
	scheduling.Neutral: "neutralizing",
	scheduling.Rinse2:  "rinsing neutralizer out",
	scheduling.Dry2:    "drying",
	scheduling.Finish:  "finishing with the iron",
	scheduling.Close:   "aftercare and pay",
}

// Doing names the work of a step in the middle of a sentence.
func Doing(k scheduling.StepKind) string {
	if s, ok := doing[chairtime.PaceKind(k)]; ok {
		return s
	}
	return k.Words()
}

// Said reports whether a factor is far enough from the sheet to be mentioned: by
// more than 2 %.
func Said(factor float64) bool { return math.Abs(factor-1) > saidFrom+1e-9 }

// Slower says a factor as people do: "12 % slower than the sheet".
func Slower(factor float64) string {
	percent := math.Round(100 * (factor - 1))
	switch {
	case percent > 0:
		return fmt.Sprintf("%.0f %% slower than the sheet", percent)
	case percent < 0:
		return fmt.Sprintf("%.0f %% quicker than the sheet", -percent)
	}
	return "as quick as the sheet"
}

// Line says what is behind a factor: "your last 14 visits: ironing 12 % slower
// than the sheet". whose is "your", "Ada's" or "the salon's".
func Line(whose string, visits int, k scheduling.StepKind, factor float64) string {
	return whose + " " + lastVisits(visits) + ": " + Doing(k) + " " + Slower(factor)
}

func lastVisits(n int) string {
	if n == 1 {
		return "last visit"
	}
	return fmt.Sprintf("last %d visits", n)
}

// Of is the pace at which a visit of staff is estimated; staff is "" when it is
// not settled who will be in charge. rows are those of the salon and of staff.
// Steps for which salons is true, because somebody else may do them, go at the
// pace of the salon, and so do steps that two pairs of hands share. It is nil
// when nothing is known.
func Of(rows []Row, staff string, salons func(scheduling.StepKind) bool) *chairtime.Pace {
	p := &chairtime.Pace{Alone: map[scheduling.StepKind]chairtime.StepPace{}, Pair: map[scheduling.StepKind]chairtime.StepPace{}}
	for i := range rows {
		r := &rows[i]
		s := chairtime.StepPace{Factor: r.Factor, Spread: r.Spread, Visits: r.Visits, Staff: r.Staff, Words: "pace of the " + lastVisits(r.Visits)}
		switch {
		case r.Staff == "":
			s.Words = "pace of the salon's " + lastVisits(r.Visits)
			if r.Pair {
				p.Pair[r.Kind] = s
			} else if p.Alone[r.Kind].Staff == "" {
				p.Alone[r.Kind] = s
			}
		case r.Staff == staff && !r.Pair && !salons(r.Kind):
			p.Alone[r.Kind] = s
		}
	}
	if len(p.Alone)+len(p.Pair) == 0 {
		return nil
	}
	return p
}
