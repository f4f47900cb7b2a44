package delays

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"chairblock/scheduling/openings"
)

// clock writes minute m as a time of day.
func (d *Day) clock(m openings.Minute) string {
	if d.Clock.Zone == nil {
		return fmt.Sprintf("%02d:%02d", m/60%24, m%60)
	}
	return d.Clock.Time(m).Format("15:04")
}

func (d *Day) between(s openings.Span) string {
	if s.To >= d.Shop.Minutes {
		return "from " + d.clock(s.From) + " on"
	}
	return "from " + d.clock(s.From) + " to " + d.clock(s.To)
}

// unit names unit u.
func (d *Day) unit(u int) string {
	id := d.Shop.Units[u].ID
	return cmp.Or(d.Names[id], id)
}

func minutes(m openings.Minute) string {
	if m == 1 {
		return "1 minute"
	}
	return fmt.Sprintf("%d minutes", m)
}

// so says how many minutes are allowed: "none is", "1 is", "5 are".
func so(m openings.Minute) string {
	switch int(m) {
	case 0:
		return "none is"
	case 1:
		return "1 is"
	}
	return fmt.Sprintf("%d are", m)
}

// of names a phase of a visit: "rinse solution of Mia R.".
func (d *Day) of(visit, phase int) string {
	v := &d.Visits[visit]
	return fmt.Sprintf("“%s” of %s", v.phase(phase), v.words())
}

// joined sorts spans and joins those that touch or overlap.
func joined(in []openings.Span) []openings.Span {
	in = slices.Clone(in)
	slices.SortFunc(in, func(a, b openings.Span) int { return cmp.Compare(a.From, b.From) })
	out := in[:0]
	for _, s := range in {
		if n := len(out); n > 0 && s.From <= out[n-1].To {
			out[n-1].To = max(out[n-1].To, s.To)
			continue
		}
		out = append(out, s)
	}
	return out
}

// why says where the link behind is comes from.
func (b *dayNet) why(is limit) string {
	d := b.dr.d
	if is.severity == softOrder {
		return fmt.Sprintf("%s is taken by %s before", d.unit(is.unit), d.Visits[is.index].words())
	}
	v := &d.Visits[is.visit]
	g := v.Spec.Gaps[is.phase]
	return fmt.Sprintf("%d to %d minutes between “%s” and “%s”", g.Min, g.Max, v.phase(is.phase), v.phase(is.phase+1))
}

// chain says in plain words, rule after rule, how c came about. Of steps of one
// visit that merely follow one another it gives the last.
func (b *dayNet) chain(c *clash) []string {
	steps := c.chain
	if c.loop {
		steps = steps[1:]
	}
	var out []string
	for k, r := range steps {
		if k+1 < len(steps) && b.follows(r) && b.follows(steps[k+1]) {
			continue
		}
		out = append(out, b.say(r))
	}
	return out
}

// follows reports whether r is a step after the one before it.
func (b *dayNet) follows(r raise) bool {
	return r.cause == byMin && b.behind[r.index].severity != softOrder
}

func (b *dayNet) say(r raise) string {
	d, o, at := b.dr.d, b.owner[r.piece], openings.Minute(r.start)
	what, from := d.of(o.visit, o.phase), d.clock(openings.Minute(r.start))
	switch r.cause {
	case byLow:
		return b.sayLow(r.piece, what, from)
	case byWindow:
		w := b.closed[r.piece][r.index]
		if at >= d.Shop.Minutes {
			return fmt.Sprintf("%s: there is no time for %s", b.sayWindow(w), what)
		}
		return fmt.Sprintf("%s: %s has to wait until %s", b.sayWindow(w), what, from)
	case byMin:
		is := b.behind[r.index]
		if is.severity == softOrder {
			return fmt.Sprintf("%s is taken by %s until %s: %s has to wait", d.unit(is.unit), d.Visits[is.index].words(), from, what)
		}
		return fmt.Sprintf("%s follows “%s”, at %s or later", what, d.Visits[is.visit].phase(is.phase), from)
	case byMax:
		is := b.behind[r.index]
		g := d.Visits[is.visit].Spec.Gaps[is.phase]
		return fmt.Sprintf("%s may wait %s at most after %s, which therefore cannot end before %s",
			d.of(is.visit, is.phase+1), minutes(g.Max), what, d.clock(at+openings.Minute(b.length[r.piece])))
	}
	return ""
}

func (b *dayNet) sayLow(piece int32, what, from string) string {
	d, p := b.dr.d, b.dr.visits[b.owner[piece].visit]
	switch {
	case b.fixed[piece] && p.runs && b.owner[piece].phase == p.begun-1:
		return fmt.Sprintf("%s runs since %s and ends at %s at the earliest", what, from,
			d.clock(openings.Minute(b.low[piece]+b.length[piece])))
	case b.fixed[piece]:
		return fmt.Sprintf("%s lasted from %s to %s", what, from, d.clock(openings.Minute(b.low[piece]+b.length[piece])))
	case b.low[piece] > b.floor[piece]:
		return fmt.Sprintf("%s is promised for %s", what, from)
	case openings.Minute(b.low[piece]) == d.Now:
		return fmt.Sprintf("%s has not begun by now, %s", what, from)
	}
	return fmt.Sprintf("%s is not there before %s", p.v.words(), from)
}

// sayWindow says why nothing can be done during w.
func (b *dayNet) sayWindow(w window) string {
	d, is, s := b.dr.d, b.tags[w.tag], b.spans[w.tag]
	switch {
	case is.severity == softBreak:
		return d.unit(is.unit) + " has a break " + d.between(s)
	case is.unit < 0:
		return "the salon is closed " + d.between(s)
	case is.severity == softClosing:
		return d.unit(is.unit) + " is not there " + d.between(s)
	case is.taken:
		return d.unit(is.unit) + " is taken " + d.between(s)
	}
	return d.unit(is.unit) + " is out of use " + d.between(s)
}

// cause names in a few words what in c keeps a phase from beginning: the last
// rule of the chain that is not one of the visit's own steps. It is empty when
// there is none.
func (b *dayNet) cause(c *clash) string {
	d := b.dr.d
	for _, r := range slices.Backward(c.chain) {
		at := d.clock(openings.Minute(r.start))
		switch {
		case r.cause == byMin && b.behind[r.index].severity == softOrder:
			is := b.behind[r.index]
			return fmt.Sprintf("%s is taken by %s until %s", d.unit(is.unit), d.Visits[is.index].words(), at)
		case r.cause == byWindow:
			return b.sayWindow(b.closed[r.piece][r.index])
		}
	}
	return ""
}

// list joins words: "a", "a and b", "a, b and c".
func list(words []string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}
