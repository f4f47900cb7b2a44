package pages

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Sizes of the drawing in its own units. Block height and the hit areas keep
// targets above 24 px when the drawing is shown at 7/8 of its size, the least
// that the style sheet allows (WCAG 2.2, 2.5.8).
const (
	nameRight   = 138.0 // right end of the names
	plotLeft    = 150.0 // where the axis starts
	plotPad     = 26.0  // between the end of the axis and the edge
	blockHeight = 36.0
	barHeight   = 16.0
	beamHeight  = 16.0
	beamLift    = 48.0 // from the ground line to the beam's lower edge
	tierStep    = 38.0 // between beams that hang over each other, with room for the diamond
	lookRoom    = 14.0 // above a beam for look ticks and the diamond
	leastWidth  = 2.0  // of a block, however short
	hitSize     = 28.0

	nameSize  = 15.0
	blockSize = 12.0
	smallSize = 11.0
	titleSize = 18.0
)

// label is one piece of text at its place; y is the base line.
type label struct {
	x, y, w, size float64
	text          string
	bold          bool
	squeeze       bool // make the browser fit it into w
	class         string
}

// box is a rectangle.
type box struct{ x, y, w, h float64 }

// box returns the room that the label takes: letters of the fonts measured
// reach 0.93 of their size above the base line and 0.24 below it.
func (l label) box() box { return box{l.x, l.y - 0.93*l.size, l.w, 1.17 * l.size} }

// newLabel measures text; x and y are set later.
func newLabel(text string, size float64, bold bool, class string) label {
	w, sure := textWidth(text, size, bold)
	return label{w: w, size: size, text: text, bold: bold, squeeze: !sure, class: class}
}

// layout is a board with everything at its place. All sheets share one system
// of coordinates; each shows its own stretch of it.
type layout struct {
	board  Board
	clock  clock
	alone  bool   // an image of its own: one sheet, with title and without links
	whole  bool   // all on one sheet
	digits string // as wide as any number of the list below
	width  float64
	right  float64 // end of the axis
	scale  float64 // units per minute
	head   []label // title and the row that says when nothing is booked
	sheets []*sheet
	lines  []*lineLayout
	keys   []label
	legend []legendItem
	visits map[string]int    // link to a small number, to mark what belongs together
	marks  map[PartKind]bool // shadows and candidates that the board has, for the legend
}

// sheet is as much of the board as fits on one printed page, with its hours.
type sheet struct {
	top, end         float64 // what the sheet shows
	gridTop, gridEnd float64
	hours            []label
	ticks            []float64 // o'clock lines
	nowLabel         *label
	now              float64
	from, to         int // its lines
}

// sheetHeight is the most that a sheet holds. A landscape page of A4 less its
// margins is 277 mm wide and 190 mm high: at that width, 1280 units, it takes
// 175 mm, which leaves room for the heading. All sheets of a board thus
// print at one scale, with text 2 mm high.
const sheetHeight = 810.0

// newLayout places everything of b, which must be valid: on one sheet when it
// has room there, otherwise people first and places on sheets of their own.
func newLayout(b Board, alone bool) *layout {
	l := place(b, alone, true)
	if alone || l.sheets[0].end <= sheetHeight {
		return l
	}
	return place(b, false, false)
}

// place lays b out, whole on one sheet of any height or on as many as it takes.
func place(b Board, alone, whole bool) *layout {
	l := &layout{board: b, alone: alone, whole: whole, visits: map[string]int{}, digits: "00"}
	l.clock = clock{loc: b.From.Location(), hour12: b.Hour12}
	l.width = float64(cmp.Or(b.Width, defaultWidth))
	l.right = l.width - plotPad
	l.scale = (l.right - plotLeft) / b.To.Sub(b.From).Minutes()
	if b.parts() > 99 {
		l.digits = "0000"
	}
	l.marks = b.rareMarks()
	y := l.startSheet(0, l.placeHead())
	for _, line := range b.People {
		y = l.addLine(line, false, y)
	}
	switch {
	case len(b.People) == 0 || len(b.Stations) == 0:
	case whole:
		y = l.placeHours(l.sheets[0], y+14)
	default:
		l.endSheet(y)
		y = l.startSheet(y, y)
	}
	for _, line := range b.Stations {
		y = l.addLine(line, true, y)
	}
	l.placeFoot(y)
	return l
}

// parts counts all parts of b.
func (b Board) parts() int {
	n := 0
	for _, l := range slices.Concat(b.People, b.Stations) {
		n += len(l.Parts) + len(l.Candidates) + len(l.Shadows)
	}
	return n
}

// rareMarks tells which kinds of shadow and candidate b has; "clash" is a shadow
// that runs into something.
func (b Board) rareMarks() map[PartKind]bool {
	marks := map[PartKind]bool{}
	for _, l := range slices.Concat(b.People, b.Stations) {
		for _, c := range l.Candidates {
			marks[PartKind(c.Kind)] = true
		}
		for _, s := range l.Shadows {
			marks[partLate] = true
			if (clock{loc: b.From.Location()}).clashWords(s, l) != "" {
				marks["clash"] = true
			}
		}
	}
	return marks
}

// placeFoot ends the last sheet at y with the hours, the list of what had no
// room and the legend, which take a sheet of their own when they must.
func (l *layout) placeFoot(y float64) {
	last := l.endSheet(y)
	y = l.placeHours(last, y+14) + 6
	last.end = l.placeLegend(l.placeKeys(y)) + 4
	if l.whole || last.end-last.top <= sheetHeight {
		return
	}
	last.end, l.keys, l.legend = y, nil, nil
	foot := &sheet{top: y, gridTop: y, gridEnd: y, from: len(l.lines), to: len(l.lines)}
	l.sheets = append(l.sheets, foot)
	foot.end = l.placeLegend(l.placeKeys(y)) + 4
}

// addLine places line on the present sheet, or on a new one when this is full.
func (l *layout) addLine(line Line, bar bool, y float64) float64 {
	s := l.sheets[len(l.sheets)-1]
	before := len(l.lines)
	end := l.placeLine(line, bar, y)
	if l.whole || end-s.top <= sheetHeight || before == s.from {
		return end
	}
	l.lines = l.lines[:before]
	l.endSheet(y)
	return l.placeLine(line, bar, l.startSheet(y, y))
}

// startSheet begins a sheet at top whose hours stand below y, and returns the y
// of its first line.
func (l *layout) startSheet(top, y float64) float64 {
	s := &sheet{top: top, from: len(l.lines)}
	l.sheets = append(l.sheets, s)
	y = l.placeHours(s, y+14)
	if n := l.board.Now; n != nil && l.inside(*n) {
		s.now = l.x(*n)
		lab := newLabel("now "+l.clock.at(*n), smallSize, true, "nowtext")
		lab.x, lab.y = s.now+4, y+12
		if lab.x+lab.w > l.width-2 {
			lab.x = s.now - 4 - lab.w
		}
		s.nowLabel = &lab
		y += 16
	}
	s.gridTop = y
	return y
}

// endSheet closes the present sheet at y.
func (l *layout) endSheet(y float64) *sheet {
	s := l.sheets[len(l.sheets)-1]
	s.gridEnd, s.end, s.to = y, y, len(l.lines)
	return s
}

// x returns where t lies on the axis, kept inside it.
func (l *layout) x(t time.Time) float64 {
	x := plotLeft + t.Sub(l.board.From).Minutes()*l.scale
	return min(max(x, plotLeft), l.right)
}

// seen tells whether any of from..to lies on the axis.
func (l *layout) seen(from, to time.Time) bool {
	return from.Before(l.board.To) && to.After(l.board.From)
}

// inside tells whether t lies on the axis.
func (l *layout) inside(t time.Time) bool {
	return !t.Before(l.board.From) && !t.After(l.board.To)
}

// placeHead sets the title of an image of its own and the words of an empty day.
func (l *layout) placeHead() float64 {
	y := 4.0
	if l.alone {
		title := clean(l.board.Salon)
		if d := clean(l.board.DateLabel); d != "" && title != "" {
			title += " · " + d
		} else {
			title += d
		}
		y = l.headRow(title, titleSize, true, y+22)
		y = l.headRow(clean(l.board.ZoneLabel), blockSize, false, y+16) + 4
	}
	if s := l.board.emptyWords(); s != "" {
		y = l.headRow(s, nameSize, true, y+22) + 4
	}
	return y
}

func (l *layout) headRow(s string, size float64, bold bool, y float64) float64 {
	if s == "" {
		return y
	}
	lab := newLabel(shorten(s, size, bold, l.width-24), size, bold, "head")
	lab.x, lab.y = 12, y
	l.head = append(l.head, lab)
	return y
}

// emptyWords says kindly why there is nothing to see, "" when there is.
func (b Board) emptyWords() string {
	open := false
	for _, l := range slices.Concat(b.People, b.Stations) {
		if len(l.Parts) > 0 {
			return ""
		}
		open = open || len(l.Open) > 0
	}
	switch {
	case len(b.People) == 0:
		return "Nobody is down to work on this day yet."
	case !open:
		return "The salon is closed on this day."
	default:
		return "Nothing is booked on this day. Everybody is free."
	}
}

// visit returns a small number for what href leads to, the same for the same
// href, and "" when it leads nowhere.
func (l *layout) visit(href string) string {
	if href == "" {
		return ""
	}
	n, ok := l.visits[href]
	if !ok {
		n = len(l.visits) + 1
		l.visits[href] = n
	}
	return strconv.Itoa(n)
}

// placeKeys lists what the numbers of the drawing stand for, and the parts that
// had not even room for a number, under a heading and in as many columns as
// their words allow.
func (l *layout) placeKeys(y float64) float64 {
	texts := l.keyTexts()
	if len(texts) == 0 {
		return y
	}
	head := newLabel("No room in the drawing", blockSize, true, "keyhead")
	head.x, head.y = 12, y+16
	l.keys = append(l.keys, head)
	widest := 0.0
	for _, s := range texts {
		w, _ := textWidth(s, smallSize, false)
		widest = max(widest, w)
	}
	room := l.width - 24
	columns := max(1, min(4, int(room/(widest+18))))
	rows := (len(texts) + columns - 1) / columns
	for i, s := range texts {
		lab := newLabel(shorten(s, smallSize, false, room), smallSize, false, "key")
		lab.x, lab.y = 12+float64(i/rows)*room/float64(columns), y+32+float64(i%rows)*(rowStep+1)
		l.keys = append(l.keys, lab)
	}
	return y + 30 + float64(rows)*(rowStep+1)
}

// keyTexts numbers what had no room, line by line in order of time, and returns
// "1  Mina, 10:28 to 10:38, M. Q. rinse solution" and so on.
func (l *layout) keyTexts() []string {
	n := 0
	var texts []string
	for _, line := range l.lines {
		slices.SortFunc(line.keyed, func(a, b keyed) int { return cmp.Compare(a.shape.x0, b.shape.x0) })
		for _, k := range line.keyed {
			var words []string
			for _, w := range []string{whose(line.name), l.clock.span(k.shape.part.From, k.shape.part.To), k.shape.words} {
				if w != "" {
					words = append(words, w)
				}
			}
			s := strings.Join(words, ", ")
			if k.numbered {
				n++
				k.shape.labels[len(k.shape.labels)-1].text = strconv.Itoa(n)
				s = strconv.Itoa(n) + "\u2002" + s
			}
			texts = append(texts, s)
		}
	}
	return texts
}

// nowPieces are the pieces of the line of the present moment on s: it stops at
// words.
func (l *layout) nowPieces(s *sheet) []stretch {
	from := s.nowLabel.y - 12
	var inWay []stretch
	for _, t := range l.texts() {
		if b := t.box(); t.text != "" && b.x-3 < s.now && s.now < b.x+b.w+3 {
			inWay = append(inWay, stretch{b.y - 1, b.y + b.h + 1})
		}
	}
	slices.SortFunc(inWay, func(a, b stretch) int { return cmp.Compare(a.a, b.a) })
	var out []stretch
	for _, w := range append(inWay, stretch{s.gridEnd, s.gridEnd}) {
		if to := min(w.a, s.gridEnd); to > from {
			out = append(out, stretch{from, to})
		}
		from = max(from, w.b)
	}
	return out
}

// texts returns every label of the drawing.
func (l *layout) texts() []label {
	all := slices.Concat(l.head, l.keys)
	for _, s := range l.sheets {
		all = append(all, s.hours...)
		if s.nowLabel != nil {
			all = append(all, *s.nowLabel)
		}
	}
	for _, line := range l.lines {
		all = append(all, line.names...)
		all = append(all, line.extra...)
		for _, s := range line.shapes {
			all = append(all, s.labels...)
		}
	}
	for _, it := range l.legend {
		all = append(all, it.label)
	}
	return all
}
