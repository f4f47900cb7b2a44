package pages

import (
	"cmp"
	"math"
	"strconv"

	"chairblock/scheduling"
)

// Validate returns scheduling.Faults by step.
func (c PaceChart) Validate() error {
	var f scheduling.Faults
	chartRows(&f, "steps", len(c.Steps))
	for i, s := range c.Steps {
		at := "steps[" + strconv.Itoa(i) + "]."
		f.Between(at+"expected", s.Expected, 0, mostChartUnit, "minutes")
		f.Count(at+"visits", s.Visits, 0, mostChartUnit)
		if s.Visits == 0 {
			continue
		}
		for _, q := range []struct {
			field string
			v     float64
		}{{"low", s.Low}, {"middle", s.Middle}, {"high", s.High}} {
			if !(q.v > 0 && q.v <= mostChartUnit) {
				f.Addf(at+q.field, "a finite number above 0", "is %s", scheduling.Number(q.v))
			}
		}
		if s.Low > s.Middle || s.Middle > s.High {
			f.Add(at+"middle", "is not between low and high", "quartiles in order")
		}
	}
	return f.Err()
}

// The axis of ratios reaches as far to the left as to the right, by doubling:
// from a half to double, or from a quarter to four times when a bar needs it.
// What lies outside is drawn at its end, with its number.
const (
	paceNear = 1.0
	paceFar  = 2.0
)

// reach is how often the axis doubles.
func (c PaceChart) reach() float64 {
	for _, s := range c.Steps {
		if s.Visits > 0 && (s.Low < 0.5 || s.High > 2) {
			return paceFar
		}
	}
	return paceNear
}

// paceAt is where a ratio lies on an axis of that reach.
func paceAt(ratio, reach float64) float64 {
	return min(max(0.5+math.Log2(ratio)/(2*reach), 0), 1)
}

func paceTicks(reach float64) []chartTick {
	var ticks []chartTick
	for _, t := range []struct {
		ratio float64
		text  string
	}{{0.25, "¼"}, {0.5, "½"}, {1, "1"}, {2, "2"}, {4, "4"}} {
		if math.Abs(math.Log2(t.ratio)) <= reach {
			ticks = append(ticks, chartTick{paceAt(t.ratio, reach), t.text})
		}
	}
	return ticks
}

// SVG draws one row for each step: a dot where it was estimated, a bar over
// the middle half of the visits and a tick at their middle. It returns
// scheduling.Faults; see Validate.
func (c PaceChart) SVG() (string, error) {
	if err := c.Validate(); err != nil {
		return "", err
	}
	out := rowChart{
		title: cmp.Or(clean(c.Title), "Real time of each step against the estimate"), axis: "real time ÷ estimate (dot); bar: middle half of the visits",
		ticks: paceTicks(c.reach()),
	}
	for _, s := range c.Steps {
		out.rows = append(out.rows, s.row(c.reach()))
	}
	return out.draw(), nil
}

func (s PaceStep) row(reach float64) chartRow {
	r := chartRow{words: clean(s.Step), below: "estimate " + shortNumber(s.Expected) + " min"}
	if s.Visits == 0 {
		r.right, r.soft, r.spoken = "not measured", true, r.words+" not measured"
		r.marks = func(d *svg, x, w, y float64) { d.dot(x+w/2, y) }
		return r
	}
	r.right, r.small = paceWords(s.Middle), counted(s.Visits, "visit")
	r.spoken = r.words + " " + r.right + " in " + r.small
	r.marks = func(d *svg, x, w, y float64) {
		a, b, m := x+paceAt(s.Low, reach)*w, x+paceAt(s.High, reach)*w, x+paceAt(s.Middle, reach)*w
		d.rect("range", a, y-5, max(b-a, 1), 10)
		d.line("middle", m, y-9, m, y+9)
		d.dot(x+w/2, y)
	}
	return r
}

// paceWords says a ratio as people do: "8 % longer", "as expected".
func paceWords(ratio float64) string {
	p := math.Round((ratio - 1) * 100)
	switch {
	case ratio >= 10:
		return shortNumber(ratio) + " times"
	case p > 0:
		return shortNumber(p) + " % longer"
	case p < 0:
		return shortNumber(-p) + " % shorter"
	}
	return "as expected"
}

func (s *svg) dot(x, y float64) {
	s.raw(`<circle class="dot"`)
	s.attr("cx", x)
	s.attr("cy", y)
	s.raw(` r="4"/>`)
}

// Table is the chart as a table.
func (c PaceChart) Table() FigureTable {
	t := FigureTable{Head: []string{"Step", "Estimate, min", "Middle half of visits, real ÷ estimate", "Middle", "Visits"}}
	for _, s := range c.Steps {
		row := []string{clean(s.Step), shortNumber(s.Expected), "–", "–", strconv.Itoa(s.Visits)}
		if s.Visits > 0 {
			row[2], row[3] = hundredths(s.Low)+" to "+hundredths(s.High), hundredths(s.Middle)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func hundredths(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }

// Validate returns scheduling.Faults by month.
func (c PromiseChart) Validate() error {
	var f scheduling.Faults
	f.Between("promise", c.Promise, 0, 1, "")
	chartRows(&f, "months", len(c.Months))
	for i, m := range c.Months {
		at := "months[" + strconv.Itoa(i) + "]."
		f.Count(at+"visits", m.Visits, 0, mostChartUnit)
		f.Count(at+"kept", m.Kept, 0, max(m.Visits, 0))
	}
	return f.Err()
}

// SVG draws one row for each month: a bar as long as the share that was kept,
// the stretch in which the true share lies with 95 % certainty, and a line at
// what was promised. It returns scheduling.Faults; see Validate.
func (c PromiseChart) SVG() (string, error) {
	if err := c.Validate(); err != nil {
		return "", err
	}
	out := rowChart{
		title: cmp.Or(clean(c.Title), "Visits that ended in the time promised"), axis: "share that ended in time; thin line: what chance allows",
		ticks: percentTicks(), line: &chartTick{c.Promise, "promised " + percent(c.Promise)},
	}
	seen := 0
	for _, m := range c.Months {
		seen += m.Visits
		out.rows = append(out.rows, m.row())
	}
	return out.drawSeen(seen > 0), nil
}

func percentTicks() []chartTick {
	return []chartTick{{0, "0 %"}, {0.25, "25 %"}, {0.5, "50 %"}, {0.75, "75 %"}, {1, "100 %"}}
}

func percent(v float64) string { return shortNumber(v*100) + " %" }

func (m PromiseMonth) row() chartRow {
	r := chartRow{words: clean(m.Month)}
	if m.Visits == 0 {
		r.right, r.soft, r.spoken = "no visits", true, r.words+" no visits"
		return r
	}
	r.right = strconv.Itoa(m.Kept) + " of " + strconv.Itoa(m.Visits) + ", " + share(m.Kept, m.Visits)
	r.spoken = r.words + " " + r.right
	lo, hi := likely(m.Kept, m.Visits)
	r.marks = func(s *svg, x, w, y float64) {
		if k := float64(m.Kept) / float64(m.Visits); k > 0 {
			s.rect("range", x, y-5, k*w, 10)
		}
		p := &strokes{}
		p.lineTo(x+lo*w, y, x+hi*w, y)
		p.lineTo(x+lo*w, y-6, x+lo*w, y+6)
		p.lineTo(x+hi*w, y-6, x+hi*w, y+6)
		s.strokes("whisker", p)
	}
	return r
}

// likely returns Wilson's interval of 95 % for k of n: the shares that k of n
// does not contradict (E. B. Wilson, 1927). n is above 0.
func likely(k, n int) (lo, hi float64) {
	const z = 1.959964 // of the standard normal distribution, two-sided 5 %
	p, m := float64(k)/float64(n), float64(n)
	middle := p + z*z/(2*m)
	half := z * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return max(0, (middle-half)/(1+z*z/m)), min(1, (middle+half)/(1+z*z/m))
}

// Table is the chart as a table.
func (c PromiseChart) Table() FigureTable {
	t := FigureTable{Head: []string{"Month", "Ended in time", "Visits", "Share", "Likely between"}}
	for _, m := range c.Months {
		row := []string{clean(m.Month), strconv.Itoa(m.Kept), strconv.Itoa(m.Visits), "–", "–"}
		if m.Visits > 0 {
			lo, hi := likely(m.Kept, m.Visits)
			row[3], row[4] = share(m.Kept, m.Visits), percent(math.Round(lo*100)/100)+" and "+percent(math.Round(hi*100)/100)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}
