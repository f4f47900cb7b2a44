package pages

import "slices"

// legendItem explains one mark: a small picture of it and its meaning.
type legendItem struct {
	mark  string
	x, y  float64 // lower left corner of the picture
	label label
}

// Room for the picture of a legend item (judgement).
const (
	legendIcon   = 40.0
	legendHeight = 32.0
)

// legendWords are the marks in the order in which they are explained.
var legendWords = []struct{ mark, words string }{
	{"on", "on the line: hands are on"},
	{"basin", "toothed edge: at a basin"},
	{"unwatched", "beam, open bay: the hair works, another client fits below"},
	{"watched", "beam, dotted sill: watched, nobody else fits"},
	{"look", "look"},
	{"check", "check, no later than the end of the bracket"},
	{"core", "may not be interrupted"},
	{"pencilled", "pencilled, not booked yet"},
	{"kept", "kept for something else"},
	{"clearing", "clearing and cleaning"},
	{"break", "break"},
	{"now", "now"},
}

// rareWords are marks that only days with such things explain.
var rareWords = []struct{ mark, words string }{
	{"late", "runs late, until the end of the shade"},
	{"clash", "double edge: runs into the next client"},
	{"hold", "held while you decide"},
	{"waiting", "waiting-list request that would fit"},
	{"offer", "opening that is offered"},
}

// placeLegend lays the legend out in rows from y downwards and returns the y
// below it.
func (l *layout) placeLegend(y float64) float64 {
	x := 12.0
	y += legendHeight
	words := slices.Clone(legendWords)
	for _, w := range rareWords {
		if l.marks[PartKind(w.mark)] {
			words = append(words, w)
		}
	}
	for _, w := range words {
		lab := newLabel(w.words, smallSize, false, "legend")
		if x > 12 && x+legendIcon+lab.w > l.width-12 {
			x, y = 12, y+legendHeight+6
		}
		lab.x, lab.y = x+legendIcon, y-6
		l.legend = append(l.legend, legendItem{mark: w.mark, x: x, y: y, label: lab})
		x = lab.x + lab.w + 20
	}
	return y + 8
}

// legendItem draws one picture with the same pen as the board, at about half
// the size.
func (s *svg) legendItem(it legendItem) {
	x, y := it.x, it.y
	s.raw(`<g class="`, it.mark, `">`)
	switch it.mark {
	case "on":
		s.rect("block", x+2, y-18, 30, 18)
		s.line("ground", x, y, x+34, y)
	case "basin":
		s.teeth(x+2, y-18, 30, 18)
		s.line("ground", x, y, x+34, y)
	case "unwatched", "watched":
		s.beam(x+3, x+31, y-26, 8, y, it.mark == "watched")
		s.line("ground", x, y, x+34, y)
	case "look":
		s.rect("beam", x+3, y-16, 28, 10)
		s.line("look", x+17, y-21, x+17, y-9)
	case "check":
		s.diamond(x+10, y-15)
		s.bracketUp("latest", x+10, x+30, y-6)
	case "core":
		s.bracketUp("core", x+2, x+32, y-8)
	case "offer":
		s.rect("block", x+2, y-18, 30, 17)
		s.corners(x+2, y-18, 30, 17)
		s.line("ground", x, y, x+34, y)
	case "late", "clash":
		s.line("ground", x, y-16, x+34, y-16)
		s.drawShadow(&lineLayout{ground: y - 16}, &shape{x0: x + 4, x1: x + 30, clash: it.mark == "clash"})
	case "pencilled", "kept", "hold", "waiting":
		s.rect("block", x+2, y-18, 30, 17)
		s.line("ground", x, y, x+34, y)
	case "clearing":
		s.rect("block", x+2, y-13, 30, 12)
		s.line("ground", x, y, x+34, y)
	case "break":
		s.line("ground", x, y-10, x+8, y-10)
		s.trough(x+8, x+26, y-10)
		s.line("ground", x+26, y-10, x+34, y-10)
	case "now":
		s.line("nowline", x+17, y-24, x+17, y)
	}
	s.raw("</g>")
	s.text(it.label)
}
