package api

import (
	"fmt"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// Codes of cautions about what the maker of a product says.
const (
	cautionNeutralizer = "neutralizer_minutes"
	cautionDryness     = "dry_before_iron"
	cautionLongest     = "longest_minutes"
)

// makerCautions holds what is booked for hair against the figures of the makers
// of a service's products. They go before the salon's settings: product that
// would stay on for longer than its maker says is refused. A service that nobody
// has noted the neutralizer's minutes for says so.
func (n salonDay) makerCautions(known map[string]store.Product, row store.ServiceRow, w *worked) ([]CautionBody, error) {
	if !row.Chemical {
		return nil, nil
	}
	m := madeFor{n: n, row: row}
	for _, x := range row.Products {
		p := known[x.Product]
		label, err := labelOf(p)
		if err != nil {
			return nil, err
		}
		if err := m.hold(p, label, w); err != nil {
			return nil, err
		}
	}
	if !m.neutralizer && slices.ContainsFunc(row.Steps, func(st scheduling.Step) bool { return st.Kind == scheduling.Dwell }) {
		m.say(chairtime.LevelWarn, cautionNeutralizer,
			"No product of this service says how long the neutralizer works: the minutes are the salon's setting. Ask the maker.")
	}
	return m.list, nil
}

// madeFor holds the products of a service against what is booked.
type madeFor struct {
	n           salonDay
	row         store.ServiceRow
	neutralizer bool // some product says how long it works
	list        []CautionBody
}

func (m *madeFor) say(level chairtime.CautionLevel, code, format string, args ...any) {
	m.list = append(m.list, CautionBody{string(level), code, fmt.Sprintf(format, args...)})
}

func (m *madeFor) hold(p store.Product, label LabelBody, w *worked) error {
	name := productName(p.Name, p.Strength)
	if x := label.Neutralizer; x != nil {
		m.neutralizer = true
		if float64(*x) > m.n.time.DwellMin {
			m.say(chairtime.LevelWarn, cautionNeutralizer, "%s: the maker lets the neutralizer work for %d minutes, the salon's setting is %s. Change the setting.",
				name, *x, scheduling.Number(m.n.time.DwellMin))
		}
	}
	dry := 100 * m.n.time.DryFraction
	if w.hair.Damaged {
		dry = 100 * m.n.time.DryFractionDamaged
	}
	if x := label.DryBefore; x != nil && *x > dry+1e-9 {
		m.say(chairtime.LevelWarn, cautionDryness, "%s: the maker asks for %s %% dryness before the iron, the salon's setting is %s %%. Dry more.",
			name, scheduling.Number(*x), scheduling.Number(decimals(dry, 1)))
	}
	if label.Longest == nil {
		return nil
	}
	steps, err := m.row.Time(w.result.booked(), max(1, w.hair.Batches))
	if err != nil {
		return err
	}
	if on := float64(scheduling.Exposure(steps)) + m.n.time.BasinWalk; on > float64(*label.Longest) {
		m.say(chairtime.LevelRefuse, cautionLongest, "%s may stay on for %d minutes by its maker, and would be on the first section for %s. Take batches or a helper.",
			name, *label.Longest, scheduling.Number(decimals(on, 0)))
	}
	return nil
}
