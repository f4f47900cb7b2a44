package pages

import "slices"

// labelBeams gives every beam its words above it, as much of them as there is
// room for.
func (d *lineLayout) labelBeams(l *layout, above *rowPool) {
	for _, s := range slices.Backward(d.shapes) {
		if !isBeam(s.part.Kind) {
			continue
		}
		code, step := clean(s.part.Code), clean(s.part.Label)
		tries := []string{s.words}
		if b := s.part.BackBy; b != nil {
			at := l.clock.at(*b)
			tries = append(tries, joinWords(code, step)+", check at "+at, joinWords(step, "check at "+at),
				joinWords(code, "check at "+at), "check "+at)
		}
		tries = append(tries, shortened(joinWords(code, step), code)...)
		d.hang(s, tries, above, true)
	}
}

// labelBlocks gives every other part its words: inside it in one row or two,
// or below it. Clearing needs none beside the shape, which the legend explains.
func (d *lineLayout) labelBlocks(below *rowPool) {
	for _, s := range slices.Backward(d.shapes) {
		if isBeam(s.part.Kind) || s.part.Kind == Clearing || d.labelInside(s) {
			continue
		}
		tries := append([]string{s.words}, shortened(s.words, clean(s.part.Code))...)
		d.hang(s, tries, below, false)
	}
}

// shortened returns shorter and shorter forms of words, the last being the
// client's initials.
func shortened(words, code string) []string {
	var out []string
	for _, w := range []float64{150, 100, 64} {
		if s := shorten(words, smallSize, false, w); s != "" && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	if s := shorten(code, smallSize, false, 64); s != "" && !slices.Contains(out, s) {
		out = append(out, s)
	}
	return out
}

// hang places the first of tries that has room to the right of its pole, else
// to the left, else a number, else nothing; the last two put the words into the
// list below the drawing.
func (d *lineLayout) hang(s *shape, tries []string, pool *rowPool, up bool) {
	for _, toLeft := range [2]bool{false, true} {
		for _, t := range tries {
			if d.flag(s, newLabel(t, smallSize, false, "under"), pool, up, toLeft) {
				return
			}
		}
	}
	digits := "00"
	if len(d.shapes) > 99 {
		digits = "000"
	}
	number := newLabel(digits, smallSize, true, "number")
	ok := d.flag(s, number, pool, up, false) || d.flag(s, number, pool, up, true)
	d.keyed = append(d.keyed, keyed{shape: s, numbered: ok})
}

// flag places lab on a pole at the left end of s.
func (d *lineLayout) flag(s *shape, lab label, pool *rowPool, up, toLeft bool) bool {
	at, ok := pool.place(s.x0+1, lab.w, toLeft)
	if !ok {
		return false
	}
	lab.x = at.x
	if up {
		lab.y = -3 - float64(at.row)*rowStep
		s.pole = &[3]float64{at.pole, 0, lab.y - 9}
	} else {
		lab.y = d.drop + float64(at.row)*rowStep
		s.pole = &[3]float64{at.pole, 0, lab.y + 2}
	}
	s.labels = append(s.labels, lab)
	return true
}

// labelInside writes the words into the block when they fit in full.
func (d *lineLayout) labelInside(s *shape) bool {
	room := s.x1 - s.x0 - 10
	class := "in"
	if s.part.Kind == Pencilled {
		class = "inpencil"
	}
	if d.bar {
		return s.inside(s.words, "", room, class, -4.5, smallSize)
	}
	code, step := clean(s.part.Code), clean(s.part.Label)
	if s.inside(s.words, "", room, class, -14, blockSize) {
		return true
	}
	return code != "" && step != "" && s.inside(code, step, room+2, class, -21.5, blockSize)
}

// inside writes first, and second below it, with base line y above the ground
// line. It reports false when one of them is wider than room.
func (s *shape) inside(first, second string, room float64, class string, y, size float64) bool {
	rows := []label{newLabel(first, size, true, class)}
	if second != "" {
		rows = append(rows, newLabel(second, smallSize, false, class))
	}
	for i := range rows {
		if rows[i].w > room {
			return false
		}
		rows[i].x, rows[i].y = s.x0+5, y+float64(i)*13.5
	}
	s.labels = append(s.labels, rows...)
	return true
}

// setHits gives every part the area that reacts to a pointer: as high as a
// finger needs, and for a link wider than a short part as far as its neighbours
// allow.
func (d *lineLayout) setHits() {
	var blocks, beams []*shape
	for _, s := range d.shapes {
		w := s.x1 - s.x0
		switch {
		case isBeam(s.part.Kind):
			s.hit = box{s.x0, d.beamTop(s) - 10, w, hitSize}
		case d.bar:
			s.hit = box{s.x0, d.ground - 22, w, hitSize}
		default:
			s.hit = box{s.x0, d.ground - blockHeight, w, blockHeight}
		}
		switch {
		case s.part.Href == "":
		case isBeam(s.part.Kind):
			beams = append(beams, s)
		default:
			blocks = append(blocks, s)
		}
	}
	widen(blocks)
	widen(beams)
}

// widen gives parts that are narrower than a finger room from the gaps beside
// them, and from neighbours that keep enough. The shapes are in order of time
// and, but for beams of different tiers, do not overlap.
func widen(row []*shape) {
	for i, s := range row {
		need := hitSize - s.hit.w
		if need <= 0 {
			continue
		}
		roomLeft, roomRight := need, need
		if i > 0 && row[i-1].tier == s.tier {
			p := row[i-1]
			roomLeft = max(0, s.hit.x-p.hit.x-min(p.hit.w, hitSize))
		}
		if i+1 < len(row) && row[i+1].tier == s.tier {
			n := row[i+1]
			roomRight = max(0, n.x0-s.x1) + max(0, n.hit.w-hitSize)
		}
		left := min(need/2, roomLeft)
		right := min(need-left, roomRight)
		left = min(need-right, roomLeft)
		s.hit.x -= left
		s.hit.w += left + right
		if i > 0 && row[i-1].tier == s.tier {
			p := row[i-1]
			p.hit.w = min(p.hit.w, s.hit.x-p.hit.x)
		}
		if i+1 < len(row) && row[i+1].tier == s.tier {
			n := row[i+1]
			if over := s.hit.x + s.hit.w - n.hit.x; over > 0 {
				n.hit.x += over
				n.hit.w -= over
			}
		}
	}
}
