package scheduling

import (
	"math"

	"github.com/rickb777/date"
)

// daysPerMonth is the mean length of a month in the Gregorian calendar.
const daysPerMonth = 30.4375

// Regrowth is a salon's rule for calling clients back. No origin or group is
// asked or stored; a client's own rate is measured when it can be.
type Regrowth struct {
	// Rate is the growth in cm a month when the client's own is not known: 1.1
	// by default. Slow and Quick bound it: 0.8 and 1.3 (world sample of both
	// sexes and all sites, Loussouarn et al. 2005).
	Rate, Slow, Quick float64
	// Due is the new hair in cm at which to remind, LookFrom that from which a
	// look is offered: 7.5 and 5 by default (common practice; a salon trade page
	// advises more than 3 in = 7.6 cm).
	Due, LookFrom float64
	// FloorMonths and CapMonths bound the date of the retouch, counted from the
	// last straightening: 4 and 12 by default (salon trade pages, common
	// practice).
	FloorMonths, CapMonths int
	// OwnSpread is the spread of a client's measured rate as a share of it: 0.15
	// by default (derived from 56/367 µm a day, Loussouarn et al. 2005).
	OwnSpread float64
}

// DefaultRegrowth returns the defaults named at the fields.
func DefaultRegrowth() Regrowth {
	return Regrowth{
		Rate: 1.1, Slow: 0.8, Quick: 1.3,
		Due: 7.5, LookFrom: 5,
		FloorMonths: 4, CapMonths: 12,
		OwnSpread: 0.15,
	}
}

// Validate returns Faults naming each field that is outside its range.
func (g Regrowth) Validate() error {
	var f Faults
	const unit = "cm a month"
	f.Between("slow_cm_per_month", g.Slow, 0.5, 1.1, unit)
	f.Between("growth_cm_per_month", g.Rate, 0.8, 1.3, unit)
	f.Between("quick_cm_per_month", g.Quick, 1.1, 1.6, unit)
	f.Between("retouch_due_cm", g.Due, 2, 20, "cm")
	f.Between("retouch_look_cm", g.LookFrom, 1, 20, "cm")
	if g.LookFrom > g.Due {
		f.Add("retouch_look_cm", "is "+Number(g.LookFrom), "at most retouch_due_cm, which is "+Number(g.Due))
	}
	f.Count("retouch_floor_months", g.FloorMonths, 1, 12)
	f.Count("retouch_cap_months", g.CapMonths, 1, 24)
	if g.FloorMonths > g.CapMonths {
		f.Addf("retouch_floor_months", "at most retouch_cap_months", "is %d", g.FloorMonths)
	}
	f.Between("growth_spread", g.OwnSpread, 0, 0.5, "")
	return f.Err()
}

// Growth is a rate of growth in cm a month with its range.
type Growth struct {
	Rate, Slow, Quick float64
	// Measured is true when the rate is the client's own.
	Measured bool
}

// NewHair is regrowth measured on one visit.
type NewHair struct {
	Since, On date.Date // last straightening, day of the measurement
	CM        float64
}

// Own returns the client's own growth when at least two usable measurements
// are given, otherwise the salon's. It is all new hair over all days, so that
// long stretches count more. A measurement is usable when its days and its
// centimetres are above 0 and give 0.3 to 2.5 cm a month (judgement: outside
// that range hair was cut or the measurement is wrong).
func (g Regrowth) Own(measured []NewHair) Growth {
	var cm, days float64
	n := 0
	for _, m := range measured {
		d := float64(m.On.Sub(m.Since))
		if d > 0 && plausible(m.CM/d*daysPerMonth) {
			cm, days, n = cm+m.CM, days+d, n+1
		}
	}
	if n < 2 {
		return Growth{Rate: g.Rate, Slow: g.Slow, Quick: g.Quick}
	}
	rate := cm / days * daysPerMonth
	return Growth{Rate: rate, Slow: rate * (1 - g.OwnSpread), Quick: rate * (1 + g.OwnSpread), Measured: true}
}

// Seen returns the growth of hair that looks slow, usual or quick; anything
// else counts as usual. No origin is asked: only how the hair grows.
func (g Regrowth) Seen(how string) Growth {
	around := func(rate float64) Growth {
		return Growth{Rate: rate, Slow: rate * (1 - g.OwnSpread), Quick: rate * (1 + g.OwnSpread)}
	}
	switch how {
	case "slow":
		return around(g.Slow)
	case "quick":
		return around(g.Quick)
	}
	return Growth{Rate: g.Rate, Slow: g.Slow, Quick: g.Quick}
}

// Of returns the client's own growth as Own does where it can be measured,
// otherwise that of hair which looks as Seen says.
func (g Regrowth) Of(how string, measured []NewHair) Growth {
	if own := g.Own(measured); own.Measured {
		return own
	}
	return g.Seen(how)
}

// Months returns the time between two days in mean months, rounded to tenths as
// people say it.
func Months(from, to date.Date) float64 {
	return math.Round(10*float64(to.Sub(from))/daysPerMonth) / 10
}

func plausible(cmPerMonth float64) bool { return cmPerMonth >= 0.3 && cmPerMonth <= 2.5 }

// DaysToGrow returns how many days hair takes to grow cm at cmPerMonth.
//
// It returns an *InvalidError when cm is not 0 to 120 or cmPerMonth not 0.1 to
// 5.
func DaysToGrow(cm, cmPerMonth float64) (float64, error) {
	var f Faults
	f.Between("regrowth_cm", cm, 0, 120, "cm")
	f.Between("cm_per_month", cmPerMonth, 0.1, 5, "cm a month")
	if len(f) > 0 {
		return 0, f[0]
	}
	return cm / cmPerMonth * daysPerMonth, nil
}

// Retouch is when to call a client back.
type Retouch struct {
	// Look is the first day on which a look is worth while, Due the day to
	// remind for.
	Look, Due date.Date
	// Earliest and Latest are Due at the quick and the slow end of the range.
	Earliest, Latest date.Date
}

// Retouch returns the dates that follow from the last straightening on last.
// Due, Earliest and Latest are the first whole day with enough new hair, but
// not before FloorMonths and not after CapMonths; Look is never after Due.
//
// It returns an *InvalidError when a rate of growth is impossible.
func (g Regrowth) Retouch(last date.Date, growth Growth) (Retouch, error) {
	var r Retouch
	var err error
	floor, latest := addMonths(last, g.FloorMonths), addMonths(last, g.CapMonths)
	day := func(cm, rate float64) date.Date {
		days, bad := DaysToGrow(cm, rate)
		if bad != nil {
			err = bad
			return last
		}
		return last.Add(date.PeriodOfDays(math.Ceil(days - 1e-9)))
	}
	bounded := func(rate float64) date.Date { return day(g.Due, rate).Max(floor).Min(latest) }
	r.Due = bounded(growth.Rate)
	r.Earliest, r.Latest = bounded(growth.Quick), bounded(growth.Slow)
	r.Look = day(g.LookFrom, growth.Rate).Min(r.Due)
	return r, err
}

// addMonths returns the same day n months later, or the last day of that month
// when it has no such day.
func addMonths(d date.Date, n int) date.Date {
	first := date.New(d.Year(), d.Month(), 1).AddDate(0, n, 0)
	return first.Add(date.PeriodOfDays(min(d.Day(), first.LastDayOfMonth()) - 1))
}
