package problemfile_test

import (
	"fmt"
	"slices"
	"strings"

	"chairblock/scheduling/openings"
)

// visitModel writes visits to one shop as a MiniZinc model. Visit k is in the
// shop when on_k; its phase i begins at s_k_i. Everything is said as plainly as
// the schema says it, minute by minute and pair by pair.
type visitModel struct {
	strings.Builder
	shop   openings.Shop
	visits int
	uses   []modelUse
}

// modelUse is a use of a unit: what of the visit needs it, from when to when, as
// expressions of the model.
type modelUse struct {
	visit          int
	from, to, unit string
	candidates     []int
}

func newVisitModel(shop openings.Shop) *visitModel {
	m := &visitModel{shop: shop}
	var ch []string
	for _, u := range shop.Units {
		ch = append(ch, fmt.Sprint(u.Changeover))
	}
	fmt.Fprintf(m, "array[0..%d] of int: changeover = array1d(0..%d, [%s]);\n",
		len(ch)-1, len(ch)-1, strings.Join(ch, ","))
	return m
}

// need declares a unit variable and returns who it may be.
func (m *visitModel) need(k int, name string, n openings.Need, leadOnly []string) []int {
	var who []int
	for i, u := range m.shop.Units {
		skilled := !slices.ContainsFunc(n.Skills, func(s string) bool { return !slices.Contains(u.Skills, s) })
		if slices.Contains(n.Kinds, u.Kind) && skilled &&
			(len(n.Only) == 0 || slices.Contains(n.Only, u.ID)) && (len(leadOnly) == 0 || slices.Contains(leadOnly, u.ID)) {
			who = append(who, i)
		}
	}
	if len(who) == 0 {
		fmt.Fprintf(m, "constraint not on_%d;\nvar -1..-1: %s;\n", k, name)
		return nil
	}
	fmt.Fprintf(m, "var {%s}: %s;\n", strings.Trim(strings.Join(strings.Fields(fmt.Sprint(who)), ","), "[]"), name)
	return who
}

// add declares the next visit and returns its number.
func (m *visitModel) add(spec openings.VisitSpec, q openings.Query, leadOnly []string) int {
	k := m.visits
	m.visits++
	fmt.Fprintf(m, "var bool: on_%d;\n", k)
	role := map[string]string{}
	who := map[string][]int{}
	var roles []string
	for j, r := range spec.Roles {
		var only []string
		if j == 0 {
			only = leadOnly
		}
		role[r.Name] = fmt.Sprintf("r_%d_%d", k, j)
		who[r.Name] = m.need(k, role[r.Name], r.Need, only)
		roles = append(roles, role[r.Name])
	}
	m.different(k, roles)
	last := len(spec.Phases) - 1
	for i, ph := range spec.Phases {
		s := m.start(k, i)
		fmt.Fprintf(m, "var 0..%d: %s;\nconstraint not on_%d -> %s = 0;\n", m.shop.Minutes, s, k, s)
		end := fmt.Sprintf("%s+%d", s, ph.Minutes)
		var atWork []string
		for _, r := range ph.Roles {
			m.uses = append(m.uses, modelUse{k, s, end, role[r], who[r]})
			atWork = append(atWork, role[r])
		}
		for j, n := range ph.Pool {
			name := fmt.Sprintf("u_%d_%d_%d", k, i, j)
			m.uses = append(m.uses, modelUse{k, s, end, name, m.need(k, name, n, nil)})
			atWork = append(atWork, name)
		}
		m.different(k, atWork)
		if i == last {
			break
		}
		next, g := m.start(k, i+1), spec.Gaps[i]
		m.say(k, "%s - (%s) >= %d /\\ %s - (%s) <= %d", next, end, g.Min, next, end, g.Max)
		for _, r := range g.Hold {
			m.uses = append(m.uses, modelUse{k, end, next, role[r], who[r]})
		}
	}
	first := m.start(k, 0)
	m.say(k, "%s >= %d /\\ %s <= %d /\\ %s mod %d = 0", first, q.From, first, q.To, first, q.Grid)
	end := m.end(k, spec)
	if q.EndBy != nil {
		m.say(k, "%s <= %d", end, *q.EndBy)
	}
	var inside []string
	for _, w := range joined(m.shop.Premises, m.shop.Minutes) {
		inside = append(inside, fmt.Sprintf("(%s >= %d /\\ %s <= %d)", first, w.From, end, w.To))
	}
	m.say(k, "(%s)", strings.Join(append(inside, "false"), " \\/ "))
	return k
}

func (m *visitModel) start(k, i int) string { return fmt.Sprintf("s_%d_%d", k, i) }

func (m *visitModel) end(k int, spec openings.VisitSpec) string {
	last := len(spec.Phases) - 1
	return fmt.Sprintf("(%s+%d)", m.start(k, last), spec.Phases[last].Minutes)
}

// say is a constraint on visit k when it takes place.
func (m *visitModel) say(k int, format string, args ...any) {
	fmt.Fprintf(m, "constraint on_%d -> (%s);\n", k, fmt.Sprintf(format, args...))
}

func (m *visitModel) different(k int, names []string) {
	for i := range names {
		for j := range i {
			m.say(k, "%s != %s", names[i], names[j])
		}
	}
}

// finish writes when units may be used, and that no two visits use one at once.
func (m *visitModel) finish() {
	for _, u := range m.uses {
		for _, c := range u.candidates {
			for _, shut := range m.shut(m.shop.Units[c]) {
				m.say(u.visit, "(%s < %s /\\ %s = %d) -> (%s <= %d \\/ %s >= %d)",
					u.from, u.to, u.unit, c, u.to, shut.From, u.from, shut.To)
			}
		}
	}
	for i, a := range m.uses {
		for _, b := range m.uses[:i] {
			if a.visit == b.visit || !slices.ContainsFunc(a.candidates, func(c int) bool { return slices.Contains(b.candidates, c) }) {
				continue
			}
			m.say(a.visit, "(on_%d /\\ %s = %s /\\ %s < %s /\\ %s < %s) -> (%s + changeover[%s] <= %s \\/ %s + changeover[%s] <= %s)",
				b.visit, a.unit, b.unit, a.from, a.to, b.from, b.to, a.to, a.unit, b.from, b.to, b.unit, a.from)
		}
	}
}

// shut are the times at which a unit may not be used.
func (m *visitModel) shut(u openings.Unit) []openings.Span {
	var out []openings.Span
	at := openings.Minute(-1) // nothing is used before minute 0 anyway
	for _, w := range joined(u.Open, m.shop.Minutes) {
		out = append(out, openings.Span{From: at, To: w.From})
		at = w.To
	}
	out = append(out, openings.Span{From: at, To: m.shop.Minutes + openings.MaxHorizon})
	out = append(out, u.Breaks...)
	for _, b := range u.Bookings {
		out = append(out, openings.Span{From: b.From - u.Changeover, To: b.To + u.Changeover})
	}
	return out
}

// joined are windows in order, those that touch made one.
func joined(windows []openings.Span, minutes openings.Minute) []openings.Span {
	var out []openings.Span
	for at := openings.Minute(0); at < minutes; at++ { // minute by minute, so that it is obvious
		if !slices.ContainsFunc(windows, func(w openings.Span) bool { return w.From <= at && at < w.To }) {
			continue
		}
		if n := len(out); n > 0 && out[n-1].To == at {
			out[n-1].To++
		} else {
			out = append(out, openings.Span{From: at, To: at + 1})
		}
	}
	return out
}
