package ics

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/emersion/go-ical"
)

const (
	// proofYears is how far beyond the window clocks are watched before a
	// yearly rule is written without an end. After 12 years every date has
	// fallen on every weekday, so a rule that still holds is not a coincidence
	// (derived).
	proofYears = 12
	// shortestRule is the least number of years worth a rule of their own (judgement).
	shortestRule = 3
	// sampleStep is the distance at which offsets are looked at, in seconds: a day, within
	// which no zone is known to change its clocks twice (judgement).
	sampleStep = 24 * 60 * 60
)

// zoneState is what clocks show at an instant.
type zoneState struct {
	offset int // seconds east of UTC
	name   string
}

// onset is a moment at which the clocks of a zone change.
type onset struct {
	at       int64 // Unix time
	from, to int   // seconds east of UTC
	name     string
	daylight bool
}

// wall is the onset as the clocks showed it until then, which is how
// VTIMEZONE writes it.
func (o onset) wall() time.Time { return time.Unix(o.at+int64(o.from), 0).UTC() }

// timezone describes loc from first to last. It reads the zone by sampling its
// offsets alone: the standard library's way to the next change of clocks stops
// early or never ends on some zone data.
func timezone(loc *time.Location, first, last time.Time) *ical.Component {
	comp := ical.NewComponent(ical.CompTimezone)
	put(comp.Props, ical.PropTimezoneID, loc.String())
	onsets := onsetsOf(loc, first, last.AddDate(proofYears, 0, 0))
	comp.Children = observances(onsets, last)
	return comp
}

// zoneKey names a description of a zone by what it was made from. The system's
// zone data is read once in the life of the process.
type zoneKey struct {
	name        string
	first, last int64 // Unix time
}

// mostZones is how many descriptions are kept (judgement): about as many zones as salons
// can be in on one day.
const mostZones = 512

var zones = struct {
	sync.Mutex
	kept map[zoneKey][]byte
}{kept: map[zoneKey][]byte{}}

// zoneText is timezone as the lines of a feed. Feeds of one day and zone share
// them.
func zoneText(loc *time.Location, first, last time.Time) []byte {
	key := zoneKey{loc.String(), first.Unix(), last.Unix()}
	zones.Lock()
	defer zones.Unlock()
	if kept, ok := zones.kept[key]; ok {
		return kept
	}
	var w lines
	w.component(timezone(loc, first, last))
	if len(zones.kept) >= mostZones {
		clear(zones.kept)
	}
	zones.kept[key] = w.out
	return w.out
}

// component writes a component of the library whose properties occur once.
func (w *lines) component(c *ical.Component) {
	w.raw("BEGIN", c.Name)
	for _, name := range slices.Sorted(maps.Keys(c.Props)) {
		for _, p := range c.Props[name] {
			w.raw(name, p.Value)
		}
	}
	for _, child := range c.Children {
		w.component(child)
	}
	w.raw("END", c.Name)
}

func stateAt(loc *time.Location, at int64) zoneState {
	name, offset := time.Unix(at, 0).In(loc).Zone()
	return zoneState{offset, name}
}

// onsetsOf returns the onset in force at first and all later ones up to end.
// When the clocks have not changed since 1970, the first onset stands there
// and changes nothing.
func onsetsOf(loc *time.Location, first, end time.Time) []onset {
	begin := first.Unix()
	state := stateAt(loc, begin)
	back := begin
	for back > 0 && stateAt(loc, back) == state {
		back -= sampleStep
	}
	var onsets []onset
	if stateAt(loc, back) == state {
		midnight := -int64(state.offset) // of 1 January 1970, as clocks show it
		onsets = append(onsets, onset{at: midnight, from: state.offset, to: state.offset, name: state.name})
	} else {
		onsets = changes(loc, back, back+sampleStep, onsets)
	}
	for at := begin; at < end.Unix(); at += sampleStep {
		onsets = changes(loc, at, at+sampleStep, onsets)
	}
	return onsets
}

// changes appends the onsets after from up to to, which are a day apart.
func changes(loc *time.Location, from, to int64, onsets []onset) []onset {
	for end := stateAt(loc, to); stateAt(loc, from) != end; {
		from = changeAfter(loc, from, to)
		onsets = append(onsets, onsetAt(loc, from))
	}
	return onsets
}

// changeAfter returns the first second after from at which clocks have
// changed, given that they differ at to.
func changeAfter(loc *time.Location, from, to int64) int64 {
	state := stateAt(loc, from)
	for to-from > 1 {
		mid := from + (to-from)/2
		if stateAt(loc, mid) == state {
			from = mid
		} else {
			to = mid
		}
	}
	return to
}

func onsetAt(loc *time.Location, at int64) onset {
	before, after := time.Unix(at-1, 0).In(loc), time.Unix(at, 0).In(loc)
	_, from := before.Zone()
	name, to := after.Zone()
	daylight := after.IsDST()
	// Where winter is the exception (Dublin, Casablanca), readers still expect
	// the greater offset to be called daylight.
	if daylight && to < from || !daylight && before.IsDST() && to > from {
		daylight = !daylight
	}
	return onset{at, from, to, name, daylight}
}

// observances groups onsets into the parts of a VTIMEZONE: yearly rules where
// clocks change regularly, lists of dates for the rest. What begins after last
// is left out.
func observances(onsets []onset, last time.Time) []*ical.Component {
	type kind struct {
		from, to int
		name     string
		daylight bool
	}
	groups := map[kind][]onset{}
	for _, o := range onsets {
		k := kind{o.from, o.to, o.name, o.daylight}
		groups[k] = append(groups[k], o)
	}
	type part struct {
		first onset
		comp  *ical.Component
	}
	var parts []part
	for _, group := range groups {
		var single []onset
		for len(group) > 0 && group[0].at <= last.Unix() {
			n, rule := longestRule(group)
			if n < shortestRule {
				single = append(single, group[0])
				group = group[1:]
				continue
			}
			// A rule that holds to the end of what was looked at goes on for ever.
			if end := group[n-1]; n < len(group) || end.wall().Year() < last.Year()+proofYears-1 {
				rule += ";UNTIL=" + instant(time.Unix(end.at, 0))
			}
			parts = append(parts, part{group[0], observance(group[:1], rule)})
			group = group[n:]
		}
		if len(single) > 0 {
			parts = append(parts, part{single[0], observance(single, "")})
		}
	}
	slices.SortFunc(parts, func(a, b part) int { return cmp.Compare(a.first.at, b.first.at) })
	comps := make([]*ical.Component, len(parts))
	for i, p := range parts {
		comps[i] = p.comp
	}
	return comps
}

// observance writes one part: the first of onsets, and the others as dates.
func observance(onsets []onset, rule string) *ical.Component {
	first := onsets[0]
	comp := ical.NewComponent(ical.CompTimezoneStandard)
	if first.daylight {
		comp.Name = ical.CompTimezoneDaylight
	}
	put(comp.Props, ical.PropDateTimeStart, first.wall().Format(wallForm))
	put(comp.Props, ical.PropTimezoneOffsetFrom, utcOffset(first.from))
	put(comp.Props, ical.PropTimezoneOffsetTo, utcOffset(first.to))
	put(comp.Props, ical.PropTimezoneName, escape(first.name))
	if rule != "" {
		put(comp.Props, ical.PropRecurrenceRule, rule)
	}
	if len(onsets) > 1 {
		var dates []string
		for _, o := range onsets[1:] {
			dates = append(dates, o.wall().Format(wallForm))
		}
		put(comp.Props, ical.PropRecurrenceDates, strings.Join(dates, ","))
	}
	return comp
}

// longestRule returns how many onsets, from the first on, one yearly rule
// gives exactly, and that rule.
func longestRule(onsets []onset) (int, string) {
	n, rule := 1, ""
	for n < len(onsets) {
		next := yearlyRule(onsets[:n+1])
		if next == "" {
			break
		}
		n, rule = n+1, next
	}
	return n, rule
}

// yearlyRule returns the rule for onsets on the same weekday of a month at the
// same time, one in each year, or "" when there is none.
func yearlyRule(onsets []onset) string {
	first := onsets[0].wall()
	low, high, always := first.Day(), first.Day(), true // always the month's last such weekday
	for i, o := range onsets {
		w := o.wall()
		if w.Year() != first.Year()+i || w.Month() != first.Month() || w.Weekday() != first.Weekday() ||
			w.Sub(w.Truncate(24*time.Hour)) != first.Sub(first.Truncate(24*time.Hour)) {
			return ""
		}
		low, high = min(low, w.Day()), max(high, w.Day())
		always = always && w.AddDate(0, 0, 7).Month() != w.Month()
	}
	month := fmt.Sprintf("FREQ=YEARLY;BYMONTH=%d", first.Month())
	weekday := strings.ToUpper(first.Weekday().String()[:2])
	nth := (low-1)/7 + 1
	switch {
	case always:
		return month + ";BYDAY=-1" + weekday
	case nth == (high-1)/7+1:
		return month + ";BYDAY=" + strconv.Itoa(nth) + weekday
	case high-low < 7: // such as the Saturday from 24 to 30; low+6 is in the month, or all were its last
		days := make([]string, 7)
		for i := range days {
			days[i] = strconv.Itoa(low + i)
		}
		return month + ";BYMONTHDAY=" + strings.Join(days, ",") + ";BYDAY=" + weekday
	}
	return ""
}

// utcOffset writes seconds east of UTC (RFC 5545 section 3.3.14).
func utcOffset(seconds int) string {
	sign := "+"
	if seconds < 0 {
		sign, seconds = "-", -seconds
	}
	s := fmt.Sprintf("%s%02d%02d", sign, seconds/3600, seconds/60%60)
	if seconds%60 != 0 {
		s += fmt.Sprintf("%02d", seconds%60)
	}
	return s
}
