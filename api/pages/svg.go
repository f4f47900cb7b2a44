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
func (s *svg) bracketUp(class string, x0, x1, y, h float64) {
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

// SVG returns the drawing for a page of this package, whose style sheet it
// needs: one svg element for every sheet of paper that it takes. It returns
// scheduling.Faults when the board cannot be drawn; see Board.Validate.
func (b Board) SVG() ([]byte, error) { return b.draw(false) }

// StandaloneSVG returns the drawing as an image file of its own: one element,
// with a title, with its own styles for light, dark and forced colours, and
// without links. It returns scheduling.Faults when the board cannot be drawn.
func (b Board) StandaloneSVG() ([]byte, error) { return b.draw(true) }

func (b Board) draw(alone bool) ([]byte, error) {
	if err := b.Validate(); err != nil {
		return nil, err
	}
	s := &svg{buf: make([]byte, 0, 64<<10)}
	l := newLayout(b, alone)
	for i := range l.sheets {
		s.sheet(l, i)
	}
	return s.buf, nil
}

// sheet draws one sheet. The pattern of the beams is defined in the first and
// serves all.
func (s *svg) sheet(l *layout, i int) {
	sh := l.sheets[i]
	s.open(l, i)
	if i == 0 {
		s.raw(`<defs><pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">` +
			`<path class="hatchline" d="M 1 0 V 7"/></pattern></defs>`)
	}
	if l.alone {
		s.rect("paper", 0, 0, l.width, sh.end)
	}
	if i == 0 {
		s.head(l)
	}
	s.hours(sh)
	for _, d := range l.lines[sh.from:sh.to] {
		s.ground(l, d)
	}
	if i == len(l.sheets)-1 {
		s.raw("\n", `<g class="keys">`)
		for _, k := range l.keys {
			s.text(k)
		}
		s.raw(`</g><g class="legends">`)
		for _, it := range l.legend {
			s.legendItem(it)
		}
		s.raw("</g>")
	}
	s.raw("</svg>\n")
}

func (s *svg) open(l *layout, i int) {
	sh := l.sheets[i]
	s.raw(`<svg class="board"`)
	if l.alone {
		s.raw(` xmlns="http://www.w3.org/2000/svg"`)
		s.attr("width", l.width)
		s.attr("height", sh.end)
	}
	s.raw(` viewBox="0 `)
	s.num(sh.top)
	s.raw(" ")
	s.num(l.width)
	s.raw(" ")
	s.num(sh.end - sh.top)
	s.raw(`" role="group" aria-label="`)
	s.esc(joinWords("Day board,", clean(l.board.DateLabel)))
	if i > 0 {
		s.raw(", sheet ", strconv.Itoa(i+1))
	}
	s.raw(`">`)
	if l.alone {
		s.raw("<style>")
		s.buf = append(s.buf, readAsset("drawing.css")...)
		s.raw("</style>")
	}
}

// head draws the title of an image of its own and the words of an empty day.
func (s *svg) head(l *layout) {
	for i, h := range l.head {
		if i == 0 && l.alone {
			h.class = "title"
		}
		s.text(h)
	}
}

// hours draws the lines at the full hours and the present moment, behind all
// that follows.
func (s *svg) hours(sh *sheet) {
	if len(sh.ticks) > 0 {
		s.raw(`<path class="grid" d="`)
		for _, x := range sh.ticks {
			s.raw("M ")
			s.num(x)
			s.raw(" ")
			s.num(sh.gridTop)
			s.raw("V ")
			s.num(sh.gridEnd)
		}
		s.raw(`"/>`)
	}
	for _, h := range sh.hours {
		s.text(h)
	}
	if sh.nowLabel != nil {
		s.line("nowline", sh.now, sh.nowLabel.y-12, sh.now, sh.gridEnd)
		s.text(*sh.nowLabel)
	}
}

// ground draws one line with all that stands on it and hangs below it.
func (s *svg) ground(l *layout, d *lineLayout) {
	s.raw("\n", `<g class="`)
	if d.bar {
		s.raw("station")
	} else {
		s.raw("person")
	}
	s.raw(`" role="group" aria-label="`)
	s.esc(d.title)
	s.raw(`">`)
	s.groundLine(l, d)
	for _, f := range d.shapes {
		s.part(l, d, f)
	}
	for _, b := range d.brackets {
		s.bracketUp("core", b.x0, b.x1, b.y-5, 5)
	}
	for _, t := range d.extra {
		s.text(t)
	}
	// Drawn last: the script moves this group when the board is scrolled
	// sideways, and then it must cover what is below it.
	s.raw(`<g class="who">`)
	s.rect("paper", 0, d.top, nameRight, d.end-d.top)
	for i := len(d.names) - 1; i >= 0; i-- {
		s.text(d.names[i])
	}
	s.raw("</g></g>")
}

// groundLine draws the line: solid while the unit is open, dotted otherwise,
// with a dip at breaks.
func (s *svg) groundLine(l *layout, d *lineLayout) {
	from := plotLeft
	for _, o := range d.solid {
		if o.a > from {
			s.line("closed", from, d.ground, o.a, d.ground)
		}
		s.line("ground", o.a, d.ground, o.b, d.ground)
		from = max(from, o.b)
	}
	if from < l.right {
		s.line("closed", from, d.ground, l.right, d.ground)
	}
	for _, b := range d.breaks {
		s.trough(b.a, b.b, d.ground)
	}
}

// part draws one part as a link whose name says all, or as an image with that
// name when it leads nowhere.
func (s *svg) part(l *layout, d *lineLayout, f *shape) {
	link := f.part.Href != "" && !l.alone
	if link {
		s.raw(`<a class="`, partClass(f.part.Kind), `" data-v="`, l.visit(f.part.Href), `" href="`)
		s.esc(f.part.Href)
		s.raw(`">`)
	} else {
		s.raw(`<g class="`, partClass(f.part.Kind), `" role="img">`)
	}
	s.raw("<title>")
	s.esc(l.clock.name(f.part))
	s.raw("</title>")
	s.body(l, d, f)
	if f.pole != nil {
		s.line("pole", f.pole[0], f.pole[1], f.pole[0], f.pole[2])
	}
	s.rect("hit", f.hit.x, f.hit.y, f.hit.w, f.hit.h)
	for _, t := range f.labels {
		s.text(t)
	}
	if link {
		s.raw("</a>")
	} else {
		s.raw("</g>")
	}
}

// body draws the shape that tells the kind. Blocks keep a seam of two units
// between neighbours.
func (s *svg) body(l *layout, d *lineLayout, f *shape) {
	h := blockHeight
	if d.bar {
		h = barHeight
	}
	x, w := f.x0+1, f.x1-f.x0-2
	switch f.part.Kind {
	case Watched, Unwatched:
		s.lifted(l, d, f)
	case Basin:
		s.teeth(x, d.ground-h, max(w, 1), h)
	case Clearing:
		s.rect("block", x, d.ground-h+3, w, h-4)
	case Pencilled:
		s.rect("block", x, d.ground-h, w, h-1)
	case HandsOn, ChairUse:
		s.rect("block", x, d.ground-h, w, h)
	}
}

// lifted draws a beam with its looks, its check and the time allowed for it.
func (s *svg) lifted(l *layout, d *lineLayout, f *shape) {
	y := d.beamTop(f)
	s.beam(f.x0+1, f.x1-1, y, beamHeight, d.ground, f.part.Kind == Watched)
	for _, t := range f.part.Checks {
		if l.inside(t) {
			x := l.x(t)
			s.line("look", x, y-7, x, y+5)
		}
	}
	b := f.part.BackBy
	if b == nil || !l.inside(*b) {
		return
	}
	x := l.x(*b)
	if f.part.Latest != nil && f.part.Latest.After(*b) {
		s.bracketUp("latest", x, l.x(*f.part.Latest), y+beamHeight+4, 5)
	}
	s.diamond(x, y-4)
}

// partClass is the class of the style sheet for a kind.
func partClass(k PartKind) string {
	switch k {
	case HandsOn:
		return "on"
	case ChairUse:
		return "use"
	default:
		return string(k)
	}
}
