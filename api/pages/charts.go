package pages

import (
	"chairblock/scheduling"
)

// Charts for the owner: each is a picture with a title and words on its axes,
// and the same as a table, since no picture is read by everybody. Without data
// they say that there is nothing on record yet.

// PaceChart compares the real length of steps with the expected one.
type PaceChart struct {
	Title string // "" means a title of its own
	Steps []PaceStep
}

// PaceStep is one step of the record. Low, Middle and High are the quartiles of
// real minutes divided by expected ones, so that 1 is as expected; they are in
// order and above 0. Visits is how many were measured; with none the quartiles
// are 0.
type PaceStep struct {
	Step              string  // in words, "apply"
	Expected          float64 // mean estimated minutes of these visits
	Low, Middle, High float64
	Visits            int
}

// PromiseChart shows how many visits ended in the time that was promised.
type PromiseChart struct {
	Title   string
	Promise float64 // the share that should, such as 0.8
	Months  []PromiseMonth
}

// PromiseMonth is one month: Kept of Visits ended in time.
type PromiseMonth struct {
	Month        string // "June 2026", or shorter
	Kept, Visits int
}

// UseChart shows what hours were used for, each row a bar divided by kind.
type UseChart struct {
	Title string
	Row   string   // what a row is, "weekday"
	Kinds []string // one to five, what the hours were used for: "in use", "cleaning", "free"
	Rows  []UseRow // at most 60
}

// UseRow is one bar: hours for each kind, in the order of Kinds.
type UseRow struct {
	Label string
	Hours []float64
}

// NoShowChart shows how many clients did not come.
type NoShowChart struct {
	Title  string
	Months []NoShowMonth
}

// NoShowMonth is one month: Missed of Visits did not come.
type NoShowMonth struct {
	Month          string
	Missed, Visits int
}

// LeadTimeChart shows how long before the visit it was booked.
type LeadTimeChart struct {
	Title string
	Bins  []LeadTimeBin
}

// LeadTimeBin is how many visits were booked so long before: "same day", "1 to
// 2 days".
type LeadTimeBin struct {
	Label  string
	Visits int
}

// LeadTimeBins counts whole days from booking to visit into eight bins from
// "same day" to "over 12 weeks". Days below 0 count as the same day.
func LeadTimeBins(days []int) []LeadTimeBin {
	bins := []LeadTimeBin{
		{Label: "same day"}, {Label: "1 to 2 days"}, {Label: "3 to 6 days"}, {Label: "1 week"},
		{Label: "2 to 3 weeks"}, {Label: "4 to 7 weeks"}, {Label: "8 to 12 weeks"}, {Label: "over 12 weeks"},
	}
	ends := []int{0, 2, 6, 13, 27, 55, 90}
	for _, d := range days {
		i := 0
		for i < len(ends) && d > ends[i] {
			i++
		}
		bins[i].Visits++
	}
	return bins
}

// Bounds of charts (judgement).
const (
	mostChartRows = 60
	mostUseKinds  = 5
	mostChartUnit = 1e9 // visits, minutes, hours
)

func chartRows(f *scheduling.Faults, field string, n int) {
	if n > mostChartRows {
		f.Addf(field, "at most 60", "has %d entries", n)
	}
}
