package api

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// ShareBody says where a stylist works for two clients at once.
type ShareBody struct {
	UnitID string    `json:"unit_id" doc:"The stylist"`
	From   time.Time `json:"from" doc:"Work for the second client"`
	To     time.Time `json:"to"`
	Chance float64   `json:"chance" doc:"Chance that it is not over when the first client needs the stylist again, 0 to 1"`
	Words  string    `json:"words"`
}

// why says of a stretch that it is likelier to overrun than the salon allows.
func (x *sharing) why(ctx context.Context, s openings.SharedStretch) (string, error) {
	names, err := unitNames(ctx, x.t)
	if err != nil {
		return "", err
	}
	words, _, err := x.words(ctx, s, names)
	return words + ", and this salon allows " + atMost(*x.n.rules.ShareOverrunLimit), err
}

func atMost(p float64) string { return scheduling.Number(100*p) + " in 100 at most" }

// bodies says in words where sch has a stylist work for two clients at once.
func (x *sharing) bodies(ctx context.Context, list []openings.SharedStretch, names map[string]string) ([]ShareBody, error) {
	var out []ShareBody
	for _, s := range list {
		words, at, err := x.words(ctx, s, names)
		if err != nil {
			return nil, err
		}
		out = append(out, ShareBody{UnitID: s.Unit, From: x.h.Time(at.From), To: x.h.Time(at.To), Chance: decimals(s.Chance(), 4), Words: words})
	}
	return out, nil
}

// words says of a stretch who works for whom from when to when, and the chance.
func (x *sharing) words(ctx context.Context, s openings.SharedStretch, names map[string]string) (string, openings.Span, error) {
	clock := func(sp openings.Span) string {
		return fmt.Sprintf("from %s to %s", x.h.Time(sp.From).Format("15:04"), x.h.Time(sp.To).Format("15:04"))
	}
	who := cmp.Or(names[s.Unit], "the stylist")
	chance := inHundred(s.Chance()) + " that it runs over"
	own, ok := s.Own()
	if !ok {
		at := openings.Span{From: s.Works[0].From, To: s.Works[0].To}
		for _, w := range s.Works {
			at.To = max(at.To, w.To)
		}
		return fmt.Sprintf("%s works for another client %s, inside this one's %s; %s", who, clock(at), x.ownTime(), chance), at, nil
	}
	host, err := x.visit(ctx, s.Host)
	if err != nil {
		return "", own.Span, err
	}
	return fmt.Sprintf("%s works inside another client's %s %s; %s", who, x.hostTime(host, s.Bay), clock(own.Span), chance), own.Span, nil
}

// ownTime names the time of the visit that is looked at.
func (x *sharing) ownTime() string {
	if len(x.c.services) == 1 {
		return strings.ToLower(x.c.services[0].Name) + " time"
	}
	return "time"
}

// hostTime names what is done with the client who waits: the service in whose
// time it is, in small letters.
func (x *sharing) hostTime(v *store.Visit, bay openings.Span) string {
	if v == nil {
		return "time"
	}
	from := x.h.Time(bay.From)
	for _, st := range v.Steps {
		if st.End.After(from) {
			return strings.ToLower(v.Services[st.Service].Name) + " time"
		}
	}
	if isKept(*v) {
		return "time"
	}
	return strings.ToLower(v.Services[0].Name) + " time"
}

// inHundred words a chance: "3 in 100".
func inHundred(p float64) string {
	switch n := math.Round(100 * p); {
	case n < 1:
		return "less than 1 in 100"
	case n > 99:
		return "more than 99 in 100"
	default:
		return fmt.Sprintf("%.0f in 100", n)
	}
}
