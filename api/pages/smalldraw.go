package pages

// draw draws the day from back to front: hours, ground line, what is taken,
// what is offered, words.
func (l *smallLayout) draw() string {
	s := &svg{buf: make([]byte, 0, 4<<10)}
	s.startPicture("daysmall", l.width, l.height, l.name())
	l.drawHours(s)
	l.drawGround(s)
	l.drawTaken(s)
	l.drawOffer(s)
	l.drawChair(s)
	l.drawWords(s)
	return s.endPicture()
}

func (l *smallLayout) drawHours(s *svg) {
	labels, ticks := l.hours()
	top := 2.0
	if !l.day.NoHours {
		top = smallHours
	}
	grid := &strokes{}
	for _, x := range ticks {
		grid.lineTo(x, top, x, l.ground)
	}
	s.strokes("grid", grid)
	if l.day.NoHours {
		return
	}
	for _, lab := range labels {
		s.text(lab)
	}
}

// drawGround draws the line, solid while open, with dips at breaks.
func (l *smallLayout) drawGround(s *svg) {
	s.line("closed", l.left, l.ground, l.right, l.ground)
	open, dips := &strokes{}, &strokes{}
	for _, o := range l.day.Open {
		if x0, x1, ok := l.at(o.From, o.To); ok {
			open.lineTo(x0, l.ground, x1, l.ground)
		}
	}
	for _, b := range l.day.Breaks {
		if x0, x1, ok := l.at(b.From, b.To); ok {
			dips.rectAt(x0, l.ground, x1-x0, 3)
		}
	}
	s.strokes("ground", open)
	s.strokes("trough", dips)
}

// drawTaken draws what is there already low and in one grey; beams are thin
// lines on posts, what is pencilled an outline.
func (l *smallLayout) drawTaken(s *svg) {
	full, empty, beams := &strokes{}, &strokes{}, &strokes{}
	for _, p := range l.day.Taken {
		x0, x1, ok := l.at(p.From, p.To)
		if !ok {
			continue
		}
		switch {
		case isBeam(p.Kind):
			y := l.ground - smallBeamLift
			beams.lineTo(x0, l.ground, x0, y)
			beams.lineTo(x0, y, x1, y)
			beams.lineTo(x1, y, x1, l.ground)
		case outlined(p.Kind):
			empty.rectAt(x0+0.5, l.ground-smallTaken, x1-x0-1, smallTaken)
		default:
			full.rectAt(x0+0.5, l.ground-smallTaken, max(x1-x0-1, 1), smallTaken)
		}
	}
	s.raw(`<g class="taken">`)
	s.strokes("block", full)
	s.strokes("outline", empty)
	s.strokes("lift", beams)
	s.raw("</g>")
}

// drawOffer draws the visit in full beams.
func (l *smallLayout) drawOffer(s *svg) {
	blocks, basins, posts, beams, sills, checks := &strokes{}, &strokes{}, &strokes{}, &strokes{}, &strokes{}, &strokes{}
	y := l.ground - smallBeamLift - smallBeam
	for _, p := range l.day.Offer {
		x0, x1, ok := l.at(p.From, p.To)
		if !ok {
			continue
		}
		w := max(x1-x0-1, 1)
		switch {
		case isBeam(p.Kind):
			posts.lineTo(x0+0.5, y+smallBeam, x0+0.5, l.ground)
			posts.lineTo(x1-0.5, y+smallBeam, x1-0.5, l.ground)
			beams.rectAt(x0+0.5, y, w, smallBeam)
			beams.hatch(x0+0.5, y, w, smallBeam, 4)
			if p.Kind == Watched {
				sills.lineTo(x0+0.5, l.ground-4, x1-0.5, l.ground-4)
			}
			if p.BackBy != nil && !p.BackBy.Before(l.day.From) && !p.BackBy.After(l.day.To) {
				checks.diamond(l.x(*p.BackBy), y, 4)
			}
		case p.Kind == Basin:
			basins.teethAt(x0+0.5, l.ground-smallBlock, w, smallBlock)
		default:
			blocks.rectAt(x0+0.5, l.ground-smallBlock, w, smallBlock)
		}
	}
	s.raw(`<g class="on">`)
	s.strokes("block", blocks)
	s.raw(`</g><g class="basin">`)
	s.strokes("block", basins)
	s.raw("</g>")
	s.strokes("post", posts)
	s.strokes("lifted", beams)
	s.strokes("sill", sills)
	s.strokes("check", checks)
}

// drawChair draws the chair below the line: high where the visit takes it, low
// where it is taken already.
func (l *smallLayout) drawChair(s *svg) {
	if len(l.day.Chair) == 0 && len(l.day.ChairTaken) == 0 {
		return
	}
	base := l.ground + 10
	taken, mine := &strokes{}, &strokes{}
	for _, c := range l.day.ChairTaken {
		if x0, x1, ok := l.at(c.From, c.To); ok {
			taken.rectAt(x0+0.5, base-3, max(x1-x0-1, 1), 3)
		}
	}
	for _, c := range l.day.Chair {
		if x0, x1, ok := l.at(c.From, c.To); ok {
			mine.rectAt(x0+0.5, base-6, max(x1-x0-1, 1), 6)
		}
	}
	s.raw(`<g class="taken">`)
	s.strokes("block", taken)
	s.raw(`</g><g class="on">`)
	s.strokes("block", mine)
	s.raw("</g>")
}

// drawWords names the day at the left and the visit above it.
func (l *smallLayout) drawWords(s *svg) {
	d := l.day
	if l.left > smallEdge {
		room := l.left - smallEdge - smallGap
		s.write(shorten(clean(d.Name), smallText, true, room), smallText, true, "strong", smallEdge, l.ground-21)
		s.write(shorten(clean(d.Label), smallText, false, room), smallText, false, "soft", smallEdge, l.ground-7)
		s.write(shorten(clean(d.ChairName), smallText, false, room), smallText, false, "soft", smallEdge, l.ground+9)
	}
	words := clean(d.Words)
	x, tries := l.left, []string{words}
	if o, ok := d.offered(); ok {
		x = l.x(o.From)
		at := l.clock.dash(o.From, o.To)
		tries = []string{sentence(at, words), at, l.clock.at(o.From)}
	}
	for _, t := range tries {
		if w, _ := textWidth(t, smallText, true); w <= l.right-l.left {
			s.write(t, smallText, true, "strong", min(x, l.right-w), l.ground-smallBeamLift-smallBeam-4)
			return
		}
	}
}
