package pages

import "strconv"

// SVG returns the drawing for a page of this package, whose style sheet it
// needs: one svg element for every sheet of paper that it takes, each below a
// heading that only paper shows. It returns
// scheduling.Faults when the board cannot be drawn; see Board.Validate.
func (b Board) SVG() ([]byte, error) {
	if b.Drawing != nil {
		return b.Drawing, nil
	}
	return b.draw(false)
}

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
	if !l.alone {
		s.heading(l, i)
	}
	s.open(l, i)
	if i == 0 {
		s.raw(`<defs><pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">` +
			`<path class="hatchline" d="M 1 0 V 7"/></pattern>`)
		if l.marks[partLate] {
			s.raw(`<pattern id="late" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)">` +
				`<path class="lateline" d="M 1 0 V 5"/></pattern>`)
		}
		s.raw(`</defs>`)
	}
	if l.alone {
		s.rect("paper", 0, 0, l.width, sh.end)
	}
	if i == 0 {
		s.head(l)
	}
	s.hours(l, sh)
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

// heading says on paper what the sheet below it is.
func (s *svg) heading(l *layout, i int) {
	s.raw(`<p class="sheethead">`)
	for _, w := range []string{clean(l.board.DateLabel), clean(l.board.Salon)} {
		if w != "" {
			s.esc(w)
			s.raw(" · ")
		}
	}
	if t := l.board.AsOf; !t.IsZero() {
		s.raw("as of ", l.clock.at(t), " · ")
	}
	s.raw("page ", strconv.Itoa(i+1), " of ", strconv.Itoa(len(l.sheets)), "</p>\n")
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
func (s *svg) hours(l *layout, sh *sheet) {
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
		for _, p := range l.nowPieces(sh) {
			s.line("nowline", sh.now, p.a, sh.now, p.b)
		}
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
		s.bracketUp("core", b.x0, b.x1, b.y-5)
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
		s.raw(`<g role="img" aria-label="`)
		s.esc(b.words)
		s.raw(`">`)
		s.trough(b.a, b.b, d.ground)
		s.raw("</g>")
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
	s.esc(f.name)
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
	case Pencilled, Kept, partHold, partWaiting:
		s.rect("block", x, d.ground-h, w, h-1)
	case partOffer:
		s.rect("block", x, d.ground-h, w, h-1)
		s.corners(x, d.ground-h, max(w, 1), h-1)
	case partLate:
		s.drawShadow(d, f)
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
		s.bracketUp("latest", x, l.x(*f.part.Latest), y+beamHeight+4)
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
