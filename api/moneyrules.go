package api

import (
	"context"
	"fmt"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/quoting"
	"chairblock/store"
)

// MoneyRulesBody says how long a quoted price is kept and what is asked ahead
// of a visit. Nothing is charged by it.
type MoneyRulesBody struct {
	QuoteValidDays  int          `json:"quote_valid_days,omitempty" minimum:"1" maximum:"366" doc:"How long a quoted price is kept; left out: 30"`
	NoticeHours     *int         `json:"notice_hours,omitempty" minimum:"0" maximum:"336" doc:"How long before the start a visit can be cancelled without a decision about its deposit; left out: 48"`
	LateMinutes     int          `json:"late_minutes,omitempty" minimum:"5" maximum:"120" doc:"How late a client can be before the visit may have to be shortened or moved, as the quote says; left out: 15"`
	DepositChemical *DepositBody `json:"deposit_chemical,omitempty" doc:"Asked when a visit with chemicals is booked; left out: 50 percent"`
	DepositOther    *DepositBody `json:"deposit_other,omitempty" doc:"Asked when another visit is booked; left out: nothing"`
	DepositMissed   *DepositBody `json:"deposit_after_missed,omitempty" doc:"Asked, if it is more, when the client did not come to the last visit; left out: the whole price"`
}

// DepositBody is a share of the price or a fixed sum.
type DepositBody struct {
	Percent int   `json:"percent,omitempty" minimum:"0" maximum:"100"`
	Cents   int64 `json:"cents,omitempty" minimum:"0" maximum:"100000000" doc:"Instead of a share; never more than the price is asked"`
}

// defaultMoneyRules: the deposit and the notice are those of salon trade pages,
// where 15 to 30 minutes late may mean rebooking; the rest is judgement.
func defaultMoneyRules() MoneyRulesBody {
	return MoneyRulesBody{QuoteValidDays: quoting.DefaultValidDays, NoticeHours: new(quoting.DefaultNoticeHours), LateMinutes: 15,
		DepositChemical: &DepositBody{Percent: quoting.DefaultDepositPercent}, DepositOther: &DepositBody{}, DepositMissed: &DepositBody{Percent: 100}}
}

// filled is m with the defaults where nothing is said.
func (m *MoneyRulesBody) filled() MoneyRulesBody {
	out := defaultMoneyRules()
	if m == nil {
		return out
	}
	if m.QuoteValidDays != 0 {
		out.QuoteValidDays = m.QuoteValidDays
	}
	if m.NoticeHours != nil {
		out.NoticeHours = m.NoticeHours
	}
	if m.LateMinutes != 0 {
		out.LateMinutes = m.LateMinutes
	}
	for _, d := range []struct{ to, from **DepositBody }{{&out.DepositChemical, &m.DepositChemical}, {&out.DepositOther, &m.DepositOther},
		{&out.DepositMissed, &m.DepositMissed}} {
		if *d.from != nil {
			*d.to = *d.from
		}
	}
	return out
}

// check adds the faults of m to f.
func (m *MoneyRulesBody) check(f *scheduling.Faults) {
	x := m.filled()
	f.Count("money.quote_valid_days", x.QuoteValidDays, 1, 366)
	f.Count("money.notice_hours", *x.NoticeHours, 0, 336)
	f.Count("money.late_minutes", x.LateMinutes, 5, 120)
	_ = f.Join("money.deposit_chemical", x.DepositChemical.rule().Validate()) // all of it faults
	_ = f.Join("money.deposit_other", x.DepositOther.rule().Validate())
	_ = f.Join("money.deposit_after_missed", x.DepositMissed.rule().Validate())
}

func (d *DepositBody) rule() quoting.DepositRule {
	return quoting.DepositRule{Percent: d.Percent, Cents: d.Cents}
}

// notice is how long before its start a visit can be cancelled without a
// decision.
func (n salonDay) notice() time.Duration {
	return time.Duration(*n.rules.Money.filled().NoticeHours) * time.Hour
}

// depositFor is what is asked for a visit of that price.
func (n salonDay) depositFor(ctx context.Context, t *store.Tx, total int64, chemical bool, client string) (quoting.Price, error) {
	m := n.rules.Money.filled()
	rule := m.DepositOther
	if chemical {
		rule = m.DepositChemical
	}
	return n.afterMissed(ctx, t, rule.rule().Of(total, n.moneyWords()), total, client)
}

// afterMissed is the deposit p, or what is asked of a client who did not come to
// her last visit where that is more.
func (n salonDay) afterMissed(ctx context.Context, t *store.Tx, p quoting.Price, total int64, client string) (quoting.Price, error) {
	after := n.rules.Money.filled().DepositMissed.rule().Of(total, n.moneyWords())
	if client == "" || after.Cents <= p.Cents {
		return p, nil
	}
	missed, err := t.MissedLast(ctx, client)
	if err != nil || !missed {
		return p, err
	}
	after.Working += ", since the client did not come to the last visit"
	return after, nil
}

// depositDue is by when a deposit is asked: the end of the time in which the
// visit can be cancelled, or the start when that is over.
func (n salonDay) depositDue(start, now time.Time) time.Time {
	if due := start.Add(-n.notice()); due.After(now) {
		return due
	}
	return start
}

// noticeWords and lateWords say what the rules mean for a client.
func (m MoneyRulesBody) noticeWords() string {
	if *m.NoticeHours == 0 {
		return "You can cancel until the visit begins."
	}
	return fmt.Sprintf("You can cancel until %d hours before the visit. After that, and when nobody comes, the salon decides about the deposit.", *m.NoticeHours)
}

func (m MoneyRulesBody) lateWords() string {
	return fmt.Sprintf("If you come more than %d minutes late, the visit may have to be shortened or moved: product, iron and neutralizer are never hurried.", m.LateMinutes)
}
