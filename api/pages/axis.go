package pages

import "time"

// placeHours writes the hours of s with base line y, every hour or as many as
// have room, and returns the y below them.
func (l *layout) placeHours(s *sheet, y float64) float64 {
	hours := oclocks(l.board.From.In(l.clock.loc), l.board.To)
	for step := 1; step <= 24; step++ {
		if labels, ticks, ok := l.hourLabels(hours, step, y); ok {
			s.hours = append(s.hours, labels...)
			s.ticks = ticks
			break
		}
	}
	return y + 5
}

func (l *layout) hourLabels(hours []time.Time, step int, y float64) (labels []label, ticks []float64, ok bool) {
	end := 0.0
	for i, t := range hours {
		if i%step != 0 {
			continue
		}
		lab := newLabel(l.clock.at(t), blockSize, false, "hour")
		x := l.x(t)
		lab.x, lab.y = min(x+2, l.width-2-lab.w), y
		if lab.x < end {
			return nil, nil, false
		}
		end = lab.x + lab.w + 6
		labels = append(labels, lab)
		ticks = append(ticks, x)
	}
	return labels, ticks, true
}

// oclocks returns every instant from from to to at which the wall clock shows a
// full hour. It takes hours twice that the clock shows twice, and leaves out
// those that it never shows.
func oclocks(from, to time.Time) []time.Time {
	var hours []time.Time
	t := from.Truncate(time.Minute)
	if t.Before(from) {
		t = t.Add(time.Minute)
	}
	for !t.After(to) {
		if t.Minute() == 0 {
			hours = append(hours, t)
		}
		next := t.Add(time.Duration(60-t.Minute()) * time.Minute)
		if next.Minute() != 0 { // the clocks changed by half an hour on the way
			next = t.Add(time.Minute)
		}
		t = next
	}
	return hours
}
