package pages

import (
	"html"
	"math"
	"strconv"
)

// svg is the pen: it appends elements to a buffer. Everything that comes from
// data goes through esc; raw takes only words of this package.
type svg struct{ buf []byte }

func (s *svg) raw(parts ...string) {
	for _, p := range parts {
		s.buf = append(s.buf, p...)
	}
}

// esc writes text for an element or a quoted attribute.
func (s *svg) esc(t string) { s.buf = append(s.buf, html.EscapeString(t)...) }

// num writes a length with at most one decimal.
func (s *svg) num(v float64) {
	v = math.Round(v*10) / 10
	if v == 0 {
		v = 0 // no "-0"
	}
	s.buf = strconv.AppendFloat(s.buf, v, 'f', -1, 64)
}

func (s *svg) attr(name string, v float64) {
	s.raw(" ", name, `="`)
	s.num(v)
	s.raw(`"`)
}

// path writes path data: text parts as they are, numbers after a space.
func (s *svg) path(class string, parts ...any) {
	s.raw(`<path class="`, class, `" d="`)
	for _, p := range parts {
		switch p := p.(type) {
		case string:
			s.raw(p)
		case float64:
			s.raw(" ")
			s.num(p)
		}
	}
	s.raw(`"/>`)
}

func (s *svg) rect(class string, x, y, w, h float64) {
	s.raw(`<rect class="`, class, `"`)
	s.attr("x", x)
	s.attr("y", y)
	s.attr("width", max(w, 1))
	s.attr("height", h)
	if class == "beam" {
		s.raw(` fill="url(#hatch)"`)
	}
	s.raw("/>")
}

func (s *svg) line(class string, x1, y1, x2, y2 float64) {
	if x1 == x2 {
		s.path(class, "M", x1, y1, "V", y2)
		return
	}
	s.path(class, "M", x1, y1, "H", x2)
}

// teeth draws a block of height h whose lower edge is toothed.
func (s *svg) teeth(x, y, w, h float64) {
	n := min(max(math.Round(w/6), 1), 60)
	d := w / n / 2
	s.raw(`<path class="block" d="M `)
	s.num(x)
	s.raw(" ")
	s.num(y)
	s.raw("h ")
	s.num(w)
	s.raw("v ")
	s.num(h - 5)
	for i := range 2 * int(n) {
		// Absolute steps, so that rounding does not add up.
		s.raw("L ")
		s.num(x + w - d*float64(i+1))
		s.raw(" ")
		s.num(y + h - 5*float64(i%2))
	}
	s.raw(`z"/>`)
}

// beam draws a beam from x0 to x1 with its upper edge at y, on posts down to
// ground, with a dotted sill when it is watched.
func (s *svg) beam(x0, x1, y, h, ground float64, watched bool) {
	s.path("post", "M", x0, y+h, "V", ground, "M", x1, y+h, "V", ground)
	s.rect("beam", x0, y, x1-x0, h)
	if watched {
		s.path("sill", "M", x0, ground-7, "H", x1)
	}
}

func (s *svg) diamond(x, y float64) {
	s.path("check", "M", x, y-8, "l 6 8 -6 8 -6 -8z")
}

// bracketUp draws a bracket that is open above.
func (s *svg) bracketUp(class string, x0, x1, y float64) {
	const h = 5.0
	s.path(class, "M", x0, y, "v", h, "H", x1, "v", -h)
}

// trough draws a dip in the ground line.
func (s *svg) trough(x0, x1, y float64) {
	s.path("trough", "M", x0, y, "v 5 H", x1, "v -5")
}

// text draws a label.
func (s *svg) text(l label) {
	if l.text == "" {
		return
	}
	s.raw(`<text class="`, l.class, `"`)
	s.attr("x", l.x)
	s.attr("y", l.y)
	if l.squeeze {
		s.attr("textLength", l.w)
		s.raw(` lengthAdjust="spacingAndGlyphs"`)
	}
	s.raw(">")
	s.esc(l.text)
	s.raw("</text>")
}

// corners draws the four corners of a rectangle.
func (s *svg) corners(x, y, w, h float64) {
	k := min(6, w/2)
	s.path("corner", "M", x, y+k, "V", y, "H", x+k, "M", x+w-k, y, "H", x+w, "V", y+k,
		"M", x+w, y+h-k, "V", y+h, "H", x+w-k, "M", x+k, y+h, "H", x, "V", y+h-k)
}
