package pages

import "math"

// draw draws the figure, the hair over it, its partings, and the scale beside it.
func (h HairDrawing) draw() string {
	s := &svg{buf: make([]byte, 0, 6<<10)}
	rows := h.rows()
	foot := hairY(max(figureCM, h.LengthCM)) + 8
	s.startPicture("hair", hairWidth, foot+float64(len(rows))*16+4, h.name())
	s.figure()
	h.drawHair(s)
	h.drawPanels(s)
	h.drawRegrowth(s)
	h.drawPartings(s)
	h.drawScale(s)
	for i, r := range rows {
		class := "plain"
		if i == 0 {
			class = "strong"
		}
		s.write(r, rowText, i == 0, class, 8, foot+float64(i+1)*16-4)
	}
	return s.endPicture()
}

// figure draws head, ears, neck and shoulders as one thin line.
func (s *svg) figure() {
	at := func(x, cm float64) (float64, float64) { return hairMiddle + x*hairUnit, hairY(cm) }
	s.raw(`<path class="figure" d="`)
	p := func(cmd string, list ...float64) {
		s.raw(cmd)
		for i := 0; i < len(list); i += 2 {
			x, y := at(list[i], list[i+1])
			s.num(x)
			s.raw(" ")
			s.num(y)
			s.raw(" ")
		}
	}
	p("M", -6, 21)
	p("C", -9, 18, -9.4, 12, -9, 9, -8, -1, 8, -1, 9, 9, 9.4, 12, 9, 18, 6, 21)
	for _, side := range [2]float64{-1, 1} {
		p("M", side*9.1, 10.5)
		p("C", side*11, 9.5, side*11, 14, side*8.8, 14.8)
		p("M", side*5.6, 21)
		p("C", side*5.4, 26, side*5.6, 30, side*9, 31.5)
		p("C", side*14, 33.5, side*19.5, 34, side*20.5, 39)
		p("C", side*21.5, 48, side*22.5, 62, side*24, figureCM)
		p("M", side*16, 47)
		p("C", side*15.6, 58, side*14.6, 66, side*14.4, 73)
		p("C", side*14.6, 80, side*16, 84, side*16.6, figureCM)
	}
	s.raw(`"/>`)
}

// drawHair draws the outline down to the length and strands below the scalp.
func (h HairDrawing) drawHair(s *svg) {
	s.raw(`<path class="mass" d="M`)
	// The dome from the crown outwards, then straight down, and back.
	end := h.LengthCM
	var depths []float64
	for i := 0; i <= 8; i++ {
		a := float64(i) / 8 * math.Pi / 2
		if d := domeCM * (1 - math.Cos(a)); d < end-0.8 {
			depths = append(depths, d)
		}
	}
	depths = append(depths, max(end-0.8, 0))
	for i, d := range depths {
		if i > 0 {
			s.raw("L")
		}
		s.pair(hairMiddle+h.half(d), hairY(d))
	}
	s.raw("Q")
	s.pair(hairMiddle, hairY(end+0.8))
	s.raw(" ")
	s.pair(hairMiddle-h.half(end-0.8), hairY(end-0.8))
	for i := len(depths) - 2; i > 0; i-- {
		s.raw("L")
		s.pair(hairMiddle-h.half(depths[i]), hairY(depths[i]))
	}
	s.raw(`z"/>`)
	_, nape := h.scalp()
	strands := &strokes{}
	n := 3 + int(h.volume()*2)
	for i := range n {
		at := (2*float64(i+1)/float64(n+1) - 1)
		if end-nape > 4 {
			strands.lineTo(hairMiddle+at*h.half(nape+1), hairY(nape+1.5), hairMiddle+at*h.half(end), hairY(end-1.5))
		}
	}
	s.strokes("strand", strands)
}

// pair writes a point.
func (s *svg) pair(x, y float64) {
	s.num(x)
	s.raw(" ")
	s.num(y)
}

// ends returns the ends of a section at depth d, in units.
func (h HairDrawing) ends(c hairSection, d float64) (left, right float64) {
	return hairMiddle + c.left*h.half(d), hairMiddle + c.right*h.half(d)
}

// drawPanels draws the lines of the panels, even in each section.
func (h HairDrawing) drawPanels(s *svg) {
	if h.Panels == 0 {
		return
	}
	lines := &strokes{}
	each := h.panelLines()
	for i, c := range h.sections() {
		for k := range each[i] {
			d := c.top + (c.bottom-c.top)*float64(k+1)/float64(each[i]+1)
			a, b := h.ends(c, d)
			if b-a > 5 {
				lines.lineTo(a+1.5, hairY(d), b-1.5, hairY(d))
			}
		}
	}
	s.strokes("panel", lines)
}

// drawRegrowth hatches the new growth of a retouch, from the top down.
func (h HairDrawing) drawRegrowth(s *svg) {
	if !h.Retouch || h.RegrowthCM <= 0 {
		return
	}
	to := min(h.RegrowthCM, h.LengthCM-0.8)
	band := &strokes{}
	wide := h.half(max(domeCM, to))
	height := to * hairUnit
	for c := 2.0; c < 2*wide+height; c += 5 {
		h.hatchLine(band, c, wide, height)
	}
	s.strokes("regrowth", band)
	edge := &strokes{}
	edge.lineTo(hairMiddle-h.half(to), hairY(to), hairMiddle+h.half(to), hairY(to))
	s.strokes("edge", edge)
}

// hatchLine adds the piece inside the hair of the line that rises to the right
// and meets the lower edge of the band c units right of its left end. The piece
// is one, since the outline bulges outwards.
func (h HairDrawing) hatchLine(p *strokes, c, wide, height float64) {
	const grain = 1.0
	first, last, any := 0.0, 0.0, false
	for t := max(0, c-2*wide); t <= min(height, c); t += grain {
		x := -wide + c - t // from the middle, t units above
		y := t
		d := y / hairUnit
		if math.Abs(x) < h.half(d)-0.5 {
			if !any {
				first = t
			}
			last, any = t, true
		}
	}
	if any && last-first >= grain {
		p.lineTo(hairMiddle-wide+c-first, hairTop+first, hairMiddle-wide+c-last, hairTop+last)
	}
}

// drawPartings draws the lines between sections.
func (h HairDrawing) drawPartings(s *svg) {
	lines := &strokes{}
	from, to := h.scalp()
	for i, c := range h.sections() {
		if c.left == 0 {
			lines.lineTo(hairMiddle, hairY(c.top), hairMiddle, hairY(c.bottom))
		}
		if i > 0 && c.left == -1 && c.top > from {
			a, b := hairMiddle-h.half(c.top), hairMiddle+h.half(c.top)
			lines.lineTo(a, hairY(c.top), b, hairY(c.top))
		}
	}
	a, b := hairMiddle-h.half(to), hairMiddle+h.half(to)
	lines.lineTo(a, hairY(to), b, hairY(to))
	s.strokes("parting", lines)
}

// drawScale draws the marks of the body and where the hair ends.
func (h HairDrawing) drawScale(s *svg) {
	scale := &strokes{}
	scale.lineTo(hairScale, hairY(0), hairScale, hairY(max(figureCM, h.LengthCM)))
	scale.lineTo(hairScale-3, hairY(0), hairScale+3, hairY(0))
	for _, m := range hairMarks {
		scale.lineTo(hairScale-3, hairY(m.cm), hairScale+3, hairY(m.cm))
		s.write(m.words+" "+h.length(m.cm), rowText, false, "soft", hairScale+8, hairY(m.cm)+4)
	}
	s.strokes("scale", scale)
	y := hairY(h.LengthCM)
	reach := &strokes{}
	reach.lineTo(hairMiddle+h.half(h.LengthCM)*0.3, y, hairScale, y)
	s.strokes("reach", reach)
	s.writeEnd(h.length(h.LengthCM), rowText, true, "strong", hairScale-5, y-4)
}
