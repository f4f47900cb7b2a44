package pages

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// shape is a part at its place on its line.
type shape struct {
	part   Part
	x0, x1 float64
	tier   int    // of a beam, 0 the lowest
	words  string // what the label would say with all the room in the world
	name   string // everything about it in one sentence
	clash  bool   // a shadow that runs into something
	labels []label
	pole   *[3]float64 // x, from y, to y
	hit    box
}

// keyed is a shape whose words stand in the list below the drawing.
type keyed struct {
	shape    *shape
	numbered bool // its number stands beside it
}

// bracket is the line under a stretch that may not be interrupted.
type bracket struct{ x0, x1, y float64 }

// lineLayout is one ground line with everything that stands on it.
type lineLayout struct {
	name     string
	title    string // name and role, for the name of the group
	bar      bool   // a station: low bars, no beams
	top, end float64
	ground   float64
	drop     float64   // from the ground line to the first row of words
	solid    []stretch // in order, where the unit is open
	breaks   []namedBreak
	brackets []bracket
	shapes   []*shape
	names    []label
	extra    []label // words of brackets, gaps and breaks
	keyed    []keyed

	breakWords []label             // counted from the ground line until settle
	tries      map[*shape][]string // words of shadows, the best first
}

// namedBreak is a dip of the ground line with its words.
type namedBreak struct {
	stretch
	words string
}

// placeLine draws line from y downwards and returns the y below it. Work that
// overlaps other work of the same person, which only faulty data can hold, and
// candidates that overlap work or each other are drawn on a further ground line
// rather than on top of it.
func (l *layout) placeLine(line Line, bar bool, y float64) float64 {
	for i, lane := range l.lanes(line) {
		one := line
		if i > 0 {
			one = Line{Name: line.Name, Role: laneRole(lane)}
		}
		one.Parts = lane
		y = l.placeLane(one, line.Parts, bar, y)
	}
	return y
}

// lanes sorts the visible parts of line by time and splits them into lanes
// without overlap. Beams stay in the first lane, where they may hang over each
// other. There is always a first lane.
func (l *layout) lanes(line Line) [][]Part {
	parts := make([]Part, 0, len(line.Parts))
	for _, p := range line.Parts {
		if l.seen(p.From, p.To) {
			parts = append(parts, p)
		}
	}
	byTime := func(a, b Part) int { return cmp.Or(a.From.Compare(b.From), b.To.Compare(a.To)) }
	slices.SortStableFunc(parts, byTime)
	lanes := [][]Part{nil}
	ends := []time.Time{{}}
	for _, p := range parts {
		if isBeam(p.Kind) {
			lanes[0] = append(lanes[0], p)
			continue
		}
		i := 0
		for i < len(lanes) && p.From.Before(ends[i]) {
			i++
		}
		if i == len(lanes) {
			lanes = append(lanes, nil)
			ends = append(ends, time.Time{})
		}
		lanes[i] = append(lanes[i], p)
		ends[i] = p.To
	}
	lanes = l.addCandidates(line, lanes)
	for _, lane := range lanes {
		slices.SortStableFunc(lane, byTime)
	}
	return lanes
}

func isBeam(k PartKind) bool { return k == Watched || k == Unwatched }

// outlined tells kinds whose blocks are empty, so that words inside are dark.
func outlined(k PartKind) bool { return k == Pencilled || k == Kept || isCandidate(k) }

// placeLane draws one ground line; all are the parts of all lines of the unit,
// into which a shadow may run.
func (l *layout) placeLane(line Line, all []Part, bar bool, y float64) float64 {
	d := &lineLayout{bar: bar, top: y, name: clean(line.Name), title: clean(line.Name)}
	if r := clean(line.Role); r != "" {
		d.title += ", " + r
	}
	d.addGround(l, line)
	tiers := d.addShapes(l, line.Parts)
	d.addShadows(l, Line{Parts: all, Breaks: line.Breaks, Shadows: line.Shadows})
	above, below := d.labelBeams(l), d.labelBlocks(l)
	d.labelBreaks(below)

	need := blockHeight + 10
	switch {
	case bar && tiers == 0:
		need = barHeight + 14
	case tiers > 0:
		need = beamLift + beamHeight + float64(tiers-1)*tierStep + lookRoom + float64(len(above.rows))*rowStep + 4
	}
	d.placeNames(line, bar)
	d.ground = y + max(need, d.nameHeight()+6)
	d.settle(tiers)
	under := d.ground + d.drop - 10 + float64(len(below.rows))*rowStep
	d.end = d.addFree(l, line.Free, d.addCore(l, line.Core, under))
	if bar {
		d.end = max(d.end+6, d.ground+12)
	} else {
		d.end += 14
	}
	d.setHits()
	l.lines = append(l.lines, d)
	return d.end
}

// addShapes makes a shape of every part and returns the number of tiers that
// the beams need.
func (d *lineLayout) addShapes(l *layout, parts []Part) (tiers int) {
	var ends []time.Time
	for _, p := range parts {
		s := &shape{part: p, x0: l.x(p.From), x1: l.x(p.To)}
		s.x1 = max(s.x1, s.x0+leastWidth)
		s.words = joinWords(whose(p.Code), clean(p.Label))
		if s.words == "" {
			s.words = kindWords(p.Kind)
		}
		if isBeam(p.Kind) {
			t := 0
			for t < len(ends) && p.From.Before(ends[t]) {
				t++
			}
			if t == len(ends) {
				ends = append(ends, time.Time{})
			}
			ends[t], s.tier = p.To, t
			for _, c := range []string{l.clock.check(p), clean(p.Next)} {
				if c != "" {
					s.words += ", " + c
				}
			}
		}
		s.name = l.clock.name(p)
		d.shapes = append(d.shapes, s)
	}
	return len(ends)
}

func joinWords(a, b string) string { return strings.TrimSpace(a + " " + b) }

// addGround marks where the unit is open and where it has a break. Words
// below the line keep clear of the dip that a break makes.
func (d *lineLayout) addGround(l *layout, line Line) {
	d.drop = 14
	for _, s := range line.Open {
		if l.seen(s.From, s.To) {
			d.solid = append(d.solid, stretch{l.x(s.From), l.x(s.To)})
		}
	}
	slices.SortFunc(d.solid, func(a, b stretch) int { return cmp.Compare(a.a, b.a) })
	for _, s := range line.Breaks {
		if l.seen(s.From, s.To) {
			d.breaks = append(d.breaks, namedBreak{stretch{l.x(s.From), l.x(s.To)}, "break " + l.clock.span(s.From, s.To)})
			d.drop = 19
		}
	}
}

// placeNames writes name and role to the left of the line; y is counted from
// the ground line until settle moves them.
func (d *lineLayout) placeNames(line Line, bar bool) {
	size, rows := nameSize, 3
	if bar {
		size, rows = blockSize, 2
	}
	names := wrapName(clean(line.Name), size, rows)
	role := ""
	if !bar || line.Role == roleSame || line.Role == rolePossible {
		role = shorten(clean(line.Role), smallSize, false, nameWidth)
	}
	y := -6.0
	if role != "" {
		lab := newLabel(role, smallSize, false, "role")
		lab.x, lab.y = 12, y
		d.names = append(d.names, lab)
		y -= 16
	}
	for _, s := range slices.Backward(names) {
		lab := newLabel(s, size, true, "name")
		lab.x, lab.y = 12, y
		d.names = append(d.names, lab)
		y -= size + 3
	}
}

// nameHeight is how far the names reach above the ground line.
func (d *lineLayout) nameHeight() float64 {
	h := 0.0
	for _, n := range d.names {
		h = max(h, n.size-n.y)
	}
	return h
}

// settle moves what was placed relative to the ground line to its real height.
func (d *lineLayout) settle(tiers int) {
	for i := range d.names {
		d.names[i].y += d.ground
	}
	for _, lab := range d.breakWords {
		lab.y += d.ground
		d.extra = append(d.extra, lab)
	}
	top := d.ground - beamLift - beamHeight - float64(max(tiers-1, 0))*tierStep - lookRoom
	for _, s := range d.shapes {
		base := d.ground
		if isBeam(s.part.Kind) {
			base = top
		}
		for i := range s.labels {
			s.labels[i].y += base
		}
		if s.pole != nil {
			s.pole[1] += base
			s.pole[2] += base
			switch {
			case isBeam(s.part.Kind):
				s.pole[1] = d.beamTop(s)
			case s.part.Kind == partLate:
				s.pole[1] = d.shadowTop(s)
			}
		}
	}
}

// beamTop returns the upper edge of a beam.
func (d *lineLayout) beamTop(s *shape) float64 {
	return d.ground - beamLift - beamHeight - float64(s.tier)*tierStep
}
