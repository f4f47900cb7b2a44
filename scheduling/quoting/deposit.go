package quoting

import (
	"fmt"

	"chairblock/scheduling"
)

// DepositRule is what a salon asks ahead of a visit: a share of the price or a
// fixed sum. The zero value asks nothing.
type DepositRule struct {
	Percent int   // of the price, 0 to 100
	Cents   int64 // instead of a share
}

// Salons ask 25 to 50 % or a fixed sum, the half for chemical services (salon
// trade pages); 48 hours is the longer of the two periods of notice that eight
// of them name.
const (
	DefaultDepositPercent = 50
	DefaultNoticeHours    = 48
	// DefaultValidDays is how long a quoted price is kept (judgement).
	DefaultValidDays = 30
)

// Validate returns Faults for a share beside a sum, and for what no salon asks.
func (d DepositRule) Validate() error {
	var f scheduling.Faults
	f.Count("percent", d.Percent, 0, 100)
	cents(&f, "cents", d.Cents, 0, MostCents)
	if d.Percent != 0 && d.Cents != 0 {
		f.Add("cents", "is given beside percent", "one of the two")
	}
	return f.Err()
}

// Of is the deposit for a price, never more than the price, and its working.
// Shares are rounded half up to the minor unit.
func (d DepositRule) Of(total int64, words Words) Price {
	switch {
	case total <= 0 || d.Percent == 0 && d.Cents == 0:
		return Price{}
	case d.Cents > total:
		return Price{total, "the whole price of " + Plain(total, words.Currency)}
	case d.Cents > 0:
		return Price{d.Cents, Plain(d.Cents, words.Currency)}
	}
	v := (total*int64(d.Percent) + 50) / 100
	return Price{v, fmt.Sprintf("%d %% of %s = %s", d.Percent, Plain(total, words.Currency), Plain(v, words.Currency))}
}
