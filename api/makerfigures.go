package api

import (
	"context"
	"fmt"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/card"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/products"
	"chairblock/store"
)

// Codes of cautions about what the maker of a product says.
const (
	cautionNeutralizer    = "neutralizer_minutes" // nobody has asked
	cautionLongest        = "longest_minutes"
	cautionOwnProcessing  = "own_processing_minutes"  // a service's or the salon's own stands
	cautionOwnNeutralizer = "own_neutralizer_minutes" // a service's own stands
)

// Codes of cautions about a setting of the salon that stands beside the maker's.
const (
	cautionPorous    = "porous_processing_minutes"
	cautionTwoStages = "two_stage_processing_minutes"
)

// ChangedAt is the page on which the owner changes what a caution with this code is
// about, "" where there is none.
func ChangedAt(code string) string {
	switch code {
	case cautionNeutralizer:
		return "/set-up#maker"
	case cautionOwnProcessing, cautionOwnNeutralizer:
		return "/set-up/services"
	case cautionPorous, cautionTwoStages:
		return "/set-up/chair-time"
	}
	return ""
}

// makers is what the makers of products say, the strictest of them; nil is what
// nobody has noted.
type makers struct {
	processing, longest, neutralizer *int
	dry                              *float64 // percent
}

func (m *makers) add(p store.Product) error {
	l, err := labelOf(p)
	if err != nil {
		return err
	}
	if p.Kind == string(products.Solution) {
		m.processing, m.longest = lesser(m.processing, l.Processing), lesser(m.longest, l.Longest)
	}
	if l.Neutralizer != nil && (m.neutralizer == nil || *l.Neutralizer > *m.neutralizer) {
		m.neutralizer = l.Neutralizer
	}
	if l.DryBefore != nil && (m.dry == nil || *l.DryBefore > *m.dry) {
		m.dry = l.DryBefore
	}
	return nil
}

// lesser is the less of two figures of which some are not known.
func lesser(a, b *int) *int {
	if a == nil || b != nil && *b < *a {
		return b
	}
	return a
}

func floatOf(n *int) *float64 {
	if n == nil {
		return nil
	}
	return new(float64(*n))
}

func (m makers) dryness() *float64 {
	if m.dry == nil {
		return nil
	}
	return new(*m.dry / 100)
}

// settings are what stands in the place of settings of chair time.
func (m makers) settings() chairtime.Maker {
	return chairtime.Maker{Processing: floatOf(m.processing), Neutralizer: floatOf(m.neutralizer), DryBefore: m.dryness()}
}

// limits are what stands in the place of limits of a record card.
func (m makers) limits() card.Maker {
	return card.Maker{LongestOn: floatOf(m.longest), Neutralizer: floatOf(m.neutralizer), DryLeast: m.dryness()}
}

// makersOf is what the makers of what a version of a service takes say; nothing of
// a service whose time is the same for everybody.
func makersOf(ctx context.Context, t *store.Tx, x scheduling.Service) (makers, error) {
	var m makers
	if x.ID == "" || !needsHair(x) {
		return m, nil
	}
	list, err := t.ProductsTaken(ctx, x.ID, x.Version)
	if err != nil {
		return m, err
	}
	for _, p := range list {
		if err := m.add(p); err != nil {
			return m, err
		}
	}
	return m, nil
}

// makersOfVisit is what the makers of what a visit takes say.
func makersOfVisit(ctx context.Context, t *store.Tx, v store.Visit) (makers, error) {
	var m makers
	list, err := t.VisitProducts(ctx, v.ID)
	if err != nil {
		return m, err
	}
	ids := make([]string, len(list))
	for i, x := range list {
		ids[i] = x.Product
	}
	known, err := t.ProductsByID(ctx, ids...)
	if err != nil {
		return m, err
	}
	for _, x := range list {
		if err := m.add(known[x.Product]); err != nil {
			return m, err
		}
	}
	return m, nil
}

// makerCautions holds what is booked for hair against the figures of the makers
// of a service's products, which stand before the salon's settings. Product that
// would stay on for longer than its maker says is refused. Where minutes are booked
// that are not the maker's, it says whose they are, and of a service that nobody
// has noted the neutralizer's minutes for, that.
func (n salonDay) makerCautions(known map[string]store.Product, row store.ServiceRow, w *worked) ([]CautionBody, error) {
	if !row.Chemical {
		return nil, nil
	}
	m := madeFor{n: n, row: row}
	for _, x := range row.Products {
		if err := m.said.add(known[x.Product]); err != nil {
			return nil, err
		}
		if err := m.longest(known[x.Product], w); err != nil {
			return nil, err
		}
	}
	if m.said.neutralizer == nil && slices.ContainsFunc(row.Steps, func(st scheduling.Step) bool { return st.Kind == scheduling.Dwell }) {
		m.say(chairtime.LevelWarn, cautionNeutralizer,
			"No product of this service says how long the neutralizer works: the minutes are the salon's setting. Ask the maker.")
	}
	m.own(w)
	return m.list, nil
}

// madeFor holds the products of a service against what is booked.
type madeFor struct {
	n    salonDay
	row  store.ServiceRow
	said makers
	list []CautionBody
}

func (m *madeFor) say(level chairtime.CautionLevel, code, format string, args ...any) {
	m.list = append(m.list, CautionBody{string(level), code, fmt.Sprintf(format, args...)})
}

// longest refuses product that would stay on for longer than its maker says.
func (m *madeFor) longest(p store.Product, w *worked) error {
	label, err := labelOf(p)
	if err != nil || label.Longest == nil {
		return err
	}
	steps, err := m.row.Time(w.result.booked(), max(1, w.hair.Batches))
	if err != nil {
		return err
	}
	if on := float64(scheduling.Exposure(steps)) + m.n.time.BasinWalk; on > float64(*label.Longest) {
		m.say(chairtime.LevelRefuse, cautionLongest, "%s may stay on for %d minutes by its maker, and would be on the first section for %s. Take batches or a helper.",
			productName(p.Name, p.Strength), *label.Longest, scheduling.Number(decimals(on, 0)))
	}
	return nil
}

// own says where minutes of the service or of the salon stand beside the maker's.
func (m *madeFor) own(w *worked) {
	booked := w.result.booked()
	for _, st := range m.row.Steps {
		said, code, what := m.said.of(st.Kind)
		if said == nil {
			continue
		}
		list := booked[st.Kind]
		switch {
		case st.Formula == "" && st.Minutes != *said:
			m.say(chairtime.LevelWarn, code, "The maker lets the %s work for %d minutes; “%s” of this service has %d minutes of its own, which are booked. They are changed in the steps of the service.",
				what, *said, st.Label, st.Minutes)
		case st.Formula == "" || len(list) == 0 || list[0] == *said:
		case st.Kind == scheduling.Process && list[0] == int(m.n.own.By(m.said.settings()).Processing(chairtime.Porosity(w.hair.Porosity))):
			m.say(chairtime.LevelWarn, cautionPorous, "The maker lets the %s work for %d minutes; for porous hair the salon's own %d are booked, which are fewer. They are changed under Chair time.",
				what, *said, list[0])
		default:
			m.say(chairtime.LevelWarn, code, "The maker lets the %s work for %d minutes; %d are booked, as was worked out before. Work it out anew.", what, *said, list[0])
		}
	}
	if x := m.said.processing; x != nil && m.row.TwoStage() {
		m.say(chairtime.LevelWarn, cautionTwoStages, "The maker's %d minutes of processing are not divided between two stages: the minutes of both are the salon's settings. They are changed under Chair time.", *x)
	}
}

// of is what the makers say of a kind of step, the code of what to say where
// something else is booked, and what works in it.
func (m makers) of(k scheduling.StepKind) (said *int, code, what string) {
	switch k {
	case scheduling.Process:
		return m.processing, cautionOwnProcessing, "solution"
	case scheduling.Dwell:
		return m.neutralizer, cautionOwnNeutralizer, "neutralizer"
	default: // makers say nothing of other steps
		return nil, "", ""
	}
}

// leastWorking is the least that the salon's own settings let solution and
// neutralizer work for, in minutes, where nobody has noted the maker's figure (the least
// of their ranges, Settings of package chairtime).
const leastWorking = 5

// belowMakers notes steps whose own minutes are fewer than the makers of what the
// service takes say, or than any setting allows where they are not known.
func (b ServiceBody) belowMakers(ctx context.Context, t *store.Tx, f *scheduling.Faults, x scheduling.Service) error {
	if !slices.ContainsFunc(x.Steps, func(st scheduling.Step) bool { return st.Kind.PutsOnSolution() }) {
		return nil
	}
	ids := make([]string, len(b.Products))
	for i, p := range b.Products {
		ids[i] = p.ProductID
	}
	known, err := t.ProductsByID(ctx, ids...)
	if err != nil {
		return err
	}
	var said makers
	for _, p := range known {
		if err := said.add(p); err != nil {
			return err
		}
	}
	for i, st := range x.Steps {
		of, _, what := said.of(st.Kind)
		at := index("steps", i) + ".minutes"
		switch {
		case what == "" || st.Formula != "":
		case of != nil && st.Minutes < *of:
			f.Addf(at, fmt.Sprintf("at least %d", *of), "is %d, and the maker lets the %s work for %d minutes", st.Minutes, what, *of)
		case of == nil && st.Minutes < leastWorking:
			f.Addf(at, fmt.Sprintf("at least %d", leastWorking), "is %d, too short for %s, whose maker's figure nobody has noted", st.Minutes, what)
		}
	}
	return nil
}
