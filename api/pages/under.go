package pages

import "slices"

// addFree writes the helpful words about gaps below y, each from its gap on and
// with its time, where there is room for them. It returns the y below them.
func (d *lineLayout) addFree(l *layout, free []FreeSpan, y float64) float64 {
	pool := &rowPool{left: plotLeft - 4, right: l.width - 3, max: 2}
	free = slices.Clone(free)
	slices.SortStableFunc(free, func(a, b FreeSpan) int { return b.From.Compare(a.From) })
	for _, f := range free {
		text := clean(f.Text)
		if text == "" || !l.seen(f.From, f.To) {
			continue
		}
		lab := newLabel(l.clock.dash(f.From, f.To)+" "+text, smallSize, false, "soft")
		if at, ok := pool.placeAnywhere(l.x(f.From), lab.w); ok {
			lab.x, lab.y = at.x, y+11+float64(at.row)*rowStep
			d.extra = append(d.extra, lab)
		}
	}
	return y + float64(len(pool.rows))*rowStep
}

// addCore draws the brackets under y and returns the y below them. Stretches
// of two visits that overlap get brackets below each other.
func (d *lineLayout) addCore(l *layout, core []CoreSpan, y float64) float64 {
	core = slices.Clone(core)
	slices.SortStableFunc(core, func(a, b CoreSpan) int { return a.From.Compare(b.From) })
	var tiers [][]CoreSpan
	for _, c := range core {
		if !l.seen(c.From, c.To) {
			continue
		}
		i := 0
		for i < len(tiers) && c.From.Before(tiers[i][len(tiers[i])-1].To) {
			i++
		}
		if i == len(tiers) {
			tiers = append(tiers, nil)
		}
		tiers[i] = append(tiers[i], c)
	}
	for _, tier := range tiers {
		pool := &rowPool{left: plotLeft - 4, right: l.width - 3, max: 1}
		for _, c := range slices.Backward(tier) {
			b := bracket{l.x(c.From), l.x(c.To), y + 5}
			d.brackets = append(d.brackets, b)
			d.labelCore(l, c, b, pool)
		}
		y += 11 + rowStep
	}
	return y
}

func (d *lineLayout) labelCore(l *layout, c CoreSpan, b bracket, pool *rowPool) {
	code := whose(c.Code)
	for _, s := range []string{
		joinWords(code, "may not be interrupted "+l.clock.dash(c.From, c.To)),
		"may not be interrupted " + l.clock.dash(c.From, c.To),
		"may not be interrupted",
		"no break",
	} {
		lab := newLabel(s, smallSize, false, "corewords")
		if at, ok := pool.placeAnywhere(b.x0, lab.w); ok {
			lab.x, lab.y = at.x, b.y+12
			d.extra = append(d.extra, lab)
			return
		}
	}
}
