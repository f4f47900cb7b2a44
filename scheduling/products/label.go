package products

import (
	"chairblock/scheduling"
)

// Kind says what a product does.
type Kind string

// Kinds of products.
const (
	Solution    Kind = "solution"    // loosens the hair's bonds
	Neutralizer Kind = "neutralizer" // closes them in the new shape
	Other       Kind = "other"
)

// Label is what the maker says of a product, as far as the salon has copied it.
// Shares are percent by weight; nil is what nobody has copied.
type Label struct {
	Thioglycolic *float64 // and its salts, as acid
	Ester        *float64 // of thioglycolic acid, as acid
	PH           *float64 // ready for use
	Peroxide     *float64 // hydrogen peroxide, ready for use
	Ammonia      *float64 // as NH₃
	Hydroxide    *float64 // sodium hydroxide
	Bromate      *float64 // as sodium bromate
	Formaldehyde *float64
	Glyoxylic    bool // contains glyoxylic acid or what it is made of
	Professional bool // the label says "for professional use only"

	// The four figures that a salon asks the maker for.
	Processing  *int     // minutes
	Longest     *int     // minutes on the hair, from the first strand
	Neutralizer *int     // minutes
	DryBefore   *float64 // percent, before the iron
}

// Validate returns Faults for figures that no label has, and for a processing
// time above the longest.
func (l Label) Validate() error {
	var f scheduling.Faults
	for _, x := range []struct {
		field string
		v     *float64
		hi    float64
		unit  string
	}{
		{"thioglycolic_acid_percent", l.Thioglycolic, 100, "%"}, {"thioglycolate_ester_percent", l.Ester, 100, "%"}, {"ph", l.PH, 14, ""},
		{"peroxide_percent", l.Peroxide, 100, "%"}, {"ammonia_percent", l.Ammonia, 100, "%"}, {"sodium_hydroxide_percent", l.Hydroxide, 100, "%"},
		{"sodium_bromate_percent", l.Bromate, 100, "%"}, {"formaldehyde_percent", l.Formaldehyde, 100, "%"},
	} {
		if x.v != nil {
			f.Between(x.field, *x.v, 0, x.hi, x.unit)
		}
	}
	if l.DryBefore != nil {
		f.Between("dry_before_iron_percent", *l.DryBefore, 50, 100, "%")
	}
	for _, x := range []struct {
		field string
		v     *int
	}{{"processing_minutes", l.Processing}, {"longest_minutes", l.Longest}, {"neutralizer_minutes", l.Neutralizer}} {
		if x.v != nil {
			f.Count(x.field, *x.v, 1, mostMinutes)
		}
	}
	if l.Processing != nil && l.Longest != nil && *l.Processing > *l.Longest {
		f.Addf("processing_minutes", "at most longest_minutes", "is %d, longer than the %d that the product may stay on", *l.Processing, *l.Longest)
	}
	return f.Err()
}

// mostMinutes is longer than any product stays on hair (judgement).
const mostMinutes = 120

// Missing names which of the maker's four figures a product of a kind should
// have and has not.
func (l Label) Missing(k Kind) []string {
	var out []string
	note := func(missing bool, what string) {
		if missing {
			out = append(out, what)
		}
	}
	switch k {
	case Solution:
		note(l.Processing == nil, "how long it processes")
		note(l.Longest == nil, "how long it may stay on at most")
		note(l.DryBefore == nil, "how dry the hair has to be before the iron")
	case Neutralizer:
		note(l.Neutralizer == nil, "how long the neutralizer works")
	case Other:
	}
	return out
}
