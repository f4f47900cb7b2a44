package api

import (
	"context"
	"slices"

	"chairblock/scheduling"
	"chairblock/store"
)

// means is what the salon has to carry out services with.
func (n salonDay) means(ctx context.Context, t *store.Tx) (scheduling.Means, error) {
	m := scheduling.Means{AssistantSteps: n.rules.assistants()}
	staff, err := t.StaffList(ctx)
	if err != nil {
		return m, err
	}
	for _, p := range staff {
		switch {
		case !p.Active:
		case p.MayLead:
			m.Leads = append(m.Leads, p.Skills)
		default:
			m.Assistants++
		}
	}
	stations, err := t.Stations(ctx)
	if err != nil {
		return m, err
	}
	for _, u := range stations {
		switch {
		case !u.Active:
		case u.Kind == "chair":
			m.Chairs++
		case u.Kind == "basin":
			m.Basins++
		}
	}
	hours, err := t.OpeningHours(ctx)
	if err != nil {
		return m, err
	}
	m.LongestDay = longestOpen(hours)
	m.Least, err = n.time.Least()
	return m, err
}

const weekMinutes = 7 * 24 * 60

// longestOpen is the longest that a salon with these hours is open without a
// break, in minutes; windows that touch count as one, also past Sunday midnight.
func longestOpen(hours []store.Window) int {
	var list [][2]int
	for _, w := range hours {
		from := (w.Weekday-1)*24*60 + w.From
		for _, week := range []int{0, weekMinutes} {
			list = append(list, [2]int{from + week, from + w.To - w.From + week})
		}
	}
	slices.SortFunc(list, func(a, b [2]int) int { return a[0] - b[0] })
	longest, from, to := 0, 0, -1
	for _, s := range list {
		if s[0] > to {
			from = s[0]
		}
		to = max(to, s[1])
		longest = max(longest, to-from)
	}
	return longest
}

// judged holds a service against what the salon has. It returns what stops nobody
// from saving it, and Faults with everything that does, those of fault included.
func (n salonDay) judged(ctx context.Context, t *store.Tx, x scheduling.Service, fault error) ([]CautionBody, error) {
	var f scheduling.Faults
	if err := f.Join("", fault); err != nil {
		return nil, err
	}
	m, err := n.means(ctx, t)
	if err != nil {
		return nil, err
	}
	concerns, err := x.Placeable(m)
	if err := f.Join("", err); err != nil {
		return nil, err
	}
	var out []CautionBody
	for _, c := range concerns {
		out = append(out, CautionBody{"warn", c.Code, c.Text})
	}
	return out, f.Err()
}
