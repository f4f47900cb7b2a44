package pages

import (
	"html/template"
	"strings"
)

// startPicture begins a small drawing of its own, one image with one name. It
// takes its colours from the style sheet of the board.
func (s *svg) startPicture(class string, width, height float64, name string) {
	s.raw(`<svg class="board `, class, `"`)
	s.attr("width", width)
	s.attr("height", height)
	s.raw(` viewBox="0 0 `)
	s.num(width)
	s.raw(" ")
	s.num(height)
	s.raw(`" role="img" aria-label="`)
	s.esc(name)
	s.raw(`">`)
}

// endPicture ends it and returns all of it.
func (s *svg) endPicture() string {
	s.raw("</svg>")
	return string(s.buf)
}

// write places text with its left end at x.
func (s *svg) write(text string, size float64, bold bool, class string, x, y float64) {
	lab := newLabel(text, size, bold, class)
	lab.x, lab.y = x, y
	s.text(lab)
}

// writeEnd places text with its right end at x.
func (s *svg) writeEnd(text string, size float64, bold bool, class string, x, y float64) label {
	lab := newLabel(text, size, bold, class)
	lab.x, lab.y = x-lab.w, y
	s.text(lab)
	return lab
}

// strokes collects pieces of one path, so that many marks are one element.
type strokes struct{ svg }

func (p *strokes) lineTo(x0, y0, x1, y1 float64) {
	p.raw("M")
	p.num(x0)
	p.raw(" ")
	p.num(y0)
	switch {
	case y0 == y1:
		p.raw("H")
		p.num(x1)
	case x0 == x1:
		p.raw("V")
		p.num(y1)
	default:
		p.raw("L")
		p.num(x1)
		p.raw(" ")
		p.num(y1)
	}
}

func (p *strokes) rectAt(x, y, w, h float64) {
	p.raw("M")
	p.num(x)
	p.raw(" ")
	p.num(y)
	p.raw("h")
	p.num(w)
	p.raw("v")
	p.num(h)
	p.raw("h")
	p.num(-w)
	p.raw("z")
}

// hatch fills a rectangle with slanted lines that rise to the right.
func (p *strokes) hatch(x, y, w, h, step float64) {
	for c := step / 2; c < w+h; c += step {
		// The line x-x0 + y-y0 = c, from its lower left end to its upper right one.
		left, right := max(0, c-h), min(w, c)
		if right-left > 0.2 {
			p.lineTo(x+left, y+c-left, x+right, y+c-right)
		}
	}
}

// diamond adds a diamond around x and y that reaches r far.
func (p *strokes) diamond(x, y, r float64) {
	p.raw("M")
	p.num(x)
	p.raw(" ")
	p.num(y - r)
	p.raw("l")
	p.num(r)
	p.raw(" ")
	p.num(r)
	p.raw(" ")
	p.num(-r)
	p.raw(" ")
	p.num(r)
	p.raw(" ")
	p.num(-r)
	p.raw(" ")
	p.num(-r)
	p.raw("z")
}

// teethAt adds a block whose lower edge has teeth three units high.
func (p *strokes) teethAt(x, y, w, h float64) {
	const tooth = 3.0
	p.raw("M")
	p.num(x)
	p.raw(" ")
	p.num(y)
	p.raw("h")
	p.num(w)
	p.raw("v")
	p.num(h - tooth)
	n := 2 * max(int(w/4), 1)
	for i := range n {
		p.raw("L")
		p.num(x + w - w*float64(i+1)/float64(n))
		p.raw(" ")
		p.num(y + h - tooth*float64(i%2))
	}
	p.raw("z")
}

// strokes writes what was collected as one path.
func (s *svg) strokes(class string, p *strokes) {
	if len(p.buf) == 0 {
		return
	}
	s.raw(`<path class="`, class, `" d="`)
	s.buf = append(s.buf, p.buf...)
	s.raw(`"/>`)
}

// sentence joins words to one sentence.
func sentence(words ...string) string {
	var out []string
	for _, w := range words {
		if w != "" {
			out = append(out, w)
		}
	}
	return strings.Join(out, ", ")
}

// Figure is a drawing with its words and its numbers for the template "figure".
type Figure struct {
	Title   string
	Picture template.HTML // of this package, or ""
	Table   FigureTable
}

// FigureTable is what a drawing shows, as a table.
type FigureTable struct {
	Head []string
	Rows [][]string
}

// NewFigure puts a drawing of this package beside its numbers. The drawing must
// come from here: it is written as it is.
func NewFigure(title, svg string, table FigureTable) Figure {
	return Figure{Title: clean(title), Picture: template.HTML(svg), Table: table}
}
