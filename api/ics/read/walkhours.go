package read

// everyUnit walks by hours or minutes, of unit seconds. Days and hours that do
// not fit are passed over in one step.
func (w *walk) everyUnit(unit int64) {
	r := &w.rule
	first := floor(int64(w.start), unit)
	at := first + w.skipped(first, floor(int64(w.from), unit))
	// align returns the first period not before the second t.
	align := func(t int64) int64 {
		return first + floor(floor(t+unit-1, unit)-first+r.interval-1, r.interval)*r.interval
	}
	var d calendarDay
	known, fits := false, false
	for at*unit < int64(w.to) && *w.steps > 0 {
		*w.steps--
		t := wall(at * unit)
		if days := t.days(); !known || d.days != days {
			d, known = dayOf(days), true
			fits = r.fits(&d)
		}
		hour := (int64(t) - d.days*day) / 3600
		switch {
		case !fits:
			at = align((d.days + 1) * day)
			continue
		case r.has(byHour) && r.hours>>hour&1 == 0:
			at = align(d.days*day + (hour+1)*3600)
			continue
		case unit == 60 && r.has(byMinute) && r.minutes>>(at-floor(at, 60)*60)&1 == 0:
			at += r.interval
			continue
		}
		if !w.unit(t) {
			return
		}
		at += r.interval
	}
}

// unit gives the times of the hour or minute that begins at t.
func (w *walk) unit(t wall) bool {
	if len(w.rule.positions) > 0 {
		return w.positioned(len(w.clock), func(i int) wall { return t + wall(w.clock[i]) })
	}
	for _, seconds := range w.clock {
		if !w.take(t + wall(seconds)) {
			return false
		}
	}
	return true
}
