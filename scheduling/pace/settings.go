package pace

import (
	"math"

	"chairblock/scheduling"
)

// Settings are the constants of learning. Start from Default. All are judgement,
// not measured, except where their row in List says otherwise.
type Settings struct {
	// PriorSD is how far somebody's pace may lie from the sheet: the standard
	// deviation of the logarithm of the factor, before any record.
	PriorSD float64
	// Shared is the part of the variance PriorSD² that the whole salon has in
	// common, because its sheet is off; the rest is the person's.
	Shared float64
	// Noise is the standard deviation of the logarithm of one visit's step about
	// the pace of whoever does it.
	Noise float64
	// HalfLife is the age in days at which a visit counts half.
	HalfLife float64
	// SpreadFrom is the number of visits from which on the spread of records
	// has a say.
	SpreadFrom float64
	// SpreadPrior is what the sheet's own spread is worth, in visits.
	SpreadPrior float64
	// LeastRatio and MostRatio bound real over expected minutes; what lies
	// outside is an error of noting, not a pace.
	LeastRatio, MostRatio float64
	// Outlier is the distance from the middle of somebody's visits, in standard
	// deviations, from which on a visit does not count.
	Outlier float64
}

// Setting describes one constant of learning.
type Setting struct {
	Name              string
	Label             string
	Unit              string
	Default, Min, Max float64
	Whole             bool
	Source            string
}

type settingRow struct {
	Setting
	in func(*Settings) *float64
}

var settingRows = []settingRow{
	{Setting{"prior_sd", "how far a pace may lie from the sheet before any record, as a share", "", 0.15, 0.05, 0.4, false, "judgement"},
		func(c *Settings) *float64 { return &c.PriorSD }},
	{Setting{"shared_share", "part of that variance that the whole salon has in common", "", 0.5, 0.1, 0.9, false, "judgement"},
		func(c *Settings) *float64 { return &c.Shared }},
	{Setting{"noise_sd", "how far one visit lies from the pace of whoever does it, as a share", "", 0.2, 0.05, 0.6, false, "judgement"},
		func(c *Settings) *float64 { return &c.Noise }},
	{Setting{"half_life_days", "age at which a visit counts half", "d", 180, 30, 1000, false, "judgement"},
		func(c *Settings) *float64 { return &c.HalfLife }},
	{Setting{"spread_from_visits", "visits before the spread of records has a say", "", 12, 12, 200, true, "Anesthesiology 91(2):590, 1999, warns of bounds from few cases; the number is judgement"},
		func(c *Settings) *float64 { return &c.SpreadFrom }},
	{Setting{"spread_prior_visits", "visits that the sheet's own spread is worth", "", 12, 4, 200, true, "judgement"},
		func(c *Settings) *float64 { return &c.SpreadPrior }},
	{Setting{"least_ratio", "real over expected minutes: leave out below", "", 0.3, 0.1, 0.8, false, "judgement"},
		func(c *Settings) *float64 { return &c.LeastRatio }},
	{Setting{"most_ratio", "real over expected minutes: leave out above", "", 3, 1.25, 10, false, "judgement"},
		func(c *Settings) *float64 { return &c.MostRatio }},
	{Setting{"outlier_sd", "distance from the middle of somebody's visits from which on one does not count, in standard deviations", "", 3, 2, 6, false, "judgement"},
		func(c *Settings) *float64 { return &c.Outlier }},
}

// List lists every setting in a fixed order.
func List() []Setting {
	out := make([]Setting, len(settingRows))
	for i := range settingRows {
		out[i] = settingRows[i].Setting
	}
	return out
}

// Default returns every setting at its default.
func Default() Settings {
	var c Settings
	for i := range settingRows {
		*settingRows[i].in(&c) = settingRows[i].Default
	}
	return c
}

// Value returns the setting called name, and whether there is one.
func (c Settings) Value(name string) (float64, bool) {
	for i := range settingRows {
		if settingRows[i].Name == name {
			return *settingRows[i].in(&c), true
		}
	}
	return 0, false
}

// Set changes the setting called name without looking at its range. It returns
// an *InvalidError when there is no such setting.
func (c *Settings) Set(name string, v float64) error {
	for i := range settingRows {
		if settingRows[i].Name == name {
			*settingRows[i].in(c) = v
			return nil
		}
	}
	return &scheduling.InvalidError{Field: name, Problem: "is not a setting of pace", Want: "one of the listed names"}
}

// Validate returns Faults naming each setting that is outside its range or has
// to be whole and is not.
func (c Settings) Validate() error {
	var f scheduling.Faults
	for i := range settingRows {
		row := &settingRows[i]
		switch v := *row.in(&c); {
		case !(v >= row.Min && v <= row.Max):
			f.Addf(row.Name, scheduling.Number(row.Min)+" to "+scheduling.Number(row.Max), "is %s", scheduling.Number(v))
		case row.Whole && v != math.Trunc(v):
			f.Addf(row.Name, "a whole number, "+scheduling.Number(row.Min)+" to "+scheduling.Number(row.Max), "is %s", scheduling.Number(v))
		}
	}
	return f.Err()
}

// salonVar and staffVar are the variances of the salon about the sheet and of a
// person about the salon.
func (c *Settings) salonVar() float64 { return c.PriorSD * c.PriorSD * c.Shared }
func (c *Settings) staffVar() float64 { return c.PriorSD * c.PriorSD * (1 - c.Shared) }
