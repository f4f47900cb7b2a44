package read

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"time"
)

// The years for which a VTIMEZONE is followed (judgement). Rules that begin before the
// first clocks were changed, mostly in 1601, begin in 1970 instead. After the
// last year clocks stay as they are.
const (
	noClocksYet = 1900
	zoneFrom    = 1970
	zoneTo      = 2100
)

const (
	mostOnsets  = 5_000 // changes of clocks of one zone; real ones have two a year (judgement)
	mostOffsets = 200   // different ones of one zone (judgement); the format for them numbers them in one octet (RFC 8536)
	// zoneSteps is how many days are looked at for all zones of a file (judgement). A
	// real zone takes some 10,000.
	zoneSteps = 4_000_000
)

// onset is a moment at which the clocks of a zone change.
type onset struct {
	at       int64 // Unix time
	from, to int   // seconds east of UTC
}

// described makes a location of a VTIMEZONE (RFC 5545 section 3.6.5). It
// returns nil, and tells why, when the VTIMEZONE says nothing that can be
// followed. Days that it looks at are taken off steps.
func described(c *component, steps *int, log *problems) *time.Location {
	var onsets []onset
	for _, part := range c.children {
		onsets = observance(part, onsets, steps, log)
	}
	if len(onsets) == 0 {
		log.add(c.line, "", "VTIMEZONE", "says no change of clocks and no offset that can be followed")
		return nil
	}
	slices.SortStableFunc(onsets, func(a, b onset) int { return cmp.Compare(a.at, b.at) })
	data, whole := compiled(onsets)
	if !whole {
		log.addf(c.line, "", "VTIMEZONE", "has more than %d different offsets from UTC; changes to the others are left out", mostOffsets)
	}
	loc, err := time.LoadLocationFromTZData(short(c.text("TZID"), 60), data)
	if err != nil {
		log.add(c.line, "", "VTIMEZONE", "cannot be followed")
		return nil
	}
	return loc
}

// observance adds the onsets of a STANDARD or DAYLIGHT part.
func observance(part *component, onsets []onset, steps *int, log *problems) []onset {
	where := "VTIMEZONE " + part.name
	to, okTo := lenientOffset(part.text("TZOFFSETTO"))
	if !okTo {
		log.add(part.line, "", where, "has no offset from UTC of less than a day; it is left out")
		return onsets
	}
	from, okFrom := lenientOffset(part.text("TZOFFSETFROM"))
	if !okFrom {
		from = to
	}
	start, ok := parseMoment(part.text("DTSTART"), nil)
	if !ok {
		start = moment{form: floating, wall: -1 << 40} // since ever
	}
	full := false
	add := func(w wall) bool {
		if full = len(onsets) >= mostOnsets; !full {
			onsets = append(onsets, onset{int64(w) - int64(from), from, to})
		}
		return !full
	}
	add(start.wall)
	for i := range part.props {
		p := &part.props[i]
		switch p.name {
		case "RRULE":
			if !ok {
				continue
			}
			if wrong := zoneRule(p.value, start.wall, from, steps, add); wrong != "" {
				log.add(p.line, "", where, wrong)
			}
		case "RDATE":
			for value := range strings.SplitSeq(p.value, ",") {
				m, ok := parseMoment(value, nil)
				if ok && m.form == zoned {
					m.wall += wall(from)
				}
				if ok {
					add(m.wall)
				}
			}
		}
	}
	if full {
		log.addf(part.line, "", where, "changes clocks more than %d times; the others are left out", mostOnsets)
	}
	return onsets
}

// zoneRule gives the onsets of one rule. It returns a clause on why the rule
// is not followed, or nothing.
func zoneRule(s string, start wall, before int, steps *int, give func(wall) bool) string {
	r, wrong, _ := parseRule(s)
	switch {
	case wrong != "":
		return wrong
	case r.freq < monthly:
		return "changes clocks more often than every month; the rule is left out"
	}
	to := yearWall(zoneTo)
	if r.until.form != absent {
		last := r.until.wall
		switch r.until.form { //nolint:exhaustive // the others need nothing here
		case zoned:
			last += wall(before)
		case dateOnly:
			last += day - 1
		}
		to = min(to, last+1)
	}
	from := start
	if start < yearWall(noClocksYet) {
		from = yearWall(zoneFrom)
	}
	w := walk{rule: *r, start: start, from: from, to: to, steps: steps, give: give}
	if !w.all() {
		return "takes too long to follow; later changes of clocks are left out"
	}
	return ""
}

func yearWall(year int) wall { return wall(firstOf(year, 1) * day) }

// lenientOffset reads an offset without sign or with a colon, too.
func lenientOffset(s string) (int, bool) {
	s = strings.ReplaceAll(s, ":", "")
	if s != "" && s[0] != '+' && s[0] != '-' {
		s = "+" + s
	}
	return parseOffset(s)
}

// compiled writes onsets, ascending and at least one, in the format of
// compiled zones (RFC 8536 section 3), which the standard library reads. So a
// zone of a file is a location like any other. It reports false when there are
// more offsets than the format holds.
func compiled(onsets []onset) (data []byte, whole bool) {
	whole = true
	kinds := []int{onsets[0].from} // the first one is in force before all changes
	var times, indexes []byte
	n := 0
	for i, o := range onsets {
		if i+1 < len(onsets) && onsets[i+1].at == o.at {
			continue // of two at once the later one of the file counts
		}
		k := 1 + slices.Index(kinds[1:], o.to)
		if k == 0 {
			if len(kinds) > mostOffsets {
				whole = false
				continue
			}
			k = len(kinds)
			kinds = append(kinds, o.to)
		}
		times = binary.BigEndian.AppendUint64(times, uint64(o.at))
		indexes = append(indexes, byte(k))
		n++
	}
	header := func(times, kinds, letters int) []byte {
		b := append([]byte("TZif2"), make([]byte, 15+3*4)...)
		for _, count := range []int{times, kinds, letters} {
			b = binary.BigEndian.AppendUint32(b, uint32(count))
		}
		return b
	}
	// A part for readers of 32-bit times comes first; ours is empty.
	data = append(header(0, 0, 0), header(n, len(kinds), len(abbreviation))...)
	data = append(append(data, times...), indexes...)
	for _, offset := range kinds {
		data = binary.BigEndian.AppendUint32(data, uint32(int32(offset)))
		data = append(data, 0, 0) // not daylight saving, first abbreviation
	}
	return fmt.Appendf(data, "%s\n\n", abbreviation), whole
}

// abbreviation is what all clocks of a file's own zone are called.
const abbreviation = "own\x00"
