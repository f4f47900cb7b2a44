package pages

import (
	"math"
	"strconv"
	"strings"
)

// rowChart is what all charts are made of: rows below each other, each with
// words at its left, marks on a common axis, and numbers at its right. Rows,
// not columns, so that words have room whatever they say and however many
// there are.
type rowChart struct {
	title  string
	axis   string // what is measured, below the axis
	ticks  []chartTick
	line   *chartTick // a line that matters, named above the rows
	legend []string   // names of patterns
	rows   []chartRow
}

// chartTick is a place on the axis, as a share of its length.
type chartTick struct {
	at   float64
	text string
}

// chartRow is one row; marks draws on an axis from x that is w long, around y.
type chartRow struct {
	words, below string // bold, and soft below it
	right, small string
	marks        func(s *svg, x, w, y float64)
	spoken       string // in the name of the picture
	soft         bool   // nothing was measured
}

// Sizes of a chart in its own units (judgement).
const (
	chartWidth = 400.0
	leastPlot  = 130.0
	mostWords  = 150.0
	chartEdge  = 4.0
	chartGap   = 10.0
	rowHeight  = 22.0
	doubleRow  = 34.0
	chartText  = 12.0
	chartSmall = 11.0
	spokenRows = 12
	nothingYet = "Nothing on record yet"
)

// draw returns the chart as one image with one name.
func (c rowChart) draw() string {
	s := &svg{buf: make([]byte, 0, 8<<10)}
	if len(c.rows) == 0 {
		return c.drawNothing(s)
	}
	words, right, double := 0.0, 0.0, false
	for _, r := range c.rows {
		words = max(words, min(mostWords, labelWidth(r.words, true)), min(mostWords, labelWidth(r.below, false)))
		right = max(right, labelWidth(r.right, true), labelWidth(r.small, false))
		double = double || r.below != "" || r.small != ""
	}
	x := chartEdge + words + chartGap
	plot := max(leastPlot, chartWidth-x-chartGap-right-chartEdge)
	width := max(x+plot+chartGap+right+chartEdge, labelWidth(c.axis, false)+2*chartEdge)
	title := wrapText(c.title, 14, true, width-2*chartEdge, 2)
	step := rowHeight
	if double {
		step = doubleRow
	}
	legend, below := c.placeLegend(width, 10+float64(len(title))*18)
	top := below + 4
	if c.line != nil {
		top += 16
	}
	bottom := top + float64(len(c.rows))*step
	s.startPicture("chart", width, bottom+40, c.spoken())
	for i, t := range title {
		s.write(t, 14, true, "head", chartEdge, 16+float64(i)*18)
	}
	for _, it := range legend {
		it.draw(s)
	}
	c.drawAxis(s, x, plot, width, top, bottom)
	for i, r := range c.rows {
		r.draw(s, x, plot, words, top+(float64(i)+0.5)*step)
	}
	return s.endPicture()
}

// drawSeen is draw when there is something on record, otherwise it says that
// there is not.
func (c rowChart) drawSeen(any bool) string {
	if !any {
		c.rows = nil
	}
	return c.draw()
}

func (c rowChart) drawNothing(s *svg) string {
	title := wrapText(c.title, 14, true, chartWidth-2*chartEdge, 2)
	h := 10 + float64(len(title))*18
	s.startPicture("chart", chartWidth, h+28, c.title+": "+nothingYet)
	for i, t := range title {
		s.write(t, 14, true, "head", chartEdge, 16+float64(i)*18)
	}
	s.write(nothingYet, chartText, true, "strong pale", chartEdge, h+14)
	return s.endPicture()
}

// spoken is the name of the picture.
func (c rowChart) spoken() string {
	var words []string
	for i, r := range c.rows {
		if i == spokenRows {
			words = append(words, "and "+strconv.Itoa(len(c.rows)-i)+" more in the table")
			break
		}
		words = append(words, r.spoken)
	}
	return c.title + ": " + strings.Join(words, "; ")
}

// drawAxis draws the ticks that have room for their words, the axis and what
// it measures.
func (c rowChart) drawAxis(s *svg, x, w, width, top, bottom float64) {
	grid := &strokes{}
	end := 0.0
	for _, t := range c.ticks {
		at := x + t.at*w
		lab := newLabel(t.text, chartSmall, false, "hour")
		lab.x, lab.y = max(at-lab.w/2, chartEdge), bottom+14
		if lab.x < end {
			continue
		}
		end = lab.x + lab.w + 6
		grid.lineTo(at, top, at, bottom)
		s.text(lab)
	}
	s.strokes("grid", grid)
	if c.line != nil {
		at := x + c.line.at*w
		s.line("aim", at, top-2, at, bottom)
		lab := newLabel(c.line.text, chartSmall, true, "strong")
		s.write(c.line.text, chartSmall, true, "strong little", min(max(chartEdge, at-lab.w/2), width-chartEdge-lab.w), top-6)
	}
	s.line("ground", x, bottom, x+w, bottom)
	wide := labelWidth(c.axis, false)
	s.write(c.axis, chartSmall, false, "soft", min(max(chartEdge, x+w/2-wide/2), width-chartEdge-wide), bottom+30)
}

func (r chartRow) draw(s *svg, x, plot, words, y float64) {
	class := "strong"
	if r.soft {
		class = "strong pale"
	}
	up := 4.0
	if r.below != "" || r.small != "" {
		up = -3
	}
	s.write(shorten(r.words, chartText, true, words), chartText, true, class, chartEdge, y+up)
	if r.below != "" {
		s.write(shorten(r.below, chartSmall, false, words), chartSmall, false, "soft", chartEdge, y+11)
	}
	if r.marks != nil {
		r.marks(s, x, plot, y)
	}
	s.write(r.right, chartText, true, class, x+plot+chartGap, y+up)
	if r.small != "" {
		s.write(r.small, chartSmall, false, "soft", x+plot+chartGap, y+11)
	}
}

// patternItem is a pattern of the legend.
type patternItem struct {
	n     int
	x, y  float64
	label label
}

func (c rowChart) placeLegend(width, y float64) (items []patternItem, below float64) {
	if len(c.legend) == 0 {
		return nil, y
	}
	x := chartEdge
	y += 16
	for i, w := range c.legend {
		lab := newLabel(shorten(w, chartSmall, false, width-2*chartEdge-26), chartSmall, false, "legend")
		if x > chartEdge && x+26+lab.w > width-chartEdge {
			x, y = chartEdge, y+18
		}
		lab.x, lab.y = x+24, y
		items = append(items, patternItem{i, x, y, lab})
		x = lab.x + lab.w + 14
	}
	return items, y + 6
}

func (it patternItem) draw(s *svg) {
	s.pattern(it.n, it.x, it.y-10, 20, 11)
	s.text(it.label)
}

// pattern fills a rectangle: full, slanted lines, empty, upright lines, lying
// lines. All have an outline, so that neighbours are told apart without colour.
func (s *svg) pattern(n int, x, y, w, h float64) {
	if w <= 0 {
		return
	}
	w = max(w, 0.8)
	if n == 0 {
		s.rect("full", x, y, w, h)
		return
	}
	p := &strokes{}
	p.rectAt(x, y, w, h)
	switch n {
	case 1:
		p.hatch(x, y, w, h, 5)
	case 3:
		for at := x + 3; at < x+w; at += 3 {
			p.lineTo(at, y, at, y+h)
		}
	case 4:
		for at := y + 3; at < y+h; at += 3 {
			p.lineTo(x, at, x+w, at)
		}
	}
	s.strokes("drawn", p)
}

func labelWidth(s string, bold bool) float64 {
	size := chartText
	if !bold {
		size = chartSmall
	}
	w, _ := textWidth(s, size, bold)
	return w
}

// wrapText breaks s into at most rows lines of width, the last one shortened.
func wrapText(s string, size float64, bold bool, width float64, rows int) []string {
	var out []string
	rest := s
	for rest != "" && len(out) < rows-1 {
		head, tail := splitAt(rest, size, width)
		if head == "" {
			break
		}
		out, rest = append(out, head), tail
	}
	if rest != "" {
		out = append(out, shorten(rest, size, bold, width))
	}
	return out
}

// niceTop returns a round number of at least v, and the ticks up to it.
func niceTop(v float64, words func(float64) string) (top float64, ticks []chartTick) {
	if v <= 0 {
		v = 1
	}
	unit := math.Pow(10, math.Floor(math.Log10(v/2)))
	if v <= 5 {
		unit = 1
	}
	for _, k := range []float64{1, 2, 2.5, 5, 10} {
		if k == 2.5 && unit < 10 {
			continue
		}
		if n := math.Ceil(v/(unit*k) - 1e-9); n <= 5 {
			top = n * unit * k
			for i := 0.0; i <= n; i++ {
				ticks = append(ticks, chartTick{i / n, words(i * unit * k)})
			}
			return top, ticks
		}
	}
	return v, []chartTick{{0, words(0)}, {1, words(v)}}
}

// shortNumber writes v with at most one decimal.
func shortNumber(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
}

func counted(n int, unit string) string {
	if n == 1 {
		return "1 " + unit
	}
	return strconv.Itoa(n) + " " + unit + "s"
}

// share writes k of n as whole percent, "" for none.
func share(k, n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(int(math.Round(100*float64(k)/float64(n)))) + " %"
}
