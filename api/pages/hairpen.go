package pages

import "math"

// hairPen draws in cm around the middle of a head whose crown is at 0.
type hairPen struct {
	*svg
	h       HairDrawing
	at, top float64
	unit    float64
}

func (p hairPen) x(cm float64) float64 { return p.at + cm*p.unit }
func (p hairPen) y(cm float64) float64 { return p.top + cm*p.unit }

// point writes one in cm.
func (p hairPen) point(x, y float64) {
	p.num(p.x(x))
	p.raw(" ")
	p.num(p.y(y))
}

// points writes a command of path data and its points.
func (p hairPen) points(cmd string, list ...float64) {
	p.raw(cmd)
	for i := 0; i < len(list); i += 2 {
		if i > 0 {
			p.raw(" ")
		}
		p.point(list[i], list[i+1])
	}
}

// across adds a level line from the middle by shares of the half width.
func (p hairPen) across(s *strokes, cm, left, right float64) {
	w := p.h.half(cm)
	s.lineTo(p.x(left*w), p.y(cm), p.x(right*w), p.y(cm))
}

// draw draws the figure with the hair over it and the scale beside it, and the
// head once more with partings and panels.
func (h HairDrawing) draw() string {
	s := &svg{buf: make([]byte, 0, 6<<10)}
	figure := hairPen{s, h, figureAt, hairTop, figureUnit}
	large := hairPen{s, h, largeAt, hairTop, largeUnit}
	foot := figure.y(max(figureCM, h.LengthCM)) + 8
	rows := h.rows()
	s.startPicture("hair", hairWidth, foot+float64(len(rows))*16+4, h.name())
	figure.body()
	figure.mass(h.LengthCM)
	figure.strands()
	figure.regrowth()
	figure.scale()
	large.mass(napeCM + 1.5)
	large.panels()
	large.partings()
	for i, r := range rows {
		s.rowOfWords(r, i, 8, foot+float64(i+1)*16-4)
	}
	y := large.y(napeCM+2) + 18
	for i, c := range h.captions() {
		s.rowOfWords(c, i, largeLeft, y+float64(i)*16)
	}
	return s.endPicture()
}

// rowOfWords writes a row, the first one bold.
func (s *svg) rowOfWords(text string, i int, x, y float64) {
	class := "plain"
	if i == 0 {
		class = "strong"
	}
	s.write(text, hairText, i == 0, class, x, y)
}

// body draws head, ears, neck and shoulders as one thin line.
func (p hairPen) body() {
	p.raw(`<path class="figure" d="`)
	p.points("M", -6, 21)
	p.points("C", -9, 18, -9.4, 12, -9, 9, -8, -1, 8, -1, 9, 9, 9.4, 12, 9, 18, 6, 21)
	for _, side := range [2]float64{-1, 1} {
		p.points("M", side*9.1, 10.5)
		p.points("C", side*11, 9.5, side*11, 14, side*8.8, 14.8)
		p.points("M", side*5.6, 21)
		p.points("C", side*5.4, 26, side*5.6, 30, side*9, 31.5, side*14, 33.5, side*19.5, 34, side*20.5, 39, side*21.5, 48, side*22.5, 62, side*24, figureCM)
		p.points("M", side*16, 47)
		p.points("C", side*15.6, 58, side*14.6, 66, side*14.4, 73, side*14.6, 80, side*16, 84, side*16.6, figureCM)
	}
	p.raw(`"/>`)
}

// mass draws the outline of the hair down to end: a dome, then straight down,
// and a rounded lower edge that reaches end in its middle.
func (p hairPen) mass(end float64) {
	const corner = 1.2
	var depths []float64
	for i := range 8 {
		if d := domeCM * (1 - math.Cos(float64(i)/7*math.Pi/2)); d < end-2*corner {
			depths = append(depths, d)
		}
	}
	depths = append(depths, end-2*corner)
	p.raw(`<path class="mass" d="`)
	for i, d := range depths {
		p.points([]string{"M", "L"}[min(i, 1)], p.h.half(d), d)
	}
	w := p.h.half(end - corner)
	p.points("Q", w, end-corner/2, w-2*corner, end-corner/2)
	p.points("Q", 0, end+corner/2, -w+2*corner, end-corner/2)
	p.points("Q", -w, end-corner/2, -p.h.half(end-2*corner), end-2*corner)
	for i := len(depths) - 2; i > 0; i-- {
		p.points("L", -p.h.half(depths[i]), depths[i])
	}
	p.raw(`z"/>`)
}

// strands draws hair below the nape: more lines where there is more.
func (p hairPen) strands() {
	end := p.h.LengthCM - 2
	if end < napeCM+4 {
		return
	}
	lines := &strokes{}
	n := 2 + int(p.h.volume()*2)
	for i := range n {
		at := 2*float64(i+1)/float64(n+1) - 1
		lines.lineTo(p.x(at*p.h.half(napeCM)), p.y(napeCM-4*at*at), p.x(at*p.h.half(end)), p.y(end))
	}
	p.strokes("strand", lines)
}

// panels draws the lines of the panels, even in each section.
func (p hairPen) panels() {
	lines := &strokes{}
	each := p.h.panelLines()
	for i, c := range p.h.sections() {
		for k := range each[i] {
			d := c.top + (c.bottom-c.top)*float64(k+1)/float64(each[i]+1)
			p.across(lines, d, c.left*0.97, c.right*0.97)
		}
	}
	p.strokes("panel", lines)
}

// partings draws the lines between sections.
func (p hairPen) partings() {
	lines := &strokes{}
	last := 0.0
	for _, c := range p.h.sections() {
		if c.left == 0 {
			lines.lineTo(p.x(0), p.y(c.top), p.x(0), p.y(c.bottom))
		}
		if last > 0 && c.left == -1 {
			p.across(lines, c.top, -1, 1)
		}
		last = c.bottom
	}
	p.across(lines, napeCM, -1, 1)
	p.strokes("parting", lines)
}

// regrowth hatches the new growth of a retouch, from the crown down.
func (p hairPen) regrowth() {
	if !p.h.Retouch || p.h.RegrowthCM <= 0 {
		return
	}
	const every = 2.2 // cm between two lines
	to := min(p.h.RegrowthCM, p.h.LengthCM-1)
	wide := p.h.half(max(domeCM, to))
	band, edge := &strokes{}, &strokes{}
	for c := every / 2; c < 2*wide+to; c += every {
		p.hatchLine(band, c, wide, to)
	}
	p.across(edge, to, -1, 1)
	p.strokes("regrowth", band)
	p.strokes("edge", edge)
}

// hatchLine adds the piece inside the hair of the line that rises to the right
// and is c cm from the upper left corner of the band, to cm high. The piece is
// one, since the outline bulges outwards.
func (p hairPen) hatchLine(s *strokes, c, wide, to float64) {
	const grain = 0.2
	first, last := math.NaN(), math.NaN()
	for d := max(0, c-2*wide); d <= min(to, c); d += grain {
		if math.Abs(c-d-wide) < p.h.half(d)-0.2 {
			if math.IsNaN(first) {
				first = d
			}
			last = d
		}
	}
	if last-first >= grain {
		s.lineTo(p.x(c-first-wide), p.y(first), p.x(c-last-wide), p.y(last))
	}
}

// scale draws the marks of the body and where the hair ends.
func (p hairPen) scale() {
	h, marks, reach := p.h, &strokes{}, &strokes{}
	marks.lineTo(hairScale, p.y(0), hairScale, p.y(max(figureCM, h.LengthCM)))
	marks.lineTo(hairScale-3, p.y(0), hairScale+3, p.y(0))
	for _, m := range hairMarks {
		marks.lineTo(hairScale-3, p.y(m.cm), hairScale+3, p.y(m.cm))
		p.write(m.words+" "+h.length(m.cm), smallSize, false, "soft", hairScale+7, p.y(m.cm)+4)
	}
	p.strokes("scale", marks)
	reach.lineTo(p.x(0), p.y(h.LengthCM), hairScale, p.y(h.LengthCM))
	p.strokes("reach", reach)
	p.writeEnd(h.length(h.LengthCM), hairText, true, "strong", hairScale-4, p.y(h.LengthCM)-4)
}
