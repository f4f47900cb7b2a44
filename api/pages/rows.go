package pages

// A board has more words than room. Words that do not fit into their block
// hang below it (or stand above a beam) like a flag on a pole: the pole is at
// the block's left end, the words beside it, in the first row in which neither
// words nor poles meet. Poles make it clear which block is meant even where
// the words reach under the next one.

// Sizes of rows, in the units of the drawing (judgement).
const (
	rowStep  = 14.0 // height of a row; 11 units of text are at most 12.8 high
	flagGap  = 4.0  // between pole and words
	rowSpace = 5.0  // least distance between words, and between words and a pole
)

// stretch is the interval from a to b along the axis.
type stretch struct{ a, b float64 }

// pole is the upright at x that passes all rows up to row.
type pole struct {
	x   float64
	row int
}

// rowPool hands out room in rows between left and right. Row 0 is the one next
// to the blocks.
type rowPool struct {
	left, right float64
	rows        [][]stretch
	poles       []pole
	max         int
}

// spot is a place for words: their left end, their row and their pole.
type spot struct {
	x, pole float64
	row     int
}

// place finds room for words of width w whose pole is at x, to the right of the
// pole or to the left. It reports false when no row has room.
func (p *rowPool) place(x, w float64, toLeft bool) (spot, bool) {
	at := stretch{x, x + flagGap + w}
	words := x + flagGap
	if toLeft {
		at = stretch{x - flagGap - w, x}
		words = at.a
	}
	if at.a < p.left || at.b > p.right {
		return spot{}, false
	}
	for row := range p.max {
		if !p.free(at, x, row) {
			continue
		}
		for len(p.rows) <= row {
			p.rows = append(p.rows, nil)
		}
		p.rows[row] = append(p.rows[row], at)
		p.poles = append(p.poles, pole{x, row})
		return spot{x: words, pole: x, row: row}, true
	}
	return spot{}, false
}

// free tells whether words at at with a pole at x have room in row: no words
// beside them, none in the way of their pole, and no pole in their way.
func (p *rowPool) free(at stretch, x float64, row int) bool {
	for r := 0; r <= row && r < len(p.rows); r++ {
		need := stretch{x, x}
		if r == row {
			need = at
		}
		for _, s := range p.rows[r] {
			if need.a < s.b+rowSpace && s.a < need.b+rowSpace {
				return false
			}
		}
	}
	for _, q := range p.poles {
		if q.row >= row && q.x > at.a-rowSpace && q.x < at.b+rowSpace {
			return false
		}
	}
	return true
}

// placeAnywhere is place to the right, else to the left.
func (p *rowPool) placeAnywhere(x, w float64) (spot, bool) {
	if at, ok := p.place(x, w, false); ok {
		return at, true
	}
	return p.place(x, w, true)
}
