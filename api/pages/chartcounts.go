package pages

import (
	"cmp"
	"strconv"

	"chairblock/scheduling"
)

// Validate returns scheduling.Faults by row.
func (c UseChart) Validate() error {
	var f scheduling.Faults
	chartRows(&f, "rows", len(c.Rows))
	if len(c.Rows) > 0 {
		f.Count("kinds", len(c.Kinds), 1, mostUseKinds)
	}
	for i, r := range c.Rows {
		at := "rows[" + strconv.Itoa(i) + "].hours"
		if len(r.Hours) != len(c.Kinds) {
			f.Addf(at, "one number for each kind", "has %d entries", len(r.Hours))
		}
		for k, h := range r.Hours {
			f.Between(at+"["+strconv.Itoa(k)+"]", h, 0, mostChartUnit, "hours")
		}
	}
	return f.Err()
}

// SVG draws one bar for each row, divided by kind, each kind with a pattern of
// its own. It returns scheduling.Faults; see Validate.
func (c UseChart) SVG() (string, error) {
	if err := c.Validate(); err != nil {
		return "", err
	}
	most := 0.0
	for _, r := range c.Rows {
		most = max(most, r.total())
	}
	top, ticks := niceTop(most, shortNumber)
	out := rowChart{title: cmp.Or(clean(c.Title), "What the hours were used for"), axis: sentence("hours", byWords(c.Row)), ticks: ticks}
	for _, k := range c.Kinds {
		out.legend = append(out.legend, clean(k))
	}
	for _, r := range c.Rows {
		row := chartRow{words: clean(r.Label), right: shortNumber(r.total()) + " h", soft: r.total() == 0}
		row.spoken = row.words
		for k, h := range r.Hours {
			row.spoken += " " + shortNumber(h) + " h " + clean(c.Kinds[k])
		}
		row.marks = func(s *svg, x, w, y float64) {
			for k, h := range r.Hours {
				s.pattern(k, x, y-6, h/top*w, 12)
				x += h / top * w
			}
		}
		out.rows = append(out.rows, row)
	}
	return out.drawSeen(most > 0), nil
}

func byWords(row string) string {
	if row = clean(row); row != "" {
		return "by " + row
	}
	return ""
}

func (r UseRow) total() float64 {
	sum := 0.0
	for _, h := range r.Hours {
		sum += h
	}
	return sum
}

// Table is the chart as a table.
func (c UseChart) Table() FigureTable {
	t := FigureTable{Head: []string{cmp.Or(clean(c.Row), "Row")}}
	for _, k := range c.Kinds {
		t.Head = append(t.Head, clean(k)+", h")
	}
	t.Head = append(t.Head, "all, h")
	for _, r := range c.Rows {
		row := []string{clean(r.Label)}
		for _, h := range r.Hours {
			row = append(row, shortNumber(h))
		}
		t.Rows = append(t.Rows, append(row, shortNumber(r.total())))
	}
	return t
}

// Validate returns scheduling.Faults by month.
func (c NoShowChart) Validate() error {
	var f scheduling.Faults
	chartRows(&f, "months", len(c.Months))
	for i, m := range c.Months {
		at := "months[" + strconv.Itoa(i) + "]."
		f.Count(at+"visits", m.Visits, 0, mostChartUnit)
		f.Count(at+"missed", m.Missed, 0, max(m.Visits, 0))
	}
	return f.Err()
}

// SVG draws one bar for each month, as long as the number of clients who did
// not come. It returns scheduling.Faults; see Validate.
func (c NoShowChart) SVG() (string, error) {
	if err := c.Validate(); err != nil {
		return "", err
	}
	out := rowChart{title: cmp.Or(clean(c.Title), "Clients who did not come"), axis: "visits that were booked and missed"}
	var counts []int
	seen := 0
	for _, m := range c.Months {
		seen += m.Visits
		row := chartRow{words: clean(m.Month), right: "no visits", soft: m.Visits == 0}
		if m.Visits > 0 {
			row.right = strconv.Itoa(m.Missed) + " of " + strconv.Itoa(m.Visits) + ", " + share(m.Missed, m.Visits)
		}
		row.spoken = row.words + " " + row.right
		out.rows, counts = append(out.rows, row), append(counts, m.Missed)
	}
	out.countBars(counts)
	return out.drawSeen(seen > 0), nil
}

// countBars draws counts as plain bars on one axis.
func (c *rowChart) countBars(counts []int) {
	most := 0
	for _, n := range counts {
		most = max(most, n)
	}
	top, ticks := niceTop(float64(most), shortNumber)
	c.ticks = ticks
	for i, n := range counts {
		c.rows[i].marks = func(s *svg, x, w, y float64) {
			if n > 0 {
				s.rect("full", x, y-5, float64(n)/top*w, 10)
			}
		}
	}
}

// Table is the chart as a table.
func (c NoShowChart) Table() FigureTable {
	t := FigureTable{Head: []string{"Month", "Did not come", "Visits", "Share"}}
	for _, m := range c.Months {
		t.Rows = append(t.Rows, []string{clean(m.Month), strconv.Itoa(m.Missed), strconv.Itoa(m.Visits), cmp.Or(share(m.Missed, m.Visits), "–")})
	}
	return t
}

// Validate returns scheduling.Faults by bin.
func (c LeadTimeChart) Validate() error {
	var f scheduling.Faults
	chartRows(&f, "bins", len(c.Bins))
	for i, b := range c.Bins {
		f.Count("bins["+strconv.Itoa(i)+"].visits", b.Visits, 0, mostChartUnit)
	}
	return f.Err()
}

// visits counts all.
func (c LeadTimeChart) visits() int {
	n := 0
	for _, b := range c.Bins {
		n += b.Visits
	}
	return n
}

// SVG draws one bar for each bin. It returns scheduling.Faults; see Validate.
func (c LeadTimeChart) SVG() (string, error) {
	if err := c.Validate(); err != nil {
		return "", err
	}
	out := rowChart{title: cmp.Or(clean(c.Title), "How long before the visit it was booked"), axis: "visits"}
	all := c.visits()
	var counts []int
	for _, b := range c.Bins {
		row := chartRow{words: clean(b.Label), right: strconv.Itoa(b.Visits) + ", " + share(b.Visits, all), soft: b.Visits == 0}
		row.spoken = row.words + " " + row.right
		out.rows, counts = append(out.rows, row), append(counts, b.Visits)
	}
	out.countBars(counts)
	return out.drawSeen(all > 0), nil
}

// Table is the chart as a table.
func (c LeadTimeChart) Table() FigureTable {
	t := FigureTable{Head: []string{"Booked before the visit", "Visits", "Share"}}
	all := c.visits()
	for _, b := range c.Bins {
		t.Rows = append(t.Rows, []string{clean(b.Label), strconv.Itoa(b.Visits), cmp.Or(share(b.Visits, all), "–")})
	}
	return t
}
