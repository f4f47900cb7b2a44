package pages

import (
	"cmp"
	"slices"
)

// labelBeams gives every beam its words above it, with the end of the time
// allowed for the check where there is room for it. It returns the rooms used.
func (d *lineLayout) labelBeams(l *layout) *rowPool {
	var list []wordy
	for _, s := range slices.Backward(d.shapes) {
		if !isBeam(s.part.Kind) {
			continue
		}
		tries := []string{s.words}
		if b := s.part.BackBy; b != nil {
			tries = append(tries, joinWords(whose(s.part.Code), clean(s.part.Label))+", check at "+l.clock.at(*b))
		}
		list = append(list, wordy{s, tries})
	}
	return d.hangAll(l, list, 3, true)
}

// labelBlocks gives every other part its words: inside it in one row or two,
// or below it. Clearing needs none beside the shape, which the legend explains.
func (d *lineLayout) labelBlocks(l *layout) *rowPool {
	var list []wordy
	for _, s := range slices.Backward(d.shapes) {
		switch {
		case s.part.Kind == partLate:
			list = append(list, wordy{s, d.tries[s]})
		case isBeam(s.part.Kind) || s.part.Kind == Clearing || d.labelInside(s):
		default:
			list = append(list, wordy{s, []string{s.words}})
		}
	}
	slices.SortStableFunc(list, func(a, b wordy) int { return cmp.Compare(b.shape.poleX(), a.shape.poleX()) })
	rows := 4
	if len(d.tries) > 0 {
		rows = 6
	}
	return d.hangAll(l, list, rows, false)
}

// labelBreaks names the breaks below their dips where there is room; the list
// always does.
func (d *lineLayout) labelBreaks(below *rowPool) {
	for _, b := range slices.Backward(d.breaks) {
		for _, t := range []string{b.words, "break"} {
			if d.labelBreak(b, newLabel(t, smallSize, false, "soft"), below) {
				break
			}
		}
	}
}

// labelBreak puts lab where it begins below the dip, else where it ends there.
func (d *lineLayout) labelBreak(b namedBreak, lab label, below *rowPool) bool {
	for x := b.a; x <= max(b.a, b.b-12); x += 4 {
		if at, ok := below.placeAnywhere(x-flagGap, lab.w); ok {
			lab.x, lab.y = at.x, d.drop+float64(at.row)*rowStep
			d.breakWords = append(d.breakWords, lab)
			return true
		}
	}
	return false
}

// wordy is a shape with the words that may stand beside it, the best first.
type wordy struct {
	shape *shape
	tries []string
}

// hangAll gives every shape of list its words on a pole, or a number where they
// have no room; the list below the drawing then has the words. They are never
// cut: half of them would be a riddle. Whenever words turn out to have no room,
// all is hung anew with the numbers first, so that nothing takes their place.
func (d *lineLayout) hangAll(l *layout, list []wordy, rows int, up bool) *rowPool {
	before, numbered := len(d.keyed), map[*shape]bool{}
	for {
		pool := &rowPool{left: plotLeft - 4, right: l.width - 3, max: rows}
		d.keyed = d.keyed[:before]
		for _, w := range list {
			w.shape.labels, w.shape.pole = nil, nil
			if numbered[w.shape] {
				d.keyed = append(d.keyed, keyed{w.shape, d.number(l, w.shape, pool, up)})
			}
		}
		more := false
		for _, w := range list {
			if !numbered[w.shape] && !d.hang(w, pool, up) {
				numbered[w.shape], more = true, true
			}
		}
		if !more {
			return pool
		}
	}
}

// hang places the first words of w that have room to the right of the pole,
// else to the left.
func (d *lineLayout) hang(w wordy, pool *rowPool, up bool) bool {
	for _, toLeft := range [2]bool{false, true} {
		for _, t := range w.tries {
			if d.flag(w.shape, newLabel(t, smallSize, false, "under"), pool, up, toLeft) {
				return true
			}
		}
	}
	return false
}

// number keeps room for a number in a block or on a pole, and reports false
// where there is none.
func (d *lineLayout) number(l *layout, s *shape, pool *rowPool, up bool) bool {
	lab := newLabel(l.digits, smallSize, true, "number")
	return !up && s.part.Kind != partLate && d.numberInside(s, l.digits) || d.flag(s, lab, pool, up, false) || d.flag(s, lab, pool, up, true)
}

// numberInside keeps room for a number in the block, below whose it is where
// that fits.
func (d *lineLayout) numberInside(s *shape, digits string) bool {
	class := "in"
	if outlined(s.part.Kind) {
		class = "inpencil"
	}
	y := -14.0
	if d.bar {
		y = -4.5
	}
	room := s.x1 - s.x0 - 10
	if code := whose(s.part.Code); !d.bar && code != "" && s.inside(code, digits, room, class, -21.5, blockSize) {
		return true
	}
	return s.inside(digits, "", room, class, y, blockSize)
}

// poleX is where the pole of s stands: at its left end, or where a shadow ends.
func (s *shape) poleX() float64 {
	if s.part.Kind == partLate {
		return s.x1 - 1
	}
	return s.x0 + 1
}

// flag places lab on the pole of s.
func (d *lineLayout) flag(s *shape, lab label, pool *rowPool, up, toLeft bool) bool {
	at, ok := pool.place(s.poleX(), lab.w, toLeft)
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
	if outlined(s.part.Kind) {
		class = "inpencil"
	}
	if d.bar {
		return s.inside(s.words, "", room, class, -4.5, smallSize)
	}
	code, step := whose(s.part.Code), clean(s.part.Label)
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
	var blocks, beams, shadows []*shape
	for _, s := range d.shapes {
		w := s.x1 - s.x0
		switch {
		case isBeam(s.part.Kind):
			s.hit = box{s.x0, d.beamTop(s) - 10, w, hitSize}
		case s.part.Kind == partLate:
			s.hit = box{s.x0, d.shadowTop(s) - shadowGap, w, hitSize}
		case d.bar:
			s.hit = box{s.x0, d.ground - 22, w, hitSize}
		default:
			s.hit = box{s.x0, d.ground - blockHeight, w, blockHeight}
		}
		switch {
		case s.part.Href == "":
		case isBeam(s.part.Kind):
			beams = append(beams, s)
		case s.part.Kind == partLate:
			shadows = append(shadows, s)
		default:
			blocks = append(blocks, s)
		}
	}
	widen(blocks)
	widen(beams)
	widen(shadows)
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
