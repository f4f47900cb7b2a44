package delays

import (
	"fmt"
	"slices"

	"chairblock/scheduling/openings"
)

// severity orders the rules of a day by what is given up first when not all
// can be kept. What was promised for a step inside a visit costs nobody
// anything; product that stays on too long may cost hair.
type severity uint8

const (
	softWish    severity = iota // a start that was promised
	softBreak                   // a person's break
	softClosing                 // a person's hours, the salon's hours
	softWait                    // a wait between two steps
	softProduct                 // a wait with product on
	softStation                 // a chair or basin out of use, or taken by a booking
	softOrder                   // one client after the other
	hard                        // the steps of a visit in their order
)

// limit says what stands behind a link or a window of a day's network. unit and
// index are -1 where they do not apply.
type limit struct {
	severity severity
	visit    int // the visit that waits or works
	phase    int
	unit     int // -1 in softClosing is the salon itself
	index    int // of the break or booking, or of the visit that is first on unit
	taken    bool
}

// dayNet is a draft by number.
type dayNet struct {
	network
	dr     *draft
	piece  [][]int32 // by visit and phase, -1 for none
	owner  []limit   // by piece: visit and phase
	floor  []int32   // by piece: low without what was promised
	behind []limit   // by link
	tags   []limit   // by tag of a window
	spans  []openings.Span
	runs   [][]run
}

// net writes the draft by number. The horizon is long enough for everything,
// what lies after the day is closed.
func (dr *draft) net() *dayNet {
	b := &dayNet{dr: dr, runs: dr.runs(), piece: make([][]int32, len(dr.visits))}
	for _, p := range dr.visits {
		b.addPieces(p)
	}
	for u, l := range b.runs {
		b.addOrder(u, l)
	}
	b.horizon = int32(dr.d.Shop.Minutes)
	for i := range b.length {
		b.horizon = max(b.horizon, b.low[i])
	}
	for i := range b.length {
		b.horizon += b.length[i]
	}
	for _, e := range b.links {
		b.horizon += max(e.min, 0)
	}
	b.closed = make([][]window, len(b.length))
	b.addWindows()
	return b
}

// addPieces adds the phases of a visit and the waits between them.
func (b *dayNet) addPieces(p *visitDraft) {
	now := b.dr.d.Now
	ids := make([]int32, p.n)
	b.piece[p.index] = ids
	for i := range p.n {
		if ids[i] = -1; !p.known[i] {
			continue
		}
		ids[i] = int32(len(b.length))
		b.owner = append(b.owner, limit{visit: p.index, phase: i})
		b.length = append(b.length, int32(p.length[i]))
		low, floor := p.from[i], p.from[i]
		if i >= p.begun {
			if floor = now; i == 0 {
				floor = p.low
			}
			low = max(floor, p.wish[i])
		}
		b.low, b.floor, b.fixed = append(b.low, int32(low)), append(b.floor, int32(floor)), append(b.fixed, i < p.begun)
		if i == 0 || ids[i-1] < 0 || i < p.begun {
			continue
		}
		g := p.v.Spec.Gaps[i-1]
		s := softWait
		if p.v.care(i - 1).Product {
			s = softProduct
		}
		b.links = append(b.links, edge{ids[i-1], ids[i], int32(g.Min), int32(g.Max)})
		b.behind = append(b.behind, limit{severity: s, visit: p.index, phase: i - 1, unit: -1, index: -1})
	}
}

// addOrder keeps the uses of unit u one after the other, with the clearing of
// each before the next.
func (b *dayNet) addOrder(u int, l []run) {
	first := 0
	for first < len(l) && l[first].begun() {
		first++
	}
	if first == len(l) {
		return
	}
	for k := range l[:first] {
		b.follow(u, &l[k], &l[first])
	}
	for k := first; k+1 < len(l); k++ {
		b.follow(u, &l[k], &l[k+1])
	}
}

// follow keeps the whole of run s after run r.
func (b *dayNet) follow(u int, r, s *run) {
	if r.p == s.p {
		return
	}
	before, after := b.piece[r.p.index][r.last], b.piece[s.p.index][s.first]
	least := int32(b.dr.clearing(r.p, u))
	if r.toStart {
		least -= b.length[before]
	}
	if s.fromEnd {
		least -= b.length[after]
	}
	b.links = append(b.links, edge{before, after, least, noLimit})
	b.behind = append(b.behind, limit{severity: softOrder, visit: s.p.index, phase: s.first, unit: u, index: r.p.index})
}

// addWindows closes for each piece the times in which one of its units, or the
// salon, cannot be used.
func (b *dayNet) addWindows() {
	shop := &b.dr.d.Shop
	salon := b.outside(nil, shop.Premises, limit{severity: softClosing, unit: -1, index: -1})
	units := make([][]window, len(shop.Units))
	for u := range shop.Units {
		units[u] = b.closedUnit(u)
	}
	for i, o := range b.owner {
		if b.fixed[i] {
			continue
		}
		p := b.dr.visits[o.visit]
		l := b.binding(p, nil, salon)
		for _, u := range p.uses[o.phase] {
			l = b.binding(p, l, units[u])
			l = b.bookings(l, u, p)
		}
		sortWindows(l)
		b.closed[i] = l
	}
}

// binding adds the windows of list that bind p to l. A visit that goes on is carried
// on although the salon, or somebody at work, should not be there yet or any more.
func (b *dayNet) binding(p *visitDraft, l, list []window) []window {
	for _, w := range list {
		if !p.goesOn() || b.tags[w.tag].severity != softClosing || openings.Minute(w.from) > b.dr.d.Now {
			l = append(l, w)
		}
	}
	return l
}

// goesOn reports whether something of p has begun and something is left.
func (p *visitDraft) goesOn() bool { return p.begun > 0 && (p.runs || p.begun < p.n) }

// since are the windows for a visit: what goes on already before an opening is not
// outside of it.
func (d *Day) since(windows []openings.Span, p *visitDraft) []openings.Span {
	if !p.goesOn() {
		return windows
	}
	at := openings.Minute(0)
	for _, s := range joined(windows) {
		if at <= d.Now && d.Now < s.From {
			return append(slices.Clip(windows), openings.Span{From: at, To: s.From})
		}
		at = max(at, s.To)
	}
	return windows
}

// closedUnit lists when unit u cannot be used by anybody.
func (b *dayNet) closedUnit(u int) []window {
	unit := &b.dr.d.Shop.Units[u]
	hours, breaks := softClosing, softBreak
	if !person(unit.Kind) {
		hours, breaks = softStation, softStation
	}
	l := b.outside(nil, b.dr.d.hours(u), limit{severity: hours, unit: u, index: -1})
	for k, s := range unit.Breaks {
		l = b.window(l, s, limit{severity: breaks, unit: u, index: k})
	}
	return l
}

// hours are when unit u can be used. A chair has no closing time of its own
// while the salon is closed.
func (d *Day) hours(u int) []openings.Span {
	unit := &d.Shop.Units[u]
	if person(unit.Kind) {
		return unit.Open
	}
	out, at := slices.Clone(unit.Open), openings.Minute(0)
	for _, s := range joined(d.Shop.Premises) {
		if at < s.From {
			out = append(out, openings.Span{From: at, To: s.From})
		}
		at = max(at, s.To)
	}
	return append(out, openings.Span{From: at, To: 2 * openings.MaxHorizon})
}

// person reports whether units of a kind are people, who can be asked.
func person(k openings.UnitKind) bool { return k == openings.Stylist || k == openings.Assistant }

// bookings adds the uses of unit u that are no visits of the day.
func (b *dayNet) bookings(l []window, u int, p *visitDraft) []window {
	for k, bk := range b.dr.d.Shop.Units[u].Bookings {
		s := openings.Span{From: bk.From - b.dr.clearing(p, u), To: bk.To + bk.Clear}
		l = b.window(l, s, limit{severity: softStation, unit: u, index: k, taken: true})
	}
	return l
}

// outside adds what lies outside the windows in.
func (b *dayNet) outside(l []window, in []openings.Span, is limit) []window {
	if b.dr.open && is.severity == softClosing {
		return l
	}
	at := openings.Minute(0)
	for _, s := range joined(in) {
		l = b.window(l, openings.Span{From: at, To: s.From}, is)
		at = max(at, s.To)
	}
	return b.window(l, openings.Span{From: at, To: openings.Minute(b.horizon) + 1}, is)
}

func (b *dayNet) window(l []window, s openings.Span, is limit) []window {
	if s.From >= s.To {
		return l
	}
	b.tags, b.spans = append(b.tags, is), append(b.spans, s)
	return append(l, window{int32(s.From), int32(s.To), int32(len(b.tags) - 1)})
}

// Place says which phase of which visit a piece is.
type Place struct{ Visit, Phase int }

// Problem returns the rest of the day as pieces and links, in the order in
// which its units are promised, and which phase each piece is. A phase under
// way lasts as long as it was planned for and at least until now.
//
// Problem returns Faults that name the faulty fields of d.
func (d Day) Problem() (Problem, map[string]Place, error) {
	units, err := d.check()
	if err != nil {
		return Problem{}, nil, err
	}
	b := newDraft(&d, units).net()
	p := Problem{Minutes: d.Shop.Minutes, Now: d.Now}
	places := map[string]Place{}
	for i, o := range b.owner {
		v := &d.Visits[o.visit]
		pc := Piece{ID: fmt.Sprintf("%s/%s", v.ID, v.Spec.Phases[o.phase].Name),
			Minutes: openings.Minute(b.length[i]), Planned: &v.Booked.Phases[o.phase].Start}
		for _, twice := places[pc.ID]; twice; _, twice = places[pc.ID] {
			pc.ID = fmt.Sprintf("%s#%d", pc.ID, o.phase+1)
		}
		if at := openings.Minute(b.floor[i]); b.fixed[i] {
			pc.Fixed = &at
		} else {
			pc.NotBefore = at
		}
		for _, w := range b.closed[i] {
			if s := (openings.Span{From: openings.Minute(w.from), To: min(openings.Minute(w.to), d.Shop.Minutes)}); s.From < s.To {
				pc.Closed = append(pc.Closed, s)
			}
		}
		places[pc.ID] = Place{o.visit, o.phase}
		p.Pieces = append(p.Pieces, pc)
	}
	for i, e := range b.links {
		l := Link{Before: p.Pieces[e.before].ID, After: p.Pieces[e.after].ID, Min: openings.Minute(e.min), Why: b.why(b.behind[i])}
		if e.max != noLimit {
			limit := openings.Minute(e.max)
			l.Max = &limit
		}
		p.Links = append(p.Links, l)
	}
	return p, places, nil
}
